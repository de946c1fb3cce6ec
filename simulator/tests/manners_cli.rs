//! The manners of the program: nothing lost, nothing guessed in silence, what matters first, and JSON and silence everywhere.

mod days;
mod program;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use program::{done, slackside, text};

fn refused(directory: &Path, arguments: &[&str]) -> String {
    let output = slackside(directory, arguments);
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {}", text(&output.stdout));
    assert!(output.stdout.is_empty(), "{arguments:?}: {}", text(&output.stdout));
    text(&output.stderr)
}

fn root(name: &str) -> String {
    format!("{}/../{name}", env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn settings_are_read_and_nothing_is_written_over() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let leg = fs::read_to_string(root("legs/millbrook-leg-3.toml")).expect("readable");
    fs::write(directory.join("my.toml"), &leg).expect("written");
    let scenario = root("scenarios/boot-sensor-cut.toml");
    done(directory, &["simulate", &scenario, "--settings", "my.toml", "--out", "t.csv"]);
    assert_eq!(fs::read_to_string(directory.join("my.toml")).expect("there"), leg, "--settings only reads");
    let trace = fs::read(directory.join("t.csv")).expect("written");
    fs::write(directory.join("t.html"), "somebody's page").expect("written");
    for arguments in [
        ["simulate", &scenario, "--write-settings", "my.toml"].as_slice(),
        &["simulate", &scenario, "--out", "t.csv"],
        &["replay", "--report", "t.html"],
        &["replay", "--save-demo", "t.csv"],
        &["sheet", "--write-settings", "my.toml"],
        &["sheet", "--out", "t.csv"],
        &["convert", "t.csv", "my.toml", "--settings", "my.toml"],
    ] {
        let said = refused(directory, arguments);
        assert!(said.contains("is there already") && said.contains("--force"), "{arguments:?}: {said}");
    }
    assert_eq!(fs::read_to_string(directory.join("my.toml")).expect("there"), leg);
    assert_eq!(fs::read(directory.join("t.csv")).expect("there"), trace);
    assert_eq!(fs::read_to_string(directory.join("t.html")).expect("there"), "somebody's page");
    done(directory, &["simulate", &scenario, "--write-settings", "my.toml", "--force"]);
    assert_ne!(fs::read_to_string(directory.join("my.toml")).expect("there"), leg, "told to, it does");
}

#[test]
fn nothing_that_was_asked_for_is_left_out_in_silence() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let said = refused(directory, &["sheet", "--out", "sheet.txt", "--proof-record", "record.txt"]);
    assert!(said.contains("cannot be used with"), "{said}");
    for arguments in [["replay", "--report", "-"], ["sheet", "--out", "-"]] {
        let said = refused(directory, &arguments);
        assert!(said.contains("`-` is read from, never written to"), "{said}");
    }
    let said = refused(directory, &["new-key", "box.key", "--block", "./box.key", "--force"]);
    assert!(said.contains("./box.key is not written: it is written as something else already"), "{said}");
    refused(directory, &["new-key", "box.key", "--block", "nowhere/box.bin"]);
    assert_eq!(fs::read_dir(directory).expect("readable").count(), 0, "nothing is written");
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    done(directory, &["sheet", "--write-settings", "leg.toml", "--quiet"]);
    done(directory, &["convert", "t.csv", "t.slk", "--settings", "leg.toml"]);
    done(directory, &["convert", "t.csv", "t.vcd"]);
    let said = refused(directory, &["convert", "t.csv", "other.csv", "--settings", "leg.toml"]);
    assert!(said.contains("becomes a recording") && said.contains("mend: end the name in .slk"), "{said}");
    let said = refused(directory, &["convert", "t.slk", "other.slk"]);
    assert!(said.contains("becomes a trace") && said.contains("mend: end the name in .csv"), "{said}");
    let said = refused(directory, &["import", "t.vcd", "--map", "head=D7"]);
    assert!(said.contains("the file has no `D7`"), "{said}");
}

#[test]
fn two_outputs_of_a_drawn_run_are_never_one_file() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    for drawn in ["--random", "--healthy", "--strained"] {
        let said = refused(directory, &["simulate", drawn, "0", "--out", "one.csv", "--truth", "one.csv"]);
        assert!(said.contains("--out and --truth are the same file"), "{said}");
    }
    assert_eq!(fs::read_dir(directory).expect("readable").count(), 0, "nothing is begun");
}

/// The same trace as a logger would write it that counts in another unit.
fn in_units_of(trace: &str, divide: u64, multiply: u64) -> String {
    let row = |line: &str| {
        let (time, rest) = line.split_once(',').expect("a row");
        let time = time.parse::<u64>().expect("a time") / divide * multiply;
        format!("{time},{rest}\n")
    };
    let (header, rows) = trace.split_once('\n').expect("a header");
    format!("{header}\n{}", rows.lines().map(row).collect::<String>())
}

