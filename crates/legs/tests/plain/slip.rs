//! Slip by its definition: `1 - boot turns / (ratio * head turns)` over the same stretch of time, from lists of whole edges.
//!
//! Looked at where both shafts have turned smoothly for long enough: what edges in doubt do to the windows has tests of its own.

use std::collections::VecDeque;

use slackside::settings::plan::{Plan, ShaftPlan};
use slackside::signals::{ShaftSignals, Signals, seen};

/// Edges that are kept: as many as four turns of a boot can take, and more.
const KEPT: usize = 1_500;
/// Below this a bend of a pitch is noise, and the pitch straight.
const LEAST_BEND: f64 = 1.0 / 128.0;

/// One shaft's edges since it last did anything odd: when, and for the head at which angle, in turns.
#[derive(Clone, Debug, Default)]
struct Edges {
    list: VecDeque<(u64, f64)>,
    /// Its angle as told, unwrapped.
    angle: u64,
    /// The speed over its last pitch.
    speed: f64,
}

impl Edges {
    fn push(&mut self, at: u64, shaft: &ShaftSignals, plan: &ShaftPlan) {
        self.angle += u64::from(shaft.angle.wrapping_sub(self.angle as u32));
        let marks = usize::from(plan.marks);
        let ago = |pitches: usize| self.list.len().checked_sub(pitches).and_then(|index| self.list.get(index));
        // Its pitch a turn ago.
        let before = ago(marks + 1).zip(ago(marks)).map(|(from, to)| (to.0 - from.0) as f64);
        let now = f64::from(shaft.pitch);
        let jumps = before.is_some_and(|before| now > before * 1.2 || now < before / 1.2);
        // Nor may its speed, by what its targets are held to be.
        let speed = f64::from(shaft.pitch_angle) / now;
        let jumps = jumps || (speed / std::mem::replace(&mut self.speed, speed)).ln().abs() > 0.2;
        if jumps || shaft.seen != seen::SEEN || shaft.pitch == 0 || shaft.distrust != 0 || shaft.pattern != 0 {
            self.list.clear();
        }
        self.list.push_back((at, self.angle as f64 / f64::from(1 << 24)));
        if self.list.len() > KEPT {
            self.list.pop_front();
        }
    }
}

#[derive(Clone, Debug)]
pub struct Slip {
    plan: Plan,
    head: Edges,
    boot: Edges,
    /// Edges since slip was last unknown.
    known: usize,
    /// The mean of slip, in ppm, as far as it can be followed.
    mean: f64,
    /// How far what it was followed from may have been off.
    off: f64,
    /// Whether each window said one number when it was closed last.
    exact: [bool; 2],
    /// Long readings since the block of the ratio began.
    long: Vec<i32>,
    blocks: u16,
    /// Boot edges at the last look.
    placed: u64,
    pub compared: u64,
}

/// Where a reading must lie, in ppm: what it is by definition, and by how much rounding may be off.
type Expected = (f64, f64);

impl Slip {
    pub fn new(plan: &Plan) -> Self {
        Self {
            plan: *plan,
            head: Edges::default(),
            boot: Edges::default(),
            known: 0,
            mean: 0.0,
            off: 0.0,
            exact: [false; 2],
            long: Vec::new(),
            blocks: 0,
            placed: 0,
            compared: 0,
        }
    }

    /// Something went wrong with a signal: what came before is forgotten.
    pub fn forget(&mut self) {
        self.head.list.clear();
        self.boot.list.clear();
        self.known = 0;
    }

    pub fn boot_edge(&mut self, at: u64, signals: &Signals) {
        self.boot.push(at, &signals.boot, &self.plan.boot);
        self.known += 1;
    }

    /// The head's angle at a moment, within the pitch that holds it.
    fn head_at(&self, at: u64) -> Option<f64> {
        let list = &self.head.list;
        let next = list.partition_point(|(edge, _)| *edge < at);
        let ((t0, a0), (t1, a1)) = (*list.get(next.checked_sub(1)?)?, *list.get(next)?);
        let x = (at - t0) as f64 / (t1 - t0) as f64;
        let bend = self.bend(next)?;
        // While it lost and gained speed by turns it is no ramp.
        let before = self.bend(next - 1).filter(|_| next > usize::from(self.plan.head.marks) + 4)?;
        let bend = if before != 0.0 && before.signum() != bend.signum() { 0.0 } else { bend };
        Some(a0 + (a1 - a0) * (x + bend * x * (x - 1.0)))
    }

    /// How far the pitch that ends with this head edge is from straight, if it and the one before are steady gains or losses of speed.
    fn bend(&self, end: usize) -> Option<f64> {
        let list = &self.head.list;
        let (a, b, c) = (list.get(end.checked_sub(2)?)?, list.get(end - 1)?, list.get(end)?);
        let (before, now) = ((b.0 - a.0) as f64, (c.0 - b.0) as f64);
        let slower = (b.1 - a.1) / before / ((c.1 - b.1) / now);
        if (slower - 1.0).abs() < 1.0 / 256.0 {
            return Some(0.0);
        }
        let bend = (1.0 - slower.min(2.0)) * now / (now + before);
        Some(if bend.abs() < LEAST_BEND { 0.0 } else { bend.clamp(-1.0, 1.0) })
    }

