//! Scenarios and the traces they give.

use std::path::{Path, PathBuf};

use slackside::conditions::{Action, Condition};
use slackside::input::{Input, Shaft, Signal};
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::run::{Obeys, Permits, Summary, Watch, run};
use slackside_desk::scenario::score::{Class, How, checked, score};
use slackside_desk::scenario::settings::Commissioned;
use slackside_desk::scenario::truth::Row;
use slackside_simulator::disk::Disk;

struct Kept {
    inputs: Vec<Input>,
    rows: Vec<Row>,
}

impl Watch for Kept {
    fn input(&mut self, input: &Input) -> std::io::Result<()> {
        self.inputs.push(*input);
        Ok(())
    }

    fn truth(&mut self, row: &Row) -> std::io::Result<()> {
        self.rows.push(row.clone());
        Ok(())
    }

    fn permits(&mut self, _now_us: u64) -> Permits {
        Permits { run: true, feed: true }
    }
}

fn directory() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../scenarios")
}

fn parse(text: &str) -> Result<Scenario, String> {
    Scenario::parse(text, Path::new("test.toml")).map_err(|error| error.to_string())
}

fn go(scenario: &Scenario, seed: u64) -> (Kept, Summary) {
    let commissioned = Commissioned::measure(&scenario.leg);
    let mut kept = Kept { inputs: Vec::new(), rows: Vec::new() };
    let summary = run(scenario, &commissioned, seed, Obeys::Nothing, &mut kept).expect("nothing is written");
    (kept, summary)
}

struct Nobody;

impl Watch for Nobody {
    fn input(&mut self, _: &Input) -> std::io::Result<()> {
        Ok(())
    }

    fn truth(&mut self, _: &Row) -> std::io::Result<()> {
        Ok(())
    }

    fn permits(&mut self, _: u64) -> Permits {
        Permits { run: true, feed: true }
    }
}

fn summary_of(scenario: &Scenario) -> Summary {
    let commissioned = Commissioned::measure(&scenario.leg);
    run(scenario, &commissioned, scenario.seed, Obeys::Nothing, &mut Nobody).expect("nothing is written")
}

const PLAIN: &str = r#"
description = "A short run."
leg = "millbrook-leg-3"
duration_s = 40.0
label = { wrong = "", stop = false }
timeline = [{ at_s = 2.0, press = "start" }, { at_s = 12.0, feed_pct = 80.0 }]
"#;

/// Every scenario of the directory is sound, says what it is about, and ends as its author means: a stop called for or not.
/// Work and heat are found again in every one of them.
#[test]
fn every_scenario_ends_as_its_label_says() {
    let mut scenarios: Vec<Scenario> = std::fs::read_dir(directory())
        .expect("the scenarios")
        .map(|entry| Scenario::read(&Disk, &entry.expect("an entry").path()).unwrap_or_else(|error| panic!("{error}")))
        .collect();
    assert!(scenarios.len() >= 45, "{}", scenarios.len());
    // The longest first, so that no thread is left with one at the end.
    scenarios.sort_by(|one, other| other.duration_s.total_cmp(&one.duration_s));
    let next = std::sync::atomic::AtomicUsize::new(0);
    let wrong = std::sync::Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, usize::from) {
            scope.spawn(|| {
                while let Some(scenario) = scenarios.get(next.fetch_add(1, std::sync::atomic::Ordering::Relaxed)) {
                    let tell = |words: String| wrong.lock().expect("sound").push(format!("{}: {words}", scenario.name));
                    if scenario.description.len() <= 30 || !scenario.description.ends_with('.') {
                        tell("says too little of itself".to_owned());
                    }
                    let summary = summary_of(scenario);
                    if summary.call.is_some() != scenario.label.stop {
                        tell(format!("label says stop = {}, the plant {:?}", scenario.label.stop, summary.call));
                    }
                    for (what, [missing, whole], within) in
                        [("work", summary.energy, 2e-3), ("heat", summary.heat, 1e-9)]
                    {
                        if missing.abs() > within * whole {
                            tell(format!("{missing} J of {whole} J of {what} are not accounted for"));
                        }
                    }
                }
            });
        }
    });
    let wrong = wrong.into_inner().expect("sound");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A trace ends with a tick: what was silent to the end was silent until then.
