//! A slug of feed, what it heaps up in the boot, and the take-up that it asks for.
//!
//! What the buckets cannot take heaps up, and they wade through it. Its drag, digging and the boot's bearings all come off the strand
//! that comes down, half of them each, for a take-up holds what both strands have together. What is left there must turn the boot
//! pulley, or the pulley falls behind a belt that runs on. A designer gives a take-up that bears the largest slug that the leg is to
//! lift, where motor and head lift it.

use core::f64::consts::PI;

use super::discharge::GRAVITY;
use super::leg::Leg;
use super::takeup::Kind;
use super::wrap::{largest_pull, tension_ratio, wrap_factor};

/// What a motor gives beyond its rated torque for 15 s without stalling: 60 % more (IEC 60034-1, momentary excess torque; from memory).
const EXCESS: f64 = 1.6;

/// How much more than it needs a take-up is to give at least: it is set by hand, and bearings and belts differ. Engineering judgement,
/// no source; the handbooks' wrap factors for take-ups by screw have more (CEMA, from memory).
pub const MARGIN: f64 = 1.1;

/// More feed than design flow, for a while.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slug {
    /// Share of design flow.
    pub flow: f64,
    /// How long in s.
    pub seconds: f64,
}

/// The largest slug that a leg is to lift: as when a gate is opened too far and put back (common practice, no source).
pub const LARGEST: Slug = Slug { flow: 1.8, seconds: 5.0 };

/// Forces at the rim in N while a slug is lifted, buckets full.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Forces {
    /// What comes off both strands between boot and take-up: digging, filling, half the bending, the boot's bearings, the pile.
    pub boot: f64,
    /// Weight of what full buckets carry.
    pub load: f64,
    /// The other half of the bending, which the head pays.
    pub head: f64,
    /// The pile's part of `boot`.
    pub pile: f64,
}

impl Slug {
    /// Grain in kg that lies in the boot at its end: what is on its way into full buckets, and what they could not take.
    #[must_use]
    pub fn heap_kg(&self, leg: &Leg) -> f64 {
        let most = leg.belt.buckets_kg_per_m * leg.rated_belt_speed();
        let comes = self.flow * leg.capacity_kg_per_s();
        comes.min(most) * leg.pit.fill_time_s + (comes - most).max(0.0) * self.seconds
    }

    /// The forces at its end.
    #[must_use]
    pub fn forces(&self, leg: &Leg) -> Forces {
        let speed = leg.rated_belt_speed();
        let carried = leg.belt.buckets_kg_per_m.min(self.flow * leg.capacity_kg_per_s() / speed);
        let pile = leg.pit.choke_drag(self.heap_kg(leg));
        let bearing = leg.boot.bearing_n_m / leg.boot_radius();
        let bending = 0.5 * leg.belt.bending_n;
        let digging = carried * (GRAVITY * leg.pit.digging_height_m + speed * speed);
        Forces { boot: digging + bending + bearing + pile, load: carried * GRAVITY * leg.lift_m, head: bending, pile }
    }

    /// Tension in N at the boot with which the strand that comes down still turns its pulley. Between screws half of the load, which hangs
    /// in the lower half of its strand, is shared by both strands; a weight makes up for it.
    #[must_use]
    pub fn tension_n(&self, leg: &Leg) -> f64 {
        let forces = self.forces(leg);
        let hanging = match leg.takeup.kind {
            Kind::Screw => 0.5 * forces.load,
            Kind::Gravity => 0.0,
        };
        0.5 * (forces.boot + hanging) + turning_n(leg)
    }

    /// Whether motor and head lift it, with a take-up that bears it.
    #[must_use]
    pub fn is_lifted(&self, leg: &Leg) -> bool {
        let forces = self.forces(leg);
        let pull = forces.boot + forces.load + forces.head;
        let speed = leg.rated_belt_speed();
        let motor = EXCESS * leg.drive.motor.power_kw * 1_000.0 * leg.drive.efficiency / speed;
        let ratio = tension_ratio(leg.head.friction, leg.wrap_deg.to_radians());
        let head = largest_pull(turning_n(leg) + leg.strand_weight(), centrifugal_n(leg), ratio);
        pull <= motor && pull <= head
    }
}

