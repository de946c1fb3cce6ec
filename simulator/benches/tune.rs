//! One leg-day measured once and judged under many settings, every condition on. Prints what it took.
//!
//! `cargo bench -p slackside-simulator --bench tune -- [quiet|noise|storm|crossing]… [SETTINGS]` (all of them and 10,000 if left
//! out). Setpoints lie on ladders of 0.1 %, as in a study; `--no-ladder` draws every setpoint and deadband by itself.
//! `--export DIRECTORY SETTINGS quiet|crossing|storm` writes motion and results for `bench/tune_numpy.py`.

use std::time::Instant;

use rayon::prelude::*;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Input, Shaft, Signal};
use slackside::monitor::Told;
use slackside::settings::{Action, Checked, Settings};
use slackside::units::{Joules, Micros, Ppm, Span};
use slackside::verdict::{Change, Verdict};
use slackside_desk::tune::columns::{Cursor, Row};
use slackside_desk::tune::heat::HeatTables;
use slackside_desk::tune::listen::{Listen, Turned};
use slackside_desk::tune::run::{Cost, judge, judge_plainly};
use slackside_desk::tune::store::Store;
use slackside_legs::random::Random;

const DAY: f64 = 86_400.0;
/// Setpoints and deadbands are multiples of this, in ppm.
const LADDER: i32 = 1_000;

/// A day of the example leg: creep near 1 % that wanders with the load, the drive sagging by up to 3 %, jitter of 5 µs and 1 %
/// uneven targets.
fn day(settings: &Checked, wander: f64) -> Vec<Input> {
    let head = f64::from(settings.machine.normal_head.get()) / 1e6;
    let ratio = f64::from(settings.machine.ratio_in_force().get()) / 1e6;
    let mut inputs = vec![
        Input::new(Micros::ZERO, Signal::DriveRunning(false)),
        Input::new(Micros::new(20_000_000), Signal::DriveRunning(true)),
    ];
    let uneven = [0.0, 0.01, -0.007, 0.004];
    for (shaft, seed) in [(Shaft::Head, 1), (Shaft::Boot, 2)] {
        let mut chance = Random(seed);
        let mut load = Random(77);
        let (mut t, mut turned) = (20.0, 0_u64);
        let (mut sag, mut creep, mut next) = (0.0, 0.01, 0.0);
        while t < DAY {
            while t >= next {
                sag = 0.03 * load.unit();
                creep = 0.01 + wander * (load.unit() - 0.5);
                next += 5.0;
            }
            let ramp = ((t - 20.0) / 4.0).clamp(0.05, 1.0);
            let speed = head * ramp * (1.0 - sag) * if shaft == Shaft::Boot { ratio * (1.0 - creep) } else { 1.0 };
            let place = (turned % 4) as usize;
            let pitch = 0.25 + 0.25 * (uneven[(place + 1) % 4] - uneven[place]);
            t += pitch / speed;
            turned += 1;
            let at = (t * 1e6) as u64 + chance.next_u64() % 6;
            inputs.push(Input::new(Micros::new(at), Signal::Edge(shaft, true)));
            inputs.push(Input::new(Micros::new(at + (0.08 / speed * 1e6) as u64), Signal::Edge(shaft, false)));
        }
    }
    inputs.sort_by_key(|input| input.at);
    inputs
}

/// Where the setpoints lie.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Place {
    /// Clear of what the day brings.
    Clear,
    /// Within it, with delays that often end.
    Noise,
    /// Within it, with delays longer than any stretch beyond: all cross back and forth all day.
    Crossing,
}

