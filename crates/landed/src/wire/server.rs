//! The box's end of the link.
//!
//! What it lets through, whoever sends:
//!
//! | request | key off | key on |
//! |---|---|---|
//! | reading anything, anchoring time | yes | yes |
//! | acknowledge | yes | yes |
//! | begin or end a proof test | no | yes, as judge decides |
//! | staging settings (changes nothing) | yes | yes |
//! | arming settings | no | with the leg proven to stand, its name matched and the identity echoed |
//! | reset, boot cleared, bypass, inching, key | no | no: only at the leg |
//!
//! The server never holds the monitor to change it: a command comes out as an input for the box to put in its place in the
//! order of time, with [`Origin::Link`], where judge looks at it once more.

use super::events::EventLog;
use super::message::{CHUNK, Hello, Reason, RecordingInfo, Reply, Request, SettingsState};
use super::status::LinkStatus;
use crate::Monitor;
use crate::input::{Command, Input, Origin, Signal};
use crate::record::{Anchor, CoreVersion};
use crate::settings::Settings;
use crate::units::Micros;
use crate::verdict::Phase;

/// The memory of the box could not be read or written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct StoreFault;

/// What the box keeps, as the server needs it.
pub trait Store {
    /// The image of the settings in force; empty without settings.
    fn settings_image(&self) -> &[u8];

    /// The recording at this position, newest first; `None` beyond the last.
    fn recording(&mut self, position: u8) -> Option<RecordingInfo>;

    /// Read a piece of a recording; how many bytes were read, 0 at the end; `None` if there is no such recording.
    ///
    /// # Errors
    /// The memory could not be read.
    fn read_recording(&mut self, number: u32, offset: u32, into: &mut [u8]) -> Result<Option<usize>, StoreFault>;

    /// Put these settings in force and keep them: the image is whole, its settings keep every rule, and the leg stands. The change
    /// of identity is to be recorded.
    ///
    /// # Errors
    /// The memory could not be written; the settings before stay in force.
    fn arm(&mut self, image: &[u8], old: u32, new: u32) -> Result<(), StoreFault>;
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

/// What the box is to do after a request, besides sending the reply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Asked {
    /// Nothing.
    Nothing,
    /// Give this input to the monitor, in its place in the order of time.
    Observe(Input),
    /// Give this to the recorder.
    Anchor(Anchor),
}

/// Answers requests. The memory for a staged image is the caller's: [`MOST_IMAGE_BYTES`](crate::settings::MOST_IMAGE_BYTES)
/// are enough for any.
pub struct Server<'b> {
    staging: &'b mut [u8],
    received: usize,
    length: usize,
    /// The identity of the staged settings, once they are whole and sound.
    staged: Option<u32>,
    piece: [u8; CHUNK],
}

impl<'b> Server<'b> {
    /// A server with nothing staged.
    #[must_use]
    pub const fn new(staging: &'b mut [u8]) -> Self {
        Self { staging, received: 0, length: 0, staged: None, piece: [0; CHUNK] }
    }

