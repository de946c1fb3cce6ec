//! What the shafts do with the drive off: run down, settle, stand, roll back, or chatter.
//!
//! A sensor does not see which way a shaft turns, and a belt that comes to rest swings its pulleys to and fro: half a hertz, 20 degrees
//! either way, dying within four seconds (common practice, no source). What tells a leg that rolls back is that it *gains* speed, pitch
//! by pitch, further than any swing goes before it turns. Until a leg has settled only that counts; afterwards any turning does.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use super::speed::Pitches;
use super::view::View;
use crate::arith::mul_div;
use crate::input::Shaft;
use crate::signals::ShaftSignals;
use crate::time::{reached, wait};

/// Without an edge for so long, the edges counted at rest are forgotten: whatever moved or chattered has stopped.
const QUIET: u32 = 10_000_000;
/// So long after it was first proven to stand the belt may still be swinging: half as long again as a swing of half a hertz takes to die.
const SETTLING: u32 = 6_000_000;
/// Edges of both shafts from proven standstill that make a rollback: one of each can be a bucket settling.
const BOTH: u32 = 2;
/// Faster pitches in a row that make a rollback while running down: one can be the rock-back onto a backstop.
const FASTER: u8 = 2;
/// Once settled, both must add up to this part of a turn too, a quarter: the strands of a tall leg may swing the pulleys, and
/// with many targets that gives several edges. In 2^-24 turn, less a 4096th: pitches that make up a quarter reach it
/// whatever is not known of them.
const SWING: u32 = (1 << 22) - (1 << 12);
/// Gaining speed over this angle is a rollback: five sixteenths of a turn. A swing of 20 degrees either way goes through four times that
/// and two pitches at most in a whole period, which must bring it back to its slowest: 3 pitches of 12 targets, a quarter of a turn.
const GAINED: u32 = SWING + (1 << 20);
/// Faster than the slowest over a whole turn is a rollback too, gaining speed or not: by then a swing has died.
const WHOLE_TURN: u32 = (1 << 24) - (1 << 12);

/// One shaft with the drive off.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
struct Runner {
    /// Pitches in a row faster than the slowest.
    faster: u8,
    /// Pitches at rest so fast that they might pass for a running shaft.
    chatter: u8,
    spare: [u8; 2],
    /// Its count of edges when it came to rest.
    at_rest: u32,
    /// Angle at which the shaft came to rest, in 2^-24 turn.
    rested: u32,
    /// The slowest pitch so far, the one before, and the first of those that gain speed, each as the time of a turn in microseconds; 0 before
    /// there is one.
    slowest: u32,
    before: u32,
    first: u32,
    /// Angle of the pitches in a row that were faster than the slowest, and of those of them that gain speed, in 2^-24 turn.
    gathered: u32,
    gained: u32,
}

impl Runner {
    /// Count from here; a shaft that stands has stood for ever.
    fn begin(&mut self, shaft: &ShaftSignals, slowest: u32) {
        *self = Self { at_rest: shaft.edges, rested: shaft.angle, slowest, ..Self::default() };
    }

    /// A pitch while running down or standing. One is faster only above the first limit, chatter above the second.
    fn edge(&mut self, pitches: &Pitches<'_>, (brisk, chatters): (u32, u32)) {
        let shaft = pitches.shaft;
        if shaft.pitch == 0 {
            // It rested until this edge.
            (self.slowest, self.faster, self.gathered, self.gained) = (u32::MAX, 0, 0, 0);
            return;
        }
        if !pitches.is_closed() {
            return;
        }
        self.chatter = self.chatter.saturating_add(u8::from(shaft.fast_enough(chatters)));
        let now = mul_div(shaft.pitch, u32::MAX, shaft.pitch_angle);
        let faster = now < self.slowest.saturating_sub(self.slowest / 3) && shaft.fast_enough(brisk);
        let before = core::mem::replace(&mut self.before, now);
        if !faster {
            self.slowest = self.slowest.max(now);
            (self.faster, self.gathered, self.gained) = (0, 0, 0);
            return;
        }
        let angle = shaft.pitch_angle >> 8;
        if self.gained == 0 || now > before.saturating_add(before >> 3) {
            self.first = now;
            self.gained = 0;
        }
        self.faster = self.faster.saturating_add(1);
        self.gathered = self.gathered.saturating_add(angle);
        self.gained = self.gained.saturating_add(angle);
    }

    const fn since_rest(&self, shaft: &ShaftSignals) -> u32 {
        shaft.edges.wrapping_sub(self.at_rest)
    }

    /// Whether the shaft has turned from rest by more than a swing.
    const fn has_rolled(&self, shaft: &ShaftSignals) -> bool {
        self.since_rest(shaft) >= BOTH && shaft.angle.wrapping_sub(self.rested) >= SWING
    }

