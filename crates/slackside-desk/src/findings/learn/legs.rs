//! Legs to learn on: invented, no two alike, from 8 m to 60 m, with whatever is fitted by chance.

use crate::error::Error;
use crate::plant::chance::Chance;
use crate::plant::leg::{Leg, Targets};
use crate::plant::starter::Starter;
use crate::scenario::estimate::plant_of;
use crate::settings::{new_leg, parse};

/// Target counts as they are found on shafts.
const COUNTS: [u8; 9] = [2, 2, 3, 4, 4, 6, 8, 12, 16];

/// A leg of a size drawn by chance, with sensors drawn by chance.
///
/// # Errors
/// The figures give no plant that can be; another draw may.
pub fn invented(chance: &mut Chance) -> crate::error::Result<Leg> {
    let diameter = chance.between(250.0, 1_250.0);
    let lagging = if chance.happens(0.7) { chance.between(6.0, 15.0) } else { 0.0 };
    let boot = diameter * chance.pick(&[1.0, 1.0, 0.8, 0.7]);
    let width = (0.55 * diameter * chance.between(0.75, 1.35)).max(120.0);
    let face = width * chance.between(1.1, 1.25);
    let lift = chance.between(8.0, 60.0);
    // Between 0.9 and 1.3 times the speed at which weight and centrifugal force balance on the head: n = 42.3 / sqrt(D).
    let rpm = 42.3 / libm::sqrt(diameter / 1_000.0) * chance.between(1.2, 1.7);
    let flow = 20.0 * libm::pow(width / 160.0, 2.0) * chance.between(0.5, 1.2);
    let power = (flow / 3.6 * 9.81 * (lift + 6.0) / 1_000.0 / 0.6).max(0.55);
    let millimetres = |value: f64| format!("{value:.1} mm");
    let count = |chance: &mut Chance| chance.pick(&COUNTS).to_string();
    let answers = [
        "a leg to learn on".to_owned(),
        millimetres(diameter),
        millimetres(lagging),
        millimetres(face),
        millimetres(diameter * 0.006),
        millimetres(boot),
        millimetres(face),
        millimetres(boot * 0.006),
        millimetres(chance.between(5.0, 12.0)),
        millimetres(width),
        format!("{lift:.2} m"),
        format!("{rpm:.1}"),
        count(chance),
        count(chance),
        format!("{power:.2} kW"),
        "yes".to_owned(),
        "no".to_owned(),
    ];
    let answers: Vec<&str> = answers.iter().map(String::as_str).collect();
    let text = new_leg(&answers).map_err(|refused| Error::said(format!("{refused:?}")))?;
    let settings = parse(&text, "a leg to learn on").map_err(|refused| Error::said(refused.to_string()))?;
    let mut leg = plant_of(&settings)?.leg;
    leg.takeup.tension_n *= chance.between(0.6, 1.3);
    leg.drive.starter = match (chance.uniform() * 10.0) as u32 {
        0 | 1 => Starter::Soft { initial_pct: 55.0, ramp_s: chance.between(3.0, 7.0) },
        2 | 3 => Starter::USUAL_VARIABLE,
        _ => Starter::Direct,
    };
    fit(&mut leg, chance);
    Ok(leg)
}

/// What is fitted, by chance.
pub fn fit(leg: &mut Leg, chance: &mut Chance) {
    let fitted = &mut leg.fitted;
    fitted.rub_contacts = chance.happens(0.7);
    fitted.temperatures = chance.happens(0.4);
    fitted.power_meter = chance.happens(0.6);
    fitted.outlet_switch = chance.happens(0.5);
    let supervised = chance.happens(0.3);
    for Targets { supervised: is, .. } in fitted.head.iter_mut().chain([&mut fitted.boot]) {
        *is = supervised;
    }
}
