//! Legs of every make: random settings that the core's own rules accept, with the targets as they really lie.

use slackside::conditions::{Action, Condition, Must, Priority};
use slackside::input::{Place, Shaft};
use slackside::settings::{
    AcceptedRatio, Belt, Checked, CountedEdges, Field, Limit, Limits, Pulley, Rule, Settings, Spacing, SpeedReference,
    Strand, Targets, Violation,
};
use slackside::units::{Joules, Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span, Watts};

use crate::random::Random;

/// A leg: what its box is told, and how its targets lie in truth.
#[derive(Clone, Debug)]
pub struct Make {
    /// The settings.
    pub settings: Checked,
    /// Whether the rules take it for a leg; else only for a bench: it has too few targets to stop in time.
    pub is_leg: bool,
    /// Level changes around the head shaft: where in the turn, and to what. Empty where there is no sensor.
    pub head: Vec<(f64, bool)>,
    /// The same around the boot shaft.
    pub boot: Vec<(f64, bool)>,
}

/// A random leg.
///
/// # Panics
/// If no settings are accepted after many tries: the generator then asks for what the rules forbid.
#[must_use]
pub fn make(random: &mut Random) -> Make {
    for _ in 0..200 {
        if let Some(make) = attempt(random) {
            return make;
        }
    }
    panic!("the generator of legs found no settings that are accepted");
}

fn attempt(random: &mut Random) -> Option<Make> {
    let mut settings = Settings::example();
    let fitted = random.whole(0, 9);
    let (with_head, both_shafts) = if fitted == 0 { (false, false) } else { (true, true) };
    geometry(random, &mut settings);
    let head = with_head.then(|| wheel(random));
    let boot = wheel(random);
    let machine = &mut settings.machine;
    machine.head_targets = head.as_ref().map(|wheel| wheel.targets);
    machine.boot_targets = Some(boot.targets);
    machine.drive_contact = !both_shafts || random.chance(0.8);
    signals(random, &mut settings);
    limits(random, &mut settings);
    conditioning(random, &mut settings);
    let (settings, is_leg) = accepted(random, settings)?;
    Some(Make { settings, is_leg, head: head.map_or_else(Vec::new, |wheel| wheel.changes), boot: boot.changes })
}

fn geometry(random: &mut Random, settings: &mut Settings) {
    let machine = &mut settings.machine;
    let micrometres = |millimetres: f64| Micrometres::new((millimetres * 1_000.0).round() as i64);
    let thickness = random.between(3.0, 16.0);
    let width = random.between(100.0, 600.0);
    let diameter = random.between(250.0, 1_200.0);
    let pulley = |bare: f64, lagging: f64| Pulley {
        bare_diameter: micrometres(bare),
        lagging: micrometres(lagging),
        face: micrometres(width * 1.15),
        crown: micrometres(width * 0.01),
    };
    let head_lagging = if random.chance(0.7) { random.between(3.0, 20.0) } else { 0.0 };
    machine.head_pulley = pulley(diameter, head_lagging);
    let boot = if random.chance(0.5) { diameter } else { diameter * random.between(0.75, 1.35) };
    machine.boot_pulley = pulley(boot.max(210.0), 0.0);
    machine.belt =
        Belt { thickness: micrometres(thickness), width: micrometres(width), loop_length: Micrometres::ZERO };
    let on_pulleys = (machine.head_circumference().get() + machine.boot_circumference().get()) / 2;
    machine.belt.loop_length = Micrometres::new(on_pulleys + micrometres(random.between(6_000.0, 120_000.0)).get());
    let ratio = f64::from(machine.geometric_ratio().get());
    machine.accepted_ratio = random.chance(0.5).then(|| AcceptedRatio {
        ratio: Ratio::new((ratio * random.between(0.96, 1.04)) as u32),
        spread: Ppm::new(random.whole(0, 9_000) as i32),
    });
    let belt_speed = random.between(1.1, 4.5);
    let head = belt_speed * 1e6 / machine.head_circumference().get() as f64;
    machine.normal_head = MicroturnsPerSecond::new((head * 1e6).clamp(340_000.0, 4_900_000.0) as u32);
    let boot = f64::from(machine.normal_head.get()) * f64::from(machine.ratio_in_force().get()) / 1e6;
    machine.normal_boot = MicroturnsPerSecond::new((boot * random.between(0.98, 1.02)) as u32);
}

