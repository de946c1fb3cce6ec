//! One shaft: from held levels to an angle that counts, and the reasons not to trust it.

use super::scatter::Scatter;
use super::spacing::{Share, Spacing};
use super::width::{Held, Raw, Width};
use crate::input::LineState;
use crate::math::{fraction, mul_div, share};
use crate::motion::{Distrust, Pitch, ShaftMotion, TargetPattern};
use crate::record::keep::keep;
use crate::settings::{Conditioning, CountedEdges, Targets, turn_time};
use crate::units::{Micros, MicroturnsPerSecond, Span};

/// Rejects closer together than this are one nuisance: a burst of a switching contactor, not many.
const BURST: Span = Span::from_millis(5);
/// So many pitches in a row must be wrong before the signal is.
const IN_A_ROW: u8 = 3;
/// A lost or extra edge must come back this often within [`PATTERN_TURNS`] to be a pattern.
const PATTERN: u8 = 3;
const PATTERN_TURNS: u8 = 8;

/// What a held level meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Counted {
    /// Not an edge that counts, and nothing to tell.
    No,
    /// Not an edge that counts, but what is known of the shaft changed.
    Told,
    /// An edge that counts.
    Edge {
        /// After rest, or the very first: what was before is another story.
        from_rest: bool,
        /// Past angles moved, or an edge was found lost or extra.
        broken: Option<Broken>,
    },
}

/// Why windows must begin afresh.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Broken {
    /// A new spacing was adopted: what was measured stands.
    Spacing,
    /// An edge was lost or extra: the last readings were wrong.
    Count,
}

/// A pitch that may show a lost or an extra edge. The next one decides on a lost edge; on an extra edge the next must make
/// it whole and the one after must be whole again, or else the shaft merely runs up.
#[derive(Clone, Copy, Debug, Default)]
struct Suspect {
    /// Time and share of the pitch before it, in microseconds and 2^-32 turn.
    before: (u32, u32),
    /// Its own time.
    time: u32,
    /// The next pitch made it whole.
    paired: bool,
    kind: TargetPattern,
}

/// Tracks one shaft.
#[derive(Clone, Debug)]
pub struct ShaftTracker<const MARKS: usize> {
    width: Width,
    edges: CountedEdges,
    spacing: Spacing<MARKS>,
    /// Counted edges closer together than this cannot be two targets.
    minimum_gap: Span,
    /// Microseconds a turn at top speed.
    top_turn: u32,
    /// Silence after which the shaft counts as having rested.
    rest: Span,
    /// Time in which rejects are counted if no turn ends sooner.
    reject_window: Span,
    rejects_allowed: u8,
    rejects: u8,
    last_reject: Option<Micros>,
    window_began: Micros,
    marks_in_window: u8,
    rejected_since_edge: bool,
    trains: u8,
    too_fast: u8,
    suspect: Option<Suspect>,
    anomalies: u8,
    turns_since_anomaly: u8,
    marks_since_turn: u8,
    scatter: Scatter,
}

keep!(Suspect { before, time, paired, kind });
keep!(@[const MARKS: usize] ShaftTracker<MARKS> {
    width,
    spacing,
    rejects,
    last_reject,
    window_began,
    marks_in_window,
    rejected_since_edge,
    trains,
    too_fast,
    suspect,
    anomalies,
    turns_since_anomaly,
    marks_since_turn,
    scatter,
} fixed { edges, minimum_gap, top_turn, rest, reject_window, rejects_allowed });

impl<const MARKS: usize> ShaftTracker<MARKS> {
    pub const fn new() -> Self {
        Self {
            width: Width::new(Span::ZERO),
            edges: CountedEdges::Rising,
            spacing: Spacing::new(),
            minimum_gap: Span::ZERO,
            top_turn: 0,
            rest: Span::MAX,
            reject_window: Span::MAX,
            rejects_allowed: 0,
            rejects: 0,
            last_reject: None,
            window_began: Micros::ZERO,
            marks_in_window: 0,
            rejected_since_edge: false,
            trains: 0,
            too_fast: 0,
            suspect: None,
            anomalies: 0,
            turns_since_anomaly: 0,
            marks_since_turn: 0,
            scatter: Scatter::NEW,
        }
    }

