//! Slip from angle, not from two speeds.
//!
//! At each boot edge that closes a window of whole boot turns, the head angle is taken at both ends of that very stretch of
//! time, interpolated between head edges: `slip = 1 - boot turns / (R * head turns)`. Both shafts then cover the same
//! stretch, so a ramp of speed makes no false slip, and the spacing of the boot targets cancels over whole turns.
//!
//! While the next boot edge is waited for, each head edge gives a lower limit of what its window will say: the same
//! formula with the head angle so far. It grows until the edge comes and then equals the exact value, so that the exact value
//! and the limit are one definition and never disagree.
//!
//! Of more than eight boot marks a turn only some, evenly picked, close windows: eight readings a turn are as many as a
//! window of a whole turn can use, and memory and the cost of one head edge stay bounded.
//!
//! Head angles are in 2^-24 turn here: less than a tenth of a millionth. They wrap after 256 turns; where the head turns more than
//! its share of that between two marks the belt stood, and what comes after is a new stretch.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::arith::{divide, mul_div};
use crate::settings::plan::SlipPlan;
use crate::signals::{MEAN_STEP, Reading, Signals};
use crate::time::{age, reached};

/// Boot turns of the long window.
const LONG_TURNS: u8 = 4;
/// The most closing marks a turn.
const MOST_CLOSINGS: u8 = 8;
/// Head angles remembered: one at each closing mark over the long window, and its start.
const REMEMBERED: u8 = MOST_CLOSINGS * LONG_TURNS + 1;
/// Boot marks that may wait for the next head edge.
const MOST_WAITING: usize = 22;
/// The mean of slip forgets with the boot turns, in 2^6 of them for one closing mark a turn: for more marks the shift is larger.
const MEAN_SHIFT: u32 = 6;
/// The mean is kept in 2^-8 ppm.
const MEAN_PART: u32 = 8;
/// No reading counts for more in the mean, in ppm, either way: more has its own conditions, and an edge lost or extra shows as more.
const MOST_COUNTED: i32 = 250_000;
/// A lower limit is told only once the window is this part (1/2^10) longer than the last whole one: otherwise it says
/// nothing that the last reading did not say.
const TELLING_SHIFT: u32 = 10;

/// A head edge that counted, with the two pitches that ended with it and before it: each its angle in 2^-32 turn and its time in
/// microseconds.
#[derive(Clone, Copy, Debug)]
pub struct HeadEdge {
    /// When it happened.
    pub at: u32,
    /// The head's angle when the pitch began and when it ended, in 2^-24 turn.
    pub start: u32,
    pub end: u32,
    pub pitch: (u32, u32),
    pub before: (u32, u32),
    /// The boot marks known to be gone; what is no mark stands for none.
    pub gone: [u8; 2],
    /// Error of one reading over a short window while the head's spacing is not known, in 2^-24 turn; 0 once it is.
    pub doubt: u32,
}

/// The two windows.
#[derive(Clone, Copy, Debug, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Windows {
    /// Head angle at the closing marks, a ring.
    at_marks: [u32; REMEMBERED as usize],
    /// Times of the closing marks not yet placed between two head edges.
    waiting: [u32; MOST_WAITING],
    /// Head angle from the newest placed boot edge, and from the newest closing mark, to the newest head edge. Held at 256 turns.
    since_boot: u32,
    since_mark: u32,
    /// Head angle at the newest head edge.
    head: u32,
    /// Head angle of the newest whole window, short and long.
    whole: [u32; 2],
    /// Rim length slid up to the newest closing mark, in micrometres.
    slipped: i32,
    /// The mean of slip, in 2^-8 ppm.
    mean: i32,
    /// Which of a turn's each of those waiting is.
    which: [u8; MOST_WAITING],
    /// Where the newest closing mark lies in the ring, and how many there are.
    newest: u8,
    remembered: u8,
    /// How many closing marks wait.
    waits: u8,
    /// Head edges since what came before was forgotten, up to two.
    heads: u8,
    /// Whether the head gained speed (1) or lost it (-1) over the last two pitches.
    trend: i8,
    /// Whether the newest boot edge is not yet placed, 0 or 1.
    boot_waits: u8,
    /// Whether a boot edge was placed, or its place taken by where the head began, 0 or 1.
    is_placed: u8,
    /// Which of a turn's closing marks the newest in the ring is.
    newest_which: u8,
    /// Whether the newest boot edge is in doubt, 0 or 1: no window closes with it until it is known which mark it is.
    in_doubt: u8,
    /// Closing marks put into the ring that no window has been told of.
    fresh: u8,
}

