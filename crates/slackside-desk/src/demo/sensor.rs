//! Target sensors: edges found within a step to the microsecond, with the imperfections real ones have.

use slackside::input::{Input, Shaft, Signal};
use slackside::units::Micros;

/// Targets a turn, as in the settings of the example leg.
const TARGETS: usize = 4;
/// The part of a turn for which a target keeps the sensor high.
const TARGET_WIDTH: f64 = 0.06;
/// How far a target sits from its even place, of one pitch, at most.
const SPACING_ERROR: f64 = 0.01;
/// How much an edge comes too early or too late, in microseconds, at most.
pub const JITTER_US: u64 = 4;

/// Even random numbers from a seed (SplitMix64). Own, so that the demo stays the same whatever a library does.
pub struct Random(u64);

impl Random {
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// Between −1 and 1.
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^= mixed >> 31;
        (mixed >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

/// The sensor of one shaft with its targets.
pub struct TargetSensor {
    shaft: Shaft,
    /// Angle within the turn and level of each edge, in order.
    edges: [(f64, bool); 2 * TARGETS],
}

impl TargetSensor {
    pub fn new(shaft: Shaft, random: &mut Random) -> Self {
        let mut edges = [(0.0, false); 2 * TARGETS];
        for (target, pair) in edges.chunks_exact_mut(2).enumerate() {
            let rise = (target as f64 + 0.5 + SPACING_ERROR * random.next()) / TARGETS as f64;
            pair[0] = (rise, true);
            pair[1] = (rise + TARGET_WIDTH, false);
        }
        Self { shaft, edges }
    }

    /// The edges while the shaft turns from `before` to `after` (in turns) within one step. Between them the angle is taken
    /// as a straight line: at the accelerations of this leg that is off by less than a tenth of a microsecond.
    pub fn step(&self, now_us: u64, step_us: u64, before: f64, after: f64, random: &mut Random, out: &mut Vec<Input>) {
        for (place, level) in self.edges {
            let mut crossing = before.floor() + place;
            if crossing <= before {
                crossing += 1.0;
            }
            if crossing > after {
                continue;
            }
            let share = (crossing - before) / (after - before);
            let jitter_us = random.next() * JITTER_US as f64;
            let at_us = (now_us as f64 + share * step_us as f64 + jitter_us).max(0.0).round();
            // Positive and far below 2^53.
            out.push(Input::new(Micros::new(at_us as u64), Signal::Edge(self.shaft, level)));
        }
    }
}