    /// As [`new`](Self::new), in its place, as [`Spacing::clear`] is.
    pub fn clear(&mut self) {
        let Self {
            width,
            edges,
            spacing,
            minimum_gap,
            top_turn,
            rest,
            reject_window,
            rejects_allowed,
            rejects,
            last_reject,
            window_began,
            marks_in_window,
            rejected_since_edge,
            trains,
            too_fast,
            suspect,
            anomalies,
            turns_since_anomaly,
            marks_since_turn,
            scatter,
        } = self;
        *width = Width::new(Span::ZERO);
        *edges = CountedEdges::Rising;
        spacing.clear();
        *minimum_gap = Span::ZERO;
        *top_turn = 0;
        *rest = Span::MAX;
        *reject_window = Span::MAX;
        *rejects_allowed = 0;
        *rejects = 0;
        *last_reject = None;
        *window_began = Micros::ZERO;
        *marks_in_window = 0;
        *rejected_since_edge = false;
        *trains = 0;
        *too_fast = 0;
        *suspect = None;
        *anomalies = 0;
        *turns_since_anomaly = 0;
        *marks_since_turn = 0;
        *scatter = Scatter::NEW;
    }

    /// Begin with these targets on a shaft of this normal speed.
    pub fn configure(&mut self, targets: &Targets, conditioning: &Conditioning, normal: MicroturnsPerSecond) {
        self.clear();
        self.width = Width::new(conditioning.minimum_width);
        self.edges = targets.edges;
        self.spacing.configure(targets);
        let normal_turn = turn_time(normal).get();
        let top = share(normal.get(), conditioning.top_speed.get());
        self.top_turn = turn_time(MicroturnsPerSecond::new(top)).get();
        // A fifth below the gap at top speed, so that a shaft over top speed is still seen as one.
        let closest = self.spacing.closest();
        self.minimum_gap = Span::new(share(fraction(closest, self.top_turn), 800_000));
        // A tenth of normal speed over the widest pitch: see `Measure` on rest.
        let widest = self.spacing.widest();
        self.rest = Span::new(fraction(widest, normal_turn).saturating_mul(10));
        self.reject_window = Span::new(normal_turn.saturating_mul(10));
        self.rejects_allowed = conditioning.rejects_a_turn;
    }

    /// When a waiting level will count; the end of time if none waits.
    pub const fn deadline(&self) -> Micros {
        self.width.deadline()
    }

    pub const fn spacing(&self) -> &Spacing<MARKS> {
        &self.spacing
    }

    pub const fn scatter_mut(&mut self) -> &mut Scatter {
        &mut self.scatter
    }

    /// Whether it turns steadily.
    pub const fn is_steady(&self) -> bool {
        self.scatter.is_steady(self.spacing.count())
    }

    /// A raw edge came. Whether what is known of the shaft changed.
    pub fn raw(&mut self, at: Micros, level: bool, motion: &mut ShaftMotion) -> bool {
        match self.width.edge(at, level) {
            Raw::Waits => false,
            Raw::Narrow => self.reject(at, motion),
        }
    }

    /// The level that waited, if it has proven itself at `now`.
    pub fn settle(&mut self, now: Micros, motion: &mut ShaftMotion) -> Option<(Micros, Counted)> {
        let held = self.width.settle(now)?;
        Some((held.since, self.held(held, motion)))
    }

    /// Edges never came here: the count means nothing until a whole turn has passed.
    pub fn lost(&mut self, at: Micros, motion: &mut ShaftMotion) {
        motion.distrust = motion.distrust.with(Distrust::EDGES_LOST);
        self.spacing.forget_turns();
        self.scatter.lose_step();
        self.suspect = None;
        self.begin_window(at);
    }

    /// The supervised line changed.
    pub fn line(state: LineState, motion: &mut ShaftMotion) {
        motion.line = state;
        let cleared = motion.distrust.without(Distrust::LINE_OPEN).without(Distrust::LINE_SHORTED);
        motion.distrust = match state {
            LineState::Sound => cleared,
            LineState::Open => cleared.with(Distrust::LINE_OPEN),
            LineState::Shorted => cleared.with(Distrust::LINE_SHORTED),
        };
    }

    /// Mended after it landed: the first window begins when time becomes known, not at the beginning of time.
    pub fn time_known(&mut self, at: Micros) {
        if self.window_began == Micros::ZERO {
            self.window_began = at;
        }
    }

    fn begin_window(&mut self, at: Micros) {
        self.window_began = at;
        self.marks_in_window = 0;
        self.rejects = 0;
    }

