//! The page of scores.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::super::due::Why;
use super::super::fault::{End, Kind, Where};
use super::alarms::Rule;
use super::{Class, Counts, Entry, Results, Scored, Stratum, alarms, tally, upper_bound};
use crate::lines::counted;
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

const COUNTED: &str = "runs | called for | in time | early | late | missed | late or missed, 95 % | fail-safe | \
    false, fault at work | false, nothing wrong | alarms due | missed | false alarms | \
    from due: median | 95 % | worst | from call: worst |";
const RULE: &str = "---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|";

/// The exact interval of a share in per cent, or nothing where nothing was tried.
fn interval(events: u32, of: u32) -> String {
    if of == 0 {
        return String::new();
    }
    let bounds = clopper_pearson(u64::from(events), u64::from(of), CONFIDENCE);
    format!("{:.0} to {:.0} %", 100.0 * bounds.low, 100.0 * bounds.high)
}

fn row(text: &mut String, name: &str, runs: &[&Scored]) {
    let c = Counts::of(runs.iter().copied());
    let mut after: Vec<f64> = runs.iter().filter_map(|one| one.after_due_s()).collect();
    after.sort_by(f64::total_cmp);
    let at = |share: f64| quantile(&after, share).map_or_else(String::new, |s| format!("{s:+.2} s"));
    let seconds = |most: Option<f64>| most.map_or_else(String::new, |s| format!("{s:+.2} s"));
    let _ = writeln!(
        text,
        "| {name} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} | {} |",
        c.runs,
        some(c.called),
        some(c.in_time),
        some(c.early),
        some(c.late),
        some(c.missed),
        interval(c.late + c.missed, c.tried()),
        some(c.fail_safe),
        some(c.uncalled),
        some(c.nuisance),
        some(c.alarms_due),
        some(c.alarms_missed),
        some(c.false_alarms),
        at(0.5),
        at(0.95),
        seconds(after.last().copied()),
        seconds(runs.iter().filter_map(|one| one.after_call_s()).max_by(f64::total_cmp)),
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
    in_short(&mut text, results);
    healthy(&mut text, results);
    let random: Vec<&Entry> = results.random.iter().collect();
    let _ = writeln!(
        text,
        "\n## Faults at random\n\n{} runs: every fault on every leg in turn ({} pairs), the leg itself, its friction, load, the time of \
         the fault, how bad it gets and how fast (at once, within seconds, minutes or an hour) drawn at random, a second fault in one run of four. \
         They last until three time constants of heat after the last fault is grown.\n",
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
    let strained: Vec<&Entry> = results.strained.iter().map(|(_, entry)| entry).collect();
    let all: Vec<&Entry> = [&shifts, &random, &written, &swept, &strained].into_iter().flatten().copied().collect();
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
         starting values; where those break a rule on a leg that runs slower than its drawing, the underspeed stop has the first mend \
         that passes. Tests and mends were made on seed 1: a page of another seed is a fresh sample.\n\n\
         A stop is **called for** while the motor is on and the belt is below 80 % of normal, once it was at speed or its \
         start time (10 s) is up (29 CFR 1910.272(q)(5)); or a surface (head, belt under it, boot, rub) is hotter than the dust in the casing \
         allows. It is **due** when whoever sees the boot's edges alone can know: once the boot shaft itself turns below 80 %, one boot \
         pitch at that speed after its next edge; where heat calls, four boot turns after the call. Then half a second more, and \
         50 ms for the relay. None of this depends on a limit of the monitor. A call that ends before it is due is none. Scenarios, \
         score and tuning go by this one definition.\n\n\
         Stops are parted so:\n\n\
         | | |\n|---|---|\n\
         | in time | called for, and given before it was due |\n\
         | early | given before it was called for, with the fault at work that then called for it: right in the end, too soon at the time |\n\
         | late, missed | called for and given after it was due, or never |\n\
         | fail-safe | not called for (or not yet), with a sensor or contact at fault |\n\
         | false, fault at work | not called for, with a fault of the machine that never called for one |\n\
         | false, nothing wrong | before its fault began, or with nothing wrong at all |\n\n\
         The legs with a fault do *not* obey the monitor, so that truth and verdict are of the same course of events; but no feed runs into \
         a leg whose motor is off or whose belt was not at speed since the start, for that interlock has every feeder. Healthy legs obey. \
         *From due* is the time from when the stop was due to when it came, *from call* the time from the call itself: below \
         zero it came before. *Late or missed* is a share of the calls that no fail-safe stop came before, with its exact \
         interval (Clopper and Pearson).\n\n\
         What no sensor tells, and what that makes of the figures:\n\n\
         - **A parted belt** stands within a tenth of a second, and its boot pulley coasts. *From call* has the whole time; *from due* \
         leaves out what the boot shaft hides. A sensor on the belt itself would see it.\n\
         - **A hot rub** is called for by the face where belt and casing touch. The sensor sits in the casing, which is hot minutes \
         later, so the stop for a hot rub point comes late at its starting limit, and is counted so. What comes in time is the alarm of the rub contact, \
         minutes before the call; the lists below name the first alarm of each late stop. A leg whose people may not come at that \
         alarm should let *mistracking_sustained* stop it after a minute, as a test does with `scenarios/side-rub-getting-hot.toml`: \
         that stops before the face is hot. It stops belts too that rub for a minute and never get hot.\n\
         - **Slugs that the take-up does not bear** heap up in the boot until their drag takes all that it gives: the returning \
         strand hangs slack at the boot, whose pulley falls behind a belt that runs on. The shaft reads as a belt that slows, and no sensor \
         here tells them apart. Every built-in leg bears a slug of 180 % for 5 s, by [a rule](plant.md#take-ups-and-slugs); what comes of lighter \
         take-ups and larger slugs stands in a table of its own, and each stop there is counted as false.\n\
         - **A belt that swings once a turn**: where a pulley is out of round and turns nearly as often as the strands swing of themselves, with \
         little damping, the belt's speed goes up and down by 2 to 5 % in step with the boot's turns. Nothing in its edges tells that from \
         targets that lie unevenly, and it is told as *boot_targets*: most of these alarms are such, on the legs with the longest strands.\n\
         - **Too many starts**: people here start a leg when chance says so, not when the limit of four starts within 30 minutes lets them. \
         On a leg that runs for 15 minutes on the mean they start it a fifth time once in some thousand hours: the stop is what the limit \
         asks for, and is counted as false.\n\
         - **Boot targets not seen**: on the premix leg, with two targets on the head and four on the boot, a boot sensor that misses nearly \
         one in a hundred misses, once in some hundred hours, three of five or so, and the edges left are those of a belt at half of its speed.\n"
    );
}

/// The rows that the front page of the project has too, word for word.
fn in_short(text: &mut String, results: &Results) {
    let _ = writeln!(text, "## In short\n\n| what | measured |\n|---|---|");
    let shifts = |name: &str, shifts: &[(Stratum, Entry)]| {
        let shifts: Vec<&Scored> = shifts.iter().map(|(_, entry)| &entry.scored).collect();
        let of = Counts::of(shifts.iter().copied());
        let hours = hours(&shifts);
        let stops = of.false_stops() + of.fail_safe;
        let by = tally(wrongly_stopped(&shifts).map(|(_, because)| because));
        let by = if by.is_empty() { String::new() } else { format!(" ({by})") };
        let called = if of.called > 0 { format!("{} call for a stop, ", of.called) } else { String::new() };
        format!(
            "| {name}, starting limits | {hours:.0} hours: {called}{}{by}, at most {} (95 %); {} in {} of {} shifts |",
            counted(stops.into(), "false stop", "false stops"),
            one_in(1.0 / upper_bound(stops, hours)),
            counted(of.false_alarms.into(), "false alarm", "false alarms"),
            of.false_alarm_runs,
            of.runs
        )
    };
    let _ = writeln!(text, "{}", shifts("healthy simulated legs drawn at random", &results.healthy));
    if !results.strained.is_empty() {
        let name = "simulated legs with too light a take-up, or slugs beyond what they lift";
        let _ = writeln!(text, "{}", shifts(name, &results.strained));
    }
    let faults = |name: &str, runs: Vec<&Scored>| {
        let c = Counts::of(runs.iter().copied());
        format!(
            "| {name}, starting limits | {} runs: {} call for a stop, {} of them after a fail-safe one; of the other {}, {} missed, {} late{}; \
             {} false stops with a fault at work, {} with nothing wrong; {} alarms due, {} missed |",
            c.runs,
            c.called,
            c.called - c.tried(),
            c.tried(),
            c.missed,
            c.late,
            if c.tried() > 0 { format!(" ({})", interval(c.late + c.missed, c.tried())) } else { String::new() },
            c.uncalled,
            c.nuisance,
            c.alarms_due,
            c.alarms_missed,
        )
    };
    let random = results.random.iter().map(|entry| &entry.scored).collect();
    let written = results.written.iter().flat_map(|(_, entries)| entries).map(|entry| &entry.scored).collect();
    let _ = writeln!(text, "{}", faults("simulated legs with faults drawn at random", random));
    let _ = writeln!(text, "{}\n", faults("the scenarios as written", written));
}

/// Hours with the motor on.
fn hours(runs: &[&Scored]) -> f64 {
    runs.iter().map(|one| one.drive_s).sum::<f64>() / 3_600.0
}

/// The stops of runs in which nothing called for one.
fn wrongly_stopped<'a>(
    runs: &'a [&'a Scored],
) -> impl Iterator<Item = (u64, Option<slackside::conditions::Condition>)> + 'a {
    let wrong = |one: &&&Scored| matches!(one.class, Class::Uncalled | Class::Nuisance | Class::FailSafe);
    runs.iter().filter(wrong).filter_map(|one| one.stop)
}

