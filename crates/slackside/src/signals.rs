//! What measure tells judge: one plain value, borrowed and never copied on the way.
//!
//! Between inputs nothing here changes; what silence means is carried as its law (since when, and the largest angle to the next
//! target), from which judge finds the moment a limit is crossed. Stamps are the low halves of moments ([`crate::time`]). It is
//! also what tuning stores in columns.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::arith::{divide, high};
use crate::input::Place;
use crate::time::held;
use crate::units::{MicroturnsPerSecond, TurnFraction};

/// Angle over time, in microturns a second: held at the end of the type, 0 if no time passed.
#[must_use]
pub const fn speed(angle: u32, time: u32) -> MicroturnsPerSecond {
    // 1e6 * 2^32 / µs: the angle in nanoturns, rounded, times 1000.
    let nanoturns = ((angle as u64).wrapping_mul(1_000_000_000)).wrapping_add(1 << 31) >> 32;
    MicroturnsPerSecond::new(if time == 0 { 0 } else { divide(nanoturns.wrapping_mul(1_000), time) })
}

/// What is wrong with what a target sensor says. Any of them means its signal is not to be trusted.
pub mod distrust {
    /// More rejected edges in a turn than the settings allow.
    pub const REJECTS: u8 = 1;
    /// Faster than the shaft can go.
    pub const TOO_FAST: u8 = 2;
    /// A train of edges faster than targets can pass, again and again: hum on a cut wire, or chatter.
    pub const HUM: u8 = 4;
    /// The supervised line is open.
    pub const LINE_OPEN: u8 = 8;
    /// The supervised line is shorted.
    pub const LINE_SHORTED: u8 = 16;
    /// Edges were lost before they came here.
    pub const EDGES_LOST: u8 = 32;
    /// The boot's pitches scatter, to and fro, while the head turns steadily: the boot surges, or its sensor trembles.
    pub const SCATTER: u8 = 64;
    /// The boot's edges are the head's, to the microsecond: the two wires are bridged.
    pub const BRIDGED: u8 = 128;
}

/// What the pattern of edges says about the targets themselves.
pub mod pattern {
    /// As many edges a turn as there are targets, or not enough turns to tell.
    pub const WHOLE: u8 = 0;
    /// An edge fails to come, again and again.
    pub const MISSING: u8 = 1;
    /// An edge too many comes, again and again.
    pub const EXTRA: u8 = 2;
    /// As many as there should be, but they lie clearly outside the spacing in the settings.
    pub const MOVED: u8 = 3;
}

/// Whether a shaft was seen to turn.
pub mod seen {
    /// An edge has counted since the monitor started.
    pub const SEEN: u8 = 1;
    /// The last pitch took as long as several, and was too short for a belt to stand and be at speed again within it: edges may have been
    /// lost, and the next pitch will tell.
    pub const IN_DOUBT: u8 = 2;
    /// The next pitch may have lost some too, and the one after it will tell.
    pub const MAY_GO_ON: u8 = 4;
}

/// What is known of one shaft.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct ShaftSignals {
    /// The reasons of [`distrust`], as bits.
    pub distrust: u8,
    /// The state of its line, where supervised: 0 sound, 1 open, 2 shorted.
    pub line: u8,
    /// One of [`pattern`].
    pub pattern: u8,
    /// Whether an edge has counted since the monitor started, as bits of [`seen`].
    pub seen: u8,
    /// When the newest edge that counts happened. Means nothing before [`seen`](Self::seen).
    pub last_edge: u32,
    /// How long the pitch took that ended with it, in microseconds; 0 while the shaft has not turned so far since it rested.
    pub pitch: u32,
    /// The best estimate of that pitch's angle, in 2^-32 turn. A whole turn (one target) is held at the end of the type.
    pub pitch_angle: u32,
    /// The largest that angle can be, given what is known of the spacing.
    pub pitch_largest: u32,
    /// The largest angle from the newest edge to the next.
    pub next_largest: u32,
    /// Angle turned since the monitor started, in 2^-24 turn: wraps after 256 turns.
    pub angle: u32,
    /// Edges that count, wrapping.
    pub edges: u32,
    /// Edges rejected, wrapping.
    pub rejected: u32,
}

impl ShaftSignals {
    /// Whether an edge has counted since the monitor started.
    #[must_use]
    pub const fn is_seen(&self) -> bool {
        self.seen != 0
    }

    /// Whether edges may have been lost within the last pitch.
    #[must_use]
    pub const fn is_in_doubt(&self) -> bool {
        self.seen & seen::IN_DOUBT != 0
    }

    /// Whether the next pitch may have lost some too.
    #[must_use]
    pub const fn may_go_on(&self) -> bool {
        self.seen & seen::MAY_GO_ON != 0
    }

