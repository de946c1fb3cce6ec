//! A study from file to choice: what is refused, shards and stops that change nothing, and scores against a plain run.

use std::fs;
use std::path::Path;

use slackside::input::Input;
use slackside::retained::Retained;
use slackside::verdict::{Change, Permit};
use slackside_desk::monitor::monitor;
use slackside_desk::trace::Reader;
use slackside_desk::tune::choose::choose;
use slackside_desk::tune::corpus::{Case, load};
use slackside_desk::tune::knob::Knob;
use slackside_desk::tune::page::{Replays, page};
use slackside_desk::tune::results::Rows;
use slackside_desk::tune::score::Stop;
use slackside_desk::tune::search::{Breeder, grid, latin_hypercube, pareto};
use slackside_desk::tune::session::{Beside, Found, Shard};
use slackside_desk::tune::study::Study;
use slackside_desk::tune::{label, settings_out};
use slackside_simulator::cores::Cores;
use slackside_simulator::disk::Disk;
use slackside_simulator::study_files::{read_parquet, search, write_csv, write_parquet};

const CHOKE: &str = include_str!("../../simulator/tests/small-study/choke.toml");
const HEALTHY: &str = include_str!("../../simulator/tests/small-study/healthy.toml");

const STUDY: &str = r#"
name = "A small study"
held_out_pct = 34

[[family]]
scenario = "choke.toml"
runs = 3
severity = [0.7, 1.0]

[[family]]
scenario = "healthy.toml"
runs = 3

[[family]]
scenario = "sudden.toml"
runs = 1

[[family]]
scenario = "light.toml"
runs = 1

[[limit]]
key = "slip_very_high.setpoint_pct"
from = 8.0
to = 15.0
step = 1.0

[[limit]]
key = "slip_high.setpoint_pct"
from = 1.5
to = 6.5
step = 1.0

[search]
method = "latin_hypercube"
settings = 24
"#;

fn study_in(directory: &Path, text: &str) -> Result<Study, String> {
    fs::write(directory.join("choke.toml"), CHOKE).unwrap();
    fs::write(directory.join("healthy.toml"), HEALTHY).unwrap();
    // Other families: the same leg chokes at once, and runs with little feed.
    fs::write(directory.join("sudden.toml"), CHOKE.replace("from_s = 20.0", "from_s = 25.0")).unwrap();
    fs::write(directory.join("light.toml"), HEALTHY.replace("feed_pct = 70.0", "feed_pct = 30.0")).unwrap();
    fs::write(directory.join("study.toml"), text).unwrap();
    Study::read(&Disk, &directory.join("study.toml")).map_err(|error| format!("{error:#}"))
}

fn refusal(text: &str) -> String {
    let directory = tempfile::tempdir().unwrap();
    study_in(directory.path(), text).expect_err("it should be refused")
}

#[test]
fn bad_studies_are_refused_with_line_and_reason() {
    let empty = refusal(&STUDY.replace("to = 15.0", "to = 7.0"));
    assert!(empty.contains("study.toml:25") && empty.contains("range is empty"), "{empty}");

    // 29 CFR 1910.272(q)(5): no more than 20 % of normal belt speed may be lost.
    let code = refusal(&STUDY.replace("to = 15.0", "to = 25.0"));
    assert!(code.contains("limit.0.to") && code.contains("20"), "{code}");

    let unknown = refusal(&STUDY.replace("held_out_pct", "hold_out_pct"));
    assert!(unknown.contains("hold_out_pct") && unknown.contains("study.toml:3"), "{unknown}");

    let near = refusal(&STUDY.replace("slip_high.setpoint_pct", "slip_high.setpont_pct"));
    assert!(near.contains("did you mean \"slip_high.setpoint_pct\""), "{near}");

    let big = refusal(&STUDY.replace("latin_hypercube", "grid"));
    assert!(big.contains("48 settings, more than 24"), "{big}");
}