#[test]
fn a_trace_in_wrong_units_is_refused_with_the_likely_one() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    done(directory, &["replay", "--save-demo", "us.csv", "--quiet"]);
    done(directory, &["sheet", "--write-settings", "leg.toml"]);
    let trace = fs::read_to_string(directory.join("us.csv")).expect("written");
    for (name, divide, multiply, unit) in
        [("ms.csv", 1_000, 1, "milliseconds"), ("s.csv", 1_000_000, 1, "seconds"), ("ns.csv", 1, 1_000, "nanoseconds")]
    {
        fs::write(directory.join(name), in_units_of(&trace, divide, multiply)).expect("written");
        for command in [
            ["replay", name, "--settings", "leg.toml"].as_slice(),
            &["compare", "leg.toml", "leg.toml", name],
            &["trend", name, "--settings", "leg.toml"],
            &["convert", name, "t.slk", "--settings", "leg.toml"],
            &["label", name, "--nothing-wrong", "--settings", "leg.toml"],
            &["label", name, "--nothing-wrong"],
            &["emulate", name, "--settings", "leg.toml", "--listen", "127.0.0.1:0"],
        ] {
            let output = slackside(directory, command);
            let said = text(&output.stderr);
            assert_eq!(output.status.code(), Some(2), "{name}: {said}");
            assert!(said.contains(&format!("look like {unit}")) && said.contains("mend: "), "{name}: {said}");
        }
        assert!(!directory.join("t.slk").exists() && !directory.join(format!("{name}.label.toml")).exists(), "{name}");
    }
    // Rows from the last to the first are in no wrong unit.
    let (header, rows) = trace.split_once('\n').expect("a header");
    let backwards: Vec<&str> = rows.lines().rev().collect();
    fs::write(directory.join("backwards.csv"), format!("{header}\n{}\n", backwards.join("\n"))).expect("written");
    let said = refused(directory, &["replay", "backwards.csv", "--settings", "leg.toml"]);
    assert!(said.contains("time runs backwards") && said.contains("sort the rows"), "{said}");
    // A leg that hardly turns, and one whose wire hums, are judged all the same.
    done(directory, &["replay", "us.csv", "--settings", "leg.toml"]);
    done(
        directory,
        &["simulate", &root("scenarios/boot-sensor-hum.toml"), "--out", "hum.csv", "--write-settings", "h.toml"],
    );
    done(directory, &["replay", "hum.csv", "--settings", "h.toml"]);
}

#[test]
fn a_file_that_is_not_there_is_told_with_its_mend_by_every_command() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    let scenario = root("scenarios/boot-sensor-cut.toml");
    for arguments in [
        ["replay", "WRONG"].as_slice(),
        &["replay", "t.csv", "--settings", "WRONG"],
        &["sheet", "--settings", "WRONG"],
        &["simulate", "WRONG"],
        &["simulate", &scenario, "--settings", "WRONG"],
        &["simulate", "--score", "WRONG"],
        &["tune", "WRONG"],
        &["compare", "WRONG", "WRONG", "t.csv"],
        &["trend", "t.csv", "--settings", "WRONG"],
        &["label", "WRONG", "--nothing-wrong"],
        &["convert", "WRONG", "x.slk"],
        &["emulate", "WRONG"],
        &["emulate", "--settings", "WRONG"],
        &["box", "127.0.0.1:1", "settings", "write", "WRONG", "--key-file", "box.key"],
    ] {
        for (wrong, why) in [("no such file", "there is no such"), (".", "it is a directory")] {
            if wrong == "." && arguments.contains(&"--score") {
                continue;
            }
            let arguments: Vec<&str> =
                arguments.iter().map(|word| if *word == "WRONG" { wrong } else { word }).collect();
            let said = refused(directory, &arguments);
            assert!(said.contains(why) && said.contains("\n  mend: "), "{arguments:?}: {said}");
        }
    }
}

