//! One run of a scenario: people, faults, plant and sensors, step by step.

use slackside::input::{Input, Shaft, Signal};
use slackside::units::Micros;

use super::Scenario;
use super::doings::Doings;
use super::due::{Call, Due, Moment, Why};
use super::setting_out::set_out;
use super::settings::Commissioned;
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

    /// Whether enough was seen: the run ends then, before its time.
    fn enough(&self) -> bool {
        false
    }
}

/// What motor and feed obey beside people.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Obeys {
    /// Nothing, though feed pours into a leg that stands.
    Nothing,
    /// The interlock that every feeder has, with a monitor or without: it runs only with the motor on, and once the belt has been at
    /// speed since the start.
    #[default]
    Interlock,
    /// The monitor's permits.
    Permits,
}

/// How often a row of truth is given, in microseconds.
pub const TRUTH_US: u64 = 100_000;

/// From a permit dropping to contacts opening or the feed gate closed, in microseconds.
const CONTACTOR_US: u64 = 50_000;

/// How long the strands swing after a start, in microseconds.
const SWING_US: u64 = 5_000_000;

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

/// Run a scenario.
///
/// # Errors
/// What the watcher gives.
pub fn run(
    scenario: &Scenario,
    commissioned: &Commissioned,
    seed: u64,
    obeys: Obeys,
    watch: &mut dyn Watch,
) -> std::io::Result<Summary> {
    let mut running = Running::new(scenario, commissioned, seed, obeys);
    let end_us = (scenario.duration_s * 1e6) as u64;
    while running.now < end_us && !watch.enough() {
        if running.plant.at_slow_part() {
            running.set_controls();
        }
        running.step();
        if running.plant.at_slow_part() {
            running.tell(watch)?;
        }
    }
    running.finish(watch)
}

/// A run under way.
struct Running<'a> {
    scenario: &'a Scenario,
    commissioned: &'a Commissioned,
    obeys: Obeys,
    plant: Plant,
    sensors: Sensors,
    doings: Doings,
    controls: Controls,
    permits: Permits,
    /// Since when run and feed are not allowed, in microseconds.
    dropped_us: [Option<u64>; 2],
    was_closed: bool,
    /// Which faults are at work, a bit for each.
    active: u64,
    /// For how long the leg has stood since each fault began, in seconds.
    stood_s: Vec<f64>,
    due: Due,
    called: Option<Why>,
    /// Metres of belt since the last slow part.
    ran: f64,
    summary: Summary,
    /// In microseconds.
    now: u64,
}

impl<'a> Running<'a> {
    fn new(scenario: &'a Scenario, commissioned: &'a Commissioned, seed: u64, obeys: Obeys) -> Self {
        let leg = &set_out(&scenario.leg, &scenario.faults);
        let plant = Plant::new(leg, scenario.step_us, seed);
        Self {
            scenario,
            commissioned,
            obeys,
            sensors: Sensors::new(&plant, seed),
            plant,
            doings: Doings::new(scenario, seed),
            controls: Controls { reference: 1.0, ..Controls::default() },
            permits: Permits { run: true, feed: true },
            dropped_us: [None; 2],
            was_closed: false,
            active: 0,
            stood_s: vec![0.0; scenario.faults.len()],
            due: Due::new(leg, commissioned),
            called: None,
            ran: 0.0,
            summary: Summary { lowest_belt_pct: 100.0, hottest_c: [leg.heat.ambient_c; 4], ..Summary::default() },
            now: 0,
        }
    }

    /// What people, faults and permits make of the slow part that begins.
    fn set_controls(&mut self) {
        let scenario = self.scenario;
        let seconds = self.now as f64 * 1e-6;
        let may_start = self.permits.run || self.obeys != Obeys::Permits;
        self.doings.catch_up(seconds, scenario.leg.capacity_kg_per_s(), may_start, self.now, &mut self.sensors.out);
        let [run_held, feed_held] = self.held();
        if run_held {
            self.doings.wanted = false;
        }
        self.befall(seconds);
        self.controls = Controls {
            closed: self.doings.wanted,
            feed_kg_per_s: if scenario.feeder_wired && feed_held { 0.0 } else { self.doings.feed },
            reference: self.doings.reference,
        };
        // Relay or coil let go: it takes a new start.
        if self.was_closed && self.controls.closed && !self.plant.contactor() {
            self.summary.opened += 1;
            self.doings.wanted = false;
            self.controls.closed = false;
        }
        self.was_closed = self.controls.closed;
        self.sensors.contactor(self.controls.closed);
        self.sensors.look(&self.plant, self.doings.reference, self.now);
    }

    /// Whether run and feed were dropped so long ago that contacts opened and the gate closed.
    fn held(&mut self) -> [bool; 2] {
        let allowed = match self.obeys {
            Obeys::Nothing => [true; 2],
            Obeys::Interlock => [true, self.due.at_speed_us().is_some()],
            Obeys::Permits => [self.permits.run, self.permits.feed],
        };
        for (dropped, allowed) in self.dropped_us.iter_mut().zip(allowed) {
            *dropped = if allowed { None } else { Some(dropped.unwrap_or(self.now)) };
        }
        self.dropped_us.map(|dropped| dropped.is_some_and(|since| self.now >= since + CONTACTOR_US))
    }