struct Wheel {
    targets: Targets,
    changes: Vec<(f64, bool)>,
}

/// Targets as they lie, and what the settings say of them.
fn wheel(random: &mut Random) -> Wheel {
    let count = random.one_of(&[1, 1, 2, 2, 3, 4, 4, 4, 5, 6, 8, 8, 12, 16, 24, 32_u8]);
    let edges = random.one_of(&[CountedEdges::Rising, CountedEdges::Rising, CountedEdges::Falling, CountedEdges::Both]);
    let pitch = 1.0 / f64::from(count);
    let uneven = count > 1 && random.chance(0.3);
    let error = if uneven { random.between(0.1, 0.45) } else { random.between(0.0, 0.06) };
    let width = random.between(0.25, 0.6);
    let mut changes = Vec::new();
    for index in 0..count {
        let begin = (f64::from(index) + error * (random.unit() - 0.5)) * pitch + 0.25 * pitch;
        let wide = width * pitch * (1.0 - error) * random.between(0.95, 1.05);
        changes.push((begin, true));
        changes.push((begin + wide, false));
    }
    let counted: Vec<f64> = changes
        .iter()
        .filter(|(_, level)| match edges {
            CountedEdges::Rising => *level,
            CountedEdges::Falling => !*level,
            CountedEdges::Both => true,
        })
        .map(|(at, _)| *at)
        .collect();
    let pitches: Vec<f64> = (0..counted.len())
        .map(|index| match counted.get(index + 1) {
            Some(next) => next - counted[index],
            None => counted[0] + 1.0 - counted[index],
        })
        .collect();
    let (least, most) =
        pitches.iter().fold((f64::MAX, 0.0_f64), |(least, most), pitch| (least.min(*pitch), most.max(*pitch)));
    let mean = 1.0 / counted.len() as f64;
    let off = ((most / mean - 1.0).max(1.0 - least / mean) * 1e6) as i32;
    let spacing = if counted.len() > 1 && (off > 150_000 || random.chance(0.2)) {
        Spacing::Uneven {
            closest: Ppm::new((least * 0.97 * 1e6) as i32),
            widest: Ppm::new((most * 1.03 * 1e6).min(1e6 * (1.0 - least * 0.97 * (counted.len() - 1) as f64)) as i32),
        }
    } else {
        Spacing::Even { tolerance: Ppm::new((off + random.whole(2_000, 30_000) as i32).min(200_000)) }
    };
    // A target may sit across the end of the turn.
    for (at, _) in &mut changes {
        *at = at.rem_euclid(1.0);
    }
    changes.sort_by(|one, other| one.0.total_cmp(&other.0));
    Wheel { targets: Targets { count, edges, spacing, supervised: random.chance(0.5) }, changes }
}

fn signals(random: &mut Random, settings: &mut Settings) {
    let machine = &mut settings.machine;
    machine.power_meter = random.chance(0.4);
    machine.speed_reference = random.chance(0.3).then(|| SpeedReference {
        minimum: Ppm::new(random.whole(300_000, 1_000_000) as i32),
        ramp_per_second: Ppm::new(random.log_between(10_000.0, 1_000_000.0) as i32),
    });
    machine.outlet_switch = random.chance(0.4);
    let contacts = random.one_of(&[0.0, 0.5, 1.0]);
    machine.contacts =
        Place::ALL.map(|_| random.chance(contacts).then(|| if random.chance(0.5) { Strand::Up } else { Strand::Down }));
    let temperatures = random.one_of(&[0.0, 0.0, 0.5, 1.0]);
    machine.temperatures = Place::ALL.map(|_| random.chance(temperatures));
    machine.rated_power = Watts::new(random.log_between(1_000.0, 300_000.0) as u32);
    machine.service_factor = Ppm::new(random.whole(800_000, 1_600_000) as i32);
}