fn settings(number: u64, place: Place, ladder: i32) -> Option<Checked> {
    let mut chance = Random(number + 1_000_000);
    let mut settings = Settings::example();
    let mut set = |condition, (low, high): (f64, f64), deadband: f64, (short, long): (f64, f64)| {
        let setpoint = (low + (high - low) * chance.unit()) as i32 / ladder * ladder;
        let on = ((short + (long - short) * chance.unit()) * 20.0).round() as u32 * 50;
        settings.limits.change(condition, |limit| {
            limit.setpoint = setpoint;
            limit.deadband = (f64::from(setpoint) * deadband) as i32 / ladder * ladder;
            limit.on_delay = Span::from_millis(on);
        });
    };
    if place != Place::Clear {
        let delays = if place == Place::Noise { (2.0, 5.0) } else { (24.0, 30.0) };
        // Above the middle of what wanders every five seconds, so that it comes back within the longer delays.
        let (slip, speed) = if place == Place::Noise {
            ((10_000.0, 20_000.0), (20_000.0, 50_000.0))
        } else {
            ((17_000.0, 24_000.0), (24_000.0, 44_000.0))
        };
        set(Condition::SlipHigh, slip, 0.2, delays);
        set(Condition::SlipNegative, (10_000.0, 30_000.0), 0.2, delays);
        set(Condition::Underspeed, speed, 0.2, delays);
        set(Condition::HeadUnderspeed, speed, 0.2, delays);
        set(Condition::SlipVeryHigh, (30_000.0, 60_000.0), 0.1, (0.3, 1.0));
    } else {
        set(Condition::SlipHigh, (30_000.0, 80_000.0), 0.2, (1.0, 5.0));
        set(Condition::SlipNegative, (20_000.0, 50_000.0), 0.2, (1.0, 5.0));
        set(Condition::Underspeed, (70_000.0, 120_000.0), 0.2, (1.0, 5.0));
        set(Condition::HeadUnderspeed, (70_000.0, 120_000.0), 0.2, (1.0, 5.0));
        set(Condition::SlipVeryHigh, (90_000.0, 150_000.0), 0.1, (0.2, 1.0));
    }
    set(Condition::DeepUnderspeed, (130_000.0, 160_000.0), 0.1, (0.1, 0.5));
    settings.limits.slip_heat.budget = Joules::new(600_000 + (chance.unit() * 600_000.0) as u32);
    settings.limits.slip_heat.time_constant = Span::from_millis(60_000 * (20 + 10 * (chance.next_u64() % 3) as u32));
    // Alarms only, so that a day is judged to its end.
    settings.limits.change(Condition::SlipHigh, |limit| limit.action = Action::Alarm);
    let _ = Ppm::ZERO;
    settings.check().ok()
}

/// A heat table for each time constant, as a study has them at the least.
fn tables_of(store: &Store, all: &[Checked]) -> HeatTables {
    let mut constants: Vec<&Checked> = all.iter().collect();
    // The least that slip below zero counts from is that of which no other has more heat.
    let below = |settings: &Checked| settings.limits.of(Condition::SlipNegative).setpoint;
    constants.sort_by_key(|settings| (settings.limits.slip_heat.time_constant, below(settings)));
    constants.dedup_by_key(|settings| settings.limits.slip_heat.time_constant);
    HeatTables::build(store, constants)
}

/// Processor time of this program so far, in seconds: what it took, whatever else ran on the machine.
fn cpu() -> f64 {
    cpu_time::ProcessTime::now().as_duration().as_secs_f64()
}

/// Counts what comes, as far as it listens.
struct Counts {
    /// It listens until the first permit that differs.
    ends: bool,
    alarms: u64,
    permits: u64,
    until: Micros,
}

impl Listen for Counts {
    fn verdict(&mut self, verdict: Verdict) -> bool {
        match verdict.change {
            Change::Alarm { .. } => self.alarms += 1,
            Change::Permit { .. } => self.permits += 1,
            _ => {}
        }
        let goes_on = !(self.ends && differs(&verdict.change));
        if !goes_on {
            self.until = verdict.at;
        }
        goes_on
    }

    fn sums_up(&self) -> bool {
        true
    }

    fn turned(&mut self, turned: &Turned<'_>) -> bool {
        self.alarms += turned.count() as u64;
        true
    }
}

/// When each condition was raised, in the order of time.
struct Raised([Vec<u64>; Condition::COUNT]);

impl Listen for Raised {
    fn verdict(&mut self, verdict: Verdict) -> bool {
        if let Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } = verdict.change {
            self.0[condition.rank()].push(verdict.at.get());
        }
        true
    }

    fn sums_up(&self) -> bool {
        true
    }

    fn turned(&mut self, turned: &Turned<'_>) -> bool {
        let raised = turned.turns().filter(|(_, raises)| *raises).map(|(at, _)| at.get());
        self.0[turned.condition.rank()].extend(raised);
        true
    }
}

