//! The demo leg from trace to words: it trips, for the right reason, and everything that is said agrees.

use std::io::Cursor;

use slackside::conditions::Condition;
use slackside::diagnose::{Cause, Confidence, findings};
use slackside::input::{Input, Signal};
use slackside::retained::Retained;
use slackside::settings::{Checked, Settings};
use slackside::units::Micros;
use slackside::verdict::Verdict;
use slackside_desk::crew::{Alone, Crew};
use slackside_desk::demo;
use slackside_desk::findings::answer::Answer;
use slackside_desk::findings::cause::Cause as Named;
use slackside_desk::lines::WIDTH;
use slackside_desk::monitor::monitor;
use slackside_desk::replay::{EVENTS_HEADER, EventsCsv, Job, Outcome, SAMPLES_HEADER, SamplesCsv, replay, replay_from};
use slackside_desk::report::{bench, object, page, words};
use slackside_desk::trace::{HEADER, Reader, write_row};
use slackside_simulator::cores::Cores;

/// The causes that the report names, in the order in which to look.
fn named(outcome: &Outcome) -> Vec<Named> {
    let answer = Answer::to(&outcome.asked, &outcome.evidence.rubs);
    answer.findings.iter().map(|finding| finding.cause).collect()
}

fn example() -> Checked {
    Settings::example().check().expect("the example leg is sound")
}

fn job<'a>(bytes: Vec<u8>, name: &str, settings: &'a Checked) -> Job<'a> {
    let reader = Reader::from_read(name, Cursor::new(bytes)).expect("a trace");
    Job::new(reader, settings, "leg.toml")
}

fn run(bytes: Vec<u8>, settings: &Checked) -> Outcome {
    replay(job(bytes, "demo.csv", settings)).expect("a whole trace")
}

fn as_trace(inputs: &[Input]) -> Vec<u8> {
    let mut bytes = format!("{HEADER}\n").into_bytes();
    for input in inputs {
        write_row(input, &mut bytes);
    }
    bytes
}

/// The demo up to a time, with nothing of what came later.
fn demo_until(seconds: u64, settings: &Checked) -> Vec<u8> {
    let all = demo::inputs(settings);
    let kept: Vec<Input> = all.into_iter().filter(|input| input.at < Micros::new(seconds * 1_000_000)).collect();
    as_trace(&kept)
}

#[test]
fn the_demo_trips_because_the_lagging_is_gone() {
    let settings = example();
    let outcome = run(demo::trace(&settings), &settings);
    let first_out = outcome.first_outs.first().expect("the demo trips");
    assert_eq!(first_out.condition, Condition::DeepUnderspeed);
    assert_eq!(first_out.setpoint, settings.limits.of(Condition::DeepUnderspeed).setpoint);
    assert!(first_out.value.is_some_and(|value| value >= first_out.setpoint), "{first_out:?}");
    assert_eq!(outcome.run_dropped, Some(first_out.at));

    // The alarm at the lower setpoint came first and asked for the feed to stop.
    let (fed_until, why) = outcome.feed_dropped.expect("the feed permit is dropped");
    assert_eq!(why, Condition::SlipHigh);
    assert!(fed_until < first_out.at);

    // The code wants the leg stopped before the belt has lost 20 %.
    let belt =
        outcome.run_up.known_before(0, &settings.machine).and_then(|sample| sample.belt).expect("belt speed is known");
    assert!(belt.get() > settings.machine.normal_belt_speed().get() / 5 * 4, "{belt:?}");

    let list = findings(&outcome.evidence);
    let surest = list.first().expect("there are findings");
    assert_eq!((surest.cause, surest.confidence), (Cause::LaggingLost, Confidence::Strong));
    assert_eq!(named(&outcome).first(), Some(&Named::LaggingGone), "{:?}", named(&outcome));
    assert!(!outcome.status.run_permit && !outcome.status.feed_permit && outcome.status.boot_cleared_needed);
}

#[test]
fn the_run_up_rises_to_the_trip() {
    let settings = example();
    let outcome = run(demo::trace(&settings), &settings);
    let slip = |before_us: u64| {
        outcome
            .run_up
            .known_before(before_us, &settings.machine)
            .and_then(|sample| sample.slip_short.ppm())
            .expect("slip is known")
            .get()
    };
    let rising: Vec<i32> = [10_000_000, 5_000_000, 2_000_000, 1_000_000, 0].map(slip).to_vec();
    assert!(rising.is_sorted(), "{rising:?}");
    // The head runs on at its speed, 79.5 rpm: a moment between two edges must not look like a slow shaft.
    for before_us in (0..10_000_000).step_by(70_000) {
        let head = outcome.run_up.known_before(before_us, &settings.machine).and_then(|moment| moment.head);
        let rpm = f64::from(head.expect("head speed is known").get()) * 60.0 / 1e6;
        assert!((78.0..=81.0).contains(&rpm), "{before_us} us before: {rpm} rpm");
    }
    assert!(rising[0] < 60_000 && rising[4] >= 140_000, "{rising:?}");
}

