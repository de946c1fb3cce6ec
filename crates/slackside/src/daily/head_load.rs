//! How heavily the leg is loaded, by the speed of its head.
//!
//! An induction motor falls behind its supply with the torque it gives: a few per cent at rated torque, next to nothing without (nearly in
//! proportion near synchronous speed: B. L. and A. K. Theraja, *A Textbook of Electrical Technology*, ch. 34). So a head that turns as fast as
//! with empty buckets is unloaded, and one as slow as in normal operation is loaded as in normal operation. Both speeds are measured on the
//! leg, and what a drive belt gives way is in them.
//!
//! It is a coarse meter. The frequency of a large grid stays within 0.1 % nearly always and of small ones within 0.4 % (from memory); a cold
//! rotor, or a supply above its nominal voltage, slows a tenth to a quarter less at the same torque (common practice, no source). So near
//! the borders between two loads neither is told, and none where the head is faster than it can be unloaded, or slower than an overload
//! makes it: then the two speeds are no longer true of the leg. Where a variable-speed drive sets the speed, it says nothing.

use super::Load;
use crate::arith::divide;
use crate::settings::plan::{Plan, fitted};
use crate::signals::ShaftSignals;

/// The speed is that over so long at the least, in microseconds: a belt's load changes no faster.
const LEAST: u32 = 8_000_000;
/// And at the most: the angle is known over 256 turns only.
const MOST: u32 = 32_000_000;
/// Normal speed, and what the plan tells the other in.
const NORMAL: i32 = 1 << 16;
const UNITS: u32 = 100_000;
/// Where a load begins and ends, in 64ths of the way from unloaded to normal speed, lightest first: what lies within four of a quarter and of
/// three quarters is told as neither.
const BORDERS: [(i32, i32); Load::COUNT] = [(-16, 12), (20, 44), (52, 96)];

/// Whether the load can be told so at all.
pub(super) const fn is_fitted(plan: &Plan) -> bool {
    plan.unloaded != 0 && plan.head.is_fitted() && plan.fitted & fitted::REFERENCE == 0
}

/// The meter.
#[derive(Clone, Copy, Debug)]
pub(super) struct HeadLoad {
    begun: bool,
    /// The edge from which it measures, and the head's angle then.
    edge: u32,
    angle: u32,
    load: Option<Load>,
}

impl HeadLoad {
    pub(super) const NEW: Self = Self { begun: false, edge: 0, angle: 0, load: None };

    /// One more look at a head that runs; the load over the last seconds, where it is known.
    pub(super) fn look(&mut self, head: &ShaftSignals, plan: &Plan) -> Option<Load> {
        if head.distrust != 0 {
            *self = Self::NEW;
            return None;
        }
        let time = head.last_edge.wrapping_sub(self.edge);
        if !self.begun || time >= LEAST {
            let angle = head.angle.wrapping_sub(self.angle);
            let load = if self.begun && time <= MOST { load(angle, time, plan) } else { None };
            *self = Self { begun: true, edge: head.last_edge, angle: head.angle, load };
        }
        self.load
    }
}

/// The load at a speed: an angle in 2^-24 turn, in so many microseconds.
fn load(angle: u32, time: u32, plan: &Plan) -> Option<Load> {
    // Of normal speed, in 2^-16: held far above what any head turns at.
    let speed = divide(u64::from(angle).wrapping_mul(plan.head.normal_turn.into()) >> 8, time).min(1 << 20) as i32;
    let way = ((u32::from(plan.unloaded) << 16) / UNITS) as i32;
    let lag = NORMAL.wrapping_add(way).wrapping_sub(speed).wrapping_mul(64);
    Load::ALL
        .into_iter()
        .zip(BORDERS)
        .find_map(|(load, (from, to))| (from.wrapping_mul(way) <= lag && lag < to.wrapping_mul(way)).then_some(load))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2 % faster unloaded than at 60 turns a minute.
    fn plan() -> Plan {
        let mut plan = Plan::blank();
        plan.unloaded = 2_000;
        plan.head.marks = 4;
        plan.head.normal_turn = 1_000_000;
        plan
    }

    /// What is told of a head that turns on at so many ppm of normal speed, looked at each two seconds.
    fn told(ppm: u64, plan: &Plan) -> Option<Load> {
        let mut meter = HeadLoad::NEW;
        let mut told = None;
        for look in 1..=20_u64 {
            // The newest edge: one in four turns of a second.
            let edges = look * 8 * ppm / 1_000_000;
            let head = ShaftSignals {
                angle: (edges << 22) as u32,
                last_edge: 4_000_000_000_u32.wrapping_add((edges * 250_000_000_000 / ppm) as u32),
                ..ShaftSignals::default()
            };
            told = meter.look(&head, plan);
            if look < 5 {
                assert_eq!(told, None, "not known before eight seconds are over");
            }
        }
        told
    }

    #[test]
    fn a_head_as_fast_as_unloaded_is_unloaded_and_one_as_slow_as_normal_is_full() {
        for (ppm, load) in [
            (1_026_000, None),
            (1_024_500, Some(Load::Unloaded)),
            (1_020_000, Some(Load::Unloaded)),
            (1_016_500, Some(Load::Unloaded)),
            (1_015_000, None),
            (1_013_500, Some(Load::Part)),
            (1_010_000, Some(Load::Part)),
            (1_006_500, Some(Load::Part)),
            (1_005_000, None),
            (1_003_500, Some(Load::Full)),
            (1_000_000, Some(Load::Full)),
            (990_500, Some(Load::Full)),
            (989_500, None),
            (500_000, None),
            (2_000_000, None),
        ] {
            assert_eq!(told(ppm, &plan()), load, "{ppm}");
        }
    }

    #[test]
    fn it_takes_a_head_a_speed_unloaded_and_no_reference() {
        assert!(is_fitted(&plan()));
        let with = |change: fn(&mut Plan)| {
            let mut plan = plan();
            change(&mut plan);
            is_fitted(&plan)
        };
        assert!(!with(|plan| plan.unloaded = 0));
        assert!(!with(|plan| plan.head.marks = 0));
        assert!(!with(|plan| plan.fitted = fitted::REFERENCE));
    }

    #[test]
    fn a_head_that_is_not_trusted_or_not_looked_at_for_long_tells_nothing() {
        let plan = plan();
        let head = |second: u32, distrust| ShaftSignals {
            angle: second << 24,
            last_edge: second * 1_000_000,
            distrust,
            ..ShaftSignals::default()
        };
        let mut meter = HeadLoad::NEW;
        assert_eq!([0, 4, 8].map(|second| meter.look(&head(second, 0), &plan)), [None, None, Some(Load::Full)]);
        assert_eq!(meter.look(&head(10, 1), &plan), None);
        assert_eq!([12, 18, 20].map(|second| meter.look(&head(second, 0), &plan)), [None, None, Some(Load::Full)]);
        assert_eq!([53, 57, 61].map(|second| meter.look(&head(second, 0), &plan)), [None, None, Some(Load::Full)]);
    }
}
