//! How the marks lie around the shaft, learned from whole turns.
//!
//! Each mark's share of the turn is its pitch time over the mean of two turns: the one that ends where the pitch ends and the one that
//! begins where it begins. Together they lie evenly about the pitch, so a steady ramp of speed cancels. Eight such pitches are
//! summed; the turns need not be, for the ends of one are the beginnings of the next: it is enough to know when the first of them
//! began. A new table moves past angles; when it does so materially, what was measured across the change is no longer one stretch.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::arith::divide;
use crate::settings::plan::ShaftPlan;
use crate::time::age;

/// Turns averaged before a table is judged.
const TURNS_TO_LEARN: u16 = 8;
/// What a learned pitch may still be off by: this part of itself (1/2^9, 0.2 %).
const SLACK_SHIFT: u32 = 9;
/// A pitch that differs by more than this part of itself (1/2^6, 1.6 %) is a material change. Less than that, spread over a
/// window of a whole turn, is within what a reading may be off by before anything is learned.
const MATERIAL_SHIFT: u32 = 6;
/// Turns may differ from the first by this part (1/2^3) for the pitches in them to be learned from. So a jump of speed in one of the
/// eight, which some marks see once more than others, moves no share by more than what is material, and a ramp is all but straight.
const STEADY_SHIFT: u32 = 3;
/// A turn that takes as long (4.5 minutes) is not learned from: eight of them would not fit.
const SLOWEST_SHIFT: u32 = 28;

/// The bits of a mark's word that say when its first two turns began, in 2^-12 of the turn of reference; those above them are its share.
const BEGAN_BITS: u32 = 13;
const BEGAN: u32 = (1 << BEGAN_BITS) - 1;

/// What is remembered of one mark.
#[derive(Clone, Copy, Debug, Default, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Mark {
    /// Time of the last pass.
    time: u32,
    /// Share of the turn of the pitch that ends here, in 2^-32 turn; the lowest bits while summing: see [`BEGAN_BITS`].
    word: u32,
    /// The turn that ended here; then the sum of its pitches so far, in microseconds; then the new share.
    sum: u32,
}

impl Mark {
    const fn share(self) -> u32 {
        self.word & !BEGAN
    }
}

/// So many marks passed since steady turning began; learning needs two whole turns behind it.
const LISTENING: u8 = 0;
/// Summing, so many marks done.
const SUMMING: u8 = 1;
/// Turning sums into shares, one mark an edge, so that no single edge costs more.
const CONCLUDING: u8 = 2;

/// What a new table would mean, as bits.
const MATERIAL: u8 = 1;
const UNLIKE: u8 = 2;

/// Marks that are off their even pitches by this part of a turn (1/2^5, 3.1 %) all together, or by more, are clearly uneven: twice what a step of
/// speed may make of even ones without being material.
const CLEARLY_UNEVEN: u32 = 1 << (32 - 5);

/// What turning since the last rest has shown of the marks, in a byte: how uneven they are at least, as two tables running had it, in 2^-7 of a
/// turn, and whether they have become even since.
struct Shown;

impl Shown {
    const EVENED: u8 = 128;
    const UNEVEN: u8 = 127;
    const SHIFT: u32 = 32 - 7;
}

/// One pitch as the table has it, in 2^-32 turn. A whole turn is held at the end of the type.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Share {
    /// Best estimate.
    pub angle: u32,
    /// The smallest it can be.
    pub least: u32,
    /// The largest it can be.
    pub largest: u32,
}

impl Share {
    /// No angle.
    pub const NONE: Self = Self { angle: 0, least: 0, largest: 0 };

    /// Both together.
    pub const fn and(self, other: Self) -> Self {
        Self {
            angle: self.angle.saturating_add(other.angle),
            least: self.least.saturating_add(other.least),
            largest: self.largest.saturating_add(other.largest),
        }
    }
}

