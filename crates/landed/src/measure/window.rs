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

mod kept;

use heapless::Deque;

use crate::math::{divide, mul_div};
use crate::motion::{Slip, SlipReading};
use crate::units::{Micrometres, Micros, Ppm, Ratio, Span, TurnFraction, Turns};

/// Windows that may close in one boot turn.
const MOST_CLOSINGS: usize = 8;
/// Boot turns of the long window.
pub const LONG_TURNS: u32 = 4;
/// Head angles remembered: one at each closing mark over the long window, and its start.
const REMEMBERED: usize = MOST_CLOSINGS * LONG_TURNS as usize + 1;
/// Boot marks that may wait for the next head edge.
const MOST_WAITING: usize = 24;
/// A lower limit is told only once the window is this part (1/2^10) longer than the last whole one: otherwise it says
/// nothing that the last reading did not say.
const TELLING_SHIFT: u32 = 10;

/// Head angle in 2^-24 turn: less than a tenth of a millionth. It wraps after 256 turns, and differences within the remembered
/// marks wrap back: see [`STRETCH`].
type ShortAngle = u32;

/// A turn as a [`ShortAngle`].
const TURN: u32 = 1 << 24;

/// The most head angle that all remembered marks together may span, with room for a last interval below the 256 turns after
/// which angles wrap. Where the head turns more than its share of it between two marks the belt stood, and what comes after
/// is a new stretch: at four marks a turn that is after fourteen turns.
const STRETCH: u32 = 224 * TURN;

const fn short(angle: Turns) -> ShortAngle {
    (angle.get() >> 8) as u32
}

/// Head angle from `edge` on, held at 256 turns.
fn since(edge: Turns, angle: Turns) -> u32 {
    (angle.beyond(edge).get() >> 8).min(u64::from(u32::MAX)) as u32
}

/// The time whose low half is `low`, at `now` or less than 71 minutes before.
const fn whole_before(low: u32, now: Micros) -> Micros {
    Micros::new(now.get().saturating_sub((now.get() as u32).wrapping_sub(low) as u64))
}

/// What the windows say at one head edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Told {
    pub short: Option<Slip>,
    pub long: Option<Slip>,
}

/// The two windows.
#[derive(Clone, Debug)]
pub struct Windows {
    /// Head turns for one boot turn without slip, in 2^-24 turn, and the other way round.
    head_per_boot: u32,
    boot_per_head: u32,
    /// Part of the boot turn between two closing marks, on average, in 2^-24 turn.
    closing_share: u32,
    /// More head angle than this between two boot marks, in 2^-24 turn: the belt stood.
    apart: u32,
    /// Every so many boot marks close a window.
    stride: u8,
    /// Boot marks a turn.
    boot_marks: u8,
    /// Closing marks a turn.
    closings: u8,
    /// Boot mark counted last, modulo the marks a turn.
    boot_index: u8,
    /// Head angle at the closing marks, newest last.
    at_marks: Deque<ShortAngle, REMEMBERED>,
    /// Closing marks not yet placed between two head edges, the low halves of their times: a head that let them wait for longer than
    /// those hold has rested, and everything begins afresh.
    waiting: Deque<u32, MOST_WAITING>,
    /// The newest boot edge, not yet placed.
    boot_edge: Option<Micros>,
    /// Head angle at the newest placed boot edge.
    head_at_boot: Option<Turns>,
    /// The newest head edge: its time and angle.
    head: Option<(Micros, Turns)>,
    /// The head pitch that ended with it: its angle in 2^-32 turn and its time in microseconds.
    head_pitch: Option<(u32, u32)>,
    /// Whether the head gained speed (above zero) or lost it over the last two pitches.
    trend: i32,
    /// Head angle of the newest whole window, short and long.
    whole: [u32; 2],
    /// Error of one reading over a short window while the head spacing is not known; zero once it is.
    doubt: u32,
    /// Boot rim length of one turn.
    boot_circumference: Micrometres,
    slipped: i64,
}

impl Windows {
    pub const fn new() -> Self {
        Self {
            head_per_boot: TURN,
            boot_per_head: TURN,
            closing_share: TURN,
            apart: STRETCH,
            stride: 1,
            boot_marks: 1,
            closings: 1,
            boot_index: 0,
            at_marks: Deque::new(),
            waiting: Deque::new(),
            boot_edge: None,
            head_at_boot: None,
            head: None,
            head_pitch: None,
            trend: 0,
            whole: [0; 2],
            doubt: 0,
            boot_circumference: Micrometres::ZERO,
            slipped: 0,
        }
    }

