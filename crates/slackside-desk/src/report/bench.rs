//! What if a limit had been another? The recorded inputs are judged again under changed settings, and told only as far as the recording
//! knows: once the leg was being stopped, it shows a leg that was being stopped.
//!
//! The page runs this very code, built for the browser (`crates/slackside-page`).

use std::sync::Arc;

use serde_json::{Value, json};
use slackside::conditions::Condition;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside::settings::schema::Range;
use slackside::settings::{Action, Checked, Field, LimitPart, Mend, Quantity, Rule, Settings, Violation};
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Verdict};

use super::clock::Clock;
use super::identity;
use super::story::lower;
use crate::monitor::plan_of;
use crate::recording::{About, MadeUnder, Proof, Recording, Source, prove, what_if};
use crate::replay::Outcome;

/// What is said beside the slider, always.
pub const CAUTION: &str = "This is what the box would have done with this one recording, and no reason to loosen a limit: other trips and healthy \
                           runs must be looked at too, and the leg's engineer decides.";

/// Positions of a slider at which the rules are asked.
const POSITIONS: i64 = 120;
/// Coupled limits are moved at most so often for one position.
const MOVES: usize = 12;

/// A recording on the bench.
pub struct Bench {
    recording: Recording,
    recorded: Sound<Arc<Plan>>,
    settings: Settings,
    proof: Proof,
    clock: Clock,
    verdicts: Vec<Verdict>,
}

/// The recording that an outcome kept, as a file with its settings; `None` where nothing was kept.
#[must_use]
pub fn recording(outcome: &Outcome) -> Option<Vec<u8>> {
    let about = About { source: Source::Trace, anchor: outcome.survey.anchor, ..About::default() };
    let made_under = MadeUnder::of(&outcome.settings);
    let recording = Recording::new("the trace", about, made_under, outcome.window.bytes.clone());
    (!recording.parts.is_empty()).then(|| recording.to_bytes().ok()).flatten()
}

impl Bench {
    /// Put a recording on the bench.
    ///
    /// # Errors
    /// It cannot be read, or came without its settings.
    pub fn of(bytes: &[u8]) -> crate::error::Result<Self> {
        let recording = Recording::from_bytes("the trace", bytes)?;
        let settings =
            recording.settings()?.ok_or_else(|| crate::error::Error::said("it came without its settings"))?;
        let recorded = plan_of(&settings);
        let run = recording.runs().last().unwrap_or(&[]);
        let proof = prove(run, &recorded);
        let first = run.first().and_then(|part| part.inputs().next()).map_or(Micros::ZERO, |input| input.at);
        let last = run.iter().flat_map(crate::recording::Part::inputs).map(|input| input.at).max().unwrap_or(first);
        let clock = Clock::new(first, last, recording.anchor());
        Ok(Self { recorded, settings: settings.into_settings(), proof, clock, verdicts: Vec::new(), recording })
    }

    /// What can be turned: setpoint and delay of every condition that can stop the leg or drop the feed here, those that did first.
    #[must_use]
    pub fn knobs(&self) -> Vec<Field> {
        let raised = |condition: Condition| {
            self.proof.verdicts.iter().any(|verdict| crate::replay::condition_of(&verdict.change) == Some(condition))
        };
        let acts = |condition: &Condition| {
            let limit = self.settings.limits.of(*condition);
            limit.enabled && limit.action != Action::Alarm && condition.unit() != slackside::conditions::Unit::Flag
        };
        let mut conditions: Vec<Condition> = Condition::ALL.into_iter().filter(acts).collect();
        // What stopped the leg comes first of all.
        let stopped = self.proof.verdicts.iter().find_map(|verdict| match verdict.change {
            Change::FirstOut(condition) => condition,
            _ => None,
        });
        conditions.sort_by_key(|condition| (Some(*condition) != stopped, !raised(*condition), condition.rank()));
        let parts = [LimitPart::Setpoint, LimitPart::OnDelay];
        let knobs = conditions.into_iter().flat_map(|condition| parts.map(|part| Field::Limit(condition, part)));
        knobs.filter(|knob| range(*knob).is_some()).collect()
    }

    /// What is to be known of the knobs, and the caution.
    #[must_use]
    pub fn told(&self) -> Value {
        let knobs: Vec<Value> = self.knobs().into_iter().filter_map(|knob| self.knob(knob)).collect();
        json!({"knobs": knobs, "caution": CAUTION})
    }

