//! Slip heat: the thermal image of pulley and belt.
//!
//! `dH/dt = P·slip − H/τ`. Between two changes of `P·slip` that is `H(t) = H∞ + (H0 − H∞)·e^(−t/τ)` with
//! `H∞ = P·slip·τ`, a pure function of the anchor (t0, H0, P·slip). Whoever looks, and how often, changes nothing.
//! The time to the limit follows the closed form of IEC 60255-149: `t = τ·ln((H∞ − H0)/(H∞ − limit))`.

use super::cell::{NEVER, Sense};
use super::exp;
use crate::math::divide;
use crate::record::keep::keep;
use crate::settings::{Limit, SlipHeat};
use crate::units::{Joules, Micros, Ppm};

/// The image. Heat in millijoules, what goes in in milliwatts.
#[derive(Clone, Copy, Debug)]
pub(super) struct Heat {
    anchor_at: Micros,
    anchor: u64,
    inflow: u64,
    /// What would go in at a slip of 100 %: bounds how soon the limit can be reached, whatever slip does.
    fullest: u64,
    settled: u64,
    /// log2(e) / τ, in 2^-56 a microsecond.
    decay: u64,
    tau_ms: u64,
    budget: u64,
    limit: u64,
    clear: u64,
    /// Until then nothing can happen by itself.
    check: Micros,
    /// Whether `check` was worked out from the present anchor, not from the fullest inflow.
    exact: bool,
}

keep!(Heat { anchor_at, anchor, inflow, fullest, settled, check, exact } fixed { decay, tau_ms, budget, limit, clear });

/// How far, in 2^-32, a share worked out from its 32 leading bits may be from the exact one; bisection goes on from there.
const GUESSED: u64 = 4;

/// log2(e) in 2^-56.
const LOG2_E: u64 = 103_957_133_576_908_769;

const fn share(of: u64, ppm: i32) -> u64 {
    let ppm = if ppm < 0 { 0 } else { ppm as u64 };
    // A budget is below 2^32 J, so below 2^42 mJ; ppm below 2^31: divide first what would overflow.
    thousandth(thousandth(of).saturating_mul(ppm))
}

const fn thousandth(of: u64) -> u64 {
    match divide(of, 1_000) {
        Some(part) => part,
        None => 0,
    }
}

/// `a · b / 2^32` for b up to 2^32, rounded down.
const fn scaled(a: u64, b: u64) -> u64 {
    (a >> 32).wrapping_mul(b).saturating_add((a & 0xFFFF_FFFF).wrapping_mul(b) >> 32)
}

impl Heat {
    pub(super) const NEW: Self = Self {
        anchor_at: Micros::ZERO,
        anchor: 0,
        inflow: 0,
        fullest: 0,
        settled: 0,
        decay: 0,
        tau_ms: 1,
        budget: 0,
        limit: 0,
        clear: 0,
        check: NEVER,
        exact: true,
    };

    /// An image with these settings and so much heat in it, anchored when time becomes known.
    pub(super) fn new(settings: &SlipHeat, limit: &Limit, heat: Joules) -> Self {
        let micros = u64::from(settings.time_constant.get()).max(1_000);
        let budget = u64::from(settings.budget.get()).saturating_mul(1_000);
        Self {
            anchor: u64::from(heat.get()).saturating_mul(1_000),
            decay: LOG2_E.checked_div(micros).unwrap_or(0),
            tau_ms: micros / 1_000,
            budget,
            limit: share(budget, limit.setpoint),
            clear: share(budget, limit.setpoint.saturating_sub(limit.deadband)),
            ..Self::NEW
        }
    }

    /// Time becomes known.
    pub(super) fn begin(&mut self, now: Micros) {
        self.anchor_at = now;
        self.look_again(now);
    }

    /// The heat at `now`, in millijoules.
    pub(super) fn at(&self, now: Micros) -> u64 {
        let waited = now.get().saturating_sub(self.anchor_at.get());
        self.with_left(exp::two_to_minus(waited.saturating_mul(self.decay)))
    }