impl Windows {
    /// Forget everything but the slipped length: what was before is not one stretch with what follows.
    pub const fn restart(&mut self) {
        self.begin_anew();
        self.waits = 0;
        self.boot_waits = 0;
        self.is_placed = 0;
        self.heads = 0;
        self.trend = 0;
        self.in_doubt = 0;
        self.fresh = 0;
    }

    /// Forget the slipped length too: a new run from rest.
    pub const fn restart_from_rest(&mut self) {
        self.restart();
        self.slipped = 0;
        self.mean = 0;
    }

    /// What follows is not one stretch with the marks remembered.
    const fn begin_anew(&mut self) {
        self.remembered = 0;
        self.whole = [0; 2];
    }

    /// A boot edge counts, at `at`; `index` is its mark. While that is in [doubt](Self::settle_doubt), it waits.
    pub fn boot(&mut self, plan: &SlipPlan, at: u32, index: u8, in_doubt: bool) {
        self.boot_waits = 1;
        self.in_doubt = u8::from(in_doubt);
        if !in_doubt {
            self.await_head(plan, at, index);
        }
    }

    /// How many closing marks after the newest are known to be gone: nothing waits for them.
    fn gone_ahead(&self, plan: &SlipPlan, gone: [u8; 2]) -> u8 {
        let (mut ahead, mut which) = (0_u8, self.newest_which);
        for _ in gone {
            which = if which.wrapping_add(1) >= plan.closings { 0 } else { which.wrapping_add(1) };
            if !gone.contains(&which.wrapping_mul(plan.stride)) {
                break;
            }
            ahead = ahead.wrapping_add(1);
        }
        ahead
    }

    /// Whether the newest boot edge is in doubt.
    pub const fn is_in_doubt(&self) -> bool {
        self.in_doubt != 0
    }

    /// Whether the head has turned on so far since the boot edge in doubt that the belt must have slowed down.
    pub const fn doubt_is_over(&self, plan: &SlipPlan) -> bool {
        self.in_doubt != 0 && self.boot_waits == 0 && self.since_boot > plan.doubt
    }

    /// The boot edge in doubt, `at`, is known to be mark `index`.
    #[inline(never)]
    pub fn settle_doubt(&mut self, plan: &SlipPlan, at: u32, index: u8) {
        if core::mem::replace(&mut self.in_doubt, 0) == 0 {
            return;
        }
        if self.boot_waits != 0 {
            self.await_head(plan, at, index);
        } else if let Some(which) = closing(plan, index) {
            self.remember(plan, self.head.wrapping_sub(self.since_boot), which);
            self.since_mark = self.since_boot;
        }
    }

    /// What was told while the boot was overdue is taken back as far as it is in doubt: no less than the last whole windows said.
    #[inline(never)]
    pub fn doubt_readings(&self, plan: &SlipPlan, signals: &mut Signals) {
        for ((slip, whole), turns) in
            [&mut signals.short, &mut signals.long].into_iter().zip(self.whole).zip([1, LONG_TURNS])
        {
            if slip.is_open() {
                *slip = if whole == 0 { Reading::UNKNOWN } else { Reading::at_least(slip_over(plan, turns, whole)) };
            }
        }
    }

    /// A boot mark waits for the next head edge, if it closes a window.
    fn await_head(&mut self, plan: &SlipPlan, at: u32, index: u8) {
        let Some(which) = closing(plan, index) else { return };
        let place = usize::from(self.waits);
        if let (Some(slot), Some(which_slot)) = (self.waiting.get_mut(place), self.which.get_mut(place)) {
            *slot = at;
            *which_slot = which;
            self.waits = self.waits.wrapping_add(1);
        } else {
            // More boot marks than a turning head can leave waiting: no common stretch any more.
            self.begin_anew();
            self.waits = 0;
        }
    }

