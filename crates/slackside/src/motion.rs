//! What measure knows, with whole times and in words: for the desk. A box has [`Signals`].

use crate::input::{ContactState, LineState, Place};
use crate::settings::plan::Plan;
use crate::signals::{self, Reading, Signals, rub};
use crate::time::Now;
use crate::units::{Micrometres, Micros, MicroturnsPerSecond, Ppm, Ratio, Span, TurnFraction, Turns};

/// One pitch: the stretch between two neighbouring edges of a shaft.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pitch {
    /// How long it took. Never zero.
    pub time: Span,
    /// The best estimate of its angle. A whole turn (one target) is held as `TurnFraction::MAX`.
    pub angle: TurnFraction,
    /// The largest angle it can have, given what is known of the spacing.
    pub largest: TurnFraction,
}

impl Pitch {
    /// The mean speed over the pitch: angle over time. Held at the end of the type; 0 if no time passed.
    #[must_use]
    pub const fn speed(&self) -> MicroturnsPerSecond {
        speed(self.angle, self.time)
    }
}

/// Angle over time, in microturns a second.
#[must_use]
pub const fn speed(angle: TurnFraction, time: Span) -> MicroturnsPerSecond {
    signals::speed(angle.get(), time.get())
}

/// What is wrong with what a target sensor says. Any of them means its signal is not to be trusted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Distrust(u8);

impl Distrust {
    /// More rejected edges in a turn than the settings allow.
    pub const REJECTS: Self = Self(1);
    /// Faster than the shaft can go.
    pub const TOO_FAST: Self = Self(2);
    /// A train of edges faster than targets can pass, again and again: hum on a cut wire, or chatter.
    pub const HUM: Self = Self(4);
    /// The supervised line is open.
    pub const LINE_OPEN: Self = Self(8);
    /// The supervised line is shorted.
    pub const LINE_SHORTED: Self = Self(16);
    /// Edges were lost before they came here.
    pub const EDGES_LOST: Self = Self(32);
    /// The boot's pitches scatter, to and fro, while the head turns steadily: the boot surges, or its sensor trembles.
    pub const SCATTER: Self = Self(64);
    /// The boot's edges are the head's, to the microsecond: the two wires are bridged.
    pub const BRIDGED: Self = Self(128);

    /// Nothing is wrong.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether every reason of `other` is among these.
    #[must_use]
    pub const fn contains(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    /// These and those of `other`.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// These without those of `other`.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// The reasons of these bits: each of the eight stands for one.
    #[must_use]
    pub const fn from_bits(bits: u8) -> Self {
        Self(bits)
    }

    /// The reasons as bits, lowest first in the order of the constants.
    #[must_use]
    pub const fn bits(self) -> u8 {
        self.0
    }
}

/// What the pattern of edges says about the targets themselves.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum TargetPattern {
    /// As many edges a turn as there are targets, or not enough turns to tell.
    #[default]
    Whole,
    /// An edge fails to come, again and again.
    Missing,
    /// An edge too many comes, again and again.
    Extra,
    /// As many as there should be, but they lie clearly outside the spacing in the settings.
    Moved,
}

/// What is known of one shaft.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ShaftMotion {
    /// Whether the settings fit a sensor here. If not, the rest means nothing.
    pub fitted: bool,
    /// When the newest edge that counts happened. `None` before the first.
    pub last_edge: Option<Micros>,
    /// The pitch that ended with it, if the shaft has turned that far since standstill.
    pub pitch: Option<Pitch>,
    /// The largest angle from the newest edge to the next: with the time waited, it bounds the speed.
    pub next_largest: TurnFraction,
    /// Angle turned since the monitor started, as far as counted: wraps after 256 turns.
    pub angle: Turns,
    /// Edges that count, wrapping.
    pub edges: u32,
    /// Edges rejected, wrapping.
    pub rejected: u32,
    /// Why the signal is not to be trusted, if it is not.
    pub distrust: Distrust,
    /// The state of its line, where supervised.
    pub line: LineState,
    /// What the pattern of edges says of the targets.
    pub pattern: TargetPattern,
}

