//! `slackside label`, `tune` and `compare` as they are called: from recordings to a setting, killed and gone on, in shards.

mod program;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use program::{done, slackside, text};

const CHOKE: &str = include_str!("small-study/choke.toml");
const HEALTHY: &str = include_str!("small-study/healthy.toml");

const STUDY: &str = r#"
name = "A small study"
settings = "leg.toml"
held_out_pct = 34

[[trace]]
file = "bad.csv"

[[trace]]
file = "good.csv"

[[family]]
scenario = "choke.toml"
runs = 3
severity = [0.7, 1.0]

[[family]]
scenario = "healthy.toml"
runs = 3

[[family]]
scenario = "sudden.toml"
runs = 2

[[limit]]
key = "slip_very_high.setpoint_pct"
from = 6.0
to = 14.0
step = 0.1

[[limit]]
key = "slip_high.setpoint_pct"
from = 1.5
to = 6.0
step = 0.1

[search]
method = "latin_hypercube"
settings = 600
"#;

/// Two recordings of one leg with their labels, the leg's settings, and a study.
fn prepare(directory: &Path) {
    fs::write(directory.join("choke.toml"), CHOKE).expect("written");
    fs::write(directory.join("healthy.toml"), HEALTHY).expect("written");
    fs::write(directory.join("sudden.toml"), CHOKE.replace("from_s = 20.0", "from_s = 25.0")).expect("written");
    fs::write(directory.join("study.toml"), STUDY).expect("written");
    done(directory, &["simulate", "choke.toml", "--out", "bad.csv", "--write-settings", "leg.toml"]);
    done(directory, &["simulate", "healthy.toml", "--out", "good.csv"]);
    done(directory, &["label", "bad.csv", "--stop", "20,39", "--wrong", "choked boot"]);
    done(directory, &["label", "good.csv", "--nothing-wrong"]);
}

fn names(directory: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(directory)
        .expect("readable")
        .map(|entry| entry.expect("readable").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn from_recordings_to_a_setting_that_replay_and_compare_accept() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    prepare(directory);
    let said = done(directory, &["tune", "study.toml", "--report", "study.html", "--write-settings", "chosen.toml"]);
    for line in said.lines() {
        assert!(line.chars().count() <= 80, "wider than 80 columns: {line}");
    }
    assert!(
        said.contains("On held-out families: quote these") && said.contains("Where the data do not decide"),
        "{said}"
    );
    let page = fs::read_to_string(directory.join("study.html")).expect("a report");
    assert!(page.contains("href=\"study-worst/1.html\"") && directory.join("study-worst/1.html").is_file());
    assert!(!directory.join("study.unfinished.csv").exists(), "all of it stands in the results");

    let chosen = fs::read_to_string(directory.join("chosen.toml")).expect("settings");
    for (name, text) in [("what is printed", &said), ("chosen.toml", &chosen)] {
        let text = text.split_whitespace().filter(|word| *word != "#").collect::<Vec<_>>().join(" ");
        for caution in ["Lock out and tag out the drive", "Never jog a choked leg", "not a certified safety device"] {
            assert!(text.contains(caution), "{name} does not say: {caution}\n{text}");
        }
    }
    let looked_at = chosen.matches("# tuned").count() + chosen.matches("# looked at").count();
    assert_eq!(looked_at, 2, "{chosen}");
    let replay = done(directory, &["replay", "bad.csv", "--settings", "chosen.toml"]);
    assert!(replay.contains("STOPPED"), "{replay}");
    let same = done(directory, &["compare", "chosen.toml", "chosen.toml", "bad.csv", "good.csv"]);
    assert!(same.contains("0 of 2 traces differ"), "{same}");

    // Another setpoint: what differs first, and when.
    let leg = fs::read_to_string(directory.join("leg.toml")).expect("settings");
    let heading = "[limits.deep_underspeed]";
    let (before, after) = leg.split_once(heading).expect("every limit is written");
    let other = format!("{before}{heading}{}", after.replacen("setpoint_pct = 14", "setpoint_pct = 13", 1));
    fs::write(directory.join("other.toml"), other).expect("written");
    let differs = done(directory, &["compare", "leg.toml", "other.toml", "bad.csv", "good.csv"]);
    for word in ["limits.deep_underspeed.setpoint_pct: 14 -> 13", "verdicts are the same; then", "1 of 2 traces differ"]
    {
        assert!(differs.contains(word), "{word}: {differs}");
    }
    // What matters comes first: stop and what tripped first, feed, alarms; then where the verdicts part.
    let places =
        ["stop:   A ", " by ", "feed:   ", "alarms: A ", "verdicts are the same; then"].map(|word| differs.find(word));
    assert!(places.iter().all(Option::is_some) && places.is_sorted(), "{places:?}: {differs}");
    assert!(differs.lines().all(|line| line.chars().count() <= 80), "{differs}");
}

#[test]
fn killed_in_the_middle_it_goes_on_and_comes_to_the_same() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    prepare(directory);
    done(directory, &["tune", "study.toml", "--out", "whole"]);

    let unfinished = directory.join("cut.unfinished.csv");
    let mut child = Command::new(env!("CARGO_BIN_EXE_slackside"))
        .current_dir(directory)
        .args(["tune", "study.toml", "--out", "cut"])
        .stdout(Stdio::null())
        .spawn()
        .expect("the command runs");
    let began = Instant::now();
    while fs::metadata(&unfinished).map_or(0, |meta| meta.len()) < 20_000 {
        assert!(began.elapsed() < Duration::from_secs(120), "nothing is kept");
        assert_eq!(child.try_wait().expect("asked"), None, "it ended before it could be killed");
        std::thread::sleep(Duration::from_millis(1));
    }
    child.kill().expect("killed");
    child.wait().expect("ended");
    assert!(unfinished.exists() && !directory.join("cut.csv").exists(), "only whole results have their names");

    let again = slackside(directory, &["tune", "study.toml", "--out", "cut"]);
    assert_eq!(again.status.code(), Some(0), "{}", text(&again.stderr));
    assert!(text(&again.stderr).contains("settings were judged before"), "{}", text(&again.stderr));
    for ending in ["csv", "parquet"] {
        let read = |stem: &str| fs::read(directory.join(format!("{stem}.{ending}"))).expect("results");
        assert!(read("cut") == read("whole"), "the {ending} differs");
    }

    // In shards it is the same, too, and part of them is refused.
    for number in ["1/3", "2/3", "3/3"] {
        done(directory, &["tune", "study.toml", "--shard", number, "--out", "part"]);
    }
    let parts = ["part.1-of-3.parquet", "part.2-of-3.parquet", "part.3-of-3.parquet"];
    let lacking = slackside(directory, &["tune", "merge", "study.toml", parts[0], parts[2], "--out", "merged"]);
    assert_eq!(lacking.status.code(), Some(2));
    assert!(text(&lacking.stderr).contains("give all shards"), "{}", text(&lacking.stderr));
    done(directory, &["tune", "merge", "study.toml", parts[1], parts[2], parts[0], "--out", "merged"]);
    for ending in ["csv", "parquet"] {
        let read = |stem: &str| fs::read(directory.join(format!("{stem}.{ending}"))).expect("results");
        assert!(read("merged") == read("whole"), "the {ending} differs");
    }
}

