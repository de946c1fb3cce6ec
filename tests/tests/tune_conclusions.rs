//! What a hazard review asks of a study: one definition of due, records that end where the leg was stopped, hours that were judged,
//! proof on other families, and a choice that moves nothing the data do not decide.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use slackside::conditions::Condition;
use slackside::input::Input;
use slackside::settings::{Checked, Settings};
use slackside::units::Span;
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::run::{Obeys, Permits, Watch, run};
use slackside_desk::scenario::score::{Class, How, population, score as judged};
use slackside_desk::scenario::settings::{Commissioned, settings_for};
use slackside_desk::scenario::truth::Row as Truth;
use slackside_desk::trace::{HEADER, write_row};
use slackside_desk::tune::answer::{Answer, cannot_trade_off};
use slackside_desk::tune::choose::{Choice, choose};
use slackside_desk::tune::corpus::{Case, load};
use slackside_desk::tune::page::{Replays, page};
use slackside_desk::tune::score::{Outcome, Stop, score};
use slackside_desk::tune::session::{Beside, Found, Shard, judge_all, tuned};
use slackside_desk::tune::study::Study;
use slackside_desk::tune::summary::Summary;
use slackside_simulator::cores::Cores;
use slackside_simulator::disk::Disk;
use slackside_simulator::study_files::search;

const CHOKE: &str = include_str!("../../simulator/tests/small-study/choke.toml");
const HEALTHY: &str = include_str!("../../simulator/tests/small-study/healthy.toml");

fn library(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../scenarios/{name}.toml"))
}

/// A folder with the two small scenarios in it, and a study of these lines.
struct Desk(tempfile::TempDir);

impl Desk {
    fn new() -> Self {
        let desk = Self(tempfile::tempdir().unwrap());
        desk.write("choke.toml", CHOKE);
        desk.write("healthy.toml", HEALTHY);
        desk
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).unwrap();
    }

    fn study(&self, text: &str) -> Study {
        self.write("study.toml", text);
        Study::read(&Disk, &self.path("study.toml")).unwrap_or_else(|error| panic!("{error:#}"))
    }

    fn cases(&self, text: &str) -> Result<Vec<Case>, String> {
        load(&self.study(text), &Disk, &Cores, &|_| {}).map_err(|error| error.to_string())
    }

    /// Search, and choose.
    fn conclude(&self, text: &str) -> (Study, Vec<Case>, Found, Choice) {
        let study = self.study(text);
        let cases = load(&study, &Disk, &Cores, &|_| {}).unwrap_or_else(|error| panic!("{error}"));
        let shard = Shard { number: 1, of: 1 };
        let found = search(&study, &cases, shard, &self.path("unfinished"), &|_, _| true).unwrap();
        let choice = choose(&study, &found.rows, &mut Beside::new(&study, &cases, &found.rows, &Cores)).unwrap();
        (study, cases, found, choice)
    }
}

const SEARCH: &str = "\n[[limit]]\nkey = \"slip_very_high.setpoint_pct\"\nfrom = 8.0\nto = 14.0\nstep = 2.0\n\n[search]\nmethod = \"grid\"\n";

fn family(scenario: &Path, more: &str) -> String {
    format!("[[family]]\nscenario = {:?}\n{more}\n\n", scenario.display().to_string())
}

