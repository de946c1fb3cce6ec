//! `slackside box` as it is called, on a box made of memory: the shapes of its objects, which the book tells, and that a reader who goes
//! away is no error.

mod program;

use std::collections::BTreeSet;
use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use program::{done, slackside, text};
use serde_json::Value;
use slackside::settings::Settings;

/// A box made of memory, as a program of its own, whose leg the demo has turned. Dropped, it ends.
struct Emulated {
    child: Child,
    address: String,
}

impl Emulated {
    fn start(directory: &Path) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_slackside"))
            .current_dir(directory)
            .args(["emulate", "--listen", "127.0.0.1:0", "--speed", "0", "--json"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the command runs");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("a pipe")).read_line(&mut line).expect("it says where it listens");
        let said: Value = serde_json::from_str(&line).expect("an object");
        assert_eq!((&said["format"], &said["format_version"]), (&"slackside-emulate".into(), &2.into()));
        let address = said["listens"].as_str().expect("an address").to_owned();
        Self { child, address }
    }

    fn press(&mut self, what: &str) {
        writeln!(self.child.stdin.as_mut().expect("a pipe"), "{what}").expect("taken");
    }
}

impl Drop for Emulated {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn keys(object: &Value) -> BTreeSet<&str> {
    object.as_object().unwrap_or_else(|| panic!("no object: {object}")).keys().map(String::as_str).collect()
}

/// The keys of an object, those that say what it is left out.
const SHAPES: [(&str, u32, &[&str]); 12] = [
    ("hello", 2, &["leg", "serial", "firmware", "core", "settings", "session", "time_us", "time"]),
    (
        "status",
        3,
        &[
            "time_us",
            "time",
            "phase",
            "run_permit",
            "run_contacts_closed",
            "feed_permit",
            "feed_contacts_closed",
            "link_refused",
            "link_refused_first_us",
            "link_refused_last_us",
            "key_on",
            "waits_for_press",
            "link_refused",
            "link_refused_first_us",
            "link_refused_last_us",
            "first_out",
            "boot_cleared_needed",
            "head",
            "boot",
            "slip_short",
            "slip_long",
            "slip_heat_pct",
            "contacts",
            "wrong",
            "latched",
            "unacknowledged",
            "shelved",
            "faults",
            "day",
        ],
    ),
    ("event", 1, &["number", "time_us", "time", "change", "condition", "says"]),
    ("recordings", 1, &["recordings"]),
    ("fetched", 1, &["file", "whole", "settings_known", "recording"]),
    ("told", 1, &["told"]),
    ("proof-test", 1, &["passed", "ever_passed", "due"]),
    ("days", 1, &["file", "days", "first", "last", "marks", "under_way"]),
    ("marked", 1, &["day", "what", "note", "learn_anew"]),
    ("plan", 2, &["leg", "identity", "conditions", "against", "same"]),
    ("settings-armed", 1, &["identity", "before"]),
    ("events-lost", 1, &["lost"]),
];

/// That an object has the shape which the book tells.
fn hold(object: &Value) {
    let format = object["format"].as_str().expect("a format");
    let name = format.strip_prefix("slackside-box-").expect("an object of a box");
    let (_, version, expected) = SHAPES.into_iter().find(|(known, ..)| *known == name).expect("a known shape");
    assert_eq!(object["format_version"], version, "{format}");
    let expected: BTreeSet<&str> = expected.iter().copied().chain(["format", "format_version"]).collect();
    assert_eq!(keys(object), expected, "{format}");
}

#[test]
fn the_book_tells_every_shape() {
    let page = format!("{}/../docs/src/reference/json.md", env!("CARGO_MANIFEST_DIR"));
    let page = fs::read_to_string(page).expect("readable");
    for (name, version, keys) in SHAPES {
        let whole = format!("`slackside-box-{name}`");
        let row = page.lines().find(|line| line.contains(&whole)).unwrap_or_else(|| panic!("{whole} is not told"));
        if version > 1 {
            assert!(row.contains(&format!("{whole}, version {version}")), "{row}");
        }
        for key in keys {
            assert!(page.contains(&format!("`{key}`")), "{name}: {key}");
        }
    }
}

/// No day is over yet; what was done today is marked, and asks for something.
fn work_is_marked(directory: &Path, address: &str, say: &dyn Fn(&[&str]) -> Vec<Value>) {
    let marked = say(&["mark", "new lagging", "--note", "ceramic"]).remove(0);
    assert_eq!((&marked["day"], &marked["what"], &marked["learn_anew"]), (&1.into(), &"lagging".into(), &true.into()));
    assert_eq!(say(&["mark", "take-up"]).remove(0)["learn_anew"], false);
    let days = say(&["days", "--out", "days.csv"]).remove(0);
    assert_eq!((&days["days"], &days["under_way"]["number"]), (&0.into(), &1.into()));
    let mark = serde_json::json!({"day": 1, "what": "lagging", "note": "ceramic"});
    assert_eq!((&days["marks"][0], &days["under_way"]["learn_anew"]), (&mark, &mark));
    let table = fs::read_to_string(directory.join("days.csv")).expect("written");
    assert!(
        table.starts_with("#leg Millbrook leg 3\n#box MEMORY-1\n") && table.contains("\n1,lagging: ceramic,"),
        "{table}"
    );
    let told = done(directory, &["box", address, "status"]);
    println!("{told}");
    assert!(told.contains("LEARN ANEW      lagging marked on day 1;"), "{told}");
    assert!(told.lines().all(|line| line.chars().count() <= 80), "{told}");
    let told = done(directory, &["box", address, "days"]);
    println!("{told}");
    assert!(told.contains("Marked on day 1: take-up.") && told.contains("No day is over yet"), "{told}");
}

/// Whoever acknowledges twice is told why the second time does nothing.
fn nothing_waits_any_more(directory: &Path, address: &str) {
    let again = slackside(directory, &["box", address, "acknowledge"]);
    assert!(
        text(&again.stderr).contains("refuses: no alarm waits to be acknowledged\n  mend:"),
        "{}",
        text(&again.stderr)
    );
}

/// Settings that are not those of the box are told for what they are, whether held against it or against its recording.
fn of_other_settings(directory: &Path, address: &str) {
    let leg = fs::read_to_string(directory.join("leg.toml")).expect("written");
    let other = leg.replacen("setpoint_pct = 14", "setpoint_pct = 13", 2).replace("Millbrook leg 3", "Harbour leg 9");
    assert_ne!(other, leg);
    fs::write(directory.join("other.toml"), other).expect("written");
    let output = slackside(directory, &["box", address, "settings", "read", "--against", "other.toml"]);
    let said = text(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{said}");
    for word in
        ["the box runs Millbrook leg 3, the file is of Harbour leg 9", "box 14 % after", "file 13 % after", "mend:"]
    {
        assert!(said.contains(word), "{word}: {said}");
    }
    let identity = Settings::example().check().expect("sound").plan().identity();
    let told = done(directory, &["replay", "trip.slk", "--settings", "other.toml"]);
    let first: String = told.lines().take(6).collect::<Vec<_>>().join(" ");
    for word in [
        "WARNING: This was recorded under settings",
        &format!("{identity:08X} of Millbrook leg 3"),
        "not what the box did",
    ] {
        assert!(first.contains(word), "{word}: {told}");
    }
    let told = done(directory, &["replay", "trip.slk", "--settings", "leg.toml"]);
    assert!(!told.contains("WARNING"), "{told}");
    let (known, unknown) = told.split_once("What was not known").expect("both are told");
    assert!(known.contains("Bit for bit the same") && !unknown.contains("Recorded by"), "{told}");
}

/// Of a trip since the box was powered up its recording has the time of day, on this computer's clock.
fn tells_when(recording: &Value, words: &str) {
    assert_eq!(recording["first_out"], "deep_underspeed");
    assert!(recording["tripped_at"].as_str().is_some_and(|time| time.ends_with('Z')), "{recording}");
    let flowing = words.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flowing.contains("Belt far too slow, since power came last"), "{words}");
    assert!(words.lines().all(|line| line.chars().count() <= 80), "{words}");
}

#[test]
fn every_object_of_a_box_has_its_shape() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let mut emulated = Emulated::start(directory);
    done(directory, &["sheet", "--write-settings", "leg.toml", "--quiet"]);
    let address = emulated.address.clone();
    let say = |arguments: &[&str]| -> Vec<Value> {
        let said = done(directory, &[&["box", &address], arguments, &["--json"]].concat());
        let objects: Vec<Value> = serde_json::Deserializer::from_str(&said)
            .into_iter()
            .collect::<Result<_, _>>()
            .unwrap_or_else(|error| panic!("{error}: {said}"));
        objects.iter().for_each(hold);
        assert!(!objects.is_empty(), "{arguments:?}");
        objects
    };
    // The demo trips, and once the leg stands the recording is filed.
    let begun = Instant::now();
    let recordings = loop {
        let told = say(&["recordings"]).remove(0);
        let all = told["recordings"].as_array().expect("a list").clone();
        if !all.is_empty() {
            break all;
        }
        assert!(begun.elapsed() < Duration::from_secs(120), "no recording is filed");
        std::thread::sleep(Duration::from_millis(200));
    };
    let recording =
        BTreeSet::from(["number", "session", "tripped_at_us", "tripped_at", "first_out", "bytes", "settings"]);
    assert_eq!(keys(&recordings[0]), recording);
    tells_when(&recordings[0], &done(directory, &["box", &address, "recordings"]));

