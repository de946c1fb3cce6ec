//! Recordings: what went in, with a snapshot of the state at the start of each segment.
//!
//! Replaying a segment gives the same verdicts to the last bit, on the box and on the desk. Opinions are not recorded: they
//! come out again. Edges that the gates reject are inputs like any other and so recorded; edges lost on the way are inputs
//! too ([`EdgesLost`](crate::input::Signal::EdgesLost)); inputs that the recorder itself had no room for are counted in the
//! header of the next segment.
//!
//! ```text
//!  segment = header ─ keyframe ─ record ─ record ─ … ─ check ─ record ─ … ─ end
//! ```
//!
//! # Segment, version 1
//! All numbers low byte first. "varint": seven bits a byte, lowest first, the top bit says that more follow. "zigzag": 0, -1,
//! 1, -2 … as 0, 1, 2, 3 …
//!
//! | bytes | what |
//! |---|---|
//! | 0 to 3 | the letters `SLsg` |
//! | 4 | version of the format: 1 |
//! | 5 | flags: 1 settings were changed just before, 2 no segment precedes this one in its session |
//! | 6, 7 | raw edges a turn of the head and the boot, 0 if not fitted |
//! | 8 to 11 | sequence number, counting up within a session |
//! | 12 to 15 | session: how often the box has been powered up |
//! | 16 to 23 | time of the keyframe, microseconds |
//! | 24 to 27 | identity of the settings in force |
//! | 28 to 31 | identity of the settings before them, 0 if none |
//! | 32 to 34 | version of the core: major, minor, patch |
//! | 35 | layout of the keyframe |
//! | 36 to 39 | inputs not recorded since the segment before, for lack of room |
//! | 40 to 43 | CRC-32 of the keyframe |
//! | 44, 45 | length of the keyframe |
//! | 46, 47 | zero |
//! | 48 to 51 | CRC-32 of bytes 0 to 47 |
//! | 52 … | keyframe, then records |
//!
//! # Records
//! The first byte says what it is:
//!
//! | first byte | what | then |
//! |---|---|---|
//! | `1snnrrrr` | edge of the shaft `s` (0 head, 1 boot) to the other level than its last | `n` bytes |
//! | `0x10` to `0x1A` | any input: `0x10` plus the position in [`Signal`](crate::input::Signal) | the rest of it in postcard's wire format; zigzag varint of the time after the record before |
//! | `0x01` | check | CRC-32 of everything from byte 0 but the keyframe |
//! | `0x02` | end | varint of the time after the last record; varint of the number of inputs; CRC-32 of the state then, encoded like a keyframe; CRC-32 as in a check |
//! | `0x03` | [anchor](Anchor) | zigzag varint of the time after the record before; desk time, 8 bytes; uncertainty, 4 bytes |
//!
//! An edge's time is told as its residue: the difference in microseconds from the time expected, zigzagged, in the four bits `r`
//! and the `n` bytes after it, highest first. Expected is that the shaft takes as long as it did one turn ago between the same
//! two edges; before there is a turn, as between the edge before last and the one before it; before that, that no time has passed
//! since the edge before, or since the keyframe. So a steady leg needs two bytes an edge.
//!
//! CRCs are CRC-32/ISO-HDLC. The CRC of the keyframe is in the header, so that checks need not cover it twice. What a check
//! has confirmed stays readable whatever happens to the bytes after it.

mod anchor;
mod code;
mod header;
pub(crate) mod keep;
mod motion;
mod reader;
mod recorder;
mod state;
mod writer;

pub use anchor::Anchor;
pub use code::Record;
pub use header::{CoreVersion, FORMAT_VERSION, Header, STATE_LAYOUT};
pub use reader::{Damage, End, Reader, Records, Segment};
pub use recorder::{AFTER_TRIP, BEFORE_TRIP, Held, Recorder, SLOTS};
pub use state::{BadKeyframe, restore_parts};
pub use writer::{NoRoom, Opening, SegmentWriter};
