//! `slackside trend` as it is called: days from traces and from tables, what is told of them, marks, and what is refused.

mod days;
mod program;

use std::fs;
use std::path::Path;

use days::table;
use program::{done, slackside, text};

fn told(directory: &Path, more: &[&str]) -> String {
    let settings = leg(directory);
    let mut arguments = vec!["trend", "days.csv", "--settings", &settings];
    arguments.extend(more);
    let told = done(directory, &arguments);
    for line in told.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    told.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn leg(directory: &Path) -> String {
    let path = directory.join("leg.toml");
    if !path.is_file() {
        let scenario = Path::new(env!("CARGO_MANIFEST_DIR")).join("../scenarios/power-dip.toml");
        done(directory, &["simulate", scenario.to_str().expect("a path"), "--write-settings", "leg.toml"]);
    }
    "leg.toml".to_owned()
}

#[test]
fn wear_is_told_with_its_dates() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    table(directory.path(), 75, 100);
    let told = told(directory.path(), &[]);
    println!("{told}");
    // From 1.2 % by 0.01 % a day to 3 %: 180 days after 2026-01-01.
    assert!(told.contains("LAGGING: slip at full load rises by 0.07"), "{told}");
    assert!(told.contains("reaches its limit of 3 % (slip high on average) about 2026-0"), "{told}");
    assert!(told.contains("at the soonest 2026-0") && told.contains("at the latest 2026-0"), "{told}");
    assert!(told.contains("Slip unloaded: 0.1"), "what does not go anywhere is told as that: {told}");
    assert!(!told.contains("What changed"), "{told}");
}

#[test]
fn nothing_is_told_of_days_without_wear() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    table(directory.path(), 75, 0);
    let told = told(directory.path(), &[]);
    assert!(told.contains("No trend:") && !told.contains("LAGGING"), "{told}");
    assert!(!told.contains("reaches"), "{told}");
}

#[test]
fn too_few_days_are_not_told_as_no_trend() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    table(directory.path(), 13, 0);
    let told = told(directory.path(), &[]);
    assert!(told.contains("Not known yet: it takes 14 days") && !told.contains("No trend"), "{told}");
}

#[test]
fn a_change_is_told_with_what_else_changed_and_marks_begin_anew() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    table(directory.path(), 120, 100);
    let plain = told(directory.path(), &[]);
    println!("{plain}");
    // 2026-01-01 and 80 days.
    assert!(plain.contains("2026-03-22: slip at full load went down by"), "{plain}");
    assert!(plain.contains("About that day: rubbing at the boot, right up"), "{plain}");
    assert!(plain.contains("Counted since 2026-03-22, when it changed: 40 days."), "{plain}");
    let marked = told(directory.path(), &["--mark", "2026-03-21=new lagging"]);
    assert!(marked.contains("Counted since 2026-03-22, after work on it (lagging): 40 days."), "{marked}");
    assert!(!marked.contains("slip at full load went down"), "work done is no change to be found: {marked}");
    let settings = leg(directory.path());
    let saving = ["trend", "days.csv", "--settings", &settings, "--mark", "2026-03-21=lagging", "--save", "marked.csv"];
    let first = done(directory.path(), &saving);
    let again = done(directory.path(), &["trend", "marked.csv", "--settings", &settings]);
    assert_eq!(first, again, "a saved table keeps its marks");
    let late = told(directory.path(), &["--mark", "2026-04-25=belt"]);
    assert!(late.contains("Slip at full load: too few days to tell (5 of 14)"), "{late}");
}

#[test]
fn days_come_from_traces_and_can_be_saved() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path();
    fs::create_dir(path.join("traces")).expect("made");
    done(path, &["replay", "--quiet", "--save-demo", "demo.csv"]);
    for name in ["leg-2026-03-15.csv", "leg-2026-03-14.csv"] {
        fs::copy(path.join("demo.csv"), path.join("traces").join(name)).expect("copied");
    }
    fs::write(path.join("traces/notes.txt"), "not a trace").expect("written");
    let settings = leg(path);
    let told = done(path, &["trend", "traces", "--settings", &settings, "--save", "saved.csv"]);
    assert!(told.contains("2 days, 2026-03-14 to 2026-03-15"), "{told}");
    let saved = fs::read_to_string(path.join("saved.csv")).expect("saved");
    println!("{saved}");
    assert!(saved.starts_with("#leg "), "whose days they are: {saved}");
    let rows: Vec<&str> = saved.lines().filter(|line| !line.starts_with('#')).skip(1).collect();
    assert_eq!(rows.len(), 2);
    // The same trace gives the same day.
    let (one, other) = (rows[0].split_once(',').expect("fields"), rows[1].split_once(',').expect("fields"));
    assert_eq!((one.0, other.0, one.1), ("2026-03-14", "2026-03-15", other.1));
    assert!(one.1.starts_with("part,0,"), "{saved}");
    let again = done(path, &["trend", "saved.csv", "--settings", &settings]);
    assert_eq!(again, told, "a table of days says what their traces said");
}

