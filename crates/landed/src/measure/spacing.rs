//! How the marks lie around the shaft, learned from whole turns.
//!
//! Each mark's share of the turn is its pitch time over the mean of two turns: the one that ends where the pitch ends and
//! the one that begins where it begins. Together they lie evenly about the pitch, so a steady ramp of speed cancels.
//! A new table moves past angles; when it does so materially, what was measured across the change is no longer one stretch.

mod kept;

use crate::math::{fraction, mul_div, ppm_of_turn};
use crate::settings::{Spacing as Declared, Targets};
use crate::units::TurnFraction;

/// The most marks a turn: 32 targets, both edges.
pub const MOST_MARKS: usize = 64;
/// Turns averaged before a table is judged.
const TURNS_TO_LEARN: u16 = 8;
/// What a learned pitch may still be off by: this part of itself (1/2^9, 0.2 %).
const SLACK_SHIFT: u32 = 9;
/// A pitch that differs by more than this part of itself (1/2^6, 1.6 %) is a material change. Less than that, spread over a
/// window of a whole turn, is within what a reading may be off by before anything is learned.
const MATERIAL_SHIFT: u32 = 6;
/// Two turns in a row may differ by this part (1/2^3) for the pitches between them to be learned from.
const STEADY_SHIFT: u32 = 3;

/// One pitch as the table has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    /// Best estimate.
    pub angle: TurnFraction,
    /// The smallest it can be.
    pub least: TurnFraction,
    /// The largest it can be.
    pub largest: TurnFraction,
}

/// What the learner remembers of one mark.
#[derive(Clone, Copy, Debug)]
struct Mark {
    /// Share of the turn of the pitch that ends here, in 2^-32 turn.
    share: u32,
    /// Time of the last pass, wrapping.
    time: u32,
    /// The turn that ended here at the last pass.
    turn: u32,
    /// Sum of pitches so far; while concluding, the new share.
    sum_gap: u32,
    /// Sum of mean turns so far.
    sum_turn: u32,
}

const BLANK: Mark = Mark { share: 0, time: 0, turn: 0, sum_gap: 0, sum_turn: 0 };

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// So many marks passed since steady turning began; learning needs two whole turns behind it.
    Listening { passed: u16 },
    /// Summing, so many marks done.
    Summing { done: u16 },
    /// Turning sums into shares, one mark an edge, so that no single edge costs more.
    Concluding { done: u8, total: u64, material: bool },
}

/// The spacing of one shaft's marks.
#[derive(Clone, Debug)]
pub struct Spacing<const MARKS: usize> {
    marks: [Mark; MARKS],
    count: u8,
    /// The mark passed last.
    index: u8,
    stage: Stage,
    learned: bool,
    /// Whether what was learned is not what the settings say.
    unlike_settings: bool,
    /// Deviation of an even pitch before it is learned, in 2^-32 turn.
    tolerance: u32,
    /// Extremes of uneven pitches before they are learned.
    extremes: Option<(u32, u32)>,
    /// Mended after it landed: while summing, the turn that ended where this lap of sums began, and the mark where laps begin.
    lap: u32,
    lap_at: u8,
}

impl<const MARKS: usize> Spacing<MARKS> {
    /// The most marks this one has room for.
    const MOST: u8 = if MARKS > MOST_MARKS { MOST_MARKS as u8 } else { MARKS as u8 };

    pub const fn new() -> Self {
        Self {
            marks: [BLANK; MARKS],
            count: 1,
            index: 0,
            stage: Stage::Listening { passed: 0 },
            learned: false,
            unlike_settings: false,
            tolerance: 0,
            extremes: None,
            lap: 0,
            lap_at: 0,
        }
    }

    /// As [`new`](Self::new), in its place: by value the marks would make a large stack frame where size counts.
    pub fn clear(&mut self) {
        let Self { marks, count, index, stage, learned, unlike_settings, tolerance, extremes, lap, lap_at } = self;
        *lap = 0;
        *lap_at = 0;
        for mark in marks {
            *mark = BLANK;
        }
        *count = 1;
        *index = 0;
        *stage = Stage::Listening { passed: 0 };
        *learned = false;
        *unlike_settings = false;
        *tolerance = 0;
        *extremes = None;
    }

