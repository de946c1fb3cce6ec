//! One shaft: from raw edges to an angle that counts, and the reasons not to trust it.
//!
//! The gate on width comes first: a level counts only if it is held. Real noise pulses are fractions of a microsecond to tens of
//! microseconds wide. A gate on gaps alone takes the noise and throws away the true edge after it; a gate on width waits until the
//! level has proven itself, and then stamps the edge with the time it happened.

mod suspect;

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use super::scatter::Scatter;
use super::spacing::{Mark, Share, Spacing};
use crate::arith::{high, mul_div};
use crate::input::LineState;
use crate::settings::plan::ShaftPlan;
use crate::signals::{ShaftSignals, distrust, pattern, seen};
use crate::time::{FAR, age, held, reached};

/// Rejects closer together than this are one nuisance: a burst of a switching contactor, not many. In microseconds.
const BURST: u32 = 5_000;
/// So many pitches in a row must be wrong before the signal is.
const IN_A_ROW: u8 = 3;
/// What a lost or an extra edge adds to the score of its sensor; each edge takes one from it. So one in 300 is borne for good: a
/// tenth of a per cent at random is no pattern, one per cent is one within some 750 edges.
const LOSS: u16 = 300;
/// Of edges lost together so many count at most: a sensor that drops out once is no pattern.
const AT_ONCE: u8 = 4;
/// At this score it is a pattern, until nothing is left of it.
const PATTERN: u16 = 7 * LOSS;
/// A pitch within this part (1/2^6) of last turn's is plain: scatter moves from about a 32nd.
const PLAIN_SHIFT: u32 = 6;

/// What a suspect pitch may hold: [`pattern::MISSING`], [`pattern::EXTRA`], or an extra edge whose next pitch made it whole.
pub const PAIRED: u8 = 4;
/// The pitch after a long one was long too: both may hold lost edges.
pub const CHAINED: u8 = 5;

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
    /// An edge was lost or extra, and the count is mended.
    pub const MENDED: u8 = 16;
    /// Edges were lost, and how many is not sure: the last readings were wrong.
    pub const COUNT: u8 = 32;
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
    /// The pitch before the suspect one: its time in microseconds and its share in 2^-32 turn. A suspect pitch may show lost edges or an
    /// extra one. The next one decides on lost edges; on an extra edge the next must make it whole and the one after must be whole
    /// again, or else the shaft merely runs up.
    unsuspected: u32,
    unsuspected_share: u32,
    pub spacing: Spacing,
    pub scatter: Scatter,
    /// How often edges were lost or extra of late, see [`LOSS`].
    losses: u16,
    /// The level that counts, and the one that waits for its minimum width: 1 low, 2 high, 0 none.
    level: u8,
    waiting: u8,
    rejects: u8,
    marks_in_window: u8,
    rejected_since_edge: u8,
    trains: u8,
    too_fast: u8,
    pub suspect: u8,
    /// How many edges the suspect pitch may have lost.
    lost: u8,
    /// Marks that were missed in the last turn: [`Missed`].
    missed: [u8; 2],
    /// What the angle has beyond its 2^-24 turn, in 2^-32.
    low: u8,
    /// Whether nothing speaks against it and it has turned steadily for two turns, so that a pitch like last turn's is taken the
    /// short way. Found after a thorough edge; whatever disturbs it clears it.
    pub plain: u8,
    /// How many edges the next one may have lost too, if it is suspect with the one before.
    lost_more: u8,
}

/// A mark that gave no edge when it should have passed, in a byte: how many turns running, and which. Missed twice it is known to be
/// gone, and nothing waits for it, until it is seen again.
struct Missed;

impl Missed {
    /// No mark was missed.
    const NONE: [u8; 2] = [0; 2];
    const ONCE: u8 = 64;
    const MARK: u8 = 63;

    /// The mark, if it is gone; what is no mark if not.
    const fn gone(missed: u8) -> u8 {
        if missed >= 2 * Self::ONCE { missed & Self::MARK } else { u8::MAX }
    }
}

impl ShaftState {
    /// Whether a level waits whose edge counts: the other is [settled](Self::settle_level) when somebody looks.
    pub const fn waits(&self, plan: &ShaftPlan) -> bool {
        self.waiting != 0 && counts(plan, self.waiting)
    }