    /// `head_widest` is the widest head pitch, which bounds how many boot marks can wait for a head edge.
    pub fn configure(
        &mut self,
        ratio: Ratio,
        boot_marks: u8,
        head_widest: TurnFraction,
        boot_circumference: Micrometres,
    ) {
        *self = Self::new();
        // Ratio is above 0.2 in checked settings, so the quotient fits 32 bits.
        self.head_per_boot = mul_div(TURN, Ratio::ONE.get(), ratio.get()).unwrap_or(TURN);
        self.boot_per_head = mul_div(TURN, ratio.get(), Ratio::ONE.get()).unwrap_or(TURN);
        self.boot_marks = boot_marks.max(1);
        self.boot_circumference = boot_circumference;
        // Boot turns in one head pitch, in 2^-8 turn, rounded up.
        let boot_in_pitch =
            mul_div(head_widest.get() >> 24, ratio.get(), Ratio::ONE.get()).unwrap_or(0).wrapping_add(2);
        let room = (MOST_WAITING as u32).saturating_sub(4).wrapping_shl(8).checked_div(boot_in_pitch).unwrap_or(1);
        // At least one after the narrowing too, so that no compiler has to prove it.
        let most = (room.clamp(1, MOST_CLOSINGS as u32) as u8).max(1);
        self.stride = self.boot_marks.div_ceil(most);
        self.closings = self.boot_marks.div_ceil(self.stride.max(1));
        self.closing_share = TURN.checked_div(u32::from(self.closings)).unwrap_or(TURN);
        self.apart = STRETCH.checked_div(u32::from(self.closings).wrapping_mul(LONG_TURNS)).unwrap_or(STRETCH);
    }

    /// Readings of each window in one boot turn, at most.
    pub const fn readings_a_turn(&self) -> u32 {
        self.closings as u32
    }

    /// Forget everything but the geometry: what was before is not one stretch with what follows.
    pub fn restart(&mut self) {
        self.at_marks.clear();
        self.waiting.clear();
        self.boot_edge = None;
        self.head_at_boot = None;
        self.head = None;
        self.head_pitch = None;
        self.trend = 0;
        self.whole = [0; 2];
    }

    /// Forget the slipped length too: a new run from rest.
    pub fn restart_from_rest(&mut self) {
        self.restart();
        self.slipped = 0;
    }

    /// How wrong the head angle between two edges can be while the head's spacing is not known.
    pub fn set_doubt(&mut self, head_pitch_doubt: TurnFraction) {
        self.doubt = head_pitch_doubt.get() >> 8;
    }

    /// A boot edge counts, at `at`; `index` is its mark.
    pub fn boot(&mut self, at: Micros, index: u8) {
        self.boot_index = index;
        self.boot_edge = Some(at);
        if index.checked_rem(self.stride).unwrap_or(0) != 0 {
            return;
        }
        if self.waiting.push_back(at.get() as u32).is_err() {
            // More boot marks than a turning head can leave waiting: no common stretch any more.
            self.begin_anew();
            self.waiting.clear();
        }
    }

    /// A head edge counts, at `at`, where the head's angle is `angle`; it is known at `known_at`.
    pub fn head(&mut self, at: Micros, angle: Turns, known_at: Micros) -> Told {
        let mut told = Told { short: None, long: None };
        let Some((last, last_angle)) = self.head.replace((at, angle)) else {
            // Before the first head edge nothing can be placed.
            self.waiting.clear();
            self.boot_edge = None;
            return told;
        };
        let pitch = angle.beyond(last_angle).get().min(u64::from(u32::MAX)) as u32;
        let time = at.since(last);
        let bend = match self.head_pitch.replace((pitch, time.get())) {
            Some(before) => {
                let bend = bend(before, (pitch, time.get()));
                // A pull that comes and goes with every pitch is no ramp: the straight line is nearer then.
                let steady = self.trend == 0 || self.trend.signum() == bend.signum();
                self.trend = bend;
                if steady { bend } else { 0 }
            }
            None => {
                // Over the first pitch the head may have gathered speed in any way: nothing can be placed within it.
                self.waiting.clear();
                0
            }
        };
        if self.boot_edge.is_some() && self.stood(last_angle) {
            self.part_from_standing(last_angle);
        }
        let mut closed = None;
        while let Some(mark) = self.waiting.pop_front() {
            let mark = whole_before(mark, at);
            let head = last_angle.forward(between(pitch, mark.since(last), time, bend));
            closed = Some(mark);
            self.place(short(head));
            if self.boot_edge == closed {
                self.boot_edge = None;
                self.head_at_boot = Some(head);
            }
        }
        if let Some(edge) = self.boot_edge.take() {
            self.head_at_boot = Some(last_angle.forward(between(pitch, edge.since(last), time, bend)));
        }
        for (window, turns) in [(&mut told.short, 1), (&mut told.long, LONG_TURNS)] {
            *window = match closed {
                Some(mark) => self.close(turns, mark, known_at),
                None => self.limit(turns, angle, at, known_at),
            };
        }
        told
    }

