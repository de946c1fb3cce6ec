//! Decimal numbers taken exactly as written, so that 12.7 mm is 12,700 µm and nothing near it.

/// A unit a key may name, and how many of the integer unit one of it is: `numerator / denominator`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Unit {
    /// The end of the key, with its underscore; empty for a plain number.
    pub suffix: &'static str,
    /// What it is, for messages.
    pub name: &'static str,
    pub numerator: i128,
    pub denominator: i128,
}

const fn unit(suffix: &'static str, name: &'static str, numerator: i128, denominator: i128) -> Unit {
    Unit { suffix, name, numerator, denominator }
}

pub(super) const MM: Unit = unit("_mm", "millimetres", 1_000, 1);
pub(super) const INCH: Unit = unit("_in", "inches", 25_400, 1);
pub(super) const METRE: Unit = unit("_m", "metres", 1_000_000, 1);
pub(super) const FOOT: Unit = unit("_ft", "feet", 304_800, 1);
pub(super) const METRES_A_SECOND: Unit = unit("_mps", "metres a second", 1_000_000, 1);
pub(super) const FEET_A_MINUTE: Unit = unit("_fpm", "feet a minute", 5_080, 1);
pub(super) const RPM: Unit = unit("_rpm", "turns a minute", 1_000_000, 60);
pub(super) const PERCENT: Unit = unit("_pct", "per cent", 10_000, 1);
pub(super) const PERCENT_A_SECOND: Unit = unit("_pct_per_s", "per cent a second", 10_000, 1);
pub(super) const DEGREES: Unit = unit("_deg", "degrees", 1_000_000, 360);
pub(super) const MICROSECONDS: Unit = unit("_us", "microseconds", 1, 1);
pub(super) const MILLISECONDS: Unit = unit("_ms", "milliseconds", 1_000, 1);
pub(super) const SECONDS: Unit = unit("_s", "seconds", 1_000_000, 1);
pub(super) const MINUTES: Unit = unit("_min", "minutes", 60_000_000, 1);
/// Seconds and milliseconds where the integer unit is the millisecond.
pub(super) const SECONDS_IN_MS: Unit = unit("_s", "seconds", 1_000, 1);
pub(super) const MS_IN_MS: Unit = unit("_ms", "milliseconds", 1, 1);
pub(super) const KILOWATTS: Unit = unit("_kw", "kilowatts", 1_000, 1);
/// Mechanical horsepower: 745.699 871 582 W.
pub(super) const HORSEPOWER: Unit = unit("_hp", "horsepower", 745_699_872, 1_000_000);
pub(super) const KILOJOULES: Unit = unit("_kj", "kilojoules", 1_000, 1);
pub(super) const KILOGRAMS: Unit = unit("_kg", "kilograms", 1_000, 1);
pub(super) const JOULES_A_KG_K: Unit = unit("_j_kgk", "joules for each kilogram and kelvin", 1, 1);
pub(super) const KELVIN: Unit = unit("_k", "kelvin", 1_000, 1);
pub(super) const CELSIUS: Unit = unit("_c", "degrees Celsius", 10, 1);
pub(super) const TURNS: Unit = unit("_turns", "turns", 1_000_000, 1);
pub(super) const RATIO: Unit = unit("", "a ratio", 1_000_000, 1);
pub(super) const FACTOR: Unit = unit("", "a factor", 1_000_000, 1);
pub(super) const COUNT: Unit = unit("", "a whole number", 1, 1);
/// Those that are told in another unit than they were written in, with their signs.
pub(super) const FEET_AND_HORSES: [(Unit, &str); 4] =
    [(INCH, "in"), (FOOT, "ft"), (FEET_A_MINUTE, "ft/min"), (HORSEPOWER, "hp")];

/// `digits × 10^exponent`, exactly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Decimal {
    digits: i128,
    exponent: i32,
}

/// Why a number cannot be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum DecimalError {
    NotANumber,
    TooManyDigits,
    OutOfRange,
    NotWhole,
}

impl DecimalError {
    pub(super) const fn text(self) -> &'static str {
        match self {
            Self::NotANumber => "is not a plain decimal number",
            Self::TooManyDigits => "has more digits than can be meant; at most 18",
            Self::OutOfRange => "is far out of range",
            Self::NotWhole => "must be a whole number",
        }
    }
}

