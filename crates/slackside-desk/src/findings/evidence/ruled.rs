//! What the core's own rules make of a trace, as two questions among the rest: physics has a say in what is learned.

use slackside::diagnose::{Cause, Evidence as Looked, findings};

use super::{Clue, Evidence};

/// The number of the rule that knows lost lagging by its offset.
pub const LAGGING_LOST: i32 = 1;
/// The number of the rule that knows lost grip.
pub const GRIP_LOST: i32 = 6;

/// Ask the rules.
pub(super) fn tell(looked: &Looked, evidence: &mut Evidence) {
    let mut causes = findings(looked).into_iter().map(|finding| number(finding.cause));
    for clue in [Clue::RulesFirst, Clue::RulesSecond] {
        evidence.set(clue, Some(causes.next().unwrap_or(0)));
    }
}

/// Each rule's number; places and corners are questions of their own.
const fn number(cause: Cause) -> i32 {
    use slackside::input::Shaft::{Boot, Head};
    match cause {
        Cause::LaggingLost => LAGGING_LOST,
        Cause::RatioWrong => 2,
        Cause::SensorsSwapped => 3,
        Cause::SpeedWrong => 4,
        Cause::WiresBridged => 5,
        Cause::GripLost => GRIP_LOST,
        Cause::Overloaded => 7,
        Cause::BootChoked => 8,
        Cause::BeltParted => 9,
        Cause::DriveSlow => 10,
        Cause::HeavyStart => 11,
        Cause::SensorLost(Head) => 12,
        Cause::SensorLost(Boot) => 13,
        Cause::CommonSupply => 14,
        Cause::SensorNoise(Head) => 15,
        Cause::SensorNoise(Boot) => 16,
        Cause::Target(Head) => 17,
        Cause::Target(Boot) => 18,
        Cause::OffCentre(_) | Cause::OutOfLine => 19,
        Cause::BeltFault(_) => 20,
        Cause::ShaftFault(_) => 21,
        Cause::ContactLost => 22,
        Cause::DriveContact => 23,
        Cause::Jogging => 24,
        _ => 25,
    }
}
