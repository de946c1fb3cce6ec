//! A recording made ready for the replay driver.

use std::io::Cursor;
use std::path::Path;
use std::sync::Arc;

use anyhow::Context as _;
use slackside::record::{BadKeyframe, CoreVersion};
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;

use super::file::{Part, Recording, Run, Seconds, Source};
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
pub fn recording_at(files: &dyn Files, path: &Path) -> anyhow::Result<Option<Recording>> {
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
    /// What everybody who reads the outcome must know.
    pub notes: Vec<String>,
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
        let mut notes = origin(recording, run);
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
        let core = run.first().map_or(CoreVersion::THIS, |part| part.header.core);
        let begins = if core != CoreVersion::THIS {
            notes.push(Proof { no_claim: Some(BadKeyframe::Core(core)), ..Proof::default() }.to_string());
            Beginning::Fresh
        } else if identity == plan.identity() {
            let proof = prove(run, &plan);
            notes.push(proof.to_string());
            if proof.no_claim.is_some() { Beginning::Fresh } else { Beginning::Whole }
        } else if let Some(recorded) = recorded {
            let proof = prove(run, &recorded);
            notes.push(format!("Under the settings in the recording: {proof}"));
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
        Self { recording, run, plan, begins, notes }
    }

    /// The inputs, for the replay driver.
    ///
    /// # Errors
    /// As a trace of these inputs.
    pub fn reader(&self) -> Result<Reader, TraceError> {
        let mut csv = format!("{HEADER}\n").into_bytes();
        self.run.iter().flat_map(Part::inputs).for_each(|input| write_row(&input, &mut csv));
        Reader::from_read(&self.recording.name, Cursor::new(csv))
    }

    /// Tell the outcome of this replay whether part of the recording could not be read.
    pub fn mark(&self, outcome: &mut Outcome) {
        outcome.part_unread = !self.recording.damage.is_empty();
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

/// Where it came from, and where its time lies in the day.
fn origin(recording: &Recording, run: Run<'_>) -> Vec<String> {
    let mut notes = Vec::new();
    let about = &recording.about;
    if about.source == Source::Box {
        let serial = if about.serial.is_empty() { "an unnamed box" } else { &about.serial };
        let session = run.first().map_or(0, |part| part.header.session);
        notes
            .push(format!("Recorded by {serial}, firmware {}, in its session {session}.", or_unknown(&about.firmware)));
    }
    // What a crystal drifts at most, from memory: 50 ppm.
    let begin = run.first().map(|part| part.header.at);
    if let (Some(anchor), Some(begin)) = (recording.anchor(), begin)
        && let Some((desk_us, doubt_us)) = anchor.desk_time(begin, 50)
    {
        notes.push(format!(
            "Its time {} is {} by the desk's clock, give or take {:.3} s.",
            Seconds(begin),
            utc(desk_us),
            doubt_us as f64 * 1e-6
        ));
    }
    notes
}

fn or_unknown(text: &str) -> &str {
    if text.is_empty() { "unknown" } else { text }
}

/// A moment of the desk's clock as `2026-01-31 12:34:56 UTC`.
///
/// Days to date as in "chrono-Compatible Low-Level Date Algorithms", `civil_from_days`.
fn utc(desk_us: i64) -> String {
    let seconds = desk_us.div_euclid(1_000_000);
    let (days, second) = (seconds.div_euclid(86_400), seconds.rem_euclid(86_400));
    let shifted = days + 719_468;
    let (era, day_of_era) = (shifted.div_euclid(146_097), shifted.rem_euclid(146_097));
    let year_of_era = (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted_month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * shifted_month + 2) / 5 + 1;
    let month = if shifted_month < 10 { shifted_month + 3 } else { shifted_month - 9 };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    format!("{year:04}-{month:02}-{day:02} {:02}:{:02}:{:02} UTC", second / 3_600, second / 60 % 60, second % 60)
}

#[cfg(test)]
mod tests {
    use super::utc;

    #[test]
    fn dates_are_those_of_the_calendar() {
        // Unix time of well-known moments (POSIX.1-2017, 4.16 "Seconds Since the Epoch", and its rationale).
        assert_eq!(utc(0), "1970-01-01 00:00:00 UTC");
        assert_eq!(utc(951_782_400_000_000), "2000-02-29 00:00:00 UTC");
        assert_eq!(utc(1_234_567_890_999_999), "2009-02-13 23:31:30 UTC");
        assert_eq!(utc(-1), "1969-12-31 23:59:59 UTC");
    }
}