fn conditioning(random: &mut Random, settings: &mut Settings) {
    let conditioning = &mut settings.machine.conditioning;
    conditioning.minimum_width = Span::new(random.log_between(20.0, 3_000.0) as u32);
    conditioning.top_speed = Ppm::new(random.whole(1_100_000, 2_500_000) as i32);
    conditioning.rejects_a_turn = random.whole(1, 64) as u8;
    conditioning.contact_bridge = Span::new(random.log_between(1_000.0, 1_000_000.0) as u32);
}

fn limits(random: &mut Random, settings: &mut Settings) {
    let much = random.one_of(&[0.0, 0.15, 0.5, 0.9]);
    for (condition, listed) in Condition::ALL.into_iter().zip(Condition::TABLE) {
        if random.chance(much) {
            settings.limits.change(condition, |limit| limit_of(random, limit, &listed));
        }
    }
    let starts = &mut settings.limits.starts;
    if random.chance(much) {
        starts.standstill_below = Ppm::new(random.whole(20_000, 300_000) as i32);
    }
    if random.chance(0.4) {
        starts.shortest_coast_down = Span::new(random.whole(500_000, 20_000_000) as u32);
    }
    if random.chance(0.6) {
        starts.window = Span::new(random.log_between(60e6, 4_260e6) as u32);
        starts.inching_time = Span::new(random.log_between(1e6, 600e6) as u32);
        starts.bypass_time = Span::new(random.log_between(1e6, 3_600e6) as u32);
    }
    let heat = &mut settings.limits.slip_heat;
    if random.chance(0.8) {
        heat.budget = Joules::new(random.log_between(10_000.0, 3e6) as u32);
        heat.time_constant = Span::new(random.log_between(60e6, 4_260e6) as u32);
    }
}

fn limit_of(random: &mut Random, limit: &mut Limit, listed: &slackside::conditions::Entry) {
    let (least, most) = listed.setpoint;
    if random.chance(0.7) {
        limit.setpoint = random.whole(i64::from(least), i64::from(most)) as i32;
        limit.deadband = if limit.setpoint > 2 {
            (f64::from(limit.setpoint) * random.one_of(&[0.0, 0.02, 0.1, 0.3]) * random.unit()) as i32
        } else {
            0
        };
    }
    if random.chance(0.5) {
        let longest = f64::from(listed.longest_on_delay_ms) * 1_000.0;
        let share = if random.chance(0.3) { 1.0 } else { 0.1 };
        limit.on_delay = Span::new((longest * share * random.unit()) as u32);
    }
    if random.chance(0.5) {
        let longest = if random.chance(0.2) { 600e6 } else { 8e6 };
        limit.off_delay = Span::new((longest * random.unit()) as u32);
    }
    limit.priority = random.one_of(&[Priority::Low, Priority::Medium, Priority::High]);
    if listed.must != Must::Stop {
        limit.action = random.one_of(&[Action::Alarm, Action::DropFeed, Action::Stop]);
        limit.latching = limit.action == Action::Stop || random.chance(0.4);
        limit.enabled = listed.must != Must::Nothing || random.chance(0.7);
    }
}

/// The settings, mended until the rules accept them; `None` if they cannot be.
fn accepted(random: &mut Random, mut settings: Settings) -> Option<(Checked, bool)> {
    for _ in 0..40 {
        let violations = match settings.clone().check() {
            Ok(checked) => return Some((checked, true)),
            Err(violations) => violations,
        };
        // A leg with few targets cannot stop in time whatever its limits; a bench may have it.
        if violations.iter().all(|violation| violation.rule == Rule::StopsTooLate) && random.chance(0.5) {
            return settings.check_for_bench().ok().map(|checked| (checked, false));
        }
        for violation in &violations {
            if !mend(&mut settings, violation) {
                return None;
            }
        }
    }
    None
}