/// What speed takes from every tension: `m v^2`.
fn centrifugal_n(leg: &Leg) -> f64 {
    leg.belt.mass_kg_per_m * leg.rated_belt_speed() * leg.rated_belt_speed()
}

/// Tension in N with which a strand just turns the boot pulley against its bearings, by Euler and Eytelwein.
fn turning_n(leg: &Leg) -> f64 {
    leg.boot.bearing_n_m / leg.boot_radius() * wrap_factor(leg.boot.friction, PI) + centrifugal_n(leg)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::{Controls, Plant};
    use crate::scenario::legs;

    fn built_in() -> [Leg; legs::NAMES.len()] {
        legs::NAMES.map(|name| legs::leg(name).expect("built in"))
    }

    /// How far the boot pulley falls behind the belt, as a share, at worst while the largest slug and the ten seconds after it pass
    /// through a leg at design flow.
    fn falls_behind(leg: &Leg) -> f64 {
        let mut still = leg.clone();
        still.lateral.wander_mm_per_m = 0.0;
        let mut plant = Plant::new(&still, 2_000, 0);
        let full_s = 20.0 + 2.0 * leg.lift_m / leg.rated_belt_speed();
        let mut run = |seconds: f64, flow: f64| {
            let feed_kg_per_s = flow * leg.capacity_kg_per_s();
            let mut behind: f64 = 0.0;
            for _ in 0..(seconds / 0.002) as u32 {
                let turning = plant.step(&Controls { closed: true, feed_kg_per_s, reference: 1.0 });
                let rim = turning.boot[1] * 2.0 * PI * leg.boot_radius();
                behind = behind.max(1.0 - rim / plant.belt_speed().max(0.1));
            }
            behind
        };
        run(15.0, 0.0);
        run(full_s, 1.0);
        run(LARGEST.seconds, LARGEST.flow).max(run(10.0, 0.3))
    }

    /// The rule decides, not the wish: every built-in leg bears the largest slug, with the margin, and its motor and head lift it.
    #[test]
    fn every_built_in_leg_bears_the_largest_slug() {
        for leg in built_in() {
            let asked = MARGIN * LARGEST.tension_n(&leg);
            assert!(leg.takeup.tension_n >= asked, "{}: {} N, {asked:.0} N asked", leg.name, leg.takeup.tension_n);
            assert!(LARGEST.is_lifted(&leg), "{}: {:?}", leg.name, LARGEST.forces(&leg));
        }
    }

    /// And the plant agrees: with that take-up the pulley keeps up with its belt, with three fifths of what the slug takes it falls behind.
    #[test]
    fn with_less_the_boot_pulley_falls_behind_its_belt() {
        for mut leg in built_in() {
            let kept = falls_behind(&leg);
            leg.takeup.tension_n = 0.6 * LARGEST.tension_n(&leg);
            let light = falls_behind(&leg);
            assert!(kept < 0.01 && light > 0.2, "{}: {kept} {light}", leg.name);
        }
    }

    /// What the buckets take heaps up nothing beyond what is on its way into them, and a slug that lasts twice as long heaps up twice
    /// the rest.
    #[test]
    fn only_what_the_buckets_cannot_take_heaps_up() {
        for leg in built_in() {
            let most = leg.belt.buckets_kg_per_m * leg.rated_belt_speed();
            let within = Slug { flow: 0.99 * most / leg.capacity_kg_per_s(), seconds: 60.0 };
            assert!((within.heap_kg(&leg) - 0.99 * most * leg.pit.fill_time_s).abs() < 1e-9);
            let rest = |slug: Slug| slug.heap_kg(&leg) - most * leg.pit.fill_time_s;
            let long = Slug { seconds: 2.0 * LARGEST.seconds, ..LARGEST };
            assert!(rest(LARGEST) > 0.0 && (rest(long) / rest(LARGEST) - 2.0).abs() < 1e-9, "{}", leg.name);
        }
    }
}
