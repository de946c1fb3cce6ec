//! How friction heat parts between two faces that slide on each other: so that the shares sum to one.
//!
//! Both faces have one temperature where they touch. Each takes heat as its body lets it: through the slab behind its face, and
//! before that through the warmth of a single pass, for a piece of belt touches the pulley for half a turn and then goes round.
//! For a pass of `t` seconds the face of a half-space rises by `4/3 q/e sqrt(t/pi)` in the mean, `e` its effusivity (H. S.
//! Carslaw and J. C. Jaeger, *Conduction of Heat in Solids*, 2.9, averaged over the pass). Two cold bodies that touch for equal
//! times so share in the ratio of their effusivities; a hot one gives heat to a cold one though nothing slides.

use core::f64::consts::PI;

/// Mean rise of the face over a pass of `contact_s`, in K for each watt, over what the body behind it has. `share_of_time` is
/// how much of the time it is in touch: the body behind has that part of the warmth already.
#[must_use]
pub fn pass_resistance(effusivity: f64, area_m2: f64, contact_s: f64, share_of_time: f64) -> f64 {
    (1.0 - share_of_time).max(0.0) * 4.0 / (3.0 * effusivity * area_m2) * (contact_s / PI).sqrt()
}

/// What came of parting.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Parted {
    /// Power in W into each body.
    pub into: [f64; 2],
    /// Rise in K where they touch, mean over the contact.
    pub contact: f64,
}

/// Part `power` in W between two bodies: their rises in K without it, and what a watt adds in K.
#[must_use]
pub fn part(power: f64, rise: [f64; 2], resistance: [f64; 2]) -> Parted {
    let first = (rise[1] - rise[0] + power * resistance[1]) / (resistance[0] + resistance[1]);
    Parted { into: [first, power - first], contact: rise[0] + first * resistance[0] }
}

#[cfg(test)]
mod tests {
    use super::super::surface::Material;
    use super::*;

    #[test]
    fn cold_bodies_share_by_effusivity() {
        let (rubber, steel) = (Material::RUBBER.effusivity(), Material::STEEL.effusivity());
        let through = [rubber, steel].map(|effusivity| pass_resistance(effusivity, 0.3, 0.4, 0.0));
        let parted = part(1_000.0, [0.0; 2], through);
        assert!((parted.into[0] / 1_000.0 - rubber / (rubber + steel)).abs() < 1e-12);
        assert!((parted.into[0] + parted.into[1] - 1_000.0).abs() < 1e-9);
    }

    #[test]
    fn a_hot_body_warms_a_cold_one() {
        let parted = part(0.0, [80.0, 0.0], [0.5, 0.5]);
        assert_eq!(parted.into, [-80.0, 80.0]);
        assert_eq!(parted.contact, 40.0);
    }
}