    /// The speed over the last whole pitch; `None` before there is one.
    #[must_use]
    pub const fn speed(&self) -> Option<MicroturnsPerSecond> {
        if self.pitch == 0 { None } else { Some(speed(self.pitch_angle, self.pitch)) }
    }

    /// Whether the last pitch was surely slower than a turn in `limit` microseconds. Not if there is none.
    #[must_use]
    pub const fn too_slow(&self, limit: u32) -> bool {
        self.pitch > high(self.pitch_largest, limit)
    }

    /// Whether the last pitch, by its best estimate, was at least as fast as a turn in `limit` microseconds. Not if there is none.
    #[must_use]
    pub const fn fast_enough(&self, limit: u32) -> bool {
        self.pitch != 0 && self.pitch <= high(self.pitch_angle, limit)
    }

    /// The angle of the last pitch.
    #[must_use]
    pub const fn turned(&self) -> TurnFraction {
        TurnFraction::new(self.pitch_angle)
    }
}

/// A reading of slip, in ppm: it lies from `least` to `most`, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Reading {
    /// It is no less.
    pub least: i32,
    /// It is no more; [`i32::MAX`] while the boot is overdue.
    pub most: i32,
}

impl Reading {
    /// Nothing is known. Never to be read as "no slip".
    pub const UNKNOWN: Self = Self { least: i32::MIN, most: i32::MAX };

    /// Measured over a whole window.
    #[must_use]
    pub const fn exact(ppm: i32) -> Self {
        Self { least: ppm, most: ppm }
    }

    /// The boot is overdue: so much or more.
    #[must_use]
    pub const fn at_least(ppm: i32) -> Self {
        Self { least: ppm, most: i32::MAX }
    }

    /// Whether anything is known.
    #[must_use]
    pub const fn is_known(self) -> bool {
        self.least != i32::MIN
    }

    /// Whether it only says "so much or more": the boot is overdue, or an edge of it is in doubt. Its next edges will tell.
    #[must_use]
    pub const fn is_open(self) -> bool {
        self.most == i32::MAX && self.is_known()
    }

    /// Whether it is one number.
    #[must_use]
    pub const fn is_exact(self) -> bool {
        self.least == self.most
    }
}

/// By so much the mean of slip moves before it is told anew, in ppm.
pub const MEAN_STEP: u32 = 1_000;

/// Why nothing is known of slip.
pub mod unknown {
    /// It is known; or the window is not full, the head is silent, or a sensor is missing.
    pub const PLAINLY: u8 = 0;
    /// Readings just given were wrong, because an edge was lost or extra; not known since.
    pub const RETRACTED: u8 = 1;
}

/// What a rub contact says.
pub mod rub {
    /// The belt does not touch it.
    pub const CLEAR: u8 = 0;
    /// The belt rubs, chatter bridged.
    pub const RUBBING: u8 = 1;
    /// Its line is cut or shorted: what the belt does there is not known.
    pub const FAULTY: u8 = 2;
}

/// What is known at one rub contact.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct ContactSignals {
    /// Since when the belt rubs, chatter bridged. Means nothing while it does not.
    pub since: u32,
    /// The share of the last belt loop on which it rubbed, in ppm.
    pub duty: i32,
    /// Rubs counted, wrapping.
    pub count: u32,
    /// One of [`rub`]: stays rubbing until clear for the whole bridging time.
    pub state: u8,
    /// Whether a rub goes on, 0 or 1: a faulty line does not end it.
    pub rubs: u8,
    /// Whether it is clear but still bridged, 0 or 1.
    pub bridged: u8,
    /// Loops of the belt in a row on which a rub began where one had begun a loop before, held at 255.
    pub loops: u8,
}

/// What measure knows at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Signals {
    /// The head shaft.
    pub head: ShaftSignals,
    /// The boot shaft.
    pub boot: ShaftSignals,
    /// Slip over one boot turn.
    pub short: Reading,
    /// Slip over four boot turns.
    pub long: Reading,
    /// Head angle turned since the last boot edge, or since rest if there was none, in 2^-24 turn, held at 256 turns; both shafts only.
    pub since_boot: u32,
    /// How far the head pulley's rim has slid past the belt since the leg was last at rest, in micrometres, held at the ends.
    pub slipped: i32,
    /// Mean slip since the leg was last at rest, the last 64 boot turns or so counting most, in ppm: told when it has moved by
    /// [`MEAN_STEP`].
    pub slip_mean: i32,
    /// The newest long-run ratio, in ppm; 0 before there is one.
    pub ratio: u32,
    /// Largest less smallest slip over that block, in ppm.
    pub ratio_spread: i32,
    /// Blocks ended, wrapping.
    pub ratio_blocks: u16,
    /// One of [`unknown`].
    pub unknown: u8,
    /// Always 0.
    pub spare: u8,
    /// The rub contacts, in the order of [`Place::ALL`].
    pub contacts: [ContactSignals; Place::COUNT],
}

