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
    write_unsigned(value.unsigned_abs(), places, out);
}

/// Room for a number of 20 figures, and some.
const ROOM: usize = 24;
/// 00 to 99: to divide once for two figures is quicker.
const PAIRS: [[u8; 2]; 100] = {
    let (mut pairs, mut number) = ([[0; 2]; 100], 0);
    while number < 100 {
        pairs[number] = [b'0' + number as u8 / 10, b'0' + number as u8 % 10];
        number += 1;
    }
    pairs
};

/// The same of a number that is not negative; no more than 20 `places`.
pub fn write_unsigned(value: u64, places: u32, out: &mut Vec<u8>) {
    // What is right of the room is only ever copied along.
    let mut figures = [b'0'; 2 * ROOM];
    let (mut at, mut rest) = (ROOM, value);
    while rest > 0 {
        at -= 2;
        // A remainder of a hundred is an index.
        [figures[at], figures[at + 1]] = PAIRS[(rest % 100) as usize];
        rest /= 100;
    }
    let point = ROOM - places as usize;
    if figures[at] == b'0' {
        at += 1;
    }
    let at = at.min(point - 1);
    append(&figures[at..], point - at, out);
    if places > 0 {
        out.push(b'.');
        append(&figures[point..], ROOM - point, out);
    }
}

/// Append the first bytes, of which there is room for more: to copy as many each time is quicker than to count them.
fn append(bytes: &[u8], length: usize, out: &mut Vec<u8>) {
    let end = out.len() + length;
    if let Some(chunk) = bytes.first_chunk::<ROOM>() {
        out.extend_from_slice(chunk);
    }
    out.truncate(end);
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
        assert_eq!(
            (fixed(0, 0), fixed(0, 6), fixed(10, 1), fixed(1_000_000, 6)),
            ("0".into(), "0.000000".into(), "1.0".into(), "1.000000".into())
        );
        assert_eq!((fixed(100, 3), fixed(i64::MAX, 0)), ("0.100".into(), "9223372036854775807".into()));
        let mut out = Vec::new();
        write_unsigned(u64::MAX, 6, &mut out);
        assert_eq!(out, b"18446744073709.551615");
    }
}