    /// A head edge counts. What the windows say then goes to `signals`, whose head angle is up to date. Whether the long one said
    /// anything.
    pub fn head(&mut self, plan: &SlipPlan, edge: &HeadEdge, signals: &mut Signals) -> bool {
        if self.heads == 0 {
            // Before the first head edge nothing can be placed.
            self.heads = 1;
            self.waits = 0;
            self.boot_waits = 0;
            self.in_doubt = 0;
            return false;
        }
        let mut bend = 0;
        if self.heads == 1 {
            // Over the first pitch the head may have gathered speed in any way: nothing can be placed within it.
            self.heads = 2;
            self.waits = 0;
            self.in_doubt = 0;
        } else {
            bend = bend_between(edge.before, edge.pitch);
            // A pull that comes and goes with every pitch is no ramp: the straight line is nearer then.
            let before = core::mem::replace(&mut self.trend, bend.signum() as i8);
            if before != 0 && before != self.trend {
                bend = 0;
            }
        }
        if self.boot_waits != 0 && self.is_placed != 0 && self.since_boot > plan.apart {
            // The belt stood until now: count what slid, and begin anew.
            if self.remembered != 0 {
                self.slipped = self.slipped.saturating_add(slid(plan, self.since_mark, 1));
            }
            self.begin_anew();
        }
        let turned = edge.end.wrapping_sub(edge.start);
        self.head = edge.end;
        self.since_boot = self.since_boot.saturating_add(turned);
        self.since_mark = self.since_mark.saturating_add(turned);
        self.place_all(plan, edge, signals.boot.last_edge, bend);
        let marks = core::mem::replace(&mut self.fresh, 0);
        let closed = marks != 0;
        if !closed && self.in_doubt != 0 {
            return false;
        }
        let ahead = self.gone_ahead(plan, edge.gone);
        let mut told = false;
        for (slot, slip) in [&mut signals.short, &mut signals.long].into_iter().enumerate() {
            let said = self.say(plan, slot, (closed, ahead), edge.doubt);
            told = said.is_some();
            if let Some(reading) = said {
                *slip = reading;
                if slot == 0 && closed && reading.is_exact() {
                    self.count_in(plan, reading.least, marks);
                }
            }
        }
        let mean = self.mean >> MEAN_PART;
        if mean.abs_diff(signals.slip_mean) >= MEAN_STEP {
            signals.slip_mean = mean;
        }
        told
    }

    /// Let the slip of one boot turn, which so many marks closed since the last, count in the mean. So slip that comes in pulses, each too
    /// short for its condition's delay, adds up; and which way it lies from zero for long is known.
    fn count_in(&mut self, plan: &SlipPlan, ppm: i32, marks: u8) {
        let more = |than: u8| u32::from(plan.closings > than);
        let shift = MEAN_SHIFT.wrapping_add(more(1)).wrapping_add(more(2)).wrapping_add(more(4));
        let held = ppm.min(MOST_COUNTED).max(MOST_COUNTED.wrapping_neg()) << MEAN_PART;
        for _ in 0..marks {
            // Both below 2^26.
            self.mean = self.mean.wrapping_add(held.wrapping_sub(self.mean) >> shift);
        }
    }

    /// Place the boot edges that waited for this head edge, of which the newest is `boot`. What came after it, while it was in doubt, waits on.
    fn place_all(&mut self, plan: &SlipPlan, edge: &HeadEdge, boot: u32, bend: i32) {
        let mut left = 0_u8;
        let mut placed = None;
        for place in 0..usize::from(self.waits) {
            let (Some(at), Some(which)) = (self.waiting.get(place).copied(), self.which.get(place).copied()) else {
                break;
            };
            if !reached(edge.at, at) {
                let slot = usize::from(left);
                if let (Some(slot), Some(which_slot)) = (self.waiting.get_mut(slot), self.which.get_mut(slot)) {
                    *slot = at;
                    *which_slot = which;
                }
                left = left.wrapping_add(1);
                continue;
            }
            let head = edge.angle_at(at, bend);
            self.remember(plan, head, which);
            self.since_mark = edge.end.wrapping_sub(head);
            placed = Some((at, head));
        }
        self.waits = left;
        if self.boot_waits != 0 && reached(edge.at, boot) {
            self.boot_waits = 0;
            let head = placed.filter(|(at, _)| *at == boot).map_or_else(|| edge.angle_at(boot, bend), |(_, head)| head);
            self.since_boot = edge.end.wrapping_sub(head);
            self.is_placed = 1;
        }
    }

