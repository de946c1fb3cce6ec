//! A lump of material that is heated and loses heat to the air around it: `m c dT/dt = P - h A (T - T_air)`.
//!
//! J. P. Holman, *Heat Transfer*, ch. 4 (lumped-heat-capacity method). Stepped by its own closed form, so a step of any
//! length is exact for constant power.

/// A lump.
#[derive(Clone, Copy, Debug)]
pub struct Lump {
    /// Rise above the surrounding air in K.
    pub rise: f64,
    heat_capacity: f64,
    loss: f64,
}

impl Lump {
    /// A lump of that heat capacity in J/K that loses that much in W/K. Both must be above zero.
    #[must_use]
    pub const fn new(heat_capacity: f64, loss: f64) -> Self {
        Self { rise: 0.0, heat_capacity, loss }
    }

    /// Time constant in s.
    #[must_use]
    pub fn time_constant(&self) -> f64 {
        self.heat_capacity / self.loss
    }

    /// The share of the distance to the final temperature that a step of `dt` covers.
    #[must_use]
    pub fn share(&self, dt: f64) -> f64 {
        -libm::expm1(-dt / self.time_constant())
    }

    /// How much a watt for `dt` seconds raises it, in K.
    #[must_use]
    pub fn response(&self, dt: f64) -> f64 {
        self.share(dt) / self.loss
    }

    /// Move on by a step of that [`share`](Self::share) under constant power.
    pub fn step(&mut self, power: f64, share: f64) {
        self.rise += (power / self.loss - self.rise) * share;
    }

    /// Move on by `dt` seconds under constant power; returns the heat in J it lost meanwhile.
    pub fn step_by(&mut self, power: f64, dt: f64) -> f64 {
        if power == 0.0 && self.rise.abs() < 1e-9 {
            return 0.0;
        }
        let before = self.stored();
        self.step(power, self.share(dt));
        power * dt + before - self.stored()
    }

    /// Heat stored in J.
    #[must_use]
    pub fn stored(&self) -> f64 {
        self.heat_capacity * self.rise
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn many_small_steps_give_what_one_large_step_gives() {
        let (mut fine, mut coarse) = (Lump::new(30_000.0, 8.0), Lump::new(30_000.0, 8.0));
        let share = fine.share(1.0);
        for _ in 0..600 {
            fine.step(3_000.0, share);
        }
        coarse.step(3_000.0, coarse.share(600.0));
        assert!((fine.rise - coarse.rise).abs() < 1e-9 * coarse.rise);
    }
}
