//! One shaft: from raw edges to an angle that counts, and the reasons not to trust it.
//!
//! The gate on width comes first: a level counts only if it is held. Real noise pulses are fractions of a microsecond to tens of
//! microseconds wide. A gate on gaps alone takes the noise and throws away the true edge after it; a gate on width waits until the
//! level has proven itself, and then stamps the edge with the time it happened.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use super::scatter::Scatter;
use super::spacing::{Mark, Share, Spacing};
use crate::arith::{high, mul_div};
use crate::input::LineState;
use crate::settings::plan::ShaftPlan;
use crate::signals::{ShaftSignals, distrust, pattern};
use crate::time::{FAR, age, held, reached};

/// Rejects closer together than this are one nuisance: a burst of a switching contactor, not many. In microseconds.
const BURST: u32 = 5_000;
/// So many pitches in a row must be wrong before the signal is.
const IN_A_ROW: u8 = 3;
/// A lost or extra edge must come back this often within [`PATTERN_TURNS`] to be a pattern.
const PATTERN: u8 = 3;
const PATTERN_TURNS: u8 = 8;
/// A pitch within this part (1/2^6) of last turn's is plain: scatter moves from about a 32nd.
const PLAIN_SHIFT: u32 = 6;

/// What a suspect pitch may hold: [`pattern::MISSING`], [`pattern::EXTRA`], or an extra edge whose next pitch made it whole.
const PAIRED: u8 = 4;

/// What a held level meant, as bits; none if it is no edge that counts, and nothing is to be told.
pub mod counted {
    /// What is known of the shaft changed, besides edges.
    pub const TOLD: u8 = 1;
    /// An edge that counts.
    pub const EDGE: u8 = 2;
    /// After rest, or the very first: what was before is another story.
    pub const FROM_REST: u8 = 4;
    /// A new spacing was adopted: what was measured stands, but windows begin afresh.
    pub const SPACING: u8 = 8;
    /// An edge was lost or extra: the last readings were wrong.
    pub const COUNT: u8 = 16;
}

/// Tracks one shaft. All zero is the state before the first edge, but for what [`begin`](ShaftView::begin) sets.
#[derive(Clone, Copy, Debug, Default, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct ShaftState {
    /// When the waiting level began.
    since: u32,
    last_reject: u32,
    /// Since when rejects and marks are counted.
    window_began: u32,
    /// The pitch before the suspect one: its time in microseconds and its share in 2^-32 turn. A suspect pitch may show a lost or an
    /// extra edge. The next one decides on a lost edge; on an extra edge the next must make it whole and the one after must be whole
    /// again, or else the shaft merely runs up.
    unsuspected: u32,
    unsuspected_share: u32,
    pub spacing: Spacing,
    pub scatter: Scatter,
    /// The level that counts, and the one that waits for its minimum width: 1 low, 2 high, 0 none.
    level: u8,
    waiting: u8,
    rejects: u8,
    marks_in_window: u8,
    rejected_since_edge: u8,
    trains: u8,
    too_fast: u8,
    suspect: u8,
    anomalies: u8,
    turns_since_anomaly: u8,
    marks_since_turn: u8,
    /// What the angle has beyond its 2^-24 turn, in 2^-32.
    low: u8,
    /// Whether nothing speaks against it and it has turned steadily for two turns, so that a pitch like last turn's is taken the
    /// short way. Found after a thorough edge; whatever disturbs it clears it.
    pub plain: u8,
    spare: [u8; 3],
}

impl ShaftState {
    /// When the waiting level will count, given the minimum width; `None` if none waits.
    pub const fn due(&self, width: u32) -> Option<u32> {
        if self.waiting == 0 { None } else { Some(self.since.wrapping_add(width)) }
    }

    pub fn sweep(&mut self, now: u32) {
        for stamp in [&mut self.last_reject, &mut self.window_began] {
            *stamp = held(now, *stamp);
        }
    }
}

/// One shaft with all that belongs to it.
pub struct ShaftView<'a> {
    pub state: &'a mut ShaftState,
    pub marks: &'a mut [Mark],
    pub plan: &'a ShaftPlan,
    pub signals: &'a mut ShaftSignals,
}

