//! The core's own rules, held against the same truth: what was there before the model.

use super::super::cause::Cause;

/// What is right to say by a cause of the core's rules, as generously as it can be meant.
fn covers(cause: &str) -> &'static [Cause] {
    match cause {
        "LaggingLost" => &[Cause::LaggingGone],
        "RatioWrong" => &[Cause::WrongDiameters, Cause::HeadBuildup, Cause::BootBuildup],
        "SensorsSwapped" => &[Cause::SensorsSwapped],
        "SpeedWrong" => &[Cause::WrongSpeed],
        "WiresBridged" => &[Cause::WiresBridged],
        "GripLost" => &[Cause::LaggingSlick, Cause::TakeUp, Cause::HeadPulleyLoose, Cause::LaggingGone],
        "Overloaded" => &[Cause::Overload],
        "BootChoked" => &[Cause::Choke, Cause::BootHeld, Cause::BeltCaught, Cause::FrozenStart],
        "BeltParted" => &[Cause::BeltParted],
        "DriveSlow" => &[Cause::DriveSlow, Cause::PowerDip],
        "HeavyStart" => &[Cause::FrozenStart, Cause::Overload],
        "SensorLost(Head)" => &[Cause::HeadSensorLost],
        "SensorLost(Boot)" => &[Cause::BootSensorLost],
        "CommonSupply" => &[Cause::BothSensors],
        "SensorNoise(Head)" => &[Cause::HeadSensorUnsteady],
        "SensorNoise(Boot)" => &[Cause::BootSensorUnsteady],
        "Target(Head)" => &[Cause::HeadTargetLoose, Cause::HeadTargetMissing],
        "Target(Boot)" => &[Cause::BootTargetLoose, Cause::BootTargetMissing],
        "ContactLost" => &[Cause::ContactCut, Cause::ContactBouncing, Cause::ContactStuck],
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