#[test]
fn a_trace_ends_with_a_tick_at_the_end_of_the_run() {
    let (kept, _) = go(&parse(PLAIN).expect("sound"), 1);
    let last = kept.inputs.last().expect("inputs");
    assert_eq!((last.at.get(), last.signal), (40_000_000, Signal::Tick));
}

/// The same seed gives the same trace on any machine: a checksum over every input of a run with noise, bounce and rubbing.
/// To bless a wanted change: put the new number here and say why in the commit.
#[test]
fn the_same_seed_gives_the_same_trace_everywhere() {
    let text = format!(
        "{PLAIN}{}",
        r#"
[[fault]]
kind = "sensor_noise"
from_s = 5.0
severity = 0.3
shaft = "boot"

[[fault]]
kind = "sensor_bounce"
from_s = 5.0
severity = 0.3
shaft = "head"

[[fault]]
kind = "head_out_of_level"
from_s = 5.0
severity = 1.0
side = "right"

[[fault]]
kind = "slippery_feed"
from_s = 15.0
severity = 0.9
ramp_s = 10.0
"#
    );
    let scenario = parse(&text).expect("sound");
    let sum = |seed| {
        let digest = crc::Crc::<u64>::new(&crc::CRC_64_XZ);
        let mut digest = digest.digest();
        let (kept, _) = go(&scenario, seed);
        for input in &kept.inputs {
            digest.update(&postcard::to_allocvec(&input.at.get()).expect("a number"));
            digest.update(&postcard::to_allocvec(&input.signal).expect("a signal"));
        }
        (kept.inputs.len(), digest.finalize())
    };
    let one = sum(7);
    assert_eq!(one, sum(7));
    assert_ne!(one, sum(8));
    assert_eq!(one, GOLDEN);
}

const GOLDEN: (usize, u64) = (3_556, 6_844_496_213_227_879_563);

/// Rows come in order of time, levels alternate, and edges carry real microseconds, not multiples of the step.
#[test]
fn edges_are_in_order_and_not_on_the_grid_of_the_step() {
    let (kept, _) = go(&parse(PLAIN).expect("sound"), 1);
    assert!(kept.inputs.windows(2).all(|pair| pair[0].at <= pair[1].at));
    for shaft in [Shaft::Head, Shaft::Boot] {
        let edges: Vec<(u64, bool)> = kept
            .inputs
            .iter()
            .filter_map(|input| match input.signal {
                Signal::Edge(which, level) if which == shaft => Some((input.at.get(), level)),
                _ => None,
            })
            .collect();
        assert!(edges.len() > 350, "{}", edges.len());
        assert!(edges.windows(2).all(|pair| pair[0].1 != pair[1].1));
        // On the grid of 2 ms would be all of them; by chance one in 2,000.
        let on_grid = edges.iter().filter(|(at, _)| at % 2_000 == 0).count();
        assert!(on_grid < 6, "{on_grid} of {}", edges.len());
    }
}

/// The speed that whole turns of edges tell is the plant's, within jitter: 0.01 % over ten turns.
#[test]
fn edges_tell_the_true_speed() {
    let (kept, _) = go(&parse(PLAIN).expect("sound"), 1);
    let rises: Vec<u64> = kept
        .inputs
        .iter()
        .filter(|input| input.signal == Signal::Edge(Shaft::Boot, true))
        .map(|input| input.at.get())
        .filter(|at| *at > 25_000_000)
        .collect();
    let (first, last) = (rises[0], rises[40]);
    let told = 10.0 * 60.0 / ((last - first) as f64 * 1e-6);
    let rows: Vec<f64> =
        kept.rows.iter().filter(|row| (first..=last).contains(&row.time_us)).map(|row| row.truth.boot_rpm).collect();
    let mean = rows.iter().sum::<f64>() / rows.len() as f64;
    // Truth is sampled ten times a second and the speed moves by some 0.1 %: the mean of the samples is good to 0.02 %.
    assert!((told / mean - 1.0).abs() < 3e-4, "{told} against {mean}");
}

