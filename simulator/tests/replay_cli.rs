//! `slackside replay` as it is called: exit codes, messages, and that nothing is half-written.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

fn slackside() -> Command {
    Command::new(env!("CARGO_BIN_EXE_slackside"))
}

fn replay(directory: &Path, arguments: &[&str]) -> Output {
    slackside().current_dir(directory).arg("replay").args(arguments).output().expect("the command runs")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

fn demo(directory: &Path) -> String {
    let done = replay(directory, &["--quiet", "--save-demo", "demo.csv"]);
    assert!(done.status.success(), "{}", text(&done.stderr));
    fs::read_to_string(directory.join("demo.csv")).expect("the demo's trace")
}

#[test]
fn without_arguments_the_demo_trips() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let done = replay(directory.path(), &[]);
    assert_eq!(done.status.code(), Some(0));
    assert!(text(&done.stdout).contains("STOPPED: Belt far too slow"), "{}", text(&done.stdout));
    assert!(done.stderr.is_empty(), "{}", text(&done.stderr));
    assert_eq!(fs::read_dir(directory.path()).expect("readable").count(), 0);
}

#[test]
fn the_demo_as_a_file_tells_the_same_story() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    demo(directory.path());
    let done = replay(directory.path(), &["demo.csv", "--json"]);
    assert_eq!(done.status.code(), Some(0));
    let object: serde_json::Value = serde_json::from_slice(&done.stdout).expect("one object");
    assert_eq!(object["first_outs"][0]["condition"], "deep_underspeed");
    assert_eq!(object["trace"], "demo.csv");
}

/// Read back by the library that wrote it, cell by cell. That others read it was tried once by hand with pyarrow.
#[test]
fn samples_as_parquet_are_those_of_the_csv() {
    use parquet::file::reader::{FileReader as _, SerializedFileReader};
    use parquet::record::Field;
    let directory = tempfile::tempdir().expect("a temporary directory");
    for name in ["s.csv", "s.parquet"] {
        let done = replay(directory.path(), &["--quiet", "--samples", name]);
        assert!(done.status.success(), "{}", text(&done.stderr));
    }
    let table = fs::read_to_string(directory.path().join("s.csv")).expect("samples");
    let file = fs::File::open(directory.path().join("s.parquet")).expect("samples");
    let reader = SerializedFileReader::new(file).expect("Parquet");
    let mut lines = table.lines();
    let names: Vec<&str> = lines.next().expect("a header").split(',').collect();
    let (mut rows, mut unknown) = (0, 0);
    for (line, row) in lines.zip(reader.get_row_iter(None).expect("rows")) {
        let row = row.expect("a row");
        let cells: Vec<&str> = line.split(',').collect();
        for (((name, field), cell), wanted) in row.get_column_iter().zip(&cells).zip(&names) {
            assert_eq!(name, wanted);
            let same = match field {
                Field::Null => cell.is_empty(),
                Field::Long(time) => *time == cell.parse::<i64>().expect("a time"),
                Field::Double(value) => *value == cell.parse::<f64>().expect("a number"),
                Field::Bool(yes) => *cell == if *yes { "1" } else { "0" },
                other => panic!("{name} is {other}"),
            };
            assert!(same, "{name}: {field} is not {cell:?} in {line}");
            unknown += usize::from(cell.is_empty());
        }
        rows += 1;
    }
    assert_eq!((rows, reader.metadata().file_metadata().num_rows()), (table.lines().count() - 1, rows as i64));
    assert!(rows > 500 && unknown > 100, "{rows} rows, {unknown} cells not known");
}

#[test]
fn a_trace_may_come_through_a_pipe() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let trace = demo(directory.path());
    let mut child = slackside()
        .args(["replay", "-"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the command runs");
    child.stdin.take().expect("a pipe").write_all(trace.as_bytes()).expect("taken");
    let done = child.wait_with_output().expect("ends");
    assert!(text(&done.stdout).contains("on standard input"), "{}", text(&done.stdout));
    assert_eq!(done.status.code(), Some(0));
}

#[test]
fn a_broken_trace_ends_with_2_a_place_and_a_mend_and_leaves_nothing() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let trace = demo(directory.path());
    let broken: String = trace
        .lines()
        .enumerate()
        .map(|(index, line)| if index == 1_000 { "12,hed,1\n".to_owned() } else { format!("{line}\n") })
        .collect();
    fs::write(directory.path().join("broken.csv"), broken).expect("written");
    let outputs = ["--samples", "s.csv", "--events", "e.csv", "--report", "r.html"];
    let done = replay(directory.path(), &[&["broken.csv"], &outputs[..]].concat());
    assert_eq!(done.status.code(), Some(2));
    let said = text(&done.stderr);
    assert!(said.contains("broken.csv, line 1001, column 4: `hed` is no channel"), "{said}");
    assert!(said.contains("did you mean `head`?"), "{said}");
    assert!(done.stdout.is_empty());
    let mut left: Vec<_> =
        fs::read_dir(directory.path()).expect("readable").map(|entry| entry.expect("readable").file_name()).collect();
    left.sort();
    assert_eq!(left, ["broken.csv", "demo.csv"]);
}