/// Score and tuning say the same of the same run: the stop, and how many alarms were due and did not come.
#[test]
fn tuning_and_the_page_of_scores_judge_alike() {
    let runs = [
        ("choked-boot", Some(0.6), false),
        ("overload", Some(0.5), false),
        // A dip so deep that the belt is slow, and one that is not: what its author meant does not count.
        ("power-dip", Some(1.0), false),
        ("power-dip", Some(0.3), true),
        ("frozen-start", None, false),
        ("boot-sensor-cut", None, false),
        ("take-up-slack", None, false),
        ("build-up-on-boot", None, false),
        ("lagging-missing-after-belt-change", None, false),
        ("rub-contact-stuck", None, false),
        ("boot-pulley-loose", None, false),
        // Slip drops the feed two seconds before the boot, which the slack belt no longer drives, stops a leg whose belt runs.
        ("new-belt-stretch", Some(0.9), false),
        ("loaded-restart", None, false),
    ];
    let (mut classes, mut stops) = (Vec::new(), Vec::new());
    for (name, severity, healthy) in runs {
        let mut scenario = Scenario::read(&Disk, &library(name)).unwrap();
        let mut more = format!("runs = 1\nfirst_seed = 5\nhealthy = {healthy}");
        if let Some(severity) = severity {
            scenario.set_severity(severity);
            more += &format!("\nseverity = [{severity}, {severity}]");
        }
        let commissioned = Commissioned::measure(&scenario.leg);
        let settings = settings_for(&scenario.leg, &commissioned).check().unwrap();
        let how = How { healthy, ..How::default() };
        let scored = judged(&scenario, &commissioned, &settings, 5, how).unwrap();

        let cases =
            Desk::new().cases(&format!("name = \"one\"\nheld_out_pct = 0\n{}{SEARCH}", family(&library(name), &more)));
        let cases = cases.unwrap();
        let outcome = score(0, 0, &cases[0], &settings);
        let expected = match scored.class {
            Class::Quiet => Stop::None,
            Class::InTime | Class::Early => Stop::InTime,
            Class::Late => Stop::Late,
            Class::Missed => Stop::Missed,
            Class::FailSafe => Stop::Excused,
            Class::Uncalled => Stop::Uncalled,
            Class::Nuisance => Stop::Nuisance,
        };
        // With the feed gone before, the leg of a study would have been emptying: whether it would have stopped falsely is not known.
        let fed = !(0..outcome.stop_us).contains(&outcome.feed_us);
        let expected =
            if fed || !matches!(expected, Stop::Uncalled | Stop::Nuisance) { expected } else { Stop::NotKnown };
        assert_eq!(outcome.stop, expected, "{name}: {outcome:?}, {:?}", scored.class);
        assert_eq!(outcome.stop_us, scored.stop.map_or(-1, |(at, _)| at as i64), "{name}");
        assert_eq!(outcome.due_us, scored.call.map_or(-1, |call| call.due_us as i64), "{name}");
        // Beyond the stop tuning says nothing of alarms.
        let until = scored.stop.map_or(u64::MAX, |(at, _)| at);
        let missed = scored.missed.iter().filter(|wanted| wanted.due_us <= until).count();
        assert_eq!(outcome.alarms_missed as usize, missed, "{name}");
        if fed {
            classes.push(scored.class);
        }
        stops.push(outcome.stop);
    }
    assert!(stops.contains(&Stop::NotKnown), "no run stops falsely after its feed had dropped: {stops:?}");
    for class in [Class::Quiet, Class::FailSafe, Class::Uncalled] {
        assert!(classes.contains(&class), "no run is {class:?}: {classes:?}");
    }
    assert!(classes.iter().any(|class| matches!(class, Class::InTime | Class::Early)), "{classes:?}");
}

/// Writes a run as a trace, with a monitor in the loop or without.
struct Recorder {
    csv: Vec<u8>,
    guard: slackside_desk::scenario::guard::Guard,
    obeys: Obeys,
}

impl Watch for Recorder {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        write_row(input, &mut self.csv);
        self.guard.take(input);
        Ok(())
    }

    fn truth(&mut self, _: &Truth) -> io::Result<()> {
        Ok(())
    }

    fn permits(&mut self, now_us: u64) -> Permits {
        let allowed = self.guard.allows(now_us);
        if self.obeys == Obeys::Permits { allowed } else { Permits { run: true, feed: true } }
    }
}

