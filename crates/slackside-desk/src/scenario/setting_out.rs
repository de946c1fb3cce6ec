//! What a run's faults make of its leg before it begins: a neighbour on the same drive, a cold morning.

use super::fault::{Fault, Kind};
use crate::plant::leg::Leg;

/// How cold the air is, in degrees Celsius, on a morning of severity 1.
const COLDEST_C: f64 = -20.0;

/// The leg as it stands there with these faults to come.
#[must_use]
pub fn set_out(leg: &Leg, faults: &[Fault]) -> Leg {
    let mut leg = leg.clone();
    if faults.iter().any(|fault| fault.kind == Kind::SharedDrive) {
        leg.drive.inertia_kg_m2 += neighbour_kg_m2(&leg);
    }
    // Frost that was there before the first start has cooled the leg through; one that comes later finds it warm.
    let frost = faults.iter().filter(|fault| fault.kind == Kind::Cold).map(|fault| fault.severity_at(0.0, 0.0));
    let frost = frost.fold(0.0, f64::max);
    leg.heat.ambient_c += (COLDEST_C - leg.heat.ambient_c).min(0.0) * frost;
    leg
}

/// Inertia at the motor of another leg on the same drive, empty and built like this one: its pulleys and its belt all round. What it
/// lifts is the fault's torque.
fn neighbour_kg_m2(leg: &Leg) -> f64 {
    let radius = leg.head_radius();
    let belt_kg = leg.loop_length() * leg.belt.mass_kg_per_m;
    let at_head = leg.head.inertia_kg_m2 + leg.boot.inertia_kg_m2 + belt_kg * radius * radius;
    at_head / (leg.drive.reduction * leg.drive.reduction)
}

#[cfg(test)]
mod tests {
    use super::super::legs;
    use super::*;

    fn fault(kind: Kind, from_s: f64, severity: f64) -> Fault {
        let text = format!("kind = \"{}\"\nfrom_s = {from_s}\nseverity = {severity}", kind.name());
        toml::from_str(&text).unwrap()
    }

    fn leg() -> Leg {
        legs::leg("millbrook-leg-3").unwrap()
    }

    #[test]
    fn a_neighbour_weighs_more_than_the_motor() {
        let shared = set_out(&leg(), &[fault(Kind::SharedDrive, 120.0, 0.5)]);
        let (alone, shared) = (leg().drive.inertia_kg_m2, shared.drive.inertia_kg_m2);
        assert!(shared > 2.0 * alone, "{alone} {shared}");
    }

    #[test]
    fn frost_cools_the_air_before_the_start_and_not_later() {
        let frosty = set_out(&leg(), &[fault(Kind::Cold, 0.0, 0.6)]);
        assert!((frosty.heat.ambient_c + 4.0).abs() < 1e-9, "{}", frosty.heat.ambient_c);
        assert_eq!(set_out(&leg(), &[fault(Kind::Cold, 300.0, 0.6)]), leg());
    }

    #[test]
    fn frost_warms_no_leg() {
        let mut arctic = leg();
        arctic.heat.ambient_c = -30.0;
        assert_eq!(set_out(&arctic, &[fault(Kind::Cold, 0.0, 1.0)]), arctic);
    }
}
