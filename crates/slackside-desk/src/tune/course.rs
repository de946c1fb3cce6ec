//! What the plant knows of a simulated run and no sensor tells, for the figures of a stop.

use core::f64::consts::PI;

use crate::scenario::run::TRUTH_US;
use crate::scenario::truth::Row;

/// The truth, a point every [`TRUTH_US`].
#[derive(Clone, Debug, Default)]
pub struct Course {
    points: Vec<Point>,
    first_us: u64,
    /// Circumference of the head's effective rim in m.
    rim_m: f64,
}

/// One moment of it, or what lies between two.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Slip heat held in rim and lagging, with its cooling, in J.
    pub heat_j: f64,
    /// How far the rim has slid past the belt since the run began, in m.
    pub slid_m: f64,
    /// Belt speed of normal, in per cent.
    pub belt_pct: f64,
}

impl Course {
    /// Nothing yet. `head_radius_m`: effective radius of the head pulley.
    #[must_use]
    pub fn new(head_radius_m: f64) -> Self {
        Self { rim_m: 2.0 * PI * head_radius_m, ..Self::default() }
    }

    /// The next row of truth.
    pub fn take(&mut self, row: &Row) {
        if self.points.is_empty() {
            self.first_us = row.time_us;
        }
        let slid = self.points.last().map_or(0.0, |point| point.slid_m);
        // Sliding alone, at any speed of the belt: creep is no sliding.
        let rim = row.truth.head_rpm / 60.0 * self.rim_m;
        let step = (rim * row.truth.slip_pct / 100.0).max(0.0) * TRUTH_US as f64 * 1e-6;
        self.points.push(Point { heat_j: row.truth.heat_j, slid_m: slid + step, belt_pct: row.belt_pct });
    }

    /// The truth at a moment, straight between its rows.
    #[must_use]
    pub fn at(&self, at_us: u64) -> Option<Point> {
        let place = at_us.saturating_sub(self.first_us) as f64 / TRUTH_US as f64;
        let last = self.points.len().checked_sub(1)?;
        let (before, part) = ((place as usize).min(last), place.fract());
        let (one, next) = (self.points[before], self.points[(before + 1).min(last)]);
        let between = |from: f64, to: f64| from + (to - from) * part;
        Some(Point {
            heat_j: between(one.heat_j, next.heat_j),
            slid_m: between(one.slid_m, next.slid_m),
            belt_pct: between(one.belt_pct, next.belt_pct),
        })
    }
}
