//! Messages as a box writes and reads them: see [`message`](crate::codec::message).

use zerocopy::IntoBytes;

use super::message::{Hello, Reason, Reply, Request, Window};
use crate::codec::message::{Bytes, Message, Pen};
use crate::record::Anchor;
use crate::units::{Micros, Span};
use crate::verdict::{Change, Verdict};

/// What can be read as a message.
pub trait Readable<'a>: Sized {
    /// The message that these bytes are.
    fn read(bytes: &'a [u8]) -> Option<Self>;
}

impl<'a> Readable<'a> for Request<'a> {
    #[inline(never)]
    fn read(bytes: &'a [u8]) -> Option<Self> {
        let mut from = Bytes::new(bytes);
        let request = match from.byte() {
            0 => Self::Hello,
            1 => Self::Anchor(Anchor {
                at: Micros::new(from.long()),
                desk_us: from.signed_long(),
                uncertainty: Span::new(from.number()),
            }),
            2 => Self::Status,
            3 => Self::Events { after: from.number() },
            4 => Self::Recording { position: from.byte() },
            5 => {
                let window = if from.flag() { Window::Recording(from.number()) } else { Window::Plan };
                Self::Read { window, offset: from.number() }
            }
            6 => Self::Stage { offset: from.short(), bytes: from.bytes() },
            7 => Self::Arm { leg: from.bytes(), identity: from.number() },
            8 => Self::Command(from.command()?),
            9 => Self::Box,
            _ => return None,
        };
        from.are_done().then_some(request)
    }
}

impl Message for Reply<'_> {
    #[inline(never)]
    fn write(&self, pen: &mut Pen<'_>) {
        match self {
            Self::Hello(said) => hello(said, pen),
            Self::Done => Done.write(pen),
            Self::Status(status) => {
                pen.byte(2);
                pen.bytes(status.as_bytes());
            }
            #[cfg(feature = "desk")]
            Self::Events { lost, events } => {
                pen.byte(3);
                pen.number(*lost);
                pen.byte(events.len() as u8);
                for event in events {
                    pen.number(event.number);
                    event.verdict.write(pen);
                }
            }
            // A box sends what its log says: [`EventsAfter`](super::EventsAfter).
            #[cfg(not(feature = "desk"))]
            Self::Events { .. } => {}
            Self::Recording(info) => {
                pen.byte(4);
                pen.number(info.number);
                pen.number(info.length);
                pen.number(info.session);
                pen.long(info.tripped_at.get());
                pen.condition(info.first_out);
                pen.number(info.plan);
            }
            Self::Piece { offset, bytes } => {
                pen.byte(5);
                pen.number(*offset);
                pen.bytes(bytes);
            }
            Self::Staged(staged) => {
                pen.byte(6);
                pen.number(staged.received.into());
                pen.byte(staged.identity.is_some().into());
                if let Some(identity) = staged.identity {
                    pen.number(identity);
                }
            }
            Self::Armed { old, new } => {
                pen.byte(7);
                pen.number(*old);
                pen.number(*new);
            }
            Self::Refused(why) => reason(*why, pen),
            Self::Box(status) => {
                pen.byte(9);
                pen.number(status.faults);
                let ([head, boot], [first, second, third, fourth]) =
                    (status.supervised_shafts, status.supervised_contacts);
                let flags = [status.run_given, status.feed_given, head, boot, first, second, third, fourth];
                pen.all(&flags.map(u8::from));
            }
        }
    }
}

/// [`Reply::Done`], which as a constant would take the flash of the largest reply.
pub(super) struct Done;

impl Message for Done {
    fn write(&self, pen: &mut Pen<'_>) {
        pen.byte(1);
    }
}

fn hello(hello: &Hello<'_>, pen: &mut Pen<'_>) {
    pen.byte(0);
    pen.bytes(hello.leg);
    pen.bytes(hello.serial.as_bytes());
    pen.bytes(hello.firmware.as_bytes());
    pen.all(&[hello.core.major, hello.core.minor, hello.core.patch, hello.core.layout]);
    pen.number(hello.plan);
    pen.number(hello.session);
    pen.long(hello.now.get());
    pen.byte(hello.anchor.is_some().into());
    if let Some(Anchor { at, desk_us, uncertainty }) = hello.anchor {
        pen.long(at.get());
        pen.signed_long(desk_us);
        pen.number(uncertainty.get());
    }
}

fn reason(reason: Reason, pen: &mut Pen<'_>) {
    let (kind, number) = match reason {
        Reason::NotUnderstood => (0, None),
        Reason::OnlyAtTheLeg => (1, None),
        Reason::KeyOff => (2, None),
        Reason::NoSuchRecording => (3, None),
        Reason::NoSuchOffset => (4, None),
        Reason::Memory => (5, None),
        Reason::OutOfOrder { received } => (6, Some(received)),
        Reason::TooLong => (7, None),
        Reason::Damaged => (8, None),
        Reason::RuleBroken { row } => (9, Some(row)),
        Reason::NothingStaged => (10, None),
        Reason::OtherIdentity => (11, None),
        Reason::OtherLeg => (12, None),
        Reason::LegTurns => (13, None),
        Reason::NotWired => (14, None),
        Reason::NoRoom => (15, None),
    };
    pen.all(&[8, kind]);
    if let Some(number) = number {
        pen.number(number.into());
    }
}

impl Message for Verdict {
    fn write(&self, pen: &mut Pen<'_>) {
        pen.long(self.at.get());
        match self.change {
            Change::Alarm { condition, from, to, value, setpoint, detail } => {
                pen.all(&[0, condition.id(), from as u8, to as u8, value.is_some().into()]);
                if let Some(value) = value {
                    pen.signed(value);
                }
                pen.signed(setpoint);
                pen.byte(detail);
            }
            Change::Permit { permit, allowed, because } => {
                pen.all(&[1, permit as u8, allowed.into()]);
                pen.condition(because);
            }
            Change::FirstOut(first) => {
                pen.byte(2);
                pen.condition(first);
            }
            Change::Phase(phase) => pen.all(&[3, phase as u8]),
            Change::Accepted(origin, command) => {
                pen.all(&[4, origin as u8]);
                pen.command(command);
            }
            Change::Refused(origin, command, refusal) => {
                pen.all(&[5, origin as u8]);
                pen.command(command);
                pen.byte(refusal as u8);
            }
            Change::ProofTest { passed } => pen.all(&[6, passed.into()]),
        }
    }
}

/// At the desk by the library.
#[cfg(feature = "desk")]
impl<'a> Readable<'a> for Reply<'a> {
    fn read(bytes: &'a [u8]) -> Option<Self> {
        let (message, rest) = postcard::take_from_bytes(bytes).ok()?;
        rest.is_empty().then_some(message)
    }
}

/// At the desk by the library.
#[cfg(feature = "desk")]
impl Message for Request<'_> {
    fn write(&self, pen: &mut Pen<'_>) {
        // Longer than any message: what does not fit it fits no frame.
        let mut room = [0; 1024];
        match postcard::to_slice(self, &mut room) {
            Ok(bytes) => pen.all(bytes),
            Err(_) => pen.all(&room),
        }
    }
}