    /// Remember the head angle at a closing mark, and count what slid past since the last. Marks of the turn between the last and
    /// this one gave no edge: they are put evenly between.
    #[inline(never)]
    fn remember(&mut self, plan: &SlipPlan, head: u32, which: u8) {
        let before = core::mem::replace(&mut self.newest_which, which);
        if let Some(last) = self.before_newest(0) {
            let turn = if which > before { 0 } else { plan.closings };
            let steps = which.wrapping_sub(before).wrapping_add(turn);
            let step = head.wrapping_sub(last);
            self.slipped = self.slipped.saturating_add(slid(plan, step, steps));
            if step > plan.apart {
                self.begin_anew();
            } else if steps > 1 {
                let part = divide(step.into(), steps.into());
                let mut between = last;
                // At most as many as there are closing marks in a turn.
                for _ in 1..steps {
                    between = between.wrapping_add(part);
                    self.push(between);
                }
            }
        }
        self.push(head);
    }

    fn push(&mut self, head: u32) {
        self.newest = if self.newest >= REMEMBERED - 1 { 0 } else { self.newest.wrapping_add(1) };
        if let Some(slot) = self.at_marks.get_mut(usize::from(self.newest)) {
            *slot = head;
        }
        self.remembered = self.remembered.saturating_add(1).min(REMEMBERED);
        self.fresh = self.fresh.saturating_add(1);
    }

    /// The head angle remembered so many closing marks before the newest.
    fn before_newest(&self, marks: u8) -> Option<u32> {
        if marks >= self.remembered {
            return None;
        }
        let index = self.newest.wrapping_sub(marks);
        let index = if marks > self.newest { index.wrapping_add(REMEMBERED) } else { index };
        self.at_marks.get(usize::from(index)).copied()
    }

    /// What a window says at a head edge: the short one (0) or the long one. Where no mark `closed` it, what the window that the next
    /// mark will close says at least, if that is news.
    fn say(&mut self, plan: &SlipPlan, slot: usize, (closed, ahead): (bool, u8), doubt: u32) -> Option<Reading> {
        let turns = if slot == 0 { 1 } else { LONG_TURNS };
        let marks = plan.closings.wrapping_mul(turns);
        let newest = self.before_newest(0)?;
        // The window that the next mark to come will close begins so many marks before the newest.
        let begun = self.before_newest(if closed { marks } else { marks.wrapping_sub(1).saturating_sub(ahead) })?;
        let mut span = newest.wrapping_sub(begun);
        let whole = self.whole.get_mut(slot)?;
        if closed {
            *whole = span;
        } else {
            // Without a whole window yet, the no-slip angle is the mark to beat.
            let beaten = if *whole == 0 { no_slip(plan, turns) } else { *whole };
            span = span.saturating_add(self.since_mark);
            if span <= beaten.saturating_add(beaten >> TELLING_SHIFT) {
                return None;
            }
        }
        let (least, most) = (span.saturating_sub(doubt), span.saturating_add(doubt));
        let least = slip_over(plan, turns, least);
        Some(if !closed {
            Reading::at_least(least)
        } else if doubt == 0 {
            Reading::exact(least)
        } else {
            Reading { least, most: slip_over(plan, turns, most) }
        })
    }

    /// There is no boot edge yet: count head angle from the newest head edge.
    pub const fn boot_rests_here(&mut self) {
        if self.is_placed == 0 {
            self.is_placed = 1;
            self.since_boot = 0;
        }
    }

    /// Head angle since the newest boot edge, as of the newest head edge; 0 while that edge waits to be placed.
    pub const fn since_boot(&self) -> u32 {
        if self.is_placed == 0 || self.boot_waits != 0 { 0 } else { self.since_boot }
    }

