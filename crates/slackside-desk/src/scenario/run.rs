//! One run of a scenario: people, faults, plant and sensors, step by step.

use slackside::input::{Input, Signal};

use super::Scenario;
use super::settings::Commissioned;
use super::timeline::{Act, Button, Drawn};
use super::truth::Row;
use crate::plant::starter::Starter;
use crate::plant::upset::Upset;
use crate::plant::{Controls, Plant};
use crate::sensors::outbox::Outbox;
use crate::sensors::{SensorUpset, Sensors};

/// What the monitor allows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Permits {
    /// The drive may run.
    pub run: bool,
    /// The leg may be fed.
    pub feed: bool,
}

/// Who looks on.
pub trait Watch {
    /// The next input of the trace, in order of time.
    ///
    /// # Errors
    /// Whatever keeps the watcher from going on, such as a full disk.
    fn input(&mut self, input: &Input) -> std::io::Result<()>;

    /// The next row of truth, every [`TRUTH_US`].
    ///
    /// # Errors
    /// As [`input`](Self::input).
    fn truth(&mut self, row: &Row) -> std::io::Result<()>;

    /// No earlier input than this follows; what is allowed now? Asked every 20 ms.
    fn permits(&mut self, now_us: u64) -> Permits;
}

/// How often a row of truth is given, in microseconds.
pub const TRUTH_US: u64 = 100_000;

/// From a permit dropping to contacts opening or the feed gate closed, in microseconds.
const CONTACTOR_US: u64 = 50_000;

/// The part of normal belt speed below which the leg must be stopped: 29 CFR 1910.272(q), no more than 20 % lost.
pub const LEAST_BELT: f64 = 0.8;

/// How long a start may take before the belt must be at speed, in s: the starting value of "start failed".
pub const START_TIME_S: f64 = 10.0;

/// How long the strands swing after a start, in microseconds.
const SWING_US: u64 = 5_000_000;

/// Most calls for a stop that a summary keeps.
pub const MOST_CALLS: usize = 1_000;

/// How fast the control room turns the speed reference, of normal speed in a second.
const REFERENCE_RAMP: f64 = 0.05;

/// What came of a run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// When a stop was first called for, in microseconds.
    pub stop_called_us: Option<u64>,
    /// Whether the belt, not the heat, called for it.
    pub called_by_belt: bool,
    /// Every call: from when to when in microseconds, and whether the belt made it. Only the first [`MOST_CALLS`].
    pub calls: Vec<(u64, u64, bool)>,
    /// Inputs given.
    pub inputs: u64,
    /// Seconds with the motor on.
    pub drive_s: f64,
    /// Largest slip while running in per cent.
    pub largest_slip_pct: f64,
    /// Lowest belt speed while the motor was on and a start was over, of normal, in per cent.
    pub lowest_belt_pct: f64,
    /// Most slip heat in J.
    pub most_heat_j: f64,
    /// Largest offset of the belt in mm, either end.
    pub largest_offset_mm: f64,
    /// Seconds with the belt touching anywhere.
    pub rub_s: f64,
    /// What the plant's energy ledger cannot account for, in J, and the motor's work, in J.
    pub energy: [f64; 2],
}

struct Doings {
    acts: Vec<Drawn>,
    next: usize,
    wanted: bool,
    feed: f64,
    reference: f64,
    reference_wanted: f64,
    friction: f64,
}