    /// Begin with what the settings say.
    pub fn configure(&mut self, targets: &Targets) {
        let count = targets.marks().clamp(1, Self::MOST);
        let even = u32::MAX.checked_div(u32::from(count)).unwrap_or(u32::MAX);
        self.clear();
        self.count = count;
        for mark in &mut self.marks {
            mark.share = even;
        }
        match targets.spacing {
            Declared::Even { tolerance } => self.tolerance = fraction(even, ppm_of_turn(tolerance.get())),
            Declared::Uneven { closest, widest } => {
                self.extremes = Some((ppm_of_turn(closest.get()), ppm_of_turn(widest.get())));
            }
        }
        // One mark is one turn: nothing to learn.
        self.learned = count == 1;
    }

    pub const fn count(&self) -> u8 {
        self.count
    }

    pub const fn index(&self) -> u8 {
        self.index
    }

    /// Whether a pitch may differ from its best estimate by so much that neighbours cannot be compared.
    pub const fn is_unknown(&self) -> bool {
        !self.learned && self.extremes.is_some()
    }

    /// Whether the settings have the marks lie unevenly.
    pub const fn is_uneven(&self) -> bool {
        self.extremes.is_some()
    }

    /// Whether the marks were learned to lie clearly outside what the settings say: a target has moved, or was measured wrong.
    pub const fn is_unlike_settings(&self) -> bool {
        self.unlike_settings
    }

    fn step(&self, index: u8, by: u8) -> u8 {
        let sum = index.wrapping_add(by);
        if sum >= self.count { sum.wrapping_sub(self.count) } else { sum }
    }

    fn mark(&self, index: u8) -> Mark {
        self.marks.get(usize::from(index)).copied().unwrap_or(BLANK)
    }

    fn share_of(&self, index: u8) -> Share {
        let angle = self.mark(index).share;
        let (least, largest) = if self.learned {
            // A whole turn is known exactly.
            let slack = if self.count == 1 { 0 } else { angle >> SLACK_SHIFT };
            (angle.saturating_sub(slack), angle.saturating_add(slack))
        } else if let Some(extremes) = self.extremes {
            extremes
        } else {
            (angle.saturating_sub(self.tolerance), angle.saturating_add(self.tolerance))
        };
        Share { angle: TurnFraction::new(angle), least: TurnFraction::new(least), largest: TurnFraction::new(largest) }
    }

    /// The pitch that ended at the mark passed last.
    pub fn current(&self) -> Share {
        self.share_of(self.index)
    }

    /// The pitch to the next mark.
    pub fn next(&self) -> Share {
        self.share_of(self.step(self.index, 1))
    }

    /// The pitch before the one that ended at the mark passed last.
    pub fn previous(&self) -> Share {
        self.share_of(self.step(self.index, self.count.wrapping_sub(1)))
    }

    /// How long the pitch to a mark took a turn ago, in microseconds: `old` is the mark as that pass left it, `before` the one that was
    /// passed last. Both turns must have been whole.
    const fn gap_a_turn_ago(before: Mark, old: Mark) -> u32 {
        old.time.wrapping_sub(before.time.wrapping_sub(before.turn))
    }

    /// How long the pitch to the next mark took a turn ago, in microseconds.
    pub fn gap_to_next(&self) -> u32 {
        Self::gap_a_turn_ago(self.mark(self.index), self.mark(self.step(self.index, 1)))
    }

    /// The smallest any pitch can be, in 2^-32 turn.
    pub fn closest(&self) -> u32 {
        self.all().map(|share| share.least.get()).min().unwrap_or(0)
    }

    /// The largest any pitch can be, in 2^-32 turn.
    pub fn widest(&self) -> u32 {
        self.all().map(|share| share.largest.get()).max().unwrap_or(u32::MAX)
    }