/// What a person may get wrong, and that the message says file, line, field and how to mend it.
#[test]
fn bad_scenarios_are_told_by_line() {
    let cases = [
        (
            "mass_kg_per_m = -3.0",
            "[leg_changes.belt]\nmass_kg_per_m = -3.0\n",
            "test.toml:9:1: leg_changes.belt.mass_kg_per_m: is -3, expected a number above 0",
        ),
        ("unknown key", "[leg_changes.belt]\nwieght = 3.0\n", "unknown field `wieght`"),
        (
            "severity",
            "[[fault]]\nkind = \"lagging_worn\"\nfrom_s = 1.0\nseverity = 3.0\n",
            "test.toml:11:1: fault.0.severity: is 3, expected 0 to 1",
        ),
        (
            "no shaft",
            "[[fault]]\nkind = \"sensor_cut\"\nfrom_s = 1.0\nseverity = 1.0\n",
            "needs shaft = \"head\" or \"boot\"",
        ),
        (
            "no such fault",
            "[[fault]]\nkind = \"gremlins\"\nfrom_s = 1.0\nseverity = 1.0\n",
            "unknown variant `gremlins`",
        ),
        (
            "over before it begins",
            "[[fault]]\nkind = \"lagging_worn\"\nfrom_s = 3.0\nuntil_s = 2.0\nseverity = 1.0\n",
            "fault.0.until_s: is 2, expected more than from_s, 3",
        ),
        (
            "after the end",
            "[[fault]]\nkind = \"lagging_worn\"\nfrom_s = 3000.0\nseverity = 1.0\n",
            "fault.0.from_s: is 3000, after the end: the scenario lasts 40 s",
        ),
        ("no such key", "[labels]\n", "unknown field `labels`"),
    ];
    for (name, more, expected) in cases {
        let error = parse(&format!("{PLAIN}\n{more}")).expect_err(name);
        assert!(error.contains(expected), "{name}: {error}");
        assert!(error.starts_with("test.toml:"), "{name}: {error}");
    }
    let error = parse(&PLAIN.replace("millbrook-leg-3", "nowhere-leg")).expect_err("no such leg");
    assert!(error.contains("test.toml:3:1: leg: no leg is called \"nowhere-leg\""), "{error}");
    let error = parse(&PLAIN.replace("at_s = 12.0", "at_s = 120.0")).expect_err("done after the end");
    assert!(error.contains("timeline.1.at_s: is 120, after the end: the scenario lasts 40 s"), "{error}");
    assert!(parse(&PLAIN.replace("40.0", "-40.0")).is_err());
}

/// Sensor faults do to the edges what they are called.
#[test]
fn sensor_faults_show_on_the_wire() {
    let boot_edges = |kind: &str, severity: f64| {
        let fault =
            format!("[[fault]]\nkind = \"{kind}\"\nfrom_s = 20.0\nseverity = {severity:.2}\nshaft = \"boot\"\n");
        let (kept, _) = go(&parse(&format!("{PLAIN}\n{fault}")).expect("sound"), 1);
        kept.inputs
            .iter()
            .filter(|input| input.at.get() > 20_100_000 && matches!(input.signal, Signal::Edge(Shaft::Boot, _)))
            .count()
    };
    let sound = boot_edges("sensor_jitter", 0.0);
    // 19.9 s at 1.37 turns a second and eight edges a turn.
    assert!((210..=225).contains(&sound), "{sound}");
    assert_eq!(boot_edges("sensor_cut", 1.0), 0);
    assert_eq!(boot_edges("sensor_stuck_high", 1.0), 0);
    let hum = boot_edges("sensor_cut_humming", 0.3);
    assert!((1_985..=1_995).contains(&hum), "50 Hz is 100 edges a second: {hum}");
    let missing = boot_edges("target_missing", 1.0);
    assert!((sound * 3 / 4).abs_diff(missing) <= 2, "{missing} of {sound}");
    assert!(boot_edges("sensor_noise", 1.0) > 2 * sound);
    let dropped = boot_edges("sensor_dropout", 0.5);
    assert!(dropped > sound / 4 && dropped < sound * 3 / 4, "{dropped} of {sound}");
}

