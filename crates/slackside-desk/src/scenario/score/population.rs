//! Legs as they are, drawn at random: no two alike, none as its drawing says, and every day another.

use slackside::conditions::Condition;
use slackside::settings::Checked;
use slackside::units::Span;

use super::super::fault::{End, Fault, Kind};
use super::super::legs;
use super::super::settings::{Commissioned, settings_for};
use super::super::timeline::{Act, Button, Routine};
use super::super::{Label, Scenario};
use super::sound;
use crate::plant::chance::Chance;
use crate::plant::friction::{SETS, built_in};
use crate::plant::leg::Leg;
use crate::plant::ripple::{At, Beat, Ripple};
use crate::plant::starter::Starter;

/// What a healthy shift is mostly about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs, reason = "each is described by `words`")]
pub enum Stratum {
    Ordinary,
    Wet,
    Cold,
    Rippling,
    Slugs,
    LoadedStops,
    Rocking,
    Sags,
    VariableSpeed,
    Geometry,
    FewDropouts,
    SomeDropouts,
}

impl Stratum {
    /// All of them.
    pub const ALL: [Self; 12] = [
        Self::Ordinary,
        Self::Wet,
        Self::Cold,
        Self::Rippling,
        Self::Slugs,
        Self::LoadedStops,
        Self::Rocking,
        Self::Sags,
        Self::VariableSpeed,
        Self::Geometry,
        Self::FewDropouts,
        Self::SomeDropouts,
    ];

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ordinary => "ordinary running: starts, stops, loads that change",
            Self::Wet => "wet grain all day",
            Self::Cold => "a frosty day: thick oil, stiff belt, hard lagging",
            Self::Rippling => "ripple of a screw feeder, buckets and V-belts",
            Self::Slugs => "slugs of feed, half as much again and more for seconds",
            Self::LoadedStops => "stopped full and started full",
            Self::Rocking => "the standing belt rocks in the wind",
            Self::Sags => "the mains sag, and once let the contactor go",
            Self::VariableSpeed => "variable speed, up and down",
            Self::Geometry => "commissioned carelessly: diameters, speeds and ratio off",
            Self::FewDropouts => "up to 0.1 % of targets not seen",
            Self::SomeDropouts => "0.1 to 1 % of targets not seen: an alarm that names the sensor is right",
        }
    }
}

/// A leg with all it differs in from its drawing, and what its monitor was told of it.
pub struct Drawn {
    /// The leg as it is, with what happens to it.
    pub scenario: Scenario,
    /// What is true of it when sound.
    pub commissioned: Commissioned,
    /// What the monitor was told.
    pub settings: Checked,
    /// Which built-in leg it came from.
    pub leg: usize,
}

/// A leg that differs from its drawing as legs do.
pub fn vary(leg: &Leg, chance: &mut Chance) -> Leg {
    let mut leg = leg.clone();
    let boot = &mut leg.fitted.boot;
    for targets in leg.fitted.head.iter_mut().chain([boot]) {
        targets.spacing_error_pct = chance.between(0.0, 1.0);
        targets.runout_pct = chance.between(0.0, 8.0);
        targets.jitter_us = chance.between(1.0, 30.0);
    }
    for pulley in [&mut leg.head, &mut leg.boot] {
        pulley.runout_mm = chance.between(0.0, 0.0015) * pulley.bare_diameter_mm;
        pulley.bearing_n_m *= chance.between(0.6, 1.6);
    }
    leg.belt.damping = chance.between(0.02, 0.12);
    leg.belt.stiffness_kn *= chance.between(0.8, 1.2);
    leg.belt.bending_n *= chance.between(0.7, 1.4);
    leg.head.friction *= chance.between(0.9, 1.15);
    leg.takeup.tension_n *= chance.between(0.95, 1.2);
    leg.lateral.wander_mm_per_m *= chance.between(0.5, 1.3);
    leg.drive.idle_share = chance.between(0.3, 0.7);
    leg.heat.ambient_c = chance.between(-5.0, 35.0);
    leg.grip = built_in(chance.pick(&SETS)).unwrap_or_default();
    leg
}