/// A study that is at it: so far that some settings are kept and others are not judged yet.
#[cfg(unix)]
fn begun(directory: &Path, stem: &str) -> std::process::Child {
    let unfinished = directory.join(format!("{stem}.unfinished.csv"));
    let mut child = Command::new(env!("CARGO_BIN_EXE_slackside"))
        .current_dir(directory)
        .args(["tune", "study.toml", "--out", stem])
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command runs");
    let began = Instant::now();
    while fs::metadata(&unfinished).map_or(0, |meta| meta.len()) < 20_000 {
        assert!(began.elapsed() < Duration::from_secs(120), "nothing is kept");
        assert_eq!(child.try_wait().expect("asked"), None, "it ended before it could be interrupted");
        std::thread::sleep(Duration::from_millis(1));
    }
    child
}

#[cfg(unix)]
#[test]
fn interrupted_it_says_so_in_a_line_and_goes_on_later() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    prepare(directory);
    // Many more settings than are judged before the interrupt comes, so that it comes in the middle on any computer.
    fs::write(directory.join("study.toml"), STUDY.replace("settings = 600", "settings = 20000")).expect("written");
    let child = begun(directory, "cut");
    let killed = Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill runs");
    assert!(killed.success());
    let output = child.wait_with_output().expect("ended");
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(130), "{said}");
    assert_eq!(said.lines().count(), 1, "{said}");
    assert!(said.contains("are kept in cut.unfinished.csv; the same command goes on"), "{said}");
    let kept = names(directory);
    assert!(kept.contains(&"cut.unfinished.csv".to_owned()) && !kept.contains(&"cut.csv".to_owned()), "{kept:?}");
    assert!(!kept.iter().any(|name| name.starts_with(".slackside-")), "{kept:?}");
    // What is kept is whole, and is taken up again.
    let judged = |text: &str| text.split_whitespace().nth(1).and_then(|count| count.parse::<usize>().ok());
    let first = judged(&said).expect("a number");
    let length = || fs::metadata(directory.join("cut.unfinished.csv")).map_or(0, |meta| meta.len());
    let (child, before, since) = (begun(directory, "cut"), length(), Instant::now());
    while length() <= before && since.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(1));
    }
    Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill runs");
    let again = child.wait_with_output().expect("ended");
    let more = judged(&text(&again.stderr)).expect("a number");
    assert!(more >= first, "{first} were kept, then {more}");
}