/// A table as a box's days make it: day 1 to 30, all alike but for some scatter.
fn of_box(directory: &Path, file: &str, leg: &str, serial: &str) {
    let mut text = format!("#leg {leg}\n#box {serial}\n{}\n", days::HEADER);
    for day in 1..=30 {
        let slip = 3_000 + day * day * 131 % 601;
        text.push_str(&format!("{day},day,0,0,30000,{slip},,,0,0,0,0,0,2,3,0,6,5100\n"));
    }
    text.push_str("12,lagging: ceramic,0,0,0,,,,,,,,,0,0,0,0,\n");
    fs::write(directory.join(file), text).expect("written");
}

#[test]
fn legs_are_told_apart_and_boxes_of_one_leg_follow_each_other() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path();
    of_box(path, "first.csv", "Millbrook leg 3", "A-17");
    of_box(path, "second.csv", "Millbrook leg 3", "A-18");
    of_box(path, "other.csv", "Millbrook leg 4", "A-19");
    let one = done(path, &["trend", "first.csv"]);
    assert!(one.contains("Wear of Millbrook leg 3: 30 days, day 1 to day 30"), "{one}");
    assert!(one.contains("- day 12: lagging (ceramic)"), "{one}");
    let follow = done(path, &["trend", "first.csv", "second.csv"]);
    assert!(follow.contains("60 days, day 1 to day 60") && follow.contains("- day 42: lagging (ceramic)"), "{follow}");
    let both = done(path, &["trend", "first.csv", "other.csv"]);
    for leg in ["leg 3", "leg 4"] {
        assert!(both.contains(&format!("Wear of Millbrook {leg}: 30 days, day 1 to day 30")), "{both}");
    }
    let objects = done(path, &["trend", "first.csv", "other.csv", "--json"]);
    assert_eq!(objects.lines().filter(|line| line.contains("slackside-trend")).count(), 2, "an object a line");
    for more in [["--report", "wear.html"], ["--save", "all.csv"], ["--mark", "12=belt"]] {
        let output = slackside(path, &[&["trend", "first.csv", "other.csv"], &more[..]].concat());
        let error = text(&output.stderr);
        assert!(!output.status.success() && error.contains("2 legs: Millbrook leg 3, Millbrook leg 4"), "{error}");
        assert!(error.contains("mend:"), "{error}");
    }
    let output = slackside(path, &["trend", "other.csv", "--settings", &leg(path)]);
    assert!(text(&output.stderr).contains("the days of Millbrook leg 4"), "{}", text(&output.stderr));
}

#[test]
fn what_cannot_be_used_is_refused_with_a_mend() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let path = directory.path();
    table(path, 20, 0);
    fs::create_dir(path.join("empty")).expect("made");
    done(path, &["replay", "--quiet", "--save-demo", "demo.csv"]);
    let days = fs::read_to_string(path.join("days.csv")).expect("written");
    fs::write(path.join("broken.csv"), days.replacen("day,what", "date,what", 1)).expect("written");
    fs::write(path.join("words.csv"), "no trace and no table\n").expect("written");
    // The same days again, as they were saved once.
    fs::write(path.join("copy.csv"), &days).expect("written");
    let told = done(path, &["trend", "days.csv", "copy.csv"]);
    assert!(told.contains("20 days stand in two of the files: counted once."), "{told}");
    for (arguments, said) in [
        (&["trend", "empty"][..], "no trace, recording or table of days"),
        (&["trend", "absent.csv"], "absent.csv cannot be read: there is no such file"),
        (&["trend", "demo.csv"], "a trace says nothing of its leg"),
        (&["trend", "days.csv", "--mark", "7=belt"], "the days are told by date"),
        (&["trend", "days.csv", "--mark", "2026-01-07=paint"], "write a day and what was done"),
        (&["trend", "days.csv", "--save", "days.csv"], "it is there already"),
        (&["trend", "days.csv", "./days.csv"], "./days.csv is named twice"),
        (
            &["trend", "days.csv", "--save", "x.html", "--report", "./x.html"],
            "./x.html is not written: it is written as something else",
        ),
        (&["trend", "broken.csv"], "line 1: the columns are not those of a table of days"),
        (&["trend", "words.csv"], "the header `time_us,channel,value` was expected"),
    ] {
        let output = slackside(path, arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        let error = text(&output.stderr);
        assert!(error.contains(said), "{arguments:?}: {error}");
    }
}