/// The first permit that differs from a record in which the leg ran all day ends its scoring.
const fn differs(change: &Change) -> bool {
    matches!(change, Change::Permit { allowed: false, because: Some(_), .. })
}

/// `ends`: judged until the first permit that differs from the record, as tuning does; else to the end of the day, come what may.
fn case(name: &str, wander: f64, place: Place, ends: bool, (wanted, ladder, checked): (usize, i32, bool)) {
    let base = Settings::example().check().unwrap_or_else(|_| unreachable!("the example is sound"));
    let inputs = day(&base, wander);
    let began = Instant::now();
    let store =
        Store::measure(inputs.iter().map(|input| Ok::<_, ()>(*input)), &base).unwrap_or_else(|()| unreachable!());
    let measured = began.elapsed().as_secs_f64();
    println!(
        "{name}: {} inputs, {} rows ({} whole), {:.1} B a row, measured in {measured:.2} s",
        inputs.len(),
        store.len(),
        store.whole_rows(),
        store.bytes() as f64 / store.len() as f64
    );
    let all: Vec<Checked> =
        (0..).take(10 * wanted).filter_map(|number| settings(number, place, ladder)).take(wanted).collect();
    let before = cpu();
    let heat = tables_of(&store, &all);
    let tables = cpu() - before;
    let (began, before) = (Instant::now(), cpu());
    let results: Vec<(Cost, u64, u64, u64)> = all
        .par_iter()
        .map(|settings| {
            let mut counts = Counts { ends, alarms: 0, permits: 0, until: store.end() };
            let cost = judge(&store, settings, &heat, &mut counts);
            (cost, counts.alarms, counts.permits, counts.until.get())
        })
        .collect();
    let (judged, used) = (began.elapsed().as_secs_f64(), cpu() - before);
    let shown: u64 = results.iter().map(|(cost, ..)| cost.shown).sum();
    let leaps: u64 = results.iter().map(|(cost, ..)| cost.leaps).sum();
    let alarms: u64 = results.iter().map(|(_, alarms, ..)| alarms).sum();
    let judged_us: u64 = results.iter().map(|(.., until)| until).sum();
    let runs = results.len() as f64;
    println!(
        "{name}: {} settings in {judged:.2} s on {} threads, {used:.2} s of processor time (heat tables {tables:.2} s); a setting: {:.0} rows shown, {:.0} leaps, {:.0} alarm changes, {:.1} of 24 h judged",
        results.len(),
        rayon::current_num_threads(),
        shown as f64 / runs,
        leaps as f64 / runs,
        alarms as f64 / runs,
        judged_us as f64 / runs / 3.6e9
    );
    if !checked {
        return;
    }
    let few = &all[..all.len().min(20)];
    let before = cpu();
    let plain: Vec<(u64, u64)> = few
        .par_iter()
        .map(|settings| {
            let mut counts = Counts { ends, alarms: 0, permits: 0, until: store.end() };
            judge_plainly(&store, settings, |verdict| counts.verdict(verdict));
            (counts.alarms, counts.permits)
        })
        .collect();
    let plainly = (cpu() - before) / few.len() as f64 * runs;
    println!(
        "{name}: row by row it would take {plainly:.0} s of processor time (worked out from {} settings)",
        few.len()
    );
    for ((_, alarms, permits, _), plain) in results.iter().zip(&plain) {
        assert_eq!((*alarms, *permits), *plain, "leaps changed what came out");
    }
}