impl ShaftMotion {
    /// The speed over the last whole pitch; `None` before there is one.
    #[must_use]
    pub fn speed(&self) -> Option<MicroturnsPerSecond> {
        self.pitch.map(|pitch| pitch.speed())
    }

    /// The largest speed the shaft can have at `now`: that of the last pitch, or less once the next edge is overdue.
    #[must_use]
    pub fn speed_at_most(&self, now: Micros) -> Option<MicroturnsPerSecond> {
        let measured = self.speed()?;
        let waited = now.since(self.last_edge?);
        if waited == Span::ZERO {
            return Some(measured);
        }
        Some(measured.min(speed(self.next_largest, waited)))
    }
}

/// What one window says of slip.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SlipReading {
    /// Not known: the window is not full, the head is silent, or a sensor is missing. Never to be read as "no slip".
    #[default]
    Unknown,
    /// Not known because an edge was lost or extra where it matters; not known since.
    Retracted,
    /// Measured over a whole window.
    Known(Ppm),
    /// The boot is overdue, or an edge of it is in doubt: the slip is this much or more.
    AtLeast(Ppm),
    /// Measured over a whole window, but where the head's marks lie is not known well: the slip is from the one to the other.
    Between(Ppm, Ppm),
}

impl SlipReading {
    /// The number, whether exact or a lower limit.
    #[must_use]
    pub const fn ppm(self) -> Option<Ppm> {
        match self {
            Self::Known(ppm) | Self::AtLeast(ppm) | Self::Between(ppm, _) => Some(ppm),
            Self::Unknown | Self::Retracted => None,
        }
    }

    /// Whether its number is a lower limit: there may be more slip.
    #[must_use]
    pub const fn is_limit(self) -> bool {
        matches!(self, Self::AtLeast(_) | Self::Between(..))
    }
}

/// What is known at one rub contact.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ContactMotion {
    /// Whether the settings fit a contact here.
    pub fitted: bool,
    /// What it says, chatter bridged: stays `Rubbing` until clear for the whole bridging time.
    pub state: ContactState,
    /// Since when the belt rubs, chatter bridged. `None` while it does not.
    pub rubbing_since: Option<Micros>,
    /// Whether it is clear but still bridged.
    pub bridged: bool,
    /// The share of the last belt loop on which it rubbed.
    pub duty: Ppm,
    /// Rubs counted, wrapping.
    pub count: u32,
}

/// The no-slip ratio as seen over a long block of whole boot turns.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SeenRatio {
    /// Boot turns over head turns in the block.
    pub ratio: Ratio,
    /// Largest less smallest slip over the sub-blocks of the block.
    pub spread: Ppm,
}

/// What measure knows at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Motion {
    /// The head shaft.
    pub head: ShaftMotion,
    /// The boot shaft.
    pub boot: ShaftMotion,
    /// Slip over one boot turn.
    pub slip_short: SlipReading,
    /// Slip over four boot turns.
    pub slip_long: SlipReading,
    /// How far the head pulley's rim has slid past the belt since the leg was last at rest.
    pub slipped: Micrometres,
    /// Head angle turned since the last boot edge, or since rest if there was none; both shafts fitted only.
    pub head_since_boot: Turns,
    /// The newest long-run ratio, if any.
    pub seen_ratio: Option<SeenRatio>,
    /// The rub contacts, in the order of [`Place::ALL`].
    pub contacts: [ContactMotion; Place::COUNT],
}

impl Motion {
    /// Nothing is known.
    pub const NONE: Self = {
        const SHAFT: ShaftMotion = ShaftMotion {
            fitted: false,
            last_edge: None,
            pitch: None,
            next_largest: TurnFraction::ZERO,
            angle: Turns::ZERO,
            edges: 0,
            rejected: 0,
            distrust: Distrust(0),
            line: LineState::Sound,
            pattern: TargetPattern::Whole,
        };
        const CONTACT: ContactMotion = ContactMotion {
            fitted: false,
            state: ContactState::Clear,
            rubbing_since: None,
            bridged: false,
            duty: Ppm::ZERO,
            count: 0,
        };
        Self {
            head: SHAFT,
            boot: SHAFT,
            slip_short: SlipReading::Unknown,
            slip_long: SlipReading::Unknown,
            slipped: Micrometres::ZERO,
            head_since_boot: Turns::ZERO,
            seen_ratio: None,
            contacts: [CONTACT; Place::COUNT],
        }
    };
}

