//! Frames on a stream: *MODBUS Messaging on TCP/IP Implementation Guide V1.0b*, section 3.1.3.
//!
//! | bytes | what |
//! |---|---|
//! | 0, 1 | number of the request; the answer repeats it |
//! | 2, 3 | 0: Modbus |
//! | 4, 5 | bytes from here on |
//! | 6 | unit; the answer repeats it |
//! | 7 … | the message |

use crate::server::MOST_PDU;

/// Bytes before the message.
pub const HEADER: usize = 7;
/// The longest frame.
pub const MOST_FRAME: usize = HEADER + MOST_PDU;

/// A request taken from the front of a stream.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Request<'a> {
    /// Its number.
    pub transaction: [u8; 2],
    /// Whom it is for.
    pub unit: u8,
    /// What is asked.
    pub message: &'a [u8],
    /// How many bytes of the stream it took.
    pub taken: usize,
}

/// The stream is not Modbus, or has lost its place: there is no way back into step but a new connection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lost;

/// Take a request from the front of what came; `None` while it is not whole.
///
/// # Errors
/// [`Lost`].
pub fn take(came: &[u8]) -> Result<Option<Request<'_>>, Lost> {
    let Some((header, rest)) = came.split_first_chunk::<HEADER>() else { return Ok(None) };
    let [a, b, protocol_high, protocol_low, high, low, unit] = *header;
    let stated = usize::from(u16::from_be_bytes([high, low]));
    // The unit counts as well.
    let length = stated.wrapping_sub(1);
    if [protocol_high, protocol_low] != [0, 0] || !(1..=MOST_PDU).contains(&length) {
        return Err(Lost);
    }
    let taken = HEADER.wrapping_add(length);
    Ok(rest.get(..length).map(|message| Request { transaction: [a, b], unit, message, taken }))
}

/// What goes before an answer of so many bytes.
#[must_use]
pub const fn header(transaction: [u8; 2], unit: u8, length: usize) -> [u8; HEADER] {
    let [a, b] = transaction;
    // At most 254.
    let [high, low] = (length.saturating_add(1) as u16).to_be_bytes();
    [a, b, 0, 0, high, low, unit]
}

/// Whether a unit means the leg of this address. On TCP 0 and 255 mean whoever is reached (section 4.4.1.2); another leg's number must not
/// be answered with this leg's values.
#[must_use]
pub const fn is_for(unit: u8, address: u8) -> bool {
    unit == address || unit == 0 || unit == 255
}