#[test]
fn a_trace_that_knows_the_time_of_day_is_told_in_it() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    done(directory, &["sheet", "--write-settings", "leg.toml", "--quiet"]);
    let trace = fs::read_to_string(directory.join("t.csv")).expect("written");
    // 06:45 on 2 March 2026, as a comment says it, and as times that count from 1970.
    let began = 1772433900000000_u64;
    let (header, rows) = trace.split_once('\n').expect("a header");
    fs::write(directory.join("said.csv"), format!("{header}\n#anchor 0 {began} 1500\n{rows}")).expect("written");
    let later = |row: &str| {
        let (time, rest) = row.split_once(',').expect("a row");
        format!("{},{rest}\n", time.parse::<u64>().expect("a time") + began)
    };
    fs::write(directory.join("unix.csv"), format!("{header}\n{}", rows.lines().map(later).collect::<String>()))
        .expect("written");
    for (name, note) in [("said.csv", "Times are UTC by the desk's clock"), ("unix.csv", "time_us count from 1970")] {
        let said = done(directory, &["replay", name, "--settings", "leg.toml", "--report", "r.html", "--force"]);
        let headline = said.lines().find(|line| line.starts_with("STOPPED")).expect("a headline");
        assert!(headline.contains(" at 2026-03-02 06:46:2"), "{headline}");
        let flat = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(note), "{said}");
        assert!(said.lines().any(|line| line.starts_with("  06:46:") && line.contains("Run permit dropped")), "{said}");
        assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");
        let page = fs::read_to_string(directory.join("r.html")).expect("written");
        assert!(page.contains("2026-03-02 06:46:2") && page.contains(">06:46:20<"), "{name}");
        let object = done(directory, &["replay", name, "--settings", "leg.toml", "--json"]);
        let object: serde_json::Value = serde_json::from_str(&object).expect("an object");
        assert_eq!(object["begin_time"], "2026-03-02T06:45:00.000Z");
    }
    // A recording keeps it, and so does what is converted.
    done(directory, &["convert", "said.csv", "t.slk", "--settings", "leg.toml"]);
    let said = done(directory, &["replay", "t.slk", "--settings", "leg.toml"]);
    assert!(said.contains(" at 2026-03-02 06:46:2"), "{said}");
    // Who does not know it says nothing of it.
    let said = done(directory, &["replay", "t.csv", "--settings", "leg.toml"]);
    assert!(said.contains("STOPPED: ") && !said.contains("UTC"), "{said}");
}

#[test]
fn a_file_in_the_place_of_another_is_told_for_what_it_is() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    let (leg, scenario) = (root("legs/millbrook-leg-3.toml"), root("scenarios/choked-boot.toml"));
    let study = root("studies/slip-limits.toml");
    for (arguments, said) in [
        (["sheet", "--settings", "t.csv"].as_slice(), "this is a trace"),
        (&["sheet", "--settings", &scenario], "this is a scenario"),
        (&["replay", "t.csv", "--settings", &study], "this is a study"),
        (&["simulate", &leg], "this is a leg's settings"),
        (&["simulate", "t.csv"], "this is a trace"),
        (&["tune", &scenario], "this is a scenario"),
        (&["replay", &leg, "--settings", &leg], "this looks like settings"),
    ] {
        let told = refused(directory, arguments);
        assert!(told.contains(said) && told.contains("mend: "), "{arguments:?}: {told}");
        assert!(told.lines().count() <= 3, "{arguments:?}: {told}");
    }
}

#[test]
fn what_a_logger_writes_otherwise_is_told_with_its_mend() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let name = "Monday night.csv";
    for (header, said) in [
        ("channel,time_us,value", "put the columns in this order"),
        ("time_us,channel,value,note", "leave others out"),
        ("time_s,channel,value", "multiply every time by 1000000"),
        ("time_ms,channel,value", "multiply every time by 1000,"),
        ("time_us;channel;value", "separate the fields by commas"),
        ("when,what,level", "name the columns"),
        ("12,head,1", "the header is missing"),
    ] {
        fs::write(directory.join(name), format!("{header}\n12,head,1\n")).expect("written");
        let told = refused(directory, &["replay", name]);
        assert!(told.starts_with("error: Monday night.csv, line 1") && told.contains(said), "{header}: {told}");
    }
    // What does no harm does none: a byte order mark, Windows line ends, names with spaces.
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    let trace = fs::read_to_string(directory.join("t.csv")).expect("written");
    fs::write(directory.join(name), format!("\u{feff}{}", trace.replace('\n', "\r\n"))).expect("written");
    let settings = fs::read_to_string(root("legs/millbrook-leg-3.toml")).expect("readable").replace('\n', "\r\n");
    fs::write(directory.join("my leg.toml"), format!("\u{feff}{settings}")).expect("written");
    let said = done(directory, &["replay", name, "--settings", "my leg.toml", "--report", "Monday night.html"]);
    assert!(said.contains("STOPPED: ") && directory.join("Monday night.html").is_file(), "{said}");
}

