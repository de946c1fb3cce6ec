//! Figures with their units, rounded to what is worth reading.

use slackside::conditions::{Condition, Unit};
use slackside::motion::SlipReading;
use slackside::units::{MicrometresPerSecond, MicroturnsPerSecond, Ppm};

/// A value in a condition's unit.
pub fn value(unit: Unit, value: i32) -> String {
    let number = f64::from(value);
    match unit {
        Unit::Ppm => percent(Ppm::new(value)),
        Unit::Milliseconds => format!("{} s", trimmed(number / 1e3, 3)),
        Unit::Microturns => format!("{} turns", trimmed(number / 1e6, 2)),
        Unit::DeciCelsius => format!("{} °C", trimmed(number / 10.0, 1)),
        Unit::Count => format!("{value}"),
        Unit::Flag => if value == 0 { "no" } else { "yes" }.to_owned(),
    }
}

/// What a condition's value is about, as the beginning of a sentence part: "slip", "belt speed lost".
pub const fn subject(condition: Condition) -> &'static str {
    match condition {
        Condition::BeltNotFollowing => "at the head without the boot",
        Condition::SlipVeryHigh | Condition::SlipHigh => "slip",
        Condition::SlipImpossible | Condition::SlipNegative => "below zero",
        Condition::SlipMean => "slip on average",
        Condition::RatioOrWiring => "off zero on average",
        Condition::FasterThanNormal => "faster than normal",
        Condition::RubAtOnePlace => "times a loop later at the same place",
        Condition::SlipHeat => "of the heat budget",
        Condition::DeepUnderspeed | Condition::Underspeed | Condition::NoMotion => "of the belt's speed lost",
        Condition::HeadUnderspeed => "of the head's speed lost",
        Condition::StartFailed => "without reaching speed",
        Condition::TooManyStarts => "starts",
        Condition::Mistracking | Condition::MistrackingSustained => "of rubbing without a break",
        Condition::MistrackingDuty => "of the belt loop rubbing",
        Condition::RubHot => "at the rub point",
        Condition::RatioShifted => "of shift in the no-slip ratio",
        Condition::SlipUnknown => "without knowing slip",
        _ => "",
    }
}

/// Per cent to a tenth.
pub fn percent(ppm: Ppm) -> String {
    format!("{:.1} %", f64::from(ppm.get()) / 1e4)
}

/// Slip with what is known of it.
pub fn slip(reading: SlipReading) -> String {
    match reading {
        SlipReading::Known(ppm) => percent(ppm),
        SlipReading::AtLeast(ppm) => format!("≥ {}", percent(ppm)),
        SlipReading::Between(least, most) => {
            let (least, most) = (percent(least), percent(most));
            if least == most { least } else { format!("{} to {most}", least.trim_end_matches(" %")) }
        }
        SlipReading::Unknown | SlipReading::Retracted => "–".to_owned(),
    }
}

/// Turns a minute to a tenth.
pub fn rpm(speed: Option<MicroturnsPerSecond>) -> String {
    speed.map_or_else(|| "–".to_owned(), |speed| format!("{:.1}", f64::from(speed.get()) * 60.0 / 1e6))
}

/// A belt's speed: metres a second to a hundredth, or whole feet a minute.
pub fn belt(speed: Option<MicrometresPerSecond>, feet: bool) -> String {
    speed.map_or_else(
        || "–".to_owned(),
        |speed| {
            let mps = f64::from(speed.get()) / 1e6;
            if feet { format!("{:.0}", mps / 0.3048 * 60.0) } else { format!("{mps:.2}") }
        },
    )
}

/// The unit of [`belt`].
pub const fn belt_unit(feet: bool) -> &'static str {
    if feet { "ft/min" } else { "m/s" }
}

/// A number with at most so many places and no needless zeros.
pub fn trimmed(number: f64, places: usize) -> String {
    let text = format!("{number:.places$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}
