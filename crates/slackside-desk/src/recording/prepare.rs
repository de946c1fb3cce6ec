//! A recording made ready for the replay driver.

use std::io::Cursor;
use std::path::Path;
use std::sync::Arc;

use crate::error::Context as _;
use slackside::record::{Anchor, BadKeyframe, CoreVersion};
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;

use super::file::{Part, Recording, Run, Source};
use super::prove::{Proof, prove};
use super::what_if::what_if;
use crate::files::Files;
use crate::monitor::{Monitor, measure_alike, on, plan_of};
use crate::replay::Outcome;
use crate::trace::{HEADER, Reader, TraceError, write_row};

/// The recording at `path`, if that is what the file is.
///
/// # Errors
/// It is a recording, and nothing in it can be read.
pub fn recording_at(files: &dyn Files, path: &Path) -> crate::error::Result<Option<Recording>> {
    let mut opening = [0; 4];
    // What cannot be opened is left to the trace reader to tell.
    let Ok(mut opened) = files.open(path) else { return Ok(None) };
    if opened.source.read_exact(&mut opening).is_err() || !Recording::is_one(&opening) {
        return Ok(None);
    }
    let mut bytes = opening.to_vec();
    opened.source.read_to_end(&mut bytes).with_context(|| format!("{} cannot be read", opened.name))?;
    Recording::from_bytes(&opened.name, &bytes).map(Some)
}

/// A recording, the stretch of it that is replayed, and what must be said of it.
pub struct Prepared<'a> {
    recording: &'a Recording,
    run: Run<'a>,
    plan: Sound<Arc<Plan>>,
    begins: Beginning,
    /// What spoils the outcome, to be said before anything else: settings that are not those of the recording, a replay that disagrees.
    pub cautions: Vec<String>,
    /// What is not known of it.
    pub notes: Vec<String>,
    /// What is known: where it came from, and how far this replay is the box's own.
    pub origin: Vec<String>,
}

enum Beginning {
    Fresh,
    /// Only measure is as it was under this plan: for other limits on the same machine.
    Measure(Sound<Arc<Plan>>),
    Whole,
}

impl<'a> Prepared<'a> {
    /// Prepare the newest stretch without a gap, to be held against `settings`.
    #[must_use]
    pub fn new(recording: &'a Recording, settings: &Checked) -> Self {
        let run = recording.runs().last().unwrap_or(&[]);
        let (mut cautions, mut notes, mut origin) = (Vec::new(), Vec::new(), origin(recording, run));
        notes.extend(recording.damage.iter().map(|damage| format!("Damaged: {damage}.")));
        let left_out = recording.parts.len() - run.len();
        if left_out > 0 {
            let missed = run.first().map_or(0, |part| part.header.missed);
            notes.push(format!(
                "The newest stretch without a gap is replayed; {left_out} segments before the gap ({missed} inputs missed there) are left \
                 out. Convert the recording to see them.",
            ));
        }
        let plan = plan_of(settings);
        let identity = run.first().map_or(0, |part| part.header.plan);
        let recorded = recording.made_under.plan().filter(|recorded| recorded.identity() == identity);
        cautions.extend(other_settings(recording, identity, settings, &plan));
        let mut told = |proof: &Proof, before: &str| {
            let words = format!("{before}{proof}");
            match (proof.no_claim, proof.disagreed) {
                (None, None) => origin.push(words),
                (None, Some(_)) => cautions.push(words),
                _ => notes.push(words),
            }
        };
        let core = run.first().map_or(CoreVersion::THIS, |part| part.header.core);
        let begins = if core != CoreVersion::THIS {
            told(&Proof { no_claim: Some(BadKeyframe::Core(core)), ..Proof::default() }, "");
            Beginning::Fresh
        } else if identity == plan.identity() {
            let proof = prove(run, &plan);
            told(&proof, "");
            if proof.no_claim.is_some() { Beginning::Fresh } else { Beginning::Whole }
        } else if let Some(recorded) = recorded {
            let proof = prove(run, &recorded);
            told(&proof, "Under the settings in the recording: ");
            notes.push(what_if(run, &recorded, &plan, &proof).0.to_string());
            if measure_alike(&recorded, &plan) && proof.no_claim.is_none() {
                Beginning::Measure(recorded)
            } else {
                Beginning::Fresh
            }
        } else {
            notes.push(format!(
                "It was recorded under settings of identity {identity:08X}, which did not come with it; these are {:08X}. It was \
                 replayed from a fresh start, and nothing is claimed of agreement with the box.",
                plan.identity()
            ));
            Beginning::Fresh
        };
        Self { recording, run, plan, begins, cautions, notes, origin }
    }