#[cfg(unix)]
#[test]
fn a_full_disk_is_told_by_name_and_leaves_nothing() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    for (arguments, file) in [
        (["replay", "t.csv", "--samples", "s.csv"].as_slice(), "s.csv"),
        (&["replay", "t.csv", "--report", "r.html"], "r.html"),
        (&["replay", "--save-demo", "again.csv"], "again.csv"),
        (&["simulate", &root("scenarios/choked-boot.toml"), "--out", "c.csv"], "c.csv"),
        (&["convert", "t.csv", "t.slk", "--settings", &root("legs/millbrook-leg-3.toml")], "t.slk"),
    ] {
        // No file may grow beyond 4 KiB, which is answered as a full disk is.
        let output = Command::new("sh")
            .current_dir(directory)
            .args(["-c", "trap '' XFSZ; ulimit -f 8; exec \"$0\" \"$@\"", env!("CARGO_BIN_EXE_slackside")])
            .args(arguments)
            .output()
            .expect("the shell runs");
        let said = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains(&format!("{file}: there is no room for it\n  mend: ")), "{arguments:?}: {said}");
        assert!(!said.contains(".slackside-"), "{said}");
        let left: Vec<_> =
            fs::read_dir(directory).expect("readable").map(|entry| entry.expect("readable").path()).collect();
        assert_eq!(left, [directory.join("t.csv")], "{arguments:?}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn nowhere_to_print_to_is_an_error_and_no_panic() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let full = || fs::OpenOptions::new().write(true).open("/dev/full").expect("there");
    for arguments in [["replay"].as_slice(), &["replay", "--json"], &["sheet"]] {
        let output = Command::new(env!("CARGO_BIN_EXE_slackside"))
            .current_dir(directory.path())
            .args(arguments)
            .stdout(full())
            .output()
            .expect("the command runs");
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(text(&output.stderr).contains("standard output cannot be written"), "{arguments:?}");
    }
    // And where errors cannot be told either, the exit code tells.
    for arguments in [["replay", "nothing.csv"].as_slice(), &["sheet", "--settings", "nothing.toml"]] {
        let status = Command::new(env!("CARGO_BIN_EXE_slackside"))
            .current_dir(directory.path())
            .args(arguments)
            .stdout(Stdio::null())
            .stderr(full())
            .status()
            .expect("the command runs");
        assert_eq!(status.code(), Some(2), "{arguments:?}");
    }
}

/// Names that only the code and files for programs use.
const CODE_NAMES: [&str; 8] = [
    "deep_underspeed",
    "slip_very_high",
    "slip_high",
    "belt_not_following",
    "returned_unacknowledged",
    "latched_unacknowledged",
    "coast_down",
    "phase_",
];

fn no_code_names(said: &str) {
    for name in CODE_NAMES {
        assert!(!said.contains(name), "{name}:\n{said}");
    }
}

#[test]
fn what_matters_comes_within_thirty_lines_and_in_plain_words() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    let said = done(directory, &["replay", "t.csv"]);
    let first: Vec<&str> = said.lines().take(30).collect();
    let first = first.join("\n");
    assert!(first.starts_with("WARNING: No settings were named"), "{first}");
    for part in
        ["STOPPED: Belt far too slow at", "Lock out and tag out the drive", "1. ", "2. ", "10 s before", "trip  "]
    {
        assert!(first.contains(part), "`{part}` is not in the first thirty lines:\n{first}");
    }
    no_code_names(&said);
    for name in
        ["choked-boot", "caught-belt", "boot-sensor-cut", "wet-grain-film", "rub-contact-cut", "head-sensor-cut"]
    {
        let (trace, leg) = (format!("{name}.csv"), format!("{name}.toml"));
        let scenario = root(&format!("scenarios/{name}.toml"));
        let simulated =
            done(directory, &["simulate", &scenario, "--replay", "--out", &trace, "--write-settings", &leg]);
        no_code_names(&simulated);
        let said = done(directory, &["replay", &trace, "--settings", &leg]);
        no_code_names(&said);
        if let Some(at) = said.lines().position(|line| line.starts_with("STOPPED")) {
            let trip = said.lines().position(|line| line.trim_start().starts_with("trip ")).expect("the run-up");
            assert!(at < 5 && trip < 30, "{name}: {said}");
        }
        no_code_names(
            &done(directory, &["compare", &leg, &root("legs/millbrook-leg-3.toml"), &trace])
                .replace("limits.", "")
                .lines()
                .filter(|line| !line.contains(" -> "))
                .collect::<Vec<_>>()
                .join("\n"),
        );
    }
}

