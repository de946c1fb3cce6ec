//! The built-in legs: invented, of several sizes.

use serde::Deserialize;

use crate::plant::leg::Leg;

/// Their names, smallest first.
pub const NAMES: [&str; 5] =
    ["millbrook-premix-leg", "millbrook-leg-1", "millbrook-leg-3", "harbour-leg-2", "harbour-terminal-leg"];

const TEXTS: [&str; 5] = [
    include_str!("legs/millbrook-premix-leg.toml"),
    include_str!("legs/millbrook-leg-1.toml"),
    include_str!("legs/millbrook-leg-3.toml"),
    include_str!("legs/harbour-leg-2.toml"),
    include_str!("legs/harbour-terminal-leg.toml"),
];

/// The leg of that name.
#[must_use]
pub fn built_in(name: &str) -> Option<toml::Table> {
    NAMES.iter().zip(TEXTS).find(|(known, _)| **known == name).and_then(|(_, text)| text.parse().ok())
}

/// The leg of that name, read.
#[must_use]
pub fn leg(name: &str) -> Option<Leg> {
    Leg::deserialize(toml::Value::Table(built_in(name)?)).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_are_sound_legs_and_their_friction_holds_the_full_load() {
        for name in NAMES {
            let leg = leg(name).unwrap();
            assert_eq!(leg.faults(), [], "{name}");
            let slack = leg.takeup.tension_n + leg.strand_weight();
            let limit = slack * (libm::exp(leg.head.friction * leg.wrap_deg.to_radians()) - 1.0);
            let margin = limit / crate::scenario::fault::full_pull(&leg);
            assert!((1.3..6.0).contains(&margin), "{name}: {margin}");
            let power =
                leg.capacity_kg_per_s() * crate::plant::discharge::GRAVITY * (leg.lift_m + leg.pit.digging_height_m)
                    / 1_000.0;
            let load = power / leg.drive.motor.power_kw;
            assert!((0.3..0.95).contains(&load), "{name}: {load}");
        }
    }
}
