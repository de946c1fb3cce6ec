//! How the monitor does, judged by the plant's truth.
//!
//! A stop is called for when the belt is below 80 % of normal after the start time, or slip heat is above its budget. It is
//! due within the bound no method can beat (one pitch at the setpoint's speed, from the edge it begins with), the on-delay,
//! and 50 ms.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io;
use std::sync::atomic::{AtomicU64, Ordering};

use anyhow::Context;
use slackside::conditions::Condition;
use slackside::input::Input;
use slackside::settings::Checked;
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::due::Why;
use super::guard::Guard;
use super::run::{Permits, Watch, run};
use super::settings::{Commissioned, settings_for};
use super::timeline::Routine;
use super::truth::Row;
use super::{Label, Scenario, legs};
use crate::crew::Crew;
use crate::plant::leg::Leg;

/// What came of one run, against the truth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    /// No stop called for, none given.
    Quiet,
    /// Called for, given before it was due.
    InTime,
    /// Called for, given before it was called for.
    Early,
    /// Called for, given after it was due.
    Late,
    /// Called for, never given.
    Missed,
    /// Not called for, given.
    Uncalled,
}

/// One run.
#[derive(Clone, Debug)]
pub struct Scored {
    /// What it came to.
    pub class: Class,
    /// What dropped the run permit, and when in microseconds.
    pub stop: Option<(u64, Option<Condition>)>,
    /// What dropped the feed permit first.
    pub feed: Option<Condition>,
    /// When it was called for, in microseconds.
    pub called_us: Option<u64>,
    /// When it was due, in microseconds.
    pub due_us: Option<u64>,
    /// Alarms of each condition.
    pub raised: [u32; Condition::COUNT],
    /// What called for it.
    pub why: Option<Why>,
    /// Other calls, most of which ended before they were due.
    pub lapsed: usize,
    /// Seconds with the motor on.
    pub drive_s: f64,
}

struct Looking {
    guard: Guard,
}

impl Watch for Looking {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        self.guard.take(input);
        Ok(())
    }

    fn truth(&mut self, _row: &Row) -> io::Result<()> {
        Ok(())
    }

    fn permits(&mut self, now_us: u64) -> Permits {
        self.guard.allows(now_us)
    }
}

/// Settings that pass every rule, or what is wrong with them.
///
/// # Errors
/// The leg's figures give settings that break a rule of the monitor.
pub fn checked(leg: &Leg, commissioned: &Commissioned) -> anyhow::Result<Checked> {
    settings_for(leg, commissioned).check().map_err(|violations| {
        let all: Vec<String> = violations.iter().map(ToString::to_string).collect();
        anyhow::anyhow!("the monitor refuses the settings of {}: {}", leg.name, all.join("; "))
    })
}

/// Run once with the monitor looking on. `obey`: the leg does what the monitor says.
///
/// # Errors
/// Never for want of disk: nothing is written.
pub fn score(
    scenario: &Scenario,
    commissioned: &Commissioned,
    settings: &Checked,
    seed: u64,
    obey: bool,
) -> anyhow::Result<Scored> {
    let mut looking = Looking { guard: Guard::new(settings) };
    let summary = run(scenario, commissioned, seed, obey, &mut looking)?;
    let guard = looking.guard;
    let stop = guard.dropped.map(|(at, because)| (at.get(), because));
    let (called_us, due_us) = (summary.called_us(), summary.call.map(|call| call.due_us));
    let why = summary.why();
    let lapsed = summary.lapsed;
    let class = match (called_us, due_us, stop) {
        (None, _, None) => Class::Quiet,
        (None, _, Some(_)) => Class::Uncalled,
        (Some(_), _, None) => Class::Missed,
        (Some(called), _, Some((at, _))) if at < called => Class::Early,
        (_, Some(due), Some((at, _))) if at <= due => Class::InTime,
        _ => Class::Late,
    };
    let feed = guard.feed_dropped.map(|(_, because)| because);
    let raised = guard.raised;
    Ok(Scored { class, stop, feed, called_us, due_us, why, lapsed, raised, drive_s: summary.drive_s })
}

/// The largest rate for each hour that `events` in `hours` leave open, one-sided at 95 % (exact, by chi-squared).
#[must_use]
pub fn upper_bound(events: u32, hours: f64) -> f64 {
    let degrees = 2.0 * (f64::from(events) + 1.0);
    ChiSquared::new(degrees).map_or(f64::INFINITY, |chi| 0.5 * chi.inverse_cdf(0.95)) / hours
}