    /// What is wrong now, with the plant and with its sensors.
    fn befall(&mut self, seconds: f64) {
        let leg = &self.scenario.leg;
        let mut upset = Upset::NONE;
        upset.face.wet = leg.grip.wetness(self.doings.friction);
        let mut wires = SensorUpset::NONE;
        self.active = 0;
        let stands = !self.plant.contactor() && self.plant.rim_speed() == 0.0;
        for (i, (fault, stood_s)) in self.scenario.faults.iter().zip(&mut self.stood_s).enumerate() {
            if stands && seconds > fault.from_s {
                *stood_s += f64::from(Plant::SLOW_US) * 1e-6;
            }
            let severity = fault.severity_at(seconds, *stood_s);
            if severity > 0.0 {
                self.active |= 1 << (i % 64);
                fault.apply(severity, leg, &mut upset, &mut wires);
            }
        }
        self.plant.upset = upset;
        self.sensors.set_upset(&wires, self.now);
    }

    /// Move plant and sensors on by one step, and judge the truth of it.
    fn step(&mut self) {
        let step_us = u64::from(self.plant.step_us());
        let dt = step_us as f64 * 1e-6;
        let turning = self.plant.step(&self.controls);
        self.sensors.step(self.now, &turning, dt);
        self.now += step_us;

        let variable = matches!(self.scenario.leg.drive.starter, Starter::Variable { .. });
        let asked = if variable { self.plant.feed_level().min(self.doings.reference) } else { 1.0 };
        let (belt, closed) = (self.plant.belt_speed(), self.plant.contactor());
        let expected = self.commissioned.belt * asked;
        let shaft = self.commissioned.belt * turning.boot[1] / self.commissioned.boot;
        self.called = self.due.look(&Moment { now_us: self.now, closed, belt, expected, shaft });
        self.ran += belt * dt;
        if closed {
            self.summary.drive_s += dt;
            // The strands swing for a few seconds after a start; the figures for people leave that out.
            if self.due.started(self.now) && self.due.at_speed_us().is_none_or(|since| self.now > since + SWING_US) {
                self.summary.ran_at(self.belt_pct(), &self.plant);
            }
        }
    }

    fn belt_pct(&self) -> f64 {
        100.0 * (self.plant.belt_speed() / self.commissioned.belt)
    }

    /// A slow part is over: tell the watcher of it, and ask what it allows.
    fn tell(&mut self, watch: &mut dyn Watch) -> std::io::Result<()> {
        let touches = self.plant.touches().contains(&true);
        self.due.surfaces(&self.plant.warmth.faces());
        self.due.ran(core::mem::take(&mut self.ran), touches, self.now);
        self.summary.looked_at(&self.plant);
        let until = self.now.saturating_sub(Outbox::HOLD_US);
        self.hand_on(until, watch)?;
        if self.now.is_multiple_of(TRUTH_US) {
            let truth = self.plant.truth();
            let hottest = [truth.head_face_c, truth.belt_face_c, truth.boot_face_c, truth.rub_face_c];
            for (most, now) in self.summary.hottest_c.iter_mut().zip(hottest) {
                *most = most.max(now);
            }
            watch.truth(&Row {
                time_us: self.now,
                truth,
                drive: self.plant.contactor(),
                belt_pct: self.belt_pct(),
                active: self.active,
                called: self.called,
            })?;
        }
        self.permits = watch.permits(until);
        Ok(())
    }

    /// Hand on the inputs before `until_us`.
    fn hand_on(&mut self, until_us: u64, watch: &mut dyn Watch) -> std::io::Result<()> {
        let mut taken = Ok(());
        self.sensors.out.flush(until_us, |input| {
            self.summary.inputs += 1;
            if input.signal == Signal::Edge(Shaft::Boot, true) {
                self.due.edge(input.at.get());
            }
            if taken.is_ok() {
                taken = watch.input(&input);
            }
        });
        taken
    }

    /// Hand on what is left, and say what came of it.
    fn finish(mut self, watch: &mut dyn Watch) -> std::io::Result<Summary> {
        self.hand_on(u64::MAX, watch)?;
        // Whatever was silent to the end was silent until then.
        self.summary.inputs += 1;
        watch.input(&Input::new(Micros::new(self.now), Signal::Tick))?;
        let Self { mut due, mut summary, plant, .. } = self;
        due.end();
        summary.call = due.first();
        summary.lapsed = due.calls.iter().filter(|call| !call.lasts()).count();
        (summary.touched_us, summary.astray_us, summary.slow_us) = (due.touched_us, due.astray_us, due.slow_us);
        summary.heat = [plant.heat_missing(), plant.warmth.taken];
        summary.energy = [plant.energy_missing(), plant.ledger.motor];
        Ok(summary)
    }
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

    /// The belt ran at so much of normal, in per cent.
    fn ran_at(&mut self, belt_pct: f64, plant: &Plant) {
        self.lowest_belt_pct = self.lowest_belt_pct.min(belt_pct);
        let rim = plant.rim_speed();
        if rim > 0.1 {
            self.largest_slip_pct = self.largest_slip_pct.max(100.0 * (1.0 - plant.belt_speed() / rim));
        }
    }

    /// The plant at the end of a slow part.
    fn looked_at(&mut self, plant: &Plant) {
        self.most_heat_j = self.most_heat_j.max(plant.slip_heat());
        let offset = 1_000.0 * plant.tracking.head.abs().max(plant.tracking.boot.abs());
        self.largest_offset_mm = self.largest_offset_mm.max(offset);
        if plant.touches().contains(&true) && plant.belt_speed() != 0.0 {
            self.rub_s += f64::from(Plant::SLOW_US) * 1e-6;
        }
    }
}