/// The spacing of one shaft's marks.
#[derive(Clone, Copy, Debug, Default, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Spacing {
    /// The turn that ended at the mark passed last.
    last_turn: u32,
    /// While summing: the moment from which the beginnings of turns are told. While concluding: how far all marks together are off their
    /// even pitches, in 2^-32 turn.
    since: u32,
    /// While summing: the turn of reference.
    turn: u32,
    /// While summing: the turn that ended when this lap of sums began, for steadiness.
    lap: u32,
    /// Marks passed in this stage.
    passed: u16,
    /// The mark passed last.
    pub index: u8,
    stage: u8,
    /// Whether shares are learned, 0 or 1.
    learned: u8,
    /// Whether what was learned is not what the settings say, 0 or 1.
    unlike: u8,
    /// While summing, the mark at which a lap begins; while concluding, what the new table would mean.
    meaning: u8,
    /// What this turning has shown: see [`Shown`].
    shown: u8,
}

impl Spacing {
    /// Begin with what the settings say.
    pub fn begin(&mut self, plan: &ShaftPlan, marks: &mut [Mark]) {
        // Places not in use stay zero, so that a keyframe does not depend on how many there are.
        for mark in marks.iter_mut().take(plan.marks.into()) {
            mark.word = plan.even & !BEGAN;
        }
        // One mark is one turn: nothing to learn.
        self.learned = u8::from(plan.marks == 1);
    }

    /// Whether a pitch may differ from its best estimate by so much that neighbours cannot be compared.
    pub const fn is_unknown(&self, plan: &ShaftPlan) -> bool {
        self.learned == 0 && plan.uneven != 0
    }

    /// Whether the marks' shares are learned.
    pub const fn is_learned(&self) -> bool {
        self.learned != 0
    }

    /// Whether the marks were learned to lie clearly outside what the settings say: a target has moved, or was measured wrong.
    pub const fn is_unlike_settings(&self) -> bool {
        self.unlike != 0
    }

    /// Whether marks that lie unevenly give edges that lie evenly, which none can: something else gives them.
    pub const fn is_evened(&self) -> bool {
        self.shown & Shown::EVENED != 0
    }

    /// After rest the marks may be others, and which of them this is is not known.
    pub const fn rest(&mut self) {
        self.forget_turns();
        self.shown = 0;
    }

    /// Whether a pass may change what is known of the spacing.
    pub const fn is_concluding(&self) -> bool {
        self.stage >= CONCLUDING
    }

    /// The mark after the one passed last.
    pub const fn following(&self, plan: &ShaftPlan) -> u8 {
        let next = self.index.wrapping_add(1);
        if next >= plan.marks { 0 } else { next }
    }

    /// The mark before the one passed last.
    pub const fn preceding(&self, plan: &ShaftPlan) -> u8 {
        (if self.index == 0 { plan.marks } else { self.index }).wrapping_sub(1)
    }

    fn mark(marks: &[Mark], index: u8) -> Mark {
        marks.get(usize::from(index)).copied().unwrap_or_default()
    }

    /// The pitch that ends at a mark.
    pub fn share(&self, plan: &ShaftPlan, marks: &[Mark], index: u8) -> Share {
        if self.learned == 0 {
            return Share { angle: plan.even, least: plan.least, largest: plan.largest };
        }
        // A whole turn is known exactly.
        if plan.marks == 1 {
            return Share { angle: plan.even, least: plan.even, largest: plan.even };
        }
        let angle = Self::mark(marks, index).share();
        let slack = angle >> SLACK_SHIFT;
        Share { angle, least: angle.saturating_sub(slack), largest: angle.saturating_add(slack) }
    }

    /// How long the pitch to the next mark took a turn ago, in microseconds. Both turns must have been whole.
    pub fn gap_to_next(&self, plan: &ShaftPlan, marks: &[Mark]) -> u32 {
        let then = Self::mark(marks, self.index).time.wrapping_sub(self.last_turn);
        Self::mark(marks, self.following(plan)).time.wrapping_sub(then)
    }

