//! The pass itself: rows in, verdicts and samples out.

use std::cell::RefCell;
use std::io;

use crate::error::Context;
use slackside::conditions::Condition;
use slackside::diagnose::Gather;
use slackside::input::{Input, Signal};
use slackside::judge::Judge;
use slackside::monitor::{Tap, Told};
use slackside::motion::Motion;
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::signals::Signals;
use slackside::units::{Micros, Ppm};
use slackside::verdict::{Change, Verdict};

use super::events_csv::EventsCsv;
use super::outcome::Outcome;
use super::rows::Row;
use super::sample::Sample;
use super::samples_csv::SamplesCsv;
use super::units::check_units;
use super::window::Keeper;
use crate::findings::evidence::Witness;
use crate::monitor::{Monitor, monitor};
use crate::trace::{Progress, Reader};

/// Silence longer than this is drawn as what it proves, not as the last speed.
const SILENCE_US: u64 = 100_000;

/// One replay to be done.
pub struct Job<'a> {
    /// The trace.
    pub reader: Reader,
    /// The settings it is held against.
    pub settings: &'a Checked,
    /// What messages call the settings.
    pub settings_name: &'a str,
    /// What everybody who reads the outcome must know about the settings.
    pub notes: Vec<String>,
    /// What spoils the outcome as a whole: said before anything else.
    pub cautions: Vec<String>,
    /// Whether speeds are told in feet a minute.
    pub feet: bool,
    /// Where every sample goes, if anywhere.
    pub samples: Option<SamplesCsv<'a>>,
    /// Where every verdict goes, if anywhere.
    pub events: Option<EventsCsv<'a>>,
    /// Who is told how far reading has come, if anyone.
    pub progress: Option<&'a mut dyn FnMut(&Progress)>,
}

impl<'a> Job<'a> {
    /// A replay that writes nothing beside its outcome, with nothing said about the settings.
    #[must_use]
    pub const fn new(reader: Reader, settings: &'a Checked, settings_name: &'a str) -> Self {
        Self {
            reader,
            settings,
            settings_name,
            notes: Vec::new(),
            cautions: Vec::new(),
            feet: false,
            samples: None,
            events: None,
            progress: None,
        }
    }
}

/// Replay the trace.
///
/// # Errors
/// The trace is broken, or samples or events cannot be written.
pub fn replay(job: Job<'_>) -> crate::error::Result<Outcome> {
    let fresh = monitor(job.settings, &Retained::default());
    replay_from(job, fresh)
}

/// Replay the trace from the state that this monitor is in.
///
/// # Errors
/// As [`replay`].
pub fn replay_from(job: Job<'_>, mut monitor: Box<Monitor>) -> crate::error::Result<Outcome> {
    let Job { mut reader, settings, settings_name, notes, cautions, feet, samples, events, progress } = job;
    let mut outcome = Outcome::begin(reader.name(), settings_name, settings, &monitor.status());
    outcome.notes = notes;
    outcome.cautions = cautions;
    outcome.feet = feet;
    let watch = Watch {
        outcome,
        gather: Gather::new(settings),
        witness: Witness::new(settings),
        settings,
        samples,
        events,
        reference: Ppm::ONE,
        drawn: Micros::ZERO,
        first_out: None,
        failed: None,
    };
    let watch = RefCell::new(watch);

    let (mut progress, read) = (progress, reader.progress());
    let mut keeper = Keeper::new();
    let mut batch = Vec::new();
    while reader.read_batch(&mut batch)? {
        for (input, number) in batch.iter().zip(reader.numbers()) {
            let row = Row { number: *number, input: *input };
            keeper.take(&monitor, row);
            watch.borrow_mut().outcome.rows.take(row);
            observe(&mut monitor, &watch, *input);
            if !watch.borrow().outcome.first_outs.is_empty() {
                keeper.hold();
            }
        }
        if let Some(error) = watch.borrow_mut().failed.take() {
            return Err(error).context("a file could not be written; nothing is left of it");
        }
        if let Some(progress) = &mut progress {
            progress(&read);
        }
    }

    let survey = reader.survey().clone();
    check_units(reader.name(), &survey, &settings.machine)?;
    if let Some(last) = survey.last {
        // What is due up to the last row is settled; what would come later is not known.
        observe(&mut monitor, &watch, Input::new(last, Signal::Tick));
    }
    let mut outcome = watch.into_inner().finish(survey, &monitor)?;
    outcome.window = keeper.finish();
    Ok(outcome)
}

/// Have the monitor take one input, everybody looking on.
fn observe(monitor: &mut Monitor, watch: &RefCell<Watch<'_>>, input: Input) {
    draw_silence(monitor, watch, input.at);
    watch.borrow_mut().witness.input(&input);
    take(monitor, watch, input);
    let mut watch = watch.borrow_mut();
    if let Some(at) = watch.first_out.take() {
        watch.outcome.peak_heat = watch.outcome.peak_heat.max(monitor.slip_heat_at(at));
    }
}

fn take(monitor: &mut Monitor, watch: &RefCell<Watch<'_>>, input: Input) {
    monitor.observe_with(input, &mut Looks(watch), &mut |verdict| watch.borrow_mut().verdict(verdict));
}