#[test]
fn the_driver_gives_what_the_monitor_gives() {
    let settings = example();
    let inputs = demo::inputs(&settings);
    let mut monitor = monitor(&settings, &Retained::default());
    let mut expected: Vec<Verdict> = Vec::new();
    let last = inputs.last().expect("inputs").at;
    for input in inputs.iter().copied().chain([Input::new(last, Signal::Tick)]) {
        monitor.observe(input, &mut |verdict| expected.push(*verdict));
    }
    let outcome = run(as_trace(&inputs), &settings);
    assert!(expected.len() > 10);
    assert_eq!(outcome.verdicts, expected);
    assert_eq!(outcome.verdicts_in_all, expected.len() as u64);
    assert_eq!(outcome.status, monitor.status());
}

#[test]
fn the_files_have_their_columns_and_leave_the_unknown_empty() {
    let (mut samples, mut events) = (Vec::new(), Vec::new());
    let settings = example();
    let every = slackside::units::Span::ZERO;
    let mut job = job(demo::trace(&settings), "demo.csv", &settings);
    job.samples = Some(SamplesCsv::begin(&mut samples, every, &settings).expect("writable"));
    job.events = Some(EventsCsv::begin(&mut events, &settings.limits).expect("writable"));
    let outcome = replay(job).expect("a whole trace");

    let samples = String::from_utf8(samples).expect("text");
    let mut rows = samples.lines();
    let header = rows.next().expect("a header");
    assert_eq!(header, SAMPLES_HEADER);
    assert!(header.starts_with(
        "time_us,head_rpm,boot_rpm,belt_speed_mps,slip_short_pct,slip_long_pct,underspeed_pct,slip_heat_pct,\
         head_left_dwell_s,head_left_duty_pct,"
    ));
    let columns = header.split(',').count();
    let rows: Vec<Vec<&str>> = rows.map(|row| row.split(',').collect()).collect();
    assert!(rows.len() > 500);
    assert!(rows.iter().all(|row| row.len() == columns));
    // At the first edge nothing is known of speed and slip: empty, not zero.
    assert!(rows[0][1..7].iter().all(|cell| cell.is_empty()), "{:?}", rows[0]);
    // Head, boot and slip in the middle of the run, against what the demo's physics say by hand: the head at
    // 1.31 × (1 + 3 % × (1 − load / rated)) turns a second, slip 3.8 % of lost lagging plus creep below 0.6 %.
    let middle = rows.iter().find(|row| row[0].parse::<u64>().is_ok_and(|time| time > 38_000_000)).expect("a middle");
    let number = |column: usize| middle[column].parse::<f64>().expect("a number");
    assert!((78.6..=81.0).contains(&number(1)), "{middle:?}");
    assert!((3.8..=4.4).contains(&number(5)), "{middle:?}");
    assert!((number(3) - number(2) / 60.0 * 1.910_088).abs() < 1e-3, "{middle:?}");

    let events = String::from_utf8(events).expect("text");
    assert_eq!(events.lines().next(), Some(EVENTS_HEADER));
    assert_eq!(EVENTS_HEADER, "time_us,condition,change,value,setpoint,action");
    assert_eq!(events.lines().count() as u64, outcome.verdicts_in_all + 1);
    assert!(events.lines().all(|row| row.split(',').count() == 6));
    let trip = outcome.first_outs[0].at.get();
    assert!(events.contains(&format!("{trip},deep_underspeed,first_out,,,\n")));
    assert!(
        events
            .lines()
            .any(|row| row.starts_with(&format!("{trip},deep_underspeed,unacknowledged,")) && row.ends_with(",14,stop"))
    );
}

