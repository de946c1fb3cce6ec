//! The rows that make up nearly all of a trace, read without ceremony.
//!
//! The csv library was tried first: 21 million rows a second, and nothing yet done with them. Edge rows as any logger writes
//! them are therefore taken apart here, and whatever looks the least bit different is left to the careful reader.

use slackside::input::{Input, Shaft, Signal};
use slackside::units::Micros;

/// The edge row that `bytes` begins with, and its length with its line end. `None`: not such a row, or not all of it.
pub fn edge_row(bytes: &[u8]) -> Option<(Input, usize)> {
    let (mut time, mut figures) = bytes.first_chunk().and_then(eight).map_or((0, 0), |time| (time, 8));
    // Nineteen figures cannot overflow.
    for byte in bytes.iter().take(19).skip(figures) {
        let figure = byte.wrapping_sub(b'0');
        if figure > 9 {
            break;
        }
        time = time * 10 + u64::from(figure);
        figures += 1;
    }
    if figures == 0 {
        return None;
    }
    let (shaft, rest) = match bytes.get(figures..)? {
        [b',', b'h', b'e', b'a', b'd', b',', rest @ ..] => (Shaft::Head, rest),
        [b',', b'b', b'o', b'o', b't', b',', rest @ ..] => (Shaft::Boot, rest),
        _ => return None,
    };
    let (level, line_end) = match rest {
        [level @ (b'0' | b'1'), b'\n', ..] => (*level == b'1', 1),
        [level @ (b'0' | b'1'), b'\r', b'\n', ..] => (*level == b'1', 2),
        _ => return None,
    };
    Some((Input::new(Micros::new(time), Signal::Edge(shaft, level)), figures + 7 + line_end))
}

/// The number that eight figures are; `None` if one of the bytes is none. All eight at once: neighbours are put together to numbers of
/// two figures, those to numbers of four, and those to one.
const fn eight(bytes: &[u8; 8]) -> Option<u64> {
    const EACH: u64 = 0x0101_0101_0101_0101;
    // The first figure comes lowest; each is now its own number in a byte, if all are figures.
    let ones = u64::from_le_bytes(*bytes) ^ (EACH * b'0' as u64);
    if (ones | ones.wrapping_add(EACH * 6)) & (EACH * 0xF0) != 0 {
        return None;
    }
    let twos = (ones * 10 + (ones >> 8)) & 0x00FF_00FF_00FF_00FF;
    let fours = (twos * 100 + (twos >> 16)) & 0x0000_FFFF_0000_FFFF;
    Some((fours * 10_000 + (fours >> 32)) & 0xFFFF_FFFF)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eight_figures_are_read_as_one_number_and_nothing_else_is() {
        for number in [0, 1, 12_345_678, 90_000_009, 99_999_999, 10_203_040, 55_555_555] {
            let text = format!("{number:08}");
            assert_eq!(eight(text.as_bytes().first_chunk().unwrap()), Some(number), "{text}");
        }
        let figures = *b"12345678";
        for place in 0..8 {
            for byte in 0..=u8::MAX {
                let mut bytes = figures;
                bytes[place] = byte;
                let read = str::from_utf8(&bytes).ok().filter(|text| text.bytes().all(|byte| byte.is_ascii_digit()));
                assert_eq!(eight(&bytes), read.map(|text| text.parse().unwrap()), "{bytes:?}");
            }
        }
    }

    #[test]
    fn times_of_any_length_are_read() {
        for time in [0, 7, 1_234_567, 12_345_678, 123_456_789, 9_999_999_999_999_999_999 / 10] {
            let row = format!("{time},boot,1\n");
            let (input, length) = edge_row(row.as_bytes()).unwrap();
            assert_eq!((input.at.get(), length), (time, row.len()));
        }
    }
}
