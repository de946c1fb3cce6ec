//! The pass itself: rows in, verdicts and samples out.

use std::io;

use anyhow::Context;
use slackside::diagnose::Gather;
use slackside::input::{Input, Signal};
use slackside::judge::Judge;
use slackside::measure::Measure;
use slackside::record::{Header, restore_parts};
use slackside::settings::Checked;
use slackside::sight::{Seen, Sight};
use slackside::survivor::Survivor;
use slackside::units::{Micros, Ppm};
use slackside::verdict::{Change, Verdict};

use super::events_csv::EventsCsv;
use super::outcome::Outcome;
use super::sample::Sample;
use super::samples_csv::SamplesCsv;
use super::units::check_units;
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

/// Where a replay begins.
#[derive(Clone, Copy)]
pub enum Begin<'a> {
    /// At power-up, with nothing known.
    Fresh,
    /// In the state a box was in.
    Keyframe {
        /// The header of the segment that begins with it.
        header: &'a Header,
        /// The state.
        keyframe: &'a [u8],
        /// Judge too. Without it only measure is as it was: for other limits on the same machine.
        with_judge: bool,
    },
}

/// Replay the trace.
///
/// # Errors
/// The trace is broken, or samples or events cannot be written.
pub fn replay(job: Job<'_>) -> anyhow::Result<Outcome> {
    replay_from(job, Begin::Fresh)
}

/// Replay the trace from a state.
///
/// # Errors
/// As [`replay`], or the keyframe cannot be restored.
pub fn replay_from(job: Job<'_>, begin: Begin<'_>) -> anyhow::Result<Outcome> {
    let Job { mut reader, settings, settings_name, notes, cautions, feet, samples, events, progress } = job;
    // Measure and judge apart, joined as `Monitor` joins them, so that every motion between them can be watched.
    let mut measure = Box::new(Measure::new());
    let mut judge = Box::new(Judge::new());
    measure.configure(settings);
    judge.configure(settings, &Survivor::default());
    if let Begin::Keyframe { header, keyframe, with_judge } = begin {
        restore_parts(&mut measure, with_judge.then_some(&mut *judge), header, keyframe)?;
    }
    let mut outcome = Outcome::begin(reader.name(), settings_name, settings, judge.status());
    outcome.notes = notes;
    outcome.cautions = cautions;
    outcome.feet = feet;
    let gather = Gather::new(settings);
    let mut watch = Watch { outcome, gather, settings, samples, events, reference: Ppm::ONE, failed: None };

    let (mut progress, read) = (progress, reader.progress());
    let mut batch = Vec::new();
    while reader.read_batch(&mut batch)? {
        for input in &batch {
            measure.observe(*input, |seen| watch.seen(seen, &mut judge));
        }
        if let Some(error) = watch.failed.take() {
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
        measure.observe(Input::new(last, Signal::Tick), |seen| watch.seen(seen, &mut judge));
        watch.silence(last, &judge);
    }
    watch.finish(survey, &judge)
}

/// Everything that looks on.
struct Watch<'a> {
    outcome: Outcome,
    gather: Gather,
    settings: &'a Checked,
    samples: Option<SamplesCsv<'a>>,
    events: Option<EventsCsv<'a>>,
    reference: Ppm,
    failed: Option<io::Error>,
}

impl Watch<'_> {
    fn seen(&mut self, seen: Seen<'_>, judge: &mut Judge) {
        let Sight::Motion(motion) = seen.sight else {
            match seen.sight {
                Sight::Reference(reference) => self.reference = reference,
                Sight::Power(power) => self.gather.power(power),
                Sight::Drive(on) => self.outcome.drive(seen.at, on),
                _ => {}
            }
            self.judge(seen, judge);
            return;
        };
        // What fell due before this motion is judged while the one before is still the newest to those who look on. That is
        // a tick more, which changes no verdict.
        if judge.next_deadline().is_some_and(|due| due <= seen.at) {
            self.judge(Seen { at: seen.at, sight: Sight::Wake }, judge);
        }
        self.silence(seen.at, judge);
        self.outcome.slip(seen.at, self.gather.newest(), motion);
        self.gather.motion(seen.at, motion);
        self.judge(seen, judge);

        self.outcome.run_up.motion(seen.at, motion);
        for (place, contact) in slackside::input::Place::ALL.into_iter().zip(&motion.contacts) {
            if contact.rubbing_since.is_some() {
                self.outcome.series.rub(seen.at, place);
            }
        }
        let to_file = self.samples.as_ref().is_some_and(|samples| samples.wants(seen.at));
        let to_series = self.outcome.series.wants(seen.at);
        if to_file || to_series {
            let sample = Sample::take(seen.at, motion, judge, self.settings, self.reference);
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

    /// Let judge see it, and note what it says.
    fn judge(&mut self, seen: Seen<'_>, judge: &mut Judge) {
        let mut first_out = None;
        judge.observe(seen, &mut |verdict| {
            if matches!(verdict.change, Change::FirstOut(Some(_))) {
                first_out.get_or_insert(verdict.at);
            }
            self.verdict(&verdict);
        });
        if let Some(at) = first_out {
            self.outcome.run_up.end(at, self.gather.newest());
            self.outcome.peak_heat = self.outcome.peak_heat.max(judge.slip_heat_at(at));
        }
    }

    /// Draw what silence since the last motion proves of the speeds, up to `until`.
    fn silence(&mut self, until: Micros, judge: &Judge) {
        let last = self.outcome.newest;
        if last == Micros::ZERO || until.get().saturating_sub(last.get()) < SILENCE_US {
            return;
        }
        let mut at = Micros::new(last.get().saturating_add(SILENCE_US / 2));
        while at < until {
            if self.outcome.series.wants(at) {
                let sample = Sample::take(at, self.gather.newest(), judge, self.settings, self.reference);
                self.outcome.series.take(&sample);
            }
            // The stretches of the series grow as time goes on, so that even a jump to the end of time takes few steps.
            let step = (SILENCE_US / 2).max(self.outcome.series.width_us());
            at = Micros::new(at.get().saturating_add(step));
        }
    }

    fn verdict(&mut self, verdict: &Verdict) {
        self.outcome.take(verdict);
        self.gather.verdict(verdict);
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

    fn finish(self, survey: crate::trace::Survey, judge: &Judge) -> anyhow::Result<Outcome> {
        if let Some(error) = self.failed {
            return Err(error).context("a file could not be written; nothing is left of it");
        }
        let mut outcome = self.outcome;
        outcome.warnings = survey.warnings(&outcome.settings.machine);
        outcome.survey = survey;
        if let (Some(ran_on), Some(dropped)) = (&mut outcome.ran_on_us, outcome.run_dropped) {
            let until = outcome.drive_off_at.or(outcome.survey.last).unwrap_or(dropped);
            *ran_on = until.get().saturating_sub(dropped.get());
        }
        outcome.status = judge.status().clone();
        outcome.evidence = self.gather.evidence();
        outcome.motion = *self.gather.newest();
        Ok(outcome)
    }
}
