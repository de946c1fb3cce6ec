//! At what temperature dust takes fire: a truth of the plant, never a promise.
//!
//! Cloud ignition temperatures as two open tables of grain dusts print them alike; layer ignition temperatures of 5 mm from
//! memory (tables of NFPA 499 and NMAB 353-3). They scatter by grain, fineness and layer: thicker layers take fire at less. A surface
//! is taken for too hot above the lesser of two thirds of the cloud's and the layer's less 75 K (IEC 60079-14 and EN
//! 1127-1, from memory). Nothing here says that below it nothing burns.

use serde::Deserialize;

/// A dust.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Dust {
    /// Mixed grain and wheat.
    #[default]
    Grain,
    /// Maize.
    Corn,
    /// Rice.
    Rice,
    /// Soy flour.
    Soy,
    /// Alfalfa.
    Alfalfa,
}

impl Dust {
    /// Ignition temperature of a cloud in degrees Celsius.
    #[must_use]
    pub const fn cloud_c(self) -> f64 {
        match self {
            Self::Grain => 430.0,
            Self::Corn => 400.0,
            Self::Rice => 440.0,
            Self::Soy => 540.0,
            Self::Alfalfa => 460.0,
        }
    }

    /// Ignition temperature of a layer of 5 mm in degrees Celsius (from memory).
    #[must_use]
    pub const fn layer_c(self) -> f64 {
        match self {
            Self::Grain | Self::Rice => 220.0,
            Self::Corn => 250.0,
            Self::Soy => 190.0,
            Self::Alfalfa => 200.0,
        }
    }

    /// The surface temperature in degrees Celsius above which the leg must stop.
    #[must_use]
    pub fn surface_limit_c(self) -> f64 {
        (2.0 / 3.0 * self.cloud_c()).min(self.layer_c() - 75.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lesser_of_both_rules() {
        let limits = [Dust::Grain, Dust::Corn, Dust::Rice, Dust::Soy, Dust::Alfalfa].map(Dust::surface_limit_c);
        assert_eq!(limits, [145.0, 175.0, 145.0, 115.0, 125.0]);
        assert!((2.0 / 3.0 * Dust::Corn.cloud_c() - 267.0).abs() < 0.5);
    }
}