    fn knob(&self, knob: Field) -> Option<Value> {
        let (low, high) = range(knob)?;
        let Field::Limit(condition, part) = knob else { return None };
        let value = knob.get(&self.settings)?;
        let step = ((high - low) / POSITIONS).max(1);
        Some(json!({
            "condition": condition.entry().title,
            "part": if part == LimitPart::Setpoint { "setpoint" } else { "delay" },
            "key": knob.key().to_string(),
            "reason": condition.entry().reason,
            "low": low,
            "high": high,
            "step": nice(step),
            "value": value,
            "words": Quantity::new(value, knob.unit()).to_string(),
        }))
    }

    /// The positions of a knob that the rules allow, as stretches from and to, everything else as recorded, or moved with it.
    #[must_use]
    pub fn allowed(&self, knob: Field, together: bool) -> Vec<(i64, i64)> {
        let Some((low, high)) = range(knob) else { return Vec::new() };
        let mut stretches: Vec<(i64, i64)> = Vec::new();
        let mut open = false;
        for position in 0..=POSITIONS {
            let value = low + (high - low) * position / POSITIONS;
            let allowed = self.with(knob, value, together).1.is_empty();
            match stretches.last_mut() {
                Some(stretch) if open && allowed => stretch.1 = value,
                _ if allowed => stretches.push((value, value)),
                _ => {}
            }
            open = allowed;
        }
        stretches
    }

    /// The settings with a knob turned, and the rules that they break.
    fn with(&self, knob: Field, value: i64, together: bool) -> (Settings, Vec<Violation>) {
        let mut settings = self.settings.clone();
        let by = value - knob.get(&settings).unwrap_or(value);
        knob.put(&mut settings, value);
        if together {
            move_the_other(&mut settings, knob, by);
        }
        for _ in 0..MOVES {
            let broken = broken(&settings);
            let Some(violation) = broken.first() else { return (settings, Vec::new()) };
            if !together || !mended(&mut settings, knob, violation) {
                return (settings, broken);
            }
        }
        let broken = broken(&settings);
        (settings, broken)
    }

    /// Judge the recording with a knob turned: what the box would have done, in words; and the verdicts, kept for [`Bench::bytes`].
    pub fn turn(&mut self, knob: Field, value: i64, together: bool) -> Value {
        let (settings, broken) = self.with(knob, value, together);
        let words = Quantity::new(value, knob.unit()).to_string();
        self.verdicts.clear();
        let Ok(checked) = checked(settings) else {
            let rules: Vec<String> =
                broken.iter().map(|violation| format!("{}: {}", violation.field.key(), violation.reason())).collect();
            return json!({"value": words, "refused": rules});
        };
        let moved = self.moved(&checked, knob);
        let plan = plan_of(&checked);
        let run = self.recording.runs().last().unwrap_or(&[]);
        let (_, verdicts) = what_if(run, &self.recorded, &plan, &self.proof);
        self.verdicts = verdicts;
        let mut lines = self.outcome();
        if run.first().is_some_and(|part| !part.header.first) {
            lines.push(
                "Judging began afresh where this recording begins: delays and latches from before it are not known."
                    .to_owned(),
            );
        }
        // A stop later than the recorded one is nothing that the recording knows.
        let was = Self::stop(&self.proof.verdicts).map(|(at, _)| at);
        let stop = Self::stop(&self.verdicts).map(|(at, _)| at).filter(|at| was.is_none_or(|was| *at <= was));
        let stop = stop.map(Micros::get);
        json!({"value": words, "says": lines, "moved": moved, "stop_us": stop, "identity": identity(plan.identity())})
    }