/// What to score.
pub struct Job<'a> {
    /// Where the scenarios are from, for the page.
    pub place: &'a str,
    /// The scenarios.
    pub scenarios: Vec<Scenario>,
    /// Healthy hours wanted, with the motor on.
    pub hours: f64,
    /// Runs of each scenario as it is written.
    pub repeat: u32,
    /// First seed.
    pub seed: u64,
}

/// Is told what is being done, how much of it is done, and how much there is.
pub type Progress<'a> = dyn Fn(&str, u64, u64) + Sync + 'a;

struct Ready {
    scenario: Scenario,
    commissioned: Commissioned,
    settings: Checked,
}

/// Score everything and say it as a page of the book.
///
/// # Errors
/// The monitor refuses the settings of a leg.
pub fn page(job: Job<'_>, crew: &impl Crew, progress: &Progress<'_>) -> anyhow::Result<String> {
    let ready = crew.each(job.scenarios, |scenario| {
        let commissioned = Commissioned::measure(&scenario.leg);
        let settings = checked(&scenario.leg, &commissioned)?;
        Ok(Ready { scenario, commissioned, settings })
    });
    let ready = ready.into_iter().collect::<anyhow::Result<Vec<Ready>>>()?;
    let work = Work { crew, progress };
    let faulty: Vec<&Ready> = ready.iter().filter(|ready| !ready.scenario.faults.is_empty()).collect();
    let sound: Vec<&Ready> = ready.iter().filter(|ready| ready.scenario.faults.is_empty()).collect();

    let written = work.matrix(&ready, job.repeat, job.seed)?;
    let levels = [0.2, 0.4, 0.6, 0.8, 1.0];
    let mut swept: BTreeMap<usize, Vec<(f64, Scored)>> = BTreeMap::new();
    let faulty_indices: Vec<usize> =
        (0..ready.len()).filter(|&index| !ready[index].scenario.faults.is_empty()).collect();
    for level in levels {
        for (index, scored) in work.sweep(&ready, &faulty_indices, level, job.seed)? {
            swept.entry(index).or_default().push((level, scored));
        }
    }
    let healthy = work.healthy_hours(job.hours, job.seed)?;

    let mut text = String::new();
    let _ = writeln!(text, "# How the monitor does, judged by the plant's truth\n");
    let _ = writeln!(
        text,
        "Written by `slackside simulate --score {} --hours {:.0} --repeat {} --seed {} --write FILE`; anyone can run it again and gets the \
         same figures. It is a simulation: it says how the monitor does on legs that obey the mechanics in \
         [The plant](plant.md), not how it does on yours.\n",
        job.place, job.hours, job.repeat, job.seed
    );
    let _ = writeln!(
        text,
        "All limits are at their starting values; the machine is each leg's own, its normal speeds measured at design \
         flow and its no-slip ratio learned idle, and the budget of slip heat is the leg's. The leg does *not* obey the \
         monitor in the scenarios below, so that truth and verdict are of the same course of events.\n\n\
         A stop is **called for** when the belt is below 80 % of normal speed once it was at speed or its start time \
         (10 s) is up, or when slip heat is above its budget. It is **due** one boot pitch at the speed of the setpoint \
         after the boot's next edge, plus the on-delay of *deep underspeed* (0.5 s), plus 50 ms: the pitch in which the \
         belt fell below holds some of its good speed too, and nobody who sees edges alone can part them. If no edge comes \
         within that pitch, it counts from the call itself. Where heat calls for it, it is due four boot turns and 50 ms \
         later. A call too short for either (a dip the leg recovers from) counts as none. **Early** is before it was \
         called for: the setpoints sit above 80 % so that this is the rule.\n"
    );
    let _ = writeln!(text, "## Healthy hours\n");
    healthy.say(&mut text);

    let _ = writeln!(text, "\n## Scenarios as written\n");
    let _ = writeln!(
        text,
        "{} runs of each, other seeds each time. *Margin* is the least time from the stop to when it was due.\n",
        job.repeat
    );
    table(&mut text, &ready, &written);

    let _ = writeln!(text, "\n## Severities swept\n");
    let _ = writeln!(
        text,
        "Every scenario with a fault at severities {}, three seeds each: {} runs.\n",
        levels.map(|level| format!("{level}")).join(", "),
        swept.values().map(Vec::len).sum::<usize>()
    );
    sweep_table(&mut text, &ready, &swept);
    let _ = writeln!(text, "\nScenarios with a fault: {}; without: {}.\n", faulty.len(), sound.len());
    let _ = writeln!(text, "## Late and missed\n");
    late_and_missed(&mut text, &ready, &written, &swept);
    Ok(text)
}