#[test]
fn whether_one_or_two_do_the_work_changes_nothing() {
    fn told(bytes: &[u8], settings: &Checked, crew: &impl Crew) -> (String, Vec<u8>, Vec<u8>) {
        let (mut samples, mut events) = (Vec::new(), Vec::new());
        let mut job = job(bytes.to_vec(), "demo.csv", settings);
        job.samples = Some(SamplesCsv::begin(&mut samples, slackside::units::Span::ZERO, settings).expect("writable"));
        job.events = Some(EventsCsv::begin(&mut events, &settings.limits).expect("writable"));
        let outcome = replay_from(job, monitor(settings, &Retained::default()), crew).expect("a whole trace");
        (format!("{outcome:?}"), samples, events)
    }
    let settings = example();
    for bytes in [demo::trace(&settings), demo_with_a_hole(45, 1_200_000_000, &settings), demo_until(30, &settings)] {
        assert!(told(&bytes, &settings, &Alone) == told(&bytes, &settings, &Cores));
    }
}

#[test]
fn samples_can_be_thinned() {
    let mut text = Vec::new();
    let settings = example();
    let mut job = job(demo::trace(&settings), "demo.csv", &settings);
    let second = slackside::units::Span::from_millis(1_000);
    job.samples = Some(SamplesCsv::begin(&mut text, second, &settings).expect("writable"));
    replay(job).expect("a whole trace");
    let text = String::from_utf8(text).expect("text");
    let times: Vec<u64> = text.lines().skip(1).filter_map(|row| row.split(',').next()?.parse().ok()).collect();
    assert!(times.len() > 60);
    assert!(times.windows(2).all(|pair| pair[1] - pair[0] >= 1_000_000));
}

#[test]
fn the_words_fit_and_say_what_matters() {
    let settings = example();
    let outcome = run(demo::trace(&settings), &settings);
    let text = words(&outcome, &demo::STORY);
    for line in text.lines() {
        assert!(line.chars().count() <= WIDTH, "{} columns: {line}", line.chars().count());
    }
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for said in [
        "STOPPED: Belt far too slow at",
        "setpoint 14.0 %",
        "10 s before",
        "Feed permit dropped: slip high",
        "lost its lagging",
        "What was not known",
        "not supervised",
        "Lock out and tag out",
        "What came after it is not known",
    ] {
        assert!(flat.contains(said), "`{said}` is not said:\n{text}");
    }
}

#[test]
fn where_nothing_tripped_nobody_is_told_that_all_is_well() {
    let settings = example();
    let outcome = run(demo_until(60, &settings), &settings);
    assert!(outcome.first_outs.is_empty());
    let text = words(&outcome, &[]);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("Nothing tripped in"), "{text}");
    assert!(flat.contains("does not mean that the leg is sound"), "{text}");
    assert!(flat.contains("Largest slip over four boot turns"), "{text}");
    assert!(!flat.contains("healthy"), "{text}");
    assert!(page(&outcome, &[]).contains("Nothing tripped"));
}

#[test]
fn with_the_boot_alone_every_output_says_that_slip_is_not_seen() {
    let mut settings = Settings::example();
    settings.machine.head_targets = None;
    settings.machine.accepted_ratio = None;
    let settings = settings.check().unwrap_or_else(|violations| panic!("{violations:?}"));
    let inputs: Vec<Input> = demo::inputs(&example())
        .into_iter()
        .filter(|input| !matches!(input.signal, Signal::Edge(slackside::input::Shaft::Head, _)))
        .collect();
    let outcome = run(as_trace(&inputs), &settings);
    let flat = words(&outcome, &[]).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("no head sensor, so slip was not watched"), "{flat}");
    assert!(page(&outcome, &[]).contains("no head sensor"));
    assert_eq!(object(&outcome)["slip_watched"], serde_json::Value::Bool(false));
    assert!(outcome.peak_short.is_none() && outcome.peak_long.is_none());
}

