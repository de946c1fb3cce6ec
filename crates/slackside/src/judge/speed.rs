//! Limits on speed in the domain of time: how long a turn takes at the limit. One definition of a shaft's speed: its last pitch, closed
//! or still open. Nothing is divided when an edge comes.

use super::view::View;
use crate::arith::{divide, high};
use crate::settings::plan::ShaftPlan;
use crate::signals::{self, ShaftSignals};
use crate::time::{FAR, age};

/// One shaft as judge looks at it.
#[derive(Clone, Copy)]
pub struct Pitches<'a> {
    /// What measure knows of it.
    pub shaft: &'a ShaftSignals,
    /// Since when the open pitch counts: from its edge, or from the opening of the start if that was later. `None`: from never.
    since: Option<u32>,
    /// The largest angle the open pitch can have.
    largest: u32,
    /// Whether the closed pitch counts: what was measured while running down says nothing of the start.
    closed: bool,
    now: u32,
}

impl<'a> Pitches<'a> {
    /// Of a shaft, given when the last start opened.
    pub fn new(view: &View<'_>, shaft: &'a ShaftSignals, plan: &ShaftPlan, opened: Option<u32>) -> Self {
        let now = view.now.us();
        let edge = age(now, shaft.last_edge);
        let since_opened = opened.map_or(u32::MAX, |opened| age(now, opened));
        let since = match opened {
            Some(opened) if !shaft.is_seen() || since_opened < edge => Some(opened),
            _ if shaft.is_seen() => Some(shaft.last_edge),
            _ => None,
        };
        Self {
            shaft,
            since,
            largest: largest_to_come(shaft, plan),
            closed: shaft.pitch != 0 && edge.saturating_add(shaft.pitch) <= since_opened,
            now,
        }
    }

    /// How long until silence makes the open pitch too long for a turn in `limit` microseconds: nothing once it is, `u32::MAX` where it never will.
    pub fn silence(&self, limit: u32) -> u32 {
        self.since.map_or(u32::MAX, |since| silence(since, self.largest, limit, self.now))
    }

    /// Whether there is an open pitch.
    pub const fn is_open(&self) -> bool {
        self.since.is_some()
    }

    /// Whether the open pitch is too long for the limit.
    pub fn is_silent(&self, limit: u32) -> bool {
        self.silence(limit) == 0
    }

    /// Whether the open pitch, which is too long for the limit by now, was so when `edge` came.
    pub fn was_silent_before(&self, edge: u32, limit: u32) -> bool {
        let since = age(self.now, self.since.unwrap_or(self.now));
        let (longest, edge) = (high(self.largest, limit), age(self.now, edge));
        since.saturating_sub(edge) > longest
    }

    /// Whether the closed pitch is surely slower than the limit.
    pub const fn too_slow(&self, limit: u32) -> bool {
        self.closed && self.shaft.too_slow(limit)
    }

    /// Whether the closed pitch is, by its best estimate, at least as fast as the limit.
    pub const fn fast_enough(&self, limit: u32) -> bool {
        self.closed && self.shaft.fast_enough(limit)
    }

    /// Whether there is a closed pitch that counts.
    pub const fn is_closed(&self) -> bool {
        self.closed
    }

    /// Loss of speed in ppm of `normal`; `None` where neither pitch says anything. For people, not for decisions.
    pub fn loss(&self, normal: u32) -> Option<i32> {
        // However old: the same whenever the last sweep was.
        let waited = self.since.map_or(0, |since| age(self.now, since)).min(FAR);
        let bound = if waited > 0 { Some(signals::speed(self.largest, waited)) } else { None };
        let speed = match (self.shaft.speed().filter(|_| self.closed), bound) {
            (Some(measured), Some(bound)) => measured.min(bound),
            (one, other) => one.or(other)?,
        };
        let share = divide(u64::from(speed.get()).wrapping_mul(1_000_000), normal);
        Some(1_000_000_i32.saturating_sub(i32::try_from(share).unwrap_or(i32::MAX)))
    }
}

/// The largest angle to the next edge: that of any two marks before the first.
pub const fn largest_to_come(shaft: &ShaftSignals, plan: &ShaftPlan) -> u32 {
    if shaft.next_largest > 0 { shaft.next_largest } else { plan.largest }
}

/// How long until a pitch that began at `since` and has at most the angle `largest` is too long for a turn in `limit` microseconds: one
/// microsecond beyond. What takes longer than ages are held counts as never.
#[cfg_attr(all(target_arch = "arm", not(target_has_atomic = "32")), inline(never))]
pub fn silence(since: u32, largest: u32, limit: u32, now: u32) -> u32 {
    let longest = high(largest, limit);
    if longest >= FAR { u32::MAX } else { longest.wrapping_add(1).saturating_sub(age(now, since)) }
}

#[cfg(all(test, feature = "desk"))]
mod tests {
    use super::*;
    use crate::settings::Settings;
    use crate::settings::plan::Plan;
    use crate::signals::{Signals, seen};
    use crate::time::Now;
    use crate::units::Micros;

