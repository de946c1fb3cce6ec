//! How the monitor does, judged by the plant's truth: one run ([`judged`]), healthy legs drawn at random ([`population`]), faults
//! drawn at random ([`templates`]), and the page of the book that says it ([`say`]).

pub mod alarms;
pub mod calls;
pub mod judged;
mod page;
pub mod population;
pub mod strata;
pub mod templates;

use std::sync::atomic::{AtomicU64, Ordering};

use slackside::conditions::Condition;
use slackside::settings::{Checked, Settings};

use super::Scenario;
use super::run::Obeys;
use super::settings::{Commissioned, settings_for};
use crate::crew::Crew;
use crate::plant::leg::Leg;
use crate::tune::stats::rate;
pub use judged::{Class, How, Scored, score};
pub use page::say;
use population::{HEALTHY, STRAINED, Shifts};
pub use strata::Stratum;

/// Settings that pass every rule, or what is wrong with them.
///
/// # Errors
/// The leg's figures give settings that break a rule of the monitor.
pub fn checked(leg: &Leg, commissioned: &Commissioned) -> crate::error::Result<Checked> {
    sound(settings_for(leg, commissioned), &leg.name)
}

/// Settings that pass every rule, or what is wrong with those of that leg.
fn sound(settings: Settings, leg: &str) -> crate::error::Result<Checked> {
    settings.check().map_err(|violations| {
        let all: Vec<String> = violations.iter().map(ToString::to_string).collect();
        crate::error::Error::said(format!("the monitor refuses the settings of {leg}: {}", all.join("; ")))
    })
}

/// The largest rate for each hour that `events` in `hours` leave open, one-sided at 95 %: the upper end of two-sided 90 %.
#[must_use]
pub fn upper_bound(events: u32, hours: f64) -> f64 {
    rate(u64::from(events), hours, 1.0, 0.9).high
}

/// What to score.
pub struct Job<'a> {
    /// Where the scenarios are from, for the page.
    pub place: &'a str,
    /// The scenarios.
    pub scenarios: Vec<Scenario>,
    /// Healthy hours wanted, with the motor on. Of strained shifts there are as many for each stratum.
    pub hours: f64,
    /// Runs of each scenario as it is written.
    pub repeat: u32,
    /// Faulty runs drawn at random.
    pub random: u32,
    /// First seed.
    pub seed: u64,
}

/// Is told what is being done, how much of it is done, and how much there is.
pub type Progress<'a> = dyn Fn(&str, u64, u64) + Sync + 'a;

/// One scored run, with what it is counted under.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Fault or stratum.
    pub what: String,
    /// The leg's place among the built-in ones, or its name.
    pub leg: String,
    /// How it can be run again.
    pub again: String,
    /// What came of it.
    pub scored: Scored,
    /// How many legs were drawn before it whose settings the monitor refused.
    pub refused: u64,
}

/// All that was scored.
pub struct Results {
    /// Healthy shifts.
    pub healthy: Vec<(Stratum, Entry)>,
    /// Shifts of legs on which nothing is broken and that cannot lift what comes.
    pub strained: Vec<(Stratum, Entry)>,
    /// Faulty runs drawn at random.
    pub random: Vec<Entry>,
    /// Scenarios as written, by scenario.
    pub written: Vec<(Scenario, Vec<Entry>)>,
    /// Scenarios with every fault at other severities.
    pub swept: Vec<(String, f64, Entry)>,
}

/// What counts, in one line: the fewer of the last seven the better.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Runs.
    pub runs: u32,
    /// Runs that called for a stop.
    pub called: u32,
    /// Stops between call and due.
    pub in_time: u32,
    /// Stops before the call, with the fault at work that then called for one.
    pub early: u32,
    /// Stops at a fault of a sensor or contact.
    pub fail_safe: u32,
    /// Alarms that were due.
    pub alarms_due: u32,
    /// Stops too late.
    pub late: u32,
    /// Stops that never came.
    pub missed: u32,
    /// False stops with a fault of the machine at work.
    pub uncalled: u32,
    /// False stops with nothing wrong.
    pub nuisance: u32,
    /// Alarms that did not come in time.
    pub alarms_missed: u32,
    /// Alarms that nothing called for.
    pub false_alarms: u32,
    /// Runs with any such alarm.
    pub false_alarm_runs: u32,
}