fn record(desk: &Desk, name: &str, scenario: &str, settings: &Checked, obeys: Obeys) {
    let scenario = Scenario::parse(scenario, Path::new("recorded.toml")).unwrap();
    let commissioned = Commissioned::measure(&scenario.leg);
    let csv = format!("{HEADER}\n").into_bytes();
    let mut recorder = Recorder { csv, guard: slackside_desk::scenario::guard::Guard::new(settings), obeys };
    run(&scenario, &commissioned, 3, obeys, &mut recorder).unwrap();
    fs::write(desk.path(name), recorder.csv).unwrap();
}

fn leg() -> (Settings, Checked) {
    let scenario = Scenario::parse(CHOKE, Path::new("leg.toml")).unwrap();
    let settings = settings_for(&scenario.leg, &Commissioned::measure(&scenario.leg));
    let checked = settings.clone().check().unwrap();
    (settings, checked)
}

/// The same leg with stops that come sooner.
fn quicker() -> Checked {
    let mut settings = leg().0;
    settings.limits.change(Condition::SlipVeryHigh, |limit| {
        (limit.setpoint, limit.on_delay) = (80_000, Span::from_millis(200));
    });
    settings.check().unwrap()
}

#[test]
fn of_a_leg_that_obeyed_its_trip_slower_settings_are_not_known_instead_of_missed() {
    let desk = Desk::new();
    let quick = quicker();
    desk.write("leg.toml", &slackside_desk::settings::write(&quick));
    let label = "wrong = \"choked boot\"\n[stop]\nfrom_s = 20.0\nby_s = 39.0\n";
    for (name, obeys) in [("obeyed", Obeys::Permits), ("ran-on", Obeys::Nothing)] {
        record(&desk, &format!("{name}.csv"), CHOKE, &quick, obeys);
        desk.write(&format!("{name}.label.toml"), label);
    }
    let text = format!(
        "name = \"trips\"\nsettings = \"leg.toml\"\nheld_out_pct = 0\n[[trace]]\nfile = \"obeyed.csv\"\n[[trace]]\nfile = \"ran-on.csv\"\n{SEARCH}"
    );
    let cases = desk.cases(&text).unwrap();
    let slow = leg().1;
    let outcomes = |settings: &Checked| [0, 1].map(|case| score(0, case, &cases[case as usize], settings));
    let [obeyed, ran_on] = outcomes(&quick);
    assert_eq!((obeyed.stop, ran_on.stop), (Stop::InTime, Stop::InTime), "its own limits stop it where they did");
    let [obeyed, ran_on] = outcomes(&slow);
    assert_eq!((obeyed.stop, ran_on.stop), (Stop::NotKnown, Stop::InTime), "{obeyed:?} {ran_on:?}");
    let sum = Summary::of([&obeyed, &ran_on]);
    assert_eq!((sum.needed, sum.missed, sum.not_known), (1, 0, 1));
    assert!(sum.failing_words().contains("of 1 more it is not known"), "{}", sum.failing_words());

    // Where the drive contact tells nothing of it, a person can: no drive off, but the feed was dropped and obeyed.
    desk.write("ran-on.label.toml", &label.replace("[stop]", "obeyed = true\n[stop]"));
    let cases = desk.cases(&text).unwrap();
    assert_eq!(score(0, 1, &cases[1], &slow).stop, Stop::NotKnown);
    desk.write("ran-on.label.toml", &label.replace("[stop]", "known_until_s = 20.5\n[stop]"));
    let cases = desk.cases(&text).unwrap();
    assert_eq!(score(0, 1, &cases[1], &slow).stop, Stop::NotKnown);
}