#[test]
fn a_trace_without_a_label_is_refused_before_anything_is_judged() {
    let directory = tempfile::tempdir().unwrap();
    let text = format!("{STUDY}\n[[trace]]\nfile = \"day.csv\"\n");
    let refused = study_in(directory.path(), &text).expect_err("no recording, no label");
    assert!(refused.contains("day.csv is not there"), "{refused}");
    fs::write(directory.path().join("day.csv"), "time_us,channel,value\n").unwrap();
    let refused = study_in(directory.path(), &text).expect_err("no label");
    assert!(refused.contains("study.toml:39:1: trace.0.file"), "{refused}");
    assert!(refused.contains("day.label.toml") && refused.contains("slackside label"), "{refused}");
    fs::write(directory.path().join("day.label.toml"), "nothing_wrong = true\n").unwrap();
    assert!(study_in(directory.path(), &text).is_ok());
}

#[test]
fn labels_come_back_as_written_and_say_what_they_must() {
    let directory = tempfile::tempdir().unwrap();
    let path = directory.path().join("day.label.toml");
    let label = label::Label {
        stop: Some(label::Stretch { from_us: 12_500_000, to_us: 14_000_000 }),
        due_us: Some(14_000_000),
        may: vec![label::Stretch { from_us: 1, to_us: 2_000_000 }],
        alarms: vec![label::AlarmDue {
            any_of: vec![slackside::conditions::Condition::Mistracking],
            within: label::Stretch { from_us: 3_000_000, to_us: 4_000_000 },
        }],
        wrong: "a \"wet\" belt".to_owned(),
        obeyed: true,
        known_until_us: Some(13_250_000),
    };
    fs::write(&path, label::write(&label)).unwrap();
    assert_eq!(label::read(&Disk, &path).unwrap(), label);
    let nothing = label::Label::default();
    fs::write(&path, label::write(&nothing)).unwrap();
    assert_eq!(label::read(&Disk, &path).unwrap(), nothing);
    fs::write(&path, "wrong = \"\"\n").unwrap();
    assert!(label::read(&Disk, &path).unwrap_err().to_string().contains("nothing_wrong"));
}

#[test]
fn a_latin_hypercube_tries_every_level_equally_often() {
    let knobs = [
        Knob::new("slip_high.setpoint_pct", 1.0, 8.0, 1.0).unwrap(),
        Knob::new("slip_high.on_delay_s", 0.0, 9.0, 1.0).unwrap(),
    ];
    let settings = latin_hypercube(&knobs, 40, 3);
    assert_eq!(grid(&knobs).len(), 80);
    // 40 strata on 8 levels: five each, less the twins left out.
    for level in 0..8 {
        let count = settings.iter().filter(|levels| levels[0] == level).count();
        assert!((3..=5).contains(&count), "level {level}: {count}");
    }
    assert_eq!(settings, latin_hypercube(&knobs, 40, 3));
    assert_ne!(settings, latin_hypercube(&knobs, 40, 4));
}

/// A problem with a known answer: the front of (x − 2)², (x + 2)² lies at −2 to 2, whatever the other knobs do (after Schaffer
/// 1985, with distractors added).
#[test]
fn breeding_finds_a_known_front() {
    let knobs: Vec<Knob> = ["slip_high.on_delay_s", "underspeed.on_delay_s", "head_underspeed.on_delay_s"]
        .into_iter()
        .map(|key| Knob::new(key, 0.0, 20.0, 0.1).unwrap())
        .collect();
    let objectives = |levels: &Vec<u16>| {
        let x = knobs[0].value(levels[0]) - 10.0;
        let waste = knobs[1].value(levels[1]) + knobs[2].value(levels[2]);
        [(x - 2.0).powi(2) + waste, (x + 2.0).powi(2) + waste, 0.0, 0.0, 0.0, 0.0]
    };
    let mut breeder = Breeder::new(&knobs, 40, 11);
    let mut all = Vec::new();
    for _ in 0..50 {
        let bred = breeder.breed(&knobs);
        let scored: Vec<_> = bred.into_iter().map(|levels| (levels.clone(), objectives(&levels))).collect();
        all.extend(scored.clone());
        breeder.select(scored);
    }
    let front = pareto(&all.iter().map(|(_, objectives)| *objectives).collect::<Vec<_>>());
    assert!(front.len() >= 20, "{}", front.len());
    for number in front {
        let levels = &all[number].0;
        let x = knobs[0].value(levels[0]) - 10.0;
        assert!((-2.5..=2.5).contains(&x), "{x}");
    }
    let best = all.iter().filter(|(levels, _)| levels[1] == 0 && levels[2] == 0).count();
    assert!(best > 10, "{best}");
}