    /// Remember the head angle at the next closing mark, and count what slid past since the last.
    fn place(&mut self, head: ShortAngle) {
        if let Some(last) = self.at_marks.back() {
            let step = head.wrapping_sub(*last);
            self.slipped = self.slipped.saturating_add(self.slid(step));
            if step > self.apart {
                self.begin_anew();
            }
        }
        if self.at_marks.is_full() {
            self.at_marks.pop_front();
        }
        // There is room: one was taken away.
        let _ = self.at_marks.push_back(head);
    }

    /// Rim length slid over a head angle in which the boot went from one closing mark to the next, in micrometres.
    fn slid(&self, head: u32) -> i64 {
        let slid = i64::from(self.boot_turns(head)).saturating_sub(i64::from(self.closing_share));
        // Below 2^32, times circumferences below 2^24.
        slid.saturating_mul(self.boot_circumference.get()) >> 24
    }

    /// Whether the head, at `angle`, has left the newest placed boot edge so far behind that the belt stood.
    fn stood(&self, angle: Turns) -> bool {
        self.head_at_boot.is_some_and(|edge| since(edge, angle) > self.apart)
    }

    /// Head angle from the newest closing mark to `angle`. Held at 256 turns instead of wrapping.
    fn open(&self, newest: ShortAngle, angle: Turns) -> u32 {
        match self.head_at_boot {
            // From the closing mark to the boot edge placed last, which is never before it, and on from there.
            Some(edge) if self.stood(angle) => short(edge).wrapping_sub(newest).saturating_add(since(edge, angle)),
            _ => short(angle).wrapping_sub(newest),
        }
    }

    /// The belt stood until now, with the head at `angle`: count what slid, and begin anew.
    fn part_from_standing(&mut self, angle: Turns) {
        if let Some(newest) = self.at_marks.back() {
            self.slipped = self.slipped.saturating_add(self.slid(self.open(*newest, angle)));
        }
        self.begin_anew();
    }

    /// What follows is not one stretch with what is remembered.
    fn begin_anew(&mut self) {
        self.at_marks.clear();
        self.whole = [0; 2];
    }

    /// The boot turns that a head angle stands for without slip, in 2^-24 turn.
    fn boot_turns(&self, head: u32) -> u32 {
        ((u64::from(head).wrapping_mul(u64::from(self.boot_per_head))) >> 24).min(u64::from(u32::MAX)) as u32
    }

    fn marks_in(&self, turns: u32) -> usize {
        usize::from(self.closings).wrapping_mul(turns as usize)
    }

    /// The head angle remembered so many closing marks before the newest.
    fn before_newest(&self, marks: usize) -> Option<ShortAngle> {
        let index = self.at_marks.len().checked_sub(marks)?.checked_sub(1)?;
        self.at_marks.get(index).copied()
    }

    fn close(&mut self, turns: u32, at: Micros, known_at: Micros) -> Option<Slip> {
        let newest = *self.at_marks.back()?;
        let span = newest.wrapping_sub(self.before_newest(self.marks_in(turns))?);
        let slot = usize::from(turns > 1);
        if let Some(whole) = self.whole.get_mut(slot) {
            *whole = span;
        }
        Some(Slip { reading: self.reading(turns, span, false), at, known_at })
    }

