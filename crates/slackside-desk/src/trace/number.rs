//! Decimal numbers as whole numbers of a small unit: exact both ways, which floating point is not.

/// `text` in units of 10^-`places`, rounded to the nearest (half away from zero). `None` if it is no plain decimal number
/// or does not fit.
pub fn parse_decimal(text: &str, places: u32) -> Option<i64> {
    let (negative, digits) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    if whole.is_empty() && fraction.is_empty() {
        return None;
    }
    let mut value: i64 = 0;
    for digit in whole.bytes() {
        value = value.checked_mul(10)?.checked_add(figure(digit)?)?;
    }
    let mut fraction = fraction.bytes();
    for _ in 0..places {
        let digit = match fraction.next() {
            Some(byte) => figure(byte)?,
            None => 0,
        };
        value = value.checked_mul(10)?.checked_add(digit)?;
    }
    if let Some(next) = fraction.next() {
        value = value.checked_add(i64::from(figure(next)? >= 5))?;
    }
    for byte in fraction {
        figure(byte)?;
    }
    Some(if negative { -value } else { value })
}

fn figure(byte: u8) -> Option<i64> {
    byte.is_ascii_digit().then(|| i64::from(byte - b'0'))
}

/// `value` in units of 10^-`places` as a decimal number without needless zeros behind the point.
pub fn write_decimal(value: i64, places: u32, out: &mut Vec<u8>) {
    write_fixed(value, places, out);
    if places > 0 {
        while out.last() == Some(&b'0') {
            out.pop();
        }
        if out.last() == Some(&b'.') {
            out.pop();
        }
    }
}

/// `value` in units of 10^-`places` as a decimal number with all its places.
pub fn write_fixed(value: i64, places: u32, out: &mut Vec<u8>) {
    if value < 0 {
        out.push(b'-');
    }
    let mut figures = [b'0'; 40];
    let mut at = figures.len();
    let mut rest = value.unsigned_abs();
    let mut written = 0;
    while rest > 0 || written <= places {
        if written == places && places > 0 {
            at -= 1;
            figures[at] = b'.';
        }
        at -= 1;
        // A remainder of ten fits any byte.
        figures[at] = b'0' + (rest % 10) as u8;
        rest /= 10;
        written += 1;
    }
    out.extend_from_slice(&figures[at..]);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fixed(value: i64, places: u32) -> String {
        let mut out = Vec::new();
        write_fixed(value, places, &mut out);
        String::from_utf8(out).expect("digits")
    }

    #[test]
    fn numbers_are_exact() {
        assert_eq!(parse_decimal("81.5", 1), Some(815));
        assert_eq!(parse_decimal("-3276.8", 1), Some(-32768));
        assert_eq!(parse_decimal(".25", 1), Some(3));
        assert_eq!(parse_decimal("-0.04", 1), Some(0));
        assert_eq!(parse_decimal("1e3", 0), None);
        assert_eq!(parse_decimal("", 0), None);
        assert_eq!(parse_decimal(".", 0), None);
        assert_eq!(parse_decimal("99999999999999999999", 0), None);
        assert_eq!(fixed(815, 1), "81.5");
        assert_eq!(fixed(-5, 3), "-0.005");
        assert_eq!(fixed(0, 2), "0.00");
        assert_eq!(fixed(7, 0), "7");
        assert_eq!(fixed(i64::MIN, 6), "-9223372036854.775808");
    }
}
