//! Bytes: check sums, short numbers, and state with its runs of zeros folded.
//!
//! What is kept or sent as plain bytes is low byte first, as every chip that the core is built for has it in memory.

pub mod crc;
pub mod fold;
pub mod message;
pub mod varint;

const _: () = assert!(cfg!(target_endian = "little"), "plain bytes are low byte first");