    /// A mark went by unseen: move on by one.
    pub const fn skip(&mut self, plan: &ShaftPlan) {
        self.index = self.following(plan);
        self.forget_turns();
    }

    /// An edge came that was no mark: move back by one.
    pub const fn unskip(&mut self, plan: &ShaftPlan) {
        self.index = self.preceding(plan);
        self.forget_turns();
    }

    /// Turning was broken off: sums and past times mean nothing any more. The table stays.
    pub const fn forget_turns(&mut self) {
        self.stage = LISTENING;
        self.passed = 0;
    }

    /// The next mark passes at `time`, where its pitch took [`then`](Self::gap_to_next) a turn ago: that one is summed. Whether what is
    /// known of the spacing changed materially. No call where flash allows it: nothing comes more often.
    #[cfg_attr(not(all(target_arch = "arm", not(target_has_atomic = "32"))), inline(always))]
    pub fn pass(&mut self, plan: &ShaftPlan, marks: &mut [Mark], time: u32, then: u32) -> bool {
        // The turn that begins where the pitch of a turn ago begins, and where it ends.
        let (before, around) = (Self::mark(marks, self.index).time, self.last_turn);
        self.index = self.following(plan);
        let Some(mark) = marks.get_mut(usize::from(self.index)) else { return false };
        let old = core::mem::replace(&mut mark.time, time);
        self.last_turn = age(time, old);
        let count = u16::from(plan.marks);
        if count <= 1 {
            return false;
        }
        self.passed = self.passed.wrapping_add(1);
        match self.stage {
            LISTENING => {
                mark.sum = self.last_turn;
                // Two turns: every mark then has a pitch, and a turn that ended there.
                if self.passed >= count.wrapping_mul(2) {
                    self.begin_sums(time);
                }
                false
            }
            SUMMING => {
                let is_first = self.passed <= count;
                let lap = if is_first { mark.sum } else { self.lap };
                if around.abs_diff(lap) > lap >> STEADY_SHIFT || around >> SLOWEST_SHIFT != 0 {
                    mark.sum = self.last_turn;
                    if self.passed == 1 {
                        // Nothing is summed yet: every mark still has the turn that ended there.
                        self.begin_sums(time);
                    } else {
                        self.stage = LISTENING;
                        self.passed = count;
                    }
                    return false;
                }
                if is_first {
                    // The middle between the beginnings of both turns.
                    let began = old.wrapping_sub(mark.sum).wrapping_sub(self.since);
                    let other = before.wrapping_sub(around).wrapping_sub(self.since);
                    // The first of them may lie before the moment they are told from; their middle does not.
                    let middle = ((began as i32) >> 1).wrapping_add((other as i32) >> 1).max(0).unsigned_abs();
                    let part = divide(
                        (u64::from(middle) << (BEGAN_BITS - 1)).wrapping_add(u64::from(self.turn / 2)),
                        self.turn,
                    );
                    mark.word = mark.share() | part.min(BEGAN);
                    mark.sum = 0;
                }
                mark.sum = mark.sum.wrapping_add(then);
                if self.passed > count.wrapping_mul(TURNS_TO_LEARN - 1) {
                    let began =
                        (u64::from(mark.word & BEGAN).wrapping_mul(u64::from(self.turn)) >> (BEGAN_BITS - 1)) as u32;
                    let ended = (old.wrapping_sub(self.since) >> 1).wrapping_add(before.wrapping_sub(self.since) >> 1);
                    mark.sum = divide(u64::from(mark.sum) << 32, ended.wrapping_sub(began));
                }
                if self.index == self.meaning {
                    self.lap = self.last_turn;
                    if self.passed >= count.wrapping_mul(TURNS_TO_LEARN) {
                        self.stage = CONCLUDING;
                        self.passed = 0;
                        self.meaning = 0;
                        self.since = 0;
                    }
                }
                false
            }
            _ => self.conclude(plan, marks),
        }
    }