    /// Rim length slid past the belt since rest, with what the overdue boot has lost so far, in micrometres.
    pub fn slipped(&self, plan: &SlipPlan, gone: [u8; 2]) -> i32 {
        let open = if self.remembered == 0 || self.in_doubt != 0 {
            0
        } else {
            slid(plan, self.since_mark, self.gone_ahead(plan, gone).wrapping_add(1))
        };
        self.slipped.saturating_add(open.max(0))
    }
}

impl HeadEdge {
    /// The head's angle at a moment in this pitch or shortly before it.
    fn angle_at(&self, at: u32, bend: i32) -> u32 {
        let begun = self.at.wrapping_sub(self.pitch.1);
        if reached(at, begun) {
            return self.start.wrapping_add(between(self.pitch, age(at, begun), bend) >> 8);
        }
        // A mark that was in doubt when the pitch before this one ended.
        let (angle, time) = self.pitch;
        self.start.wrapping_sub(mul_div(angle, age(begun, at), time.max(1)) >> 8)
    }
}

/// Which of a turn's closing marks this mark is, if it is one.
fn closing(plan: &SlipPlan, index: u8) -> Option<u8> {
    let (mut left, mut which) = (index, 0_u8);
    // At most as often as there are closing marks; and a plan that was damaged since it was checked must not hold the box here.
    while left >= plan.stride && plan.stride > 0 {
        left = left.wrapping_sub(plan.stride);
        which = which.wrapping_add(1);
    }
    if left == 0 { Some(which) } else { None }
}

/// The head angle of so many boot turns without slip.
const fn no_slip(plan: &SlipPlan, turns: u8) -> u32 {
    plan.head_per_boot.wrapping_mul(turns as u32)
}

/// `1 - turns / (R * span)` in ppm, held between -200 % and 100 %.
#[inline(never)]
fn slip_over(plan: &SlipPlan, turns: u8, span: u32) -> i32 {
    let parts = u64::from(no_slip(plan, turns)).wrapping_mul(1_000_000);
    1_000_000_i32.wrapping_sub(divide(parts, span).min(3_000_000) as i32)
}

/// Rim length slid over a head angle in which the boot went on by so many closing marks, in micrometres.
fn slid(plan: &SlipPlan, head: u32, steps: u8) -> i32 {
    let boot = (u64::from(head).wrapping_mul(u64::from(plan.boot_per_head)) >> 24).min(u64::from(u32::MAX));
    let slid = (boot as i64).wrapping_sub(i64::from(plan.closing_share.wrapping_mul(steps.into())));
    // Below 2^33, times circumferences below 2^25.
    (slid.wrapping_mul(i64::from(plan.boot_circumference)) >> 24).clamp(i64::from(i32::MIN), i64::from(i32::MAX)) as i32
}

/// Bends below this part (2^-16 of a pitch) are noise: a quarter of it is the largest error left.
const LEAST_BEND: u32 = 1 << 9;

/// How far a pitch is from straight, in 2^-16: the head turned `angle * (x + bend * x * (x - 1))` in the part `x` of its
/// time, which is exact while the speed changes steadily. From the pitch `before` and the pitch `now`, each angle and time.
#[inline(never)]
fn bend_between(before: (u32, u32), now: (u32, u32)) -> i32 {
    let product = |one: u32, other: u32| u64::from(one).wrapping_mul(u64::from(other));
    let (fast, slow) = (product(before.0, now.1), product(now.0, before.1));
    // Half of the least bend in speed, of which the bend is but a part.
    if fast.abs_diff(slow) < slow >> 8 {
        return 0;
    }
    // The speed before over the speed now, in 2^-16, held at two; both brought to a word.
    let zeros = slow.leading_zeros();
    let fast = fast.min(slow.wrapping_shl(1));
    let slower = if zeros >= 32 {
        divide(fast.wrapping_shl(16), slow as u32)
    } else {
        let by = 32_u32.wrapping_sub(zeros);
        divide(fast.wrapping_shr(by).wrapping_shl(16), slow.wrapping_shr(by) as u32)
    };
    let gained = (1_i32 << 16).wrapping_sub(slower.min(1 << 17) as i32);
    // The times are below 2^30, and this one is no more than both.
    let part = divide(u64::from(now.1) << 16, now.1.wrapping_add(before.1));
    let bend = (i64::from(gained).wrapping_mul(i64::from(part)) >> 16) as i32;
    if bend.unsigned_abs() < LEAST_BEND { 0 } else { bend }
}