/// The book lists every kind of fault: the reader names them all when it meets an unknown one.
#[test]
fn the_book_lists_every_fault() {
    let error = parse(&format!("{PLAIN}\n[[fault]]\nkind = \"gremlins\"\nfrom_s = 1.0\nseverity = 1.0\n"))
        .expect_err("unknown");
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("../docs/src/engineer/plant-scenarios.md");
    let page = std::fs::read_to_string(page).expect("the page");
    let kinds: Vec<&str> = error.split('`').skip(3).step_by(2).collect();
    assert!(kinds.len() > 40, "{error}");
    for kind in kinds {
        assert!(page.contains(&format!("| `{kind}`")), "{kind} is not in the book");
    }
}

/// A target that works loose does no harm to slip over whole turns, but it will fall off one day: the monitor says so.
#[test]
fn a_target_that_works_loose_is_told_and_stops_nothing() {
    let scenario = Scenario::read(&Disk, &directory().join("head-target-loose.toml")).expect("sound");
    let commissioned = Commissioned::measure(&scenario.leg);
    let settings = checked(&scenario.leg, &commissioned).expect("sound");
    let how = How { obeys: Obeys::Permits, healthy: false };
    let scored = score(&scenario, &commissioned, &settings, 1, how).expect("a run");
    assert_eq!(scored.class, Class::Quiet);
    assert_eq!(scored.raised[Condition::HeadTargets.rank()], 1);
    assert_eq!(scored.raised.iter().sum::<u32>(), 1);
}

/// The page of scores says so: the temperature of the casing stops a hot rub too late, whatever the belt's edge has heated by
/// then; a stop for a rub of a minute comes in time.
#[test]
fn a_stop_for_a_rub_of_a_minute_comes_before_the_face_is_hot() {
    let scenario = Scenario::read(&Disk, &directory().join("side-rub-getting-hot.toml")).expect("sound");
    let commissioned = Commissioned::measure(&scenario.leg);
    let starting = checked(&scenario.leg, &commissioned).expect("sound");
    let mut settings = starting.clone().into_settings();
    settings.limits.change(Condition::MistrackingSustained, |limit| {
        (limit.setpoint, limit.action, limit.latching) = (60_000, Action::Stop, true);
    });
    let stopping = settings.check().expect("sound");
    let scored = |settings| score(&scenario, &commissioned, settings, 1, How::default()).expect("a run");
    let (late, early) = (scored(&starting), scored(&stopping));
    assert_eq!(late.class, Class::Late);
    assert!(late.after_due_s().is_some_and(|s| s > 60.0), "{:?}", late.after_due_s());
    assert!(
        late.told.is_some_and(|(at, _)| at + 60_000_000 < late.call.expect("called for").from_us),
        "told long before"
    );
    assert_eq!((early.class, early.stop.and_then(|(_, by)| by)), (Class::Early, Some(Condition::MistrackingSustained)));
}

/// A parted belt is called for at once and due when the boot shaft shows it; both ways of parting stop in time, and the time from
/// the call itself is a second or so.
#[test]
fn a_parted_belt_stops_when_the_boot_shaft_shows_it() {
    for name in ["belt-parted", "belt-parted-clear"] {
        let scenario = Scenario::read(&Disk, &directory().join(format!("{name}.toml"))).expect("sound");
        let commissioned = Commissioned::measure(&scenario.leg);
        let settings = checked(&scenario.leg, &commissioned).expect("sound");
        let scored = score(&scenario, &commissioned, &settings, 1, How::default()).expect("a run");
        let call = scored.call.expect("called for");
        assert!(call.from_us < 120_100_000, "{name}: {call:?}");
        assert_eq!(scored.class, Class::InTime, "{name}: {:?} s from due", scored.after_due_s());
        assert!(scored.after_call_s().is_some_and(|s| s < 1.5), "{name}: {:?} s", scored.after_call_s());
    }
}