    /// From the mark passed last on, with the turn that ended there.
    const fn begin_sums(&mut self, time: u32) {
        self.stage = SUMMING;
        self.passed = 0;
        self.turn = self.last_turn;
        // The middle of the beginnings of two turns lies one and a half turns to half a turn before: from a quarter to one and a quarter
        // after this, so that turns which grow or shrink by an eighth each still fit.
        self.since = time.wrapping_sub(self.turn).wrapping_sub(self.turn >> 1).wrapping_sub(self.turn >> 2);
        self.lap = self.last_turn;
        self.meaning = self.index;
    }

    /// What the new share of the mark passed last means; with the last of them, the new table.
    #[inline(never)]
    fn conclude(&mut self, plan: &ShaftPlan, marks: &mut [Mark]) -> bool {
        let mark = Self::mark(marks, self.index);
        if mark.sum.abs_diff(mark.share()) > mark.share() >> MATERIAL_SHIFT {
            self.meaning |= MATERIAL;
        }
        if mark.sum < plan.allowed_least || mark.sum > plan.allowed_most {
            self.meaning |= UNLIKE;
        }
        self.since = self.since.saturating_add(mark.sum.abs_diff(plan.even));
        if self.passed < u16::from(plan.marks) {
            return false;
        }
        let meaning = self.meaning;
        self.forget_turns();
        if !adopt(plan, marks) {
            return false;
        }
        // Uneven spacing learned for the first time is news even where it turns out even: doubt ends.
        let is_news = meaning & MATERIAL != 0 || self.is_unknown(plan);
        if plan.uneven != 0 {
            self.compare_evenness(is_news);
        }
        self.unlike = u8::from(meaning & UNLIKE != 0);
        self.learned = 1;
        is_news
    }

    /// Targets may move and lie otherwise, but not all of them at their even places. A table that was learned half of targets and half of edges
    /// that are even makes them no less uneven than they were: the next one tells.
    fn compare_evenness(&mut self, is_news: bool) {
        let shown = self.shown & Shown::UNEVEN;
        let was = u32::from(shown) << Shown::SHIFT;
        let is = self.since;
        if was >= CLEARLY_UNEVEN && is < was / 2 {
            self.shown |= Shown::EVENED;
        } else if is >= CLEARLY_UNEVEN {
            self.shown &= !Shown::EVENED;
        }
        if !is_news {
            self.shown = self.shown & Shown::EVENED | shown.max((is >> Shown::SHIFT) as u8);
        }
    }
}

/// Take the new shares, scaled so that they add up to one turn. Not if they were no turn: then they are more than 1/2^6 off.
fn adopt(plan: &ShaftPlan, marks: &mut [Mark]) -> bool {
    let count = usize::from(plan.marks);
    let total = marks.iter().take(count).fold(0_u32, |total, mark| total.wrapping_add(mark.sum));
    let missing = i64::from(total.wrapping_neg() as i32);
    if missing.unsigned_abs() > 1 << 26 {
        return false;
    }
    // 1/total is 1 + e + e² + e³ for a total of 1 − e: what is left out is below 2^-24 of a turn.
    let square = missing.wrapping_mul(missing) >> 32;
    let scale = missing.wrapping_add(square).wrapping_add(square.wrapping_mul(missing) >> 32);
    // The marks' places are rounded, not the shares between them: so no mark gets what all the others' rounding left.
    let (mut exact, mut placed) = (0_u32, 0_u32);
    for (index, mark) in marks.iter_mut().take(count).enumerate() {
        let more = (scale.wrapping_mul(i64::from(mark.sum)) >> 32) as u32;
        exact = exact.wrapping_add(mark.sum).wrapping_add(more);
        let is_last = index.wrapping_add(1) == count;
        let place = if is_last { 0 } else { exact.wrapping_add(BEGAN >> 1) & !BEGAN };
        mark.word = place.wrapping_sub(placed);
        placed = place;
    }
    true
}

#[cfg(test)]
mod tests {
    use super::*;

