//! The page of scores.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::super::due::Why;
use super::super::fault::Kind;
use super::{Class, Counts, Entry, Results, Scored, Stratum, alarms, tally, upper_bound};
use crate::report::Clock;
use crate::tune::stats::{CONFIDENCE, clopper_pearson, quantile};

/// Severities swept.
pub const LEVELS: [f64; 3] = [0.3, 0.6, 1.0];

/// Runs for each of them.
pub const SWEEPS: u64 = 2;

/// Most lines of single runs told for each kind of failure.
const MOST_TOLD: usize = 40;

/// A number, or nothing where it is 0: a table full of noughts hides what matters.
fn some(number: u32) -> String {
    if number == 0 { String::new() } else { number.to_string() }
}

const COUNTED: &str = "runs | called for | right | late | missed | fail-safe | false, fault at work | false, nothing wrong | \
    alarms due | missed | false alarms | from due: median | 95 % | worst |";
const RULE: &str = "---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|";

fn row(text: &mut String, name: &str, runs: &[&Scored]) {
    let c = Counts::of(runs.iter().copied());
    let mut after: Vec<f64> = runs.iter().filter_map(|one| one.after_due_s()).collect();
    after.sort_by(f64::total_cmp);
    let at = |share: f64| quantile(&after, share).map_or_else(String::new, |s| format!("{s:+.2} s"));
    let _ = writeln!(
        text,
        "| {name} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} |",
        c.runs,
        some(c.called),
        some(c.right),
        some(c.late),
        some(c.missed),
        some(c.fail_safe),
        some(c.uncalled),
        some(c.nuisance),
        some(c.alarms_due),
        some(c.alarms_missed),
        some(c.false_alarms),
        at(0.5),
        at(0.95),
        after.last().map_or_else(String::new, |s| format!("{s:+.2} s")),
    );
}

fn by(text: &mut String, first: &str, entries: &[&Entry], name: impl Fn(&Entry) -> String) {
    let _ = writeln!(text, "| {first} | {COUNTED}\n|{RULE}");
    let mut groups: BTreeMap<String, Vec<&Scored>> = BTreeMap::new();
    for entry in entries {
        groups.entry(name(entry)).or_default().push(&entry.scored);
    }
    for (name, runs) in &groups {
        row(text, name, runs);
    }
    let all: Vec<&Scored> = entries.iter().map(|entry| &entry.scored).collect();
    row(text, "**all**", &all);
}

/// The page, with the command that writes it.
#[must_use]
pub fn say(results: &Results, command: &str) -> String {
    let mut text = String::new();
    introduction(&mut text, command);
    healthy(&mut text, &results.healthy);
    let random: Vec<&Entry> = results.random.iter().collect();
    let _ = writeln!(
        text,
        "\n## Faults at random\n\n{} runs: every fault on every leg in turn ({} pairs), the leg itself, its friction, load, the time of \
         the fault, how bad it gets and how fast (at once, within seconds, minutes or an hour) drawn at random, a second fault in one run of four. \
         They last until three time constants of heat after the fault is grown; ten minutes where nothing warms.\n",
        random.len(),
        super::templates::pairs()
    );
    if !random.is_empty() {
        by(&mut text, "fault", &random, |entry| entry.what.clone());
        let _ = writeln!(text);
        by(&mut text, "leg", &random, |entry| entry.leg.clone());
        let _ = writeln!(text);
        by(&mut text, "called for by", &random, |entry| {
            entry.scored.call.map_or("nothing", |call| call.why.name()).to_owned()
        });
        share(&mut text, &random);
    }

    let written: Vec<&Entry> = results.written.iter().flat_map(|(_, entries)| entries).collect();
    let _ = writeln!(
        text,
        "\n## Scenarios as written\n\nOther seeds each time. Scenarios without a fault are the healthy ones of the folder.\n"
    );
    by(&mut text, "scenario", &written, |entry| entry.what.clone());

    let swept: Vec<&Entry> = results.swept.iter().map(|(_, _, entry)| entry).collect();
    let levels = LEVELS.map(|level| level.to_string()).join(", ");
    let _ = writeln!(
        text,
        "\n## Severities swept\n\nEvery scenario with a fault, all its faults at severities {levels}, {SWEEPS} seeds each.\n"
    );
    let _ = writeln!(text, "| severity | {COUNTED}\n|{RULE}");
    for level in LEVELS {
        let runs: Vec<&Scored> =
            results.swept.iter().filter(|(_, at, _)| *at == level).map(|(_, _, entry)| &entry.scored).collect();
        row(&mut text, &level.to_string(), &runs);
    }

    let shifts: Vec<&Entry> = results.healthy.iter().map(|(_, entry)| entry).collect();
    let all: Vec<&Entry> = [&shifts, &random, &written, &swept].into_iter().flatten().copied().collect();
    failures(&mut text, &all);
    what_is_due(&mut text);
    text
}

