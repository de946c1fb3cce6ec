//! The pass itself: rows in, verdicts and samples out.

use slackside::retained::Retained;
use slackside::settings::Checked;

use super::events_csv::EventsCsv;
use super::outcome::Outcome;
use super::piece::Batch;
use super::player::Player;
use super::samples_csv::SamplesCsv;
use super::units::check_units;
use super::watch::Watch;
use crate::crew::{Alone, Crew};
use crate::error::Error;
use crate::monitor::{Monitor, monitor, plan_of};
use crate::trace::{Progress, Reader};

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
    replay_from(job, fresh, &Alone)
}

/// Replay the trace from the state that this monitor is in, reading, judging and looking on at once if the crew has hands for that.
///
/// # Errors
/// As [`replay`].
pub fn replay_from(job: Job<'_>, monitor: Box<Monitor>, crew: &impl Crew) -> crate::error::Result<Outcome> {
    let Job { mut reader, settings, settings_name, notes, cautions, feet, samples, events, mut progress } = job;
    let mut outcome = Outcome::begin(reader.name(), settings_name, settings, &monitor.status());
    outcome.notes = notes;
    outcome.cautions = cautions;
    outcome.feet = feet;
    let read = reader.progress();
    let every = samples.as_ref().map(SamplesCsv::every);
    let plan = monitor.plan().copied().unwrap_or_else(|| *plan_of(settings));
    let mut watch = Watch::new(outcome, settings, plan, samples, events);
    let mut player = Player::new(monitor, every);
    crew.relay(
        |batch: &mut Batch| {
            let more = reader.read_batch(&mut batch.inputs)?;
            batch.numbers.clear();
            batch.numbers.extend_from_slice(reader.numbers());
            if !more {
                check_units(reader.name(), reader.survey(), &settings.machine)?;
                batch.ends = reader.survey().last;
            }
            Ok::<_, Error>(more)
        },
        |batch, piece| {
            player.play(batch, piece);
            Ok(())
        },
        |piece| {
            watch.take(piece)?;
            if let Some(progress) = &mut progress {
                progress(&read);
            }
            Ok(())
        },
    )?;
    let (monitor, window) = player.finish();
    Ok(watch.finish(reader.survey().clone(), &monitor, window))
}