    /// Whether it got faster and faster by more than a swing does, or was faster for a whole turn.
    const fn runs_away(&self) -> bool {
        let gains = self.gained >= GAINED && self.before < self.first.saturating_sub(self.first / 5);
        self.faster >= FASTER && (gains || self.gathered >= WHOLE_TURN)
    }
}

/// Both shafts with the drive off.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Rest {
    head: Runner,
    boot: Runner,
    /// When edges at rest are forgotten, or the leg has settled.
    forget_at: u32,
    forgets: u8,
    /// Whether the leg stands but may still be settling.
    settles: u8,
    spare: [u8; 2],
}

impl Rest {
    /// Whether the head has given an edge since the leg came to rest.
    pub const fn head_has_turned(&self, head: &ShaftSignals) -> bool {
        self.head.since_rest(head) > 0
    }

    /// Whether a head that turns from rest has been started, where no drive contact says so: at its first edge once the leg has settled, by
    /// gaining speed before.
    pub const fn head_starts(&self) -> bool {
        self.settles == 0 || self.head.runs_away()
    }

    /// The drive went off, or the leg has settled: count from here.
    pub fn begin(&mut self, view: &View<'_>) {
        self.count_from_here(view, 0);
    }

    /// The leg came to rest: it may have to settle.
    pub fn came_to_rest(&mut self, view: &View<'_>) {
        self.count_from_here(view, u32::MAX);
        self.forget_at = view.now.us().wrapping_add(SETTLING);
        (self.forgets, self.settles) = (1, 1);
    }

    fn count_from_here(&mut self, view: &View<'_>, slowest: u32) {
        self.head.begin(&view.signals.head, slowest);
        self.boot.begin(&view.signals.boot, slowest);
        (self.forgets, self.settles) = (0, 0);
    }

    /// An edge of a shaft while running down or standing: pitches since then, and the limits of [`Runner::edge`].
    pub fn turns(&mut self, shaft: Shaft, pitches: &Pitches<'_>, limits: (u32, u32)) {
        match shaft {
            Shaft::Head => self.head.edge(pitches, limits),
            Shaft::Boot => self.boot.edge(pitches, limits),
        }
    }

    /// A change of motion while standing.
    pub fn standing(&mut self, view: &View<'_>, newest_edge: u32) {
        let (head, boot) = (&view.signals.head, &view.signals.boot);
        if self.settles == 0 && self.head.since_rest(head) | self.boot.since_rest(boot) != 0 {
            self.forget_at = newest_edge.wrapping_add(QUIET);
            self.forgets = 1;
        }
    }

    /// Forget edges at rest once nothing has followed for long enough, and those of settling.
    pub fn settle(&mut self, view: &View<'_>) {
        if self.forgets != 0 && reached(view.now.us(), self.forget_at) {
            self.begin(view);
        }
    }

    /// How long until they are forgotten; `u32::MAX` where there are none.
    pub const fn next(&self, now: u32) -> u32 {
        if self.forgets == 0 { u32::MAX } else { wait(now, self.forget_at) }
    }

    /// Whether the shafts roll back from standstill.
    pub fn rolls_from_rest(&self, view: &View<'_>) -> bool {
        if self.settles != 0 {
            return self.speeds_up(view);
        }
        self.head.has_rolled(&view.signals.head) && self.boot.has_rolled(&view.signals.boot)
    }

    /// Whether every shaft that is fitted got faster while running down.
    pub fn speeds_up(&self, view: &View<'_>) -> bool {
        (!view.plan.head.is_fitted() || self.head.runs_away()) && self.boot.runs_away()
    }

    /// Edges of the one shaft that chatters while the other stands; zero if both turn, and while the leg settles. What comes too slowly
    /// to pass for a running shaft does not count: a belt that the wind rocks takes one target to and fro before its sensor.
    pub fn edges_of_one(&self, view: &View<'_>) -> u32 {
        let (head, boot) = (&view.signals.head, &view.signals.boot);
        if self.settles != 0 || self.head.since_rest(head).min(self.boot.since_rest(boot)) >= BOTH {
            return 0;
        }
        let pitches = self.head.chatter.max(self.boot.chatter);
        // Of the first of its edges no pitch is known.
        u32::from(pitches).saturating_add(u32::from(pitches > 0))
    }
}

#[cfg(all(test, feature = "desk"))]
mod tests {
    use super::*;
    use crate::settings::Settings;
    use crate::signals::{Signals, seen};
    use crate::time::Now;
    use crate::units::Micros;

    /// All but a turn, so that a pitch takes as long as the turn that it stands for.
    const TURN: u32 = u32::MAX;
    /// Any pitch is fast enough for this limit.
    const ANY: u32 = u32::MAX;

