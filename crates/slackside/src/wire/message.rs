//! What desk and box say to each other.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use super::status::LinkStatus;
use crate::conditions::Condition;
use crate::daily::{Summary, Work};
use crate::input::Command;
use crate::record::{Anchor, CoreVersion};
use crate::units::Micros;
use crate::verdict::{Refusal, Verdict};

/// Bytes of a plan or a recording in one message, at most.
pub const CHUNK: usize = 192;
/// Verdicts in one reply, at most.
pub const EVENTS_A_REPLY: usize = 6;

/// What can be read as the bytes it is, piece by piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[non_exhaustive]
pub enum Window {
    /// The plan in force; empty without one.
    Plan,
    /// The recording of this number.
    Recording(u32),
    /// When the stop was proven last, and how often that is due: the bytes of [`ProofTests`].
    ProofTests,
    /// The days that the box has kept for wear, and the work marked among them: places of [`Summary::LENGTH`] bytes in any order, of which those
    /// that hold nothing are FF. Empty behind the last; no such window where the box keeps no days.
    Days,
    /// The day under way: the bytes of [`Today`].
    Today,
}

/// The day under way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Today {
    /// Its number.
    pub day: u16,
    /// How far it is: [looks](crate::daily::LOOK) of [`LOOKS_A_DAY`](crate::daily::LOOKS_A_DAY).
    pub looks: u16,
    /// Work that ratio and spacing depend on, done since settings were put in force last: they are to be learned anew.
    pub doubt: Option<Summary>,
}

impl Today {
    /// Its length.
    pub const LENGTH: usize = Summary::LENGTH + 4;

    /// Its bytes: number and looks, each 2 bytes, low byte first; and the bytes of the mark, FF without one.
    #[must_use]
    pub fn to_bytes(&self) -> [u8; Self::LENGTH] {
        let mut bytes = [0xFF; Self::LENGTH];
        let numbers = self.day.to_le_bytes().into_iter().chain(self.looks.to_le_bytes());
        let mark = self.doubt.iter().flat_map(Summary::to_bytes);
        bytes.iter_mut().zip(numbers.chain(mark)).for_each(|(slot, byte)| *slot = byte);
        bytes
    }

    /// From its bytes. A mark that cannot be read is none.
    #[must_use]
    pub fn from_bytes(bytes: &[u8; Self::LENGTH]) -> Option<Self> {
        let ([day, more, looks, more_looks], mark) = bytes.split_first_chunk()?;
        Some(Self {
            day: u16::from_le_bytes([*day, *more]),
            looks: u16::from_le_bytes([*looks, *more_looks]),
            doubt: mark.first_chunk().and_then(Summary::of_bytes),
        })
    }
}

/// What a box knows of its proof tests.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ProofTests {
    /// When the last one ended that passed, in minutes since 1970-01-01 00:00 UTC; 0 if no desk had told the box its time by then.
    /// `None` if none ever passed.
    pub passed_min: Option<u32>,
    /// The next is due so many days after it.
    pub every_days: u32,
}

impl ProofTests {
    /// The minutes where none passed.
    const NONE: u32 = u32::MAX;

    /// Its bytes: minutes, FFFFFFFF for none, and days; each 4 bytes, low byte first.
    #[must_use]
    pub fn to_bytes(self) -> [u8; 8] {
        let minutes = self.passed_min.unwrap_or(Self::NONE);
        (u64::from(minutes) | u64::from(self.every_days) << 32).to_le_bytes()
    }

    /// From its bytes.
    #[must_use]
    pub const fn from_bytes(bytes: [u8; 8]) -> Self {
        let both = u64::from_le_bytes(bytes);
        let minutes = both as u32;
        Self { passed_min: if minutes == Self::NONE { None } else { Some(minutes) }, every_days: (both >> 32) as u32 }
    }
}