    /// When the edge that waits will count, given the minimum width; `None` if none waits.
    pub const fn due(&self, plan: &ShaftPlan, width: u32) -> Option<u32> {
        if self.waits(plan) { Some(self.since.wrapping_add(width)) } else { None }
    }

    /// A level whose edge does not count, held long enough by now, is the one the next edge leads away from.
    const fn settle_level(&mut self, plan: &ShaftPlan, width: u32, now: u32) {
        if self.waiting != 0 && !counts(plan, self.waiting) && age(now, self.since) >= width {
            self.level = self.waiting;
            self.waiting = 0;
        }
    }

    /// The marks known to be gone; what is no mark stands for none.
    pub fn gone(&self) -> [u8; 2] {
        self.missed.map(Missed::gone)
    }

    pub fn sweep(&mut self, plan: &ShaftPlan, width: u32, now: u32) {
        self.settle_level(plan, width, now);
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
    pub fn raw(&mut self, width: u32, at: u32, level: bool) -> bool {
        let state = &mut *self.state;
        state.settle_level(self.plan, width, at);
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

    /// The edge that waited has been held long enough. When it came, and bits of [`counted`]. Pitches no longer than `regain` can only be
    /// whole or hold lost edges.
    pub fn settle(&mut self, regain: u32) -> (u32, u8, i8) {
        let at = self.state.since;
        self.state.level = core::mem::replace(&mut self.state.waiting, 0);
        let time = age(at, self.signals.last_edge);
        if self.state.plain != 0 && self.plainly(at, time) {
            // As little as the largest of weights against it: nothing can be taken from a score of nothing.
            return (at, counted::EDGE, -1);
        }
        let (bits, weight) = self.edge(at, time, regain);
        (at, bits, weight)
    }

    /// Edges never came here: the count means nothing until a whole turn has passed.
    pub fn lost(&mut self, at: u32) {
        self.signals.distrust |= distrust::EDGES_LOST;
        self.state.spacing.forget_turns();
        self.state.scatter.lose_step();
        self.end_doubt();
        self.state.missed = Missed::NONE;
        self.state.plain = 0;
        self.begin_window(at);
    }

    /// What was in doubt is as it seemed.
    pub const fn end_doubt(&mut self) {
        self.state.suspect = 0;
        self.signals.seen &= !(seen::IN_DOUBT | seen::MAY_GO_ON);
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

    fn edge(&mut self, at: u32, time: u32, regain: u32) -> (u8, i8) {
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
        let (bits, weight) =
            if seen && time <= self.plan.rest { self.turning(at, time, regain) } else { self.begin_turning(at) };
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
        state.spacing.rest();
        state.scatter.lose_step();
        state.spacing.pass(self.plan, self.marks, at, 0);
        state.suspect = 0;
        state.too_fast = 0;
        state.trains = 0;
        state.rejected_since_edge = 0;
        state.plain = 0;
        // Which mark this is, is not known.
        state.missed = Missed::NONE;
        self.signals.seen = seen::SEEN;
        // How much of a pitch was turned before this edge is not known; a whole one keeps angle and marks in step.
        let passed = self.share(self.state.spacing.index);
        self.arrive(at, 0, passed);
        self.forward(passed.angle);
        (counted::EDGE | counted::FROM_REST, 0)
    }

    /// At the mark passed last, after a pitch of so much time and angle.
    #[inline(never)]
    fn arrive(&mut self, at: u32, time: u32, passed: Share) {
        self.signals.last_edge = at;
        self.signals.pitch = time;
        self.signals.pitch_angle = passed.angle;
        self.signals.pitch_largest = passed.largest;
        let mut next = self.state.spacing.following(self.plan);
        let mut largest = self.share(next).largest;
        for _ in self.state.missed {
            if self.state.missed == Missed::NONE || !self.is_gone(next) {
                break;
            }
            next = after(next, self.plan);
            largest = largest.saturating_add(self.share(next).largest);
        }
        self.signals.next_largest = largest;
    }

    fn is_gone(&self, mark: u8) -> bool {
        self.state.gone().contains(&mark)
    }

    /// The mark gave no edge.
    #[inline(never)]
    fn miss(&mut self, mark: u8) {
        let [first, second] = &mut self.state.missed;
        let slot = if *first & Missed::MARK == mark || *first < Missed::ONCE {
            first
        } else if *second & Missed::MARK == mark || *second < *first {
            second
        } else {
            first
        };
        let turns = if *slot & Missed::MARK == mark { *slot & !Missed::MARK } else { 0 };
        *slot = mark & Missed::MARK | turns.saturating_add(Missed::ONCE).min(2 * Missed::ONCE);
    }

    /// The mark gave an edge.
    fn see(&mut self, mark: u8) {
        for missed in &mut self.state.missed {
            if *missed & Missed::MARK == mark {
                *missed = 0;
            }
        }
    }

    /// Pass by the marks that are known to be gone, if the next pitch went over them: what they add to it.
    #[inline(never)]
    fn pass_gone(&mut self, time: u32) -> Share {
        let mut sum = Share::NONE;
        let first = self.state.spacing.following(self.plan);
        let alone = self.share(first).angle;
        // At half as much again as the first of them alone would take at the speed of the last pitch, it is back.
        let expected = mul_div(self.signals.pitch, alone, self.signals.pitch_angle);
        if time < expected.saturating_add(expected >> 1) {
            return sum;
        }
        for _ in self.state.missed {
            let next = self.state.spacing.following(self.plan);
            if !self.is_gone(next) {
                break;
            }
            let share = self.share(next);
            sum = sum.and(share);
            self.state.spacing.skip(self.plan);
        }
        if sum.angle != 0 {
            self.state.scatter.lose_step();
            self.lose(1, pattern::MISSING);
        }
        sum
    }

    /// An edge while everything is plain, if its pitch is as last turn's. What it leaves out would change nothing: the property that
    /// holds it against [`turning`](Self::turning) says so.
    fn plainly(&mut self, at: u32, time: u32) -> bool {
        let Self { state, marks, plan, signals } = self;
        let then = state.spacing.gap_to_next(plan, marks);
        if time.abs_diff(then) > then >> PLAIN_SHIFT
            || time > plan.rest >> 1
            || time < plan.minimum_gap
            || state.spacing.is_concluding()
        {
            return false;
        }
        let passed = state.spacing.following(plan);
        let share = state.spacing.share(plan, marks, passed);
        // Time over expected time as in `compare`, but rounded to whole microseconds of a turn's share: so with a wide margin.
        let (seen, expected) = (high(time, signals.pitch_angle), high(signals.pitch, share.angle));
        if expected < 32
            || seen > expected.saturating_add(expected >> 2)
            || seen < expected.saturating_sub(expected >> 3)
            || time < high(share.least, plan.top_turn)
        {
            return false;
        }
        state.spacing.pass(plan, marks, at, then);
        state.scatter.then_before = then;
        state.marks_in_window = state.marks_in_window.saturating_add(1);
        if state.marks_in_window >= plan.marks {
            (state.marks_in_window, state.window_began) = (0, at);
        }
        signals.edges = signals.edges.wrapping_add(1);
        signals.last_edge = at;
        signals.pitch = time;
        signals.pitch_angle = share.angle;
        signals.pitch_largest = share.largest;
        // No mark is missed: each has been seen in the last two turns, or an edge was lost.
        signals.next_largest = state.spacing.share(plan, marks, after(passed, plan)).largest;
        self.forward(share.angle);
        true
    }

    /// A pitch that ended within the time to rest.
    fn turning(&mut self, at: u32, time: u32, regain: u32) -> (u8, i8) {
        let gone = if self.state.missed == Missed::NONE || self.state.suspect != 0 {
            Share::NONE
        } else {
            self.pass_gone(time)
        };
        let then = self.state.spacing.gap_to_next(self.plan, self.marks);
        let news = self.state.spacing.pass(self.plan, self.marks, at, then);
        let mut weight = self.weigh(time, then);
        let mut passed = self.share(self.state.spacing.index).and(gone);
        self.judge_rate(time, passed.least);
        self.leak();
        // What the pitch before was held to be is no measure for this one where the table has just changed.
        let found = if news {
            self.state.suspect = 0;
            pattern::WHOLE
        } else {
            self.compare(time, passed.angle)
        };
        let mut bits = if news { counted::SPACING } else { 0 };
        if found != pattern::WHOLE {
            self.state.scatter.lose_step();
            weight = 0;
            bits = counted::MENDED;
            if found == pattern::MISSING {
                // A belt that slowed down and is at speed again looks the same where the pitches are long; and over more than a turn a
                // mark's place does not tell how many turns there were.
                if self.state.unsuspected > regain || self.turned_round() {
                    bits = counted::COUNT;
                }
                // The pitch seen was several: catch up by those unseen.
                self.catch_up();
            } else {
                // Two pitches seen before this one were one.
                self.state.spacing.unskip(self.plan);
            }
            passed = self.share(self.state.spacing.index);
            let edges = if found == pattern::MISSING { self.all_lost() } else { 1 };
            self.lose(edges, found);
        }
        if self.state.suspect == 0 {
            self.see(self.state.spacing.index);
        }
        self.arrive(at, time, passed);
        let in_doubt = matches!(self.state.suspect, pattern::MISSING | CHAINED) && self.is_of_pitches(time, regain);
        let short = self.state.unsuspected <= regain;
        self.signals.seen = seen::SEEN
            | match (in_doubt, short && self.plan.marks > 2 && self.may_go_on(self.state.suspect)) {
                (false, _) => 0,
                (true, false) => seen::IN_DOUBT,
                (true, true) => seen::IN_DOUBT | seen::MAY_GO_ON,
            };
        if found != pattern::EXTRA {
            self.forward(passed.angle);
        }
        self.state.plain = u8::from(bits == 0 && time.abs_diff(then) <= then >> PLAIN_SHIFT && self.is_spotless());
        (counted::EDGE | bits, weight)
    }

    /// Whether nothing speaks against the shaft, and nothing is under way that a pitch like last turn's could change.
    const fn is_spotless(&self) -> bool {
        let state = &self.state;
        state.scatter.is_spotless()
            && state.scatter.is_steady(self.plan.marks)
            && state.spacing.is_learned()
            && state.suspect | state.rejects | state.trains | state.too_fast == 0
            && state.losses == 0
            && self.signals.distrust == 0
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

    /// What the pattern is said to be once nothing was lost or extra for long enough.
    const fn settled_pattern(&self) -> u8 {
        if self.state.spacing.is_unlike_settings() { pattern::MOVED } else { pattern::WHOLE }
    }

    /// A pitch more: what was lost is a little longer ago.
    const fn leak(&mut self) {
        let state = &mut *self.state;
        state.losses = state.losses.saturating_sub(1);
        if state.losses == 0 {
            self.signals.pattern = self.settled_pattern();
        }
    }

    /// So many edges were lost, or were too many.
    fn lose(&mut self, edges: u8, found: u8) {
        let losses = self.state.losses.saturating_add(LOSS.saturating_mul(edges.min(AT_ONCE).into()));
        self.state.losses = losses.min(PATTERN + LOSS);
        if self.state.losses >= PATTERN {
            self.signals.pattern = found;
        }
    }
}

/// The mark after one.
const fn after(mark: u8, plan: &ShaftPlan) -> u8 {
    let next = mark.wrapping_add(1);
    if next >= plan.marks { 0 } else { next }
}

/// Whether the edge to this level counts.
const fn counts(plan: &ShaftPlan, level: u8) -> bool {
    match plan.edges {
        0 => level == 2,
        1 => level == 1,
        _ => true,
    }
}

/// Whether an edge waits and is due.
pub fn is_due(state: &ShaftState, plan: &ShaftPlan, width: u32, now: u32) -> bool {
    state.due(plan, width).is_some_and(|due| reached(now, due))
}

/// Whether `value` is within 1/2^`shift` of `expected`.
const fn near(value: u32, expected: u32, shift: u32) -> bool {
    value.abs_diff(expected) <= expected.wrapping_shr(shift)
}

#[cfg(test)]
#[path = "shaft_tests.rs"]
mod tests;