    /// Rejected edges move no reference; they are counted. Whether the trust in the signal changed.
    fn reject(&mut self, at: Micros, motion: &mut ShaftMotion) -> bool {
        motion.rejected = motion.rejected.wrapping_add(1);
        let burst = self.last_reject.is_some_and(|last| at.since(last) < BURST);
        if burst {
            return false;
        }
        self.last_reject = Some(at);
        // Mended after it landed: trust that comes back is told at once.
        let before = motion.distrust;
        if at.since(self.window_began) > self.reject_window {
            self.end_reject_window(at, motion);
        }
        self.rejects = self.rejects.saturating_add(1);
        if self.rejects > self.rejects_allowed {
            motion.distrust = motion.distrust.with(Distrust::REJECTS);
        }
        motion.distrust != before
    }

    fn end_reject_window(&mut self, at: Micros, motion: &mut ShaftMotion) {
        if self.rejects <= self.rejects_allowed {
            motion.distrust = motion.distrust.without(Distrust::REJECTS).without(Distrust::EDGES_LOST);
        }
        self.begin_window(at);
    }

    fn held(&mut self, held: Held, motion: &mut ShaftMotion) -> Counted {
        let counts = match self.edges {
            CountedEdges::Rising => held.level,
            CountedEdges::Falling => !held.level,
            CountedEdges::Both => true,
        };
        if !counts {
            return Counted::No;
        }
        let at = held.since;
        let waited = motion.last_edge.map(|last| at.since(last));
        if let Some(waited) = waited.filter(|waited| *waited < self.minimum_gap) {
            // Close behind its edge it is bounce; further on it is one of a train that the gate thins out.
            self.rejected_since_edge |= waited.get() >= self.minimum_gap.get() >> 2;
            if self.spacing.is_uneven() {
                // Over top speed it may have been one of two marks that lie close.
                self.scatter.lose_step();
            }
            return if self.reject(at, motion) { Counted::Told } else { Counted::No };
        }
        motion.edges = motion.edges.wrapping_add(1);
        self.count_window(at, motion);
        match waited.filter(|waited| *waited <= self.rest) {
            Some(time) => self.turning(at, time, motion),
            None => self.begin(at, motion),
        }
    }

    fn count_window(&mut self, at: Micros, motion: &mut ShaftMotion) {
        self.marks_in_window = self.marks_in_window.saturating_add(1);
        if self.marks_in_window >= self.spacing.count() {
            self.end_reject_window(at, motion);
        }
    }

    fn begin(&mut self, at: Micros, motion: &mut ShaftMotion) -> Counted {
        self.spacing.forget_turns();
        self.scatter.lose_step();
        self.spacing.pass(at.get() as u32);
        self.suspect = None;
        self.too_fast = 0;
        self.trains = 0;
        self.rejected_since_edge = false;
        motion.last_edge = Some(at);
        motion.pitch = None;
        motion.next_largest = self.spacing.next().largest;
        // How much of a pitch was turned before this edge is not known; a whole one keeps angle and marks in step.
        motion.angle = motion.angle.forward(self.spacing.current().angle);
        Counted::Edge { from_rest: true, broken: None }
    }

    fn turning(&mut self, at: Micros, time: Span, motion: &mut ShaftMotion) -> Counted {
        let a_turn_ago = self.spacing.gap_to_next();
        let moved = self.spacing.pass(at.get() as u32);
        self.judge_scatter(time, a_turn_ago, motion);
        let mut passed = self.spacing.current();
        self.judge_rate(time, passed, motion);
        // Mended after it landed: what the pitch before was held to be is no measure for this one where the table has just changed.
        let lost_or_extra = if moved {
            self.suspect = None;
            None
        } else {
            self.compare(time, passed, motion)
        };
        if lost_or_extra == Some(TargetPattern::Missing) {
            // The pitch seen was two: catch up by the one unseen.
            motion.angle = motion.angle.forward(passed.angle);
            self.spacing.skip();
            passed = self.spacing.current();
        } else if lost_or_extra == Some(TargetPattern::Extra) {
            // Two pitches seen before this one were one.
            self.spacing.unskip();
            passed = self.spacing.current();
        }
        if lost_or_extra.is_some() {
            self.scatter.lose_step();
        }
        self.count_pattern(lost_or_extra, motion);
        motion.last_edge = Some(at);
        motion.pitch = Some(Pitch { time, angle: passed.angle, largest: passed.largest });
        motion.next_largest = self.spacing.next().largest;
        if lost_or_extra != Some(TargetPattern::Extra) {
            motion.angle = motion.angle.forward(passed.angle);
        }
        let broken = match (lost_or_extra, moved) {
            (Some(_), _) => Some(Broken::Count),
            (None, true) => Some(Broken::Spacing),
            (None, false) => None,
        };
        Counted::Edge { from_rest: false, broken }
    }