fn mend(settings: &mut Settings, violation: &Violation) -> bool {
    let machine = &mut settings.machine;
    match (violation.rule, violation.field) {
        (Rule::StopsTooLate, Field::Limit(condition, _)) => {
            settings.limits.change(condition, |limit| {
                limit.on_delay = Span::new(limit.on_delay.get() / 2);
                limit.setpoint = (limit.setpoint - 10_000).max(40_000);
                limit.deadband = limit.deadband.min(limit.setpoint / 8);
            });
            let below = match condition {
                Condition::SlipVeryHigh => Condition::SlipHigh,
                _ => Condition::Underspeed,
            };
            let stop = settings.limits.of(condition).setpoint;
            settings.limits.change(below, |limit| {
                limit.setpoint = limit.setpoint.min(stop - 10_000).max(20_000);
                limit.deadband = limit.deadband.min(5_000);
            });
            stop > 40_000
        }
        (_, Field::Limit(condition, _)) => {
            let starting = *Limits::STARTING.of(condition);
            let was = *settings.limits.of(condition);
            settings.limits.change(condition, |limit| *limit = starting);
            // Its partner is what is wrong then.
            if was == starting {
                for other in Condition::ALL {
                    settings.limits.change(other, |limit| {
                        let starting = *Limits::STARTING.of(other);
                        (limit.setpoint, limit.deadband) = (starting.setpoint, starting.deadband);
                    });
                }
            }
            true
        }
        (Rule::HumLooksLikeSpeed, Field::Targets(shaft, _)) => {
            let targets = match shaft {
                Shaft::Head => &mut machine.head_targets,
                Shaft::Boot => &mut machine.boot_targets,
            };
            if let Some(targets) = targets {
                targets.supervised = true;
            }
            true
        }
        (Rule::MinimumWidthTooLong, _) => {
            machine.conditioning.minimum_width = Span::new(u32::try_from(violation.bound).unwrap_or(5).max(5));
            violation.bound >= 5
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The legs are as unlike each other as they are meant to be.
    #[test]
    fn every_kind_of_leg_is_made() {
        let mut random = Random(1);
        let makes: Vec<Make> = (0..400).map(|_| make(&mut random)).collect();
        let count = |what: &dyn Fn(&Make) -> bool| makes.iter().filter(|make| what(make)).count();
        let targets = |make: &Make| make.settings.machine.boot_targets.expect("the boot always has some");
        for (what, found) in [
            ("boot alone", count(&|make| make.head.is_empty())),
            ("no drive contact", count(&|make| !make.settings.machine.drive_contact)),
            ("one target", count(&|make| targets(make).count == 1)),
            ("32 targets", count(&|make| targets(make).count == 32)),
            ("both edges", count(&|make| targets(make).edges == CountedEdges::Both)),
            ("uneven", count(&|make| matches!(targets(make).spacing, Spacing::Uneven { .. }))),
            ("a reference", count(&|make| make.settings.machine.speed_reference.is_some())),
            ("a meter", count(&|make| make.settings.machine.power_meter)),
            ("temperatures", count(&|make| make.settings.machine.temperatures != [false; 4])),
            ("no contacts", count(&|make| make.settings.machine.contacts == [None; 4])),
            (
                "starting limits",
                count(&|make| {
                    Condition::ALL
                        .into_iter()
                        .all(|condition| make.settings.limits.of(condition) == Limits::STARTING.of(condition))
                }),
            ),
        ] {
            assert!(found >= 12, "{what}: {found} of 400");
        }
        for condition in Condition::ALL {
            let starting = Limits::STARTING.of(condition);
            let moved = count(&|make| make.settings.limits.of(condition) != starting);
            assert!(moved >= 40, "{condition:?} has its starting limit on all but {moved} of 400");
        }
    }
}