fn healthy(text: &mut String, results: &Results) {
    let all: Vec<&Scored> = results.healthy.iter().map(|(_, entry)| &entry.scored).collect();
    let _ = writeln!(
        text,
        "## Healthy hours\n\n{:.0} hours with the motor on, in {} shifts of an hour. Each is another leg: target spacing, runout of \
         discs and pulleys, jitter, damping (0.02 to 0.12 of critical), stiffness, friction and its curve, bearings, guides of the \
         take-up, weather, and what its monitor was told of it are drawn at random; strata and the five built-in legs come in turn. Bounds \
         are one-sided at 95 %, exact Poisson: none seen is not none. Alarms of one shift hang together, so their bound is that of \
         shifts with any. A leg that was stopped stays stopped: its hours end there. Where the plant itself called for a stop before, \
         the leg was not healthy after all, and the stop is not counted as false.\n",
        hours(&all),
        all.len()
    );
    let refused: u64 = results.healthy.iter().map(|(_, entry)| entry.refused).sum();
    if refused > 0 {
        let _ = writeln!(
            text,
            "Besides these, {refused} drawn legs were left out and others drawn in their place: sound, their belts slip so much that the \
             monitor refuses their true speeds as a contradiction, and nobody could have put them to work.\n"
        );
    }
    by_stratum_and_leg(text, &results.healthy);
    // They are counted up from 0.
    let told = |scored: &Scored| scored.stop.is_some() || scored.raised.iter().any(|times| *times > 0);
    let numbers: Vec<String> = (results.healthy.iter().enumerate())
        .filter(|(_, (_, entry))| told(&entry.scored))
        .map(|(number, _)| number.to_string())
        .collect();
    if !numbers.is_empty() {
        let _ = writeln!(text, "\nAlarmed or stopped: shifts {}, rightly or not.", numbers.join(", "));
    }
    if results.strained.is_empty() {
        return;
    }
    let _ = writeln!(
        text,
        "\n## Hours of legs that cannot lift what comes\n\nNothing is broken here, and a leg as it should be built would not be so: its \
         take-up gives only 55 to 70 % of what the largest slug asks for, or slugs come that are larger still. By the rule that every \
         built-in leg is held to ([the plant](plant.md#take-ups-and-slugs)), these do not belong to healthy hours; what the monitor does \
         with them is told apart, and a stop that the belt itself does not call for is counted as false all the same. Stopped legs stay \
         stopped.\n"
    );
    by_stratum_and_leg(text, &results.strained);
}

