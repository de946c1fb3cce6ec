//! The manners of the program: nothing lost, nothing guessed in silence, what matters first, and JSON and silence everywhere.

mod program;

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
    for arguments in [
        ["simulate", &scenario, "--write-settings", "my.toml"].as_slice(),
        &["simulate", &scenario, "--out", "t.csv"],
        &["replay", "--report", "t.csv"],
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
    done(directory, &["simulate", &scenario, "--write-settings", "my.toml", "--force"]);
    assert_ne!(fs::read_to_string(directory.join("my.toml")).expect("there"), leg, "told to, it does");
}

#[test]
fn two_outputs_of_a_drawn_run_are_never_one_file() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    for drawn in ["--random", "--healthy"] {
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
        &["label", "WRONG", "--nothing-wrong"],
        &["convert", "WRONG", "x.slk"],
        &["emulate", "WRONG"],
        &["emulate", "--settings", "WRONG"],
        &["box", "127.0.0.1:1", "settings", "write", "WRONG"],
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
        ["STOPPED: Slip very high at", "Lock out and tag out the drive", "1. ", "2. ", "3. ", "10 s before", "trip  "]
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
    let study = "name = \"Two\"\nsettings = \"leg.toml\"\n[[trace]]\nfile = \"t.csv\"\n[[limit]]\nkey = \"slip_high.setpoint_pct\"\nfrom = 4\nto = 6\nstep = 1\n[search]\nmethod = \"grid\"\n";
    fs::write(directory.join("study.toml"), study).expect("written");
    let scenario = root("scenarios/boot-sensor-cut.toml");
    for (format, arguments) in [
        ("slackside-replay", ["replay", "t.csv", "--settings", "leg.toml"].as_slice()),
        ("slackside-sheet", &["sheet", "--settings", "leg.toml"]),
        ("slackside-simulate", &["simulate", &scenario, "--replay"]),
        ("slackside-compare", &["compare", "leg.toml", "leg.toml", "t.csv"]),
        ("slackside-label", &["label", "t.csv", "--nothing-wrong", "--force"]),
        ("slackside-convert", &["convert", "t.csv", "t.slk", "--settings", "leg.toml", "--force"]),
        ("slackside-tune", &["tune", "study.toml", "--force"]),
    ] {
        let said = done(directory, &[arguments, &["--json"]].concat());
        let object: serde_json::Value = serde_json::from_str(&said).unwrap_or_else(|error| panic!("{error}: {said}"));
        assert_eq!(object["format"], format);
        assert_eq!(object["format_version"], 1, "{format}");
        assert_eq!(done(directory, &[arguments, &["--quiet"]].concat()), "", "{format} is silent when asked to be");
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
fn an_interrupt_leaves_no_half_written_file() {
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
    Command::new("kill").args(["-INT", &child.id().to_string()]).status().expect("kill runs");
    let ended = child.wait_with_output().expect("ends");
    assert_eq!(ended.status.code(), Some(130), "{}", text(&ended.stderr));
    assert_eq!(fs::read_dir(directory.path()).expect("readable").count(), 0);
}

#[test]
fn help_says_the_exit_codes() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    for command in ["replay", "sheet", "simulate", "compare", "label", "tune", "convert", "box", "emulate"] {
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
fn a_new_leg_comes_from_a_dozen_answers_and_is_replayed_with() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let ask = |answers: &str| {
        let mut child = Command::new(env!("CARGO_BIN_EXE_slackside"))
            .current_dir(directory)
            .args(["new-leg", "new.toml"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the command runs");
        // It may end before it has read them all.
        let _ = std::io::Write::write_all(&mut child.stdin.take().expect("a pipe"), answers.as_bytes());
        child.wait_with_output().expect("ends")
    };
    let answers = "North leg\n600 mm\n12\n350\n600\n350\n8\n300\n30\n78.6\n4\n4\n25 hp\nyes\nyes\n";
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
    let again = ask(answers);
    assert!(text(&again.stderr).contains("--force"), "never over what is there");
}

#[test]
fn completions_and_manual_pages_know_every_command() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    for shell in ["bash", "zsh", "fish"] {
        assert!(done(directory, &["completions", shell]).contains("new-leg"), "{shell}");
    }
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