    const MARKS: usize = 64;

    struct Learner {
        plan: ShaftPlan,
        marks: [Mark; MARKS],
        spacing: Spacing,
    }

    impl Learner {
        /// So many marks, which may be from `least` to `most` thousandths of a turn.
        fn new(marks: u8, uneven: bool, least: u32, most: u32) -> Self {
            let thousandths = |value: u32| (u64::from(value) * (1 << 32) / 1_000) as u32;
            let even = u32::MAX / u32::from(marks);
            let margin = if uneven { even >> 6 } else { (thousandths(most) - thousandths(least)) / 2 };
            let plan = ShaftPlan {
                marks,
                even,
                uneven: u8::from(uneven),
                least: thousandths(least),
                largest: thousandths(most),
                allowed_least: thousandths(least) - margin,
                allowed_most: thousandths(most) + margin,
                ..ShaftPlan::default()
            };
            let mut learner = Self { plan, marks: [Mark::default(); MARKS], spacing: Spacing::default() };
            learner.spacing.begin(&learner.plan, &mut learner.marks);
            learner
        }

        /// Pass marks of the given shares (in thousandths of a turn) while the turn time changes by `growth` each turn.
        fn turn(&mut self, shares: &[u32], turns: usize, turn_us: f64, growth: f64) -> usize {
            let (mut adopted, mut angle) = (0, 0.0);
            for _ in 0..turns {
                for share in shares {
                    angle += f64::from(*share) / 1_000.0;
                    // Time as a quadratic of angle: a steady ramp of the turn time. It wraps on the way.
                    let time = 4_294_000_000.0 + turn_us * (angle + growth * angle * angle / 2.0);
                    let time = time.round() as u64 as u32;
                    let then = self.spacing.gap_to_next(&self.plan, &self.marks);
                    adopted += usize::from(self.spacing.pass(&self.plan, &mut self.marks, time, then));
                }
            }
            adopted
        }

        fn shares(&self) -> [f64; MARKS] {
            core::array::from_fn(|index| f64::from(self.marks[index].share()) / 4_294_967_296.0)
        }
    }

    #[test]
    fn uneven_marks_are_learned_while_the_speed_ramps() {
        // 70 and 110 degrees in turn; a turn is given in thousandths here.
        let pattern = [194, 306, 194, 306];
        for growth in [0.0, -0.004, 0.004, 0.01] {
            let mut learner = Learner::new(4, true, 180, 320);
            assert!(learner.spacing.is_unknown(&learner.plan));
            assert_eq!(learner.turn(&pattern, 14, 800_000.0, growth), 1);
            assert!(learner.spacing.is_learned());
            let learned = learner.shares();
            // The table starts one mark after the first edge: its order is the pattern's, turned.
            for pair in learned[..4].chunks(2) {
                let (small, large) = if pair[0] < pair[1] { (pair[0], pair[1]) } else { (pair[1], pair[0]) };
                assert!((small - 0.194).abs() < 0.000_1, "{growth}: {learned:?}");
                assert!((large - 0.306).abs() < 0.000_1, "{growth}: {learned:?}");
            }
        }
    }

    /// A learner of eight marks that lie unevenly, by turns so many thousandths of a turn wider and closer, and are confirmed to.
    fn confirmed_uneven(by: u32) -> (Learner, [u32; 8]) {
        let pattern = [125 - by, 125 + by, 125 - by, 125 + by, 125 - by, 125 + by, 125 - by, 125 + by];
        let mut learner = Learner::new(8, true, 100, 150);
        assert_eq!(learner.turn(&pattern, 26, 760_000.0, 0.0), 1);
        (learner, pattern)
    }