impl Default for Motion {
    fn default() -> Self {
        Self::NONE
    }
}

impl ShaftMotion {
    fn of(from: &signals::ShaftSignals, fitted: bool, now: Now) -> Self {
        Self {
            fitted,
            last_edge: from.is_seen().then(|| now.whole(from.last_edge)),
            pitch: (from.pitch != 0).then(|| Pitch {
                time: Span::new(from.pitch),
                angle: TurnFraction::new(from.pitch_angle),
                largest: TurnFraction::new(from.pitch_largest),
            }),
            next_largest: TurnFraction::new(from.next_largest),
            angle: Turns::new(u64::from(from.angle) << 8),
            edges: from.edges,
            rejected: from.rejected,
            distrust: Distrust(from.distrust),
            line: match from.line {
                1 => LineState::Open,
                2 => LineState::Shorted,
                _ => LineState::Sound,
            },
            pattern: match from.pattern {
                signals::pattern::MISSING => TargetPattern::Missing,
                signals::pattern::EXTRA => TargetPattern::Extra,
                signals::pattern::MOVED => TargetPattern::Moved,
                _ => TargetPattern::Whole,
            },
        }
    }
}

impl SlipReading {
    fn of(from: Reading, unknown: u8) -> Self {
        let Reading { least, most } = from;
        if from.is_exact() {
            Self::Known(Ppm::new(least))
        } else if from.is_open() {
            Self::AtLeast(Ppm::new(least))
        } else if from.is_known() {
            Self::Between(Ppm::new(least), Ppm::new(most))
        } else if unknown == signals::unknown::RETRACTED {
            Self::Retracted
        } else {
            Self::Unknown
        }
    }
}

impl ContactMotion {
    fn of(from: &signals::ContactSignals, fitted: bool, now: Now) -> Self {
        Self {
            fitted,
            state: match from.state {
                rub::RUBBING => ContactState::Rubbing,
                rub::FAULTY => ContactState::Faulty,
                _ => ContactState::Clear,
            },
            rubbing_since: (from.rubs != 0).then(|| now.whole(from.since)),
            bridged: from.bridged != 0,
            duty: Ppm::new(from.duty),
            count: from.count,
        }
    }
}

impl Motion {
    /// The signals as they stand at `now`, on a leg with this plan.
    #[must_use]
    pub fn of(from: &Signals, plan: &Plan, now: Micros) -> Self {
        let mut motion = Self::NONE;
        motion.contacts(from, plan, now);
        motion.renew(from, plan, now);
        motion
    }

    /// The same of the newer signals `from`, where this is that of `before`: what moves least often is looked at only when it has.
    pub fn go_on(&mut self, before: &Signals, from: &Signals, plan: &Plan, now: Micros) {
        if from.contacts != before.contacts {
            self.contacts(from, plan, now);
        }
        self.renew(from, plan, now);
    }

    fn contacts(&mut self, from: &Signals, plan: &Plan, now: Micros) {
        for ((place, motion), contact) in Place::ALL.into_iter().zip(&mut self.contacts).zip(&from.contacts) {
            *motion = ContactMotion::of(contact, plan.has_contact(place), Now::new(now));
        }
    }

    /// All but the contacts.
    fn renew(&mut self, from: &Signals, plan: &Plan, now: Micros) {
        let now = Now::new(now);
        *self = Self {
            head: ShaftMotion::of(&from.head, plan.head.is_fitted(), now),
            boot: ShaftMotion::of(&from.boot, plan.boot.is_fitted(), now),
            slip_short: SlipReading::of(from.short, from.unknown),
            slip_long: SlipReading::of(from.long, from.unknown),
            slipped: Micrometres::new(from.slipped.into()),
            head_since_boot: Turns::new(u64::from(from.since_boot) << 8),
            seen_ratio: (from.ratio != 0)
                .then(|| SeenRatio { ratio: Ratio::new(from.ratio), spread: Ppm::new(from.ratio_spread) }),
            contacts: self.contacts,
        };
    }
}