impl Signals {
    /// Nothing is known.
    pub const NONE: Self = {
        const NOTHING: Signals = zerocopy::transmute!([0_u8; size_of::<Signals>()]);
        Self { short: Reading::UNKNOWN, long: Reading::UNKNOWN, ..NOTHING }
    };

    /// Hold past stamps; called at least every [`SWEEP`](crate::time::SWEEP).
    pub fn sweep(&mut self, now: u32) {
        let Self { head, boot, contacts, .. } = self;
        for shaft in [head, boot] {
            shaft.last_edge = held(now, shaft.last_edge);
        }
        for contact in contacts {
            contact.since = held(now, contact.since);
        }
    }
}

/// What moved with an input, as bits.
pub mod moved {
    /// A head edge counted.
    pub const HEAD: u8 = 1;
    /// A boot edge counted.
    pub const BOOT: u8 = 2;
    /// Anything else that judge looks at: a contact, a line, trust in a signal, its pattern, a block of the ratio that ended.
    pub const OTHER: u8 = 4;
}

#[cfg(test)]
mod tests {
    use super::*;

    const QUARTER: u32 = 1 << 30;

    #[test]
    fn speed_is_angle_over_time() {
        // A quarter turn in a quarter of a second is a turn a second.
        assert_eq!(speed(QUARTER, 250_000).get(), 1_000_000);
        assert_eq!(speed(QUARTER, 1_000_000).get(), 250_000);
        assert_eq!(speed(QUARTER, 0).get(), 0, "no time passed");
        assert_eq!(speed(u32::MAX, 1).get(), u32::MAX, "held");
        // Half a nanoturn is rounded up: 2 parts of 2^32 are 0.466 nanoturns, 3 are 0.698.
        assert_eq!((speed(2, 1_000).get(), speed(3, 1_000).get()), (0, 1));
    }

    #[test]
    fn a_pitch_is_held_against_a_turn() {
        // A quarter turn, but up to two parts in a hundred more, in a quarter of a second: a turn in one second, or little less.
        let shaft = ShaftSignals {
            pitch: 250_000,
            pitch_angle: QUARTER,
            pitch_largest: QUARTER / 50 * 51,
            ..Default::default()
        };
        assert_eq!(shaft.speed().map(MicroturnsPerSecond::get), Some(1_000_000));
        assert!(shaft.fast_enough(1_000_000) && !shaft.fast_enough(999_999));
        assert!(shaft.too_slow(980_000) && !shaft.too_slow(1_000_000));
        assert_eq!(shaft.turned(), TurnFraction::new(QUARTER));
        // The largest angle in 249,999 µs more is no slower than its limit; a microsecond more is.
        let exact = ShaftSignals { pitch_largest: QUARTER, ..shaft };
        assert!(!exact.too_slow(1_000_000) && ShaftSignals { pitch: 250_001, ..exact }.too_slow(1_000_000));
        // No pitch is neither slow nor fast.
        let none = ShaftSignals { pitch: 0, ..shaft };
        assert!(!none.fast_enough(u32::MAX) && !none.too_slow(0) && none.speed().is_none());
    }

    #[test]
    fn what_was_seen_of_a_shaft_is_told_apart() {
        let shaft = |seen| ShaftSignals { seen, ..Default::default() };
        let told = |seen| (shaft(seen).is_seen(), shaft(seen).is_in_doubt(), shaft(seen).may_go_on());
        assert_eq!(told(0), (false, false, false));
        assert_eq!(told(seen::SEEN), (true, false, false));
        assert_eq!(told(seen::SEEN | seen::IN_DOUBT), (true, true, false));
        assert_eq!(told(seen::SEEN | seen::MAY_GO_ON), (true, false, true));
    }

    #[test]
    fn a_reading_is_exact_open_or_nothing() {
        let told = |reading: Reading| (reading.is_known(), reading.is_open(), reading.is_exact());
        assert_eq!(told(Reading::UNKNOWN), (false, false, false));
        assert_eq!(told(Reading::exact(20_000)), (true, false, true));
        assert_eq!(told(Reading::at_least(20_000)), (true, true, false));
        assert_eq!(told(Reading { least: 1, most: 2 }), (true, false, false));
    }

    #[test]
    fn stamps_are_held_at_eighteen_minutes() {
        let mut signals = Signals::NONE;
        let now = crate::time::FAR + 50;
        (signals.head.last_edge, signals.boot.last_edge, signals.contacts[1].since) = (49, 50, 7);
        signals.sweep(now);
        assert_eq!((signals.head.last_edge, signals.boot.last_edge, signals.contacts[1].since), (50, 50, 50));
    }
}