impl Counts {
    /// Of those runs.
    #[must_use]
    pub fn of<'a>(runs: impl IntoIterator<Item = &'a Scored>) -> Self {
        let mut counts = Self::default();
        for one in runs {
            counts.runs += 1;
            counts.called += u32::from(one.call.is_some());
            counts.alarms_due += one.due.len() as u32;
            counts.alarms_missed += one.missed.len() as u32;
            counts.false_alarms += one.false_alarms.len() as u32;
            counts.false_alarm_runs += u32::from(!one.false_alarms.is_empty());
            match one.class {
                Class::Quiet => {}
                Class::InTime => counts.in_time += 1,
                Class::Early => counts.early += 1,
                Class::Late => counts.late += 1,
                Class::Missed => counts.missed += 1,
                Class::FailSafe => counts.fail_safe += 1,
                Class::Uncalled => counts.uncalled += 1,
                Class::Nuisance => counts.nuisance += 1,
            }
        }
        counts
    }

    /// Stops that were called for and not taken away by a fail-safe one before: what `late` and `missed` are a share of.
    #[must_use]
    pub const fn tried(&self) -> u32 {
        self.in_time + self.early + self.late + self.missed
    }

    /// False stops.
    #[must_use]
    pub const fn false_stops(&self) -> u32 {
        self.uncalled + self.nuisance
    }
}

struct Ready {
    scenario: Scenario,
    commissioned: Commissioned,
    settings: Checked,
}

/// Score everything.
///
/// # Errors
/// The monitor refuses the settings of a leg.
pub fn run_all(job: Job<'_>, crew: &impl Crew, progress: &Progress<'_>) -> crate::error::Result<Results> {
    let ready = crew.each(job.scenarios, |scenario| {
        let commissioned = Commissioned::measure(&scenario.leg);
        let settings = checked(&scenario.leg, &commissioned)?;
        Ok(Ready { scenario, commissioned, settings })
    });
    let ready = ready.into_iter().collect::<crate::error::Result<Vec<Ready>>>()?;
    let work = Work { crew, progress, place: job.place };
    let written = work.written(&ready, job.repeat, job.seed)?;
    let swept = work.swept(&ready, job.seed)?;
    let random = work.random(job.seed, (0..job.random as usize).collect())?;
    let healthy = work.healthy(job.hours, job.seed)?;
    let shifts = healthy.len() * STRAINED.strata.len() / HEALTHY.strata.len();
    let strained = work.shifts(&STRAINED, job.seed, (0..shifts).collect())?;
    let written = ready.into_iter().map(|ready| ready.scenario).zip(written).collect();
    Ok(Results { healthy, strained, random, written, swept })
}

/// Faulty runs drawn at random, by their numbers.
///
/// # Errors
/// The monitor refuses the settings of a leg.
pub fn run_random(
    seed: u64,
    numbers: Vec<usize>,
    crew: &impl Crew,
    progress: &Progress<'_>,
) -> crate::error::Result<Vec<Entry>> {
    Work { crew, progress, place: "" }.random(seed, numbers)
}

/// Shifts of a kind, by their numbers.
///
/// # Errors
/// The monitor refuses the settings of a leg.
pub fn run_shifts(
    of: &Shifts,
    seed: u64,
    numbers: Vec<usize>,
    crew: &impl Crew,
    progress: &Progress<'_>,
) -> crate::error::Result<Vec<(Stratum, Entry)>> {
    Work { crew, progress, place: "" }.shifts(of, seed, numbers)
}

/// Who does the work, and who is told.
struct Work<'a, C> {
    crew: &'a C,
    progress: &'a Progress<'a>,
    place: &'a str,
}