    /// Answer one request; `None` stands for a message that was not understood.
    pub fn answer<'a, const MARKS: usize, const EVENTS: usize>(
        &'a mut self,
        request: Option<Request<'_>>,
        around: &Surroundings<'a>,
        monitor: &Monitor<MARKS>,
        events: &EventLog<EVENTS>,
        store: &'a mut impl Store,
    ) -> (Reply<'a>, Asked) {
        let answered = match request {
            None | Some(Request::Box) => Err(Reason::NotUnderstood),
            Some(Request::Hello) => {
                let image = store.settings_image();
                return (Reply::Hello(hello(image, around)), Asked::Nothing);
            }
            Some(Request::Anchor(anchor)) => return (Reply::Done, Asked::Anchor(anchor)),
            Some(Request::Status) => {
                Ok(Reply::Status(LinkStatus::of(monitor, around.now, around.key_on, events.newest())))
            }
            Some(Request::Events { after }) => {
                let (lost, events) = events.after(after);
                Ok(Reply::Events { lost, events })
            }
            Some(Request::Recording { position }) => {
                store.recording(position).map(Reply::Recording).ok_or(Reason::NoSuchRecording)
            }
            Some(Request::ReadRecording { number, offset }) => self.read_recording(number, offset, store),
            Some(Request::ReadSettings { offset }) => {
                let begin = usize::from(offset);
                let rest = store.settings_image().get(begin..).ok_or(Reason::NoSuchOffset);
                rest.map(|rest| Reply::Piece { offset: u32::from(offset), bytes: rest.get(..CHUNK).unwrap_or(rest) })
            }
            Some(Request::StageSettings { offset, length, bytes }) => {
                self.stage(offset, length, bytes).map(Reply::Staged)
            }
            Some(Request::ArmSettings { leg, identity }) => self.arm(leg, identity, around, monitor, store),
            Some(Request::Command(command)) => match gate(command, around.key_on) {
                Ok(()) => {
                    let signal = Signal::Command(Origin::Link, command);
                    return (Reply::Done, Asked::Observe(Input::new(around.now, signal)));
                }
                Err(reason) => Err(reason),
            },
        };
        (answered.unwrap_or_else(Reply::Refused), Asked::Nothing)
    }

    fn read_recording<'a>(&'a mut self, number: u32, offset: u32, store: &mut impl Store) -> Result<Reply<'a>, Reason> {
        let read = store.read_recording(number, offset, &mut self.piece).map_err(|StoreFault| Reason::Memory)?;
        let length = read.ok_or(Reason::NoSuchRecording)?;
        Ok(Reply::Piece { offset, bytes: self.piece.get(..length).ok_or(Reason::Memory)? })
    }

    fn forget(&mut self) {
        self.received = 0;
        self.length = 0;
        self.staged = None;
    }

    fn stage(&mut self, offset: u16, length: u16, bytes: &[u8]) -> Result<SettingsState, Reason> {
        let (offset, length) = (usize::from(offset), usize::from(length));
        if offset == 0 {
            self.forget();
            if length > self.staging.len() {
                return Err(Reason::TooLong);
            }
            self.length = length;
        }
        let received = u16::try_from(self.received).unwrap_or(u16::MAX);
        if offset != self.received || length != self.length {
            return Err(Reason::OutOfOrder { received });
        }
        let end = offset.saturating_add(bytes.len());
        let place = self.staging.get_mut(offset..end).filter(|_| end <= length).ok_or(Reason::TooLong)?;
        for (slot, byte) in place.iter_mut().zip(bytes) {
            *slot = *byte;
        }
        self.received = end;
        self.staged = None;
        if end == length {
            match self.sound() {
                Ok(identity) => self.staged = Some(identity),
                Err(reason) => {
                    self.forget();
                    return Err(reason);
                }
            }
        }
        Ok(SettingsState { received: u16::try_from(end).unwrap_or(u16::MAX), identity: self.staged })
    }

    /// The identity of what is staged, if it is whole and keeps every rule.
    fn sound(&self) -> Result<u32, Reason> {
        let image = self.staging.get(..self.length).ok_or(Reason::BadImage)?;
        let settings = Settings::from_image(image).map_err(|_| Reason::BadImage)?;
        let checked = settings.check_first().map_err(|_| Reason::RulesBroken)?;
        Ok(checked.identity())
    }

    fn arm<'a, const MARKS: usize>(
        &mut self,
        leg: &str,
        identity: u32,
        around: &Surroundings<'_>,
        monitor: &Monitor<MARKS>,
        store: &mut impl Store,
    ) -> Result<Reply<'a>, Reason> {
        let staged = self.staged.ok_or(Reason::NothingStaged)?;
        let image = self.staging.get(..self.length).ok_or(Reason::NothingStaged)?;
        let new = Settings::from_image(image).map_err(|_| Reason::NothingStaged)?;
        // Read anew: memory that changed since must not be armed.
        if staged != identity || new.identity() != identity {
            return Err(Reason::OtherIdentity);
        }
        if !around.key_on {
            return Err(Reason::KeyOff);
        }
        let old = Settings::from_image(store.settings_image()).ok();
        if new.machine.leg != leg || old.as_ref().is_some_and(|old| old.machine.leg != leg) {
            return Err(Reason::OtherLeg);
        }
        // Without settings nothing can be proven, and nothing is allowed either.
        if old.is_some() && monitor.status().phase != Phase::Standstill {
            return Err(Reason::LegTurns);
        }
        let old = old.map_or(0, |old| old.identity());
        store.arm(image, old, identity).map_err(|StoreFault| Reason::Memory)?;
        self.forget();
        Ok(Reply::Armed { old, new: identity })
    }
}

/// What the settings in force say of the box.
fn hello<'a>(image: &'a [u8], around: &Surroundings<'a>) -> Hello<'a> {
    let settings = Settings::from_image(image).ok();
    // The name is where the image has it: its length follows the eight bytes of the header.
    let name = settings.as_ref().and_then(|settings| {
        let begin = 9_usize;
        let bytes = image.get(begin..begin.checked_add(settings.machine.leg.len())?)?;
        core::str::from_utf8(bytes).ok()
    });
    Hello {
        leg: name.unwrap_or(""),
        serial: around.serial,
        firmware: around.firmware,
        core: CoreVersion::THIS,
        settings: settings.map_or(0, |settings| settings.identity()),
        session: around.session,
        now: around.now,
        anchor: around.anchor,
    }
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
        | Command::Inch(_) => Err(Reason::OnlyAtTheLeg),
    }
}