/// The demo with the boot sensor's wire cut at 50 s, in full speed; the motor does not obey in this trace.
#[test]
fn a_cut_wire_is_named_as_one_and_a_motor_that_runs_on_too() {
    let settings = example();
    let cut = |input: &Input| {
        matches!(input.signal, Signal::Edge(slackside::input::Shaft::Boot, _)) && input.at > Micros::new(50_000_000)
    };
    let inputs: Vec<Input> = demo::inputs(&settings).into_iter().filter(|input| !cut(input)).collect();
    let outcome = run(as_trace(&inputs), &settings);
    let first_out = outcome.first_outs.first().expect("silence trips");
    // 14 % of loss is proven 1/0.86 pitches after the last edge, and must last half a second.
    let trip = first_out.at.get();
    assert!((50_500_000..51_000_000).contains(&trip), "{first_out:?}");
    let surest = findings(&outcome.evidence).first().map(|finding| (finding.cause, finding.confidence));
    assert_eq!(surest, Some((Cause::SensorLost(slackside::input::Shaft::Boot), Confidence::Strong)));
    let named = named(&outcome);
    let lost = named.iter().position(|cause| *cause == Named::BootSensorLost).expect("the lost sensor is named");
    assert!(named.iter().position(|cause| *cause == Named::BeltParted).is_none_or(|parted| parted < lost), "{named:?}");
    assert!(outcome.ran_on_us.is_some_and(|ran_on| ran_on > 30_000_000));
    let flat = words(&outcome, &[]).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("did not obey the run permit"), "{flat}");
    // The demo's own motor does obey.
    let obeyed = run(demo::trace(&settings), &settings);
    assert!(obeyed.ran_on_us.is_some_and(|ran_on| ran_on < 120_000), "{:?}", obeyed.ran_on_us);
}

#[test]
fn the_page_needs_nothing_else_and_takes_nothing_from_files_as_markup() {
    let mut settings = Settings::example();
    settings.machine.leg.clear();
    settings.machine.leg.push_str("<img src=x> & \"leg\"").expect("short enough");
    let settings = settings.check().unwrap_or_else(|violations| panic!("{violations:?}"));
    let trace = demo::trace(&example());
    let outcome = replay(job(trace, "<script>alert(1)</script>.csv", &settings)).expect("a whole trace");
    let html = page(&outcome, &[]);
    // What the script is made of lies in elements of its own, of which nothing from a file can be the end.
    let mut markup = String::new();
    for (index, part) in html.split("<script").enumerate() {
        let (inside, after) =
            if index == 0 { ("", part) } else { part.split_once("</script>").expect("a script ends") };
        assert!(
            !inside.contains("alert(1)</script") && !after.contains("</script"),
            "a script that is not the page's own"
        );
        markup.push_str(after);
    }
    for outside in ["http:", "https:", "//cdn", "<img", "<link", "@import", "url(", "src="] {
        let found = markup.match_indices(outside).any(|(at, _)| !markup[..at].ends_with("&lt;img "));
        assert!(!found, "`{outside}` is in the page");
    }
    assert!(html.contains("&lt;img src=x&gt; &amp; &quot;leg&quot;"));
    assert!(html.contains("&lt;script&gt;"));
    // Every element that is opened is closed.
    for element in ["div", "section", "table", "svg", "ul", "ol", "p", "span", "tr", "td", "th", "main", "header"] {
        let opened = markup.matches(&format!("<{element}>")).count() + markup.matches(&format!("<{element} ")).count();
        assert_eq!(opened, markup.matches(&format!("</{element}>")).count(), "{element}");
    }
}

#[test]
fn the_object_is_stable_and_says_the_same() {
    let settings = example();
    let outcome = run(demo::trace(&settings), &settings);
    let object = object(&outcome);
    assert_eq!(object["first_outs"][0]["condition"], "deep_underspeed");
    assert_eq!(object["first_outs"][0]["time_us"], outcome.first_outs[0].at.get());
    assert_eq!(object["first_outs"][0]["setpoint_pct"], 14.0);
    assert_eq!(object["end"]["run_permit"], false);
    let keys: Vec<&String> = object.as_object().expect("an object").keys().collect();
    assert_eq!(keys[..4], ["format", "format_version", "core_version", "leg"]);
    let again = object_text(&run(demo::trace(&settings), &settings));
    assert_eq!(again, object_text(&outcome));
}

fn object_text(outcome: &Outcome) -> String {
    object(outcome).to_string()
}

#[test]
fn what_happens_after_the_last_row_is_left_open() {
    // Cut the trace in mid-run: the boot's silence after the last row must not be judged.
    let settings = example();
    let outcome = run(demo_until(50, &settings), &settings);
    assert!(outcome.first_outs.is_empty());
    assert!(outcome.last() < Micros::new(50_000_000));
    assert!(outcome.verdicts.iter().all(|verdict| verdict.at <= outcome.last()));
}