/// Who does the work, and who is told.
struct Work<'a, C> {
    crew: &'a C,
    progress: &'a Progress<'a>,
}

impl<C: Crew> Work<'_, C> {
    /// Run the scenarios at these indices with these seeds.
    fn run(
        &self,
        what: &str,
        ready: &[Ready],
        jobs: Vec<(usize, u64)>,
        severity: Option<f64>,
    ) -> anyhow::Result<Vec<(usize, Scored)>> {
        let all = jobs.len() as u64;
        let done = AtomicU64::new(0);
        (self.progress)(what, 0, all);
        let scored = self.crew.each(jobs, |(index, seed)| {
            let scored = one(&ready[index], seed, severity)?;
            (self.progress)(what, done.fetch_add(1, Ordering::Relaxed) + 1, all);
            Ok((index, scored))
        });
        scored.into_iter().collect()
    }

    fn matrix(&self, ready: &[Ready], repeat: u32, seed: u64) -> anyhow::Result<Vec<Vec<Scored>>> {
        let jobs = (0..ready.len()).flat_map(|index| (0..u64::from(repeat)).map(move |i| (index, seed + i))).collect();
        let mut all = vec![Vec::new(); ready.len()];
        for (index, scored) in self.run("as written", ready, jobs, None)? {
            all[index].push(scored);
        }
        Ok(all)
    }

    fn sweep(&self, ready: &[Ready], which: &[usize], level: f64, seed: u64) -> anyhow::Result<Vec<(usize, Scored)>> {
        let jobs = which.iter().flat_map(|&index| (0..3).map(move |i| (index, seed + 1_000 + i))).collect();
        self.run(&format!("severity {level}"), ready, jobs, Some(level))
    }
}

fn one(ready: &Ready, seed: u64, severity: Option<f64>) -> anyhow::Result<Scored> {
    match severity {
        None => score(&ready.scenario, &ready.commissioned, &ready.settings, seed, false),
        Some(severity) => {
            let mut scenario = ready.scenario.clone();
            scenario.set_severity(severity);
            score(&scenario, &ready.commissioned, &ready.settings, seed, false)
        }
    }
}

fn count(scored: &[Scored], class: Class) -> usize {
    scored.iter().filter(|one| one.class == class).count()
}

/// A number, or nothing where it is 0: a table full of noughts hides what matters.
fn some(number: usize) -> String {
    if number == 0 { String::new() } else { number.to_string() }
}

fn table(text: &mut String, ready: &[Ready], written: &[Vec<Scored>]) {
    let _ = writeln!(
        text,
        "| scenario | called for | early | in time | late | missed | stop not called for | quiet | margin | first stop by | feed dropped by | alarms |\n\
         |---|---|---|---|---|---|---|---|---|---|---|---|"
    );
    for (ready, scored) in ready.iter().zip(written) {
        let called = scored.iter().filter(|one| one.called_us.is_some()).count();
        let margin =
            scored.iter().filter_map(|one| Some(one.due_us? as f64 - one.stop?.0 as f64)).fold(f64::INFINITY, f64::min);
        let margin = if margin.is_finite() { format!("{:.2} s", margin * 1e-6) } else { String::new() };
        let stops = tally(scored.iter().filter_map(|one| one.stop?.1));
        let feeds = tally(scored.iter().filter_map(|one| one.feed));
        let mut alarms = String::new();
        for condition in Condition::ALL {
            let runs = scored.iter().filter(|one| one.raised[condition.rank()] > 0).count();
            if runs > 0 {
                let _ = write!(alarms, "{}{} {runs}", if alarms.is_empty() { "" } else { ", " }, condition.name());
            }
        }
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {} | {} | {margin} | {stops} | {feeds} | {alarms} |",
            ready.scenario.name,
            some(called),
            some(count(scored, Class::Early)),
            some(count(scored, Class::InTime)),
            some(count(scored, Class::Late)),
            some(count(scored, Class::Missed)),
            some(count(scored, Class::Uncalled)),
            some(count(scored, Class::Quiet)),
        );
    }
    let all: Vec<Scored> = written.iter().flatten().cloned().collect();
    let _ = writeln!(
        text,
        "| **all** | **{}** | **{}** | **{}** | **{}** | **{}** | **{}** | **{}** | | | | |",
        all.iter().filter(|one| one.called_us.is_some()).count(),
        count(&all, Class::Early),
        count(&all, Class::InTime),
        count(&all, Class::Late),
        count(&all, Class::Missed),
        count(&all, Class::Uncalled),
        count(&all, Class::Quiet),
    );
}

