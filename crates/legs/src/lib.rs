//! Random legs and what befalls them: a small kinematic model gives the edges, and people, faults and power are mixed in at random.
//!
//! Not a plant: speeds and slip are told, nothing follows from forces. Everything follows from a seed.

mod brink;
mod day;
mod happen;
pub mod parts;
mod play;
pub mod random;
mod settings;
pub mod story;
mod wheel;
pub mod witness;

use slackside::input::Input;

pub use play::{Monitor, tick};
pub use settings::{Make, make};

use crate::random::Random;

/// How long a leg is watched, and from when.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    /// The time of its first input, in microseconds; `None`: anything from 0 to beyond the wraps.
    pub begin_us: Option<u64>,
    /// For how long, in seconds; `None`: half a minute to ten minutes.
    pub seconds: Option<f64>,
}

impl Frame {
    /// Begin and length drawn at random.
    pub const ANY: Self = Self { begin_us: None, seconds: None };
}

/// A leg and all that its sensors and people told.
#[derive(Clone, Debug)]
pub struct Leg {
    /// What it is.
    pub make: Make,
    /// What came, in order.
    pub inputs: Vec<Input>,
    /// After how many inputs power goes and comes back: the box starts again with what it kept, and time goes on.
    pub power_cuts: Vec<usize>,
}

/// The leg of a seed.
#[must_use]
pub fn leg(seed: u64, frame: Frame) -> Leg {
    calmer_leg(seed, frame, 0.0)
}

/// The leg of a seed to which, while it runs, less happens: that share of all that would is left out.
#[must_use]
pub fn calmer_leg(seed: u64, frame: Frame, calm: f64) -> Leg {
    let mut random = Random(seed.wrapping_mul(0x2545_F491_4F6C_DD1D).wrapping_add(1));
    let make = make(&mut random);
    let begin_us = frame.begin_us.unwrap_or_else(|| begin(&mut random));
    let seconds = frame.seconds.unwrap_or_else(|| random.log_between(30.0, 600.0));
    let inputs = day::live(&make, begin_us, (seconds * 1e6) as u64, calm, &mut random);
    let cuts = if random.chance(0.15) { random.whole(1, 2) } else { 0 };
    let mut power_cuts: Vec<usize> = (0..cuts).map(|_| random.whole(0, inputs.len() as i64) as usize).collect();
    power_cuts.sort_unstable();
    Leg { make, inputs, power_cuts }
}

/// Where time begins: at nothing, or shortly before a wrap of one of the counts, or anywhere.
fn begin(random: &mut Random) -> u64 {
    let before = random.whole(0, 200_000_000) as u64;
    match random.whole(0, 9) {
        0..=3 => 0,
        4 => (1 << 30) - before,
        5 => (1 << 31) - before,
        6 => (1 << 32) - before,
        7 => (1 << 42) - before,
        _ => random.next_u64() >> random.whole(16, 40),
    }
}
