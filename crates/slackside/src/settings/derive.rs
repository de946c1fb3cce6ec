//! The plan derived from checked settings: every number that the box runs on.

use zerocopy::FromZeros;

use super::derived::{in_its_unit, limit as limit_of, shaft_of, turn_at};
use super::plan::{BINS, ContactPlan, LegPlan, MAGIC, Plan, RowPlan, ShaftPlan, SlipPlan, VERSION, act, fitted};
use super::{Action, Checked, CountedEdges, Machine, Priority, Settings, Spacing, Targets, turn_time};
use crate::arith::{high, ppm_of_turn, share};
use crate::conditions::{Compared, Condition, Needs};
use crate::input::Shaft;
use crate::time::SLOW_SHIFT;
use crate::units::{MicroturnsPerSecond, Span};

impl Checked {
    /// The plan that a box runs on.
    #[must_use]
    pub fn plan(&self) -> Plan {
        plan(self)
    }
}

/// Defined for any settings, so that rules can be held against numbers; it means something for checked ones.
pub(super) fn plan(settings: &Settings) -> Plan {
    let Settings { machine, limits } = settings;
    let mut plan = Plan::new_zeroed();
    plan.magic = MAGIC;
    plan.version = VERSION;
    plan.length = Plan::LENGTH as u16;
    for (slot, byte) in plan.leg.iter_mut().zip(machine.leg.bytes()) {
        *slot = byte;
    }
    plan.minimum_width = machine.conditioning.minimum_width.get();
    plan.head = shaft(settings, Shaft::Head);
    plan.boot = shaft(settings, Shaft::Boot);
    plan.slip = SlipPlan {
        ratio: machine.ratio_in_force().get(),
        boot_circumference: u32::try_from(machine.boot_circumference().get()).unwrap_or(u32::MAX),
        ..SlipPlan::default()
    };
    plan.slip.complete(&plan.head, &plan.boot);
    plan.contacts = contacts(machine);
    plan.fitted = besides(machine);
    plan.unloaded = unloaded(machine);
    for (acts, condition) in plan.acts.iter_mut().zip(Condition::ALL) {
        let limit = limits.of(condition);
        let bit = |bit: u8, is: bool| if is { bit } else { 0 };
        *acts = bit(act::JUDGED, limit.enabled && has(machine, condition.entry().needs))
            | bit(act::LATCHING, limit.latching)
            | bit(act::STOP, limit.action == Action::Stop)
            | bit(act::DROP_FEED, limit.action == Action::DropFeed)
            | bit(act::HIGH, limit.priority == Priority::High)
            | bit(act::MEDIUM, limit.priority == Priority::Medium);
    }
    let (head, boot, slip) = (plan.head, plan.boot, plan.slip);
    for (row, condition) in plan.rows.iter_mut().zip(Condition::ALL) {
        *row = self::row(settings, condition, &head, &boot, &slip);
    }
    plan.drive = drive(settings);
    let (deep, start) = (*plan.row(Condition::DeepUnderspeed.rank()), *plan.row(Condition::StartFailed.rank()));
    plan.drive.complete(&head, &boot, &deep, &start);
    plan.crc = plan.computed_crc();
    plan
}

/// Whether what a condition needs is fitted.
pub(super) fn has(machine: &Machine, needs: Needs) -> bool {
    let head = machine.head_targets.is_some();
    match needs {
        Needs::Nothing => true,
        Needs::Head => head,
        Needs::BothShafts => head && machine.boot_targets.is_some(),
        Needs::Contacts => machine.contacts.iter().any(Option::is_some),
        Needs::Temperatures => machine.temperatures.contains(&true),
        Needs::Outlet => machine.outlet_switch,
        Needs::Reference => machine.speed_reference.is_some(),
        Needs::DriveContact => machine.drive_contact,
        Needs::DriveContactOrHead => machine.drive_contact || head,
    }
}