/// What the desk asks. New requests go to the end; the order is part of the protocol.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[non_exhaustive]
pub enum Request<'a> {
    /// Who are you, and what time is it there?
    Hello,
    /// That is what my clock said: see [`Anchor::from_exchange`].
    Anchor(Anchor),
    /// How is the leg?
    Status,
    /// What happened after the verdict of this number? 0 for everything there is.
    Events {
        /// The number of the last one known.
        after: u32,
    },
    /// Which recordings do you have? The one at this position, newest first.
    Recording {
        /// 0 for the newest.
        position: u8,
    },
    /// A piece of what a window shows.
    Read {
        /// Which window.
        window: Window,
        /// Where the piece begins.
        offset: u32,
    },
    /// A piece of a new plan, in order; offset 0 begins anew. Changes nothing yet.
    Stage {
        /// Where the piece begins.
        offset: u16,
        /// The piece.
        bytes: &'a [u8],
    },
    /// Put the staged plan in force. The box checks it, and answers itself.
    Arm {
        /// The name of the leg meant, in UTF-8.
        leg: &'a [u8],
        /// The identity of the staged plan, as the box told it.
        identity: u32,
        /// What proves that whoever asks has the box's key: made over the plan and the newest [challenge](Self::Challenge).
        tag: &'a [u8],
    },
    /// A person at the desk asks for something.
    Command(Command),
    /// How is the box itself? Answered by the box, not by the core's server.
    Box,
    /// What is the tag of the next [`Arm`](Self::Arm) to be made over? Answered by the box.
    Challenge,
    /// Work was done on the leg today: keep that beside the days. Changes nothing else. Answered by the box.
    Mark {
        /// What was done.
        work: Work,
        /// A few words on it, in UTF-8, [`Summary::NOTE`] bytes at most.
        note: &'a [u8],
    },
}

/// Who the box is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello<'a> {
    /// The name of its leg in UTF-8, as the plan in force has it; empty without a plan.
    pub leg: &'a [u8],
    /// Its serial number.
    pub serial: &'a str,
    /// The version of its firmware.
    pub firmware: &'a str,
    /// The version of its core.
    pub core: CoreVersion,
    /// The identity of the plan in force, 0 without a plan.
    pub plan: u32,
    /// How often it was powered up: its running time begins anew with each.
    pub session: u32,
    /// Its running time.
    pub now: Micros,
    /// What the desk last said of its time, in this session.
    pub anchor: Option<Anchor>,
}

/// How the box itself is, apart from the leg.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct BoxStatus {
    /// The box's faults, present or waiting for a reset: one bit each, their order is the box's.
    pub faults: u32,
    /// The run permit's contacts are seen closed.
    pub run_given: bool,
    /// The feed permit's contact is seen closed.
    pub feed_given: bool,
    /// Whether a cut sensor line would show: head, boot.
    pub supervised_shafts: [bool; 2],
    /// Whether a rub contact's cut line would show, in the order of the places.
    pub supervised_contacts: [bool; 4],
    /// What came by a link and was refused: it is in no recording and no log.
    pub refused: Refused,
    /// A plan waits to be confirmed by a person at the box.
    pub waits_for_press: bool,
}

/// What a tag is made over besides the plan, so that no tag works twice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Challenge {
    /// How often the box was powered up: a number of its own, never given again.
    pub power_up: u32,
    /// How many challenges there were since.
    pub counter: u32,
}

/// Commands by a link that were refused.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refused {
    /// How many since power-up, held at the end of the type.
    pub count: u32,
    /// When the first was, in running time.
    pub first: Micros,
    /// When the last was.
    pub last: Micros,
}

impl Refused {
    /// One more, at `now`.
    pub fn add(&mut self, now: Micros) {
        if self.count == 0 {
            self.first = now;
        }
        self.last = now;
        self.count = self.count.saturating_add(1);
    }
}

/// A verdict with its number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Event {
    /// Counts up within a session, from 1.
    pub number: u32,
    /// What came out.
    pub verdict: Verdict,
}

