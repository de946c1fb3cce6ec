//! The boot: what lies in it, what the buckets take up, and how hard they dig.
//!
//! Taking up costs a drag as if the load were lifted by so many metres more ("equivalent digging height": common practice,
//! handbooks print rules from a few metres to twelve boot pulley diameters; from memory). Above a free level the buckets
//! wade through the pile, and the drag climbs with the square of how far it is beyond: at `full` the boot is choked. The
//! shape of that climb is engineering judgement.

use serde::Deserialize;

/// The boot's own figures.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pit {
    /// Grain in kg that lies there without hindering.
    pub free_kg: f64,
    /// Grain in kg at which it is choked up to the inlet and no more runs in.
    pub full_kg: f64,
    /// Drag in N on the belt when full.
    pub choke_drag_n: f64,
    /// Digging, as metres of lift on top of the true one.
    pub digging_height_m: f64,
    /// Mean time in s that grain lies in the boot before a bucket has it.
    pub fill_time_s: f64,
}

impl Pit {
    /// How far choked: 0 at the free level, 1 when full.
    #[must_use]
    pub fn choke(&self, pile_kg: f64) -> f64 {
        ((pile_kg - self.free_kg) / (self.full_kg - self.free_kg)).clamp(0.0, 1.0)
    }

    /// Drag of the pile in N.
    #[must_use]
    pub fn choke_drag(&self, pile_kg: f64) -> f64 {
        let choke = self.choke(pile_kg);
        self.choke_drag_n * choke * choke
    }

    /// Mass taken up in `dt` at that belt speed, if full buckets carry `most_kg_per_m`.
    #[must_use]
    pub fn taken_up(&self, pile_kg: f64, belt_speed: f64, most_kg_per_m: f64, dt: f64) -> f64 {
        let offered = pile_kg * (dt / self.fill_time_s).min(1.0);
        offered.min(most_kg_per_m * belt_speed.max(0.0) * dt)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn full_buckets_are_the_most_a_belt_can_take() {
        let pit = Pit { free_kg: 30.0, full_kg: 200.0, choke_drag_n: 9_000.0, digging_height_m: 5.0, fill_time_s: 0.5 };
        assert!((pit.taken_up(1_000.0, 2.5, 12.0, 0.02) - 12.0 * 2.5 * 0.02).abs() < 1e-12);
        assert!((pit.taken_up(1.0, 2.5, 12.0, 0.02) - 0.04).abs() < 1e-12);
        assert_eq!(pit.taken_up(100.0, -1.0, 12.0, 0.02), 0.0);
        assert_eq!(pit.choke_drag(30.0), 0.0);
        assert_eq!(pit.choke_drag(500.0), 9_000.0);
    }
}
