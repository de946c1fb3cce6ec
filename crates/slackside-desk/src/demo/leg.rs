//! The leg itself, as simple as the story allows.
//!
//! - The head pulley grips the belt with at most `T2 (e^(μθ) − 1)`, the law of wrap friction (Euler, Eytelwein), `T2` being
//!   the tension the take-up keeps in the slack strand and `θ` half a turn.
//! - Below that the belt only creeps. Beyond it the belt slides, and sliding rubber drags a little harder the faster it
//!   slides, so each load has its slip: the balance of forces gives it.
//! - The grain on the up strand is a well-stirred store: what is fed goes in, and goes out in the time the belt takes to
//!   the head. Lifting it and digging in the boot is the load.

use std::f64::consts::PI;

/// Pulley diameters at mid-belt, in metres. The lagging, 12 mm on each side, is gone from the head.
const HEAD_DIAMETER_M: f64 = 0.608;
const BOOT_DIAMETER_M: f64 = 0.608;
/// Friction of a rubber-covered belt on bare steel, running: the value CEMA tabulates for bare pulleys is 0.25.
const FRICTION_BARE: f64 = 0.25;
/// What the take-up keeps in the slack strand.
const SLACK_TENSION_N: f64 = 3_000.0;
/// How far the drag of sliding rubber grows: twice the grip at this sliding speed.
const SLIDING_DRAG_MPS: f64 = 1.25;
/// Creep at the limit of grip: belts creep 0.5 to 1 % at full load.
const CREEP_AT_LIMIT: f64 = 0.006;
/// Lift, in metres.
const LIFT_M: f64 = 29.0;
const GRAVITY: f64 = 9.81;
/// Friction and digging of the empty leg.
const IDLE_LOAD_N: f64 = 260.0;
/// Head speed at the motor's rated load, in turns a second: normal operating speed.
const HEAD_RATED_TPS: f64 = 1.31;
/// The pull at the belt that 18.5 kW make at that speed.
const RATED_PULL_N: f64 = 7_100.0;
/// What the motor loses of its speed from nothing to rated load: 3 %, in the middle of what motors of this size do.
const MOTOR_SAG: f64 = 0.03;
/// The starter brings the leg to speed in this time.
const START_S: f64 = 3.2;
/// With the motor off the grain slows the leg; the backstop keeps it from turning back. Turns a second, each second.
const COAST_TPS2: f64 = 0.75;

/// What the motor does.
#[derive(Clone, Copy, Debug)]
pub enum Drive {
    /// Off.
    Off,
    /// On.
    On {
        /// Since when.
        since_us: u64,
    },
}

/// Angles of both shafts in turns.
#[derive(Clone, Copy, Debug)]
pub struct Angles {
    pub head: f64,
    pub boot: f64,
}

/// The leg.
#[derive(Clone, Debug)]
pub struct Leg {
    angles: Angles,
    head_tps: f64,
    grain_kg: f64,
}

impl Leg {
    /// At rest and empty.
    pub const fn with_lagging_gone() -> Self {
        Self { angles: Angles { head: 0.113, boot: 0.387 }, head_tps: 0.0, grain_kg: 0.0 }
    }

    pub const fn angles(&self) -> Angles {
        self.angles
    }

    /// Go on by one step.
    pub fn step(&mut self, now_us: u64, step_us: u64, drive: Drive) {
        let step_s = step_us as f64 / 1e6;
        let load_n = if self.head_tps > 0.0 { IDLE_LOAD_N + self.grain_kg * GRAVITY } else { 0.0 };
        let belt_mps = belt_speed(self.head_tps, load_n);

        self.angles.head += self.head_tps * step_s;
        self.angles.boot += belt_mps / (PI * BOOT_DIAMETER_M) * step_s;
        let lifted = self.grain_kg * belt_mps / LIFT_M;
        self.grain_kg += (feed_kgps(now_us as f64 / 1e6, drive) - lifted) * step_s;

        self.head_tps = match drive {
            Drive::On { since_us } => {
                let running = HEAD_RATED_TPS * (1.0 + MOTOR_SAG * (1.0 - load_n / RATED_PULL_N));
                running * ((now_us - since_us) as f64 / 1e6 / START_S).min(1.0)
            }
            Drive::Off => (self.head_tps - COAST_TPS2 * step_s).max(0.0),
        };
    }
}

/// The speed of the belt under a load: what the pulley's rim does, less creep, less the sliding that balances the forces.
fn belt_speed(head_tps: f64, load_n: f64) -> f64 {
    let rim_mps = PI * HEAD_DIAMETER_M * head_tps;
    let grip_n = SLACK_TENSION_N * ((FRICTION_BARE * PI).exp() - 1.0);
    let used = load_n / grip_n;
    let creep = CREEP_AT_LIMIT * used.min(1.0);
    let sliding_mps = SLIDING_DRAG_MPS * (used - 1.0).max(0.0);
    (rim_mps * (1.0 - creep) - sliding_mps).max(0.0)
}

/// What the feeder gives, in kilograms a second.
fn feed_kgps(at_s: f64, drive: Drive) -> f64 {
    // A feeder that nobody wired to the permit still stops with the leg's own starter.
    match drive {
        Drive::Off => 0.0,
        Drive::On { .. } if at_s < 12.0 => 0.0,
        Drive::On { .. } => (12.0 + (at_s - 40.0).max(0.0) * 0.65).min(45.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grip_is_that_of_the_wrap_law() {
        // CEMA: half a turn at 0.25 gives T1/T2 = 2.193, from the wrap factor 0.84 of its printed table.
        let ratio = (FRICTION_BARE * PI).exp();
        assert!((ratio - 2.1933).abs() < 1e-4, "{ratio}");
        let cw = 1.0 / (ratio - 1.0);
        assert!((cw - 0.84).abs() < 0.011, "{cw}");
    }

    #[test]
    fn the_belt_creeps_below_the_limit_and_slides_beyond() {
        let rim = PI * HEAD_DIAMETER_M * 1.31;
        let light = 1.0 - belt_speed(1.31, 1_000.0) / rim;
        let heavy = 1.0 - belt_speed(1.31, 4_000.0) / rim;
        assert!(light > 0.0 && light < 0.006, "{light}");
        assert!(heavy > 0.05, "{heavy}");
        assert!(belt_speed(1.31, 90_000.0) >= 0.0);
    }
}
