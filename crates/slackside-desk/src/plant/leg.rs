//! What a leg is: the figures a scenario may give, and the rules they must keep.

use core::f64::consts::PI;

use serde::Deserialize;

use super::crown::steering_per_metre;
use super::discharge::GRAVITY;
use super::dust::Dust;
use super::friction::Friction;
use super::motor::Nameplate;
use super::pit::Pit;
use super::ripple::Ripple;
use super::starter::Starter;
use super::takeup::Takeup;

const fn half() -> f64 {
    0.5
}

const fn ten() -> f64 {
    10.0
}

/// A pulley.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pulley {
    /// Diameter without lagging in mm.
    pub bare_diameter_mm: f64,
    /// Thickness of the lagging in mm; 0 if bare.
    pub lagging_mm: f64,
    /// Width of the face in mm.
    pub face_mm: f64,
    /// Crown in mm, as difference in diameter.
    pub crown_mm: f64,
    /// Moment of inertia in kg m^2, with its shaft.
    pub inertia_kg_m2: f64,
    /// Friction between belt and pulley.
    pub friction: f64,
    /// Coulomb torque of its bearings in N m.
    pub bearing_n_m: f64,
    /// How far the face is out of round, as its largest less its mean radius in mm: lagging worn on one side, a bent shaft.
    #[serde(default)]
    pub runout_mm: f64,
}

/// The belt with its buckets.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Belt {
    /// Width in mm.
    pub width_mm: f64,
    /// Thickness in mm.
    pub thickness_mm: f64,
    /// Mass in kg for each metre, buckets and bolts with it.
    pub mass_kg_per_m: f64,
    /// Stiffness `E A` in kN: the pull that would double its length.
    pub stiffness_kn: f64,
    /// Damping of a strand, of critical.
    pub damping: f64,
    /// Resistance in N to being bent round both pulleys and dragged through the casing.
    pub bending_n: f64,
    /// What full buckets carry, in kg for each metre.
    pub buckets_kg_per_m: f64,
}

/// Motor, reducer and what lies between.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Drive {
    /// The motor.
    pub motor: Nameplate,
    /// How it is started.
    pub starter: Starter,
    /// Motor turns for each head turn.
    pub reduction: f64,
    /// Efficiency of reducer and drive belt.
    pub efficiency: f64,
    /// Moment of inertia in kg m^2 at the motor shaft: rotor, coupling, reducer.
    pub inertia_kg_m2: f64,
    /// Whether a backstop is fitted.
    pub backstop: bool,
    /// Share of the losses at rated torque that is there without load too, motor off or on: churned oil, seals.
    #[serde(default = "half")]
    pub idle_share: f64,
    /// Trip class of the motor's overload relay: the longest time in s at 7.2 times rated current.
    #[serde(default = "ten")]
    pub overload_class: f64,
}

/// Where the belt may run.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lateral {
    /// Side clearance in mm.
    pub clearance_mm: f64,
    /// Side force in kN for each radian the casing holds the belt back.
    pub stiffness_kn_per_rad: f64,
    /// Standard deviation of the wandering of the belt's path in mm for each metre.
    pub wander_mm_per_m: f64,
    /// Correlation time of it in s.
    pub wander_time_s: f64,
    /// Friction of the belt's edge on the casing.
    pub rub_friction: f64,
}

/// What may get hot.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Heat {
    /// Heat capacity in kJ/K of the part of rim and lagging that takes part.
    pub head_kj_per_k: f64,
    /// Heat in kJ beyond which the leg must stop.
    pub budget_kj: f64,
    /// Time constant in s with which it goes away.
    pub time_constant_s: f64,
    /// Heat capacity in kJ/K of a rub point.
    pub rub_kj_per_k: f64,
    /// Loss in W/K of a rub point.
    pub rub_w_per_k: f64,
    /// Surrounding air in degrees Celsius.
    pub ambient_c: f64,
    /// The dust in the casing: says how hot a surface may get.
    #[serde(default)]
    pub dust: Dust,
}

