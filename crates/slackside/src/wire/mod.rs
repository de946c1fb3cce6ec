//! The link between a box and a desk, over any stream of bytes.
//!
//! The link is **not authenticated**: whoever reaches the wire can read everything and send everything. It must be isolated.
//! What it can do is therefore bounded here, whoever sends: see [`Server`].
//!
//! # Frame, protocol version 3
//! A frame is sent as COBS (consistent overhead byte stuffing) and ends with a zero byte; nothing else on the wire is zero, so a
//! reader that has lost its place has it again after the next zero. Inside:
//!
//! | bytes | what |
//! |---|---|
//! | 0 | version of the protocol: 3 |
//! | 1 | number of the request; the reply repeats it |
//! | 2 … | the message in postcard's wire format: [`Request`] from the desk, [`Reply`] from the box |
//! | last 4 | CRC-32/ISO-HDLC of everything before, low byte first |
//!
//! The desk asks and the box answers each request with one reply; it never speaks unasked. What is bytes in the box goes over as these
//! bytes: the plan and recordings through [windows](Window), and [how the leg is](LinkStatus) whole.

mod cobs;
mod events;
mod frame;
mod message;
mod server;
mod status;
mod written;

pub use crate::codec::message::Message;
pub use events::{EventLog, EventsAfter};
pub use frame::{Decoder, Frame, FrameError, MOST_BODY, MOST_FRAME, PROTOCOL_VERSION, encode};
pub use message::{
    BoxStatus, CHUNK, Challenge, EVENTS_A_REPLY, Event, Hello, ProofTests, Reason, RecordingInfo, Refused, Reply,
    Request, Staged, Today, Window,
};
pub use server::{Asked, Server, Store, StoreFault, Surroundings};
pub use status::{LinkStatus, flags};
pub use written::Readable;