/// One shaft. One that is not fitted has its speeds all the same, and one mark that nobody sees.
pub(super) fn shaft(settings: &Settings, which: Shaft) -> ShaftPlan {
    let machine = &settings.machine;
    let (targets, normal) = match which {
        Shaft::Head => (machine.head_targets, machine.normal_head),
        Shaft::Boot => (machine.boot_targets, machine.normal_boot),
    };
    let top = share(normal.get(), machine.conditioning.top_speed.get());
    let mut shaft = ShaftPlan {
        least: u32::MAX,
        largest: u32::MAX,
        normal: normal.get(),
        top_turn: turn_time(MicroturnsPerSecond::new(top)).get(),
        standing: turn_at(turn_time(normal).get(), settings.limits.starts.standstill_below.get()),
        rejects_a_turn: machine.conditioning.rejects_a_turn,
        ..ShaftPlan::default()
    };
    if let Some(targets) = targets {
        shaft.marks = targets.marks();
        shaft.edges = match targets.edges {
            CountedEdges::Rising => 0,
            CountedEdges::Falling => 1,
            CountedEdges::Both => 2,
        };
        shaft.uneven = u8::from(matches!(targets.spacing, Spacing::Uneven { .. }));
        (shaft.least, shaft.largest) = pitches(&targets);
    }
    shaft.complete();
    shaft
}

/// The smallest and the largest a pitch can be before the spacing is learned.
pub(super) fn pitches(targets: &Targets) -> (u32, u32) {
    let even = u32::MAX.checked_div(u32::from(targets.marks()).max(1)).unwrap_or(u32::MAX);
    match targets.spacing {
        // With one mark the pitch is the turn itself, whatever the tolerance.
        Spacing::Even { .. } if targets.marks() <= 1 => (even, even),
        Spacing::Even { tolerance } => {
            let tolerance = high(even, ppm_of_turn(tolerance.get()));
            (even.saturating_sub(tolerance), even.saturating_add(tolerance))
        }
        Spacing::Uneven { closest, widest } => (ppm_of_turn(closest.get()), ppm_of_turn(widest.get())),
    }
}

fn contacts(machine: &Machine) -> ContactPlan {
    let bits = |fitted: &mut dyn Iterator<Item = bool>| {
        fitted.zip([1_u8, 2, 4, 8]).fold(0, |bits, (fitted, bit)| if fitted { bits | bit } else { bits })
    };
    let bin = machine.belt.loop_length.get().checked_div(i64::from(BINS)).unwrap_or(0);
    ContactPlan {
        bridge: machine.conditioning.contact_bridge.get(),
        bin_length: u32::try_from(bin).unwrap_or(u32::MAX).max(1),
        fitted: bits(&mut machine.contacts.iter().map(Option::is_some)),
        temperatures: bits(&mut machine.temperatures.iter().copied()),
        spare: [0; 2],
    }
}

/// How much faster the head turns unloaded, in tens of ppm.
fn unloaded(machine: &Machine) -> u16 {
    let (Some(unloaded), normal) = (machine.unloaded_head, u64::from(machine.normal_head.get())) else { return 0 };
    let more = u64::from(unloaded.get()).saturating_sub(normal).saturating_mul(100_000);
    let tens = more.saturating_add(normal >> 1).checked_div(normal).unwrap_or(0);
    u16::try_from(tens).unwrap_or(u16::MAX)
}

fn besides(machine: &Machine) -> u8 {
    let supervised = |targets: Option<Targets>| targets.is_some_and(|targets| targets.supervised);
    [
        (machine.drive_contact, fitted::DRIVE_CONTACT),
        (machine.power_meter, fitted::POWER_METER),
        (machine.speed_reference.is_some(), fitted::REFERENCE),
        (machine.outlet_switch, fitted::OUTLET),
        (supervised(machine.head_targets), fitted::HEAD_SUPERVISED),
        (supervised(machine.boot_targets), fitted::BOOT_SUPERVISED),
    ]
    .into_iter()
    .fold(0, |bits, (fitted, bit)| if fitted { bits | bit } else { bits })
}

