//! The box's end of the link.
//!
//! What it lets through, whoever sends:
//!
//! | request | key off | key on |
//! |---|---|---|
//! | reading anything, anchoring time | yes | yes |
//! | acknowledge | yes | yes |
//! | begin or end a proof test | no | yes, as judge decides |
//! | staging a plan (changes nothing) | yes | yes |
//! | marking work done (changes no verdict) | handed to the box, which takes few | the same |
//! | arming it | handed to the box, which alone checks and arms | the same |
//! | reset, boot cleared, bypass, inching, key | no | no: only at the leg |
//!
//! The server never holds the monitor to change it: a command comes out as an input for the box to put in its place in the
//! order of time, with [`Origin::Link`], where judge looks at it once more.

use core::ops::Deref;

use zerocopy::IntoBytes;

use super::events::EventLog;
use super::message::{CHUNK, Hello, Reason, RecordingInfo, Reply, Request, Staged, Window};
use super::status::LinkStatus;
use super::written::Done;
use crate::Monitor;
use crate::codec::message::Message;
use crate::daily::Work;
use crate::input::{Command, Input, Origin, Signal};
use crate::record::{Anchor, CoreVersion};
use crate::settings::plan::Plan;
use crate::units::Micros;

/// The memory of the box could not be read or written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StoreFault;

/// What the box keeps, as the server needs it.
pub trait Store {
    /// The recording at this position, newest first; `None` beyond the last.
    fn recording(&mut self, position: u8) -> Option<RecordingInfo>;

    /// Read a piece of what a window other than the plan's shows; how many bytes were read, 0 at the end; `None` if there is no such
    /// thing.
    ///
    /// # Errors
    /// The memory could not be read.
    fn read(&mut self, window: Window, offset: u32, into: &mut [u8]) -> Result<Option<usize>, StoreFault>;
}

/// What is true of the box at the moment of a request.
#[derive(Clone, Copy, Debug)]
pub struct Surroundings<'a> {
    /// Its running time.
    pub now: Micros,
    /// Whether the key switch at the box is on, as its own input says. Never what the link says.
    pub key_on: bool,
    /// Its serial number.
    pub serial: &'a str,
    /// The version of its firmware.
    pub firmware: &'a str,
    /// How often it was powered up.
    pub session: u32,
    /// The newest anchor of this session.
    pub anchor: Option<Anchor>,
}

/// What the box is to do after a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Asked<'r> {
    /// Nothing more.
    Nothing,
    /// Give this input to the monitor, in its place in the order of time.
    Observe(Input),
    /// Give this to the recorder.
    Anchor(Anchor),
    /// Check what is [staged](Server::staged), arm it once a person at the box has confirmed it, and answer [`Reply::Done`], or why not:
    /// nothing was said yet.
    Arm {
        /// The name of the leg meant, in UTF-8.
        leg: &'r [u8],
        /// The identity that the desk wants armed.
        identity: u32,
        /// The tag over it.
        tag: &'r [u8],
    },
    /// Answer [`Reply::Challenge`]: nothing was said yet.
    Challenge,
    /// Keep this beside the days and answer [`Reply::Done`], or why not: nothing was said yet.
    Mark {
        /// What was done.
        work: Work,
        /// A few words on it.
        note: &'r [u8],
    },
    /// Answer [`Reply::Box`]: nothing was said yet.
    Box,
}

/// Answers requests. The memory for a staged plan is the caller's.
pub struct Server<'b> {
    staging: &'b mut Plan,
    received: u16,
    /// All of it was received and its CRC fits.
    whole: bool,
    piece: [u8; CHUNK],
}

impl<'b> Server<'b> {
    /// A server with nothing staged.
    #[must_use]
    pub const fn new(staging: &'b mut Plan) -> Self {
        Self { staging, received: 0, whole: false, piece: [0; CHUNK] }
    }

