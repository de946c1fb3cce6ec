//! Everybody who looks on while a trace is replayed.

use std::io;

use slackside::conditions::Condition;
use slackside::diagnose::Gather;
use slackside::input::{Input, Place, Signal};
use slackside::motion::Motion;
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::signals::Signals;
use slackside::units::{Micros, Ppm};
use slackside::verdict::{Change, Verdict};

use super::events_csv::EventsCsv;
use super::outcome::Outcome;
use super::piece::{Event, Judged, Piece};
use super::sample::Sample;
use super::samples_csv::SamplesCsv;
use super::window::Window;
use crate::error::Context;
use crate::findings::evidence::Witness;
use crate::monitor::Monitor;
use crate::trace::Survey;

/// Everything that looks on.
pub(super) struct Watch<'a> {
    outcome: Outcome,
    gather: Gather,
    witness: Witness,
    settings: &'a Checked,
    /// What the monitor goes by.
    plan: Plan,
    /// The newest signals, and the same in words.
    signals: Signals,
    motion: Motion,
    samples: Option<SamplesCsv<'a>>,
    events: Option<EventsCsv<'a>>,
    reference: Ppm,
    wrote: io::Result<()>,
}

impl<'a> Watch<'a> {
    /// Before the trace begins.
    pub fn new(
        outcome: Outcome,
        settings: &'a Checked,
        plan: Plan,
        samples: Option<SamplesCsv<'a>>,
        events: Option<EventsCsv<'a>>,
    ) -> Self {
        Self {
            outcome,
            gather: Gather::new(settings),
            witness: Witness::new(settings),
            settings,
            plan,
            signals: Signals::NONE,
            motion: Motion::of(&Signals::NONE, &plan, Micros::ZERO),
            samples,
            events,
            reference: Ppm::ONE,
            wrote: Ok(()),
        }
    }

    /// Look at a batch of the trace.
    ///
    /// # Errors
    /// Samples or events cannot be written.
    pub fn take(&mut self, piece: &Piece) -> crate::error::Result<()> {
        let (mut signals, mut verdicts) = (piece.signals.iter(), piece.verdicts.iter());
        for event in &piece.events {
            match *event {
                Event::Row(row) => {
                    self.outcome.rows.take(row);
                    self.witness.input(&row.input);
                }
                Event::End(at) => self.witness.input(&Input::new(at, Signal::Tick)),
                Event::Moved(at) => {
                    if let Some(signals) = signals.next() {
                        self.moved(at, signals);
                    }
                }
                Event::Judged { at, judged, to_series, to_file } => self.judged(at, judged, to_series, to_file),
                Event::Silent(at, judged) => {
                    let sample = self.sample(at, judged);
                    self.outcome.series.take(&sample);
                }
                Event::Signal(at, signal) => self.signal(at, signal),
                Event::Verdict => {
                    if let Some(verdict) = verdicts.next() {
                        self.verdict(verdict);
                    }
                }
                Event::HeatAtFirstOut(heat) => self.outcome.peak_heat = self.outcome.peak_heat.max(heat),
            }
        }
        core::mem::replace(&mut self.wrote, Ok(())).context("a file could not be written; nothing is left of it")
    }

    fn moved(&mut self, at: Micros, signals: &Signals) {
        let motion = &mut self.motion;
        motion.go_on(&self.signals, signals, &self.plan, at);
        self.signals = *signals;
        self.outcome.slip(at, self.gather.newest(), motion);
        self.gather.motion(at, motion);
        self.witness.motion(at.get(), motion);
        self.outcome.run_up.motion(at, motion);
        for (place, contact) in Place::ALL.into_iter().zip(&motion.contacts) {
            if contact.rubbing_since.is_some() {
                self.outcome.series.rub(at, place);
            }
        }
    }

    fn judged(&mut self, at: Micros, judged: Judged, to_series: bool, to_file: bool) {
        let sample = self.sample(at, judged);
        if to_series {
            self.outcome.series.take(&sample);
            self.outcome.peak_heat = self.outcome.peak_heat.max(sample.slip_heat);
        }
        if let (true, Some(samples)) = (to_file, &mut self.samples) {
            let wrote = samples.write(&sample);
            self.note(wrote);
        }
    }

    fn sample(&self, at: Micros, judged: Judged) -> Sample {
        Sample::take(at, self.gather.newest(), (judged.heat, judged.knows_slip), self.settings, self.reference)
    }

    fn signal(&mut self, at: Micros, signal: Signal) {
        match signal {
            Signal::SpeedReference(reference) => {
                self.reference = reference;
                self.outcome.series.reference(at, reference);
            }
            Signal::DrivePower(power) => {
                self.gather.power(power);
                self.outcome.series.power(at, power);
            }
            Signal::Temperature(place, celsius) => self.outcome.series.temperature(at, place, celsius),
            Signal::DriveRunning(on) => self.outcome.drive(at, on),
            Signal::OutletPlugged(plugged) => self.outcome.outlet.take(at, plugged),
            _ => {}
        }
    }

    fn verdict(&mut self, verdict: &Verdict) {
        if matches!(verdict.change, Change::FirstOut(Some(_))) {
            self.outcome.run_up.end(verdict.at, self.gather.newest());
        }
        self.outcome.take(verdict);
        self.gather.verdict(verdict);
        self.witness.verdict(verdict);
        if let Some(events) = &mut self.events {
            let wrote = events.write(verdict);
            self.note(wrote);
        }
    }

    fn note(&mut self, wrote: io::Result<()>) {
        if self.wrote.is_ok() {
            self.wrote = wrote;
        }
    }

    /// What came of it all.
    pub fn finish(self, survey: Survey, monitor: &Monitor, window: Window) -> Outcome {
        let mut outcome = self.outcome;
        outcome.warnings = survey.warnings(&outcome.settings.machine);
        outcome.cautions.extend(survey.leap());
        outcome.survey = survey;
        outcome.keep_open_peaks();
        if let (Some(ran_on), Some(dropped)) = (&mut outcome.ran_on_us, outcome.run_dropped) {
            let until = outcome.drive_off_at.or(outcome.survey.last).unwrap_or(dropped);
            *ran_on = until.get().saturating_sub(dropped.get());
        }
        outcome.status = monitor.status();
        outcome.alarms = Condition::ALL.map(|condition| monitor.alarm(condition));
        outcome.evidence = self.gather.evidence();
        outcome.asked = self.witness.evidence(&outcome.evidence);
        outcome.motion = *self.gather.newest();
        outcome.window = window;
        outcome
    }
}
