//! The picture of a run, and of a stretch of it.

mod program;

use std::fs;
use std::path::Path;

use program::{done, slackside, text};

/// Seconds written under the panels, such as `120 s`.
fn times(svg: &str) -> Vec<f64> {
    let words = svg.split(['<', '>']);
    let mut times: Vec<f64> =
        words.filter_map(|word| word.strip_suffix(" s")).filter_map(|number| number.parse().ok()).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    times
}

fn drawn(directory: &Path, more: &[&str]) -> String {
    let scenario = format!("{}/../scenarios/belt-parted.toml", env!("CARGO_MANIFEST_DIR"));
    let mut arguments = vec!["simulate", &scenario, "--replay", "--plot", "leg.svg", "--force"];
    arguments.extend(more);
    done(directory, &arguments);
    fs::read_to_string(directory.join("leg.svg")).expect("the picture")
}

#[test]
fn a_stretch_shows_that_stretch_and_nothing_else() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let whole = drawn(directory, &[]);
    let (fault, stop) = ("fault: belt parted", "STOP, run permit dropped");
    for panel in ["true shaft speeds, rpm", "surfaces, °C", "tensions, kN", fault, stop] {
        assert!(whole.contains(panel), "{panel}");
    }
    let seen = times(&whole);
    assert!(seen[0] == 0.0 && seen[seen.len() - 1] >= 200.0, "{seen:?}");

    let around = drawn(directory, &["--from", "118", "--to", "124"]);
    let seen = times(&around);
    assert!(seen.len() > 4 && seen[0] >= 118.0 && seen[seen.len() - 1] <= 124.0, "{seen:?}");
    assert!(around.contains(fault) && around.contains(stop), "what happened in it is named");

    let before = drawn(directory, &["--to", "60"]);
    let seen = times(&before);
    assert!(seen[0] == 0.0 && seen[seen.len() - 1] <= 60.0, "{seen:?}");
    assert!(!before.contains(fault) && !before.contains(stop), "what came later is not");

    let after = drawn(directory, &["--from", "130"]);
    let seen = times(&after);
    assert!(seen[0] >= 130.0 && seen[seen.len() - 1] >= 200.0, "{seen:?}");
    assert!(!after.contains(fault), "what was before is not");
}

#[test]
fn what_is_no_stretch_of_the_run_is_refused_and_nothing_is_drawn() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let scenario = format!("{}/../scenarios/belt-parted.toml", env!("CARGO_MANIFEST_DIR"));
    let stretches = [["50", "50.5"], ["60", "50"], ["0", "241"], ["nan", "20"]];
    for [from, to] in stretches {
        let arguments = ["simulate", &scenario, "--plot", "leg.svg", "--from", from, "--to", to];
        let output = slackside(directory, &arguments);
        let said = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains("no stretch of this run") && said.contains("from 0 to 240 s"), "{said}");
    }
    let output = slackside(directory, &["simulate", &scenario, "--from", "10"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(text(&output.stderr).contains("--plot"), "a stretch without a picture");
    assert_eq!(fs::read_dir(directory).expect("readable").count(), 0, "nothing is begun");
}

#[test]
fn a_picture_or_a_page_under_the_name_of_another_kind_of_file_is_refused() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let directory = directory.path();
    let scenario = format!("{}/../scenarios/belt-parted.toml", env!("CARGO_MANIFEST_DIR"));
    for (arguments, mend) in [
        (["simulate", &scenario, "--plot", "leg.png"].as_slice(), "name it leg.svg"),
        (&["replay", "--report", "trip.pdf"], "name it trip.html"),
        (&["trend", ".", "--report", "wear.htm"], "name it wear.html"),
    ] {
        let output = slackside(directory, arguments);
        let said = text(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(mend), "{said}");
    }
    assert_eq!(fs::read_dir(directory).expect("readable").count(), 0, "nothing is begun");
    let output = slackside(directory, &["simulate", &scenario, "--plot", "LEG.SVG", "--quiet"]);
    assert!(output.status.success() && directory.join("LEG.SVG").exists(), "{}", text(&output.stderr));
}