    /// What a runner makes of pitches one after another, each in microseconds a turn and with its angle.
    fn after(mut runner: Runner, limits: (u32, u32), pitches: &[(u32, u32)]) -> Runner {
        let plan = Settings::example().check().expect("sound").plan();
        for (pitch, pitch_angle) in pitches {
            let shaft =
                ShaftSignals { pitch: *pitch, pitch_angle: *pitch_angle, seen: seen::SEEN, ..Default::default() };
            let signals = Signals { head: shaft, ..Signals::NONE };
            let view = View { plan: &plan, signals: &signals, now: Now::new(Micros::new(77)) };
            runner.edge(&Pitches::new(&view, &shaft, &plan.head, None), limits);
        }
        runner
    }

    fn slowest(slowest: u32) -> Runner {
        Runner { slowest, ..Default::default() }
    }

    #[test]
    fn a_pitch_is_faster_that_takes_less_than_two_thirds_of_the_slowest() {
        let limits = (ANY, 0);
        let same = after(slowest(900_000), limits, &[(600_000, TURN)]);
        assert_eq!((same.faster, same.slowest, same.before), (0, 900_000, 600_000));
        let faster = after(slowest(900_000), limits, &[(599_999, TURN)]);
        assert_eq!((faster.faster, faster.slowest, faster.first), (1, 900_000, 599_999));
        assert_eq!((faster.gathered, faster.gained), (TURN >> 8, TURN >> 8));
        // One that is not ends the row, and may be the slowest itself.
        let ended = after(faster, limits, &[(900_001, TURN)]);
        assert_eq!((ended.faster, ended.gathered, ended.gained, ended.slowest), (0, 0, 0, 900_001));
        // None is that is slower than what counts at all, and each that is fast enough for that is chatter.
        let brisk = |pitch| after(slowest(900_000), (500_000, 400_000), &[(pitch, TURN)]);
        assert_eq!((brisk(500_000).faster, brisk(499_999).faster), (0, 1));
        assert_eq!((brisk(400_000).chatter, brisk(399_999).chatter), (0, 1));
    }

    #[test]
    fn an_edge_from_rest_begins_anew_and_any_pitch_after_it_is_faster() {
        let row = after(slowest(900_000), (ANY, ANY), &[(500_000, TURN), (400_000, TURN)]);
        assert_eq!((row.faster, row.chatter), (2, 2));
        let rested = after(row, (ANY, ANY), &[(0, 0)]);
        assert_eq!((rested.slowest, rested.faster, rested.gathered, rested.gained), (u32::MAX, 0, 0, 0));
        assert_eq!(rested.chatter, 2, "what chattered stays counted");
        assert_eq!(after(rested, (ANY, ANY), &[(2_000_000_000, TURN)]).faster, 1);
    }

    #[test]
    fn speed_is_gained_as_long_as_no_pitch_takes_an_eighth_more_than_the_one_before() {
        let row = [(500_000, TURN), (400_000, TURN)];
        let gains = after(slowest(900_000), (ANY, 0), &[row[0], row[1], (450_000, TURN)]);
        assert_eq!((gains.first, gains.gained), (500_000, 3 * (TURN >> 8)));
        let lost = after(slowest(900_000), (ANY, 0), &[row[0], row[1], (450_001, TURN)]);
        assert_eq!((lost.first, lost.gained, lost.gathered), (450_001, TURN >> 8, 3 * (TURN >> 8)));
    }

    #[test]
    fn it_runs_away_by_gaining_a_fifth_over_the_angle_or_by_a_whole_turn() {
        let is = |faster, gained, gathered, first, before| {
            Runner { faster, gained, gathered, first, before, ..Default::default() }.runs_away()
        };
        assert!(is(FASTER, GAINED, GAINED, 500_000, 399_999));
        assert!(!is(FASTER, GAINED, GAINED, 500_000, 400_000), "a fifth is not more than a fifth");
        assert!(!is(FASTER, GAINED - 1, GAINED, 500_000, 399_999));
        assert!(!is(FASTER - 1, GAINED, GAINED, 500_000, 399_999));
        assert!(is(FASTER, 0, WHOLE_TURN, 500_000, 500_000));
        assert!(!is(FASTER, 0, WHOLE_TURN - 1, 500_000, 500_000));
        assert!(!is(FASTER - 1, 0, WHOLE_TURN, 500_000, 500_000));
    }

    #[test]
    fn it_has_rolled_by_two_edges_and_a_quarter_of_a_turn() {
        let runner = Runner { at_rest: u32::MAX, rested: u32::MAX - 5, ..Default::default() };
        let is = |edges: u32, angle: u32| {
            runner.has_rolled(&ShaftSignals {
                edges: u32::MAX.wrapping_add(edges),
                angle: (u32::MAX - 5).wrapping_add(angle),
                ..Default::default()
            })
        };
        assert!(is(BOTH, SWING) && !is(BOTH - 1, SWING) && !is(BOTH, SWING - 1));
    }
}