fn introduction(text: &mut String, command: &str) {
    let _ = writeln!(
        text,
        "# How the monitor does, judged by the plant's truth\n\n\
         Written by `{command}`; anyone can run it again and gets the same figures. It is a simulation: it says how the \
         monitor does on legs that obey the mechanics in [The plant](plant.md), not how it does on yours. All limits are at their \
         starting values.\n\n\
         A stop is **called for** while the motor is on and the belt is below 80 % of normal, once it was at speed or its \
         start time (10 s) is up; or a surface (head, belt under it, boot, rub) is hotter than the dust in the casing allows. It is **due** one \
         boot pitch at 80 % of speed after the boot's next edge (four boot turns after the call where heat calls), plus half a second, \
         plus 50 ms. None of this depends on a limit of the monitor. A call that ends before it is due is none. Scenarios, score and tuning go by this one definition.\n\n\
         Stops are parted so:\n\n\
         | | |\n|---|---|\n\
         | right | called for and given before it was due, or given early with the fault at work that then called for it |\n\
         | late, missed | called for and given after it was due, or never |\n\
         | fail-safe | not called for, with a sensor or contact at fault |\n\
         | false, fault at work | not called for, with a fault of the machine that never called for one |\n\
         | false, nothing wrong | before its fault began, or with nothing wrong at all |\n\n\
         The legs with a fault do *not* obey the monitor, so that truth and verdict are of the same course of events; healthy \
         legs do. *From due* is the time from when the stop was due to when it came; below zero it came before.\n"
    );
}

fn healthy(text: &mut String, shifts: &[(Stratum, Entry)]) {
    let hours = |runs: &[&Scored]| runs.iter().map(|one| one.drive_s).sum::<f64>() / 3_600.0;
    let all: Vec<&Scored> = shifts.iter().map(|(_, entry)| &entry.scored).collect();
    let _ = writeln!(
        text,
        "## Healthy hours\n\n{:.0} hours with the motor on, in {} shifts of an hour. Each is another leg: target spacing, runout of \
         discs and pulleys, jitter, damping (0.02 to 0.12 of critical), stiffness, friction and its curve, bearings, weather, and \
         what its monitor was told of it are drawn at random; strata and the five built-in legs come in turn. Bounds are one-sided at \
         95 %, exact Poisson: none seen is not none. Where the plant itself called for a stop the leg was not healthy after all, and \
         what came of it is not counted as false.\n",
        hours(&all),
        all.len()
    );
    let head = "hours | called for | false stops | at most | missed, late | false alarms | at most | stops by | alarms";
    let line = |text: &mut String, name: &str, runs: &[&Scored]| {
        let counts = Counts::of(runs.iter().copied());
        let run = hours(runs);
        let stops = counts.uncalled + counts.nuisance + counts.fail_safe;
        let bound = |events| format!("one in {:.0} h", 1.0 / upper_bound(events, run));
        let wrong = runs.iter().filter(|one| one.call.is_none());
        let by = tally(wrong.filter_map(|one| one.stop).map(|(_, because)| because));
        let alarms = tally(runs.iter().flat_map(|one| &one.false_alarms).map(|condition| Some(*condition)));
        let _ = writeln!(
            text,
            "| {name} | {run:.0} | {} | {stops} | {} | {} | {} | {} | {by} | {alarms} |",
            some(counts.called),
            bound(stops),
            some(counts.missed + counts.late),
            counts.false_alarms,
            bound(counts.false_alarms),
        );
    };
    let _ = writeln!(text, "| stratum | {head} |\n|---|---:|---:|---:|---:|---:|---:|---:|---|---|");
    for stratum in Stratum::ALL {
        let runs: Vec<&Scored> =
            shifts.iter().filter(|(of, _)| *of == stratum).map(|(_, entry)| &entry.scored).collect();
        if !runs.is_empty() {
            line(text, stratum.words(), &runs);
        }
    }
    line(text, "**all**", &all);
    let _ = writeln!(text, "\n| leg | {head} |\n|---|---:|---:|---:|---:|---:|---:|---:|---|---|");
    let mut legs: BTreeMap<&str, Vec<&Scored>> = BTreeMap::new();
    for (_, entry) in shifts {
        legs.entry(&entry.leg).or_default().push(&entry.scored);
    }
    for (leg, runs) in &legs {
        line(text, leg, runs);
    }
}