    let hello = say(&["hello"]).remove(0);
    assert_eq!((&hello["leg"], &hello["serial"]), (&"Millbrook leg 3".into(), &"MEMORY-1".into()));
    assert!(hello["time_us"].is_u64() && hello["time"].as_str().is_some_and(|time| time.ends_with('Z')), "{hello}");

    let status = say(&["status"]).remove(0);
    assert_eq!((&status["run_permit"], &status["first_out"]), (&false.into(), &"deep_underspeed".into()));
    assert_eq!(keys(&status["boot"]), BTreeSet::from(["rpm_at_most", "edges", "rejected", "line", "trusted"]));
    assert!(status["boot"]["edges"].as_u64().is_some_and(|edges| edges > 100), "{status}");
    let contact = &status["contacts"].as_array().expect("a list")[0];
    assert_eq!(keys(contact), BTreeSet::from(["place", "state", "duty_pct", "supervised"]));
    let latched = status["latched"].as_array().expect("a list");
    assert!(latched.contains(&"deep_underspeed".into()) && status["slip_heat_pct"].is_f64(), "{status}");
    // The leg stands: what its last turns said is no slip of now.
    assert_eq!(
        (&status["phase"], &status["slip_short"], &status["slip_long"]),
        (&"standstill".into(), &Value::Null, &Value::Null)
    );
    let words = done(directory, &["box", &address, "status"]);
    assert!(words.contains("not known over one turn, not known over four"), "{words}");
    assert!(words.lines().all(|line| line.chars().count() <= 80), "{words}");