    /// Answer one request; `None` stands for a message that was not understood. The reply is handed to `say`, but where the box answers
    /// itself.
    pub fn answer<'r, P: Deref<Target = Plan>, const MARKS: usize, const EVENTS: usize>(
        &mut self,
        request: Option<Request<'r>>,
        around: &Surroundings<'_>,
        monitor: &Monitor<P, MARKS>,
        events: &EventLog<EVENTS>,
        store: &mut impl Store,
        say: &mut dyn FnMut(&dyn Message),
    ) -> Asked<'r> {
        self.answer_or_refuse(request, around, monitor, events, store, say).unwrap_or_else(|reason| {
            say(&Reply::Refused(reason));
            Asked::Nothing
        })
    }

    fn answer_or_refuse<'r, P: Deref<Target = Plan>, const MARKS: usize, const EVENTS: usize>(
        &mut self,
        request: Option<Request<'r>>,
        around: &Surroundings<'_>,
        monitor: &Monitor<P, MARKS>,
        events: &EventLog<EVENTS>,
        store: &mut impl Store,
        say: &mut dyn FnMut(&dyn Message),
    ) -> Result<Asked<'r>, Reason> {
        match request.ok_or(Reason::NotUnderstood)? {
            Request::Box => return Ok(Asked::Box),
            Request::Challenge => return Ok(Asked::Challenge),
            Request::Mark { work, note } => return Ok(Asked::Mark { work, note }),
            Request::Arm { leg, identity, tag } => return Ok(Asked::Arm { leg, identity, tag }),
            Request::Anchor(anchor) => {
                say(&Done);
                return Ok(Asked::Anchor(anchor));
            }
            Request::Command(command) => {
                gate(command, around.key_on)?;
                say(&Done);
                return Ok(Asked::Observe(Input::new(around.now, Signal::Command(Origin::Link, command))));
            }
            Request::Hello => say(&Reply::Hello(hello(monitor.plan(), around))),
            Request::Status => {
                say(&Reply::Status(LinkStatus::of(monitor, around.now, around.key_on, events.newest())));
            }
            Request::Events { after } => say(&events.after(after)),
            Request::Recording { position } => {
                say(&Reply::Recording(store.recording(position).ok_or(Reason::NoSuchRecording)?));
            }
            Request::Read { window, offset } => {
                let bytes = match window {
                    Window::Plan => {
                        let plan = monitor.plan().map_or(&[][..], IntoBytes::as_bytes);
                        let rest = plan.get(offset as usize..).ok_or(Reason::NoSuchOffset)?;
                        rest.get(..CHUNK).unwrap_or(rest)
                    }
                    window => {
                        let read = store.read(window, offset, &mut self.piece);
                        let length = read.map_err(|StoreFault| Reason::Memory)?.ok_or(Reason::NoSuchRecording)?;
                        self.piece.get(..length).ok_or(Reason::Memory)?
                    }
                };
                say(&Reply::Piece { offset, bytes });
            }
            Request::Stage { offset, bytes } => say(&Reply::Staged(self.stage(offset, bytes)?)),
        }
        Ok(Asked::Nothing)
    }

    /// What is staged, if it is whole and undamaged. Whether it is sound and may be armed is for the box to say.
    #[must_use]
    pub fn staged(&self) -> Option<&Plan> {
        // Looked at anew: memory that changed since must not be armed.
        (self.whole && self.staging.computed_crc() == self.staging.identity()).then_some(&*self.staging)
    }

    /// Nothing is staged any more: it has been armed.
    pub const fn forget(&mut self) {
        self.received = 0;
        self.whole = false;
    }

    #[inline(never)]
    fn stage(&mut self, offset: u16, bytes: &[u8]) -> Result<Staged, Reason> {
        if offset == 0 {
            self.forget();
        }
        if offset != self.received {
            return Err(Reason::OutOfOrder { received: self.received });
        }
        let begin = usize::from(offset);
        let end = begin.saturating_add(bytes.len());
        let place = self.staging.as_mut_bytes().get_mut(begin..end).ok_or(Reason::TooLong)?;
        for (slot, byte) in place.iter_mut().zip(bytes) {
            *slot = *byte;
        }
        // Within a plan, whose length fits.
        self.received = end as u16;
        self.whole = end == Plan::LENGTH;
        let identity = self.staged().map(Plan::identity);
        if self.whole && identity.is_none() {
            self.forget();
            return Err(Reason::Damaged);
        }
        Ok(Staged { received: self.received, identity })
    }
}

/// What the plan in force says of the box.
fn hello<'a>(plan: Option<&'a Plan>, around: &Surroundings<'a>) -> Hello<'a> {
    Hello {
        leg: plan.map_or(&[], |plan| name(&plan.leg)),
        serial: around.serial,
        firmware: around.firmware,
        core: CoreVersion::THIS,
        plan: plan.map_or(0, Plan::identity),
        session: around.session,
        now: around.now,
        anchor: around.anchor,
    }
}

/// Without the zeros behind it.
fn name(mut bytes: &[u8]) -> &[u8] {
    while let [rest @ .., 0] = bytes {
        bytes = rest;
    }
    bytes
}

/// Whether a command may come by the link at all.
const fn gate(command: Command, key_on: bool) -> Result<(), Reason> {
    match command {
        Command::Acknowledge => Ok(()),
        Command::ProofTest(_) if key_on => Ok(()),
        Command::ProofTest(_) => Err(Reason::KeyOff),
        Command::Reset
        | Command::ResetButton(_)
        | Command::BootCleared
        | Command::Key(_)
        | Command::Bypass(..)
        | Command::EndBypass
        | Command::Inch(_)
        | Command::Armed { .. } => Err(Reason::OnlyAtTheLeg),
    }
}