impl Decimal {
    /// Read a decimal number as TOML writes it: sign, digits with underscores between, a point, an exponent.
    pub(super) fn parse(text: &str) -> Result<Self, DecimalError> {
        let (mantissa, exponent) = match text.split_once(['e', 'E']) {
            Some((mantissa, exponent)) => (mantissa, exponent.parse::<i32>().map_err(|_| DecimalError::NotANumber)?),
            None => (text, 0),
        };
        let (negative, mantissa) = match mantissa.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, mantissa.strip_prefix('+').unwrap_or(mantissa)),
        };
        let (whole, part) = mantissa.split_once('.').unwrap_or((mantissa, ""));
        let mut digits = 0_i128;
        let mut significant = 0;
        let mut any = false;
        for digit in whole.chars().chain(part.chars()).filter(|digit| *digit != '_') {
            let digit = digit.to_digit(10).ok_or(DecimalError::NotANumber)?;
            any = true;
            significant += usize::from(significant > 0 || digit > 0);
            if significant > 18 {
                return Err(DecimalError::TooManyDigits);
            }
            digits = digits * 10 + i128::from(digit);
        }
        if !any {
            return Err(DecimalError::NotANumber);
        }
        let decimals = i32::try_from(part.chars().filter(|digit| *digit != '_').count())
            .map_err(|_| DecimalError::TooManyDigits)?;
        let exponent = exponent.checked_sub(decimals).ok_or(DecimalError::OutOfRange)?;
        Ok(Self { digits: if negative { -digits } else { digits }, exponent })
    }

    /// A whole number.
    pub(super) const fn whole(value: i64) -> Self {
        Self { digits: value as i128, exponent: 0 }
    }

    /// The number in the integer unit, to the nearest, halves away from zero.
    pub(super) fn in_integer_unit(self, unit: Unit) -> Result<i64, DecimalError> {
        if self.digits == 0 {
            return Ok(0);
        }
        // digits below 10^18, factors below 10^9, powers up to 10^10: below 2^127. Smaller exponents are zero in any unit.
        let (numerator, denominator) = match self.exponent {
            0..=10 => (unit.numerator * 10_i128.pow(self.exponent.unsigned_abs()), unit.denominator),
            -27..0 => (unit.numerator, unit.denominator * 10_i128.pow(self.exponent.unsigned_abs())),
            i32::MIN..-27 => return Ok(0),
            _ => return Err(DecimalError::OutOfRange),
        };
        let scaled = self.digits.checked_mul(numerator).ok_or(DecimalError::OutOfRange)?;
        let half = denominator / 2;
        let rounded = if scaled < 0 { (scaled - half) / denominator } else { (scaled + half) / denominator };
        if unit == COUNT && rounded * denominator != scaled {
            return Err(DecimalError::NotWhole);
        }
        i64::try_from(rounded).map_err(|_| DecimalError::OutOfRange)
    }
}

/// The integer unit said in `unit`, in as few decimals as read back to the same number. A test holds every unit that is written to it.
pub(super) fn written(value: i64, unit: Unit) -> String {
    let same = |text: &String| Decimal::parse(text).and_then(|read| read.in_integer_unit(unit)) == Ok(value);
    (0..9).map(|decimals| rounded(value, unit, decimals)).find(same).unwrap_or_else(|| rounded(value, unit, 9))
}

/// A bound, not negative, in `unit` with three decimals at the most: the nearest that keeps the bound where it is read back.
pub(super) fn bound(bound: i64, unit: Unit, at_least: bool) -> String {
    let keeps = |read: i64| if at_least { read >= bound } else { read <= bound };
    let nearest = rounded(bound, unit, 3);
    if Decimal::parse(&nearest).and_then(|read| read.in_integer_unit(unit)).is_ok_and(keeps) {
        return nearest;
    }
    let numerator = i128::from(bound) * unit.denominator * 1_000;
    let up = if at_least { unit.numerator - 1 } else { 0 };
    fixed((numerator + up) / unit.numerator, 3)
}

/// `value × denominator / numerator`, to the nearest of so many decimals, with no needless zeros.
fn rounded(value: i64, unit: Unit, decimals: usize) -> String {
    let power = 10_i128.pow(decimals as u32);
    let (numerator, half) = (i128::from(value) * unit.denominator * power, unit.numerator / 2);
    fixed(if value < 0 { (numerator - half) / unit.numerator } else { (numerator + half) / unit.numerator }, decimals)
}

