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
//! # Segment, version 2
//! All numbers low byte first. "varint" and "zigzag": see [`varint`](crate::codec::varint).
//!
//! | bytes | what |
//! |---|---|
//! | 0 to 3 | the letters `SLsg` |
//! | 4 | version of the format: 2 |
//! | 5 | flags: 1 the plan was changed just before, 2 no segment precedes this one in its session |
//! | 6, 7 | length of the keyframe |
//! | 8 to 11 | sequence number, counting up within a session |
//! | 12 to 15 | session: how often the box has been powered up |
//! | 16 to 23 | time of the keyframe, microseconds |
//! | 24 to 27 | identity of the plan in force |
//! | 28 to 31 | identity of the plan before it, 0 if none |
//! | 32 to 34 | version of the core: major, minor, patch |
//! | 35 | layout of the state |
//! | 36 to 39 | inputs not recorded since the segment before, for lack of room |
//! | 40 to 43 | CRC-32 of the keyframe |
//! | 44 to 47 | CRC-32 of bytes 0 to 43 |
//! | 48 … | keyframe, then records |
//!
//! The keyframe is the [state's own bytes](crate::Monitor::parts), folded as [`fold`](crate::codec::fold) says.
//!
//! # Records
//! Records are told in halves of bytes, the upper half first, so that an edge takes what it needs. A first half of
//!
//! | first half | what | then |
//! |---|---|---|
//! | `s0rr` | edge of the shaft `s` (0 head, 1 boot) to the other level than its last | 1 half |
//! | `s10r` | the same | 2 halves |
//! | `s110` | the same | 3 halves |
//! | `0111` | the same, told in the next half: `s0rr` | 3 halves |
//! | | `s1nn` | 5, 6, 7 or 8 halves |
//! | `1111` | as the lower half of a byte: nothing, it only fills the byte | |
//! | | as the upper half: the lower half says what, as follows | whole bytes |
//!
//! | byte | what | then |
//! |---|---|---|
//! | `0xF0` | the moment from which the next record is reckoned | 8 bytes |
//! | `0xF1` | check | CRC-32 of everything from byte 0 but the keyframe |
//! | `0xF2` | end | zigzag varint of the time after the last record; CRC-32 of the state then, folded like a keyframe; CRC-32 as in a check |
//! | `0xF3` | [anchor](Anchor) | zigzag varint of the time after the record before; desk time, 8 bytes; uncertainty, 4 bytes |
//! | `0xF4` to `0xFE` | any input: `0xF4` plus the position in [`Signal`](crate::input::Signal) | the rest of it in postcard's wire format; zigzag varint of the time after the record before |
//!
//! An edge's time is told as its residue, in the bits `r` and the halves after them, highest first: the difference in microseconds from
//! the time expected, zigzagged. Expected is that the shaft takes as long as it did between two edges of the same kinds before: as the
//! second gap before, or as the fourth before, whichever of the two told a gap better when last their errors differed by 64 µs or
//! more; the second at first. (With one target the second before is that of a turn ago, with two the fourth.) Before there were so
//! many, a gap is zero, and the first is from the keyframe on. What the residue gives are the low 32 bits of the time; of all moments with these the one
//! nearest to the record before is meant. Where that is not the right one, or a time after the record before does not fit 32 bits, a
//! moment comes first.
//!
//! The width of a target is thus told in a byte, and the space to the next in one or two, whatever the number of targets: some
//! three bytes a target.
//!
//! CRCs are CRC-32/ISO-HDLC. The CRC of the keyframe is in the header, so that checks need not cover it twice. What a check
//! has confirmed stays readable whatever happens to the bytes after it.
//!
//! Segments of version 1 can be read where the `desk` feature is on: their inputs, not their keyframes.

mod anchor;
mod code;
mod header;
mod reader;
mod recorder;
mod state;
#[cfg(feature = "desk")]
mod v1;
mod writer;

pub use anchor::Anchor;
pub use code::Record;
pub use header::{CoreVersion, FORMAT_VERSION, Header, STATE_LAYOUT};
pub use reader::{Damage, End, Found, Reader, Records, Segment};
pub use recorder::{AFTER_TRIP, BEFORE_TRIP, Held, Recorder, SLOTS};
pub use state::BadKeyframe;
pub use writer::{NoRoom, Opening, SegmentWriter};