#[test]
fn a_copy_is_refused_whatever_it_is_called_and_whenever_it_was() {
    let desk = Desk::new();
    record(&desk, "monday.csv", HEALTHY, &leg().1, Obeys::Nothing);
    desk.write("monday.label.toml", "nothing_wrong = true\n");
    desk.write("tuesday.label.toml", "nothing_wrong = true\n");
    // The same rows, an hour later.
    let monday = fs::read_to_string(desk.path("monday.csv")).unwrap();
    let later = |line: &str| match line.split_once(',') {
        Some((at, rest)) if at.parse::<u64>().is_ok() => {
            format!("{},{rest}\n", at.parse::<u64>().unwrap() + 3_600_000_000)
        }
        _ => format!("{line}\n"),
    };
    desk.write("tuesday.csv", &monday.lines().map(later).collect::<String>());
    let refused = desk.cases(&format!(
        "name = \"copies\"\n[[trace]]\nfile = \"monday.csv\"\n[[trace]]\nfile = \"tuesday.csv\"\nheld_out = true\n{SEARCH}"
    ));
    let refused = refused.err().expect("a copy is no proof");
    assert!(refused.contains("tuesday.csv is a copy of") && refused.contains("monday.csv"), "{refused}");

    // A scenario under another name, and with another seed it is still the same family.
    desk.write("other.toml", &CHOKE.replace("The boot chokes", "Something else chokes"));
    let two = |seed: u32| {
        let both = family(&desk.path("choke.toml"), "runs = 1")
            + &family(&desk.path("other.toml"), &format!("runs = 1\nfirst_seed = {seed}"));
        desk.cases(&format!("name = \"copies\"\n{both}{SEARCH}"))
    };
    assert!(two(1).err().expect("refused").contains("is a copy of"));
    let cases = two(2).unwrap();
    assert_eq!(cases[0].group, cases[1].group);
}

#[test]
fn held_out_are_whole_families_and_bounds_count_families() {
    let desk = Desk::new();
    let families: String =
        ["choked-boot", "frozen-start", "two-legs-on-one-drive", "power-dip", "loaded-restart", "screw-feeder"]
            .into_iter()
            .map(|name| family(&library(name), "runs = 2"))
            .collect();
    let cases = desk.cases(&format!("name = \"families\"\nheld_out_pct = 40\n{families}{SEARCH}")).unwrap();
    for case in &cases {
        let same = cases.iter().filter(|other| other.group == case.group);
        assert!(same.clone().all(|other| other.held_out == case.held_out), "{}", case.family);
        assert_eq!(same.count(), 2);
    }
    for needs in [true, false] {
        let some = |held: bool| cases.iter().any(|case| case.expected.stop.is_some() == needs && case.held_out == held);
        assert!(some(true) && some(false), "{needs}");
    }
    // One trace of a family by name, another of it the other way: refused.
    record(&desk, "one.csv", CHOKE, &leg().1, Obeys::Nothing);
    record(&desk, "two.csv", &CHOKE.replace("severity = 0.8", "severity = 0.9"), &leg().1, Obeys::Nothing);
    for name in ["one", "two"] {
        desk.write(&format!("{name}.label.toml"), "wrong = \"choked boot\"\n[stop]\nfrom_s = 20.0\nby_s = 39.0\n");
    }
    let text = |family: &str| {
        format!(
            "name = \"named\"\n[[trace]]\nfile = \"one.csv\"\nheld_out = false\n[[trace]]\nfile = \"two.csv\"\nheld_out = true\n{family}{SEARCH}"
        )
    };
    let refused = desk.cases(&text("")).err().expect("the same upset on the same leg proves nothing");
    assert!(refused.contains("of the same leg and family (\"choked boot\")"), "{refused}");
    assert!(desk.cases(&text("family = \"another\"\n")).unwrap()[1].held_out);

    // Ten runs of one family are one family: Clopper and Pearson's bound of none in one, 95 %, is 95 %; of none in ten, 26 %.
    let outcome = |group: u32| Outcome { group, ..score(0, 0, &cases[0], &cases[0].settings) };
    let runs: Vec<Outcome> = (0..10).map(|_| outcome(0)).collect();
    let words = Summary::of(&runs).failing_words();
    assert!(words.contains("none of 10 missed or late, in 1 family") && words.contains("fewer than 95 %"), "{words}");
    let runs: Vec<Outcome> = (0..10).map(outcome).collect();
    let words = Summary::of(&runs).failing_words();
    assert!(words.contains("in 10 families") && words.contains("fewer than 26 %"), "{words}");
}