/// A number of so many decimals, given without its point, with no needless zeros.
fn fixed(scaled: i128, decimals: usize) -> String {
    let power = 10_i128.pow(decimals as u32);
    let sign = if scaled < 0 { "-" } else { "" };
    let size = scaled.unsigned_abs();
    let (whole, part) = (size / power.unsigned_abs(), size % power.unsigned_abs());
    let digits = if decimals == 0 { String::new() } else { format!("{part:0decimals$}") };
    let digits = digits.trim_end_matches('0');
    if digits.is_empty() { format!("{sign}{whole}") } else { format!("{sign}{whole}.{digits}") }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn read(text: &str, unit: Unit) -> Result<i64, DecimalError> {
        Decimal::parse(text)?.in_integer_unit(unit)
    }

    #[test]
    fn decimals_are_taken_as_written() {
        assert_eq!(read("12.7", MM), Ok(12_700));
        // 1 in = 25.4 mm exactly (international inch, 1959; ISO 31).
        assert_eq!(read("1", INCH), Ok(25_400));
        assert_eq!(read("0.125", INCH), Ok(3_175));
        assert_eq!(read("1", FOOT), Ok(304_800));
        assert_eq!(read("1", FEET_A_MINUTE), Ok(5_080));
        assert_eq!(read("78.6", RPM), Ok(1_310_000));
        assert_eq!(read("2.3e1", PERCENT), Ok(230_000));
        assert_eq!(read("1_000.5", MM), Ok(1_000_500));
        // One horsepower is 745.7 W.
        assert_eq!(read("25", HORSEPOWER), Ok(18_642));
    }

    #[test]
    fn halves_round_away_from_zero() {
        assert_eq!(read("0.0005", MM), Ok(1));
        assert_eq!(read("0.00049999", MM), Ok(0));
        assert_eq!(read("-0.0005", MM), Ok(-1));
        assert_eq!(read("1e-40", MM), Ok(0));
    }

    #[test]
    fn what_is_no_number_is_told() {
        for text in ["inf", "nan", "", ".", "1e", "0x10", "1.2.3", "--1"] {
            assert_eq!(read(text, MM), Err(DecimalError::NotANumber), "{text}");
        }
        assert_eq!(read("1.5", COUNT), Err(DecimalError::NotWhole));
        assert_eq!(read("1e99", MM), Err(DecimalError::OutOfRange));
        assert_eq!(read("1234567890123456789", MM), Err(DecimalError::TooManyDigits));
    }

    #[test]
    fn a_bound_as_said_keeps_the_bound() {
        // 200 mm are 7.87402 in, and 7.874 in are 200 mm to the micrometre; 5 m/s are 984.25197 ft/min.
        assert_eq!((bound(200_000, INCH, true), bound(200_000, INCH, false)), ("7.874".to_owned(), "7.874".to_owned()));
        assert_eq!(bound(5_000_000, FEET_A_MINUTE, true), "984.252");
        assert_eq!(bound(5_000_000, FEET_A_MINUTE, false), "984.252");
        assert_eq!((bound(10_003, INCH, true), bound(10_003, INCH, false)), ("0.394".to_owned(), "0.393".to_owned()));
    }

    #[test]
    fn no_more_decimals_are_written_than_tell_the_number() {
        assert_eq!(written(609_600, INCH), "24");
        assert_eq!(written(9_525, INCH), "0.375");
        assert_eq!(written(26_314_390, FOOT), "86.3333");
        assert_eq!(written(18_642, HORSEPOWER), "25");
        assert_eq!(written(-12_700, MM), "-12.7");
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back(value in -4_000_000_000_000_i64..4_000_000_000_000) {
            for unit in [
                MM, METRE, METRES_A_SECOND, RPM, PERCENT, PERCENT_A_SECOND, DEGREES, MICROSECONDS, MILLISECONDS, SECONDS,
                SECONDS_IN_MS, KILOWATTS, KILOJOULES, CELSIUS, TURNS, RATIO, FACTOR, COUNT, INCH, FOOT, HORSEPOWER,
            ] {
                prop_assert_eq!(read(&written(value, unit), unit), Ok(value), "{}", unit.name);
            }
        }

        #[test]
        fn a_bound_reads_back_on_its_side(value in 0_i64..4_000_000_000_000) {
            for (unit, _) in FEET_AND_HORSES {
                let read_back = |at_least| read(&bound(value, unit, at_least), unit);
                prop_assert!(read_back(true).is_ok_and(|read| read >= value) && read_back(false).is_ok_and(|read| read <= value));
            }
        }

        #[test]
        fn any_text_can_be_parsed(text in "[-+0-9._eE]{0,40}") {
            for unit in [MM, RPM, DEGREES, HORSEPOWER] {
                let _ = read(&text, unit);
            }
        }
    }
}
