//! Recordings of boxes: files that hold what went into a box, and that replay to the last bit.
//!
//! # File, version 2
//! All numbers low byte first.
//!
//! | bytes | what |
//! |---|---|
//! | 0 to 3 | the letters `SLrc` |
//! | 4 | version of the file's format: 2 |
//! | 5 to 7 | zero |
//! | 8 to 11 | length of the next part |
//! | 12 … | [`About`] in postcard's wire format |
//! | 4 bytes, then so many | length and bytes of the plan that the box ran on; length 0 if it is not known |
//! | 4 bytes, then so many | length and bytes of the segments, one behind the other: see `slackside::record` |
//! | 4 bytes, then so many | length and text of the settings file; length 0 if it is not known |
//! | last 4 | CRC-32/ISO-HDLC of everything before |
//!
//! The settings come last: of a file cut off, what was recorded is dearer.
//!
//! Files of version 1 are read too: in place of the plan they have an image of the settings, and no text; their keyframes are of a core
//! that is no more, so the replay begins afresh.
//!
//! The bytes of a box as they come, without a file around them, are read too; then the settings must be named.

mod convert;
mod csv;
mod file;
mod prepare;
mod prove;
mod what_if;

pub use convert::{Kind, convert, kind_of, record, to_dump};
pub use csv::{from_csv, is_recording_csv, to_csv};
pub use file::{About, MadeUnder, Part, Recording, Run, Source};
pub use prepare::{Prepared, recording_at};
pub use prove::{Proof, prove};
pub use what_if::{Divergence, what_if};