#[test]
fn a_scenario_runs_on_an_engineers_own_leg_and_every_guess_is_listed() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    for leg in ["millbrook-leg-1", "millbrook-leg-3", "terminal-leg-7"] {
        let settings = root(&format!("legs/{leg}.toml"));
        let said =
            done(directory, &["simulate", &root("scenarios/caught-belt.toml"), "--settings", &settings, "--replay"]);
        assert!(said.contains("Guessed of the plant"), "{said}");
        assert!(said.contains("capacity_t_per_h =") && said.contains("takeup.tension_n ="), "{said}");
        assert!(said.contains("Run permit dropped"), "the monitor stops it: {said}");
    }
}

#[test]
fn every_command_speaks_json_of_a_known_version_and_can_be_silent() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    done(directory, &["sheet", "--write-settings", "leg.toml", "--quiet"]);
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    done(directory, &["label", "t.csv", "--nothing-wrong", "--quiet"]);
    done(directory, &["convert", "t.csv", "t.vcd", "--quiet"]);
    let study = "name = \"Two\"\nsettings = \"leg.toml\"\n[[trace]]\nfile = \"t.csv\"\n[[limit]]\nkey = \"slip_high.setpoint_pct\"\nfrom = 4\nto = 6\nstep = 1\n[search]\nmethod = \"grid\"\n";
    fs::write(directory.join("study.toml"), study).expect("written");
    let scenario = root("scenarios/boot-sensor-cut.toml");
    let lower = fs::read_to_string(directory.join("leg.toml"))
        .expect("readable")
        .replace("setpoint_pct = 14", "setpoint_pct = 13");
    fs::write(directory.join("lower.toml"), lower).expect("written");
    done(directory, &["tune", "study.toml", "--shard", "2/2", "--quiet"]);
    days::table(directory, 120, 100);
    for (format, arguments) in [
        (
            "slackside-replay",
            ["replay", "t.csv", "t.csv", "--settings", "leg.toml", "--report", "two.html", "--force"].as_slice(),
        ),
        ("slackside-sheet", &["sheet", "--settings", "leg.toml"]),
        ("slackside-settings-written", &["sheet", "--write-settings", "again.toml", "--force"]),
        ("slackside-plan-written", &["sheet", "--write-plan", "leg.plan", "--force"]),
        ("slackside-import", &["import", "t.vcd"]),
        ("slackside-simulate", &["simulate", &scenario, "--replay", "--settings", "leg.toml"]),
        ("slackside-compare", &["compare", "leg.toml", "lower.toml", "t.csv"]),
        ("slackside-trend", &["trend", "days.csv", "--settings", "leg.toml", "--mark", "2026-01-02=belt"]),
        ("slackside-label", &["label", "t.csv", "--nothing-wrong", "--force"]),
        ("slackside-convert", &["convert", "t.csv", "t.slk", "--settings", "leg.toml", "--force"]),
        ("slackside-tune", &["tune", "study.toml", "--force"]),
        ("slackside-tune-shard", &["tune", "study.toml", "--shard", "1/2", "--force"]),
        ("slackside-tune", &["tune", "merge", "study.toml", "study.1-of-2.parquet", "study.2-of-2.parquet", "--force"]),
        ("slackside-completions", &["completions", "bash"]),
        ("slackside-manual", &["manual", "man", "--force"]),
    ] {
        let said = done(directory, &[arguments, &["--json"]].concat());
        let object: serde_json::Value = serde_json::from_str(&said).unwrap_or_else(|error| panic!("{error}: {said}"));
        assert_eq!(object["format"], format);
        assert_eq!(object["format_version"], 1, "{format}");
        has_the_shape_of_the_book(&object, format);
        assert_eq!(done(directory, &[arguments, &["--quiet"]].concat()), "", "{format} is silent when asked to be");
    }
}

/// Hold the keys of an object, at every depth, against those that the book tells of its format.
fn has_the_shape_of_the_book(object: &serde_json::Value, format: &str) {
    let page = |name: &str| fs::read_to_string(root(&format!("docs/src/{name}"))).expect("readable");
    let quoted = |text: &str| -> BTreeSet<String> { text.split('`').skip(1).step_by(2).map(str::to_owned).collect() };
    let json = page("reference/json.md");
    let row = json.lines().find(|line| line.contains(&format!("| `{format}` |"))).expect("the book tells the format");
    let (told, found) = if format == "slackside-replay" {
        let replay = page("technician/replay.md");
        let table = replay.split("| key | meaning |").nth(1).expect("the table of its keys");
        let keys = table.lines().skip(2).take_while(|line| line.starts_with('|'));
        let told = keys.flat_map(|line| quoted(line.split('|').nth(1).expect("a cell"))).collect();
        (told, object.as_object().expect("an object").keys().cloned().collect())
    } else {
        let mut told = quoted(row.splitn(4, '|').nth(3).expect("what it holds"));
        told.extend(["format".to_owned(), "format_version".to_owned()]);
        let mut found = BTreeSet::new();
        every_key(object, &mut found);
        (told, found)
    };
    assert_eq!(found, told, "{format}: found in the object, and told in the book");
}