/// The targets on a shaft and what reads them.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Targets {
    /// Targets a turn.
    pub count: u8,
    /// Largest error of a target's place, in per cent of a pitch.
    pub spacing_error_pct: f64,
    /// Share of a pitch for which a target is seen, in per cent.
    pub width_pct: f64,
    /// Runout of the disc: how much the width changes round the turn, in per cent of itself.
    pub runout_pct: f64,
    /// Standard deviation of an edge's time in microseconds.
    pub jitter_us: f64,
    /// Whether the line is supervised, so that a cut or a short is seen as such.
    pub supervised: bool,
}

/// What is fitted.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fitted {
    /// On the head shaft.
    pub head: Option<Targets>,
    /// On the boot shaft.
    pub boot: Targets,
    /// Rub contacts at all four places.
    pub rub_contacts: bool,
    /// Temperature sensors at all four rub points.
    pub temperatures: bool,
    /// A power meter.
    pub power_meter: bool,
    /// A switch in the outlet.
    pub outlet_switch: bool,
}

/// A leg.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Leg {
    /// Its name.
    pub name: String,
    /// Height in m that the load is lifted; the distance between the shafts.
    pub lift_m: f64,
    /// Design flow in t/h.
    pub capacity_t_per_h: f64,
    /// Wrap of the belt round the head pulley in degrees.
    pub wrap_deg: f64,
    /// Head pulley.
    pub head: Pulley,
    /// Boot pulley.
    pub boot: Pulley,
    /// Belt and buckets.
    pub belt: Belt,
    /// Drive.
    pub drive: Drive,
    /// Take-up.
    pub takeup: Takeup,
    /// Boot.
    pub pit: Pit,
    /// Sideways.
    pub lateral: Lateral,
    /// Heat.
    pub heat: Heat,
    /// Periodic drags.
    #[serde(default)]
    pub ripple: Vec<Ripple>,
    /// Friction between belt and head: the scenario names the set.
    #[serde(skip)]
    pub grip: Friction,
    /// Sensors.
    pub fitted: Fitted,
}

/// A figure that no leg can have.
#[derive(Clone, Debug, PartialEq)]
pub struct BadFigure {
    /// Path of the field, joined by dots.
    pub field: String,
    /// What it is.
    pub value: f64,
    /// What was expected.
    pub expected: &'static str,
    /// How to mend it.
    pub mend: &'static str,
}

impl Leg {
    /// Effective radius of the head pulley in m: to the middle of the belt.
    #[must_use]
    pub fn head_radius(&self) -> f64 {
        effective_radius(&self.head, &self.belt)
    }

    /// Effective radius of the boot pulley in m.
    #[must_use]
    pub fn boot_radius(&self) -> f64 {
        effective_radius(&self.boot, &self.belt)
    }

    /// Length of the belt loop in m.
    #[must_use]
    pub fn loop_length(&self) -> f64 {
        2.0 * self.lift_m + PI * (self.head_radius() + self.boot_radius())
    }

    /// Belt speed in m/s with the motor at rated speed.
    #[must_use]
    pub fn rated_belt_speed(&self) -> f64 {
        self.drive.motor.rated_rpm / self.drive.reduction / 60.0 * 2.0 * PI * self.head_radius()
    }

    /// Design flow in kg/s.
    #[must_use]
    pub fn capacity_kg_per_s(&self) -> f64 {
        self.capacity_t_per_h / 3.6
    }

    /// Weight of one empty strand in N.
    #[must_use]
    pub fn strand_weight(&self) -> f64 {
        self.belt.mass_kg_per_m * self.lift_m * GRAVITY
    }

    /// Stiffness of one strand in N/m.
    #[must_use]
    pub fn strand_stiffness(&self) -> f64 {
        self.belt.stiffness_kn * 1_000.0 / self.lift_m
    }

    /// Crown steering of a pulley in 1/m.
    #[must_use]
    pub fn crown_steering(&self, pulley: &Pulley, radius: f64) -> f64 {
        steering_per_metre(pulley.crown_mm / 1_000.0, pulley.face_mm / 1_000.0, radius, self.belt.width_mm / 1_000.0)
    }

