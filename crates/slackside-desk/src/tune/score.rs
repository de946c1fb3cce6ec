//! What a setting makes of a trace.
//!
//! The recorded leg ran on, whatever the setting would have done. So scoring ends at the first run permit dropped: from there the
//! leg would have behaved otherwise. From the first feed permit dropped the leg would have been emptying: nuisance is no longer
//! counted and hours no longer add up; a stop that must come is still timed, on the recorded motion, and counted as such. One that
//! nothing called for is not known then: who drops the feed in time may be spared it, and must not be taken to be. Of a leg that obeyed its own monitor the record ends where that dropped a permit: a
//! setting that had not stopped it by then is not known to stop it late or never.

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::settings::Checked;
use slackside::verdict::{Change, Permit, Phase, Verdict};

use super::corpus::Case;
use super::listen::{Listen, Turned};
use super::reckoned;
use super::run::judge;
use super::stats::floods;

/// What became of the stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Stop {
    /// None came and none had to.
    None = 0,
    /// One came that had to, in time.
    InTime = 1,
    /// It came, too late.
    Late = 2,
    /// It had to come and did not.
    Missed = 3,
    /// One came that nothing called for, with nothing wrong or not yet.
    Nuisance = 4,
    /// One came that was excused.
    Excused = 5,
    /// One came that nothing called for, with a fault of the machine at work.
    Uncalled = 6,
    /// The record does not tell: it had to come, and the record ends before it is known whether it would have; or it came with nothing
    /// calling for it, on the recorded motion of a leg whose feed this setting had dropped before.
    NotKnown = 7,
}

impl Stop {
    /// From its number.
    #[must_use]
    pub const fn from_number(number: u8) -> Self {
        match number {
            1 => Self::InTime,
            2 => Self::Late,
            3 => Self::Missed,
            4 => Self::Nuisance,
            5 => Self::Excused,
            6 => Self::Uncalled,
            7 => Self::NotKnown,
            _ => Self::None,
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::InTime => "in time",
            Self::Late => "late",
            Self::Missed => "missed",
            Self::Nuisance => "nuisance",
            Self::Excused => "excused",
            Self::Uncalled => "not called for",
            Self::NotKnown => "not known",
        }
    }
}

/// One setting on one trace. Whole numbers throughout, so that a file gives back what was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// The setting's number.
    pub setting: u32,
    /// The trace's number in the study.
    pub case: u32,
    /// The number of its family on its leg: traces of one are no independent samples.
    pub group: u32,
    /// Whether a stop had to come.
    pub needs_stop: bool,
    /// Whether the trace is held out.
    pub held_out: bool,
    /// What became of the stop.
    pub stop: Stop,
    /// When the run permit dropped, in microseconds; -1 if it did not.
    pub stop_us: i64,
    /// From when something was wrong until then; -1 if it does not apply.
    pub took_us: i64,
    /// When a stop was due, on a trace that calls for one; -1 if none is.
    pub due_us: i64,
    /// When the feed permit was first dropped by a condition; -1 if it was not.
    pub feed_us: i64,
    /// The condition that stopped it, by rank; -1 if none.
    pub first_out: i16,
    /// Healthy running time that was judged, and so counts for nuisance.
    pub running_us: i64,
    /// Alarms that nothing called for.
    pub nuisance_alarms: u32,
    /// Feed drops that nothing called for: 0 or 1, since counting ends with it.
    pub nuisance_feed: u32,
    /// Alarm floods among the nuisance.
    pub floods: u32,
    /// Alarms that should have come, and are known to have come or not.
    pub alarms_due: u32,
    /// Those of them that did not.
    pub alarms_missed: u32,
    /// Slip heat in rim and lagging at the stop, net of cooling, in joules; -1 if it does not apply.
    pub heat_j: i64,
    /// How far the rim slid past the belt from when something was wrong, in millimetres; -1 if it does not apply.
    pub slid_mm: i64,
    /// Belt speed at the stop less 80 % of normal, in ppm of normal; `i32::MIN` if it does not apply.
    pub margin_ppm: i32,
    /// Whether the last three are the plant's truth; else they are the monitor's own reckoning.
    pub truth: bool,
    /// Whether the leg was still starting when it was stopped.
    pub starting: bool,
}

struct Watcher<'a> {
    case: &'a Case,
    outcome: Outcome,
    given: bool,
    running_since: Option<u64>,
    starting: bool,
    counting: bool,
    alarms: Vec<u64>,
    met: Vec<bool>,
    first_out: Option<Condition>,
}

impl Listen for Watcher<'_> {
    fn verdict(&mut self, verdict: Verdict) -> bool {
        self.take(verdict)
    }

    /// Once nuisance is not counted any more it is only asked which alarms that should come do.
    fn sums_up(&self) -> bool {
        !self.counting
    }

    fn turned(&mut self, turned: &Turned<'_>) -> bool {
        let known_until_us = self.case.expected.known_until_us;
        let by_then = |at: &u64| *at <= known_until_us;
        for (due, met) in self.case.expected.alarms.iter().zip(&mut self.met) {
            let mut raised = turned.turns().filter(|(_, raises)| *raises).map(|(at, _)| at.get()).take_while(by_then);
            *met = *met || raised.any(|at| due.is_met(turned.condition, at));
        }
        // Others may have come before that.
        true
    }
}