/// What the monitor is told of a leg: figures off by up to `off`, as a share for speeds; a third of it for ratio and diameters.
pub fn told(
    drawing: &Leg,
    leg: &Leg,
    commissioned: &Commissioned,
    off: f64,
    chance: &mut Chance,
) -> crate::error::Result<Checked> {
    let errors = [0; 4].map(|_| chance.between(-off, off));
    let measured_with = |care: f64| {
        let [speed, ratio, head, boot] = errors.map(|error| error * care);
        let mut said = leg.clone();
        // Spacing and runout are not known to anyone: the settings have what the drawing has.
        said.fitted = drawing.fitted.clone();
        let mut measured = *commissioned;
        measured.head *= 1.0 + speed;
        measured.boot *= 1.0 + speed;
        measured.idle_ratio *= 1.0 + ratio / 3.0;
        said.head.bare_diameter_mm *= 1.0 + head / 3.0;
        said.boot.bare_diameter_mm *= 1.0 + boot / 3.0;
        settings_for(&said, &measured)
    };
    // What the monitor refuses is measured again, with more care.
    for care in [1.0, 0.5, 0.25] {
        if let Ok(checked) = measured_with(care).check() {
            return Ok(checked);
        }
    }
    let exact = measured_with(0.0);
    sound(exact.clone(), &leg.name).or_else(|refused| {
        // The leg is slower than its drawing: the mends that the monitor itself names.
        let mends = [(150_000, 250), (150_000, 150), (130_000, 150), (120_000, 100)];
        let mended = mends.into_iter().find_map(|(setpoint, on_ms)| {
            let mut mended = exact.clone();
            mended.limits.change(Condition::DeepUnderspeed, |limit| {
                (limit.setpoint, limit.on_delay) = (setpoint, Span::from_millis(on_ms));
            });
            mended.check().ok()
        });
        mended.ok_or(refused)
    })
}

const fn plain(kind: Kind, from_s: f64, severity: f64) -> Fault {
    Fault { kind, from_s, ramp_s: 0.0, until_s: None, severity, side: None, shaft: None, place: None }
}

/// Length of a healthy shift in s: the monitor starts afresh each time.
pub const SHIFT_S: f64 = 3_600.0;