/// Draw what silence since the last motion proves of the speeds, up to `until`. Ticks on the way change no verdict.
fn draw_silence(monitor: &mut Monitor, watch: &RefCell<Watch<'_>>, until: Micros) {
    let next = |watch: &Watch<'_>| {
        let last = watch.outcome.newest;
        (last > Micros::ZERO).then(|| watch.drawn.max(Micros::new(last.get().saturating_add(SILENCE_US / 2))))
    };
    loop {
        let at = next(&watch.borrow());
        let Some(at) = at.filter(|at| *at < until) else { return };
        if until.get().saturating_sub(watch.borrow().outcome.newest.get()) < SILENCE_US {
            return;
        }
        // The stretches of the series grow as time goes on, so that even a jump to the end of time takes few steps.
        let step = (SILENCE_US / 2).max(watch.borrow().outcome.series.width_us());
        watch.borrow_mut().drawn = Micros::new(at.get().saturating_add(step));
        if watch.borrow().outcome.series.wants(at) {
            if at > monitor.newest() {
                take(monitor, watch, Input::new(at, Signal::Tick));
            }
            let judged = (monitor.slip_heat_at(at), monitor.knows_slip(at));
            let watch = &mut *watch.borrow_mut();
            let sample = Sample::take(at, watch.gather.newest(), judged, watch.settings, watch.reference);
            watch.outcome.series.take(&sample);
        }
    }
}

/// Everything that looks on.
struct Watch<'a> {
    outcome: Outcome,
    gather: Gather,
    witness: Witness,
    settings: &'a Checked,
    samples: Option<SamplesCsv<'a>>,
    events: Option<EventsCsv<'a>>,
    reference: Ppm,
    /// How far silence is drawn.
    drawn: Micros,
    /// The first-out in the present input.
    first_out: Option<Micros>,
    failed: Option<io::Error>,
}

/// Looks on between measure and judge.
struct Looks<'w, 'a>(&'w RefCell<Watch<'a>>);

impl Tap for Looks<'_, '_> {
    fn tells(&mut self, now: Micros, told: Told<'_>, signals: &Signals, plan: &Plan) {
        let watch = &mut *self.0.borrow_mut();
        match told {
            Told::Moved(_) => {
                let motion = Motion::of(signals, plan, now);
                watch.outcome.slip(now, watch.gather.newest(), &motion);
                watch.gather.motion(now, &motion);
                watch.witness.motion(now.get(), &motion);
            }
            Told::Signal(Signal::SpeedReference(reference)) => {
                watch.reference = *reference;
                watch.outcome.series.reference(now, *reference);
            }
            Told::Signal(Signal::DrivePower(power)) => {
                watch.gather.power(*power);
                watch.outcome.series.power(now, *power);
            }
            Told::Signal(Signal::Temperature(place, celsius)) => {
                watch.outcome.series.temperature(now, *place, *celsius);
            }
            Told::Signal(Signal::DriveRunning(on)) => watch.outcome.drive(now, *on),
            Told::Signal(Signal::OutletPlugged(plugged)) => watch.outcome.outlet.take(now, *plugged),
            Told::Signal(_) | Told::Late => {}
        }
    }

    fn told(&mut self, now: Micros, told: Told<'_>, signals: &Signals, judge: &Judge, plan: &Plan) {
        if let Told::Moved(_) = told {
            let judged = || (judge.slip_heat_at(plan, now), judge.knows_slip(signals, plan, now));
            self.0.borrow_mut().moved(now, judged);
        }
    }
}

impl Watch<'_> {
    /// A motion has been judged.
    fn moved(&mut self, at: Micros, judged: impl FnOnce() -> (Ppm, bool)) {
        let motion = self.gather.newest();
        self.outcome.run_up.motion(at, motion);
        for (place, contact) in slackside::input::Place::ALL.into_iter().zip(&motion.contacts) {
            if contact.rubbing_since.is_some() {
                self.outcome.series.rub(at, place);
            }
        }
        let to_file = self.samples.as_ref().is_some_and(|samples| samples.wants(at));
        let to_series = self.outcome.series.wants(at);
        if to_file || to_series {
            let sample = Sample::take(at, motion, judged(), self.settings, self.reference);
            if to_series {
                self.outcome.series.take(&sample);
                self.outcome.peak_heat = self.outcome.peak_heat.max(sample.slip_heat);
            }
            if let (true, Some(samples)) = (to_file, &mut self.samples) {
                let wrote = samples.write(&sample);
                self.note(wrote);
            }
        }
    }

    fn verdict(&mut self, verdict: &Verdict) {
        if matches!(verdict.change, Change::FirstOut(Some(_))) {
            self.first_out.get_or_insert(verdict.at);
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
        if let Err(error) = wrote {
            self.failed.get_or_insert(error);
        }
    }

    fn finish(self, survey: crate::trace::Survey, monitor: &Monitor) -> crate::error::Result<Outcome> {
        if let Some(error) = self.failed {
            return Err(error).context("a file could not be written; nothing is left of it");
        }
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
        Ok(outcome)
    }
}
