//! Seeded chance: the same numbers on every machine.
//!
//! ChaCha with 8 rounds gives the bits; `libm` in place of the platform's own library turns them into normal and
//! exponential numbers, so that the last bit does not depend on where it runs. Every purpose has its own stream: adding
//! noise to one sensor does not change the wander of the belt.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

/// A stream of chance.
#[derive(Clone, Debug)]
pub struct Chance {
    bits: ChaCha8Rng,
    spare: Option<f64>,
}

impl Chance {
    /// Stream number `stream` of `seed`.
    #[must_use]
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut bits = ChaCha8Rng::seed_from_u64(seed);
        bits.set_stream(stream);
        Self { bits, spare: None }
    }

    /// Uniform in [0, 1).
    pub fn uniform(&mut self) -> f64 {
        (self.bits.next_u64() >> 11) as f64 * (1.0 / (1_u64 << 53) as f64)
    }

    /// Uniform in [low, high).
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// True with probability `p`.
    pub fn happens(&mut self, p: f64) -> bool {
        p > 0.0 && self.uniform() < p
    }

    /// One of a list, each as likely as the next.
    ///
    /// # Panics
    /// The list is empty.
    pub fn pick<T: Copy>(&mut self, list: &[T]) -> T {
        list[(self.uniform() * list.len() as f64) as usize % list.len()]
    }

    /// Normal, mean 0, standard deviation 1 (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * libm::log(1.0 - self.uniform())).sqrt();
        let angle = core::f64::consts::TAU * self.uniform();
        self.spare = Some(radius * libm::sin(angle));
        radius * libm::cos(angle)
    }

    /// Waiting time of a Poisson process with that mean.
    pub fn waiting(&mut self, mean: f64) -> f64 {
        -mean * libm::log(1.0 - self.uniform())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_are_those_of_the_distributions() {
        let mut chance = Chance::new(1, 0);
        let n = 100_000;
        let (mut sum, mut squares, mut waits) = (0.0, 0.0, 0.0);
        for _ in 0..n {
            let x = chance.normal();
            sum += x;
            squares += x * x;
            waits += chance.waiting(3.0);
        }
        // Four standard errors: 1/sqrt(n) for the mean, sqrt(2/n) for the variance, 3/sqrt(n) for the wait.
        assert!((sum / f64::from(n)).abs() < 0.0127);
        assert!((squares / f64::from(n) - 1.0).abs() < 0.0179);
        assert!((waits / f64::from(n) - 3.0).abs() < 0.038);
    }

    #[test]
    fn streams_differ_and_seeds_repeat() {
        assert_ne!(Chance::new(1, 0).uniform(), Chance::new(1, 1).uniform());
        assert_eq!(Chance::new(7, 3).normal(), Chance::new(7, 3).normal());
    }
}
