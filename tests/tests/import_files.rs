//! Files of other loggers as traces: those that sigrok-cli wrote (where it is installed), and those of plants, invented.

use std::process::Command;

use slackside::input::{Input, Shaft, Signal};
use slackside::settings::Settings;
use slackside::units::Micros;
use slackside_desk::import::{Choice, Clock, Imported, Unit, guess, inputs, look, speeds, suggestion};
use slackside_desk::{demo, recording, trace};

const RATE: u64 = 5_000;

fn choice(map: &str) -> Choice {
    Choice { map: Choice::read_map(map).expect("a map"), ..Choice::default() }
}

fn take(bytes: &[u8], choice: &Choice) -> Result<Imported, String> {
    let found = look("file", bytes).map_err(|error| error.to_string())?;
    inputs(&found, choice).map_err(|error| error.to_string())
}

fn refused(text: &str, choice: &Choice) -> String {
    take(text.as_bytes(), choice).expect_err("it makes no sense")
}

/// What the demo's head, boot and drive say, sampled: a byte a sample.
fn sampled() -> Vec<u8> {
    let demo = demo::inputs(&Settings::example().check().expect("sound"));
    let ends = demo.last().expect("inputs").at.get();
    let (mut inputs, mut state) = (demo.iter().peekable(), 0_u8);
    let mut sample = |at: u64| {
        while let Some(input) = inputs.next_if(|input| input.at.get() <= at) {
            let (bit, high) = match input.signal {
                Signal::Edge(Shaft::Head, high) => (1, high),
                Signal::Edge(Shaft::Boot, high) => (2, high),
                Signal::DriveRunning(on) => (4, on),
                _ => continue,
            };
            state = if high { state | bit } else { state & !bit };
        }
        state
    };
    (0..=ends * RATE / 1_000_000).map(|number| sample(number * 1_000_000 / RATE)).collect()
}

/// The changes that these samples hold, in order of channel at equal times.
fn expected(samples: &[u8]) -> Vec<Input> {
    let mut expected = Vec::new();
    let mut before = !samples[0];
    for (state, number) in samples.iter().zip(0_u64..) {
        let at = Micros::new(number * 1_000_000 / RATE);
        for (bit, signal) in [
            (1, Signal::Edge(Shaft::Head, state & 1 != 0)),
            (2, Signal::Edge(Shaft::Boot, state & 2 != 0)),
            (4, Signal::DriveRunning(state & 4 != 0)),
        ] {
            if (state ^ before) & bit != 0 {
                expected.push(Input::new(at, signal));
            }
        }
        before = *state;
    }
    expected
}

fn without_ticks(inputs: &[Input]) -> Vec<Input> {
    inputs.iter().copied().filter(|input| input.signal != Signal::Tick).collect()
}

