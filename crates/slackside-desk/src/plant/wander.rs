//! Slow random wandering with a memory: an Ornstein-Uhlenbeck process, stepped exactly.

use super::chance::Chance;

/// A wandering quantity of mean 0.
#[derive(Clone, Debug)]
pub struct Wander {
    /// The present value.
    pub value: f64,
    keep: f64,
    kick: f64,
}

impl Wander {
    /// Standard deviation, correlation time and step in s.
    #[must_use]
    pub fn new(deviation: f64, time: f64, dt: f64) -> Self {
        let keep = libm::exp(-dt / time);
        Self { value: 0.0, keep, kick: deviation * (1.0 - keep * keep).sqrt() }
    }

    /// One step on.
    pub fn step(&mut self, chance: &mut Chance) {
        self.value = self.value * self.keep + self.kick * chance.normal();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_its_deviation() {
        let (mut chance, mut wander) = (Chance::new(3, 0), Wander::new(2.0, 1.0, 0.1));
        let n = 200_000;
        let mut squares = 0.0;
        for _ in 0..n {
            wander.step(&mut chance);
            squares += wander.value * wander.value;
        }
        // n / 10 independent values, so a standard error of about 1 % of the variance.
        assert!((squares / f64::from(n) / 4.0 - 1.0).abs() < 0.05);
    }
}