    /// The verdicts of the last turn, each as the link sends it.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        let mut room = [0; 64];
        let mut bytes = Vec::new();
        for verdict in &self.verdicts {
            if let Ok(encoded) = postcard::to_slice(verdict, &mut room) {
                bytes.extend_from_slice(encoded);
            }
        }
        bytes
    }

    /// The other limits that were moved, in words.
    fn moved(&self, checked: &Checked, knob: Field) -> Vec<String> {
        let mut moved = Vec::new();
        slackside::settings::Section::each(&mut |section| {
            section.fields(&mut |field| {
                let (before, after) = (field.get(&self.settings), field.get(checked));
                if let (Some(after), true) = (after, before != after && field != knob) {
                    moved.push(format!("{} moved to {}", field.key(), Quantity::new(after, field.unit())));
                }
            });
        });
        moved
    }

    /// When the run permit was first dropped by a condition after it was given, and which.
    fn stop(verdicts: &[Verdict]) -> Option<(Micros, Condition)> {
        verdicts.iter().find_map(|verdict| match verdict.change {
            Change::Permit { permit: Permit::Run, allowed: false, because: Some(condition) } => {
                Some((verdict.at, condition))
            }
            _ => None,
        })
    }

    fn feed(verdicts: &[Verdict]) -> Option<Micros> {
        verdicts.iter().find_map(|verdict| match verdict.change {
            Change::Permit { permit: Permit::Feed, allowed: false, because: Some(_) } => Some(verdict.at),
            _ => None,
        })
    }

    /// What the box would have done, as far as the recording knows.
    fn outcome(&self) -> Vec<String> {
        let at = |moment: Micros| self.clock.at(moment);
        let was = Self::stop(&self.proof.verdicts).map(|(moment, _)| moment);
        let would = Self::stop(&self.verdicts);
        let mut lines = vec![match (was, would) {
            (Some(was), Some((would, condition))) if would < was => format!(
                "The box would have stopped the leg at {}, {} sooner: {}. What came after that in the recording belongs to a leg that ran on.",
                at(would),
                Clock::length(was.get() - would.get()),
                lower(condition.entry().title)
            ),
            (Some(was), Some((would, condition))) if would == was => {
                format!(
                    "The box would have stopped the leg at the same moment, {}: {}.",
                    at(was),
                    lower(condition.entry().title)
                )
            }
            (Some(was), _) => format!(
                "Not by {}; after that the leg was being stopped. Whether and when the box would have stopped it later, this recording \
                 cannot know.",
                at(was)
            ),
            (None, Some((would, condition))) => format!(
                "The box would have stopped the leg at {}: {}. What came after that in the recording belongs to a leg that ran on.",
                at(would),
                lower(condition.entry().title)
            ),
            (None, None) => "Not by the end of the recording. What would have come later is not known.".to_owned(),
        }];
        let (fed, would_feed) = (Self::feed(&self.proof.verdicts), Self::feed(&self.verdicts));
        if fed != would_feed
            && let Some(parted) = [fed, would_feed].into_iter().flatten().min()
        {
            lines.push(format!(
                "From {} on the feed permit would have been another: where the feeder obeys it, what follows is not known either.",
                at(parted)
            ));
        }
        lines
    }
}

/// The range of a knob.
fn range(knob: Field) -> Option<(i64, i64)> {
    match knob.range() {
        Range::Works(low, high) if low < high => Some((low, high)),
        _ => None,
    }
}

/// A step of 1, 2 or 5 times a power of ten, at most this one.
fn nice(most: i64) -> i64 {
    let mut step = 1;
    while step * 10 <= most {
        step *= 10;
    }
    [5, 2].into_iter().map(|times| step * times).find(|step| *step <= most).unwrap_or(step)
}

fn checked(settings: Settings) -> Result<Checked, ()> {
    settings.check().map_err(drop)
}

fn broken(settings: &Settings) -> Vec<Violation> {
    settings.clone().check().err().map(|violations| violations.to_vec()).unwrap_or_default()
}

/// An alarm and its stop.
const PAIRS: [(Condition, Condition); 2] =
    [(Condition::SlipHigh, Condition::SlipVeryHigh), (Condition::Underspeed, Condition::DeepUnderspeed)];

fn the_other(condition: Condition) -> Option<Condition> {
    PAIRS.into_iter().find_map(|(alarm, stop)| match condition {
        condition if condition == alarm => Some(stop),
        condition if condition == stop => Some(alarm),
        _ => None,
    })
}

/// Move the setpoint of the alarm with that of its stop, and the other way about.
fn move_the_other(settings: &mut Settings, knob: Field, by: i64) {
    let Field::Limit(condition, LimitPart::Setpoint) = knob else { return };
    let Some(other) = the_other(condition) else { return };
    let field = Field::Limit(other, LimitPart::Setpoint);
    if let (Some(value), Some((low, high))) = (field.get(settings), range(field)) {
        field.put(settings, (value + by).clamp(low, high));
    }
}

/// Mend a broken rule by another setting than the one that is turned; whether that was possible.
fn mended(settings: &mut Settings, knob: Field, violation: &Violation) -> bool {
    match (violation.rule, violation.mend, violation.field) {
        (_, Mend::StopSooner { on_delay: Some(delay), .. }, Field::Limit(condition, _))
            if knob != Field::Limit(condition, LimitPart::OnDelay) =>
        {
            Field::Limit(condition, LimitPart::OnDelay).put(settings, delay.get().into());
            true
        }
        (Rule::DeadbandSwallowsSetpoint | Rule::DeadbandBeyondGap, _, field) if field != knob => {
            // A deadband must be below its setpoint, and may be as wide as the gap.
            let bound = violation.bound - i64::from(violation.rule == Rule::DeadbandSwallowsSetpoint);
            let before = field.get(settings);
            field.put(settings, bound.max(0));
            before != field.get(settings)
        }
        (_, Mend::KeepTheBound, field) if field != knob && field.get(settings) == Some(violation.value) => {
            field.put(settings, violation.bound);
            true
        }
        _ => false,
    }
}