impl<C: Crew> Work<'_, C> {
    /// Do all jobs and tell how far it is.
    fn each<T: Send, R: Send>(
        &self,
        what: &str,
        jobs: Vec<T>,
        work: impl Fn(T) -> crate::error::Result<R> + Send + Sync,
    ) -> crate::error::Result<Vec<R>> {
        let all = jobs.len() as u64;
        let done = AtomicU64::new(0);
        (self.progress)(what, 0, all);
        let results = self.crew.each(jobs, |job| {
            let result = work(job);
            (self.progress)(what, done.fetch_add(1, Ordering::Relaxed) + 1, all);
            result
        });
        results.into_iter().collect()
    }

    fn one(&self, ready: &Ready, seed: u64, severity: Option<f64>) -> crate::error::Result<Entry> {
        let mut again = format!("slackside simulate {}/{}.toml --seed {seed}", self.place, ready.scenario.name);
        let scored = match severity {
            None => score(&ready.scenario, &ready.commissioned, &ready.settings, seed, How::default())?,
            Some(severity) => {
                again += &format!(" --severity {severity}");
                let mut scenario = ready.scenario.clone();
                scenario.set_severity(severity);
                score(&scenario, &ready.commissioned, &ready.settings, seed, How::default())?
            }
        };
        let (what, leg) = (ready.scenario.name.clone(), ready.scenario.leg.name.clone());
        Ok(Entry { what, leg, again, scored, refused: 0 })
    }

    fn written(&self, ready: &[Ready], repeat: u32, seed: u64) -> crate::error::Result<Vec<Vec<Entry>>> {
        let jobs: Vec<(usize, u64)> =
            (0..ready.len()).flat_map(|index| (0..u64::from(repeat)).map(move |i| (index, seed + i))).collect();
        let mut all = vec![Vec::new(); ready.len()];
        let scored =
            self.each("as written", jobs, |(index, seed)| Ok((index, self.one(&ready[index], seed, None)?)))?;
        for (index, entry) in scored {
            all[index].push(entry);
        }
        Ok(all)
    }

    fn swept(&self, ready: &[Ready], seed: u64) -> crate::error::Result<Vec<(String, f64, Entry)>> {
        let jobs: Vec<(usize, f64, u64)> = (0..ready.len())
            .filter(|&index| !ready[index].scenario.faults.is_empty())
            .flat_map(|index| page::LEVELS.into_iter().map(move |level| (index, level)))
            .flat_map(|(index, level)| (0..page::SWEEPS).map(move |i| (index, level, seed + 1_000 + i)))
            .collect();
        self.each("severities swept", jobs, |(index, level, seed)| {
            Ok((ready[index].scenario.name.clone(), level, self.one(&ready[index], seed, Some(level))?))
        })
    }

    fn random(&self, seed: u64, numbers: Vec<usize>) -> crate::error::Result<Vec<Entry>> {
        self.each("faults at random", numbers, |index| {
            let (kind, drawn) = templates::faulty(seed, index)?;
            let scenario = &drawn.scenario;
            let scored = score(scenario, &drawn.commissioned, &drawn.settings, scenario.seed, How::default())?;
            let again = format!("slackside simulate --random {index} --seed {seed}");
            Ok(Entry { what: kind.name(), leg: scenario.leg.name.clone(), again, scored, refused: drawn.refused })
        })
    }

    fn shifts(&self, of: &Shifts, seed: u64, numbers: Vec<usize>) -> crate::error::Result<Vec<(Stratum, Entry)>> {
        let scored = self.crew.each(numbers, |index| {
            let (stratum, drawn) = of.draw(seed, index)?;
            let scenario = &drawn.scenario;
            // The leg obeys here: a stop that was not called for costs the rest of the shift.
            let how = How { obeys: Obeys::Permits, healthy: true };
            let scored = score(scenario, &drawn.commissioned, &drawn.settings, scenario.seed, how)?;
            let again = format!("slackside simulate --{} {index} --seed {seed}", of.name);
            let what = stratum.words().to_owned();
            Ok((stratum, Entry { what, leg: scenario.leg.name.clone(), again, scored, refused: drawn.refused }))
        });
        scored.into_iter().collect()
    }

    fn healthy(&self, hours: f64, seed: u64) -> crate::error::Result<Vec<(Stratum, Entry)>> {
        let mut all = Vec::new();
        let (mut run, mut next) = (0.0, 0_usize);
        // Whole rounds of every stratum on every leg, until the hours are full.
        let round = Stratum::ALL.len() * super::legs::NAMES.len();
        while run < hours {
            for (stratum, entry) in self.shifts(&HEALTHY, seed, (next..next + round).collect())? {
                run += entry.scored.drive_s / 3_600.0;
                all.push((stratum, entry));
            }
            next += round;
            (self.progress)("healthy hours", run as u64, hours.ceil() as u64);
        }
        Ok(all)
    }
}

/// Names of conditions with how often each came, the most frequent first.
#[must_use]
pub fn tally(causes: impl Iterator<Item = Option<Condition>>) -> String {
    let mut counts: std::collections::BTreeMap<&str, usize> = std::collections::BTreeMap::new();
    for cause in causes {
        *counts.entry(cause.map_or("nothing named", Condition::name)).or_default() += 1;
    }
    let mut words: Vec<(usize, &str)> = counts.into_iter().map(|(name, count)| (count, name)).collect();
    words.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(b.1)));
    words.iter().map(|(count, name)| format!("{name} {count}")).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_event_in_a_thousand_hours_is_not_a_rate_of_nought() {
        // 2.995732 events: the exact one-sided bound for none (tables of Poisson limits).
        assert!((upper_bound(0, 1_000.0) - 2.995_732e-3).abs() < 1e-8);
        // 4.743865 for one event.
        assert!((upper_bound(1, 1.0) - 4.743_865).abs() < 1e-5);
    }

    #[test]
    fn every_draw_is_a_sound_scenario_and_repeats() {
        for index in 0..templates::pairs() {
            let (kind, drawn) = templates::faulty(5, index).unwrap_or_else(|error| panic!("{index}: {error}"));
            assert_eq!(drawn.scenario.leg.faults(), [], "{kind:?}");
            assert_eq!(drawn.scenario.faults[0].kind, kind);
            assert_eq!(templates::faulty(5, index).unwrap().1.scenario.leg, drawn.scenario.leg);
        }
        for (of, shifts) in [(HEALTHY, 60), (STRAINED, 20)] {
            for index in 0..shifts {
                let (_, drawn) = of.draw(5, index).unwrap_or_else(|error| panic!("{} {index}: {error}", of.name));
                assert_eq!(drawn.scenario.leg.faults(), [], "{} {index}", of.name);
            }
        }
    }
}