/// The drive contact's wire is cut, so that a leg that starts looks like one that rolls back: whatever it is, it turns.
#[test]
fn a_leg_that_turns_is_never_called_at_standstill() {
    let settings = example();
    let inputs: Vec<Input> = demo::inputs(&settings)
        .into_iter()
        .filter(|input| input.at < Micros::new(20_000_000))
        .map(|input| match input.signal {
            Signal::DriveRunning(_) => Input::new(input.at, Signal::DriveRunning(false)),
            _ => input,
        })
        .collect();
    let outcome = run(as_trace(&inputs), &settings);
    let first_out = outcome.first_outs.first().expect("it turns with the drive off");
    // Which of the two comes first is a matter of how the leg starts.
    assert!(matches!(first_out.condition, Condition::Rollback | Condition::EdgesAtRest), "{first_out:?}");
    let flat = words(&outcome, &[]).split_whitespace().collect::<Vec<_>>().join(" ");
    let end =
        flat.split("At the end of the trace:").nth(1).expect("the permits").split('.').next().expect("a sentence");
    assert!(!end.contains("proven at standstill"), "{end}");
    assert!(flat.contains("whether the motor runs"), "{flat}");
}

/// A trip that was reset though nobody looked into the boot: no first-out is left, and still the leg may not start.
#[test]
fn a_boot_not_reported_clear_is_said_after_the_reset_too() {
    use slackside::input::{Command, Origin};
    let settings = example();
    let mut inputs = demo::inputs(&settings);
    let end = inputs.last().expect("inputs").at.get();
    for (after, command) in [(1_000_000, Command::Acknowledge), (2_000_000, Command::Reset)] {
        inputs.push(Input::new(Micros::new(end + after), Signal::Command(Origin::Leg, command)));
    }
    let outcome = run(as_trace(&inputs), &settings);
    assert_eq!((outcome.status.first_out, outcome.status.boot_cleared_needed), (None, true));
    let flat = words(&outcome, &[]).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("look into the boot, clear it and report it clear"), "{flat}");
}

/// The recorded stop is the edge of what a recording knows: whatever limit is turned, nothing is told of later.
#[test]
fn a_what_if_never_tells_what_the_recording_cannot_know() {
    let settings = example();
    let outcome = run(demo::trace(&settings), &settings);
    let stopped = outcome.run_dropped.expect("the demo trips").get();
    let kept = bench::recording(&outcome).expect("it was kept");
    let mut bench = bench::Bench::of(&kept).expect("it opens");
    assert_eq!(bench.told()["caution"], bench::CAUTION);
    let (mut sooner, mut not_by, mut refused) = (0, 0, 0);
    for knob in bench.knobs().into_iter().take(8) {
        let recorded = knob.get(&settings).expect("it is set");
        for percent in [50, 80, 100, 110, 120, 200] {
            let said = bench.turn(knob, recorded * percent / 100, true);
            if said["refused"].is_array() {
                refused += 1;
                continue;
            }
            let words = said["says"][0].as_str().expect("words");
            match said["stop_us"].as_u64() {
                Some(stop) if stop < stopped => {
                    assert!(words.contains("sooner") && words.contains("belongs to a leg that ran on"), "{words}");
                    sooner += 1;
                }
                Some(stop) => assert!(stop == stopped && words.contains("at the same moment, 88.367 s"), "{words}"),
                None => {
                    assert!(words.starts_with("Not by 88.367 s; after that the leg was being stopped."), "{words}");
                    not_by += 1;
                }
            }
            if percent == 100 {
                assert_eq!(said["stop_us"], stopped, "{words}");
            }
        }
    }
    assert!(sooner > 2 && not_by > 0 && refused > 0, "{sooner} {not_by} {refused}");
}

/// The demo with everything from `from_s` on so much later.
fn demo_with_a_hole(from_s: u64, longer: u64, settings: &Checked) -> Vec<u8> {
    let mut inputs = demo::inputs(settings);
    for input in inputs.iter_mut().filter(|input| input.at >= Micros::new(from_s * 1_000_000)) {
        input.at = Micros::new(input.at.get() + longer);
    }
    as_trace(&inputs)
}

#[test]
fn slip_that_nothing_tells_anew_is_not_counted_as_known() {
    let settings = example();
    let whole = run(demo::trace(&settings), &settings);
    assert!(whole.cautions.is_empty(), "{:?}", whole.cautions);
    let holed = run(demo_with_a_hole(46, 1_200_000_000, &settings), &settings);
    // Both shafts fell silent with the drive on: judged as running all the while.
    assert!(holed.running_us > 1_200_000_000, "{}", holed.running_us);
    assert!(holed.slip_known_us < whole.slip_known_us + 2_000_000, "{} {}", holed.slip_known_us, whole.slip_known_us);
    assert!(holed.cautions.is_empty(), "a leg may stand for twenty minutes: {:?}", holed.cautions);
}