impl ShaftView<'_> {
    /// Begin with what the plan says; everything is zero.
    pub fn begin(&mut self, now: u32) {
        self.state.spacing.begin(self.plan, self.marks);
        self.state.window_began = now;
        self.state.last_reject = now.wrapping_sub(FAR);
    }

    /// A raw edge came, after everything due has been settled. Whether what is known of the shaft changed.
    pub fn raw(&mut self, at: u32, level: bool) -> bool {
        let state = &mut *self.state;
        let level = if level { 2 } else { 1 };
        if state.level == level {
            // Back to the level that counts: whatever waited was too narrow.
            let waited = core::mem::replace(&mut state.waiting, 0);
            return waited != 0 && self.reject(at);
        }
        let waited = state.waiting;
        // Before the first level has proven itself, either may be the true one: the newest waits.
        if waited != level {
            state.waiting = level;
            state.since = at;
        }
        waited != 0 && waited != level && self.reject(at)
    }

    /// The level that waited has been held long enough. Its edge, and bits of [`counted`].
    pub fn settle(&mut self) -> (u32, u8, i8) {
        let at = self.state.since;
        let level = core::mem::replace(&mut self.state.waiting, 0);
        self.state.level = level;
        let counts = match self.plan.edges {
            0 => level == 2,
            1 => level == 1,
            _ => true,
        };
        let (bits, weight) = if counts { self.edge(at) } else { (0, 0) };
        (at, bits, weight)
    }

    /// Edges never came here: the count means nothing until a whole turn has passed.
    pub fn lost(&mut self, at: u32) {
        self.signals.distrust |= distrust::EDGES_LOST;
        self.state.spacing.forget_turns();
        self.state.scatter.lose_step();
        self.state.suspect = 0;
        self.state.plain = 0;
        self.begin_window(at);
    }

    /// The supervised line changed.
    pub fn line(&mut self, line: LineState) {
        self.signals.line = line as u8;
        self.signals.distrust &= !(distrust::LINE_OPEN | distrust::LINE_SHORTED);
        self.signals.distrust |= match line {
            LineState::Sound => 0,
            LineState::Open => distrust::LINE_OPEN,
            LineState::Shorted => distrust::LINE_SHORTED,
        };
        self.state.plain = 0;
    }

    const fn begin_window(&mut self, at: u32) {
        self.state.window_began = at;
        self.state.marks_in_window = 0;
        self.state.rejects = 0;
    }

    const fn end_window(&mut self, at: u32) {
        if self.state.rejects <= self.plan.rejects_a_turn {
            self.signals.distrust &= !(distrust::REJECTS | distrust::EDGES_LOST);
        }
        self.begin_window(at);
    }

    /// Rejected edges move no reference; they are counted. Whether the trust in the signal changed.
    #[inline(never)]
    fn reject(&mut self, at: u32) -> bool {
        self.state.plain = 0;
        self.signals.rejected = self.signals.rejected.wrapping_add(1);
        if age(at, self.state.last_reject) < BURST {
            return false;
        }
        self.state.last_reject = at;
        let before = self.signals.distrust;
        if age(at, self.state.window_began) > self.plan.reject_window {
            self.end_window(at);
        }
        self.state.rejects = self.state.rejects.saturating_add(1);
        if self.state.rejects > self.plan.rejects_a_turn {
            self.signals.distrust |= distrust::REJECTS;
        }
        self.signals.distrust != before
    }

    fn edge(&mut self, at: u32) -> (u8, i8) {
        let time = age(at, self.signals.last_edge);
        let seen = self.signals.is_seen();
        if seen && time < self.plan.minimum_gap {
            // Close behind its edge it is bounce; further on it is one of a train that the gate thins out.
            self.state.rejected_since_edge |= u8::from(time >= self.plan.minimum_gap >> 2);
            if self.plan.uneven != 0 {
                // Over top speed it may have been one of two marks that lie close.
                self.state.scatter.lose_step();
            }
            return (if self.reject(at) { counted::TOLD } else { 0 }, 0);
        }
        self.signals.edges = self.signals.edges.wrapping_add(1);
        self.state.marks_in_window = self.state.marks_in_window.saturating_add(1);
        let before = (self.signals.distrust, self.signals.pattern);
        if self.state.marks_in_window >= self.plan.marks {
            self.end_window(at);
        }
        if self.state.plain != 0 && self.plainly(at, time) {
            // As little as the largest of weights against it: nothing can be taken from a score of nothing.
            return (counted::EDGE, -1);
        }
        let (bits, weight) =
            if seen && time <= self.plan.rest { self.turning(at, time) } else { self.begin_turning(at) };
        let told = before != (self.signals.distrust, self.signals.pattern);
        (bits | if told { counted::TOLD } else { 0 }, weight)
    }

    fn share(&self, index: u8) -> Share {
        self.state.spacing.share(self.plan, self.marks, index)
    }

    /// Turn on by a share of a turn.
    const fn forward(&mut self, share: u32) {
        let low = (share & 0xFF).wrapping_add(self.state.low as u32);
        self.state.low = low as u8;
        self.signals.angle = self.signals.angle.wrapping_add(share >> 8).wrapping_add(low >> 8);
    }

    /// The first edge after rest.
    fn begin_turning(&mut self, at: u32) -> (u8, i8) {
        let state = &mut *self.state;
        state.spacing.forget_turns();
        state.scatter.lose_step();
        state.spacing.pass(self.plan, self.marks, at, 0);
        state.suspect = 0;
        state.too_fast = 0;
        state.trains = 0;
        state.rejected_since_edge = 0;
        state.plain = 0;
        self.signals.seen = 1;
        // How much of a pitch was turned before this edge is not known; a whole one keeps angle and marks in step.
        let passed = self.arrive(at, 0);
        self.forward(passed);
        (counted::EDGE | counted::FROM_REST, 0)
    }

    /// At the mark passed last, after a pitch of so much time. Its angle.
    #[inline(never)]
    fn arrive(&mut self, at: u32, time: u32) -> u32 {
        let passed = self.share(self.state.spacing.index);
        self.signals.last_edge = at;
        self.signals.pitch = time;
        self.signals.pitch_angle = passed.angle;
        self.signals.pitch_largest = passed.largest;
        self.signals.next_largest = self.share(self.state.spacing.following(self.plan)).largest;
        passed.angle
    }

    /// An edge while everything is plain, if its pitch is as last turn's. What it leaves out would change nothing: the property that
    /// holds it against [`turning`](Self::turning) says so.
    fn plainly(&mut self, at: u32, time: u32) -> bool {
        let state = &mut *self.state;
        let then = state.spacing.gap_to_next(self.plan, self.marks);
        if time.abs_diff(then) > then >> PLAIN_SHIFT || time > self.plan.rest >> 1 || state.spacing.is_concluding() {
            return false;
        }
        let next = state.spacing.share(self.plan, self.marks, state.spacing.following(self.plan));
        // Time over expected time as in `compare`, but rounded to whole microseconds of a turn's share: so with a wide margin.
        let (seen, expected) = (high(time, self.signals.pitch_angle), high(self.signals.pitch, next.angle));
        if expected < 32
            || seen > expected.saturating_add(expected >> 2)
            || seen < expected.saturating_sub(expected >> 3)
            || time < high(next.least, self.plan.top_turn)
        {
            return false;
        }
        state.spacing.pass(self.plan, self.marks, at, then);
        state.scatter.then_before = then;
        self.count_turns();
        let passed = self.arrive(at, time);
        self.forward(passed);
        true
    }

    /// A pitch that ended within the time to rest.
    fn turning(&mut self, at: u32, time: u32) -> (u8, i8) {
        let then = self.state.spacing.gap_to_next(self.plan, self.marks);
        let news = self.state.spacing.pass(self.plan, self.marks, at, then);
        let mut weight = self.weigh(time, then);
        let passed = self.share(self.state.spacing.index);
        self.judge_rate(time, passed.least);
        // What the pitch before was held to be is no measure for this one where the table has just changed.
        let found = if news {
            self.state.suspect = 0;
            pattern::WHOLE
        } else {
            self.compare(time, passed.angle)
        };
        if found != pattern::WHOLE {
            self.state.scatter.lose_step();
            weight = 0;
            if found == pattern::MISSING {
                // The pitch seen was two: catch up by the one unseen.
                self.forward(passed.angle);
                self.state.spacing.skip(self.plan);
            } else {
                // Two pitches seen before this one were one.
                self.state.spacing.unskip(self.plan);
            }
        }
        self.count_turns();
        if found != pattern::WHOLE {
            self.count_anomaly(found);
        }
        let passed = self.arrive(at, time);
        if found != pattern::EXTRA {
            self.forward(passed);
        }
        let bits = if found != pattern::WHOLE {
            counted::COUNT
        } else if news {
            counted::SPACING
        } else {
            0
        };
        self.state.plain = u8::from(bits == 0 && time.abs_diff(then) <= then >> PLAIN_SHIFT && self.is_spotless());
        (counted::EDGE | bits, weight)
    }

    /// Whether nothing speaks against the shaft, and nothing is under way that a pitch like last turn's could change.
    const fn is_spotless(&self) -> bool {
        let state = &self.state;
        state.scatter.is_spotless()
            && state.scatter.is_steady(self.plan.marks)
            && state.spacing.is_learned()
            && state.suspect | state.rejects | state.trains | state.too_fast | state.anomalies == 0
            && self.signals.distrust == 0
            && state.turns_since_anomaly >= PATTERN_TURNS
            && self.signals.pattern == self.settled_pattern()
    }

    /// Over top speed, or a train thinned out by the gap gate, whatever speed is left of it: hum or chatter, never a speed.
    const fn judge_rate(&mut self, time: u32, least: u32) {
        let state = &mut *self.state;
        state.too_fast = if time < high(least, self.plan.top_turn) { state.too_fast.saturating_add(1) } else { 0 };
        state.trains = if state.rejected_since_edge != 0 { state.trains.saturating_add(1) } else { 0 };
        state.rejected_since_edge = 0;
        self.signals.distrust &= !(distrust::TOO_FAST | distrust::HUM);
        if state.too_fast >= IN_A_ROW {
            self.signals.distrust |= distrust::TOO_FAST;
        }
        if state.trains >= IN_A_ROW {
            self.signals.distrust |= distrust::HUM;
        }
    }

    /// Below a fifth of normal speed a leg that runs down may rock, and before uneven marks are learned a lost one is not noticed:
    /// nothing is held against the sensor then.
    const fn weigh(&mut self, time: u32, then: u32) -> i8 {
        let before = self.signals.pitch;
        if before == 0 || time > self.plan.rest >> 1 || self.state.spacing.is_unknown(self.plan) {
            self.state.scatter.lose_step();
            return 0;
        }
        self.state.scatter.take(time, before, then, self.plan.marks)
    }

    /// Whether this pitch confirms that the one before held a lost edge, or was cut by an extra one: a [`pattern`].
    fn compare(&mut self, time: u32, angle: u32) -> u8 {
        if self.state.spacing.is_unknown(self.plan) {
            return pattern::WHOLE;
        }
        if self.state.suspect != 0 {
            let found = self.resolve(time);
            if found != pattern::WHOLE || self.state.suspect != 0 {
                return found;
            }
        }
        let (before, share) = (self.signals.pitch, self.signals.pitch_angle);
        if before == 0 {
            return pattern::WHOLE;
        }
        // Time over expected time, both times the earlier share, a quarter of it: three times that still fits 64 bits.
        let seen = product(time, share) >> 2;
        let expected = product(before, angle) >> 2;
        self.state.suspect = if seen > expected.wrapping_add(expected >> 1) && seen < expected.wrapping_mul(3) {
            pattern::MISSING
        } else if seen < expected.wrapping_sub(expected >> 2) {
            pattern::EXTRA
        } else {
            return pattern::WHOLE;
        };
        self.state.unsuspected = before;
        self.state.unsuspected_share = share;
        pattern::WHOLE
    }

    /// What the suspect pitch before this one was. It stays suspect where the next pitch is to tell.
    #[inline(never)]
    fn resolve(&mut self, time: u32) -> u8 {
        let suspect = core::mem::replace(&mut self.state.suspect, 0);
        let spacing = &self.state.spacing;
        let whole =
            if suspect == pattern::MISSING { spacing.following(self.plan) } else { spacing.preceding(self.plan) };
        // What this pitch should take at the speed of the pitch before the suspect one.
        let whole = mul_div(self.state.unsuspected, self.share(whole).angle, self.state.unsuspected_share);
        if suspect == pattern::EXTRA {
            let both = self.signals.pitch.saturating_add(time);
            if near(both, whole, 3) && time < whole.saturating_sub(whole >> 2) {
                self.state.suspect = PAIRED;
            }
            return pattern::WHOLE;
        }
        if !near(time, whole, 2) {
            return pattern::WHOLE;
        }
        if suspect == PAIRED { pattern::EXTRA } else { pattern::MISSING }
    }

    /// What the pattern is said to be once nothing was lost or extra for long enough.
    const fn settled_pattern(&self) -> u8 {
        if self.state.spacing.is_unlike_settings() { pattern::MOVED } else { pattern::WHOLE }
    }

    /// A pitch more.
    #[inline(never)]
    const fn count_turns(&mut self) {
        let state = &mut *self.state;
        state.marks_since_turn = state.marks_since_turn.saturating_add(1);
        if state.marks_since_turn < self.plan.marks {
            return;
        }
        state.marks_since_turn = 0;
        state.turns_since_anomaly = state.turns_since_anomaly.saturating_add(1);
        if state.turns_since_anomaly >= PATTERN_TURNS {
            state.anomalies = 0;
            self.signals.pattern = self.settled_pattern();
        }
    }

    const fn count_anomaly(&mut self, found: u8) {
        let state = &mut *self.state;
        state.anomalies = state.anomalies.saturating_add(1);
        state.turns_since_anomaly = 0;
        if state.anomalies >= PATTERN {
            self.signals.pattern = found;
        }
    }
}

/// Whether a level waits and is due.
pub fn is_due(state: &ShaftState, width: u32, now: u32) -> bool {
    state.due(width).is_some_and(|due| reached(now, due))
}

/// The product of two 32-bit numbers, which fits 64 bits.
const fn product(a: u32, b: u32) -> u64 {
    (a as u64).wrapping_mul(b as u64)
}

/// Whether `value` is within 1/2^`shift` of `expected`.
const fn near(value: u32, expected: u32, shift: u32) -> bool {
    value.abs_diff(expected) <= expected.wrapping_shr(shift)
}