/// Of a run whose fault begins at 20 s and that is at speed from about 4 s on, sixteen seconds are healthy running.
#[test]
fn exposure_is_healthy_running_that_was_judged() {
    let desk = Desk::new();
    let cases = desk.cases(&format!(
        "name = \"hours\"\nheld_out_pct = 0\n{}{SEARCH}",
        family(&desk.path("choke.toml"), "runs = 1")
    ));
    let case = &cases.unwrap()[0];
    let running = score(0, 0, case, &case.settings).running_us as f64 / 1e6;
    assert!((15.0..=17.1).contains(&running), "{running}");
}

/// The feeder of every leg is interlocked with its motor and belt, monitor or not. Fed while it stood, this one would be stopped with
/// the pile in its boot by whatever limits, and held against each of them.
#[test]
fn nothing_is_fed_into_a_leg_that_stands() {
    let desk = Desk::new();
    desk.write(
        "rest.toml",
        "description = \"A rest in which nobody turns the feed down.\"\nleg = \"millbrook-leg-3\"\nduration_s = 400.0\n\n\
         [label]\nwrong = \"\"\nstop = false\n\n\
         [[timeline]]\nat_s = 10.0\npress = \"start\"\n\n[[timeline]]\nat_s = 25.0\nfeed_pct = 90.0\n\n\
         [[timeline]]\nat_s = 100.0\npress = \"stop\"\n\n[[timeline]]\nat_s = 220.0\npress = \"start\"\n",
    );
    let text = format!("name = \"rest\"\nheld_out_pct = 0\n{}{SEARCH}", family(&desk.path("rest.toml"), "runs = 1"));
    let (study, cases, found, choice) = desk.conclude(&text);
    for row in found.rows.values() {
        let outcome = &row.outcomes[0];
        assert_eq!((outcome.stop, outcome.feed_us), (Stop::None, -1), "{outcome:?}");
        // A minute and a half before the rest, three minutes after it.
        assert!(outcome.running_us > 250_000_000, "{outcome:?}");
    }
    // Whoever looks at the run again sees the same one.
    let again = slackside_desk::tune::again::page(&study, &cases[0], &choice, &Disk).unwrap();
    assert!(!again.contains("run permit was dropped"), "another run is shown");
}

#[test]
fn heat_slid_length_and_belt_speed_are_the_plants_truth_and_frozen_starts_count() {
    let desk = Desk::new();
    let text = fs::read_to_string(library("frozen-start")).unwrap();
    let cases = desk.cases(&format!(
        "name = \"frozen\"\nheld_out_pct = 0\n{}{SEARCH}",
        family(&library("frozen-start"), "runs = 1\nfirst_seed = 3")
    ));
    let case = &cases.unwrap()[0];
    let outcome = score(0, 0, case, &case.settings);
    assert_eq!(outcome.stop, Stop::InTime);
    assert!(outcome.truth && outcome.starting, "{outcome:?}");
    assert!(outcome.slid_mm > 300 && outcome.heat_j > 0 && outcome.margin_ppm < -700_000, "{outcome:?}");

    // The same run as a recording, without its truth: the monitor's own reckoning, and said so.
    let scenario = Scenario::parse(&text, Path::new("frozen.toml")).unwrap();
    let settings = settings_for(&scenario.leg, &Commissioned::measure(&scenario.leg)).check().unwrap();
    desk.write("leg.toml", &slackside_desk::settings::write(&settings));
    record(&desk, "frozen.csv", &text, &settings, Obeys::Nothing);
    desk.write("frozen.label.toml", "wrong = \"frozen in\"\n[stop]\nfrom_s = 0.0\nby_s = 20.0\n");
    let cases = desk.cases(&format!(
        "name = \"frozen\"\nsettings = \"leg.toml\"\nheld_out_pct = 0\n[[trace]]\nfile = \"frozen.csv\"\n{SEARCH}"
    ));
    let recorded = score(0, 0, &cases.unwrap()[0], &settings);
    assert!(!recorded.truth && recorded.starting, "{recorded:?}");
    let share = recorded.slid_mm as f64 / outcome.slid_mm as f64;
    assert!((0.7..=1.3).contains(&share), "{} of {} mm", recorded.slid_mm, outcome.slid_mm);
    let told = slackside_desk::tune::page::figures(&Summary::of([&recorded]));
    assert!(told.iter().any(|(_, value)| value.contains("the monitor's own reckoning")), "{told:?}");

    // The margin to the 20 % weighs: of two that differ in nothing else the one with the faster belt is better.
    let (mut near, mut far) = (outcome, outcome);
    (near.starting, far.starting) = (false, false);
    (near.margin_ppm, far.margin_ppm) = (-10_000, -60_000);
    let (near, far) = (Summary::of([&near]).objectives(), Summary::of([&far]).objectives());
    assert!(slackside_desk::tune::search::dominates(&near, &far), "{near:?} {far:?}");
}