    /// What the window that the next mark will close says at least, if that is news.
    fn limit(&self, turns: u32, angle: Turns, at: Micros, known_at: Micros) -> Option<Slip> {
        let start = self.before_newest(self.marks_in(turns).checked_sub(1)?)?;
        let newest = *self.at_marks.back()?;
        let span = newest.wrapping_sub(start).saturating_add(self.open(newest, angle));
        let whole = self.whole.get(usize::from(turns > 1)).copied().unwrap_or(0);
        // Without a whole window yet, the no-slip angle is the mark to beat.
        let whole = if whole == 0 { self.head_per_boot.saturating_mul(turns) } else { whole };
        (span > whole.saturating_add(whole >> TELLING_SHIFT)).then(|| Slip {
            reading: self.reading(turns, span, true),
            at,
            known_at,
        })
    }

    /// `1 - turns / (R * span)` in ppm, held between -200 % and 100 %.
    fn reading(&self, turns: u32, span: u32, overdue: bool) -> SlipReading {
        let (span, at_least) = if self.doubt > 0 { (span.saturating_sub(self.doubt), true) } else { (span, overdue) };
        // 1e6 < 2^20, four turns 2^2, head_per_boot < 2^31: below 2^53.
        let boot = u64::from(turns).wrapping_mul(u64::from(self.head_per_boot)).wrapping_mul(1_000_000);
        let share = divide(boot, u64::from(span)).unwrap_or(3_000_000).min(3_000_000) as i32;
        let ppm = Ppm::ONE.saturating_sub(Ppm::new(share));
        if at_least { SlipReading::AtLeast(ppm) } else { SlipReading::Known(ppm) }
    }

    /// Head angle since the newest boot edge, as of the newest head edge; zero while that edge waits to be placed.
    pub fn head_since_boot(&self) -> Turns {
        match (self.head, self.head_at_boot, self.boot_edge) {
            (Some((_, angle)), Some(start), None) => angle.beyond(start),
            _ => Turns::ZERO,
        }
    }

    /// There is no boot edge yet: count head angle from here.
    pub fn boot_rests_at(&mut self, angle: Turns) {
        self.head_at_boot.get_or_insert(angle);
    }

    /// Rim length slid past the belt since rest, with what the overdue boot has lost so far.
    pub fn slipped(&self) -> Micrometres {
        let open = match (self.head, self.at_marks.back()) {
            (Some((_, angle)), Some(newest)) => self.slid(self.open(*newest, angle)).max(0),
            _ => 0,
        };
        Micrometres::new(self.slipped.saturating_add(open))
    }
}

/// Bends below this part (2^-16 of a pitch) are noise: a quarter of it is the largest error left.
const LEAST_BEND: i32 = 1 << 9;

/// How far a pitch is from straight, in 2^-16: the head turned `angle * (x + bend * x * (x - 1))` in the part `x` of its
/// time, which is exact while the speed changes steadily. From the pitch `before` and the pitch `now`, each angle and time.
fn bend(before: (u32, u32), now: (u32, u32)) -> i32 {
    let product = |one: u32, other: u32| u64::from(one).wrapping_mul(u64::from(other));
    // The speed before over the speed now, in 2^-16. Zero only if no time passed: then nothing is known of a bend.
    let Some(slower) = divide(product(before.0, now.1), product(now.0, before.1) >> 16) else { return 0 };
    let gained = (1_i64 << 16).saturating_sub(slower.min(1 << 17) as i64);
    let both = u64::from(now.1).wrapping_add(u64::from(before.1));
    let part = divide(u64::from(now.1) << 16, both).unwrap_or(0) as i64;
    // Both factors are below 2^18. Beyond 1 the curve would turn back.
    let bend = (gained.saturating_mul(part) >> 16).clamp(-(1 << 16), 1 << 16) as i32;
    if bend.abs() < LEAST_BEND { 0 } else { bend }
}