/// The part of a pitch (its angle and its time) turned after `waited` of it, with its bend.
#[inline(never)]
fn between((pitch, time): (u32, u32), waited: u32, bend: i32) -> u32 {
    // No time passed only if two edges coincide: then either end is right.
    let straight = if time == 0 { 0 } else { mul_div(pitch, waited, time).min(pitch) };
    if bend == 0 {
        return straight;
    }
    // Every factor is at most 2^16, and the last product at most 2^14 (x * (1 - x) is at most a quarter).
    let x = divide(u64::from(waited) << 16, time);
    let hump = x.wrapping_mul((1_u32 << 16).wrapping_sub(x)) >> 16;
    let short = (hump as i32).wrapping_mul(bend) >> 16;
    let bent = i64::from(straight).wrapping_sub(i64::from(short).wrapping_mul(i64::from(pitch)) >> 16);
    bent.clamp(0, i64::from(pitch)) as u32
}

#[cfg(all(test, feature = "desk"))]
#[allow(clippy::float_arithmetic, reason = "the physics beside it is reckoned as people do")]
mod tests {
    use super::*;
    use crate::settings::Settings;

    fn plan() -> SlipPlan {
        Settings::example().check().expect("sound").plan().slip
    }

    /// Two pitches while speed changes steadily from `begins` to `ends`, in 2^-32 turn a microsecond, each so long; and the angle turned
    /// in the second after a part of its time.
    fn ramp(times: (u32, u32), begins: f64, ends: f64) -> ((u32, u32), (u32, u32), impl Fn(f64) -> f64) {
        let (first, second) = (f64::from(times.0), f64::from(times.1));
        let gains = (ends - begins) / (first + second);
        let turned = move |time: f64| begins * time + gains * time * time / 2.0;
        let before = turned(first);
        let now = turned(first + second) - before;
        ((before as u32, times.0), (now as u32, times.1), move |part| turned(first + part * second) - before)
    }

    /// Angle is the integral of speed: steady acceleration makes it a parabola (school physics).
    #[test]
    fn a_pitch_is_bent_as_a_steady_change_of_speed_bends_it() {
        for (times, begins, ends) in [
            ((200_000, 100_000), 1_000.0, 3_000.0),
            ((100_000, 150_000), 3_000.0, 2_000.0),
            ((90_000, 100_000), 4_000.0, 4_200.0),
            ((1_000_000, 2_000_000), 900.0, 300.0),
            // Times and angles that are no word any more when they are multiplied, and some that are.
            ((300, 200), 1_000_000.0, 1_400_000.0),
            ((20, 15), 900.0, 1_500.0),
            ((1_500, 1_000), 3_000.0, 4_000.0),
        ] {
            let (before, now, turned) = ramp(times, begins, ends);
            let bend = bend_between(before, now);
            assert!(bend != 0 && (bend > 0) == (ends > begins), "{times:?}: {bend}");
            for waited in (0..=8).map(|part| now.1 * part / 8) {
                let exact = turned(f64::from(waited) / f64::from(now.1));
                let told = f64::from(between(now, waited, bend));
                // The part of time, the hump and the bend are each cut to 2^-16; angles of a few units to a unit.
                let error = (told - exact).abs() / f64::from(now.0);
                assert!(
                    error < 6.0 / 65_536.0 + 3.0 / f64::from(now.0),
                    "{times:?} after {waited}: {told} for {exact}"
                );
            }
            assert_eq!((between(now, 0, bend), between(now, now.1, bend)), (0, now.0), "its ends are its ends");
        }
    }