const MANY: &str = "\
[[limit]]\nkey = \"deep_underspeed.on_delay_s\"\nfrom = 0.1\nto = 0.6\nstep = 0.1\n\n\
[[limit]]\nkey = \"underspeed.setpoint_pct\"\nfrom = 6.0\nto = 11.0\nstep = 1.0\n\n\
[[limit]]\nkey = \"slip_high.setpoint_pct\"\nfrom = 2.0\nto = 6.0\nstep = 0.5\n\n\
[[limit]]\nkey = \"slip_mean.on_delay_s\"\nfrom = 10\nto = 60\nstep = 10\n\n\
[search]\nmethod = \"latin_hypercube\"\nsettings = 60\n";

/// Every limit that moves is needed where it is: back by a step, and something that is weighed gets worse. All others stand.
#[test]
fn nothing_moves_that_the_data_do_not_decide() {
    let desk = Desk::new();
    let text = format!(
        "name = \"flat\"\nheld_out_pct = 0\n{}{}{MANY}",
        family(&desk.path("choke.toml"), "runs = 3\nseverity = [0.7, 1.0]"),
        family(&desk.path("healthy.toml"), "runs = 2")
    );
    let (study, cases, found, choice) = desk.conclude(&text);
    let standing = study.standing();
    let weighed = |levels: &Vec<u16>| judge_all(&study, &cases, 1, levels).map(|row| tuned(&row).objectives());
    let own = weighed(&choice.levels).unwrap();
    let present = tuned(&found.rows[&0]).objectives();
    assert!(choice.moved.len() < 4, "the mean of slip over a minute says nothing in 40 s: {choice:?}");
    assert!(!choice.moved.contains(&3) && !choice.moved.contains(&2), "{:?}", choice.moved);
    for knob in 0..standing.len() {
        if !choice.moved.contains(&knob) {
            assert_eq!(choice.levels[knob], standing[knob]);
            continue;
        }
        let mut nearer = choice.levels.clone();
        nearer[knob] = if nearer[knob] > standing[knob] { nearer[knob] - 1 } else { nearer[knob] + 1 };
        if let Ok(nearer) = weighed(&nearer) {
            assert!(nearer.iter().zip(&own).any(|(nearer, own)| nearer > own), "{knob} moved in a flat region");
        }
    }
    assert!(choice.moved.is_empty() || own.iter().zip(&present).any(|(own, now)| own < now), "moved for nothing");

    // No setting tried gives a nuisance on these: the page says so, and leads with the answer.
    let words = cannot_trade_off(&found.rows).expect("two short sound runs");
    assert!(words.contains("cannot trade off") && words.contains("[[population]]"), "{words}");
    let html = page(&study, &cases, &found, &choice, &Replays::default());
    let headings: Vec<&str> = html.split("<h2>").skip(1).filter_map(|rest| rest.split("</h2>").next()).collect();
    assert_eq!(headings[0], "The answer");
    assert!(html.contains("Cannot trade off."));
    let answer = Answer::of(&study, &found.rows, &choice);
    assert_eq!(answer.lines().count(), 3 + choice.loosened.len());
    assert!(answer.open.contains("Not known"), "{answer:?}");
}