    #[test]
    fn uneven_marks_that_become_even_are_told() {
        // All together 3.1 % of a turn off and more, each by 0.4 %.
        for (by, told) in [(4, true), (5, true), (20, true), (3, false)] {
            let (mut learner, pattern) = confirmed_uneven(by);
            assert!(!learner.spacing.is_evened(), "{by}");
            learner.turn(&[125; 8], 24, 760_000.0, 0.0);
            assert_eq!(learner.spacing.is_evened(), told, "{by}");
            // However long that goes on, and until the targets themselves are seen again.
            learner.turn(&[125; 8], 60, 760_000.0, 0.0);
            assert_eq!(learner.spacing.is_evened(), told, "{by}");
            learner.turn(&pattern, 24, 760_000.0, 0.0);
            assert!(!learner.spacing.is_evened(), "{by}");
        }
    }

    /// Whatever part of the table is learned from the edges before it, it is told with the next one at the latest.
    #[test]
    fn marks_that_become_even_while_a_table_is_learned_are_told_too() {
        for turns in 0..12 {
            let (mut learner, pattern) = confirmed_uneven(4);
            learner.turn(&pattern, turns, 760_000.0, 0.0);
            learner.turn(&[125; 8], 24, 760_000.0, 0.0);
            assert!(learner.spacing.is_evened(), "{turns}");
        }
    }

    #[test]
    fn uneven_marks_that_are_others_or_lie_otherwise_are_not_told() {
        // One has moved; all are one further on, as after an edge that was lost; twice as uneven.
        for pattern in [
            [115, 135, 115, 135, 115, 135, 120, 130],
            [135, 115, 135, 115, 135, 115, 135, 115],
            [105, 145, 105, 145, 105, 145, 105, 145],
        ] {
            let (mut learner, _) = confirmed_uneven(10);
            learner.turn(&pattern, 40, 760_000.0, 0.0);
            assert!(!learner.spacing.is_evened(), "{pattern:?}");
        }
        // Even ones after a rest, in which they may have been set right.
        let (mut learner, _) = confirmed_uneven(10);
        learner.spacing.rest();
        learner.turn(&[125; 8], 60, 760_000.0, 0.0);
        assert!(!learner.spacing.is_evened());
        // Seen uneven once, before they were seen to be even time and again: what was learned once may be a step of speed.
        let mut learner = Learner::new(8, true, 100, 150);
        assert_eq!(learner.turn(&[115, 135, 115, 135, 115, 135, 115, 135], 13, 760_000.0, 0.0), 1);
        learner.turn(&[125; 8], 60, 760_000.0, 0.0);
        assert!(!learner.spacing.is_evened());
    }

    #[test]
    fn evenness_is_compared_to_the_limit() {
        const UNIT: u32 = 1 << 25;
        let compare = |shown: u8, is: u32, is_news: bool| {
            let mut spacing = Spacing { shown, since: is, ..Spacing::default() };
            spacing.compare_evenness(is_news);
            (spacing.is_evened(), spacing.shown & Shown::UNEVEN)
        };
        // Four units, a 32nd of a turn, are clearly uneven, and half of them is not twice as even.
        assert_eq!(compare(4, 2 * UNIT - 1, true), (true, 4));
        assert_eq!(compare(4, 2 * UNIT, true), (false, 4));
        assert_eq!(compare(3, 0, true), (false, 3));
        // The most that was confirmed is what counts, at most 127 units.
        assert_eq!(compare(4, 0, false), (true, 4));
        assert_eq!(compare(4, 6 * UNIT - 1, false), (false, 5));
        assert_eq!(compare(4, 6 * UNIT, true), (false, 4));
        assert_eq!(compare(9, u32::MAX, false), (false, 127));
        // Told until they are clearly uneven again.
        assert_eq!(compare(Shown::EVENED | 3, 4 * UNIT - 1, true), (true, 3));
        assert_eq!(compare(Shown::EVENED | 3, 4 * UNIT, true), (false, 3));
    }

