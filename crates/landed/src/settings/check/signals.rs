//! Rules about targets, sensors and the conditioning of what they say.

use super::field::{Field, TargetsPart};
use super::rule::{Mend, Rule, Violation};
use super::{broken, hold_between};
use crate::input::Shaft;
use crate::settings::{CountedEdges, Machine, Settings, Spacing, Targets, turn_time};

/// Slip that a hum would have to feign to pass for health: from −10 % (where slip becomes impossible) to 15 %.
///
/// As shares of normal speed in ppm: the boot would seem to run at 85 % to 110 %, the head at 1/1.10 to 1/0.85.
const BOOT_FEIGNS: (u64, u64) = (850_000, 1_100_000);
const HEAD_FEIGNS: (u64, u64) = (909_090, 1_176_471);

/// Mains frequencies of the world, in hertz.
const MAINS: [u64; 2] = [50, 60];

pub(super) fn check(settings: &Settings, tell: &mut dyn FnMut(Violation)) {
    let machine = &settings.machine;
    for shaft in [Shaft::Head, Shaft::Boot] {
        if let Some(targets) = targets_of(machine, shaft) {
            count_and_spacing(shaft, targets, tell);
            hum(machine, shaft, targets, tell);
        }
    }
    conditioning(machine, tell);
}

fn targets_of(machine: &Machine, shaft: Shaft) -> Option<&Targets> {
    match shaft {
        Shaft::Head => machine.head_targets.as_ref(),
        Shaft::Boot => machine.boot_targets.as_ref(),
    }
}

fn count_and_spacing(shaft: Shaft, targets: &Targets, tell: &mut dyn FnMut(Violation)) {
    let field = |part| Field::Targets(shaft, part);
    hold_between(Rule::Range, field(TargetsPart::Count), i64::from(targets.count), (1, 32), tell);
    match targets.spacing {
        Spacing::Even { tolerance } => {
            let tolerance = i64::from(tolerance.get());
            hold_between(Rule::Range, field(TargetsPart::SpacingTolerance), tolerance, (0, 200_000), tell);
        }
        Spacing::Uneven { closest, .. } if targets.marks() <= 1 => {
            broken(Rule::OneMarkIsEven, field(TargetsPart::Closest), i64::from(closest.get()), 1_000_000, tell)
        }
        Spacing::Uneven { closest, widest } => {
            // All pitches add up to one turn, so the closest is no more than the mean. One part in a million of rounding is
            // let pass.
            let (closest, widest) = (i64::from(closest.get()), i64::from(widest.get()));
            let marks = i64::from(targets.marks()).max(2);
            let mean = 1_000_000_i64.checked_div(marks).unwrap_or(0);
            let others = marks.saturating_sub(1);
            let fit = Rule::PitchesDoNotFit;
            hold_between(fit, field(TargetsPart::Closest), closest, (1_000, mean.saturating_add(1)), tell);
            // With the closest pitch where it must be, the others share the rest: one of them at least its mean, and at most
            // all that the rest at their closest leave.
            let closest = closest.clamp(0, mean);
            let least = 1_000_000_i64.saturating_sub(closest).checked_div(others).unwrap_or(0).saturating_sub(1);
            let most = 1_000_001_i64.saturating_sub(closest.saturating_mul(others));
            hold_between(fit, field(TargetsPart::Widest), widest, (least, most), tell);
        }
    }
}

/// Counted edges a second at normal speed, in millionths.
fn edge_rate(machine: &Machine, shaft: Shaft, marks: u64) -> u64 {
    let speed = match shaft {
        Shaft::Head => machine.normal_head,
        Shaft::Boot => machine.normal_boot,
    };
    u64::from(speed.get()).saturating_mul(marks)
}

/// The hum, in edges a second, that would pass for a healthy speed with so many targets, if there is one.
fn feigning_hum(machine: &Machine, shaft: Shaft, count: u8, edges: CountedEdges) -> Option<u64> {
    let edges_a_period = match edges {
        CountedEdges::Rising | CountedEdges::Falling => 1,
        CountedEdges::Both => 2,
    };
    let rate = edge_rate(machine, shaft, u64::from(count).saturating_mul(edges_a_period));
    let (least, most) = match shaft {
        Shaft::Head => HEAD_FEIGNS,
        Shaft::Boot => BOOT_FEIGNS,
    };
    // With a speed reference the leg may run down to its minimum, and hum may look like any speed between.
    let minimum = machine.speed_reference.map_or(1_000_000, |reference| reference.minimum.get().clamp(0, 1_000_000));
    let least = least.saturating_mul(u64::from(minimum.unsigned_abs())) / 1_000_000;
    // Rates are below 2^39 millionths of an edge a second, the shares below 2^21.
    let (from, to) = (rate.saturating_mul(least) / 1_000_000, rate.saturating_mul(most) / 1_000_000);
    MAINS
        .into_iter()
        .map(|mains| mains.saturating_mul(edges_a_period))
        .find(|hum| (from..=to).contains(&hum.saturating_mul(1_000_000)))
}

fn hum(machine: &Machine, shaft: Shaft, targets: &Targets, tell: &mut dyn FnMut(Violation)) {
    if targets.supervised {
        return;
    }
    let Some(hum) = feigning_hum(machine, shaft, targets.count, targets.edges) else {
        return;
    };
    let other = (1..=32_u8)
        .filter(|count| feigning_hum(machine, shaft, *count, targets.edges).is_none())
        .min_by_key(|count| count.abs_diff(targets.count));
    let rate = edge_rate(machine, shaft, u64::from(targets.marks())) / 1_000_000;
    tell(Violation {
        rule: Rule::HumLooksLikeSpeed,
        field: Field::Targets(shaft, TargetsPart::Supervised),
        value: i64::try_from(rate).unwrap_or(i64::MAX),
        bound: i64::try_from(hum).unwrap_or(i64::MAX),
        mend: Mend::OtherTargets(other),
    });
}

fn conditioning(machine: &Machine, tell: &mut dyn FnMut(Violation)) {
    let conditioning = &machine.conditioning;
    let top_speed = i64::from(conditioning.top_speed.get());
    hold_between(Rule::Range, Field::TopSpeed, top_speed, (1_050_000, 3_000_000), tell);
    hold_between(Rule::Range, Field::RejectsATurn, i64::from(conditioning.rejects_a_turn), (1, 64), tell);
    // Longer than a second, separate touches of successive buckets or loops would melt into one.
    let bridge = i64::from(conditioning.contact_bridge.get());
    hold_between(Rule::Range, Field::ContactBridge, bridge, (1_000, 1_000_000), tell);

    let width = i64::from(conditioning.minimum_width.get());
    hold_between(Rule::Range, Field::MinimumWidth, width, (5, 1_000_000), tell);
    // One width for both shafts, so the tighter of the two bounds it.
    let bounds = [(Shaft::Head, machine.normal_head), (Shaft::Boot, machine.normal_boot)];
    let longest = bounds
        .into_iter()
        .filter_map(|(shaft, speed)| {
            let targets = targets_of(machine, shaft)?;
            // The turn is below 2^32 µs, shares below 2^20: the product is below 2^52.
            let pitch = i64::from(turn_time(speed).get())
                .saturating_mul(i64::from(targets.closest_pitch().get()))
                .checked_div(top_speed)?;
            Some(pitch / 4)
        })
        .min();
    if let Some(longest) = longest
        && width > longest
    {
        broken(Rule::MinimumWidthTooLong, Field::MinimumWidth, width, longest, tell);
    }
}