    let events = say(&["events"]);
    let numbers: Vec<u64> = events.iter().filter_map(|event| event["number"].as_u64()).collect();
    assert!(numbers.len() > 10 && numbers.is_sorted(), "{numbers:?}");
    assert!(events.iter().any(|event| event["condition"] == "deep_underspeed"));
    let watched = say(&["watch", "--seconds", "1"]);
    assert_eq!(watched[0]["format"], "slackside-box-status");

    // From the box to the page in one command.
    let fetched = say(&["fetch", "--out", "trip.slk", "--settings", "leg.toml", "--report", "trip.html"]).remove(0);
    let page = fs::read_to_string(directory.join("trip.html")).expect("a page");
    assert!(page.contains("Belt far too slow") && page.contains("Recorded by MEMORY-1"), "another trip");
    // A recording has no lines: its numbers lead to its inputs.
    assert!(
        page.contains("Inputs are those of trip.slk") && page.contains("Input 1<span"),
        "no number leads to an input"
    );
    assert_eq!((&fetched["whole"], keys(&fetched["recording"])), (&true.into(), recording));
    let plan = say(&["settings", "read", "--against", "leg.toml"]).remove(0);
    assert_eq!(plan["same"], true);
    let conditions = plan["conditions"].as_array().expect("a list");
    let row = BTreeSet::from(["condition", "judged", "setpoint", "on_delay_s", "action", "latches"]);
    assert!(conditions.len() > 20 && conditions.iter().all(|condition| keys(condition) == row), "{plan}");
    of_other_settings(directory, &address);
    let due = say(&["proof-test", "due"]).remove(0);
    assert_eq!((&due["ever_passed"], &due["due"]), (&false.into(), &Value::Null));
    assert_eq!(keys(&status["day"]), BTreeSet::from(["number", "powered_h", "learn_anew"]));
    work_is_marked(directory, &address, &say);
    say(&["acknowledge"]);
    nothing_waits_any_more(directory, &address);
    emulated.press("key on");
    // Of every box made of memory.
    std::fs::write(directory.join("box.key"), "6d656d6f727920626f782773206b6579\n").expect("written");
    let begun = Instant::now();
    let armed = loop {
        let arguments = ["box", &address, "settings", "write", "leg.toml", "--key-file", "box.key", "--json"];
        // Somebody at the box holds acknowledge as soon as it waits.
        let output = std::thread::scope(|scope| {
            let writing = scope.spawn(|| slackside(directory, &arguments));
            while !writing.is_finished() {
                emulated.press("confirm");
                let pressed = Instant::now();
                while !writing.is_finished() && pressed.elapsed() < Duration::from_millis(5_500) {
                    std::thread::sleep(Duration::from_millis(50));
                }
            }
            writing.join().expect("it ran")
        });
        if output.status.success() {
            break serde_json::from_slice::<Value>(&output.stdout).expect("an object");
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "{}", text(&output.stderr));
    };
    hold(&armed);
    assert_eq!(armed["identity"], plan["identity"]);
    assert_eq!(say(&["status"]).remove(0)["day"]["learn_anew"], Value::Null, "settings have been written since");
}

#[cfg(unix)]
#[test]
fn whoever_has_seen_enough_of_a_box_may_go() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let emulated = Emulated::start(directory.path());
    for arguments in [
        ["events"].as_slice(),
        &["events", "--json"],
        &["watch"],
        &["watch", "--json"],
        &["settings", "read"],
        &["hello"],
    ] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_slackside"))
            .args([&["box", &emulated.address], arguments].concat())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the command runs");
        drop(child.stdout.take());
        let ended = child.wait_with_output().expect("ends");
        assert_eq!((ended.status.code(), text(&ended.stderr).as_str()), (Some(0), ""), "{arguments:?}");
    }
}