    /// The inputs, for the replay driver.
    ///
    /// # Errors
    /// As a trace of these inputs.
    pub fn reader(&self) -> Result<Reader, TraceError> {
        let mut csv = format!("{HEADER}\n").into_bytes();
        if let Some(Anchor { at, desk_us, uncertainty }) = self.recording.anchor() {
            csv.extend(format!("#anchor {} {desk_us} {}\n", at.get(), uncertainty.get()).bytes());
        }
        self.run.iter().flat_map(Part::inputs).for_each(|input| write_row(&input, &mut csv));
        Ok(Reader::from_read(&self.recording.name, Cursor::new(csv))?.counting_inputs())
    }

    /// Tell the outcome of this replay that it is of a recording, where that came from, and whether part of it could not be read.
    pub fn mark(&self, outcome: &mut Outcome) {
        outcome.origin.clone_from(&self.origin);
        outcome.part_unread = !self.recording.damage.is_empty();
        outcome.is_text = false;
    }

    /// The monitor that the replay goes on from.
    #[must_use]
    pub fn monitor(&self) -> Box<Monitor> {
        let mut monitor = on(&self.plan);
        let Some(first) = self.run.first() else { return monitor };
        match &self.begins {
            Beginning::Fresh => {}
            Beginning::Measure(recorded) => {
                let mut then = on(recorded);
                if then.restore(recorded.clone(), &first.header, &first.keyframe).is_ok() {
                    monitor.go_on_measuring(&then, &mut |_| {});
                }
            }
            Beginning::Whole => {
                // It was restored once already. If it cannot be, it is as freshly configured.
                let _ = monitor.restore(self.plan.clone(), &first.header, &first.keyframe);
            }
        }
        monitor
    }
}

/// That the recording was made under other settings than those it is held against, if so. Recordings of version 1 say the identity of the
/// settings' image.
fn other_settings(recording: &Recording, identity: u32, settings: &Checked, plan: &Plan) -> Option<String> {
    if identity == plan.identity() || identity == settings.image_identity() {
        return None;
    }
    let leg = &settings.machine.leg;
    let recorded = recording.made_under.plan();
    let of = recorded.map(|recorded| recorded.leg_name().to_owned()).filter(|of| **of != **leg);
    let of = of.map_or_else(String::new, |of| format!(" of {of}"));
    Some(format!(
        "This was recorded under settings {identity:08X}{of}, and is held against {:08X} of {leg}. What is told is what these settings \
         would have made of it, not what the box did.",
        plan.identity()
    ))
}

/// Where it came from.
fn origin(recording: &Recording, run: Run<'_>) -> Vec<String> {
    let mut notes = Vec::new();
    let about = &recording.about;
    if about.source == Source::Box {
        let serial = if about.serial.is_empty() { "an unnamed box" } else { &about.serial };
        let session = run.first().map_or(0, |part| part.header.session);
        notes
            .push(format!("Recorded by {serial}, firmware {}, in its session {session}.", or_unknown(&about.firmware)));
    }
    notes
}

fn or_unknown(text: &str) -> &str {
    if text.is_empty() { "unknown" } else { text }
}