fn share(text: &mut String, random: &[&Entry]) {
    let counts = Counts::of(random.iter().map(|entry| &entry.scored));
    let failed = u64::from(counts.missed + counts.late);
    if counts.called > 0 {
        let bounds = clopper_pearson(failed, u64::from(counts.called), CONFIDENCE);
        let _ = writeln!(
            text,
            "\nMissed or late: {failed} of {} that called for a stop, {:.2} % (exact 95 % interval {:.2} to {:.2} %, Clopper and Pearson).",
            counts.called,
            100.0 * failed as f64 / f64::from(counts.called),
            100.0 * bounds.low,
            100.0 * bounds.high
        );
        let by_belt = |entry: &&&Entry| entry.scored.call.is_some_and(|call| call.why == Why::Belt);
        let belt: Vec<&Scored> = random.iter().filter(by_belt).map(|entry| &entry.scored).collect();
        let of_belt = Counts::of(belt.iter().copied());
        let failed = u64::from(of_belt.missed + of_belt.late);
        let bounds = clopper_pearson(failed, u64::from(of_belt.called), CONFIDENCE);
        let _ = writeln!(
            text,
            "Of the {} that a slow belt called for: {failed}, {:.2} to {:.2} %.",
            of_belt.called,
            100.0 * bounds.low,
            100.0 * bounds.high
        );
    }
}

fn failures(text: &mut String, all: &[&Entry]) {
    let _ = writeln!(
        text,
        "\n## Every failure, and how to see it again\n\nAdd `--replay --plot FILE.svg`. At most {MOST_TOLD} of a kind.\n"
    );
    for class in [Class::Missed, Class::Late, Class::Nuisance, Class::Uncalled] {
        let of: Vec<&&Entry> = all.iter().filter(|entry| entry.scored.class == class).collect();
        let _ = writeln!(text, "### Stops {}: {}\n", class.words(), of.len());
        for entry in of.iter().take(MOST_TOLD) {
            let one = &entry.scored;
            let mut words = String::new();
            if let Some(call) = one.call {
                let _ = write!(words, "called for at {} ({})", Clock::length(call.from_us), call.why.name());
            }
            if let Some((at, because)) = one.stop {
                let because = because.map_or("nothing named", slackside::conditions::Condition::name);
                let after =
                    one.after_due_s().map_or_else(String::new, |s| format!(", {} from due", Clock::difference(s)));
                let _ = write!(words, " stopped at {} by {because}{after}", Clock::length(at));
            }
            let _ = writeln!(text, "- {}, {}: {}; `{}`", entry.what, entry.leg, words.trim(), entry.again);
        }
        if !of.is_empty() {
            let _ = writeln!(text);
        }
    }
    let of: Vec<&&Entry> = all.iter().filter(|entry| !entry.scored.missed.is_empty()).collect();
    let _ = writeln!(text, "### Runs with an alarm missed: {}\n", of.len());
    for entry in of.iter().take(MOST_TOLD) {
        let missed: Vec<String> = entry
            .scored
            .missed
            .iter()
            .map(|wanted| {
                let by = Clock::length(wanted.due_us);
                let names = wanted.any_of.iter().take(2).map(|condition| condition.name()).collect::<Vec<_>>();
                format!("{} by {by} ({} …)", wanted.what, names.join(", "))
            })
            .collect();
        let _ = writeln!(text, "- {}, {}: {}; `{}`", entry.what, entry.leg, missed.join("; "), entry.again);
    }
    let of: Vec<&&Entry> = all.iter().filter(|entry| !entry.scored.false_alarms.is_empty()).collect();
    let _ = writeln!(text, "\n### Runs with a false alarm: {}\n", of.len());
    for entry in of.iter().take(MOST_TOLD) {
        let names = tally(entry.scored.false_alarms.iter().map(|condition| Some(*condition)));
        let _ = writeln!(text, "- {}, {}: {names}; `{}`", entry.what, entry.leg, entry.again);
    }
}

fn what_is_due(text: &mut String) {
    let _ = writeln!(
        text,
        "\n## Which alarm is due, and by when\n\n\
         By the truth, whatever the fault: a belt that touched the casing on three of the last ten loops, or for a whole loop \
         without a break, calls for a mistracking alarm within a minute (29 CFR 1910.272(q)(6)); a belt below 90 % of its speed for five seconds \
         calls for an alarm of speed or slip within ten more. Beside that:\n\n\
         | fault | any of | from severity | within |\n|---|---|---:|---:|"
    );
    for kind in Kind::ALL {
        match alarms::rule(kind) {
            Some(rule) => {
                let names = rule.any_of.iter().map(|condition| condition.name()).collect::<Vec<_>>().join(", ");
                let least = match kind {
                    Kind::LaggingMissing | Kind::HeadBuildup | Kind::BootBuildup => "3 % of ratio".to_owned(),
                    _ => rule.least.to_string(),
                };
                let _ = writeln!(text, "| {} | {names} | {least} | {} s |", kind.name(), rule.within_s);
            }
            None => {
                let _ = writeln!(text, "| {} | none as such: {} | | |", kind.name(), alarms::no_alarm(kind));
            }
        }
    }
}