/// A leg whose stop is so tight that a sound shift trips: loosening it buys that, and says so in a line of its own with its evidence.
#[test]
fn a_stop_that_is_loosened_says_so_with_its_evidence() {
    let desk = Desk::new();
    let mut settings = leg().0;
    settings.limits.change(Condition::Underspeed, |limit| (limit.setpoint, limit.deadband) = (50_000, 10_000));
    settings.limits.change(Condition::DeepUnderspeed, |limit| {
        (limit.setpoint, limit.deadband, limit.on_delay) = (80_000, 10_000, Span::new(0));
    });
    let tight = settings.check().unwrap_or_else(|broken| panic!("{broken:?}"));
    desk.write("leg.toml", &slackside_desk::settings::write(&tight));
    let text = format!(
        "name = \"tight\"\nsettings = \"leg.toml\"\nheld_out_pct = 0\n{}{}\
         [[limit]]\nkey = \"deep_underspeed.on_delay_s\"\nfrom = 0.0\nto = 0.6\nstep = 0.1\n\n[search]\nmethod = \"grid\"\n",
        family(&desk.path("choke.toml"), "runs = 2\nseverity = [0.8, 1.0]"),
        "[[population]]\nleg = \"millbrook-leg-3\"\nshifts = 11\n\n"
    );
    let (study, _, found, choice) = desk.conclude(&text);
    assert!(tuned(&found.rows[&0]).false_stops() > 0, "it does not trip: the test tests nothing");
    assert_eq!((choice.moved.as_slice(), choice.loosened.as_slice()), ([0].as_slice(), [0].as_slice()));
    let answer = Answer::of(&study, &found.rows, &choice);
    let lines: Vec<&str> = answer.lines().take(3).collect();
    let line = lines.iter().find(|line| line.starts_with("This loosens a stop")).unwrap_or_else(|| panic!("{lines:?}"));
    for word in
        ["deep underspeed on delay from 0 to", "Evidence: with it 2 of 2 stops", "in 1 of 1 family", "false stop"]
    {
        assert!(line.contains(word), "{word}: {line}");
    }
    assert!(cannot_trade_off(&found.rows).is_none());
    assert!(choice.front.len() > 1 || tuned(&choice.row).after_due_s(0.95).is_some());
}

/// The shipped study has sound legs at their hardest, and a front to choose from.
#[test]
fn the_shipped_study_can_trade_off() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../studies/slip-limits.toml");
    let mut study = Study::read(&Disk, &path).unwrap_or_else(|error| panic!("{error:#}"));
    assert!(study.populations.iter().map(|population| population.shifts).sum::<u32>() >= 20);
    assert!(study.populations[0].numbers().all(|number| population::healthy(1, number).is_ok()));
    // A share of it, so that it takes seconds: one shift of each kind, three of each upset.
    study.populations[0].shifts = 11;
    study.families.truncate(6);
    for family in &mut study.families {
        family.runs = family.runs.min(3);
    }
    study.search.settings = Some(60);
    let cases = load(&study, &Disk, &Cores, &|_| {}).unwrap_or_else(|error| panic!("{error}"));
    let folder = tempfile::tempdir().unwrap();
    let shard = Shard { number: 1, of: 1 };
    let found = search(&study, &cases, shard, &folder.path().join("unfinished"), &|_, _| true).unwrap();
    let choice = choose(&study, &found.rows, &mut Beside::new(&study, &cases, &found.rows, &Cores)).unwrap();
    assert_eq!(cannot_trade_off(&found.rows), None);
    assert!(choice.front.len() > 1, "{:?}", choice.front);
}