/// Run a scenario. `obey`: motor and feed follow the permits.
///
/// # Errors
/// What the watcher gives.
pub fn run(
    scenario: &Scenario,
    commissioned: &Commissioned,
    seed: u64,
    obey: bool,
    watch: &mut dyn Watch,
) -> std::io::Result<Summary> {
    let leg = &scenario.leg;
    let mut plant = Plant::new(leg, scenario.step_us, seed);
    let mut sensors = Sensors::new(&plant, seed);
    let mut acts: Vec<Drawn> = scenario.timeline.iter().map(|act| Drawn { act: act.clone(), friction: 1.0 }).collect();
    if let Some(routine) = &scenario.routine {
        acts.extend(routine.draw(scenario.duration_s, seed));
    }
    acts.sort_by(|a, b| a.act.at_s.total_cmp(&b.act.at_s));
    let mut doings =
        Doings { acts, next: 0, wanted: false, feed: 0.0, reference: 1.0, reference_wanted: 1.0, friction: 1.0 };
    let step_us = u64::from(plant.step_us());
    let dt = step_us as f64 * 1e-6;
    let end_us = (scenario.duration_s * 1e6) as u64;
    let budget = leg.heat.budget_kj * 1_000.0;
    let variable = matches!(leg.drive.starter, Starter::Variable { .. });

    let mut summary = Summary { lowest_belt_pct: 100.0, ..Summary::default() };
    let mut controls = Controls { reference: 1.0, ..Controls::default() };
    let mut permits = Permits { run: true, feed: true };
    let mut dropped_us = [None::<u64>; 2];
    let mut closed_since: Option<u64> = None;
    let mut at_speed: Option<u64> = None;
    let mut active = 0_u64;
    let mut calling = false;
    let mut now = 0_u64;
    let mut failed = None;
    while now < end_us {
        if plant.at_slow_part() {
            let seconds = now as f64 * 1e-6;
            let turn = REFERENCE_RAMP * f64::from(Plant::SLOW_US) * 1e-6;
            doings.reference += (doings.reference_wanted - doings.reference).clamp(-turn, turn);
            doings.catch_up(seconds, leg.capacity_kg_per_s(), permits.run || !obey, now, &mut sensors.out);
            if obey {
                for (dropped, allowed) in dropped_us.iter_mut().zip([permits.run, permits.feed]) {
                    *dropped = if allowed { None } else { Some(dropped.unwrap_or(now)) };
                }
                if dropped_us[0].is_some_and(|since| now >= since + CONTACTOR_US) {
                    doings.wanted = false;
                }
            }
            let feed_held = dropped_us[1].is_some_and(|since| now >= since + CONTACTOR_US);
            let mut upset = Upset { head_friction: doings.friction, ..Upset::NONE };
            let mut wires = SensorUpset::NONE;
            active = 0;
            for (i, fault) in scenario.faults.iter().enumerate() {
                if fault.severity_at(seconds) > 0.0 {
                    active |= 1 << (i % 64);
                    fault.apply(seconds, leg, &mut upset, &mut wires);
                }
            }
            plant.upset = upset;
            sensors.set_upset(&wires, now);
            controls = Controls {
                closed: doings.wanted,
                feed_kg_per_s: if feed_held { 0.0 } else { doings.feed },
                reference: doings.reference,
            };
            if controls.closed != closed_since.is_some() {
                closed_since = controls.closed.then_some(now);
                at_speed = None;
            }
            sensors.contactor(controls.closed);
            sensors.look(&plant, doings.reference, now);
        }
        let turning = plant.step(&controls);
        sensors.step(now, &turning, dt);
        now += step_us;

        let expected = commissioned.belt * if variable { plant.feed_level().min(doings.reference) } else { 1.0 };
        let belt = plant.belt_speed() / commissioned.belt;
        let mut called = false;
        if let Some(since) = closed_since {
            if at_speed.is_none() && plant.belt_speed() > 0.9 * expected && expected > 0.3 * commissioned.belt {
                at_speed = Some(now);
            }
            let started = at_speed.is_some() || (now - since) as f64 * 1e-6 > START_TIME_S;
            let slow = started && plant.belt_speed() < LEAST_BELT * expected;
            let hot = plant.slip_heat() > budget;
            called = slow || hot;
            if called && summary.stop_called_us.is_none() {
                summary.stop_called_us = Some(now);
                summary.called_by_belt = slow;
            }
            if called && !calling && summary.calls.len() < MOST_CALLS {
                summary.calls.push((now, now, slow));
            }
            if let (true, Some(last)) = (called, summary.calls.last_mut()) {
                last.1 = now;
            }
            summary.drive_s += dt;
            // The strands swing for a few seconds after a start; the figures for people leave that out.
            if started && at_speed.is_none_or(|since| now > since + SWING_US) {
                summary.lowest_belt_pct = summary.lowest_belt_pct.min(100.0 * belt);
                let rim = plant.rim_speed();
                if rim > 0.1 {
                    let slip = 100.0 * (1.0 - plant.belt_speed() / rim);
                    summary.largest_slip_pct = summary.largest_slip_pct.max(slip);
                }
            }
        }
        calling = called;
        if plant.at_slow_part() {
            summary.most_heat_j = summary.most_heat_j.max(plant.slip_heat());
            let tracking = &plant.tracking;
            let offset = 1_000.0 * tracking.head.abs().max(tracking.boot.abs());
            summary.largest_offset_mm = summary.largest_offset_mm.max(offset);
            if plant.touches().contains(&true) && plant.belt_speed() != 0.0 {
                summary.rub_s += f64::from(Plant::SLOW_US) * 1e-6;
            }
            let until = now.saturating_sub(Outbox::HOLD_US);
            sensors.out.flush(until, |input| {
                summary.inputs += 1;
                if failed.is_none() {
                    failed = watch.input(&input).err();
                }
            });
            if now.is_multiple_of(TRUTH_US) && failed.is_none() {
                let row = Row {
                    time_us: now,
                    truth: plant.truth(),
                    drive: closed_since.is_some(),
                    belt_pct: 100.0 * belt,
                    active,
                    stop_called_for: called,
                };
                failed = watch.truth(&row).err();
            }
            if let Some(error) = failed {
                return Err(error);
            }
            permits = watch.permits(until);
        }
    }
    sensors.out.flush(u64::MAX, |input| {
        summary.inputs += 1;
        if failed.is_none() {
            failed = watch.input(&input).err();
        }
    });
    if let Some(error) = failed {
        return Err(error);
    }
    summary.energy = [plant.energy_missing(), plant.ledger.motor];
    Ok(summary)
}

impl Doings {
    /// Do everything that is due.
    fn catch_up(&mut self, seconds: f64, capacity: f64, may_start: bool, now_us: u64, out: &mut Outbox) {
        while let Some(Drawn { act, friction }) = self.acts.get(self.next).filter(|due| due.act.at_s <= seconds) {
            let Act { press, feed_pct, speed_pct, command, .. } = *act;
            match press {
                Some(Button::Start) => self.wanted = may_start,
                Some(Button::Stop) => self.wanted = false,
                None => {}
            }
            if let Some(feed) = feed_pct {
                self.feed = feed / 100.0 * capacity;
                self.friction = *friction;
            }
            if let Some(speed) = speed_pct {
                self.reference_wanted = speed / 100.0;
            }
            if let Some(ask) = command {
                let (origin, command) = ask.command();
                out.push(now_us, Signal::Command(origin, command));
            }
            self.next += 1;
        }
    }
}