    /// The heat when so much is left of the start, in 2^-32.
    #[inline(never)]
    const fn with_left(&self, left: u64) -> u64 {
        if self.settled >= self.anchor {
            self.settled.saturating_sub(scaled(self.settled.saturating_sub(self.anchor), left))
        } else {
            self.settled.saturating_add(scaled(self.anchor.saturating_sub(self.settled), left))
        }
    }

    /// As a share of the budget; a budget of nothing is always used up.
    pub(super) fn ppm_at(&self, now: Micros) -> Ppm {
        let ppm = divide(self.at(now).saturating_mul(1_000), thousandth(self.budget)).unwrap_or(u64::MAX);
        Ppm::new(i32::try_from(ppm).unwrap_or(i32::MAX))
    }

    /// In whole joules, rounded up.
    pub(super) fn joules_at(&self, now: Micros) -> Joules {
        Joules::new(u32::try_from(self.at(now).div_ceil(1_000)).unwrap_or(u32::MAX))
    }

    /// What goes in from `now` on: so many watts times so much slip.
    pub(super) fn feed(&mut self, now: Micros, watts: u32, slip: i32) {
        let slip = slip.clamp(0, 1_000_000) as u64;
        let inflow = thousandth(u64::from(watts).wrapping_mul(slip));
        let fullest = u64::from(watts).wrapping_mul(1_000);
        if inflow == self.inflow && fullest == self.fullest {
            return;
        }
        if inflow != self.inflow {
            self.anchor = self.at(now);
            self.anchor_at = now;
            self.inflow = inflow;
            self.settled = thousandth(inflow.saturating_mul(self.tau_ms));
        }
        if self.exact || fullest != self.fullest {
            self.fullest = fullest;
            self.look_again(now);
        }
    }

    /// What it says at `now`.
    pub(super) fn sense(&self, now: Micros) -> Sense {
        let heat = self.at(now);
        if heat >= self.limit {
            Sense::Beyond
        } else if heat < self.clear {
            Sense::Within
        } else {
            Sense::Hold
        }
    }

    /// When it may next say something else, seen from `now`. May be early, never late.
    pub(super) fn next(&mut self, now: Micros) -> Micros {
        if self.check <= now {
            self.check = self.crossing(now);
            self.exact = true;
        }
        self.check
    }

    /// The moment set by the last [`next`](Self::next) or change of inflow.
    pub(super) const fn check(&self) -> Micros {
        self.check
    }

    /// The heat from which it is beyond, in millijoules.
    pub(super) const fn limit_mj(&self) -> u64 {
        self.limit
    }

    /// Whether both hold the same heat and take in the same, whatever their limits.
    pub(super) fn same_course(&self, other: &Self) -> bool {
        self.anchor_at == other.anchor_at
            && self.anchor == other.anchor
            && self.inflow == other.inflow
            && self.fullest == other.fullest
            && self.settled == other.settled
            && self.decay == other.decay
    }

    /// As [`feed`](Self::feed), without working out when the limit may be reached.
    pub(super) fn feed_course(&mut self, now: Micros, watts: u32, slip: i32) {
        self.exact = false;
        self.fullest = u64::from(watts).saturating_mul(1_000);
        self.feed(now, watts, slip);
    }

    /// Take over heat and inflow, and look anew for when the limit may be reached.
    pub(super) fn take_course(&mut self, from: &Self, now: Micros) {
        self.anchor_at = from.anchor_at;
        self.anchor = from.anchor;
        self.inflow = from.inflow;
        self.fullest = from.fullest;
        self.settled = from.settled;
        self.look_again(now);
    }

    /// Set `check` anew: near the limit exactly, else by the soonest that any slip could reach it.
    fn look_again(&mut self, now: Micros) {
        let heat = self.at(now);
        if heat >= self.clear {
            self.check = self.crossing(now);
            self.exact = true;
        } else {
            let room = self.limit.saturating_sub(heat);
            // mJ · 10^6 / mW is microseconds; the product fits: a budget is below 2^42 mJ.
            self.check = divide(room.saturating_mul(1_000_000), self.fullest)
                .map_or(NEVER, |wait| Micros::new(now.get().saturating_add(wait)));
            self.exact = false;
        }
    }

