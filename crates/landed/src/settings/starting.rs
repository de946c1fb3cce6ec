//! Starting values of the limits: engineering judgement, each with its reason. Each leg's engineer decides.

use super::limits::{Action, Limit, Limits, Priority, SlipHeat, Starts};
use crate::judge::Condition;
use crate::units::{Joules, Ppm, Span};

const fn limit(setpoint: i32, deadband: i32, on_ms: u32, off_ms: u32) -> Limit {
    Limit {
        enabled: true,
        setpoint,
        deadband,
        on_delay: Span::from_millis(on_ms),
        off_delay: Span::from_millis(off_ms),
        latching: false,
        priority: Priority::Medium,
        action: Action::Alarm,
    }
}

const fn stop(limit: Limit) -> Limit {
    Limit { latching: true, priority: Priority::High, action: Action::Stop, ..limit }
}

const fn starting(condition: Condition) -> Limit {
    match condition {
        // Two head turns: no slip that a leg survives keeps the boot still for so long, at any number of targets.
        Condition::BeltNotFollowing => stop(limit(2_000_000, 0, 0, 0)),
        // Fourteen times the creep of a healthy belt. With its error and what the design ramp takes during the delay it stays
        // within the code's 20 %; the second of delay outlasts one lost edge.
        Condition::SlipVeryHigh => stop(limit(140_000, 20_000, 1_000, 0)),
        // Five times the creep of a healthy belt (about 1 %). Feed drops so that the leg can empty itself.
        Condition::SlipHigh => Limit { action: Action::DropFeed, ..limit(50_000, 10_000, 3_000, 3_000) },
        // The whole budget; what it stands for is in `SlipHeat`.
        Condition::SlipHeat => stop(limit(1_000_000, 200_000, 0, 0)),
        // A belt cannot drive the boot 10 % faster than the head drives the belt: a signal is wrong.
        Condition::SlipImpossible => stop(limit(100_000, 20_000, 500, 0)),
        // Below what wrong geometry explains.
        Condition::SlipNegative => limit(30_000, 10_000, 3_000, 3_000),
        // 15 % and half a second: at 5 %/s of loss the belt is still above 80 % when the leg is told to stop.
        Condition::DeepUnderspeed => stop(limit(150_000, 20_000, 500, 0)),
        // Full-load motor slip is 2 to 4 %, so 10 % is no load change.
        Condition::Underspeed => limit(100_000, 20_000, 3_000, 3_000),
        // A fifth of normal speed with the drive on is a belt that stands.
        Condition::NoMotion => stop(limit(800_000, 100_000, 0, 0)),
        Condition::HeadUnderspeed => limit(100_000, 20_000, 3_000, 3_000),
        // Across-the-line starts of legs take 2 to 5 s; twice that.
        Condition::StartFailed => stop(limit(10_000, 0, 0, 0)),
        // The fifth start within the window is jogging.
        Condition::TooManyStarts => stop(limit(4, 0, 0, 0)),
        Condition::Rollback => stop(limit(1, 0, 0, 0)),
        // Four edges: more than a bucket settling gives.
        Condition::EdgesAtRest => stop(limit(4, 0, 0, 0)),
        // Half a second is longer than a splice brushing past.
        Condition::Mistracking => Limit { priority: Priority::High, ..limit(500, 0, 0, 5_000) },
        Condition::MistrackingDuty => limit(100_000, 50_000, 0, 5_000),
        // A steady rub heats. Stopping for it is each leg's choice.
        Condition::MistrackingSustained => Limit { priority: Priority::High, ..limit(5_000, 0, 0, 5_000) },
        // 80 °C: below layer ignition less 75 K for every grain dust listed in the docs.
        Condition::RubHot => stop(limit(800, 100, 0, 0)),
        // Half of what 12 mm of lagging lost from a 600 mm pulley shows (3.8 %).
        Condition::RatioShifted => limit(20_000, 5_000, 0, 0),
        // Two seconds: a slug of grain passing the switch is no plug.
        Condition::OutletPlugged => stop(limit(1, 0, 2_000, 0)),
        Condition::HeadSensorFault | Condition::BootSensorFault => stop(limit(1, 0, 0, 0)),
        Condition::HeadSilent | Condition::BothSilent => stop(limit(1, 0, 0, 0)),
        // Twice the time a slow leg takes to fill the windows.
        Condition::SlipUnknown => Limit { action: Action::DropFeed, ..limit(20_000, 0, 0, 0) },
        Condition::HeadTargets | Condition::BootTargets => limit(1, 0, 0, 60_000),
        Condition::ContactFault => limit(1, 0, 500, 1_000),
        Condition::DriveContactFault => stop(limit(1, 0, 0, 0)),
        Condition::ReferenceFault => limit(1, 0, 500, 1_000),
        // Sixteen inputs out of order in a minute.
        Condition::TimeBaseFault => stop(limit(16, 0, 0, 0)),
        Condition::SettingsFault => stop(limit(1, 0, 0, 0)),
        Condition::ResetHeld => limit(1, 0, 0, 0),
        Condition::BypassActive => Limit { priority: Priority::High, ..limit(1, 0, 0, 0) },
        // The permit is dropped already, and in vain. Half a second outlasts a contact that bounces as it opens.
        Condition::PermitBypassed => Limit { priority: Priority::High, ..limit(1, 0, 500, 0) },
    }
}

const fn all() -> [Limit; Condition::COUNT] {
    let mut list = [starting(Condition::BeltNotFollowing); Condition::COUNT];
    let mut rest: &mut [Limit] = &mut list;
    let mut conditions: &[Condition] = &Condition::ALL;
    while let ([limit, more @ ..], [condition, others @ ..]) = (rest, conditions) {
        *limit = starting(*condition);
        rest = more;
        conditions = others;
    }
    list
}

impl Limits {
    /// The starting values.
    pub const STARTING: Self = Self {
        list: all(),
        starts: Starts {
            // A tenth of normal speed: below it nothing on a leg is worth judging, and it is proven within ten pitches.
            standstill_below: Ppm::new(100_000),
            shortest_coast_down: Span::ZERO,
            window: Span::from_millis(30 * 60 * 1_000),
            inching_time: Span::from_millis(5 * 60 * 1_000),
            bypass_time: Span::from_millis(30 * 60 * 1_000),
        },
        slip_heat: SlipHeat {
            // 25 kg of rim and lagging that take part, 0.9 kJ/(kg K), 40 K of rise.
            budget: Joules::new(900_000),
            // A pulley in a closed casing loses its heat over half an hour.
            time_constant: Span::from_millis(30 * 60 * 1_000),
        },
    };
}
