//! The rows that make up nearly all of a trace, read without ceremony.
//!
//! The csv library was tried first: 21 million rows a second, and nothing yet done with them. Edge rows as any logger writes
//! them are therefore taken apart here, and whatever looks the least bit different is left to the careful reader.

use slackside::input::{Input, Shaft, Signal};
use slackside::units::Micros;

/// The edge row that `bytes` begins with, and its length with its line end. `None`: not such a row, or not all of it.
pub fn edge_row(bytes: &[u8]) -> Option<(Input, usize)> {
    let mut time: u64 = 0;
    let mut figures = 0;
    // Nineteen figures cannot overflow.
    for byte in bytes.iter().take(19) {
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