    /// The first microsecond after `now` at which the image crosses the limit upwards, or the clear level downwards.
    fn crossing(&self, now: Micros) -> Micros {
        let heat = self.at(now);
        let rising = heat < self.limit && self.settled >= self.limit;
        let falling = heat >= self.clear && self.settled < self.clear;
        if !rising && !falling {
            return NEVER;
        }
        // The most that may be left of the start, and then when so little of it is left. With nothing left it is crossed.
        let crossed = |left| {
            let heat = self.with_left(left);
            (rising && heat >= self.limit) || (falling && heat < self.clear)
        };
        let (mut most, mut over) = (0_u64, 1_u64 << 32);
        // It lies at about this share of the way from the end to the start; 32 bits of both give it within a few parts.
        let (goal, way) = if rising {
            (self.settled.saturating_sub(self.limit), self.settled.saturating_sub(self.anchor))
        } else {
            (self.clear.saturating_sub(self.settled), self.anchor.saturating_sub(self.settled))
        };
        let spare = 32_u32.saturating_sub(way.leading_zeros());
        let guess = divide(goal.wrapping_shr(spare) << 32, way.wrapping_shr(spare)).unwrap_or(0);
        let (fewer, more) = (guess.saturating_sub(GUESSED), guess.saturating_add(GUESSED));
        if fewer > most && fewer < over && crossed(fewer) {
            most = fewer;
        }
        if more > most && more < over && !crossed(more) {
            over = more;
        }
        while over.saturating_sub(most) > 1 {
            let middle = most.midpoint(over);
            if crossed(middle) {
                most = middle;
            } else {
                over = middle;
            }
        }
        let octaves = exp::first_at_most(most);
        let waited = divide(octaves.saturating_add(self.decay.saturating_sub(1)), self.decay).unwrap_or(u64::MAX);
        // After 33 octaves nothing is left of the start: 33 / log2(e) = 22.9 time constants.
        let after = self.anchor_at.get().saturating_add(waited.min(self.tau_ms.saturating_mul(24_000)));
        // Always after `now`, even at the end of time.
        Micros::new(after.max(now.get().saturating_add(1)))
    }
}

#[cfg(test)]
#[allow(clippy::float_arithmetic)]
mod tests {
    extern crate std;

    use proptest::prelude::*;

    use super::*;
    use crate::judge::Condition;
    use crate::settings::Limits;
    use crate::units::Span;

    fn image(budget: u32, tau_s: u32, heat: u32) -> Heat {
        let settings = SlipHeat { budget: Joules::new(budget), time_constant: Span::from_millis(tau_s * 1_000) };
        let mut image = Heat::new(&settings, Limits::STARTING.of(Condition::SlipHeat), Joules::new(heat));
        image.begin(Micros::new(7_000_000));
        image
    }

    fn trip_time(image: &mut Heat) -> Option<f64> {
        let mut now = Micros::new(7_000_000);
        for _ in 0..4 {
            let next = image.next(now);
            if next == NEVER {
                return None;
            }
            now = next;
            if image.sense(now) == Sense::Beyond {
                assert_ne!(image.sense(Micros::new(now.get() - 1)), Sense::Beyond);
                return Some((now.get() - 7_000_000) as f64 / 1e6);
            }
        }
        panic!("the crossing was not found in four looks")
    }

    /// IEC 60255-149 in its form for a first-order image with preload: t = τ·ln((H∞ − H0)/(H∞ − limit)).
    #[test]
    fn the_time_to_the_limit_follows_the_closed_form() {
        for tau in [60_u32, 600, 1_800, 4_200] {
            for watts in [5_500_u32, 18_500, 250_000] {
                for slip in [20_000_i32, 50_000, 150_000, 400_000, 1_000_000] {
                    for preload in [0_u32, 100_000, 700_000] {
                        let mut image = image(900_000, tau, preload);
                        image.feed(Micros::new(7_000_000), watts, slip);
                        let settled = f64::from(watts) * f64::from(slip) / 1e6 * f64::from(tau);
                        let trip = trip_time(&mut image);
                        if settled <= 900_000.0 {
                            assert_eq!(trip, None, "{tau} {watts} {slip}");
                            continue;
                        }
                        let left = (settled - 900_000.0) / (settled - f64::from(preload));
                        let exact = -f64::from(tau) * left.ln();
                        let error = (trip.unwrap() - exact).abs();
                        let slack = 2e-6 + f64::from(tau) * (1e-7 + 3e-9 / left);
                        assert!(error < slack, "{tau} {watts} {slip} {preload}: {trip:?} against {exact}");
                    }
                }
            }
        }
    }