#[test]
fn what_cannot_be_done_is_refused_before_work_and_leaves_nothing() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    prepare(directory);
    fs::write(directory.join("beyond.toml"), STUDY.replace("to = 14.0", "to = 24.0")).expect("written");
    fs::write(directory.join("empty.toml"), STUDY.replace("to = 14.0", "to = 5.0")).expect("written");
    fs::copy(directory.join("bad.csv"), directory.join("new.csv")).expect("copied");
    fs::write(directory.join("new.toml"), STUDY.replace("bad.csv", "new.csv")).expect("written");
    let write = |name: &str, from: &str, to: &str| {
        assert!(STUDY.contains(from), "{from}");
        fs::write(directory.join(name), STUDY.replacen(from, to, 1)).expect("written");
    };
    write("twice.toml", "file = \"good.csv\"", "file = \"./bad.csv\"");
    write("seeds.toml", "[[limit]]", "[[family]]\nscenario = \"choke.toml\"\nruns = 2\nfirst_seed = 3\n\n[[limit]]");
    write("speed.toml", "slip_high.setpoint_pct", "machine.belt_speed_m_s");
    write("still.toml", "to = 14.0\nstep = 0.1", "to = 6.0\nstep = 0.1");
    write("none.toml", "runs = 3", "runs = 0");
    write("minus.toml", "runs = 3", "runs = 3\nfirst_seed = -4");
    write("one.toml", "[0.7, 1.0]", "0.7");
    write("gone.toml", "choke.toml", "chocke.toml");
    write("huge.toml", "\"latin_hypercube\"\nsettings = 600", "\"grid\"\nsettings = 1000");
    fs::write(
        directory.join("together.toml"),
        STUDY
            .replace("from = 6.0\nto = 14.0\nstep = 0.1", "from = 15.0\nto = 16.0\nstep = 1.0")
            .replace("from = 1.5\nto = 6.0\nstep = 0.1", "from = 5.0\nto = 6.0\nstep = 1.0"),
    )
    .expect("written");
    let before = names(directory);
    for (arguments, expected) in [
        (vec!["tune", "twice.toml"], vec!["twice.toml:10:1: trace.1.file", "is there twice", "remove one"]),
        (vec!["tune", "seeds.toml"], vec!["family.3.scenario", "some of the seeds are the same", "first_seed = 5"]),
        (vec!["tune", "speed.toml"], vec!["machine.belt_speed_m_s", "such as \"slip_high.setpoint_pct\""]),
        (vec!["tune", "still.toml"], vec!["limit.0.step", "one value only", "widen the range"]),
        (vec!["tune", "none.toml"], vec!["family.0.runs", "is 0, expected 1 to 100,000"]),
        (vec!["tune", "minus.toml"], vec!["minus.toml:15", "expected a whole number from 0 up"]),
        (vec!["tune", "one.toml"], vec!["one.toml:15", "expected two numbers, such as [0.3, 1.0]"]),
        (vec!["tune", "gone.toml"], vec!["family.0.scenario", "chocke.toml is not there"]),
        (vec!["tune", "huge.toml"], vec!["3726 settings, more than 1000", "make steps larger"]),
        (vec!["tune", "together.toml"], vec!["every setting of this study breaks a rule", "20 %"]),
        (vec!["tune", "beyond.toml"], vec!["beyond.toml:28:1: limit.0.to", "29 CFR 1910.272(q)(5)", "20 %"]),
        (vec!["tune", "empty.toml"], vec!["empty.toml:28:1: limit.0.to", "range is empty", "swap them"]),
        (vec!["tune", "new.toml"], vec!["new.toml:7:1: trace.0.file", "new.label.toml", "slackside label"]),
        (vec!["tune", "study.toml", "--out", "none/of"], vec!["no directory none", "make it"]),
        (vec!["tune", "study.toml", "--report", "none/of.html"], vec!["no directory none"]),
        (vec!["tune", "missing.toml"], vec!["missing.toml", "cannot be read"]),
        (vec!["label", "bad.csv", "--stop", "20,30"], vec!["bad.label.toml is there already", "--force"]),
        (vec!["label", "new.csv", "--stop", "900,950"], vec!["runs from", "own clock"]),
        (vec!["label", "new.csv"], vec!["--nothing-wrong"]),
        (vec!["compare", "leg.toml", "missing.toml", "bad.csv"], vec!["missing.toml", "cannot be read"]),
    ] {
        let output = slackside(directory, &arguments);
        let said = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        for word in expected {
            assert!(said.contains(word), "{arguments:?} should say {word}: {said}");
        }
        assert_eq!(names(directory), before, "{arguments:?} left something behind");
    }
}
