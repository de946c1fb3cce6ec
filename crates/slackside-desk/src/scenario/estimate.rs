//! A plant for an engineer's own leg: what the settings hold is taken from them, what they do not hold is guessed by stated rules.
//!
//! The guesses begin with a built-in leg of middling size and are scaled: by the power, by the pulleys, by the belt. They are good
//! enough to see what a fault looks like on a leg of this kind, not to say what this leg would do.
//!
//! The take-up is guessed from mechanics, so that a sound leg runs its full load without sliding on either pulley: what friction
//! holds by Euler and Eytelwein (see [`wrap`](crate::plant::wrap)), with a margin, at the head under the full pull, and at the boot
//! where digging and the load on the belt have taken from the strand that comes down; and so that it bears the largest
//! [slug] that a leg is to lift.

use core::f64::consts::PI;

use crate::error::{Context as _, bail};
use slackside::settings::{Machine, Spacing};

use super::Scenario;
use super::fault::{self, full_pull};
use super::legs;
use super::settings::Commissioned;
use crate::plant::discharge::GRAVITY;
use crate::plant::leg::{Leg, Pulley, Targets};
use crate::plant::slug;
use crate::plant::starter::Starter;
use crate::plant::takeup::Kind;
use crate::plant::wrap::wrap_factor;
use crate::settings::Loaded;

/// The leg whose figures are scaled.
const LIKE: &str = "millbrook-leg-3";
/// The share of the motor's rated power that design flow is taken to need.
const LOADED: f64 = 0.6;
/// How much more than design flow takes the belt is taken to grip with, at head and boot: engineering judgement. With it the rule
/// gives the built-in legs the tension that they have.
const GRIP: f64 = 2.5;
/// The least tension in N that a take-up is taken to give: that of the smallest built-in leg.
const LEAST_TENSION_N: f64 = 300.0;
/// Above this lift in m a leg is taken to have a gravity take-up, since screws would have to be tightened after every warm day
/// (common practice, no source; legs of this height are built with either).
const TALL_M: f64 = 35.0;
/// Synchronous speed in rpm of a four-pole motor on 60 Hz.
const ON_60_HZ: f64 = 1_800.0;
/// Friction of lagging and of bare steel: CEMA's values for dry pulleys.
const FRICTION: [f64; 2] = [0.35, 0.25];
/// How full the buckets run at design flow.
const FILL: f64 = 0.8;
/// By how much the heat budget is taken to warm rim and lagging, in K: as the starting value of the budget does.
const RISE_K: f64 = 40.0;

/// One thing that was guessed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Guess {
    /// The figure, as a scenario's leg names it; or a fault whose force is another on this leg.
    pub field: &'static str,
    /// What it was taken to be.
    pub value: String,
    /// By which rule.
    pub rule: &'static str,
}

/// A plant that stands for a leg.
#[derive(Clone, Debug)]
pub struct Estimated {
    /// The plant.
    pub leg: Leg,
    /// Everything in it that the settings do not hold.
    pub guesses: Vec<Guess>,
}

#[derive(Default)]
struct Guesses(Vec<Guess>);

impl Guesses {
    /// Take a guess down, and give it back.
    fn take(&mut self, field: &'static str, value: f64, rule: &'static str) -> f64 {
        self.0.push(Guess { field, value: figures(value), rule });
        value
    }
}