fn row(settings: &Settings, condition: Condition, head: &ShaftPlan, boot: &ShaftPlan, slip: &SlipPlan) -> RowPlan {
    let (entry, limit) = (condition.entry(), settings.limits.of(condition));
    let compared = Compared::of(entry.sense, entry.unit);
    let turn = match shaft_of(compared) {
        Shaft::Head => head.normal_turn,
        Shaft::Boot => boot.normal_turn,
    };
    let at = |value| in_its_unit(compared, value, turn);
    let cleared = if entry.sense.has_band() { limit.deadband } else { 0 };
    RowPlan {
        setpoint: limit.setpoint,
        limit: limit_of(compared, at(limit.setpoint), boot, slip),
        clear: at(limit.setpoint.saturating_sub(cleared)),
        on_delay: limit.on_delay.get(),
        off_delay: limit.off_delay.get(),
    }
}

fn drive(settings: &Settings) -> LegPlan {
    let Settings { machine, limits } = settings;
    let slow = |span: Span| span.get() >> SLOW_SHIFT;
    let (minimum, ramp) = machine
        .speed_reference
        .map_or((1_000_000, 1_000), |reference| (reference.minimum.get(), reference.ramp_per_second.get().max(1)));
    LegPlan {
        start_window: slow(limits.starts.window),
        inching_time: slow(limits.starts.inching_time),
        bypass_time: limits.starts.bypass_time.get(),
        coast_down: limits.starts.shortest_coast_down.get(),
        reference_minimum: minimum.max(0).unsigned_abs(),
        // Half as much again, since a ramp setting is a nominal value.
        reference_rate: ramp.unsigned_abs().saturating_mul(3) / 2,
        assumed_power: share(machine.rated_power.get(), machine.service_factor.get()),
        heat_left_half: left(limits.slip_heat.time_constant),
        heat_budget: limits.slip_heat.budget.get(),
        ..LegPlan::default()
    }
}