#[test]
fn an_output_never_replaces_its_input_or_another_output() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let trace = demo(directory.path());
    for arguments in [
        ["demo.csv", "--samples", "demo.csv"].as_slice(),
        ["demo.csv", "--report", "./demo.csv"].as_slice(),
        ["demo.csv", "--samples", "x.csv", "--events", "x.csv"].as_slice(),
    ] {
        let done = replay(directory.path(), arguments);
        assert_eq!(done.status.code(), Some(2), "{arguments:?}");
        assert!(!done.stderr.is_empty());
    }
    assert_eq!(fs::read_to_string(directory.path().join("demo.csv")).expect("still there"), trace);
    assert!(!directory.path().join("x.csv").exists());
}

#[test]
fn what_cannot_be_read_or_written_is_said() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    for (arguments, said) in [
        (["nothing.csv", "--quiet"].as_slice(), "there is no such file"),
        ([".", "--quiet"].as_slice(), "it is a directory"),
        (["--events", "no/such/place.csv"].as_slice(), "check that its directory is there"),
    ] {
        let done = replay(directory.path(), arguments);
        assert_eq!(done.status.code(), Some(2), "{arguments:?}");
        assert!(text(&done.stderr).contains(said), "{}", text(&done.stderr));
    }
}

#[cfg(unix)]
#[test]
fn a_device_is_never_replaced_and_a_link_keeps_its_place() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let done = replay(directory.path(), &["--events", "/dev/null", "--quiet"]);
    assert_eq!(done.status.code(), Some(2));
    assert!(text(&done.stderr).contains("not an ordinary file"), "{}", text(&done.stderr));
    assert!(!fs::metadata("/dev/null").expect("still there").is_file());

    fs::write(directory.path().join("true.csv"), "old").expect("written");
    std::os::unix::fs::symlink("true.csv", directory.path().join("link.csv")).expect("linked");
    let done = replay(directory.path(), &["--events", "link.csv", "--quiet", "--force"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    assert!(directory.path().join("link.csv").is_symlink());
    assert!(fs::read_to_string(directory.path().join("true.csv")).expect("written").starts_with("time_us,condition"));
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let mut child = slackside()
        .args(["replay", "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command runs");
    drop(child.stdout.take());
    let done = child.wait_with_output().expect("ends");
    assert!(done.stderr.is_empty(), "{}", text(&done.stderr));
    assert_eq!(done.status.code(), Some(0));
}

#[test]
fn every_output_appears() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let outputs = ["--samples", "s.csv", "--every", "0.5", "--events", "e.csv", "--report", "r.html", "--quiet"];
    let done = replay(directory.path(), &outputs);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    assert!(done.stdout.is_empty());
    for name in ["s.csv", "e.csv", "r.html"] {
        assert!(fs::metadata(directory.path().join(name)).expect("written").len() > 500, "{name}");
    }
}

#[test]
fn two_trips_come_into_one_page() {
    let directory = tempfile::tempdir().expect("a temporary directory");
    let trace = demo(directory.path());
    fs::write(directory.path().join("other.csv"), trace).expect("written");
    let done = replay(directory.path(), &["demo.csv", "other.csv", "--report", "both.html", "--json"]);
    assert_eq!(done.status.code(), Some(0), "{}", text(&done.stderr));
    let object: serde_json::Value = serde_json::from_slice(&done.stdout).expect("one object");
    assert_eq!((&object["trace"], &object["other"]["trace"]), (&"demo.csv".into(), &"other.csv".into()));
    let page = fs::read_to_string(directory.path().join("both.html")).expect("a page");
    assert!(page.contains("Two trips, side by side") && page.contains("other.csv"));
    // Without a page there is no place for the other.
    assert_eq!(replay(directory.path(), &["demo.csv", "other.csv"]).status.code(), Some(2));
}