/// Four figures are more than a guess is worth.
fn figures(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let places = (3.0 - libm::floor(libm::log10(value.abs()))).clamp(0.0, 6.0) as usize;
    let text = format!("{value:.places$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// Put the leg of these settings in place of the scenario's own, and say what was guessed.
///
/// The friction set stays that of the scenario. A force that stands in the scenario in newtons was chosen for its own leg: it grows
/// and shrinks with the pull that a full leg takes, for what holds a small belt fast is a trifle to a large one.
///
/// # Errors
/// As [`plant_of`].
pub fn stand_on(scenario: &mut Scenario, settings: &Loaded) -> crate::error::Result<Vec<Guess>> {
    let Estimated { mut leg, guesses } = plant_of(settings)?;
    let mut guesses = Guesses(guesses);
    leg.grip = scenario.leg.grip.clone();
    let pull = full_pull(&leg) / full_pull(&scenario.leg);
    let torque = pull * leg.boot_radius() / scenario.leg.boot_radius();
    for fault in &mut scenario.faults {
        let (share, name, rule) = match fault.kind {
            fault::Kind::BeltCaught => (pull, "belt_caught", "times its force: with the pull of a full leg"),
            fault::Kind::BootPulleyDragging => {
                (torque, "boot_pulley_dragging", "times its torque: with the pull of a full leg and the boot's radius")
            }
            _ => continue,
        };
        fault.force = guesses.take(name, share, rule);
    }
    leg.ripple.clone_from(&scenario.leg.ripple);
    for ripple in &mut leg.ripple {
        ripple.drag_n *= pull;
    }
    scenario.leg = leg;
    Ok(guesses.0)
}

/// The plant of a leg of these settings.
///
/// # Errors
/// The leg has no boot sensor, or its figures give a plant that cannot be.
pub fn plant_of(settings: &Loaded) -> crate::error::Result<Estimated> {
    let Loaded { checked: settings, feet, .. } = settings;
    let machine = &settings.machine;
    let mut leg = legs::leg(LIKE).with_context(|| format!("no leg {LIKE}"))?;
    let mut guesses = Guesses::default();
    leg.name = machine.leg.to_string();
    sizes(&mut leg, machine);
    pulley(&mut leg.head, machine.head_pulley.lagging.get() > 0, "head.friction", "head.inertia_kg_m2", &mut guesses);
    pulley(&mut leg.boot, machine.boot_pulley.lagging.get() > 0, "boot.friction", "boot.inertia_kg_m2", &mut guesses);
    drive(&mut leg, machine, *feet, &mut guesses);
    belt(&mut leg, &mut guesses);
    boot(&mut leg, &mut guesses);
    takeup(&mut leg, &mut guesses);
    leg.heat.budget_kj = f64::from(settings.limits.slip_heat.budget.get()) / 1e3;
    leg.heat.time_constant_s = f64::from(settings.limits.slip_heat.time_constant.get()) / 1e6;
    leg.heat.head_kj_per_k =
        guesses.take("heat.head_kj_per_k", leg.heat.budget_kj / RISE_K, "the heat budget over 40 K");
    fitted(&mut leg, machine)?;
    if let Some(bad) = leg.faults().first() {
        bail!(
            "these settings give a plant that cannot be: {} is {}, expected {}",
            bad.field,
            figures(bad.value),
            bad.expected
        );
    }
    // The plant at design flow is to turn as fast as the settings say; the reduction that does it is found by trying.
    let wanted = f64::from(machine.normal_head.get()) / 1e6;
    let found = Commissioned::measure(&leg).head;
    if found > 0.0 && wanted > 0.0 {
        leg.drive.reduction *= found / wanted;
    }
    guesses.take("drive.reduction", leg.drive.reduction, "so that the head turns at its normal speed at design flow");
    guesses.0.push(Guess {
        field: "everything else",
        value: "as on Millbrook leg 3".to_owned(),
        rule: "efficiency, backstop, the motor's torque curve, damping, ripple, dust, what rubs, how targets are seen",
    });
    Ok(Estimated { leg, guesses: guesses.0 })
}

/// All lengths, from the settings.
fn sizes(leg: &mut Leg, machine: &Machine) {
    for (ours, theirs) in [(&mut leg.head, &machine.head_pulley), (&mut leg.boot, &machine.boot_pulley)] {
        ours.inertia_kg_m2 *= theirs.face.get() as f64 / 1e3 / ours.face_mm
            * libm::pow(theirs.bare_diameter.get() as f64 / 1e3 / ours.bare_diameter_mm, 3.0);
        ours.bare_diameter_mm = theirs.bare_diameter.get() as f64 / 1e3;
        ours.lagging_mm = theirs.lagging.get() as f64 / 1e3;
        ours.face_mm = theirs.face.get() as f64 / 1e3;
        ours.crown_mm = theirs.crown.get() as f64 / 1e3;
    }
    let thickness_mm = machine.belt.thickness.get() as f64 / 1e3;
    let section = machine.belt.width.get() as f64 / 1e3 * thickness_mm / (leg.belt.width_mm * leg.belt.thickness_mm);
    leg.belt.thickness_mm = thickness_mm;
    leg.belt.width_mm = machine.belt.width.get() as f64 / 1e3;
    leg.belt.mass_kg_per_m *= section;
    leg.belt.stiffness_kn *= section;
    leg.belt.bending_n *= section;
    let loop_m = machine.belt.loop_length.get() as f64 / 1e6;
    leg.lift_m = (loop_m - PI * (leg.head_radius() + leg.boot_radius())) / 2.0;
}

fn pulley(pulley: &mut Pulley, lagged: bool, friction: &'static str, inertia: &'static str, guesses: &mut Guesses) {
    let value = FRICTION[usize::from(!lagged)];
    pulley.friction = guesses.take(friction, value, "0.35 if lagged, 0.25 if bare (CEMA, dry)");
    guesses.take(inertia, pulley.inertia_kg_m2, "with the face and the cube of the diameter");
}

/// Motor and flow, from power and speed. Where people measure in feet and horsepower, mains have 60 Hz.
fn drive(leg: &mut Leg, machine: &Machine, feet: bool, guesses: &mut Guesses) {
    let power_kw = f64::from(machine.rated_power.get()) / 1e3;
    let stronger = power_kw / leg.drive.motor.power_kw;
    leg.drive.motor.power_kw = power_kw;
    leg.drive.inertia_kg_m2 =
        guesses.take("drive.inertia_kg_m2", leg.drive.inertia_kg_m2 * stronger, "with the rated power");
    let head_rpm = f64::from(machine.normal_head.get()) * 60.0 / 1e6;
    if feet {
        leg.drive.motor.rated_rpm *= ON_60_HZ / leg.drive.motor.synchronous_rpm;
        leg.drive.motor.synchronous_rpm = ON_60_HZ;
    }
    leg.drive.reduction = leg.drive.motor.rated_rpm / head_rpm;
    let mains = if feet {
        "a four-pole motor on 60 Hz: told in feet or hp"
    } else {
        "a four-pole motor on 50 Hz: told in metres"
    };
    guesses.take("drive.motor.rated_rpm", leg.drive.motor.rated_rpm, mains);
    for bearing in [&mut leg.head.bearing_n_m, &mut leg.boot.bearing_n_m] {
        *bearing *= stronger;
    }
    guesses.take("head.bearing_n_m", leg.head.bearing_n_m, "with the rated power; the boot's likewise");
    if let Some(reference) = machine.speed_reference {
        leg.drive.starter = Starter::Variable {
            ramp_pct_per_s: f64::from(reference.ramp_per_second.get()) / 1e4,
            minimum_pct: f64::from(reference.minimum.get()) / 1e4,
            torque_limit_pct: guesses.take("drive.starter.torque_limit_pct", 150.0, "a usual drive"),
        };
    } else {
        guesses.0.push(Guess {
            field: "drive.starter",
            value: "direct".to_owned(),
            rule: "no speed reference is wired: across the line",
        });
    }
    let lifted = leg.lift_m + leg.pit.digging_height_m;
    let flow = LOADED * power_kw * 1e3 / (GRAVITY * lifted);
    leg.capacity_t_per_h = guesses.take("capacity_t_per_h", flow * 3.6, "what 60 % of the rated power lifts");
}

/// What the belt holds.
fn belt(leg: &mut Leg, guesses: &mut Guesses) {
    let with_section = "with the belt's width and thickness";
    guesses.take("belt.mass_kg_per_m", leg.belt.mass_kg_per_m, with_section);
    guesses.take("belt.stiffness_kn", leg.belt.stiffness_kn, "with the belt's width and thickness; bending likewise");
    let carried = leg.capacity_kg_per_s() / leg.rated_belt_speed();
    leg.belt.buckets_kg_per_m = guesses.take("belt.buckets_kg_per_m", carried / FILL, "80 % full at design flow");
}

/// What gives the belt its tension.
fn takeup(leg: &mut Leg, guesses: &mut Guesses) {
    let (kind, name) = if leg.lift_m > TALL_M { (Kind::Gravity, "gravity") } else { (Kind::Screw, "screw") };
    leg.takeup.kind = kind;
    guesses.0.push(Guess {
        field: "takeup.kind",
        value: name.to_owned(),
        rule: "gravity above 35 m of lift, else screws",
    });
    leg.takeup.tension_n = guesses.take(
        "takeup.tension_n",
        takeup_tension(leg),
        "so that head and boot grip with 2.5 times what full load takes (Euler-Eytelwein), and the boot with 1.1 times what a slug of 180 % \
         for 5 s takes; 300 N at least",
    );
}

/// Tension in N of the take-up, by the rule.
fn takeup_tension(leg: &Leg) -> f64 {
    at_head(leg).max(at_boot(leg)).max(slug::MARGIN * slug::LARGEST.tension_n(leg)).max(LEAST_TENSION_N)
}

/// Tension in N at the boot with which the head carries the full load: the strand's own weight helps there.
fn at_head(leg: &Leg) -> f64 {
    GRIP * full_pull(leg) * wrap_factor(leg.head.friction, leg.wrap_deg.to_radians()) - leg.strand_weight()
}

/// Tension in N at the boot with which the belt turns its pulley at full load.
///
/// Digging and what is picked up take half their force off the strand that comes down: the other half comes from the one that goes
/// up. Screws hold the belt's length, so half of the load, which hangs in the lower half of the strand, is shared the same way; a
/// weight makes up for it. What is left has the bearing to turn, and speed takes its share (`m v^2`).
fn at_boot(leg: &Leg) -> f64 {
    let speed = leg.rated_belt_speed();
    let flow = leg.capacity_kg_per_s();
    let hanging_m = match leg.takeup.kind {
        Kind::Screw => 0.5 * leg.lift_m,
        Kind::Gravity => 0.0,
    };
    let shared = flow / speed * GRAVITY * (leg.pit.digging_height_m + hanging_m) + flow * speed;
    let bearing = leg.boot.bearing_n_m / leg.boot_radius() * wrap_factor(leg.boot.friction, PI);
    GRIP * (0.5 * shared + bearing) + leg.belt.mass_kg_per_m * speed * speed
}

/// The boot's room, and what stands at the sides.
fn boot(leg: &mut Leg, guesses: &mut Guesses) {
    let more = leg.capacity_t_per_h / 60.0;
    leg.pit.free_kg *= more;
    leg.pit.full_kg = guesses.take("pit.full_kg", leg.pit.full_kg * more, "with the design flow; free_kg likewise");
    leg.pit.choke_drag_n = guesses.take("pit.choke_drag_n", leg.pit.choke_drag_n * more, "with the design flow");
    guesses.take("lateral.clearance_mm", leg.lateral.clearance_mm, "as on Millbrook leg 3; all else sideways likewise");
}

/// The sensors, from the settings.
fn fitted(leg: &mut Leg, machine: &Machine) -> crate::error::Result<()> {
    let targets = |targets: slackside::settings::Targets, like: &Targets| Targets {
        count: targets.count,
        // The settings tell the widest error of a pitch, which has those of two targets in it; half of it is usual.
        spacing_error_pct: match targets.spacing {
            Spacing::Even { tolerance } => f64::from(tolerance.get()) / 1e4 / 4.0,
            Spacing::Uneven { .. } => like.spacing_error_pct,
        },
        supervised: targets.supervised,
        ..like.clone()
    };
    let like = leg.fitted.boot.clone();
    let Some(boot) = machine.boot_targets else {
        bail!("the settings fit no boot sensor, and the plant needs one: add [boot_targets]")
    };
    leg.fitted.boot = targets(boot, &like);
    leg.fitted.head = machine.head_targets.map(|head| targets(head, &like));
    leg.fitted.rub_contacts = machine.contacts.iter().any(Option::is_some);
    leg.fitted.temperatures = machine.temperatures.contains(&true);
    leg.fitted.power_meter = machine.power_meter;
    leg.fitted.outlet_switch = machine.outlet_switch;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::parse;

    #[test]
    fn every_leg_file_gives_a_plant_that_runs_at_its_own_speed() {
        for text in [
            include_str!("../../../../legs/millbrook-leg-1.toml"),
            include_str!("../../../../legs/millbrook-leg-3.toml"),
            include_str!("../../../../legs/terminal-leg-7.toml"),
        ] {
            let settings = parse(text, "leg").expect("sound");
            let Estimated { leg, guesses } = plant_of(&settings).expect("a plant");
            let settings = settings.checked;
            let commissioned = Commissioned::measure(&leg);
            let normal = f64::from(settings.machine.normal_head.get()) / 1e6;
            let apart = commissioned.head / normal - 1.0;
            assert!(apart.abs() < 0.01, "{}: {apart}", leg.name);
            let loop_m = settings.machine.belt.loop_length.get() as f64 / 1e6;
            assert!((leg.loop_length() - loop_m).abs() < 1e-6);
            assert!(guesses.len() >= 12 && guesses.iter().all(|guess| !guess.rule.is_empty()));
        }
    }

    #[test]
    fn the_rule_for_the_take_up_gives_the_built_in_legs_about_what_they_have() {
        for name in legs::NAMES {
            let leg = legs::leg(name).expect("built in");
            let share = takeup_tension(&leg) / leg.takeup.tension_n;
            assert!((0.7..1.3).contains(&share), "{name}: {share}");
        }
    }

    #[test]
    fn forces_of_a_scenario_grow_with_the_leg_and_its_friction_stays() {
        let text = include_str!("../../../../scenarios/caught-belt.toml")
            .replace("leg = \"millbrook-leg-1\"", "leg = \"millbrook-leg-1\"\nfriction = \"sudden\"");
        let read = || Scenario::parse(&text, "caught-belt.toml".as_ref()).expect("sound");
        let (before, mut moved) = (read(), read());
        let settings = parse(include_str!("../../../../legs/terminal-leg-7.toml"), "leg").expect("sound");
        let guesses = stand_on(&mut moved, &settings).expect("a plant");
        let pulls = full_pull(&moved.leg) / full_pull(&before.leg);
        assert!(pulls > 10.0 && (moved.faults[0].force - pulls).abs() < 1e-9, "{pulls}");
        assert_eq!(moved.leg.grip, before.leg.grip);
        assert!(guesses.iter().any(|guess| guess.field == "belt_caught"), "{guesses:?}");
        assert_eq!(moved.leg.takeup.kind, Kind::Gravity);
    }

    #[test]
    fn a_guess_is_written_with_four_figures() {
        assert_eq!(figures(20_000.0), "20000");
        assert_eq!(figures(0.123_456), "0.1235");
        assert_eq!(figures(18.64), "18.64");
    }
}