/// How seldom, in hours; in minutes where it is often.
fn one_in(hours: f64) -> String {
    if hours < 3.0 { format!("one in {:.0} min", 60.0 * hours) } else { format!("one in {hours:.0} h") }
}

/// What came of shifts, by stratum and by leg.
fn by_stratum_and_leg(text: &mut String, shifts: &[(Stratum, Entry)]) {
    let all: Vec<&Scored> = shifts.iter().map(|(_, entry)| &entry.scored).collect();
    let head = "hours | called for | false stops | at most | missed, late | false alarms | in shifts | at most | stops by | alarms";
    let line = |text: &mut String, name: &str, runs: &[&Scored]| {
        let counts = Counts::of(runs.iter().copied());
        let run = hours(runs);
        let stops = counts.false_stops() + counts.fail_safe;
        let bound = |events| one_in(1.0 / upper_bound(events, run));
        let by = tally(wrongly_stopped(runs).map(|(_, because)| because));
        let alarms = tally(runs.iter().flat_map(|one| &one.false_alarms).map(|condition| Some(*condition)));
        let _ = writeln!(
            text,
            "| {name} | {run:.0} | {} | {stops} | {} | {} | {} | {} | {} | {by} | {alarms} |",
            some(counts.called),
            bound(stops),
            some(counts.missed + counts.late),
            counts.false_alarms,
            counts.false_alarm_runs,
            bound(counts.false_alarm_runs),
        );
    };
    let _ = writeln!(text, "| stratum | {head} |\n|---|---:|---:|---:|---:|---:|---:|---:|---:|---|---|");
    for stratum in Stratum::ALL.into_iter().chain(Stratum::STRAINED) {
        let runs: Vec<&Scored> =
            shifts.iter().filter(|(of, _)| *of == stratum).map(|(_, entry)| &entry.scored).collect();
        if !runs.is_empty() {
            line(text, stratum.words(), &runs);
        }
    }
    line(text, "**all**", &all);
    let _ = writeln!(text, "\n| leg | {head} |\n|---|---:|---:|---:|---:|---:|---:|---:|---:|---|---|");
    let mut legs: BTreeMap<&str, Vec<&Scored>> = BTreeMap::new();
    for (_, entry) in shifts {
        legs.entry(&entry.leg).or_default().push(&entry.scored);
    }
    for (leg, runs) in &legs {
        line(text, leg, runs);
    }
}