fn tally(causes: impl Iterator<Item = Condition>) -> String {
    let mut counts: BTreeMap<usize, usize> = BTreeMap::new();
    for cause in causes {
        *counts.entry(cause.rank()).or_default() += 1;
    }
    let mut words: Vec<(usize, &str)> =
        counts.into_iter().map(|(index, count)| (count, Condition::ALL[index].name())).collect();
    words.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(b.1)));
    words.iter().map(|(count, name)| format!("{name} {count}")).collect::<Vec<_>>().join(", ")
}

fn sweep_table(text: &mut String, ready: &[Ready], swept: &BTreeMap<usize, Vec<(f64, Scored)>>) {
    let _ = writeln!(
        text,
        "| scenario | called for | early | in time | late | missed | stop not called for | quiet | least severity that calls for a stop | least severity stopped |\n\
         |---|---|---|---|---|---|---|---|---|---|"
    );
    let least = |runs: &[(f64, Scored)], holds: &dyn Fn(&Scored) -> bool| {
        let found = runs.iter().filter(|(_, one)| holds(one)).map(|(level, _)| *level).fold(f64::INFINITY, f64::min);
        if found.is_finite() { format!("{found}") } else { String::new() }
    };
    for (index, runs) in swept {
        let scored: Vec<Scored> = runs.iter().map(|(_, one)| one.clone()).collect();
        let _ = writeln!(
            text,
            "| {} | {} | {} | {} | {} | {} | {} | {} | {} | {} |",
            ready[*index].scenario.name,
            some(scored.iter().filter(|one| one.called_us.is_some()).count()),
            some(count(&scored, Class::Early)),
            some(count(&scored, Class::InTime)),
            some(count(&scored, Class::Late)),
            some(count(&scored, Class::Missed)),
            some(count(&scored, Class::Uncalled)),
            some(count(&scored, Class::Quiet)),
            least(runs, &|one| one.called_us.is_some()),
            least(runs, &|one| one.stop.is_some()),
        );
    }
}

fn late_and_missed(
    text: &mut String,
    ready: &[Ready],
    written: &[Vec<Scored>],
    swept: &BTreeMap<usize, Vec<(f64, Scored)>>,
) {
    let mut lines = Vec::new();
    let mut note = |ready: &Ready, severity: Option<f64>, one: &Scored| {
        if !matches!(one.class, Class::Late | Class::Missed) {
            return;
        }
        let called = one.called_us.unwrap_or_default() as f64 * 1e-6;
        let why = one.why.map_or("", Why::name);
        let level = severity.map_or_else(|| "as written".to_owned(), |level| format!("severity {level}"));
        let what = match (one.stop, one.due_us) {
            (Some((at, because)), Some(due)) => {
                let by = because.map_or("nothing named", Condition::name);
                format!("stopped {:.2} s after it was due, by {by}", (at as f64 - due as f64) * 1e-6)
            }
            _ => "never stopped".to_owned(),
        };
        lines.push(format!("- {}, {level}: called for at {called:.2} s ({why}), {what}", ready.scenario.name));
    };
    for (ready, scored) in ready.iter().zip(written) {
        scored.iter().for_each(|one| note(ready, None, one));
    }
    for (index, runs) in swept {
        runs.iter().for_each(|(level, one)| note(&ready[*index], Some(*level), one));
    }
    if lines.is_empty() {
        let _ = writeln!(text, "None.");
    }
    for line in lines {
        let _ = writeln!(text, "{line}");
    }
}

/// What healthy legs made of the monitor.
pub struct Healthy {
    hours: f64,
    shifts: u32,
    stops: BTreeMap<&'static str, u32>,
    alarms: BTreeMap<&'static str, u32>,
    called: u32,
}