    /// Slip over so many boot turns in which the head turned so far, held at -200 %.
    fn slip(&self, turns: f64, head: f64) -> f64 {
        (1e6 - turns * 1e6 / (f64::from(self.plan.slip.ratio) / 1e6 * head)).max(-2e6)
    }

    /// A head edge: what is said of slip must be what it is. Returns what is wrong with it.
    pub fn head_edge(&mut self, at: u64, signals: &Signals) -> Option<String> {
        self.head.push(at, &signals.head, &self.plan.head);
        let marks = usize::from(self.plan.boot.marks);
        let newest = self.boot.list.back().copied();
        let is_new = newest.is_some_and(|(newest, _)| newest != self.placed);
        self.placed = newest.map_or(0, |(newest, _)| newest);
        if !signals.short.is_known() {
            self.known = 0;
        }
        let is_whole = self.known.min(self.boot.list.len()) > 6 * marks
            && self.plan.slip.stride == 1
            && signals.boot.seen == seen::SEEN;
        if !is_whole || self.head.list.len() < 6 {
            (self.mean, self.off) = (signals.slip_mean.into(), 1_000.0);
            self.long.clear();
            self.exact = [false; 2];
            self.blocks = signals.ratio_blocks;
            return None;
        }
        let wrong = |what: &str, said: &dyn std::fmt::Debug, (is, by): Expected| {
            Some(format!("{what} is said to be {said:?} and is {is:.2}, give or take {by:.2}"))
        };
        for (turns, reading, what) in [(1, signals.short, "short slip"), (4, signals.long, "long slip")] {
            let Some(expected) = self.expected(turns, is_new) else { continue };
            let (least, beside) = (f64::from(reading.least), expected.1);
            if is_new {
                self.exact[usize::from(turns > 1)] = reading.is_exact();
            }
            // With no doubt about the spacing of the head's targets.
            if self.exact[usize::from(turns > 1)] && (reading.is_exact() == is_new) && (is_new || reading.is_open()) {
                self.compared += 1;
                if (least - expected.0).abs() > beside {
                    return wrong(what, &reading, expected);
                }
            }
        }
        self.follow(is_new, signals)
    }

    /// What slip over so many turns is now: where a mark was placed, over the turns that end with it; else as much as the turns come to at
    /// least that the next mark will end.
    fn expected(&self, turns: usize, is_new: bool) -> Option<Expected> {
        let list = &self.boot.list;
        let marks = turns * usize::from(self.plan.boot.marks);
        let ago = |marks: usize| list.len().checked_sub(marks + 1).and_then(|index| list.get(index));
        let (end, begin) = if is_new {
            (self.head_at(ago(0)?.0)?, self.head_at(ago(marks)?.0)?)
        } else {
            (self.head.list.back()?.1, self.head_at(ago(marks - 1)?.0)?)
        };
        let slip = self.slip(turns as f64, end - begin);
        // Two placements in 2^-16 of a pitch and in 2^-24 of a turn, and the ratio in ppm.
        let turned = end - begin;
        let rounded = 3.0 / f64::from(1 << 16) / f64::from(self.plan.head.marks) + 8.0 / f64::from(1 << 24);
        Some((slip, (1e6 - slip) * (rounded / turned + 2e-6) + 2.0))
    }

    /// The mean of slip and the block of the ratio, from the readings as they were said.
    fn follow(&mut self, is_new: bool, signals: &Signals) -> Option<String> {
        if !is_new {
            if signals.long.is_open() {
                self.long.clear();
            }
            return None;
        }
        let newest = self.boot.list.back()?.0;
        let before = self.head.list.len().checked_sub(2).map_or(0, |index| self.head.list[index].0);
        let placed = self.boot.list.iter().rev().take_while(|(at, _)| *at > before && *at <= newest).count();
        let shift = 64.0 * f64::from(u32::from(self.plan.slip.closings).next_power_of_two());
        for _ in 0..if signals.short.is_exact() { placed } else { 0 } {
            self.mean += (f64::from(signals.short.least.clamp(-250_000, 250_000)) - self.mean) / shift;
            self.off -= self.off / shift;
        }
        if (f64::from(signals.slip_mean) - self.mean).abs() > 1_020.0 + self.off {
            return Some(format!("the mean of slip is said to be {} and is {:.1}", signals.slip_mean, self.mean));
        }
        if signals.long.is_exact() {
            self.long.push(signals.long.least);
        } else {
            self.long.clear();
        }
        if signals.ratio_blocks != self.blocks {
            self.blocks = signals.ratio_blocks;
            let block = usize::from(self.plan.slip.block);
            if let Some(block) = self.long.len().checked_sub(block).map(|from| &self.long[from..]) {
                let mean = block.iter().map(|slip| f64::from(*slip)).sum::<f64>() / block.len() as f64;
                let ratio = f64::from(self.plan.slip.ratio) * (1.0 - mean / 1e6);
                let spread = block.iter().max()? - block.iter().min()?;
                if (f64::from(signals.ratio) - ratio).abs() > 1.5 || signals.ratio_spread != spread {
                    return Some(format!("the ratio seen is said to be {} and is {ratio:.1}", signals.ratio));
                }
            }
            self.long.clear();
        }
        None
    }
}