    #[test]
    fn little_bend_is_none_and_much_is_held() {
        let (angle, time) = (1 << 30, 100_000);
        // Speed before less by a part: half of that is the bend, and a 128th the least.
        let slower = |parts: u32| bend_between((angle - (angle >> 16) * parts, time), (angle, time));
        assert_eq!(slower(0), 0);
        assert_eq!(slower(2 * LEAST_BEND - 1), 0);
        assert_eq!(slower(2 * LEAST_BEND), LEAST_BEND as i32);
        assert_eq!(slower(1 << 15), 1 << 14);
        let faster = |parts: u32| bend_between((angle + (angle >> 16) * parts, time), (angle, time));
        assert_eq!(faster(2 * LEAST_BEND - 2), 0);
        // Halves are cut downwards.
        assert_eq!(faster(2 * LEAST_BEND - 1), -(LEAST_BEND as i32));
        // A speed of more than twice is taken for twice.
        assert_eq!(bend_between((angle, time), (angle / 2, time)), -(1 << 15));
        assert_eq!(bend_between((angle, time), (angle / 5, time)), -(1 << 15));
        // Where the pitch before took no time to speak of, all of the change falls into this one.
        assert_eq!(bend_between((1, 1), (angle, time)), 65_529);
        // Bent as far as it goes, half the time turns a quarter of the pitch, and nothing turns back.
        assert_eq!(between((angle, time), time / 2, 1 << 16), angle / 4);
        assert_eq!(between((angle, time), time / 2, -(1 << 16)), 3 * (angle / 4));
        assert_eq!(between((angle, time), time / 2, 0), angle / 2);
        assert_eq!(between((angle, 0), 0, 0), 0, "no time passed");
        assert_eq!(between((angle, time), 3 * time, 0), angle, "never beyond its end");
    }

    /// `slip = 1 - boot turns / (R * head turns)`, as the book defines it.
    #[test]
    fn slip_is_what_the_boot_lacks() {
        let plan = plan();
        for turns in [1, LONG_TURNS] {
            let without = no_slip(&plan, turns);
            assert_eq!(without, plan.head_per_boot * u32::from(turns));
            for percent in [0_u32, 1, 10, 25, 80, 95] {
                let span = (f64::from(without) / (1.0 - f64::from(percent) / 100.0)) as u32;
                assert!(slip_over(&plan, turns, span).abs_diff(percent as i32 * 10_000) <= 1, "{percent} %");
            }
            assert_eq!(slip_over(&plan, turns, without / 2), -1_000_000);
            assert_eq!(slip_over(&plan, turns, without / 3), slip_over(&plan, turns, 1), "held");
            assert_eq!(slip_over(&plan, turns, 1), -2_000_000);
            assert_eq!(slip_over(&plan, turns, u32::MAX).signum(), 1);
        }
    }

    #[test]
    fn what_slid_is_the_rim_that_the_boot_lacks() {
        let leg = plan();
        // On a bench the rim may be so long that what slid in one stretch is held.
        let bench = SlipPlan { boot_circumference: 40_840_705, ..leg };
        let heads = [(1 << 24, 1), (1 << 24, 8), (5 << 23, 4), (200 << 24, 1), (0, 3), (7, 1)];
        for (plan, (head, steps)) in [leg, bench].into_iter().flat_map(|plan| heads.map(|head| (plan, head))) {
            let rim = f64::from(plan.boot_circumference);
            let boot = f64::from(head) * f64::from(plan.boot_per_head) / f64::from(1 << 24);
            let lacks = (boot - f64::from(plan.closing_share) * f64::from(steps)) / f64::from(1 << 24);
            let exact = (lacks * rim).clamp(f64::from(i32::MIN), f64::from(i32::MAX));
            let told = f64::from(slid(&plan, head, steps));
            assert!((told - exact).abs() <= 2.0, "{head} {steps}: {told} for {exact}");
        }
    }

    /// No sound plan is so, but memory may change under way, and whoever finds that must get to look.
    #[test]
    fn a_damaged_plan_without_a_stride_ends() {
        let plan = SlipPlan { stride: 0, ..plan() };
        assert_eq!([0, 1, 63].map(|mark| closing(&plan, mark)), [Some(0), None, None]);
    }

    #[test]
    fn every_stride_th_mark_closes() {
        let plan = SlipPlan { stride: 3, closings: 5, ..plan() };
        let told: [Option<u8>; 8] = core::array::from_fn(|index| closing(&plan, index as u8));
        assert_eq!(told, [Some(0), None, None, Some(1), None, None, Some(2), None]);
    }
}