/// What was late or missed of all calls, and of those by a slow belt; and how soon alarms came.
fn share(text: &mut String, random: &[&Entry]) {
    let by_belt = |one: &&Scored| one.call.is_some_and(|call| call.why == Why::Belt);
    let all: Vec<&Scored> = random.iter().map(|entry| &entry.scored).collect();
    let belt: Vec<&Scored> = all.iter().copied().filter(by_belt).collect();
    for (runs, of) in [(&all, "calls"), (&belt, "calls by a slow belt")] {
        let counts = Counts::of(runs.iter().copied());
        let (failed, tried) = (counts.missed + counts.late, counts.tried());
        if tried > 0 {
            let share = 100.0 * f64::from(failed) / f64::from(tried);
            let _ = writeln!(
                text,
                "\nMissed or late: {failed} of {tried} {of} that no fail-safe stop came before, {share:.1} % (exact 95 % interval {}).",
                interval(failed, tried)
            );
        }
    }
    let mut told: Vec<f64> = all.iter().flat_map(|one| one.told_s.iter().copied()).collect();
    told.sort_by(f64::total_cmp);
    if let (Some(median), Some(most), Some(worst)) = (quantile(&told, 0.5), quantile(&told, 0.95), told.last()) {
        let _ = writeln!(
            text,
            "\nAlarms that were due and came in time: {}, from what they are about to the alarm {median:.1} s at the median, \
             {most:.1} s at 95 %, {worst:.1} s at the worst.",
            told.len()
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
            if let (Class::Missed | Class::Late, Some((at, condition))) = (class, one.told) {
                let _ = write!(words, ", first alarm at {}: {}", Clock::length(at), condition.name());
            }
            let _ = writeln!(text, "- {}, {}: {}; `{}`", entry.what, entry.leg, words.trim(), entry.again);
        }
        more(text, of.len());
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
    more(text, of.len());
    let of: Vec<&&Entry> = all.iter().filter(|entry| !entry.scored.false_alarms.is_empty()).collect();
    let _ = writeln!(text, "\n### Runs with a false alarm: {}\n", of.len());
    for entry in of.iter().take(MOST_TOLD) {
        let names = tally(entry.scored.false_alarms.iter().map(|condition| Some(*condition)));
        let _ = writeln!(text, "- {}, {}: {names}; `{}`", entry.what, entry.leg, entry.again);
    }
    more(text, of.len());
}

/// That there are more than were told.
fn more(text: &mut String, all: usize) {
    if all > MOST_TOLD {
        let _ = writeln!(text, "- … and {} more", all - MOST_TOLD);
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
        let least = |rule: &Rule| match kind {
            Kind::LaggingMissing | Kind::HeadBuildup | Kind::BootBuildup => "3 % of ratio".to_owned(),
            _ => rule.least.to_string(),
        };
        let mut before: Option<Rule> = None;
        for (shaft, targets, where_) in [
            (End::Head, 4, ", head"),
            (End::Head, 2, ", head, one or two targets"),
            (End::Boot, 4, ", boot"),
            (End::Boot, 2, ", boot, one or two targets"),
        ] {
            let Some(rule) = alarms::rule(kind, shaft, targets) else {
                if before.is_none() && targets == 4 && shaft == End::Head {
                    let _ = writeln!(text, "| {} | none as such: {} | | |", kind.name(), alarms::no_alarm(kind));
                }
                continue;
            };
            // A row for each that differs.
            if before.is_some_and(|before| before.any_of == rule.any_of) {
                continue;
            }
            let names = rule.any_of.iter().map(|condition| condition.name()).collect::<Vec<_>>().join(", ");
            let where_ = if kind.needs() == Where::Shaft { where_ } else { "" };
            let _ = writeln!(text, "| {}{where_} | {names} | {} | {} s |", kind.name(), least(&rule), rule.within_s);
            before = Some(rule);
        }
    }
}

#[cfg(test)]
mod tests {
    use slackside::conditions::Condition;

    use super::super::super::due::Call;
    use super::*;

    fn run(class: Class, call: Option<Call>, stop_us: Option<u64>) -> Entry {
        let scored = Scored {
            class,
            stop: stop_us.map(|at| (at, Some(Condition::DeepUnderspeed))),
            feed: None,
            call,
            told: None,
            due: Vec::new(),
            missed: Vec::new(),
            told_s: Vec::new(),
            false_alarms: Vec::new(),
            raised: [0; Condition::COUNT],
            drive_s: 3_600.0,
        };
        Entry { what: "a fault".to_owned(), leg: "a leg".to_owned(), again: String::new(), scored, refused: 0 }
    }

    /// What a fail-safe stop took away is no success: late and missed are a share of what was tried.
    #[test]
    fn what_a_fail_safe_stop_came_before_does_not_thin_out_the_failures() {
        let call = Some(Call { from_us: 10_000_000, to_us: 20_000_000, due_us: 11_000_000, why: Why::Belt });
        let random = vec![
            run(Class::InTime, call, Some(10_500_000)),
            run(Class::Late, call, Some(13_000_000)),
            run(Class::Missed, call, None),
            run(Class::FailSafe, call, Some(5_000_000)),
            run(Class::Quiet, None, None),
        ];
        let healthy = vec![
            (Stratum::Wet, run(Class::Nuisance, None, Some(5_000_000))),
            (Stratum::Wet, run(Class::Quiet, None, None)),
        ];
        let page = say(
            &Results { healthy, strained: Vec::new(), random, written: Vec::new(), swept: Vec::new() },
            "a command",
        );
        // Two of three: Clopper and Pearson give 9.43 to 99.16 %.
        for expected in [
            "5 runs: 4 call for a stop, 1 of them after a fail-safe one; of the other 3, 1 missed, 1 late (9 to 99 %)",
            "2 hours: 1 false stop (deep_underspeed 1)",
            "| a fault | 5 | 4 | 1 |  | 1 | 1 | 9 to 99 % | 1 |",
            "+2.00 s | +3.00 s |",
        ] {
            assert!(page.contains(expected), "{expected}\n{page}");
        }
    }
}