/// Every file that sigrok-cli writes of the same samples gives the same edges, to the sample.
#[test]
fn files_that_sigrok_cli_wrote() {
    if Command::new("sigrok-cli").arg("--version").output().is_err() {
        println!("sigrok-cli is not installed: its files are not tried");
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let samples = sampled();
    std::fs::write(folder.path().join("raw.bin"), &samples).expect("written");
    let run = |arguments: &[&str]| {
        let output = Command::new("sigrok-cli").current_dir(folder.path()).args(arguments).output().expect("it runs");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        output.stdout
    };
    run(&["-I", "binary:numchannels=3:samplerate=5000", "-i", "raw.bin", "-o", "session.sr"]);
    let expected = expected(&samples);
    assert!(expected.len() > 1_000);
    let map = choice("head=0,boot=1,drive=2");
    let by_place = choice("head=column 1,boot=column 2,drive=column 3");
    let with_rate = |choice: &Choice| Choice { rate_hz: Some(RATE as f64), ..choice.clone() };
    let with_unit = |choice: &Choice| Choice { unit: Some(Unit::Microseconds), ..choice.clone() };
    let table = [
        ("vcd", map.clone()),
        // The rate stands in a comment only.
        ("csv", map.clone()),
        // The unit of its time stands in the name of the column, and changes with the rate.
        ("csv:time=true:dedup=true", map.clone()),
        ("csv:time=true:label=channel", with_unit(&map)),
        ("csv:header=false:label=off", with_rate(&by_place)),
    ];
    for (format, choice) in table {
        let file = run(&["-i", "session.sr", "-O", format]);
        let imported = take(&file, &choice).unwrap_or_else(|error| panic!("{format}: {error}"));
        let got = without_ticks(&imported.inputs);
        // A dump begins with its first change, the table with its first sample.
        assert_eq!(got.len(), expected.len(), "{format}");
        for (got, expected) in got.iter().zip(&expected) {
            assert_eq!(got.signal, expected.signal, "{format}");
            assert!(got.at.get().abs_diff(expected.at.get()) <= 1_000_000 / RATE, "{format}: {got:?}, {expected:?}");
        }
    }
    // Nothing says the unit, nothing the rate.
    let nameless = run(&["-i", "session.sr", "-O", "csv:time=true:label=channel"]);
    assert!(take(&nameless, &map).expect_err("no unit").contains("--time-unit"));
    let bare = run(&["-i", "session.sr", "-O", "csv:header=false:label=off"]);
    assert!(take(&bare, &by_place).expect_err("no rate").contains("--rate"));
    // Said wrongly, it would be another leg's.
    let seconds = Choice { unit: Some(Unit::Seconds), ..map.clone() };
    assert!(take(&nameless, &seconds).expect_err("0 edges a second").contains("edges a second"));
    let fast = Choice { rate_hz: Some(5e6), ..by_place };
    assert!(take(&bare, &fast).expect_err("10,000 edges a second").contains("edges a second"));
}

/// What `convert` dumps of the demo comes back input by input, and sigrok-cli hears the same edges in it.
#[test]
fn a_dump_of_a_trace_is_read_back_by_import_and_by_sigrok_cli() {
    let mut csv = trace::Writer::begin(Vec::new()).expect("memory");
    let demo = demo::inputs(&Settings::example().check().expect("sound"));
    demo.iter().for_each(|input| csv.write(input).expect("memory"));
    let (bytes, said) = recording::to_dump("demo", csv.into_inner()).expect("a trace");
    let commands = demo.iter().filter(|input| matches!(input.signal, Signal::Command(..))).count();
    let lasting: Vec<Input> = without_ticks(&demo)
        .into_iter()
        .filter(|input| !matches!(input.signal, Signal::Command(..) | Signal::EdgesLost(_)))
        .collect();
    assert!(lasting.len() > 1_000, "{said}");
    assert_eq!(said.contains("no place"), commands > 0, "{said}");
    let imported = take(&bytes, &Choice::default()).expect("named as channels");
    let mut got = without_ticks(&imported.inputs);
    let began = lasting[0].at.get();
    got.iter_mut().for_each(|input| input.at = Micros::new(input.at.get() + began));
    // At equal times the one has the order of the trace, the other that of the channels; and a channel said once more what it said before.
    let changes = |inputs: &[Input]| {
        let mut last = std::collections::HashMap::new();
        let mut kept: Vec<Input> = inputs.to_vec();
        kept.retain(|input| last.insert(trace::Channel::of(&input.signal), input.signal) != Some(input.signal));
        kept.sort_by_key(|input| (input.at, trace::Channel::of(&input.signal).index()));
        kept
    };
    assert_eq!(changes(&got), changes(&lasting));
    if Command::new("sigrok-cli").arg("--version").output().is_err() {
        println!("sigrok-cli is not installed: it does not read the dump");
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    std::fs::write(folder.path().join("demo.vcd"), &bytes).expect("written");
    // A tenth of a millisecond is enough to tell edges apart, and 100 times quicker than a microsecond.
    let output = Command::new("sigrok-cli")
        .current_dir(folder.path())
        .args([
            "-I",
            "vcd:downsample=100",
            "-i",
            "demo.vcd",
            "-O",
            "csv:header=false:label=off:dedup=true",
            "-C",
            "head,boot",
        ])
        .output()
        .expect("it runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let rows = String::from_utf8(output.stdout).expect("text");
    let mut heard = [0_usize; 2];
    let mut before = [None::<bool>; 2];
    for row in rows.lines() {
        for ((level, before), heard) in
            row.rsplit(',').take(2).collect::<Vec<_>>().into_iter().rev().zip(&mut before).zip(&mut heard)
        {
            let level = level.trim() == "1";
            *heard += usize::from(before.is_some_and(|before| before != level));
            *before = Some(level);
        }
    }
    let edges = |wanted| {
        let of = changes(&lasting)
            .iter()
            .filter(|input| matches!(input.signal, Signal::Edge(shaft, _) if shaft == wanted))
            .count();
        // What it was at first is no edge to a logic analyser, unless it rises from the nothing before it.
        of - 1..=of
    };
    assert!(edges(Shaft::Head).contains(&heard[0]) && edges(Shaft::Boot).contains(&heard[1]), "{heard:?}");
}

/// IEEE 1364-2001, section 18.2: identifiers, scopes, x and z, and a timescale of 100 ps.
#[test]
fn a_dump_in_hundreds_of_picoseconds() {
    let mut dump = String::from(
        "$timescale 100 ps $end\n$scope module top $end\n$var wire 1 ! head $end\n$var wire 8 % bus $end\n$scope module low $end\n\
         $var wire 1 \" boot $end\n$upscope $end\n$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\nx!\n0\"\nb0 %\n$end\n",
    );
    for number in 1..=40_u64 {
        dump.push_str(&format!("#{}\n{}!\n{}\"\n", number * 950_000_000, number % 2, (number + 1) % 2));
    }
    let found = look("dump.vcd", dump.as_bytes()).expect("a dump");
    assert_eq!(found.series.iter().map(|series| series.name.as_str()).collect::<Vec<_>>(), ["head", "boot"]);
    assert!(matches!(found.clock, Clock::Stated { .. }));
    let imported = inputs(&found, &Choice::default()).expect("named as channels");
    let heads: Vec<u64> = imported
        .inputs
        .iter()
        .filter(|input| matches!(input.signal, Signal::Edge(Shaft::Head, _)))
        .map(|input| input.at.get())
        .collect();
    assert_eq!(heads[..3], [95_000, 190_000, 285_000], "950,000,000 times 100 ps are 95 ms");
    assert!(imported.remarks.iter().any(|remark| remark.contains("`x`")), "{:?}", imported.remarks);
    assert!(
        take(dump.replace("$timescale 100 ps $end\n", "").as_bytes(), &Choice::default())
            .expect_err("no unit")
            .contains("--time-unit")
    );
    assert!(refused(&dump.replace("#38000000000", "#5"), &Choice::default()).contains("goes back"));
}

/// A wide logger with times of day, semicolons and decimal commas.
#[test]
fn a_wide_logger_with_wall_clock_times() {
    let mut text = String::from("Zeit;time;Head prox;Boot prox;Motor\n").replace("Zeit;", "");
    for number in 0..400 {
        let millis = number * 25;
        let (second, fraction) = (millis / 1_000, millis % 1_000);
        text.push_str(&format!(
            "2026-03-02T06:45:{second:02},{fraction:03}+01:00;{};{};1\n",
            number / 5 % 2,
            (number + 2) / 5 % 2
        ));
    }
    let found = look("wide.csv", text.as_bytes()).expect("a sheet");
    assert!(guess(&found, &Choice::default()).contains("a guess, not taken"));
    assert_eq!(suggestion(&found), " --map 'head=Head prox,boot=Boot prox,drive=Motor'");
    assert!(inputs(&found, &Choice::default()).expect_err("nobody said").to_string().contains("--map"));
    let imported = inputs(&found, &choice("head=Head prox,boot=!Boot prox,drive=Motor")).expect("said");
    assert_eq!(imported.began_us, Some(1_772_430_300_000_000), "06:45 in a zone an hour east of UTC");
    let first = |wanted: Shaft| {
        imported.inputs.iter().find_map(|input| match input.signal {
            Signal::Edge(shaft, high) if shaft == wanted => Some((input.at.get(), high)),
            _ => None,
        })
    };
    assert_eq!((first(Shaft::Head), first(Shaft::Boot)), (Some((0, false)), Some((0, true))), "inverted");
    // The same without a zone knows no time of day.
    let local = text.replace("+01:00", "");
    let imported = take(local.as_bytes(), &choice("head=Head prox,boot=Boot prox")).expect("said");
    assert_eq!(imported.began_us, None);
    assert!(imported.remarks.iter().any(|remark| remark.contains("zone")));
}

/// A row a second of a level that changes five times a second is no record of edges.
#[test]
fn levels_sampled_too_slowly_are_refused() {
    let mut text = String::from("Time (s),head,boot\n");
    let mut chance = 3_u32;
    for number in 0..600 {
        chance = chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        text.push_str(&format!("{number},{},{}\n", chance >> 31, chance >> 30 & 1));
    }
    assert!(refused(&text, &Choice::default()).contains("lose edges"));
}

/// A historian's export: a row a value, tag by tag.
#[test]
fn a_historians_export_of_speeds_holds_no_edges() {
    let mut text = String::from("tag,timestamp,value\n");
    let checked = Settings::example().check().expect("sound");
    let rpm = |microturns: u32| f64::from(microturns) * 60.0 / 1e6;
    let (head, boot) = (rpm(checked.machine.normal_head.get()), rpm(checked.machine.normal_boot.get()));
    for (tag, speed) in [("LEG3.HEAD_RPM", head), ("LEG3.BOOT_RPM", boot)] {
        for second in 0..600 {
            // From the fifth to the sixth minute the belt slips by 15 %.
            let slips = tag.contains("BOOT") && (300..360).contains(&second);
            let speed = if slips { speed * 0.85 } else { speed };
            text.push_str(&format!(
                "{tag},2026-03-02 06:{:02}:{:02},{:.2}\n",
                second / 60,
                second % 60,
                speed + f64::from(second % 2) * 0.05
            ));
        }
    }
    let found = look("export.csv", text.as_bytes()).expect("a sheet");
    assert!(guess(&found, &Choice::default()).contains("This file holds no edges"));
    assert_eq!(suggestion(&found), " --map 'head_rpm=LEG3.HEAD_RPM,boot_rpm=LEG3.BOOT_RPM'");
    let chosen = choice("head_rpm=LEG3.HEAD_RPM,boot_rpm=LEG3.BOOT_RPM");
    assert!(inputs(&found, &chosen).expect_err("no edges").to_string().contains("no trace"));
    let told = speeds(&found, &chosen, &checked).expect("speeds");
    // A tenth of the time at 15 %; the ratio of the example's speeds is its no-slip ratio less its creep.
    let of_example = (1.0 - boot / head / (f64::from(checked.machine.ratio_in_force().get()) / 1e6)) * 100.0;
    let slip = told.mean_slip_pct.expect("both");
    assert!((slip - of_example - 1.5).abs() < 0.1, "{slip} against {of_example}");
    assert_eq!(told.slow.len(), 1, "{:?}", told.slow);
    assert!(
        (told.slow[0].0 - 300.0).abs() < 2.0
            && (told.slow[0].1 - 360.0).abs() < 2.0
            && (told.slow[0].2 - 0.85).abs() < 0.01
    );
    assert!(told.words().contains("The monitor was NOT run"));
    // As edges they are refused: they are no levels.
    assert!(inputs(&found, &choice("head=LEG3.HEAD_RPM")).expect_err("no level").to_string().contains("no level"));
}

#[test]
fn what_makes_no_sense_is_refused_with_its_place() {
    let map = choice("head=a,boot=b");
    let table = [
        ("", "is empty"),
        ("time_us,a,b\n0,0\n", "line 2"),
        ("time_us,a,b\n0,0,0\nx,1,1\n", "line 3"),
        ("time_us,a,b\n5,0,0\n3,1,1\n", "line 3"),
        ("time_us,a,b\n5,0,0\n5,1,1\n", "the same time"),
        ("time_us,a,b\n0,0,0\n100000,1,1\n200000,2,0\n300000,0,1\n", "no level"),
        ("time_us,a,c\n0,0,0\n100000,1,1\n", "has no `b`"),
        ("time_us,a,b\n0,0,0\n100000,0,1\n200000,0,0\n", "never changes"),
    ];
    for (text, wanted) in table {
        let said = refused(text, &map);
        assert!(said.contains(wanted), "{said}");
    }
    for (map, wanted) in
        [("hed=a", "no channel"), ("head", "write head=D0"), ("head=a,head=b", "twice"), ("command=a", "no channel")]
    {
        let said = Choice::read_map(map).expect_err("no map").to_string();
        assert!(said.contains(wanted), "{said}");
    }
    let rated = Choice { rate_hz: Some(100.0), ..map.clone() };
    assert!(refused("time_us,a,b\n0,0,0\n100000,1,1\n", &rated).contains("--rate has no place"));
}

/// Any text at all: an error or a find, never a panic; and what is found says what it is.
#[test]
fn any_text_is_borne() {
    use proptest::prelude::*;
    use proptest::test_runner::{Config, TestRunner};
    let line = prop_oneof![
        "[0-9,.;:T-]{0,20}",
        "(time|head|boot|x|\\$|#|META|;)[ ,;a-z0-9$]{0,20}",
        "\\PC{0,12}",
        Just("$timescale 1 ms $end".to_owned()),
        Just("$var wire 1 ! head $end".to_owned()),
        Just("$enddefinitions $end".to_owned()),
        "#[0-9]{1,6}",
        "[01xz]!",
    ];
    let lines = proptest::collection::vec(line, 0..30);
    let mut runner = TestRunner::new(Config { cases: 800, failure_persistence: None, ..Config::default() });
    runner
        .run(&lines, |lines| {
            if let Ok(found) = look("any", lines.join("\n").as_bytes()) {
                let choice = Choice::default();
                prop_assert!(guess(&found, &choice).starts_with("file"));
                let _ = (suggestion(&found), inputs(&found, &choice));
            }
            Ok(())
        })
        .expect("borne");
}