/// Length of a healthy shift in s: the monitor starts afresh each time.
const SHIFT_S: f64 = 3_600.0;

fn shift(leg: Leg, index: usize) -> Scenario {
    // The terminal leg runs for long, the premix leg in short batches.
    let run_s = [900.0, 900.0, 1_200.0, 1_800.0, 3_000.0][index];
    Scenario {
        name: "healthy shift".to_owned(),
        description: String::new(),
        leg,
        duration_s: SHIFT_S,
        seed: 0,
        step_us: 2_000,
        obey_permits: None,
        timeline: Vec::new(),
        routine: Some(Routine {
            run_s,
            rest_s: 150.0,
            feed_change_s: 120.0,
            feed_min_pct: 20.0,
            feed_max_pct: 105.0,
            wet_share: 0.15,
            wet_friction: 0.75,
        }),
        faults: Vec::new(),
        label: Label { wrong: String::new(), from_s: None, stop: false },
    }
}

/// The built-in legs, ready for healthy shifts.
fn shifts() -> anyhow::Result<Vec<Ready>> {
    legs::NAMES
        .iter()
        .enumerate()
        .map(|(index, name)| {
            let leg = legs::leg(name).with_context(|| format!("no leg {name}"))?;
            let commissioned = Commissioned::measure(&leg);
            let settings = checked(&leg, &commissioned)?;
            Ok(Ready { scenario: shift(leg, index), commissioned, settings })
        })
        .collect()
}

impl<C: Crew> Work<'_, C> {
    fn healthy_hours(&self, hours: f64, seed: u64) -> anyhow::Result<Healthy> {
        let ready = shifts()?;
        let mut healthy = Healthy { hours: 0.0, shifts: 0, stops: BTreeMap::new(), alarms: BTreeMap::new(), called: 0 };
        let batch = 50_usize;
        let mut next = 0_usize;
        while healthy.hours < hours {
            (self.progress)("healthy hours", healthy.hours as u64, hours as u64);
            let scored = self.crew.each((next..next + batch).collect(), |i| {
                let ready = &ready[i % ready.len()];
                // The leg obeys here: a stop that was not called for costs the rest of the shift.
                score(&ready.scenario, &ready.commissioned, &ready.settings, seed + 10_000 + i as u64, true)
            });
            next += batch;
            for one in scored {
                healthy.take(&one?);
            }
        }
        Ok(healthy)
    }
}

impl Healthy {
    fn take(&mut self, one: &Scored) {
        self.shifts += 1;
        self.hours += one.drive_s / 3_600.0;
        self.called += u32::from(one.called_us.is_some());
        if let Some((_, because)) = one.stop {
            *self.stops.entry(because.map_or("nothing named", Condition::name)).or_default() += 1;
        }
        for condition in Condition::ALL {
            let raised = one.raised[condition.rank()];
            if raised > 0 {
                *self.alarms.entry(condition.name()).or_default() += raised;
            }
        }
    }

    fn say(&self, text: &mut String) {
        let stops: u32 = self.stops.values().sum();
        let alarms: u32 = self.alarms.values().sum();
        let _ = writeln!(
            text,
            "{:.0} hours with the motor on, in {} shifts of an hour on {} legs: starts, stops, loads that change, wet \
             grain, belts that wander, spacing errors, jitter. Here the leg obeys the monitor. The plant itself called for a \
             stop {} times.\n",
            self.hours,
            self.shifts,
            legs::NAMES.len(),
            self.called
        );
        let _ = writeln!(text, "| | count | rate, at most (95 %, one-sided, exact Poisson) |\n|---|---|---|");
        let bound = |events| {
            let rate = upper_bound(events, self.hours);
            format!("{:.2e} an hour, one in {:.0} hours", rate, 1.0 / rate)
        };
        let _ = writeln!(text, "| stops | {stops} | {} |", bound(stops));
        let _ = writeln!(text, "| alarms | {alarms} | {} |", bound(alarms));
        for (name, count) in &self.stops {
            let _ = writeln!(text, "| stops by {name} | {count} | {} |", bound(*count));
        }
        for (name, count) in &self.alarms {
            let _ = writeln!(text, "| alarms of {name} | {count} | {} |", bound(*count));
        }
    }
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
}
