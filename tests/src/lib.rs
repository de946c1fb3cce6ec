//! Helpers shared by the tests in `tests/tests`.

pub mod faults;
pub mod fuzz;
pub mod measured;
pub mod recordings;
pub mod session;
pub mod soak;
pub mod states;
pub mod wheels;

use slackside::settings::{AcceptedRatio, Machine};
use slackside::units::{Micrometres, MicroturnsPerSecond, Ppm, Ratio};

/// Couple the two shafts at `ratio`, by pulleys and as accepted, with this normal speed of the head in turns a second.
pub fn couple(machine: &mut Machine, ratio: f64, head_turns_a_second: f64) {
    machine.head_pulley.lagging = Micrometres::ZERO;
    machine.boot_pulley.lagging = Micrometres::ZERO;
    let thickness = machine.belt.thickness.get() as f64;
    let boot = machine.boot_pulley.bare_diameter.get() as f64 + thickness;
    machine.head_pulley.bare_diameter = Micrometres::new((boot * ratio - thickness).round() as i64);
    machine.accepted_ratio = Some(AcceptedRatio { ratio: Ratio::new((ratio * 1e6).round() as u32), spread: Ppm::ZERO });
    machine.normal_head = MicroturnsPerSecond::new((head_turns_a_second * 1e6).round() as u32);
    machine.normal_boot = MicroturnsPerSecond::new((head_turns_a_second * ratio * 1e6).round() as u32);
}
