//! Numbers with their units, said as people say them, without floats.

use core::fmt;

use super::field::FieldUnit;

/// A number and its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quantity {
    value: i64,
    unit: FieldUnit,
}

impl Quantity {
    /// `value` in `unit`.
    #[must_use]
    pub const fn new(value: i64, unit: FieldUnit) -> Self {
        Self { value, unit }
    }
}

/// `value / 10^decimals` with its trailing zeros left out.
fn decimal(out: &mut fmt::Formatter<'_>, value: i64, decimals: u32, unit: &str) -> fmt::Result {
    let scale = 10_u64.saturating_pow(decimals);
    let size = value.unsigned_abs();
    let whole = size.checked_div(scale).unwrap_or(size);
    let mut rest = size.checked_rem(scale).unwrap_or(0);
    if value < 0 {
        out.write_str("-")?;
    }
    write!(out, "{whole}")?;
    let mut digits = decimals as usize;
    while digits > 0 && rest.is_multiple_of(10) {
        rest /= 10;
        digits = digits.saturating_sub(1);
    }
    if digits > 0 {
        write!(out, ".{rest:0digits$}")?;
    }
    out.write_str(unit)
}

impl fmt::Display for Quantity {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let value = self.value;
        let size = value.unsigned_abs();
        match self.unit {
            FieldUnit::Ppm => decimal(out, value, 4, " %"),
            FieldUnit::Ratio => decimal(out, value, 6, ""),
            FieldUnit::MicrometresAsMetres => decimal(out, value, 6, " m"),
            FieldUnit::Micrometres if size >= 10_000_000 => decimal(out, value, 6, " m"),
            FieldUnit::Micrometres => decimal(out, value, 3, " mm"),
            FieldUnit::MicrometresPerSecond => decimal(out, value, 6, " m/s"),
            // 60 / 10^6 with two decimals: times 6 over 1,000, to the nearest.
            FieldUnit::MicroturnsPerSecond => {
                decimal(out, value.saturating_mul(6).saturating_add(500) / 1_000, 2, " rpm")
            }
            FieldUnit::Microseconds if size < 1_000 => decimal(out, value, 0, " µs"),
            FieldUnit::Microseconds if size < 1_000_000 => decimal(out, value, 3, " ms"),
            FieldUnit::Microseconds if size >= 60_000_000 && size.is_multiple_of(60_000_000) => {
                decimal(out, value / 60_000_000, 0, " min")
            }
            FieldUnit::Microseconds => decimal(out, value, 6, " s"),
            FieldUnit::Milliseconds => decimal(out, value, 3, " s"),
            FieldUnit::Microturns => decimal(out, value, 6, " turns"),
            FieldUnit::DeciCelsius => decimal(out, value, 1, " °C"),
            FieldUnit::Watts => decimal(out, value, 3, " kW"),
            FieldUnit::Joules => decimal(out, value, 3, " kJ"),
            FieldUnit::Count => decimal(out, value, 0, ""),
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::string::ToString;

    use super::*;

    #[test]
    fn numbers_are_said_as_people_say_them() {
        let said = |value, unit| Quantity::new(value, unit).to_string();
        assert_eq!(said(150_000, FieldUnit::Ppm), "15 %");
        assert_eq!(said(-12_500, FieldUnit::Ppm), "-1.25 %");
        assert_eq!(said(1_039_474, FieldUnit::Ratio), "1.039474");
        assert_eq!(said(600_000, FieldUnit::Micrometres), "600 mm");
        assert_eq!(said(61_950_000, FieldUnit::Micrometres), "61.95 m");
        assert_eq!(said(5_000_000, FieldUnit::MicrometresAsMetres), "5 m");
        assert_eq!(said(483_333, FieldUnit::MicroturnsPerSecond), "29 rpm");
        assert_eq!(said(200, FieldUnit::Microseconds), "200 µs");
        assert_eq!(said(500_000, FieldUnit::Microseconds), "500 ms");
        assert_eq!(said(1_800_000_000, FieldUnit::Microseconds), "30 min");
        assert_eq!(said(800, FieldUnit::DeciCelsius), "80 °C");
        assert_eq!(said(i64::MIN, FieldUnit::Count), "-9223372036854775808");
    }
}