/// What is left of heat after half a cell, `e^(−2^16 µs / tau)` in 2^-32, rounded up. Time constants below a second, which no checked
/// settings have, count as one.
fn left(tau: Span) -> u32 {
    // x below 2^-3 in 2^-60: twelve terms leave nothing.
    let tau = u128::from(tau.get().max(1_000_000));
    let x = (1_u128 << (16 + 60)).checked_div(tau).unwrap_or(0);
    let one = 1_u128 << 60;
    let mut term = one;
    let mut sum = 0_u128;
    let mut taken = 0_u128;
    for n in 1..=12_u128 {
        if n % 2 == 1 {
            sum = sum.saturating_add(term)
        } else {
            taken = taken.saturating_add(term)
        }
        term = (term.saturating_mul(x) >> 60).checked_div(n).unwrap_or(0);
    }
    let left = sum.saturating_sub(taken);
    // One unit of 2^-32 up covers what was cut.
    u32::try_from((left >> 28).saturating_add(1)).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    extern crate std;

    use super::*;
    use crate::settings::SpeedReference;
    use crate::units::{Joules, Ppm};

    #[test]
    fn the_example_leg_comes_out_as_by_hand() {
        let plan = plan(&Settings::example());
        // 78.6 rpm: 60 / 78.6 s.
        assert_eq!(plan.head.normal_turn, 763_359);
        assert_eq!((plan.boot.marks, plan.boot.even), (4, (1 << 30) - 1));
        // A quarter of a turn, 2 % less and more.
        assert!((plan.boot.least as f64 / 4_294_967_296.0 - 0.245).abs() < 1e-9);
        assert!((plan.boot.largest as f64 / 4_294_967_296.0 - 0.255).abs() < 1e-9);
        // 734,370 µs at 1.361711 turns/s; at 140 %, times 0.245, less a fifth.
        assert_eq!((plan.boot.normal_turn, plan.boot.top_turn), (734_370, 524_550));
        assert_eq!(plan.boot.minimum_gap, 102_811);
        // Ten times 0.255 of a turn.
        assert_eq!(plan.boot.rest, 1_872_640);
        assert_eq!(plan.boot.standing, 7_343_700);
        // 632/608 and 608/632.
        assert_eq!((plan.slip.ratio, plan.slip.boot_per_head), (1_039_474, 17_439_479));
        assert_eq!((plan.slip.stride, plan.slip.closings, plan.slip.block), (1, 4, 256));
        assert_eq!(plan.slip.apart, 14 << 24);
        // 14 % below 1.361711 turns/s: 853,919 µs a turn; back at 88 %.
        let deep = plan.row(Condition::DeepUnderspeed.rank());
        assert_eq!((deep.limit, deep.clear, deep.on_delay), (853_918, 834_511, 500_000));
        // Two head turns, less a millionth; the whole budget, 80 % of it; half a second.
        assert_eq!(plan.row(Condition::BeltNotFollowing.rank()).limit, (2 << 24) - 16);
        let heat = plan.row(Condition::SlipHeat.rank());
        assert_eq!((heat.limit, heat.clear), (1 << 30, 858_993_459));
        assert_eq!(plan.row(Condition::Mistracking.rank()).limit, 500_000);
        assert_eq!(plan.drive.start_time, 10_000_000);
        // 30 min in 1.024 ms.
        assert_eq!(plan.drive.start_window, 1_757_812);
        assert_eq!(plan.leg_name(), "Millbrook leg 3");
        assert_eq!(plan.computed_crc(), plan.identity());
        assert_eq!(Plan::from_bytes(zerocopy::IntoBytes::as_bytes(&plan)), Ok(&plan));
        // Nothing fitted, nothing judged.
        assert!(plan.acts(Condition::RubHot.rank()) & act::JUDGED == 0);
        assert!(plan.acts(Condition::Rollback.rank()) & act::JUDGED != 0);
    }

    #[test]
    fn heat_is_never_late() {
        let mut settings = Settings::example();
        for minutes in [1_u32, 5, 30, 71] {
            for joules in [10_000_u32, 900_000, 50_000_000] {
                settings.limits.slip_heat.time_constant = Span::from_millis(minutes * 60_000);
                settings.limits.slip_heat.budget = Joules::new(joules);
                let drive = plan(&settings).drive;
                let cell = 131_072.0 / (f64::from(minutes) * 6e7);
                for (left, x) in [(drive.heat_left, cell), (drive.heat_left_half, cell / 2.0)] {
                    // e^-x by its series: x is below 0.003.
                    let exact = (1.0 - x + x * x / 2.0 - x * x * x / 6.0 + x * x * x * x / 24.0) * 4_294_967_296.0;
                    assert!(f64::from(left) >= exact && f64::from(left) < exact + 4.0, "{left} {exact}");
                }
                // 131.072 mJ a watt.
                let exact = 0.131_072 / f64::from(joules) * 70_368_744_177_664.0;
                let made = f64::from(drive.heat_a_watt);
                assert!(made >= exact * (1.0 - 1e-12) && made < exact + 2.0, "{made} {exact}");
            }
        }
    }

    #[test]
    fn what_is_not_fitted_has_its_speeds_all_the_same() {
        let mut settings = Settings::example();
        settings.machine.head_targets = None;
        settings.machine.speed_reference =
            Some(SpeedReference { minimum: Ppm::new(300_000), ramp_per_second: Ppm::new(100_000) });
        let plan = plan(&settings);
        assert!(!plan.head.is_fitted());
        assert_eq!((plan.head.normal_turn, plan.head.largest), (763_359, u32::MAX));
        assert_eq!((plan.drive.reference_minimum, plan.drive.reference_rate), (300_000, 150_000));
        assert!(plan.acts(Condition::SlipHigh.rank()) & act::JUDGED == 0);
    }
}
