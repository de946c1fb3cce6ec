//! Legs as they are, drawn at random: no two alike, none as its drawing says, and every day another.

use slackside::conditions::Condition;
use slackside::settings::Checked;
use slackside::units::Span;

use super::super::legs;
use super::super::settings::{Commissioned, settings_for};
use super::super::{Label, Scenario};
use super::sound;
use super::strata::{SHIFT_S, Shift, Stratum};
use crate::plant::chance::Chance;
use crate::plant::friction::{SETS, built_in};
use crate::plant::leg::Leg;

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
    /// How many legs were drawn before it that the monitor refused.
    pub refused: u64,
}

/// How many legs that the monitor refuses may be drawn one after another.
const MOST_REFUSED: u64 = 5;

/// What parts the chance of one try from that of the next.
const NEXT_TRY: u64 = 100_000_000;

/// Draw legs until the monitor takes the settings of one. A drawn leg may slip so much when sound that its true speeds contradict each
/// other: nobody could put such a leg to work, and it would be mended first. `draw` is told how many were refused and what to add to the
/// number of its chance.
pub fn until_taken(draw: impl Fn(u64, u64) -> crate::error::Result<Drawn>) -> crate::error::Result<Drawn> {
    let mut refused = 0;
    loop {
        match draw(refused, refused * NEXT_TRY) {
            Err(_) if refused < MOST_REFUSED => refused += 1,
            drawn => return drawn,
        }
    }
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

/// How hard the guides of a gravity take-up hold it back: a draw of its own.
pub fn guides(leg: &mut Leg, mut chance: Chance) {
    leg.takeup.guide_friction = chance.between(0.02, 0.15);
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

/// For how long each built-in leg runs between two rests, in s, on the mean.
const RUN_S: [f64; legs::NAMES.len()] = [900.0, 900.0, 1_200.0, 1_800.0, 3_000.0];

/// Shifts of one kind.
#[derive(Clone, Copy, Debug)]
pub struct Shifts {
    /// What they are called on the command line and the page.
    pub name: &'static str,
    /// What they are about, in turn.
    pub strata: &'static [Stratum],
    /// Where the chance of the shifts begins, and that of the guides.
    streams: [u64; 2],
}

/// Shifts of sound legs.
pub const HEALTHY: Shifts = Shifts { name: "healthy", strata: &Stratum::ALL, streams: [1_000, 2_000_000] };

/// Shifts of legs on which nothing is broken and that cannot lift what comes.
pub const STRAINED: Shifts = Shifts { name: "strained", strata: &Stratum::STRAINED, streams: [4_000_000, 5_000_000] };

impl Shifts {
    /// Shift number `index` of a seed: strata and legs in turn, all else by chance.
    ///
    /// # Errors
    /// The monitor refuses the settings of many legs one after another.
    pub fn draw(&self, seed: u64, index: usize) -> crate::error::Result<(Stratum, Drawn)> {
        let stratum = self.strata[index % self.strata.len()];
        let number = (index / self.strata.len()) % legs::NAMES.len();
        let drawing = legs::leg(legs::NAMES[number]).unwrap_or_else(|| unreachable!("a built-in leg"));
        let mut drawn = until_taken(|refused, stream| {
            let chances = self.streams.map(|begin| Chance::new(seed, begin + index as u64 + stream));
            shift(seed.wrapping_add(index as u64), chances, (stratum, number, &drawing), refused)
        })?;
        drawn.scenario.name = format!("{} {index}", self.name);
        Ok((stratum, drawn))
    }
}

/// Healthy shift number `index` of a seed.
///
/// # Errors
/// As [`Shifts::draw`].
pub fn healthy(seed: u64, index: usize) -> crate::error::Result<(Stratum, Drawn)> {
    HEALTHY.draw(seed, index)
}

/// One try at a shift. `seed`: of its run.
fn shift(
    seed: u64,
    [mut chance, of_guides]: [Chance; 2],
    (stratum, number, drawing): (Stratum, usize, &Leg),
    refused: u64,
) -> crate::error::Result<Drawn> {
    let mut shift = Shift::draw(vary(drawing, &mut chance), RUN_S[number], &mut chance);
    shift.befall(stratum, &mut chance);
    let Shift { mut leg, routine, timeline, faults } = shift;
    guides(&mut leg, of_guides);
    let commissioned = Commissioned::measure(&leg);
    let off = if stratum == Stratum::Geometry { 0.02 } else { 0.005 };
    let settings = told(&drawing_like(drawing, &leg), &leg, &commissioned, off, &mut chance)?;
    let scenario = Scenario {
        name: String::new(),
        description: String::new(),
        leg,
        duration_s: SHIFT_S,
        seed,
        step_us: 2_000,
        obey_permits: None,
        feeder_wired: true,
        timeline,
        routine,
        faults,
        label: Label { wrong: String::new(), from_s: None, stop: false },
    };
    Ok(Drawn { scenario, commissioned, settings, leg: number, refused })
}

/// The drawing of a leg as the monitor knows it: with the starter that is really fitted.
pub fn drawing_like(drawing: &Leg, leg: &Leg) -> Leg {
    let mut like = drawing.clone();
    like.drive.starter = leg.drive.starter;
    like
}