impl Watcher<'_> {
    fn close(&mut self, at: u64) {
        if let Some(since) = self.running_since.take()
            && self.counting
        {
            let until = at.min(self.case.expected.known_until_us);
            self.outcome.running_us += self.case.expected.healthy_us(since, until) as i64;
        }
    }

    fn take(&mut self, verdict: Verdict) -> bool {
        let at = verdict.at.get();
        let expected = &self.case.expected;
        if at > expected.known_until_us {
            return false;
        }
        match verdict.change {
            Change::Phase(phase) => {
                self.starting = phase == Phase::Starting;
                if matches!(phase, Phase::Starting | Phase::Running) {
                    self.running_since.get_or_insert(at);
                } else {
                    self.close(at);
                }
            }
            Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => {
                if self.counting && !expected.excuses(condition, at) {
                    self.outcome.nuisance_alarms += 1;
                    self.alarms.push(at);
                }
                for (due, met) in expected.alarms.iter().zip(&mut self.met) {
                    *met |= due.is_met(condition, at);
                }
            }
            Change::FirstOut(first) => self.first_out = first.or(self.first_out),
            Change::Permit { permit: Permit::Feed, allowed: false, because: Some(because) }
                if self.outcome.feed_us < 0 =>
            {
                self.outcome.feed_us = at as i64;
                if !expected.excuses(because, at) {
                    self.outcome.nuisance_feed = 1;
                }
                // With the feed gone the recorded leg is no longer this leg.
                if self.counting {
                    let running = self.running_since;
                    self.close(at);
                    self.running_since = running;
                    self.counting = false;
                }
            }
            Change::Permit { permit: Permit::Run, allowed, .. } => {
                if self.given && !allowed {
                    self.outcome.stop_us = at as i64;
                    return false;
                }
                self.given = allowed;
            }
            _ => {}
        }
        true
    }
}

/// Judge one trace under one setting.
#[must_use]
pub fn score(setting: u32, number: u32, case: &Case, settings: &Checked) -> Outcome {
    let expected = &case.expected;
    let outcome = Outcome {
        setting,
        case: number,
        group: case.group,
        needs_stop: expected.stop.is_some(),
        held_out: case.held_out,
        stop: Stop::None,
        stop_us: -1,
        took_us: -1,
        due_us: expected.stop.map_or(-1, |needed| needed.due_us as i64),
        feed_us: -1,
        first_out: -1,
        running_us: 0,
        nuisance_alarms: 0,
        nuisance_feed: 0,
        floods: 0,
        alarms_due: 0,
        alarms_missed: 0,
        heat_j: -1,
        slid_mm: -1,
        margin_ppm: i32::MIN,
        truth: false,
        starting: false,
    };
    let mut watcher = Watcher {
        case,
        outcome,
        given: false,
        running_since: None,
        starting: false,
        counting: true,
        alarms: Vec::new(),
        met: vec![false; expected.alarms.len()],
        first_out: None,
    };
    judge(&case.store, settings, &case.heat, &mut watcher);
    let stopped = u64::try_from(watcher.outcome.stop_us).ok();
    watcher.close(stopped.unwrap_or(case.store.end().get()));
    let (met, alarms, first_out, starting) = (watcher.met, watcher.alarms, watcher.first_out, watcher.starting);
    let mut outcome = watcher.outcome;
    // What should have come after the stop, or after the record ends, is not known, and so not missed.
    let known_until = stopped.unwrap_or(expected.known_until_us).min(expected.known_until_us);
    for (due, met) in expected.alarms.iter().zip(met) {
        if met || due.within.to_us <= known_until {
            outcome.alarms_due += 1;
            outcome.alarms_missed += u32::from(!met);
        }
    }
    outcome.floods = floods(&alarms) as u32;
    if let (Some(_), Some(condition)) = (stopped, first_out) {
        outcome.first_out = condition.rank() as i16;
    }
    outcome.stop = match (expected.stop, stopped) {
        (_, Some(at)) => match expected.stop_at(at) {
            // Only after the feed had dropped, and not in the same step: the leg would have been emptying by then.
            Stop::Nuisance | Stop::Uncalled if (0..at as i64).contains(&outcome.feed_us) => Stop::NotKnown,
            stop => stop,
        },
        (Some(needed), None) if needed.late_us > expected.known_until_us => Stop::NotKnown,
        (Some(_), None) => Stop::Missed,
        (None, None) => Stop::None,
    };
    if let (Stop::InTime | Stop::Late, Some(needed), Some(at)) = (outcome.stop, expected.stop, stopped) {
        outcome.starting = starting;
        outcome.took_us = (at - needed.from_us.min(at)) as i64;
        at_stop(&mut outcome, case, settings, needed.from_us, at);
    }
    outcome
}

/// Heat, slid length and belt speed at a stop.
fn at_stop(outcome: &mut Outcome, case: &Case, settings: &Checked, from_us: u64, at_us: u64) {
    let truth = case.course.as_ref().and_then(|course| {
        let (mut stop, before) = (course.at(at_us)?, course.at(from_us)?);
        stop.slid_m -= before.slid_m;
        Some(stop)
    });
    outcome.truth = truth.is_some();
    let Some(point) = truth.or_else(|| reckoned::at_stop(case, settings, from_us, at_us)) else { return };
    outcome.heat_j = point.heat_j.max(-1.0).round() as i64;
    outcome.slid_mm = (point.slid_m.max(0.0) * 1e3).round() as i64;
    outcome.margin_ppm = ((point.belt_pct - 80.0) * 1e4).round() as i32;
}