/// Write a day's motion and what came of some settings, for the comparison with a numpy script.
fn export(directory: &std::path::Path, wanted: usize, place: Place) -> std::io::Result<()> {
    std::fs::create_dir_all(directory)?;
    let base = Settings::example().check().unwrap_or_else(|_| unreachable!("the example is sound"));
    let inputs = day(&base, if place == Place::Clear { 0.01 } else { 0.03 });
    let store =
        Store::measure(inputs.iter().map(|input| Ok::<_, ()>(*input)), &base).unwrap_or_else(|()| unreachable!());
    let (mut times, mut short, mut long) = (Vec::new(), Vec::new(), Vec::new());
    let mut cursor = Cursor::new(&store);
    while let Some((at, row)) = cursor.next_row() {
        if let Row::Told(Told::Moved(_)) = row {
            let signals = cursor.signals();
            times.extend(at.get().to_le_bytes());
            // Unknown is the least of all numbers.
            short.extend(signals.short.least.to_le_bytes());
            long.extend(signals.long.least.to_le_bytes());
        }
    }
    std::fs::write(directory.join("time_us.i64"), times)?;
    std::fs::write(directory.join("short_ppm.i32"), short)?;
    std::fs::write(directory.join("long_ppm.i32"), long)?;
    let all: Vec<Checked> = (0..).filter_map(|number| settings(number, place, LADDER)).take(wanted).collect();
    let before = cpu();
    let heat = tables_of(&store, &all);
    let tables = cpu() - before;
    let before = cpu();
    let verdicts: Vec<Raised> = all
        .iter()
        .map(|settings| {
            let mut raised = Raised([const { Vec::new() }; Condition::COUNT]);
            judge(&store, settings, &heat, &mut raised);
            raised
        })
        .collect();
    let seconds = cpu() - before;
    let told: Vec<serde_json::Value> = all
        .iter()
        .zip(&verdicts)
        .enumerate()
        .map(|(number, (settings, raised))| {
            let conditions: Vec<serde_json::Value> = [
                (Condition::SlipVeryHigh, "short", 1),
                (Condition::SlipHigh, "long", 1),
                (Condition::SlipImpossible, "short", -1),
                (Condition::SlipNegative, "long", -1),
            ]
            .into_iter()
            .map(|(condition, column, sign)| {
                let limit = settings.limits.of(condition);
                let times = &raised.0[condition.rank()];
                serde_json::json!({
                    "name": condition.name(), "column": column, "sign": sign,
                    "setpoint": limit.setpoint, "deadband": limit.deadband,
                    "on_us": limit.on_delay.get(), "off_us": limit.off_delay.get(), "raised_us": times,
                })
            })
            .collect();
            serde_json::json!({ "number": number, "conditions": conditions })
        })
        .collect();
    let study =
        serde_json::json!({ "seconds": seconds, "tables": tables, "end_us": store.end().get(), "settings": told });
    std::fs::write(directory.join("study.json"), study.to_string())?;
    println!(
        "{} settings in {seconds:.2} s of processor time on one thread, exported to {}",
        all.len(),
        directory.display()
    );
    Ok(())
}

fn main() -> std::io::Result<()> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    if let Some(at) = words.iter().position(|word| word == "--export") {
        let directory = words.get(at + 1).map_or("tune-export", String::as_str);
        let count = words.get(at + 2).and_then(|text| text.parse().ok()).unwrap_or(20);
        let place = match words.get(at + 3).map(String::as_str) {
            None | Some("quiet") => Place::Clear,
            Some("storm") => Place::Noise,
            Some("crossing") => Place::Crossing,
            Some(other) => return Err(std::io::Error::other(format!("\"{other}\": write quiet, crossing or storm"))),
        };
        return export(std::path::Path::new(directory), count, place);
    }
    let wanted = words.iter().find_map(|text| text.parse().ok()).unwrap_or(10_000);
    let ladder = if words.iter().any(|word| word == "--no-ladder") { 1 } else { LADDER };
    let checked = !words.iter().any(|word| word == "--unchecked");
    let cases = [
        ("quiet", "a quiet day", 0.01, Place::Clear, false),
        ("noise", "setpoints in the noise, until a permit differs", 0.03, Place::Noise, true),
        ("crossing", "all day across the setpoints", 0.03, Place::Crossing, false),
        ("storm", "setpoints in the noise, to the end of the day", 0.03, Place::Noise, false),
    ];
    let named = |word: &str| words.iter().any(|asked| asked == word);
    let all = !cases.iter().any(|(word, ..)| named(word));
    for (word, name, wander, place, ends) in cases {
        if all || named(word) {
            case(name, wander, place, ends, (wanted, ladder, checked));
        }
    }
    Ok(())
}