/// What is scored has its feeder interlocked, so that no feed heaps up in a leg that stands; without that this one, started a minute
/// after its feed, would be choked before it turns.
#[test]
fn no_run_of_the_score_feeds_a_leg_that_stands() {
    let timeline = "timeline = [{ at_s = 2.0, feed_pct = 90.0 }, { at_s = 60.0, press = \"start\" }]";
    let text = format!(
        "description = \"Fed too soon.\"\nleg = \"millbrook-leg-3\"\nduration_s = 120.0\nobey_permits = false\n\
         label = {{ wrong = \"\", stop = false }}\n{timeline}\n"
    );
    let scenario = parse(&text).expect("sound");
    let commissioned = Commissioned::measure(&scenario.leg);
    let settings = checked(&scenario.leg, &commissioned).expect("sound");
    let stop = |how| score(&scenario, &commissioned, &settings, 1, how).expect("a run").stop;
    assert_eq!(stop(How::default()), None);
    assert_eq!(stop(How { obeys: scenario.obeys(), healthy: false }), None);
    assert!(stop(How { obeys: Obeys::Nothing, healthy: false }).is_some());
}

fn stopped_at_30_s() -> String {
    PLAIN.replace(" }]", " }, { at_s = 30.0, press = \"stop\" }]")
}

/// A splice lets go of a belt that runs, not of one that stands: stopped half-way, it still hangs on it minutes later.
#[test]
fn a_splice_does_not_let_go_at_rest() {
    let fault = "[[fault]]\nkind = \"splice_letting_go\"\nfrom_s = 20.0\nramp_s = 15.0\nseverity = 1.0\n";
    let last_pull = |text: &str| {
        let (kept, _) = go(&parse(text).expect("sound"), 1);
        kept.rows.last().expect("a row").truth.tight_n
    };
    assert!(last_pull(&format!("{}{fault}", stopped_at_30_s())) > 1_000.0);
    assert_eq!(last_pull(&format!("{PLAIN}{fault}")), 0.0);
}

/// Another leg on the same drive has a mass of its own: with the motor off both run down, where a drive alone stops at once.
#[test]
fn a_leg_that_shares_its_drive_runs_down() {
    let text = |severity: &str| {
        let fault = format!("[[fault]]\nkind = \"shared_drive\"\nfrom_s = 20.0\nseverity = {severity}\n");
        format!("{}{fault}", stopped_at_30_s())
    };
    let still_s = |text: &str| {
        let (kept, _) = go(&parse(text).expect("sound"), 1);
        let at = kept.rows.iter().find(|row| row.time_us > 30_000_000 && row.truth.head_rpm < 1.0).expect("stops");
        at.time_us as f64 * 1e-6 - 30.0
    };
    let (alone, shared) = (still_s(&text("0.0")), still_s(&text("0.1")));
    assert!(shared > 1.2, "{shared} s, {alone} s without what the other lifts");
}

/// What a person wrote of the wrong kind is told in the words of a person, with its line.
#[test]
fn what_is_of_the_wrong_kind_is_told_in_plain_words() {
    for (from, to, place, told) in [
        ("leg = \"millbrook-leg-3\"", "leg = 3", "test.toml:3:7", "the name of a built-in leg in quotes"),
        ("duration_s", "friction = 3\nduration_s", "test.toml:4:12", "the name of a set of friction in quotes"),
        (
            "timeline",
            "friction.dry = [1.0]\ntimeline",
            "test.toml:6:10: friction.dry",
            "invalid length 1, expected an array of length 9",
        ),
        ("duration_s", "seed = \"one\"\nduration_s", "test.toml:4:8", "expected a whole number from 0 up"),
        ("leg =", "leg", "test.toml:3:", "is not TOML"),
        (
            "leg =",
            "leg_changes.belt.width_mm = \"wide\"\nleg =",
            "test.toml:3:18: leg_changes.belt.width_mm:",
            "expected a number",
        ),
        (
            "leg =",
            "leg_changes.belt.widht_mm = 3\nleg =",
            "test.toml:3:18: leg_changes.belt.widht_mm:",
            "unknown field `widht_mm`",
        ),
    ] {
        let text = PLAIN.replacen(from, to, 1);
        let said = parse(&text).expect_err(to);
        assert!(said.contains(told) && said.contains(place), "{to}: {said}");
    }
}