fn every_key(value: &serde_json::Value, keys: &mut BTreeSet<String>) {
    match value {
        serde_json::Value::Object(object) => {
            // Figures of a study go by the names they have in its report.
            keys.extend(object.keys().filter(|key| !key.contains(' ')).cloned());
            object.values().for_each(|value| every_key(value, keys));
        }
        serde_json::Value::Array(all) => all.iter().for_each(|value| every_key(value, keys)),
        _ => {}
    }
}

#[test]
fn cautions_stand_in_what_is_printed_and_written() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let leg = root("legs/millbrook-leg-3.toml");
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    for arguments in [
        ["replay"].as_slice(),
        &["sheet", "--settings", &leg],
        &["simulate", &root("scenarios/boot-sensor-cut.toml")],
        &["compare", &leg, &leg, "t.csv"],
        &["trend", "t.csv", "--settings", &leg],
    ] {
        let said = done(directory, arguments);
        assert!(said.contains("Lock out and tag out the drive"), "{arguments:?}: {said}");
        assert!(said.contains("not a certified safety device"), "{arguments:?}: {said}");
    }
}

#[cfg(unix)]
#[test]
fn a_closed_pipe_is_no_error_anywhere() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let leg = root("legs/millbrook-leg-3.toml");
    done(directory.path(), &["replay", "--save-demo", "t.csv", "--quiet"]);
    for arguments in [
        ["replay"].as_slice(),
        &["replay", "--json"],
        &["sheet"],
        &["compare", &leg, &leg, "t.csv"],
        &["simulate", &root("scenarios/boot-sensor-cut.toml")],
    ] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_slackside"))
            .current_dir(directory.path())
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the command runs");
        drop(child.stdout.take());
        let ended = child.wait_with_output().expect("ends");
        assert_eq!((ended.status.code(), text(&ended.stderr).as_str()), (Some(0), ""), "{arguments:?}");
    }
}

#[cfg(unix)]
#[test]
fn whatever_ends_it_early_leaves_no_half_written_file() {
    // Ctrl-C, what a service manager sends, and the terminal closed.
    for signal in ["-INT", "-TERM", "-HUP"] {
        let directory = tempfile::tempdir().expect("a temporary directory");
        let child = Command::new(env!("CARGO_BIN_EXE_slackside"))
            .current_dir(directory.path())
            .args(["simulate", &root("scenarios/healthy-year.toml"), "--out", "year.csv"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the command runs");
        let begun = std::time::Instant::now();
        while fs::read_dir(directory.path()).expect("readable").count() == 0 {
            assert!(begun.elapsed().as_secs() < 60, "nothing is begun");
            std::thread::sleep(std::time::Duration::from_millis(1));
        }
        Command::new("kill").args([signal, &child.id().to_string()]).status().expect("kill runs");
        let ended = child.wait_with_output().expect("ends");
        let said = text(&ended.stderr);
        assert_eq!(ended.status.code(), Some(130), "{signal}: {said}");
        assert!(said.contains("stopped: ") && said.contains("nothing half-written is left"), "{signal}: {said}");
        assert_eq!(fs::read_dir(directory.path()).expect("readable").count(), 0, "{signal}");
    }
}

/// What it prints on a terminal: `script`, of every Linux, gives it one.
#[cfg(target_os = "linux")]
fn on_a_terminal(directory: &Path, arguments: &str, variables: &[(&str, &str)]) -> String {
    let output = Command::new("script")
        .current_dir(directory)
        .args(["--quiet", "--return", "--command"])
        .arg(format!("{} {arguments}", env!("CARGO_BIN_EXE_slackside")))
        .arg("/dev/null")
        .env_remove("NO_COLOR")
        .env("TERM", "xterm-256color")
        .envs(variables.iter().copied())
        .stdin(Stdio::null())
        .output()
        .expect("`script` runs: it is part of util-linux");
    assert_eq!(output.status.code(), Some(0), "{arguments}: {}", text(&output.stderr));
    text(&output.stdout)
}

#[cfg(target_os = "linux")]
#[test]
fn colour_is_for_terminals_and_not_for_those_who_want_none() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let said = on_a_terminal(directory, "replay", &[]);
    assert!(said.contains("\u{1b}[1;31mSTOPPED: "), "{said}");
    assert!(said.contains("\u{1b}[1mLock out and tag out"), "{said}");
    let plain = |said: String| said.replace("\r\n", "\n");
    let without = plain(on_a_terminal(directory, "replay", &[("NO_COLOR", "1")]));
    assert!(!without.contains("\u{1b}[1") && !without.contains("\u{1b}[0m"), "{without:?}");
    // In a pipe there is none, and the words are the same.
    let piped = done(directory, &["replay"]);
    assert!(!piped.contains('\u{1b}') && without.contains(&piped), "{without:?}");
    // Set to nothing it is not set; and JSON is never coloured.
    assert!(on_a_terminal(directory, "replay", &[("NO_COLOR", "")]).contains("\u{1b}[1;31mSTOPPED: "));
    assert!(!on_a_terminal(directory, "replay --json", &[]).contains("\u{1b}[1"));
    assert!(on_a_terminal(directory, "--help", &[]).contains('\u{1b}'));
    assert!(!on_a_terminal(directory, "--help", &[("NO_COLOR", "1")]).contains('\u{1b}'));
}

#[test]
fn help_says_the_exit_codes() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    for command in
        ["replay", "sheet", "simulate", "compare", "label", "tune", "trend", "convert", "import", "box", "emulate"]
    {
        let said = done(directory.path(), &[command, "--help"]);
        assert!(said.contains("Exit codes:") && said.contains("130"), "{command}: {said}");
        assert!(said.contains("--json") && said.contains("--quiet") && said.contains("--force"), "{command}: {said}");
    }
}