/// The first edge behind a hole finds what was before it; where that is one of the boot nothing has begun anew yet.
#[test]
fn no_row_of_samples_in_a_hole_tells_slip() {
    let settings = example();
    let mut boot_first = 0;
    for from_s in 43..47 {
        let mut text = Vec::new();
        let mut job = job(demo_with_a_hole(from_s, 1_200_000_000, &settings), "demo.csv", &settings);
        job.samples = Some(SamplesCsv::begin(&mut text, slackside::units::Span::ZERO, &settings).expect("writable"));
        replay(job).expect("a whole trace");
        let text = String::from_utf8(text).expect("text");
        let rows: Vec<Vec<&str>> = text.lines().skip(1).map(|row| row.split(',').collect()).collect();
        let time = |row: &[&str]| row[0].parse::<u64>().expect("a number");
        let hole = rows.windows(2).position(|pair| time(&pair[1]) - time(&pair[0]) > 1_000_000_000).expect("a hole");
        let (before, first) = (&rows[hole], &rows[hole + 1]);
        assert!(!before[4].is_empty() && !before[5].is_empty(), "{before:?}");
        for row in rows[hole + 1..].iter().take_while(|row| time(row) < time(first) + 500_000) {
            assert!([4, 5, 16, 17].iter().all(|column| row[*column].is_empty()), "{row:?}");
        }
        boot_first += u32::from(!first[1].is_empty());
    }
    assert!(boot_first > 0, "each hole ends with an edge of the head");
}

#[test]
fn a_clock_that_was_set_in_the_middle_of_a_trace_is_told_before_anything_else() {
    let settings = example();
    // From 1970 to 2026-03-02: a logger that got its time over the network.
    let outcome = run(demo_with_a_hole(46, 1_772_433_900_000_000, &settings), &settings);
    let told = words(&outcome, &[]);
    assert!(told.starts_with("WARNING: Line 8") && told.contains("comes 20514 days after the row before it"), "{told}");
}

#[test]
fn what_has_no_row_does_not_read_as_watched() {
    let settings = example();
    let inputs = demo::inputs(&settings);
    let without = |place: Option<slackside::input::Place>| {
        let kept =
            |input: &&Input| !matches!(input.signal, Signal::Contact(at, _) if place.is_none_or(|place| at == place));
        words(&run(as_trace(&inputs.iter().filter(kept).copied().collect::<Vec<_>>()), &settings), &[])
            .replace("\n    ", " ")
    };
    assert!(without(None).contains("4 rub contacts (no row in this trace)"));
    let one = without(Some(slackside::input::Place::BootLeft));
    assert!(one.contains("4 rub contacts (no row of 1 in this trace)"), "{one}");
    assert!(words(&run(demo::trace(&settings), &settings), &[]).contains("4 rub contacts."));
}

#[test]
fn a_long_trace_shows_its_drive_contact_from_the_first_row_on() {
    const REST_US: u64 = 60_000_000;
    let settings = example();
    // The leg stands at first, with so many ticks that the report keeps every row of what came later only.
    let drive_off = Input::new(Micros::new(0), Signal::DriveRunning(false));
    let rest = (1..REST_US / 1_000).map(|tick| Input::new(Micros::new(tick * 1_000), Signal::Tick));
    let demo =
        demo::inputs(&settings).into_iter().map(|input| Input { at: Micros::new(input.at.get() + REST_US), ..input });
    let long: Vec<Input> = [drive_off].into_iter().chain(rest).chain(demo).collect();
    let outcome = run(as_trace(&long), &settings);
    assert!(outcome.window.rows_before > 0 && !outcome.first_outs.is_empty(), "the trace is a long one");
    let columns = slackside_desk::replay::Columns::of(&outcome);
    let drawn = columns.get(slackside_desk::replay::What::Drive).expect("it is fitted");
    assert!(columns.from > 10_000_000, "{}", columns.from);
    assert_eq!(drawn.at(1_000_000), Some((0, 0)), "off, before the window too");
    let changes: Vec<bool> = outcome.drive.changes().map(|(_, on)| on).collect();
    assert_eq!(changes, [false, true, false], "the motor obeys the run permit");
    let page = page(&outcome, &[]);
    assert!(!page.contains("not known here"), "the drive contact was known all the time");
    assert!(page.contains("The trip, moment by moment"));
    let quiet = run(demo_until(40, &settings), &settings);
    let quiet = slackside_desk::report::page(&quiet, &[]);
    assert!(quiet.contains("The trace, moment by moment"), "nothing tripped in it");
}