    /// Over top speed, or a train thinned out by the gap gate, whatever speed is left of it: hum or chatter, never a speed.
    fn judge_rate(&mut self, time: Span, passed: Share, motion: &mut ShaftMotion) {
        let over_top = time.get() < fraction(passed.least.get(), self.top_turn);
        self.too_fast = if over_top { self.too_fast.saturating_add(1) } else { 0 };
        self.trains = if self.rejected_since_edge { self.trains.saturating_add(1) } else { 0 };
        self.rejected_since_edge = false;
        let mut distrust = motion.distrust.without(Distrust::TOO_FAST).without(Distrust::HUM);
        if self.too_fast >= IN_A_ROW {
            distrust = distrust.with(Distrust::TOO_FAST);
        }
        if self.trains >= IN_A_ROW {
            distrust = distrust.with(Distrust::HUM);
        }
        motion.distrust = distrust;
    }

    /// Below a fifth of normal speed a leg that runs down may rock, and before uneven marks are learned a lost one is not noticed:
    /// nothing is held against the sensor then.
    fn judge_scatter(&mut self, time: Span, a_turn_ago: u32, motion: &ShaftMotion) {
        match motion.pitch {
            Some(before) if time.get() <= self.rest.get() >> 1 && !self.spacing.is_unknown() => {
                self.scatter.take(time.get(), before.time.get(), a_turn_ago, self.spacing.count());
            }
            _ => self.scatter.lose_step(),
        }
    }

    /// Whether this pitch confirms that the one before held a lost edge, or was cut by an extra one.
    fn compare(&mut self, time: Span, passed: Share, motion: &ShaftMotion) -> Option<TargetPattern> {
        if self.spacing.is_unknown() {
            return None;
        }
        let time = time.get();
        if let Some(suspect) = self.suspect.take() {
            let (time_before, share_before) = suspect.before;
            // What this pitch should take at the speed of the pitch before the suspect one.
            let expect = |share| mul_div(time_before, share, share_before).unwrap_or(0);
            match suspect.kind {
                TargetPattern::Missing => {
                    let following = self.spacing.next().angle.get();
                    if near(time, expect(following), 2) {
                        return Some(TargetPattern::Missing);
                    }
                }
                TargetPattern::Extra if suspect.paired => {
                    if near(time, expect(self.spacing.previous().angle.get()), 2) {
                        return Some(TargetPattern::Extra);
                    }
                }
                TargetPattern::Extra => {
                    let whole = expect(self.spacing.previous().angle.get());
                    if near(suspect.time.saturating_add(time), whole, 3) && time < whole.saturating_sub(whole >> 2) {
                        self.suspect = Some(Suspect { paired: true, ..suspect });
                        return None;
                    }
                }
                TargetPattern::Whole | TargetPattern::Moved => {}
            }
        }
        let before = motion.pitch?;
        let (time_before, share_before) = (before.time.get(), before.angle.get());
        // Time over expected time, both times the earlier share, a quarter of it: three times that still fits 64 bits.
        let seen = product(time, share_before) >> 2;
        let expected = product(time_before, passed.angle.get()) >> 2;
        let kind = if seen > expected.saturating_add(expected >> 1) && seen < expected.saturating_mul(3) {
            TargetPattern::Missing
        } else if seen < expected.saturating_sub(expected >> 2) {
            TargetPattern::Extra
        } else {
            return None;
        };
        self.suspect = Some(Suspect { before: (time_before, share_before), time, paired: false, kind });
        None
    }

    fn count_pattern(&mut self, found: Option<TargetPattern>, motion: &mut ShaftMotion) {
        self.marks_since_turn = self.marks_since_turn.saturating_add(1);
        if self.marks_since_turn >= self.spacing.count() {
            self.marks_since_turn = 0;
            self.turns_since_anomaly = self.turns_since_anomaly.saturating_add(1);
            if self.turns_since_anomaly >= PATTERN_TURNS {
                self.anomalies = 0;
                motion.pattern =
                    if self.spacing.is_unlike_settings() { TargetPattern::Moved } else { TargetPattern::Whole };
            }
        }
        if let Some(kind) = found {
            self.anomalies = self.anomalies.saturating_add(1);
            self.turns_since_anomaly = 0;
            if self.anomalies >= PATTERN {
                motion.pattern = kind;
            }
        }
    }
}

/// The product of two 32-bit numbers, which fits 64 bits.
const fn product(a: u32, b: u32) -> u64 {
    (a as u64).wrapping_mul(b as u64)
}

/// Whether `value` is within 1/2^`shift` of `expected`.
const fn near(value: u32, expected: u32, shift: u32) -> bool {
    value.abs_diff(expected) <= expected >> shift
}