/// A recording the box has stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RecordingInfo {
    /// Its number, to ask for it by.
    pub number: u32,
    /// Its length in bytes.
    pub length: u32,
    /// The session it is from.
    pub session: u32,
    /// When the leg tripped, in the running time of that session.
    pub tripped_at: Micros,
    /// What tripped it first.
    pub first_out: Option<Condition>,
    /// The identity of the plan then.
    pub plan: u32,
}

/// How far staging has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Staged {
    /// Bytes received in order.
    pub received: u16,
    /// The identity, once the plan is whole and undamaged: its rules are looked at when it is armed.
    pub identity: Option<u32>,
}

/// Why a request was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[non_exhaustive]
pub enum Reason {
    /// This box does not know the request.
    NotUnderstood,
    /// A person must do it at the box.
    OnlyAtTheLeg,
    /// The key at the box is off.
    KeyOff,
    /// There is no recording of that number or at that position.
    NoSuchRecording,
    /// There is nothing at that offset.
    NoSuchOffset,
    /// The memory of the box could not be read or written.
    Memory,
    /// The piece does not follow the one before: send the piece at this offset.
    OutOfOrder {
        /// Bytes received in order.
        received: u16,
    },
    /// It is longer than a plan.
    TooLong,
    /// The plan is damaged: send it again from the beginning.
    Damaged,
    /// The plan breaks the rule of this row: check it at the desk.
    RuleBroken {
        /// The number of the row.
        row: u16,
    },
    /// No whole plan is staged.
    NothingStaged,
    /// The identity is not that of the staged plan.
    OtherIdentity,
    /// The name is not that of this box's leg, or the staged plan is for another leg.
    OtherLeg,
    /// The leg is not proven to stand.
    LegTurns,
    /// The plan names something that this box has no input for.
    NotWired,
    /// The plan has more marks than this box has room for.
    NoRoom,
    /// As things stand the monitor would refuse this command.
    Monitor(Refusal),
    /// Too soon after the ones before: wait some seconds.
    TooOften,
    /// Another desk has the line.
    OtherDesk,
    /// This box has no key: nothing can be armed by a link.
    NoKey,
    /// There is no challenge, it has expired, or it was used.
    NoChallenge,
    /// The tag is not that of the box's key.
    WrongTag,
    /// This box keeps no days: it has no room for them, or its flash takes none any more.
    KeepsNoDays,
}

/// What the box answers. New replies go to the end; the order is part of the protocol.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[non_exhaustive]
#[allow(clippy::large_enum_variant, reason = "no heap to put the large ones on; replies do not linger")]
pub enum Reply<'a> {
    /// To [`Request::Hello`].
    #[serde(borrow)]
    Hello(Hello<'a>),
    /// It is done, or on its way: what a command did is told by the events.
    Done,
    /// To [`Request::Status`].
    Status(LinkStatus),
    /// To [`Request::Events`].
    Events {
        /// Verdicts after the one named that are no longer there.
        lost: u32,
        /// The next ones, oldest first; empty if there are none.
        events: Vec<Event, EVENTS_A_REPLY>,
    },
    /// To [`Request::Recording`].
    Recording(RecordingInfo),
    /// To [`Request::Read`]: a piece; empty at the end.
    Piece {
        /// Where it begins.
        offset: u32,
        /// Its bytes.
        bytes: &'a [u8],
    },
    /// To [`Request::Stage`].
    Staged(Staged),
    /// That of a box that arms at once. To [`Request::Arm`] a box answers [`Done`](Self::Done), and waits for a person.
    Armed {
        /// The identity of the plan before, 0 if none.
        old: u32,
        /// The identity of that now in force.
        new: u32,
    },
    /// No.
    Refused(Reason),
    /// To [`Request::Box`].
    Box(BoxStatus),
    /// To [`Request::Challenge`].
    Challenge(Challenge),
}