    fn all(&self) -> impl Iterator<Item = Share> + '_ {
        (0..self.count).map(|index| self.share_of(index))
    }

    /// A mark went by unseen: move on by one.
    pub fn skip(&mut self) {
        self.index = self.step(self.index, 1);
        self.forget_turns();
    }

    /// An edge came that was no mark: move back by one.
    pub fn unskip(&mut self) {
        self.index = self.step(self.index, self.count.wrapping_sub(1));
        self.forget_turns();
    }

    /// Turning was broken off: sums and past times mean nothing any more. The table stays.
    pub fn forget_turns(&mut self) {
        self.stage = Stage::Listening { passed: 0 };
    }

    /// The next mark passes at `time` (microseconds, wrapping).
    /// Returns whether what is known of the spacing changed materially.
    pub fn pass(&mut self, time: u32) -> bool {
        let before = self.index;
        self.index = self.step(before, 1);
        let start = self.mark(before);
        let index = self.index;
        let old = self.mark(index);
        let turn = time.wrapping_sub(old.time);
        if let Some(mark) = self.marks.get_mut(usize::from(index)) {
            mark.time = time;
            mark.turn = turn;
        }
        if self.count == 1 {
            return false;
        }
        match self.stage {
            Stage::Listening { passed } => {
                let passed = passed.saturating_add(1);
                // Two turns: every mark then has a pitch, and a turn that ended there.
                self.stage = if passed >= u16::from(self.count).saturating_mul(2) {
                    self.clear_sums();
                    self.lap = turn;
                    self.lap_at = index;
                    Stage::Summing { done: 0 }
                } else {
                    Stage::Listening { passed }
                };
                false
            }
            Stage::Summing { done } => {
                self.sum(index, old, start, done);
                false
            }
            Stage::Concluding { done, total, material } => self.conclude(index, done, total, material),
        }
    }

    fn clear_sums(&mut self) {
        for mark in &mut self.marks {
            mark.sum_gap = 0;
            mark.sum_turn = 0;
        }
    }

    /// `old` is the mark as it was before this pass; `start` the one where its pitch began.
    fn sum(&mut self, index: u8, old: Mark, start: Mark, done: u16) {
        let turn_from_start = start.turn;
        let lap = if done < u16::from(self.count) { old.turn } else { self.lap };
        let own = self.mark(index).turn;
        if turn_from_start.abs_diff(lap) > lap >> STEADY_SHIFT || turn_from_start >> 28 != 0 {
            self.clear_sums();
            self.stage = if done == 0 {
                self.lap = own;
                self.lap_at = index;
                Stage::Summing { done: 0 }
            } else {
                Stage::Listening { passed: u16::from(self.count) }
            };
            return;
        }
        if index == self.lap_at {
            self.lap = own;
        }
        let mean = (old.turn >> 1).wrapping_add(turn_from_start >> 1);
        if let Some(mark) = self.marks.get_mut(usize::from(index)) {
            mark.sum_gap = mark.sum_gap.saturating_add(Self::gap_a_turn_ago(start, old));
            mark.sum_turn = mark.sum_turn.saturating_add(mean);
        }
        let done = done.saturating_add(1);
        self.stage = if done >= u16::from(self.count).saturating_mul(TURNS_TO_LEARN) {
            Stage::Concluding { done: 0, total: 0, material: false }
        } else {
            Stage::Summing { done }
        };
    }

    fn conclude(&mut self, index: u8, done: u8, total: u64, material: bool) -> bool {
        let mark = self.mark(index);
        // A sum of turns is zero only if no time passed: then keep what is in use.
        let fresh = mul_div(mark.sum_gap, u32::MAX, mark.sum_turn).unwrap_or(mark.share);
        let material = material || fresh.abs_diff(mark.share) > mark.share >> MATERIAL_SHIFT;
        let total = total.wrapping_add(u64::from(fresh));
        if let Some(mark) = self.marks.get_mut(usize::from(index)) {
            mark.sum_gap = fresh;
        }
        let done = done.saturating_add(1);
        if done < self.count {
            self.stage = Stage::Concluding { done, total, material };
            return false;
        }
        self.stage = Stage::Listening { passed: 0 };
        // Shares of one turn that do not add up to one turn to 1/2^6 were not one turn.
        let whole = u64::from(u32::MAX);
        if total.abs_diff(whole) > whole >> 6 {
            return false;
        }
        // Uneven spacing learned for the first time is news even where it turns out even: doubt ends.
        let is_news = material || (!self.learned && self.extremes.is_some());
        self.adopt(total);
        self.learned = true;
        let allowed = self.all().all(|share| self.allows(share.angle.get()));
        self.unlike_settings = !allowed;
        is_news
    }

    /// Whether the settings allow such a pitch, with as much again for a shaft out of true under the sensor.
    fn allows(&self, pitch: u32) -> bool {
        let even = u32::MAX.checked_div(u32::from(self.count)).unwrap_or(u32::MAX);
        let margin = self.tolerance.max(even >> MATERIAL_SHIFT);
        let (closest, widest) =
            self.extremes.unwrap_or((even.saturating_sub(self.tolerance), even.saturating_add(self.tolerance)));
        pitch >= closest.saturating_sub(margin) && pitch <= widest.saturating_add(margin)
    }

    /// Take the new shares, scaled so that they add up to one turn exactly.
    fn adopt(&mut self, total: u64) {
        // Mended after it landed: a total of more than one turn was held at one, and the last mark got what was too much.
        let mut left = u32::MAX;
        let count = usize::from(self.count);
        for (position, mark) in self.marks.iter_mut().take(count).enumerate() {
            let scaled = (u128::from(mark.sum_gap) << 32).checked_div(u128::from(total)).unwrap_or(0);
            let scaled = u32::try_from(scaled).unwrap_or(mark.share).min(left);
            mark.share = if position.saturating_add(1) == count { left } else { scaled };
            left = left.saturating_sub(mark.share);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::CountedEdges;
    use crate::units::Ppm;

    fn targets(count: u8, spacing: Declared) -> Targets {
        Targets { count, edges: CountedEdges::Rising, spacing, supervised: false }
    }

    /// Pass marks of the given shares (in thousandths of a turn) while the turn time changes by `ramp` each turn.
    fn turn(
        spacing: &mut Spacing<MOST_MARKS>,
        shares: &[u32],
        turns: usize,
        turn_us: f64,
        growth_a_turn: f64,
    ) -> usize {
        let mut time = 1_000_000.0_f64;
        let mut adopted = 0;
        let mut angle = 0.0;
        for _ in 0..turns {
            for share in shares {
                angle += f64::from(*share) / 1_000.0;
                // Time as a quadratic of angle: a steady ramp of the turn time.
                time = 1_000_000.0 + turn_us * (angle + growth_a_turn * angle * angle / 2.0);
                let now = time.round() as u32;
                adopted += usize::from(spacing.pass(now));
            }
        }
        assert!(time > 0.0);
        adopted
    }

    fn shares(spacing: &Spacing<MOST_MARKS>) -> [f64; MOST_MARKS] {
        core::array::from_fn(|index| f64::from(spacing.marks[index].share) / 4_294_967_296.0)
    }

    #[test]
    fn uneven_marks_are_learned_while_the_speed_ramps() {
        // 70 and 110 degrees in turn, as on a real recording; a turn is given in thousandths here.
        let pattern = [194, 306, 194, 306];
        let mut spacing = Spacing::<MOST_MARKS>::new();
        spacing.configure(&targets(4, Declared::Uneven { closest: Ppm::new(180_000), widest: Ppm::new(320_000) }));
        assert!(spacing.is_unknown());
        let adopted = turn(&mut spacing, &pattern, 14, 800_000.0, -0.004);
        assert_eq!(adopted, 1);
        assert!(spacing.learned);
        let learned = shares(&spacing);
        // The table starts one mark after the first edge: its order is the pattern's, turned.
        for pair in learned[..4].chunks(2) {
            let (small, large) = if pair[0] < pair[1] { (pair[0], pair[1]) } else { (pair[1], pair[0]) };
            assert!((small - 0.194).abs() < 0.000_1, "{learned:?}");
            assert!((large - 0.306).abs() < 0.000_1, "{learned:?}");
        }
    }

    #[test]
    fn even_marks_move_nothing_but_are_known_better() {
        let mut spacing = Spacing::<MOST_MARKS>::new();
        spacing.configure(&targets(4, Declared::Even { tolerance: Ppm::new(20_000) }));
        let before = spacing.next().largest;
        assert_eq!(turn(&mut spacing, &[250; 4], 14, 760_000.0, 0.0), 0);
        assert!(spacing.learned);
        assert!(spacing.next().largest < before);
    }

    #[test]
    fn a_target_that_moved_is_noticed_and_one_within_tolerance_is_not() {
        let even = Declared::Even { tolerance: Ppm::new(20_000) };
        let uneven = Declared::Uneven { closest: Ppm::new(190_000), widest: Ppm::new(310_000) };
        for (declared, pattern, unlike) in [
            (even, [250, 250, 250, 250], false),
            (even, [255, 245, 245, 255], false),
            (even, [250, 265, 235, 250], true),
            (even, [310, 190, 250, 250], true),
            (uneven, [190, 310, 190, 310], false),
            (uneven, [190, 310, 170, 330], true),
        ] {
            let mut spacing = Spacing::<MOST_MARKS>::new();
            spacing.configure(&targets(4, declared));
            turn(&mut spacing, &pattern, 14, 760_000.0, 0.0);
            assert!(spacing.learned);
            assert_eq!(spacing.is_unlike_settings(), unlike, "{pattern:?}");
        }
    }

    #[test]
    fn shares_add_up_to_one_turn() {
        let mut spacing = Spacing::<MOST_MARKS>::new();
        spacing.configure(&targets(7, Declared::Even { tolerance: Ppm::new(50_000) }));
        turn(&mut spacing, &[143, 141, 144, 142, 145, 140, 145], 20, 500_000.0, 0.0);
        let total: u64 = spacing.marks[..7].iter().map(|mark| u64::from(mark.share)).sum();
        assert_eq!(total, u64::from(u32::MAX));
    }
}