/// Healthy shift number `index` of a seed: strata and legs in turn, all else by chance.
///
/// # Errors
/// The monitor refuses the settings.
pub fn healthy(seed: u64, index: usize) -> crate::error::Result<(Stratum, Drawn)> {
    let stratum = Stratum::ALL[index % Stratum::ALL.len()];
    let number = (index / Stratum::ALL.len()) % legs::NAMES.len();
    let mut chance = Chance::new(seed, 1_000 + index as u64);
    let drawing = legs::leg(legs::NAMES[number]).unwrap_or_else(|| unreachable!("a built-in leg"));
    let mut leg = vary(&drawing, &mut chance);
    let run_s = [900.0, 900.0, 1_200.0, 1_800.0, 3_000.0][number];
    let mut routine = Routine {
        run_s: run_s * chance.between(0.7, 1.3),
        rest_s: chance.between(60.0, 300.0),
        feed_change_s: chance.between(40.0, 200.0),
        feed_min_pct: chance.between(0.0, 40.0),
        feed_max_pct: chance.between(70.0, 105.0),
        wet_share: 0.15,
        wet_friction: 0.85,
    };
    let mut timeline = Vec::new();
    let mut faults = Vec::new();
    let mut own_routine = true;
    let act = |at_s, press, feed_pct, speed_pct| Act { at_s, press, feed_pct, speed_pct, command: None };
    match stratum {
        Stratum::Ordinary | Stratum::Geometry => {}
        Stratum::Wet => (routine.wet_share, routine.wet_friction) = (1.0, 0.76),
        Stratum::Cold => {
            leg.heat.ambient_c = chance.between(-30.0, -5.0);
            faults.push(plain(Kind::Cold, 0.0, chance.between(0.1, 0.5)));
        }
        Stratum::Rippling => {
            let pull = super::super::fault::full_pull(&leg);
            let (screw, pitch) = (chance.between(0.6, 4.0), chance.between(0.15, 0.4));
            let mut drag = |most: f64| pull * chance.between(0.02, most);
            leg.ripple = vec![
                Ripple { beat: Beat::Second, period: screw, drag_n: drag(0.2), at: At::Boot },
                Ripple { beat: Beat::Metre, period: pitch, drag_n: drag(0.15), at: At::Boot },
                Ripple { beat: Beat::HeadTurn, period: 0.31, drag_n: drag(0.06), at: At::Drive },
            ];
        }
        Stratum::Slugs => {
            let mut at_s = chance.between(60.0, 200.0);
            while at_s < SHIFT_S - 30.0 {
                timeline.push(act(at_s, None, Some(chance.between(120.0, 180.0)), None));
                at_s += chance.between(2.0, 5.0);
                timeline.push(act(at_s, None, Some(chance.between(20.0, 70.0)), None));
                at_s += chance.between(60.0, 240.0);
            }
        }
        Stratum::LoadedStops => {
            own_routine = false;
            let mut at_s = 10.0;
            while at_s < SHIFT_S - 120.0 {
                timeline.push(act(at_s, Some(Button::Start), None, None));
                let fed_s = at_s + chance.between(10.0, 25.0);
                timeline.push(act(fed_s, None, Some(chance.between(40.0, 90.0)), None));
                at_s = fed_s + chance.between(60.0, 400.0);
                timeline.push(act(at_s, Some(Button::Stop), None, None));
                timeline.push(act(at_s + chance.between(0.2, 1.5), None, Some(0.0), None));
                // No more than two starts in ten minutes: that is no jogging.
                at_s += chance.between(300.0, 600.0);
            }
        }
        Stratum::Rocking => faults.push(plain(Kind::Rocking, 0.0, chance.between(0.1, 1.0))),
        Stratum::Sags => {
            for _ in 0..10 {
                let from_s = chance.between(60.0, SHIFT_S - 10.0);
                let until_s = Some(from_s + chance.between(0.06, 0.8));
                faults.push(Fault { until_s, ..plain(Kind::PowerDip, from_s, chance.between(0.05, 0.3)) });
            }
            let from_s = chance.between(60.0, SHIFT_S - 10.0);
            let until_s = Some(from_s + 0.2);
            faults.push(Fault { until_s, ..plain(Kind::PowerDip, from_s, chance.between(0.55, 0.9)) });
        }
        Stratum::VariableSpeed => {
            leg.drive.starter = Starter::Variable { ramp_pct_per_s: 12.0, minimum_pct: 40.0, torque_limit_pct: 150.0 };
            routine.feed_max_pct = 50.0;
            routine.feed_min_pct = 10.0;
            let mut at_s = chance.between(60.0, 200.0);
            while at_s < SHIFT_S - 10.0 {
                timeline.push(act(at_s, None, None, Some(chance.between(55.0, 100.0))));
                at_s += chance.between(60.0, 240.0);
            }
        }
        Stratum::FewDropouts | Stratum::SomeDropouts => {
            let few = stratum == Stratum::FewDropouts;
            let severity = if few { chance.between(0.0001, 0.001) } else { chance.between(0.0011, 0.01) };
            let shaft = Some(if chance.happens(0.5) { End::Head } else { End::Boot });
            faults.push(Fault { shaft, ..plain(Kind::SensorDropout, 0.0, severity) });
        }
    }
    let commissioned = Commissioned::measure(&leg);
    let off = if stratum == Stratum::Geometry { 0.02 } else { 0.005 };
    let settings = told(&drawing_like(&drawing, &leg), &leg, &commissioned, off, &mut chance)?;
    let scenario = Scenario {
        name: format!("healthy {index}"),
        description: String::new(),
        leg,
        duration_s: SHIFT_S,
        seed: seed.wrapping_add(index as u64),
        step_us: 2_000,
        obey_permits: None,
        feeder_wired: true,
        timeline,
        routine: own_routine.then_some(routine),
        faults,
        label: Label { wrong: String::new(), from_s: None, stop: false },
    };
    Ok((stratum, Drawn { scenario, commissioned, settings, leg: number }))
}

/// The drawing of a leg as the monitor knows it: with the starter that is really fitted.
pub fn drawing_like(drawing: &Leg, leg: &Leg) -> Leg {
    let mut like = drawing.clone();
    like.drive.starter = leg.drive.starter;
    like
}
