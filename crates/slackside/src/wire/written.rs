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
                let window = match from.byte() {
                    0 => Window::Plan,
                    1 => Window::Recording(from.number()),
                    2 => Window::ProofTests,
                    _ => return None,
                };
                Self::Read { window, offset: from.number() }
            }
            6 => Self::Stage { offset: from.short(), bytes: from.bytes() },
            7 => Self::Arm { leg: from.bytes(), identity: from.number(), tag: from.bytes() },
            8 => Self::Command(from.command()?),
            9 => Self::Box,
            10 => Self::Challenge,
            _ => return None,
        };
        from.are_done().then_some(request)
    }
}

impl Message for Reply<'_> {
    fn write(&self, pen: &mut Pen<'_>) {
        pen.byte(match self {
            Self::Hello(_) => 0,
            Self::Done => 1,
            Self::Status(_) => 2,
            Self::Events { .. } => 3,
            Self::Recording(_) => 4,
            Self::Piece { .. } => 5,
            Self::Staged(_) => 6,
            Self::Armed { .. } => 7,
            Self::Refused(_) => 8,
            Self::Box(_) => 9,
            Self::Challenge(_) => 10,
        });
        match self {
            Self::Hello(said) => hello(said, pen),
            Self::Done => {}
            Self::Status(status) => pen.bytes(status.as_bytes()),
            #[cfg(feature = "desk")]
            Self::Events { lost, events } => {
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
                pen.number(info.number);
                pen.number(info.length);
                pen.number(info.session);
                pen.long(info.tripped_at.get());
                pen.condition(info.first_out);
                pen.number(info.plan);
            }
            Self::Piece { offset, bytes } => {
                pen.number(*offset);
                pen.bytes(bytes);
            }
            Self::Staged(staged) => {
                pen.number(staged.received.into());
                pen.byte(staged.identity.is_some().into());
                if let Some(identity) = staged.identity {
                    pen.number(identity);
                }
            }
            Self::Armed { old, new } => {
                pen.number(*old);
                pen.number(*new);
            }
            Self::Refused(why) => reason(*why, pen),
            Self::Challenge(challenge) => {
                pen.number(challenge.power_up);
                pen.number(challenge.counter);
            }
            Self::Box(status) => {
                pen.number(status.faults);
                let ([head, boot], [first, second, third, fourth]) =
                    (status.supervised_shafts, status.supervised_contacts);
                let flags = [status.run_given, status.feed_given, head, boot, first, second, third, fourth];
                pen.all(&flags.map(u8::from));
                pen.number(status.refused.count);
                pen.long(status.refused.first.get());
                pen.long(status.refused.last.get());
                pen.byte(status.waits_for_press.into());
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
    let kind = match reason {
        Reason::NotUnderstood => 0,
        Reason::OnlyAtTheLeg => 1,
        Reason::KeyOff => 2,
        Reason::NoSuchRecording => 3,
        Reason::NoSuchOffset => 4,
        Reason::Memory => 5,
        Reason::OutOfOrder { .. } => 6,
        Reason::TooLong => 7,
        Reason::Damaged => 8,
        Reason::RuleBroken { .. } => 9,
        Reason::NothingStaged => 10,
        Reason::OtherIdentity => 11,
        Reason::OtherLeg => 12,
        Reason::LegTurns => 13,
        Reason::NotWired => 14,
        Reason::NoRoom => 15,
        Reason::Monitor(_) => 16,
        Reason::TooOften => 17,
        Reason::OtherDesk => 18,
        Reason::NoKey => 19,
        Reason::NoChallenge => 20,
        Reason::WrongTag => 21,
    };
    pen.byte(kind);
    if let Reason::OutOfOrder { received: number } | Reason::RuleBroken { row: number } = reason {
        pen.number(number.into());
    }
    if let Reason::Monitor(refusal) = reason {
        pen.byte(refusal as u8);
    }
}

impl Message for Verdict {
    fn write(&self, pen: &mut Pen<'_>) {
        pen.long(self.at.get());
        pen.byte(match self.change {
            Change::Alarm { .. } => 0,
            Change::Permit { .. } => 1,
            Change::FirstOut(_) => 2,
            Change::Phase(_) => 3,
            Change::Accepted(..) => 4,
            Change::Refused(..) => 5,
            Change::ProofTest { .. } => 6,
        });
        match self.change {
            Change::Alarm { condition, from, to, value, setpoint, detail } => {
                pen.all(&[condition.id(), from as u8, to as u8, value.is_some().into()]);
                if let Some(value) = value {
                    pen.signed(value);
                }
                pen.signed(setpoint);
                pen.byte(detail);
            }
            Change::Permit { permit, allowed, because } => {
                pen.all(&[permit as u8, allowed.into()]);
                pen.condition(because);
            }
            Change::FirstOut(first) => pen.condition(first),
            Change::Phase(phase) => pen.byte(phase as u8),
            Change::Accepted(origin, command) => {
                pen.byte(origin as u8);
                pen.command(command);
            }
            Change::Refused(origin, command, refusal) => {
                pen.byte(origin as u8);
                pen.command(command);
                pen.byte(refusal as u8);
            }
            Change::ProofTest { passed } => pen.byte(passed.into()),
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