    const SECOND: u32 = 1_000_000;
    const QUARTER: u32 = 1 << 30;
    /// Long after power-up, with the low half about to wrap.
    const NOW: u32 = u32::MAX - 100;

    fn plan() -> Plan {
        Settings::example().check().expect("sound").plan()
    }

    /// A shaft with four targets whose last pitch took so long and ended so long ago.
    fn turned(pitch: u32, ago: u32) -> ShaftSignals {
        ShaftSignals {
            seen: seen::SEEN,
            last_edge: NOW - ago,
            pitch,
            pitch_angle: QUARTER,
            pitch_largest: QUARTER,
            next_largest: QUARTER,
            ..Default::default()
        }
    }

    fn pitches<'a>(shaft: &'a ShaftSignals, plan: &Plan, opened_ago: Option<u32>) -> Pitches<'a> {
        let view = View { plan, signals: &Signals::NONE, now: Now::new(Micros::new((7 << 32) + u64::from(NOW))) };
        Pitches::new(&view, shaft, &plan.head, opened_ago.map(|ago| NOW - ago))
    }

    #[test]
    fn an_open_pitch_is_too_long_a_microsecond_beyond_its_limit() {
        let plan = plan();
        let shaft = turned(SECOND / 4, 100_000);
        let pitches = pitches(&shaft, &plan, None);
        assert!(pitches.is_open() && pitches.is_closed());
        // A turn in a second is a quarter in 250 ms.
        assert_eq!(pitches.silence(SECOND), 150_001);
        assert!(!pitches.is_silent(SECOND) && !pitches.is_silent(400_000) && pitches.is_silent(399_996));
        assert_eq!(pitches.silence(u32::MAX), (QUARTER - 1) + 1 - 100_000);
        // What takes longer than ages are held is never.
        assert_eq!(silence(0, u32::MAX, FAR + 1, 5), u32::MAX);
        assert_eq!(silence(0, u32::MAX, FAR, 5), FAR - 5);
    }

    #[test]
    fn before_the_first_edge_the_widest_pitch_is_waited_for_from_the_start_on() {
        let plan = plan();
        let never = ShaftSignals::default();
        let at_rest = pitches(&never, &plan, None);
        assert!(!at_rest.is_open() && !at_rest.is_closed());
        assert_eq!((at_rest.silence(SECOND), at_rest.loss(SECOND)), (u32::MAX, None));
        let started = pitches(&never, &plan, Some(50_000));
        assert_eq!(started.silence(SECOND), high(plan.head.largest, SECOND) + 1 - 50_000);
        assert!(plan.head.largest > QUARTER, "its tolerance counts");
        // The pitch that is open is the one from the newest edge, where there was one since.
        let shaft = turned(SECOND / 4, 30_000);
        assert_eq!(pitches(&shaft, &plan, Some(50_000)).silence(SECOND), 220_001);
        assert_eq!(pitches(&shaft, &plan, Some(20_000)).silence(SECOND), 230_001);
    }

    #[test]
    fn what_was_measured_before_the_start_says_nothing_of_it() {
        let plan = plan();
        let shaft = turned(200_000, 100_000);
        // The pitch began 300 ms ago.
        let told = |opened| {
            let pitches = pitches(&shaft, &plan, Some(opened));
            (pitches.is_closed(), pitches.fast_enough(SECOND), pitches.too_slow(500_000))
        };
        assert_eq!(told(300_000), (true, true, true));
        assert_eq!(told(299_999), (false, false, false));
        assert!(!pitches(&turned(0, 100_000), &plan, None).is_closed(), "no pitch");
    }

    #[test]
    fn silence_that_an_edge_ended_is_known_afterwards() {
        let plan = plan();
        // The other shaft gave an edge 40 ms ago, when this one had been silent for 260 ms.
        let shaft = turned(200_000, 300_000);
        let pitches = pitches(&shaft, &plan, None);
        assert!(pitches.was_silent_before(NOW - 40_000, 1_039_996));
        assert!(!pitches.was_silent_before(NOW - 40_000, 1_040_004));
        assert!(!pitches.was_silent_before(NOW - 40_000, u32::MAX), "that long is never");
        assert!(pitches.was_silent_before(NOW, 1_199_996) && !pitches.was_silent_before(NOW, 1_200_004));
    }

    #[test]
    fn the_loss_of_speed_is_of_the_slower_pitch() {
        let plan = plan();
        let loss = |shaft: &ShaftSignals, opened| pitches(shaft, &plan, opened).loss(1_250_000);
        // A turn a second of 1.25: a fifth is lost. The open pitch tells more only once it is longer.
        assert_eq!(loss(&turned(250_000, 0), None), Some(200_000));
        assert_eq!(loss(&turned(250_000, 100_000), None), Some(200_000));
        assert_eq!(loss(&turned(250_000, 500_000), None), Some(600_000));
        // Faster than normal is less than nothing lost; and of a start that gave no edge yet the open pitch alone is known.
        assert_eq!(loss(&turned(100_000, 0), None), Some(-1_000_000));
        assert_eq!(loss(&turned(250_000, 900_000), Some(500_000)), Some(600_000));
        assert_eq!(loss(&turned(250_000, 900_000), Some(0)), None);
    }
}