/// Every line `slackside …` in a shell block of the readme and of the book that can run without a box or a long time.
#[test]
fn shell_lines_of_the_book_run() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    for folder in ["scenarios", "legs"] {
        fs::create_dir(directory.join(folder)).expect("made");
        for entry in fs::read_dir(root(folder)).expect("readable") {
            let entry = entry.expect("readable").path();
            fs::copy(&entry, directory.join(folder).join(entry.file_name().expect("a name"))).expect("copied");
        }
    }
    // What the lines call their own: a trace and the settings of its leg.
    done(directory, &["sheet", "--write-settings", "leg3.toml", "--quiet"]);
    for name in ["monday.csv", "my-trace.csv"] {
        done(directory, &["replay", "--save-demo", name, "--quiet"]);
    }
    for (folder, name) in [("traces", "leg3-2026-03-14.csv"), ("april", "leg3-2026-04-01.csv")] {
        fs::create_dir(directory.join(folder)).expect("made");
        fs::copy(directory.join("monday.csv"), directory.join(folder).join(name)).expect("copied");
    }
    fs::copy(directory.join("leg3.toml"), directory.join("my-leg.toml")).expect("copied");
    done(directory, &["convert", "monday.csv", "trip.slk", "--settings", "leg3.toml", "--quiet"]);
    let mut pages = vec![root("README.md")];
    let mut folders = vec![std::path::PathBuf::from(root("docs/src"))];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).expect("readable") {
            let path = entry.expect("readable").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "md") {
                pages.push(path.display().to_string());
            }
        }
    }
    pages.sort();
    let mut ran = 0;
    for page in pages {
        let text = fs::read_to_string(&page).expect("readable");
        let mut shell = false;
        for line in text.lines() {
            if line.starts_with("```") {
                shell = line == "```sh" || (line == "```text" && !shell);
                continue;
            }
            let Some(line) = line.strip_prefix("slackside ").filter(|_| shell) else { continue };
            // Over a box's line, asking, for hours, or with parts for the reader to fill in.
            let skip = ["box ", "emulate", "new-leg", "--score", "tune ", "label ", "TRACE", "LEG", "...", "…", "<"];
            if skip.iter().any(|part| line.contains(part)) {
                continue;
            }
            for part in format!("slackside {}", line.split(" #").next().unwrap_or(line)).split("&&") {
                let words: Vec<&str> = part.split_whitespace().skip(1).collect();
                if words.contains(&"convert") {
                    continue;
                }
                let output = slackside(directory, &[&words[..], &["--force"]].concat());
                assert_eq!(output.status.code(), Some(0), "{page}: {part}: {}", text_of(&output));
                ran += 1;
            }
        }
    }
    assert!(ran >= 6, "only {ran} lines were found");
}

fn text_of(output: &Output) -> String {
    format!("{}{}", text(&output.stdout), text(&output.stderr))
}