fn one_run(study: &Study, cases: &[Case], directory: &Path, name: &str, shard: Shard) -> Found {
    search(study, cases, shard, &directory.join(name), &|_, _| true).unwrap()
}

#[test]
fn shards_and_interruptions_change_nothing() {
    let directory = tempfile::tempdir().unwrap();
    let study = study_in(directory.path(), STUDY).unwrap();
    let cases = load(&study, &Disk, &Cores, &|_| {}).unwrap();
    let held: Vec<&str> = cases.iter().filter(|case| case.held_out).map(|case| case.family.as_str()).collect();
    assert!(!held.is_empty() && held.len() < cases.len() - 1, "whole families: {held:?}");
    let whole = one_run(&study, &cases, directory.path(), "whole", Shard { number: 1, of: 1 });
    assert!(whole.rows.len() > 10);
    let csv = |rows: &Rows, name: &str| {
        let path = directory.path().join(name);
        write_csv(&path, &study, &cases, rows).unwrap();
        fs::read(path).unwrap()
    };
    let expected = csv(&whole.rows, "whole.csv");

    let mut merged = Rows::new();
    // In any order.
    for number in [3, 1, 2] {
        let part = one_run(&study, &cases, directory.path(), &format!("part{number}"), Shard { number, of: 3 });
        let path = directory.path().join(format!("{number}.parquet"));
        write_parquet(&path, &study, &cases, &part.rows).unwrap();
        read_parquet(&path, &study, &cases, &mut merged).unwrap();
    }
    assert_eq!(merged, whole.rows);
    assert_eq!(csv(&merged, "merged.csv"), expected);

    // Stopped in the middle of a row: go on, and come to the same.
    let kept = fs::read(directory.path().join("whole")).unwrap();
    for share in [0.0, 0.1, 0.37, 0.8, 1.0] {
        let cut = &kept[..(kept.len() as f64 * share) as usize];
        fs::write(directory.path().join("cut"), cut).unwrap();
        let again = one_run(&study, &cases, directory.path(), "cut", Shard { number: 1, of: 1 });
        assert_eq!(again.rows, whole.rows, "cut at {share}");
    }

    // Asked to stop after so many settings: what is judged is kept, and the next goes on from there.
    let judged = std::sync::atomic::AtomicU64::new(0);
    let some = |more: u64, _: Option<u64>| judged.fetch_add(more, std::sync::atomic::Ordering::SeqCst) + more < 9;
    let path = directory.path().join("asked");
    let stopped = search(&study, &cases, Shard { number: 1, of: 1 }, &path, &some).unwrap();
    assert!(
        stopped.stopped && stopped.rows.len() < whole.rows.len() && stopped.rows.len() >= 5,
        "{}",
        stopped.rows.len()
    );
    let on = one_run(&study, &cases, directory.path(), "asked", Shard { number: 1, of: 1 });
    assert_eq!(on.kept, stopped.rows.len() as u64);
    assert!(!on.stopped && on.rows == whole.rows);

    // Results of another study are refused.
    fs::create_dir(directory.path().join("other")).unwrap();
    let other = study_in(&directory.path().join("other"), &STUDY.replace("runs = 3", "runs = 2")).unwrap();
    let other_cases = load(&other, &Disk, &Cores, &|_| {}).unwrap();
    let refused = read_parquet(&directory.path().join("1.parquet"), &other, &other_cases, &mut Rows::new());
    assert!(format!("{:#}", refused.unwrap_err()).contains("not of this study"));

    // The choice is made and can be written down.
    let mut beside = Beside::new(&study, &cases, &whole.rows, &Cores);
    let choice = choose(&study, &whole.rows, &mut beside).unwrap();
    let text = settings_out::write(&study, &whole, &choice).unwrap();
    let back = slackside_desk::settings::parse(&text, "chosen").unwrap();
    let expected = study.settings(&study.base, &choice.levels).unwrap();
    assert_eq!(back.checked, expected);
    let page = page(&study, &cases, &whole, &choice, &Replays::default());
    assert!(page.contains("Held-out") && page.contains("<svg") && !page.contains("http"), "self-contained");
}