    /// Every figure outside what a leg can have.
    #[must_use]
    #[expect(clippy::too_many_lines, reason = "a table: every figure with its range, in the order of the file")]
    pub fn faults(&self) -> Vec<BadFigure> {
        let mut rules = Rules { bad: Vec::new() };
        let above = "a number above 0";
        let give = "give the true figure, in the unit the name ends with";
        for (field, value) in [
            ("lift_m", self.lift_m),
            ("capacity_t_per_h", self.capacity_t_per_h),
            ("belt.width_mm", self.belt.width_mm),
            ("belt.thickness_mm", self.belt.thickness_mm),
            ("belt.mass_kg_per_m", self.belt.mass_kg_per_m),
            ("belt.stiffness_kn", self.belt.stiffness_kn),
            ("belt.buckets_kg_per_m", self.belt.buckets_kg_per_m),
            ("drive.motor.power_kw", self.drive.motor.power_kw),
            ("drive.motor.synchronous_rpm", self.drive.motor.synchronous_rpm),
            ("drive.reduction", self.drive.reduction),
            ("drive.inertia_kg_m2", self.drive.inertia_kg_m2),
            ("pit.free_kg", self.pit.free_kg),
            ("pit.fill_time_s", self.pit.fill_time_s),
            ("lateral.clearance_mm", self.lateral.clearance_mm),
            ("lateral.wander_time_s", self.lateral.wander_time_s),
            ("heat.head_kj_per_k", self.heat.head_kj_per_k),
            ("heat.budget_kj", self.heat.budget_kj),
            ("heat.time_constant_s", self.heat.time_constant_s),
            ("heat.rub_kj_per_k", self.heat.rub_kj_per_k),
            ("heat.rub_w_per_k", self.heat.rub_w_per_k),
            ("drive.overload_class", self.drive.overload_class),
        ] {
            rules.hold(field, value, value > 0.0, above, give);
        }
        let least = "a number of 0 or more";
        for (field, value) in [
            ("belt.damping", self.belt.damping),
            ("belt.bending_n", self.belt.bending_n),
            ("takeup.tension_n", self.takeup.tension_n),
            ("takeup.guide_friction", self.takeup.guide_friction),
            ("pit.choke_drag_n", self.pit.choke_drag_n),
            ("pit.digging_height_m", self.pit.digging_height_m),
            ("lateral.stiffness_kn_per_rad", self.lateral.stiffness_kn_per_rad),
            ("lateral.wander_mm_per_m", self.lateral.wander_mm_per_m),
            ("lateral.rub_friction", self.lateral.rub_friction),
        ] {
            rules.hold(field, value, value >= 0.0, least, give);
        }
        for (end, pulley) in [("head", &self.head), ("boot", &self.boot)] {
            for (name, value) in [
                ("bare_diameter_mm", pulley.bare_diameter_mm),
                ("face_mm", pulley.face_mm),
                ("inertia_kg_m2", pulley.inertia_kg_m2),
                ("friction", pulley.friction),
            ] {
                rules.hold(&format!("{end}.{name}"), value, value > 0.0, above, give);
            }
            for (name, value) in
                [("lagging_mm", pulley.lagging_mm), ("crown_mm", pulley.crown_mm), ("bearing_n_m", pulley.bearing_n_m)]
            {
                rules.hold(&format!("{end}.{name}"), value, value >= 0.0, least, give);
            }
            rules.hold(
                &format!("{end}.runout_mm"),
                pulley.runout_mm,
                (0.0..=0.05 * pulley.bare_diameter_mm).contains(&pulley.runout_mm),
                "0 to a twentieth of the diameter",
                "radial runout of the face, a millimetre or less on a sound pulley",
            );
        }
        for (i, ripple) in self.ripple.iter().enumerate() {
            rules.hold(&format!("ripple.{i}.period"), ripple.period, ripple.period > 0.0, above, give);
            rules.hold(&format!("ripple.{i}.drag_n"), ripple.drag_n, ripple.drag_n >= 0.0, least, give);
        }
        let share = self.drive.idle_share;
        rules.hold("drive.idle_share", share, (0.0..=1.0).contains(&share), "0 to 1", "half is usual: 0.5");
        let motor = &self.drive.motor;
        rules.hold(
            "drive.motor.rated_rpm",
            motor.rated_rpm,
            motor.rated_rpm > 0.0 && motor.rated_rpm < motor.synchronous_rpm,
            "a speed below synchronous_rpm",
            "an induction motor slips: a 4-pole motor on 50 Hz has some 1,440 to 1,480 rpm",
        );
        rules.hold(
            "drive.motor.breakdown_ratio",
            motor.breakdown_ratio,
            motor.breakdown_ratio > 1.0,
            "a number above 1",
            "breakdown torque over rated torque, usually 2 to 3",
        );
        if let Some(locked) = motor.locked_ratio {
            rules.hold(
                "drive.motor.locked_ratio",
                locked,
                locked > 0.0 && locked <= motor.breakdown_ratio,
                "above 0 and no more than breakdown_ratio",
                "locked-rotor torque over rated torque, usually 1 to 2.5",
            );
        }
        rules.hold(
            "drive.efficiency",
            self.drive.efficiency,
            self.drive.efficiency > 0.0 && self.drive.efficiency <= 1.0,
            "above 0 and no more than 1",
            "a share, not per cent: 0.94",
        );
        rules.hold(
            "wrap_deg",
            self.wrap_deg,
            (90.0..=270.0).contains(&self.wrap_deg),
            "90 to 270 degrees",
            "a plain head pulley has 180",
        );
        rules.hold(
            "pit.full_kg",
            self.pit.full_kg,
            self.pit.full_kg > self.pit.free_kg,
            "more than free_kg",
            "the grain at which the boot is choked",
        );
        match self.drive.starter {
            Starter::Direct => {}
            Starter::Soft { initial_pct, ramp_s } => {
                let sound = initial_pct > 0.0 && initial_pct <= 100.0;
                rules.hold("drive.starter.initial_pct", initial_pct, sound, "above 0 and no more than 100", give);
                rules.hold("drive.starter.ramp_s", ramp_s, ramp_s > 0.0, above, give);
            }
            Starter::Variable { ramp_pct_per_s, minimum_pct, torque_limit_pct } => {
                rules.hold("drive.starter.ramp_pct_per_s", ramp_pct_per_s, ramp_pct_per_s > 0.0, above, give);
                let sound = (0.0..=100.0).contains(&minimum_pct);
                rules.hold("drive.starter.minimum_pct", minimum_pct, sound, "0 to 100", give);
                rules.hold("drive.starter.torque_limit_pct", torque_limit_pct, torque_limit_pct > 0.0, above, give);
            }
        }
        for (end, targets) in [("head", self.fitted.head.as_ref()), ("boot", Some(&self.fitted.boot))] {
            let Some(targets) = targets else { continue };
            let count = f64::from(targets.count);
            let field = |name| format!("fitted.{end}.{name}");
            rules.hold(&field("count"), count, (1.0..=32.0).contains(&count), "1 to 32", "targets a turn");
            let (width, spread) = (targets.width_pct, targets.spacing_error_pct);
            rules.hold(&field("width_pct"), width, (5.0..=95.0).contains(&width), "5 to 95", "half a pitch is 50");
            rules.hold(&field("spacing_error_pct"), spread, (0.0..=10.0).contains(&spread), "0 to 10", give);
            rules.hold(
                &field("runout_pct"),
                targets.runout_pct,
                (0.0..=50.0).contains(&targets.runout_pct),
                "0 to 50",
                give,
            );
            rules.hold(
                &field("jitter_us"),
                targets.jitter_us,
                (0.0..=500.0).contains(&targets.jitter_us),
                "0 to 500",
                give,
            );
        }
        rules.bad
    }
}

struct Rules {
    bad: Vec<BadFigure>,
}

impl Rules {
    fn hold(&mut self, field: &str, value: f64, sound: bool, expected: &'static str, mend: &'static str) {
        if !sound || !value.is_finite() {
            self.bad.push(BadFigure { field: field.to_owned(), value, expected, mend });
        }
    }
}

fn effective_radius(pulley: &Pulley, belt: &Belt) -> f64 {
    (0.5 * pulley.bare_diameter_mm + pulley.lagging_mm + 0.5 * belt.thickness_mm) / 1_000.0
}