#[test]
fn a_new_leg_comes_from_answers_of_a_tape_measure_and_is_replayed_with() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let ask_with = |answers: &str, more: &[&str]| {
        let mut child = Command::new(env!("CARGO_BIN_EXE_slackside"))
            .current_dir(directory)
            .args(["new-leg", "new.toml"])
            .args(more)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the command runs");
        // It may end before it has read them all.
        let _ = std::io::Write::write_all(&mut child.stdin.take().expect("a pipe"), answers.as_bytes());
        child.wait_with_output().expect("ends")
    };
    let ask = |answers: &str| ask_with(answers, &[]);
    let answers = "North leg\n600 mm\n12\n350\n3.6\n600\n350\n\n8\n300\n30\n78.6\n4\n4\n25 hp\nyes\nyes\n";
    let wrong = ask(&answers.replace("600 mm", "six hundred"));
    assert_eq!(wrong.status.code(), Some(2));
    assert!(text(&wrong.stderr).contains("Head pulley: diameter"), "{}", text(&wrong.stderr));
    assert!(!directory.join("new.toml").exists());
    let written = ask(answers);
    assert_eq!(written.status.code(), Some(0), "{}", text(&written.stderr));
    let file = fs::read_to_string(directory.join("new.toml")).expect("written");
    assert!(file.contains("rated_hp = 25") && file.contains("Lock out and tag out"), "{file}");
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    let said = done(directory, &["replay", "t.csv", "--settings", "new.toml"]);
    assert!(said.starts_with("North leg on t.csv") && said.contains("STOPPED"), "{said}");
    // As a tape measure in inches is read; and what goes against a rule is told with all the answers, to be given again.
    fs::remove_file(directory.join("new.toml")).expect("there");
    let wide = ask(
        "South leg\n24 in\n1/2 in\n14 in\n1/8 in\n24 in\n14 in\n1/8 in\n5/16 in\n18 in\n98' 6\"\n78.6\n4\n4\n25 hp\nyes\nno\n",
    );
    let said = text(&wide.stderr);
    assert_eq!(wide.status.code(), Some(2), "{said}");
    assert!(said.contains("narrower than the belt") && said.contains("\n  5/16 in\n  18 in\n  98' 6\"\n"), "{said}");
    assert!(!directory.join("new.toml").exists());
    let mended = ask(
        "South leg\n24 in\n1/2 in\n14 in\n1/8 in\n24 in\n14 in\n1/8 in\n5/16 in\n12 in\n98' 6\"\n78.6\n4\n4\n25 hp\nyes\nno\n",
    );
    assert_eq!(mended.status.code(), Some(0), "{}", text(&mended.stderr));
    let file = fs::read_to_string(directory.join("new.toml")).expect("written");
    assert!(file.contains("lagging_in = 0.5") && file.contains("centres_ft = 98.5"), "{file}");
    let again = ask(answers);
    assert!(text(&again.stderr).contains("--force"), "never over what is there");
    let told = ask_with(answers, &["--force", "--json"]);
    let object: serde_json::Value = serde_json::from_str(&text(&told.stdout)).expect("JSON");
    has_the_shape_of_the_book(&object, "slackside-new-leg");
    // Nobody answers seventeen questions for a place where nothing can be written.
    for (place, why) in [("nowhere/new.toml", "its directory is not there"), (".", "it is a directory")] {
        assert!(refused(directory, &["new-leg", place]).contains(why), "{place}");
    }
}

#[test]
fn completions_and_manual_pages_know_every_command() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    for shell in ["bash", "zsh", "fish"] {
        assert!(done(directory, &["completions", shell]).contains("new-leg"), "{shell}");
    }
    fs::write(directory.join("pages"), "").expect("written");
    assert!(refused(directory, &["manual", "pages"]).contains("pages is a file"), "a directory is asked for");
    done(directory, &["manual", "man"]);
    for command in ["", "-replay", "-sheet", "-new-leg", "-simulate", "-compare", "-label", "-tune", "-convert", "-box"]
    {
        let page = fs::read_to_string(directory.join(format!("man/slackside{command}.1"))).expect("written");
        assert!(page.contains(".TH") && page.contains("Exit codes"), "{command}");
    }
}

#[test]
fn whoever_writes_feet_and_inches_is_answered_in_them() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    done(directory, &["replay", "--save-demo", "t.csv", "--quiet"]);
    let metric = fs::read_to_string(root("legs/millbrook-leg-3.toml")).expect("readable");
    let feet = metric.replace("loop_m = 61.95", "loop_ft = 203.25").replace("width_mm = 300", "width_in = 11.8");
    assert_ne!(metric, feet);
    fs::write(directory.join("metric.toml"), metric).expect("written");
    fs::write(directory.join("feet.toml"), feet).expect("written");
    let said = done(directory, &["replay", "t.csv", "--settings", "metric.toml"]);
    assert!(said.contains("belt m/s") && !said.contains("ft/min"), "{said}");
    let said = done(directory, &["replay", "t.csv", "--settings", "feet.toml"]);
    assert!(said.contains("belt ft/min") && !said.contains("belt m/s"), "{said}");
}