#[test]
fn a_score_is_what_a_plain_run_gives() {
    let directory = tempfile::tempdir().unwrap();
    let study = study_in(directory.path(), STUDY).unwrap();
    let cases = load(&study, &Disk, &Cores, &|_| {}).unwrap();
    let found = one_run(&study, &cases, directory.path(), "run", Shard { number: 1, of: 1 });
    let mut stops = 0;
    for (number, case) in cases.iter().enumerate() {
        let inputs = simulated(case);
        let mut monitor = monitor(&case.settings, &Retained::default());
        let (mut given, mut stopped) = (false, None);
        for input in inputs {
            monitor.observe(input, &mut |verdict| {
                if let Change::Permit { permit: Permit::Run, allowed, .. } = verdict.change {
                    if given && !allowed && stopped.is_none() {
                        stopped = Some(verdict.at.get() as i64);
                    }
                    given = allowed;
                }
            });
        }
        let outcome = &found.rows[&0].outcomes[number];
        assert_eq!(outcome.stop_us, stopped.unwrap_or(-1), "{}", case.name);
        if let Some(due) = case.expected.stop {
            assert!(matches!(outcome.stop, Stop::InTime | Stop::Late | Stop::Missed | Stop::Nuisance));
            if let Some(stopped) = stopped.filter(|at| *at >= due.from_us as i64) {
                stops += 1;
                assert_eq!(outcome.took_us, stopped - due.from_us as i64);
                // Without grace it is late the moment after it was due, which is after something went wrong.
                assert_eq!(outcome.due_us, due.late_us as i64);
                assert!(outcome.due_us >= due.from_us as i64, "{outcome:?}");
                assert!(outcome.slid_mm >= 0 && outcome.heat_j >= 0 && outcome.margin_ppm > i32::MIN, "{outcome:?}");
            }
        } else {
            assert_eq!(outcome.due_us, -1);
            assert_ne!(outcome.stop, Stop::Missed);
        }
    }
    assert!(stops > 0, "no run of the choke was stopped: the test tests nothing");
}

/// The same run again, by way of a trace file.
fn simulated(case: &Case) -> Vec<Input> {
    use slackside_desk::scenario::{
        Scenario,
        run::{Obeys, run},
        settings::Commissioned,
    };
    struct ToCsv(Vec<u8>);
    impl slackside_desk::scenario::run::Watch for ToCsv {
        fn input(&mut self, input: &Input) -> std::io::Result<()> {
            slackside_desk::trace::write_row(input, &mut self.0);
            Ok(())
        }
        fn truth(&mut self, _: &slackside_desk::scenario::truth::Row) -> std::io::Result<()> {
            Ok(())
        }
        fn permits(&mut self, _: u64) -> slackside_desk::scenario::run::Permits {
            slackside_desk::scenario::run::Permits { run: true, feed: true }
        }
    }
    let words: Vec<&str> = case.name.split(' ').collect();
    let text = match words[0] {
        "choke" => CHOKE.to_owned(),
        "sudden" => CHOKE.replace("from_s = 20.0", "from_s = 25.0"),
        "light" => HEALTHY.replace("feed_pct = 70.0", "feed_pct = 30.0"),
        _ => HEALTHY.to_owned(),
    };
    let mut scenario = Scenario::parse(&text, Path::new("again.toml")).unwrap();
    if let Some(severity) = words.get(4) {
        scenario.set_severity(severity.parse().unwrap());
    }
    let mut csv = ToCsv(format!("{}\n", slackside_desk::trace::HEADER).into_bytes());
    run(&scenario, &Commissioned::measure(&scenario.leg), words[2].parse().unwrap(), Obeys::Nothing, &mut csv).unwrap();
    Reader::from_read("again", std::io::Cursor::new(csv.0)).unwrap().map(|input| input.unwrap()).collect()
}
