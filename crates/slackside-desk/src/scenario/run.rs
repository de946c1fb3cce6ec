//! One run of a scenario: people, faults, plant and sensors, step by step.

use slackside::input::{Input, Shaft, Signal};
use slackside::units::Micros;

use super::Scenario;
use super::due::{Call, Due, Moment, Why};
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

/// How long the strands swing after a start, in microseconds.
const SWING_US: u64 = 5_000_000;

/// How fast the control room turns the speed reference, of normal speed in a second.
const REFERENCE_RAMP: f64 = 0.05;

/// What came of a run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Summary {
    /// The first call for a stop that lasted until it was due.
    pub call: Option<Call>,
    /// Calls that ended before they were due.
    pub lapsed: usize,
    /// When the belt first touched the casing, in microseconds.
    pub touched_us: Option<u64>,
    /// When an alarm for a belt that does not track was called for, in microseconds.
    pub astray_us: Option<u64>,
    /// When an alarm for a slow belt was called for, in microseconds.
    pub slow_us: Option<u64>,
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
    /// What the warm bodies cannot account for, in J, and the heat they were given, in J.
    pub heat: [f64; 2],
    /// Highest temperatures in degrees Celsius of head, belt, boot and rub.
    pub hottest_c: [f64; 4],
    /// How often overload relay or low voltage opened the contactor.
    pub opened: u32,
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
    let variable = matches!(leg.drive.starter, Starter::Variable { .. });

    let mut summary = Summary { lowest_belt_pct: 100.0, hottest_c: [leg.heat.ambient_c; 4], ..Summary::default() };
    let mut due = Due::new(leg, commissioned);
    let mut controls = Controls { reference: 1.0, ..Controls::default() };
    let mut permits = Permits { run: true, feed: true };
    let mut dropped_us = [None::<u64>; 2];
    let mut active = 0_u64;
    let mut ran = 0.0;
    let mut was_closed = false;
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
            let feed_held = scenario.feeder_wired && dropped_us[1].is_some_and(|since| now >= since + CONTACTOR_US);
            let mut upset = Upset::NONE;
            upset.face.wet = leg.grip.wetness(doings.friction);
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
            // Relay or coil let go: it takes a new start.
            let opened = was_closed && controls.closed && !plant.contactor();
            if opened {
                summary.opened += 1;
                doings.wanted = false;
                controls.closed = false;
            }
            was_closed = controls.closed;
            sensors.contactor(controls.closed);
            sensors.look(&plant, doings.reference, now);
        }
        let turning = plant.step(&controls);
        sensors.step(now, &turning, dt);
        now += step_us;

        let expected = commissioned.belt * if variable { plant.feed_level().min(doings.reference) } else { 1.0 };
        let belt = plant.belt_speed() / commissioned.belt;
        let closed = plant.contactor();
        let called = due.look(&Moment { now_us: now, closed, belt: plant.belt_speed(), expected });
        ran += plant.belt_speed() * dt;
        if closed {
            summary.drive_s += dt;
            // The strands swing for a few seconds after a start; the figures for people leave that out.
            if due.started(now) && due.at_speed_us().is_none_or(|since| now > since + SWING_US) {
                summary.lowest_belt_pct = summary.lowest_belt_pct.min(100.0 * belt);
                let rim = plant.rim_speed();
                if rim > 0.1 {
                    let slip = 100.0 * (1.0 - plant.belt_speed() / rim);
                    summary.largest_slip_pct = summary.largest_slip_pct.max(slip);
                }
            }
        }
        if plant.at_slow_part() {
            due.surfaces(&plant.warmth.faces());
            due.ran(core::mem::take(&mut ran), plant.touches().contains(&true), now);
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
                if input.signal == Signal::Edge(Shaft::Boot, true) {
                    due.edge(input.at.get());
                }
                if failed.is_none() {
                    failed = watch.input(&input).err();
                }
            });
            if now.is_multiple_of(TRUTH_US) && failed.is_none() {
                let truth = plant.truth();
                for (most, now) in summary.hottest_c.iter_mut().zip([
                    truth.head_face_c,
                    truth.belt_face_c,
                    truth.boot_face_c,
                    truth.rub_face_c,
                ]) {
                    *most = most.max(now);
                }
                let row = Row { time_us: now, truth, drive: closed, belt_pct: 100.0 * belt, active, called };
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
    // Whatever was silent to the end was silent until then.
    summary.inputs += 1;
    if failed.is_none() {
        failed = watch.input(&Input::new(Micros::new(now), Signal::Tick)).err();
    }
    if let Some(error) = failed {
        return Err(error);
    }
    due.end();
    summary.call = due.first();
    summary.lapsed = due.calls.iter().filter(|call| !call.lasts()).count();
    (summary.touched_us, summary.astray_us, summary.slow_us) = (due.touched_us, due.astray_us, due.slow_us);
    summary.heat = [plant.heat_missing(), plant.warmth.taken];
    summary.energy = [plant.energy_missing(), plant.ledger.motor];
    Ok(summary)
}

impl Summary {
    /// When a stop was called for, in microseconds.
    #[must_use]
    pub fn called_us(&self) -> Option<u64> {
        self.call.map(|call| call.from_us)
    }

    /// Why.
    #[must_use]
    pub fn why(&self) -> Option<Why> {
        self.call.map(|call| call.why)
    }
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