/// The part of `pitch` turned after `waited` of the `time` it took, with its bend.
fn between(pitch: u32, waited: Span, time: Span, bend: i32) -> TurnFraction {
    // No time passed only if two edges coincide: then either end is right.
    let straight = mul_div(pitch, waited.get(), time.get()).unwrap_or(0).min(pitch);
    if bend == 0 {
        return TurnFraction::new(straight);
    }
    // Every factor is at most 2^16, and the last product at most 2^14 (x * (1 - x) is at most a quarter).
    let x = mul_div(1 << 16, waited.get(), time.get()).unwrap_or(0).min(1 << 16);
    let hump = x.wrapping_mul((1_u32 << 16).saturating_sub(x)) >> 16;
    let short = i64::from(hump).wrapping_mul(i64::from(bend)) >> 16;
    let bent = i64::from(straight).saturating_sub(short.saturating_mul(i64::from(pitch)) >> 16);
    TurnFraction::new(bent.clamp(0, i64::from(pitch)) as u32)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PITCH: TurnFraction = TurnFraction::new(1 << 30);

    /// Run both shafts for `turns` boot turns with a slip given in ppm; returns the last short and long readings.
    fn run(ratio: u32, head_marks: u32, boot_marks: u8, turns: u32, slip_ppm: i32) -> (Option<Slip>, Option<Slip>) {
        let mut windows = Windows::new();
        let pitch = TurnFraction::new((u32::MAX / head_marks).wrapping_add(u32::from(head_marks > 1)));
        windows.configure(Ratio::new(ratio), boot_marks, pitch, Micrometres::new(1_910_000));
        let head_turn_us = 760_000.0;
        let boot_turn_us = head_turn_us / (f64::from(ratio) / 1e6) / (1.0 - f64::from(slip_ppm) / 1e6);
        let (mut short, mut long) = (None, None);
        let (mut head_edges, mut boot_edges) = (0_u32, 0_u32);
        let mut angle = Turns::ZERO;
        while boot_edges <= turns * u32::from(boot_marks) {
            let head_at = 1_000.0 + f64::from(head_edges) * head_turn_us / f64::from(head_marks);
            let boot_at = 1_300.0 + f64::from(boot_edges) * boot_turn_us / f64::from(boot_marks);
            if head_at <= boot_at {
                let at = Micros::new(head_at.round() as u64);
                let told = windows.head(at, angle, at);
                short = told.short.or(short);
                long = told.long.or(long);
                head_edges += 1;
                angle = angle.forward(pitch);
            } else {
                windows.boot(Micros::new(boot_at.round() as u64), (boot_edges % u32::from(boot_marks)) as u8);
                boot_edges += 1;
            }
        }
        (short, long)
    }

    fn close(slip: Option<Slip>, expected: i32, within: i32) {
        let ppm = slip.and_then(|slip| slip.reading.ppm()).expect("a reading").get();
        assert!((ppm - expected).abs() <= within, "{ppm} instead of {expected}");
    }

    #[test]
    fn slip_comes_back_at_any_ratio_and_any_pair_of_target_counts() {
        for ratio in [600_000, 1_000_000, 1_039_474, 1_800_000] {
            for head_marks in [1, 2, 4, 7, 32] {
                for boot_marks in [1, 3, 4, 8, 9, 31, 32, 64] {
                    for slip in [-20_000, 0, 30_000, 100_000, 400_000] {
                        let (short, long) = run(ratio, head_marks, boot_marks, 9, slip);
                        // Two readings of 0.5 us in a turn of 0.4 to 1.3 s, and rounding.
                        close(short, slip, 12);
                        close(long, slip, 6);
                    }
                }
            }
        }
    }

    #[test]
    fn an_overdue_boot_gives_a_limit_that_grows() {
        let mut windows = Windows::new();
        windows.configure(Ratio::ONE, 4, PITCH, Micrometres::new(1_910_000));
        let mut angle = Turns::ZERO;
        let mut readings = heapless::Vec::<i32, 64>::new();
        for pitch in 0..24_u64 {
            let at = Micros::new(1_000_000 + pitch * 200_000);
            let told = windows.head(at, angle, at);
            if let Some(slip) = told.short {
                readings.push(slip.reading.ppm().unwrap().get()).unwrap();
            }
            // The boot follows for three turns, 50 us behind, then stands.
            if pitch < 13 {
                windows.boot(Micros::new(1_000_050 + pitch * 200_000), (pitch % 4) as u8);
            }
            angle = angle.forward(PITCH);
        }
        let limits = &readings[readings.len() - 9..];
        assert!(limits.windows(2).all(|pair| pair[0] < pair[1]), "{limits:?}");
        // Eleven head pitches after the last boot edge the window holds 3 + 11 pitches for four.
        close(
            Some(Slip { reading: SlipReading::Known(Ppm::new(*limits.last().unwrap())), ..Slip::default() }),
            690_000,
            40_000,
        );
        assert!(windows.head_since_boot() > Turns::new(2 << 32));
        assert!(windows.slipped() > Micrometres::new(3_000_000));
    }

    /// What a creeping belt reads, with so many boot marks: `head_turns` of the head for each boot turn.
    fn creeping(boot_marks: u8, head_turns: f64) -> (Windows, Option<Slip>, Option<Slip>) {
        let mut windows = Windows::new();
        windows.configure(Ratio::ONE, boot_marks, PITCH, Micrometres::new(1_910_000));
        let (mut short, mut long) = (None, None);
        let (mut angle, mut boots) = (Turns::ZERO, 0);
        for pitch in 0..40_000_u64 {
            let at = pitch * 200_000;
            while boots as f64 * head_turns * 800_000.0 / f64::from(boot_marks) + 50.0 < at as f64 {
                let due = boots as f64 * head_turns * 800_000.0 / f64::from(boot_marks) + 50.0;
                windows.boot(Micros::new(due as u64), (boots % u64::from(boot_marks)) as u8);
                boots += 1;
            }
            let told = windows.head(Micros::new(at), angle, Micros::new(at));
            for (slip, told) in [(&mut short, told.short), (&mut long, told.long)] {
                if let Some(told) = told {
                    // Once told, never far from the truth, exact or a limit below it: no wrapped angle passes for grip.
                    let ppm = f64::from(told.reading.ppm().unwrap().get());
                    let truth = 1e6 - 1e6 / head_turns;
                    assert!(ppm <= truth + 2.0 || matches!(told.reading, SlipReading::AtLeast(_)), "{ppm}, {truth}");
                    if matches!(told.reading, SlipReading::Known(_)) {
                        assert!((ppm - truth).abs() < 2_000.0, "{boot_marks} marks, {head_turns}: {ppm} of {truth}");
                    }
                    *slip = Some(told);
                }
            }
            angle = angle.forward(PITCH);
        }
        (windows, short, long)
    }

    #[test]
    fn a_belt_that_creeps_reads_as_slip_however_slow_it_is() {
        for boot_marks in [1, 2, 4, 8, 12, 64] {
            // The last ones bring the wrap at 16 and at 256 turns: one window, or two, later the angle would read alike.
            for head_turns in [1.25, 3.0, 4.98, 5.0, 12.0, 17.0, 33.0, 64.9, 65.0, 129.0, 257.0, 1_025.0] {
                let (_, short, long) = creeping(boot_marks, head_turns);
                for slip in [short, long].into_iter().flatten() {
                    let ppm = slip.reading.ppm().unwrap().get();
                    assert!(ppm > 190_000, "{boot_marks} marks, {head_turns} head turns: {ppm}");
                }
                // Slower still, no two marks may lie within one stretch: then nothing is known, and nothing told.
                assert!(short.is_some() || head_turns > 50.0, "{boot_marks} marks, {head_turns} head turns");
            }
        }
    }

    #[test]
    fn a_belt_that_stands_for_long_slides_all_the_way() {
        let mut windows = Windows::new();
        windows.configure(Ratio::ONE, 4, PITCH, Micrometres::new(1_910_000));
        let mut angle = Turns::ZERO;
        let mut limits = heapless::Vec::<i32, 4_096>::new();
        for pitch in 0..4_000_u64 {
            let at = Micros::new(1_000_000 + pitch * 200_000);
            if let Some(slip) = windows.head(at, angle, at).short {
                limits.push(slip.reading.ppm().unwrap().get()).unwrap();
            }
            // The boot follows for five turns and stands for 995.
            if pitch < 20 {
                windows.boot(Micros::new(1_000_050 + pitch * 200_000), (pitch % 4) as u8);
            }
            angle = angle.forward(PITCH);
        }
        let standing = &limits[20..];
        assert!(standing.windows(2).all(|pair| pair[0] <= pair[1]), "a limit fell back");
        assert!(*standing.last().unwrap() > 995_000, "{standing:?}");
        // Held at 256 turns while the belt stands, less the quarter turn that the next mark is away.
        let slid = windows.slipped().get() as f64 / 1_910_000.0;
        assert!((slid - 255.5).abs() < 0.6, "{slid} turns");
    }

    #[test]
    fn a_restart_forgets() {
        let mut windows = Windows::new();
        windows.configure(Ratio::ONE, 1, TurnFraction::MAX, Micrometres::new(1_910_000));
        windows.restart_from_rest();
        let told = windows.head(Micros::new(5), Turns::ZERO, Micros::new(5));
        assert_eq!(told, Told { short: None, long: None });
        assert_eq!(windows.slipped(), Micrometres::ZERO);
    }
}