    #[test]
    fn even_marks_move_nothing_but_are_known_better() {
        let mut learner = Learner::new(4, false, 245, 255);
        let before = learner.spacing.share(&learner.plan, &learner.marks, 1).largest;
        assert_eq!(learner.turn(&[250; 4], 14, 760_000.0, 0.0), 0);
        assert!(learner.spacing.is_learned());
        assert!(learner.spacing.share(&learner.plan, &learner.marks, 1).largest < before);
        for share in &learner.shares()[..4] {
            // Two edges rounded to a microsecond, eight times over.
            assert!((share - 0.25).abs() < 2e-7, "{share}");
        }
    }

    #[test]
    fn a_target_that_moved_is_noticed_and_one_within_tolerance_is_not() {
        for (uneven, pattern, unlike) in [
            (false, [250, 250, 250, 250], false),
            (false, [255, 245, 245, 255], false),
            (false, [250, 265, 235, 250], true),
            (false, [310, 190, 250, 250], true),
            (true, [190, 310, 190, 310], false),
            (true, [190, 310, 170, 330], true),
        ] {
            let (least, most) = if uneven { (190, 310) } else { (245, 255) };
            let mut learner = Learner::new(4, uneven, least, most);
            learner.turn(&pattern, 14, 760_000.0, 0.0);
            assert!(learner.spacing.is_learned());
            assert_eq!(learner.spacing.is_unlike_settings(), unlike, "{pattern:?}");
        }
    }

    #[test]
    fn before_anything_is_learned_all_marks_lie_evenly() {
        let learner = Learner::new(7, false, 136, 150);
        for (index, mark) in learner.marks.iter().enumerate() {
            let even = if index < 7 { learner.plan.even & !BEGAN } else { 0 };
            assert_eq!((mark.word, mark.share()), (even, even), "mark {index}");
        }
    }

    #[test]
    fn what_the_settings_do_not_allow_need_not_be_news() {
        // A hundredth off a quarter: within what a reading may be off by, and outside a tolerance of half of that.
        let mut learner = Learner::new(4, false, 249, 251);
        assert_eq!(learner.turn(&[250, 253, 247, 250], 14, 760_000.0, 0.0), 0);
        assert!(learner.spacing.is_learned() && learner.spacing.is_unlike_settings());
    }

    #[test]
    fn shares_that_are_no_turn_are_not_taken() {
        let mut learner = Learner::new(4, false, 245, 255);
        let mut adopted = |off: i32| {
            for mark in &mut learner.marks[..4] {
                mark.sum = 1 << 30;
            }
            learner.marks[2].sum = learner.marks[2].sum.wrapping_add_signed(off);
            let is = adopt(&learner.plan, &mut learner.marks);
            (is, learner.marks[..4].iter().fold(0_u32, |total, mark| total.wrapping_add(mark.share())))
        };
        for off in [0, 5, -5, 1 << 26, -(1 << 26)] {
            assert_eq!(adopted(off), (true, 0), "{off}: scaled to one turn");
        }
        for off in [(1 << 26) + 1, -(1 << 26) - 1] {
            assert!(!adopted(off).0, "{off}");
        }
    }

    #[test]
    fn shares_add_up_to_one_turn() {
        for growth in [0.0, 0.01, -0.005] {
            let mut learner = Learner::new(7, false, 136, 150);
            learner.turn(&[143, 141, 144, 142, 145, 140, 145], 20, 500_000.0, growth);
            let total: u64 = learner.marks[..7].iter().map(|mark| u64::from(mark.share())).sum();
            assert_eq!(total, 1 << 32);
        }
    }

    #[test]
    fn turns_that_differ_by_more_than_an_eighth_teach_nothing() {
        let mut learner = Learner::new(4, false, 245, 255);
        // A third longer each turn than the first was: the twelfth is still more than an eighth longer than the tenth.
        learner.turn(&[250; 4], 12, 700_000.0, 0.33);
        assert!(!learner.spacing.is_learned());
        // 2 % longer each turn teach.
        let mut learner = Learner::new(4, false, 245, 255);
        learner.turn(&[250; 4], 12, 700_000.0, 0.02);
        assert!(learner.spacing.is_learned());
    }
}