    /// First principles: 60 kg of 490 J/(kg K), 8 W/K, 3 kW: τ 3675 s, +125 K at 1490.1 s (adiabatic 1225 s).
    #[test]
    fn the_lumped_rise() {
        let mut image = image(60 * 490 * 125, 3_675, 0);
        image.feed(Micros::new(7_000_000), 3_000, 1_000_000);
        let trip = trip_time(&mut image).unwrap();
        assert!((trip - 1490.1).abs() < 0.2, "{trip}");
    }

    /// The crossing as it was first written: by bisection of time.
    fn bisected(heat: &Heat, now: Micros) -> Micros {
        let rising = heat.at(now) < heat.limit && heat.settled >= heat.limit;
        let falling = heat.at(now) >= heat.clear && heat.settled < heat.clear;
        if !rising && !falling {
            return NEVER;
        }
        let mut before = now.get();
        let mut after = heat.anchor_at.get().saturating_add(heat.tau_ms.saturating_mul(24_000)).max(before);
        while after.saturating_sub(before) > 1 {
            let middle = before.midpoint(after);
            let at = heat.at(Micros::new(middle));
            if (rising && at >= heat.limit) || (falling && at < heat.clear) {
                after = middle;
            } else {
                before = middle;
            }
        }
        Micros::new(after.max(now.get().saturating_add(1)))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(5_000))]

        #[test]
        fn the_crossing_is_the_one_found_by_bisecting_time(
            (budget, tau) in (1..u32::MAX, 1_000..u32::MAX),
            (preload, watts, slip) in (any::<u32>(), any::<u32>(), 0..1_000_001_i32),
            (shift, scale) in (0..32_u32, 0..32_u32),
            (start, waited) in (0..u64::MAX, 0..1_u64 << 34),
        ) {
            let settings = SlipHeat { budget: Joules::new(budget), time_constant: Span::new(tau) };
            let limit = Limits::STARTING;
            let mut heat = Heat::new(&settings, limit.of(Condition::SlipHeat), Joules::new(preload >> shift));
            heat.begin(Micros::new(start));
            heat.feed(Micros::new(start), watts >> scale, slip);
            let now = Micros::new(start.saturating_add(waited));
            prop_assert_eq!(heat.crossing(now), bisected(&heat, now));
        }
    }

    #[test]
    fn it_cools_and_says_when_it_is_within_again() {
        let mut image = image(900_000, 600, 900_000);
        let start = Micros::new(7_000_000);
        assert_eq!(image.sense(start), Sense::Beyond);
        let cool = image.next(start);
        // 80 % is reached after τ·ln(1/0.8) = 133.886 s.
        let seconds = (cool.get() - 7_000_000) as f64 / 1e6;
        assert!((seconds - 133.886).abs() < 0.02, "{seconds}");
        assert_eq!(image.sense(cool), Sense::Within);
    }

    #[test]
    fn anchoring_again_hardly_moves_the_image() {
        let mut once = image(900_000, 1_800, 0);
        let mut often = once;
        once.feed(Micros::new(7_000_000), 18_500, 30_000);
        often.feed(Micros::new(7_000_000), 18_500, 30_000);
        let mut now = 7_000_000;
        for n in 0..10_000 {
            now += 100_000;
            often.feed(Micros::new(now), 18_500, 30_000 + (n & 1));
        }
        let (a, b) = (once.at(Micros::new(now)) as f64, often.at(Micros::new(now)) as f64);
        assert!((a - b).abs() / a < 1e-4, "{a} {b}");
    }
}
