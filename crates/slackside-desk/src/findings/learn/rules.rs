//! The core's own rules, held against the same truth: what was there before the model.

use super::super::cause::Cause;

const NO_GRIP: &[Cause] = &[Cause::LaggingSlick, Cause::TakeUp, Cause::HeadPulleyLoose, Cause::LaggingGone];
const HELD: &[Cause] = &[Cause::Choke, Cause::BootHeld, Cause::BeltCaught, Cause::FrozenStart];
const RATIO: &[Cause] = &[Cause::WrongDiameters, Cause::HeadBuildup, Cause::BootBuildup];
const DRIVE: &[Cause] = &[Cause::DriveSlow, Cause::PowerDip];
const HEAD_TARGETS: &[Cause] = &[Cause::HeadTargetLoose, Cause::HeadTargetMissing];
const BOOT_TARGETS: &[Cause] = &[Cause::BootTargetLoose, Cause::BootTargetMissing];
const CONTACTS: &[Cause] = &[Cause::ContactCut, Cause::ContactBouncing, Cause::ContactStuck];
/// Causes that the core's rules call by one name.
pub const ALIKE: [&[Cause]; 7] = [NO_GRIP, HELD, RATIO, DRIVE, HEAD_TARGETS, BOOT_TARGETS, CONTACTS];

/// Whether the rules would call two causes by one name: held against them, naming the one for the other is not wrong.
#[must_use]
pub fn alike(one: Cause, other: Cause) -> bool {
    one == other || ALIKE.iter().any(|causes| causes.contains(&one) && causes.contains(&other))
}

/// What is right to say by a cause of the core's rules, as generously as it can be meant.
fn covers(cause: &str) -> &'static [Cause] {
    match cause {
        "LaggingLost" => &[Cause::LaggingGone],
        "RatioWrong" => RATIO,
        "SensorsSwapped" => &[Cause::SensorsSwapped],
        "SpeedWrong" => &[Cause::WrongSpeed],
        "WiresBridged" => &[Cause::WiresBridged],
        "GripLost" => NO_GRIP,
        "Overloaded" => &[Cause::Overload],
        "BootChoked" => HELD,
        "BeltParted" => &[Cause::BeltParted],
        "DriveSlow" => DRIVE,
        "HeavyStart" => &[Cause::FrozenStart, Cause::Overload],
        "SensorLost(Head)" => &[Cause::HeadSensorLost],
        "SensorLost(Boot)" => &[Cause::BootSensorLost],
        "CommonSupply" => &[Cause::BothSensors],
        "SensorNoise(Head)" => &[Cause::HeadSensorUnsteady],
        "SensorNoise(Boot)" => &[Cause::BootSensorUnsteady],
        "Target(Head)" => HEAD_TARGETS,
        "Target(Boot)" => BOOT_TARGETS,
        "ContactLost" => CONTACTS,
        "BackstopFailed" => &[Cause::Rollback],
        "OutletPlugged" => &[Cause::OutletPlugged],
        "DriveContact" => &[Cause::DriveContact],
        "SpeedReference" => &[Cause::SpeedReference],
        "Jogging" => &[Cause::Jogging],
        "OutOfLine" => &[Cause::OffCentre],
        placed if placed.starts_with("OffCentre") => &[Cause::OffCentre],
        placed if placed.starts_with("BeltFault") => &[Cause::OnePlace],
        placed if placed.starts_with("ShaftFault") => &[Cause::Runout],
        _ => &[],
    }
}

/// Whether one of the first `among` causes that the rules name is right.
#[must_use]
pub fn right(rules: &str, truth: &[Cause], among: usize) -> bool {
    if rules.is_empty() {
        return truth.contains(&Cause::Nothing);
    }
    rules.split('|').take(among).any(|said| covers(said).iter().any(|cause| truth.contains(cause)))
}
