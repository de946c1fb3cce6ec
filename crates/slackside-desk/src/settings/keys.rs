//! The key under which each setting is written.

use slackside::input::{Place, Shaft};
use slackside::settings::{Field, LimitPart, PulleyPart, TargetsPart};

use super::limits::setpoint_units;

/// The places of rub contacts, in the order of [`Place::ALL`].
pub(super) const PLACES: [&str; Place::COUNT] = ["head_left", "head_right", "boot_left", "boot_right"];

/// The key of a setting in a settings file, with its first unit: `limits.slip_high.setpoint_pct`.
#[must_use]
pub fn key_of(field: Field) -> String {
    let shaft = |shaft| match shaft {
        Shaft::Head => "head",
        Shaft::Boot => "boot",
    };
    match field {
        Field::Pulley(on, part) => {
            let part = match part {
                PulleyPart::BareDiameter => "bare_diameter_mm",
                PulleyPart::Lagging => "lagging_mm",
                PulleyPart::Face => "face_mm",
                PulleyPart::Crown => "crown_mm",
            };
            format!("{}_pulley.{part}", shaft(on))
        }
        Field::Targets(on, part) => {
            let part = match part {
                TargetsPart::Fitted | TargetsPart::Count => "count",
                TargetsPart::SpacingTolerance => "spacing_tolerance_pct",
                TargetsPart::Closest => "closest_deg",
                TargetsPart::Widest => "widest_deg",
                TargetsPart::Supervised => "supervised",
            };
            format!("{}_targets.{part}", shaft(on))
        }
        Field::NormalSpeed(on) => format!("speed.{}_rpm", shaft(on)),
        Field::Limit(condition, part) => {
            let unit = setpoint_units(condition).first().map_or("", |unit| unit.suffix);
            let part = match part {
                LimitPart::Enabled => "enabled".to_owned(),
                LimitPart::Setpoint => format!("setpoint{unit}"),
                LimitPart::Deadband => format!("deadband{unit}"),
                LimitPart::OnDelay => "on_delay_s".to_owned(),
                LimitPart::OffDelay => "off_delay_s".to_owned(),
                LimitPart::Latching => "latching".to_owned(),
                LimitPart::Action => "action".to_owned(),
            };
            format!("limits.{}.{part}", condition.name())
        }
        Field::BeltThickness => "belt.thickness_mm".to_owned(),
        Field::BeltWidth => "belt.width_mm".to_owned(),
        Field::LoopLength => "belt.loop_m".to_owned(),
        Field::BeltSpeed => "speed.belt_mps".to_owned(),
        Field::Ratio => "head_pulley and boot_pulley".to_owned(),
        Field::ReferenceMinimum => "drive.speed_reference.minimum_pct".to_owned(),
        Field::ReferenceRamp => "drive.speed_reference.ramp_pct_per_s".to_owned(),
        Field::RatedPower => "drive.rated_kw".to_owned(),
        Field::AcceptedSpread => "accepted_ratio.spread_pct".to_owned(),
        Field::MinimumWidth => "conditioning.minimum_width_us".to_owned(),
        Field::TopSpeed => "conditioning.top_speed_pct".to_owned(),
        Field::ContactBridge => "conditioning.contact_bridge_ms".to_owned(),
        Field::Standstill => "starts.standstill_below_pct".to_owned(),
        Field::CoastDown => "starts.shortest_coast_down_s".to_owned(),
        Field::StartWindow => "starts.window_min".to_owned(),
        Field::InchingTime => "starts.inching_time_min".to_owned(),
        Field::BypassTime => "starts.bypass_time_min".to_owned(),
        Field::HeatBudget => "slip_heat.budget_kj".to_owned(),
        Field::HeatTimeConstant => "slip_heat.time_constant_min".to_owned(),
        // The rest have no unit: the core's own name is the key.
        other => other.to_string(),
    }
}
