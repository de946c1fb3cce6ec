//! The part of a plan that measure reads, from settings, by the formulas of the core that is to be replaced.

use slackside::arith::{high, ppm_of_turn, share};
use slackside::settings::plan::{ContactPlan, Plan, ShaftPlan, SlipPlan};
use slackside_landed::input::Place;
use slackside_landed::settings::{Checked, CountedEdges, Spacing, Targets, turn_time};
use slackside_landed::units::MicroturnsPerSecond;
use zerocopy::FromZeros;

pub fn plan(settings: &Checked) -> Plan {
    let machine = &settings.machine;
    let conditioning = &machine.conditioning;
    let mut plan = Plan::new_zeroed();
    plan.minimum_width = conditioning.minimum_width.get();
    let shaft = |targets: &Option<Targets>, normal: MicroturnsPerSecond| {
        let Some(targets) = targets else { return ShaftPlan::default() };
        let marks = targets.marks();
        let even = u32::MAX / u32::from(marks);
        let (least, largest, tolerance) = match targets.spacing {
            Spacing::Even { tolerance } => {
                let tolerance = high(even, ppm_of_turn(tolerance.get()));
                (even.saturating_sub(tolerance), even.saturating_add(tolerance), tolerance)
            }
            Spacing::Uneven { closest, widest } => (ppm_of_turn(closest.get()), ppm_of_turn(widest.get()), 0),
        };
        let uneven = matches!(targets.spacing, Spacing::Uneven { .. });
        let margin = tolerance.max(even >> 6);
        // One mark is known: its turn is a turn.
        let (closest, widest) = if marks == 1 { (even, even) } else { (least, largest) };
        let normal_turn = turn_time(normal).get();
        let top = share(normal.get(), conditioning.top_speed.get());
        let top_turn = turn_time(MicroturnsPerSecond::new(top)).get();
        ShaftPlan {
            even,
            least,
            largest,
            allowed_least: least.saturating_sub(margin),
            allowed_most: largest.saturating_add(margin),
            minimum_gap: share(high(closest, top_turn), 800_000),
            rest: high(widest, normal_turn).saturating_mul(10),
            reject_window: normal_turn.saturating_mul(10),
            normal_turn,
            top_turn,
            marks,
            edges: match targets.edges {
                CountedEdges::Rising => 0,
                CountedEdges::Falling => 1,
                CountedEdges::Both => 2,
            },
            uneven: u8::from(uneven),
            rejects_a_turn: conditioning.rejects_a_turn,
            ..ShaftPlan::default()
        }
    };
    plan.head = shaft(&machine.head_targets, machine.normal_head);
    plan.boot = shaft(&machine.boot_targets, machine.normal_boot);
    plan.slip = slip(settings, &plan.head, &plan.boot);
    let mut fitted = 0;
    for place in Place::ALL {
        fitted |= u8::from(machine.contacts[place.index()].is_some()) << place.index();
    }
    plan.contacts = ContactPlan {
        bridge: conditioning.contact_bridge.get(),
        bin_length: u32::try_from(machine.belt.loop_length.get() / 32).unwrap().max(1),
        fitted,
        ..ContactPlan::default()
    };
    plan
}

fn slip(settings: &Checked, head: &ShaftPlan, boot: &ShaftPlan) -> SlipPlan {
    const TURN: u64 = 1 << 24;
    const STRETCH: u32 = 224 << 24;
    let ratio = settings.ratio().get();
    let boot_marks = boot.marks.max(1);
    let widest = if head.marks <= 1 { u32::MAX } else { head.largest };
    // Boot turns in one head pitch, in 2^-8 turn, rounded up; of 24 that may wait four are spare.
    let boot_in_pitch = (u64::from(widest >> 24) * u64::from(ratio) / 1_000_000) as u32 + 2;
    let most = ((20 << 8) / boot_in_pitch).clamp(1, 8) as u8;
    let stride = boot_marks.div_ceil(most);
    let closings = boot_marks.div_ceil(stride);
    SlipPlan {
        ratio,
        head_per_boot: (TURN * 1_000_000 / u64::from(ratio)) as u32,
        boot_per_head: (TURN * u64::from(ratio) / 1_000_000) as u32,
        closing_share: (1 << 24) / u32::from(closings),
        apart: STRETCH / (u32::from(closings) * 4),
        boot_circumference: u32::try_from(settings.boot_circumference().get()).unwrap(),
        stride,
        closings,
        block: 64 * u16::from(closings),
    }
}
