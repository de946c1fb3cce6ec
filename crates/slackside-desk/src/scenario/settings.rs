//! The monitor's settings for a leg of the simulator: its machine as commissioned, all limits at their starting values.

use slackside::input::Place;
use slackside::settings::{
    AcceptedRatio, Belt, Conditioning, CountedEdges, Limits, Machine, Pulley, Settings, Spacing, SpeedReference,
    Strand, Targets,
};
use slackside::units::{Joules, Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span, Watts};

use crate::plant::leg::{self, Leg};
use crate::plant::starter::Starter;
use crate::plant::upset::Upset;
use crate::plant::{Controls, Plant};

/// What is measured on the sound leg before it is handed over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Commissioned {
    /// Head shaft speed at design flow, in turns a second.
    pub head: f64,
    /// Boot shaft speed at design flow, in turns a second.
    pub boot: f64,
    /// Belt speed at design flow in m/s.
    pub belt: f64,
    /// Head shaft speed unloaded, in turns a second.
    pub idle_head: f64,
    /// Boot turns for each head turn, unloaded.
    pub idle_ratio: f64,
}

impl Commissioned {
    /// Run the sound leg empty, then at design flow, and measure. If it cannot lift that, nameplate speed is taken.
    #[must_use]
    pub fn measure(leg: &Leg) -> Self {
        let mut still = leg.clone();
        still.lateral.wander_mm_per_m = 0.0;
        let mut plant = Plant::new(&still, 4_000, 0);
        plant.upset = Upset::NONE;
        let dt = f64::from(plant.step_us()) * 1e-6;
        let mut run = |seconds: f64, measured: f64, feed: f64| {
            let controls = Controls { closed: true, feed_kg_per_s: feed, reference: 1.0 };
            let (all, last) = ((seconds / dt) as u32, (measured / dt) as u32);
            let mut sums = [0.0; 3];
            for step in 0..all {
                let turning = plant.step(&controls);
                if step >= all - last {
                    sums[0] += 0.5 * (turning.head[0] + turning.head[1]);
                    sums[1] += 0.5 * (turning.boot[0] + turning.boot[1]);
                    sums[2] += plant.belt_speed();
                }
            }
            sums.map(|sum| sum / f64::from(last))
        };
        let idle = run(40.0, 10.0, 0.0);
        let full = run(30.0 + 2.0 * leg.lift_m / leg.rated_belt_speed(), 20.0, leg.capacity_kg_per_s());
        let rated = leg.rated_belt_speed();
        if full[2] < 0.5 * rated || idle[0] <= 0.0 {
            let turns = |radius: f64| rated / (2.0 * core::f64::consts::PI * radius);
            let (head, boot) = (turns(leg.head_radius()), turns(leg.boot_radius()));
            return Self {
                head,
                boot,
                belt: rated,
                idle_head: head,
                idle_ratio: leg.head_radius() / leg.boot_radius(),
            };
        }
        Self { head: full[0], boot: full[1], belt: full[2], idle_head: idle[0], idle_ratio: idle[1] / idle[0] }
    }
}

/// The settings.
#[must_use]
pub fn settings_for(leg: &Leg, commissioned: &Commissioned) -> Settings {
    let micrometres = |mm: f64| Micrometres::new((mm * 1_000.0).round() as i64);
    let pulley = |pulley: &leg::Pulley| Pulley {
        bare_diameter: micrometres(pulley.bare_diameter_mm),
        lagging: micrometres(pulley.lagging_mm),
        face: micrometres(pulley.face_mm),
        crown: micrometres(pulley.crown_mm),
    };
    // A pitch carries the errors of two targets, and what runout does to the width of each; never less than the usual 2 %.
    let tolerance =
        |targets: &leg::Targets| 2.0 * targets.spacing_error_pct + targets.width_pct / 100.0 * targets.runout_pct;
    let targets = |targets: &leg::Targets| Targets {
        count: targets.count,
        edges: CountedEdges::Rising,
        spacing: Spacing::Even { tolerance: Ppm::new(20_000.max((tolerance(targets) * 10_000.0) as i32).min(100_000)) },
        supervised: targets.supervised,
    };
    let turns = |speed: f64| MicroturnsPerSecond::new((speed * 1e6).round() as u32);
    let mut name = heapless::String::new();
    // A name that is too long is cut at 32 bytes: it only tells boxes apart.
    let _ = leg.name.chars().try_for_each(|letter| name.push(letter));
    let fitted = &leg.fitted;
    let mut limits = Limits::STARTING;
    // The budget stands for the rim and lagging of this leg; all else keeps its starting value.
    limits.slip_heat.budget = Joules::new((leg.heat.budget_kj * 1_000.0) as u32);
    limits.slip_heat.time_constant = Span::from_millis((leg.heat.time_constant_s * 1_000.0) as u32);
    Settings {
        machine: Machine {
            leg: name,
            head_pulley: pulley(&leg.head),
            boot_pulley: pulley(&leg.boot),
            belt: Belt {
                thickness: micrometres(leg.belt.thickness_mm),
                width: micrometres(leg.belt.width_mm),
                loop_length: micrometres(leg.loop_length() * 1_000.0),
            },
            head_targets: fitted.head.as_ref().map(targets),
            boot_targets: Some(targets(&fitted.boot)),
            normal_head: turns(commissioned.head),
            normal_boot: turns(commissioned.boot),
            // People may not have measured it.
            unloaded_head: None,
            drive_contact: true,
            power_meter: fitted.power_meter,
            speed_reference: match leg.drive.starter {
                Starter::Variable { ramp_pct_per_s, minimum_pct, .. } => Some(SpeedReference {
                    minimum: Ppm::new((minimum_pct * 10_000.0) as i32),
                    ramp_per_second: Ppm::new((ramp_pct_per_s * 10_000.0) as i32),
                }),
                _ => None,
            },
            outlet_switch: fitted.outlet_switch,
            contacts: [fitted.rub_contacts.then_some(Strand::Up); Place::COUNT],
            temperatures: [fitted.temperatures; Place::COUNT],
            rated_power: Watts::new((leg.drive.motor.power_kw * 1_000.0) as u32),
            service_factor: Ppm::ONE,
            accepted_ratio: Some(AcceptedRatio {
                ratio: Ratio::new((commissioned.idle_ratio * 1e6).round() as u32),
                spread: Ppm::new(1_000),
            }),
            conditioning: Conditioning { minimum_width: Span::new(200), ..Conditioning::STARTING },
        },
        limits,
    }
}
