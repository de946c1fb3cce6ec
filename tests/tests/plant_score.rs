//! A small part of the page of scores, the same runs every time: the score may not get worse.
//!
//! The baseline is `golden/score.json`, and every figure must be met: one that got better unseen could get worse again unseen.
//! `SLACKSIDE_BLESS=1` writes the new figures; say in the commit what became worse and why that is right.

use std::path::Path;

use slackside::conditions::Condition;
use slackside::settings::Limits;
use slackside_desk::crew::Crew;
use slackside_desk::scenario::fault::Kind;
use slackside_desk::scenario::score::population::{HEALTHY, STRAINED, Shifts};
use slackside_desk::scenario::score::templates::faulty;
use slackside_desk::scenario::score::{Counts, Entry, How, run_random, run_shifts, score};

/// One thread for each processor.
struct Threads;

impl Crew for Threads {
    fn each<T: Send, R: Send>(&self, items: Vec<T>, work: impl Fn(T) -> R + Send + Sync) -> Vec<R> {
        let waiting = std::sync::Mutex::new(items.into_iter().enumerate());
        let done = std::sync::Mutex::new(Vec::new());
        std::thread::scope(|scope| {
            for _ in 0..std::thread::available_parallelism().map_or(2, usize::from) {
                scope.spawn(|| {
                    loop {
                        let next = waiting.lock().expect("sound").next();
                        let Some((number, item)) = next else { break };
                        let result = work(item);
                        done.lock().expect("sound").push((number, result));
                    }
                });
            }
        });
        let mut done = done.into_inner().expect("sound");
        done.sort_by_key(|(number, _)| *number);
        done.into_iter().map(|(_, result)| result).collect()
    }
}

/// The figures that are held, each with its name.
fn figures(counts: Counts) -> [(&'static str, u32); 10] {
    [
        ("runs", counts.runs),
        ("called", counts.called),
        ("alarms_due", counts.alarms_due),
        ("late", counts.late),
        ("missed", counts.missed),
        ("fail_safe", counts.fail_safe),
        ("uncalled", counts.uncalled),
        ("nuisance", counts.nuisance),
        ("alarms_missed", counts.alarms_missed),
        ("false_alarms", counts.false_alarms),
    ]
}

/// The figures that are not what is held of them.
fn moved(held: &serde_json::Value, counts: Counts) -> Vec<String> {
    let moved = figures(counts).into_iter().filter_map(|(name, now)| {
        let was = held[name].as_u64();
        let told = was.map_or("none".to_owned(), |was| was.to_string());
        (was != Some(u64::from(now))).then(|| format!("{name} {now}, was {told}"))
    });
    moved.collect()
}

fn baseline(section: &str, counts: Counts, entries: &[&Entry]) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/score.json");
    let text = std::fs::read_to_string(&path).expect("the baseline");
    let mut file: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let moved = moved(&file[section], counts);
    if moved.is_empty() {
        return;
    }
    if std::env::var_os("SLACKSIDE_BLESS").is_some() {
        for (name, now) in figures(counts) {
            file[section][name] = now.into();
        }
        std::fs::write(&path, serde_json::to_string_pretty(&file).expect("JSON") + "\n").expect("written");
        return;
    }
    let told = entries.iter().map(|entry| {
        let one = &entry.scored;
        let missed = one.missed.len();
        format!("{:?} {missed} missed, {:?}: {} {}", one.class, one.false_alarms, entry.what, entry.again)
    });
    panic!("{section}: {}\n{counts:?}\n{}", moved.join("; "), told.collect::<Vec<_>>().join("\n"));
}

// One after the other: both write the same file when they bless.
static FILE: std::sync::Mutex<()> = std::sync::Mutex::new(());

#[test]
fn faults_at_random_come_out_no_worse() {
    // Every nineteenth run, so that kinds and legs mix.
    let entries = run_random(1, (0..12).map(|i| i * 19).collect(), &Threads, &|_, _, _| ()).expect("sound");
    let counts = Counts::of(entries.iter().map(|entry| &entry.scored));
    let _one = FILE.lock();
    baseline("random", counts, &entries.iter().collect::<Vec<_>>());
}

fn shifts_come_out_no_worse(of: &Shifts, numbers: Vec<usize>) {
    let entries = run_shifts(of, 1, numbers, &Threads, &|_, _, _| ()).expect("sound");
    let counts = Counts::of(entries.iter().map(|(_, entry)| &entry.scored));
    let _one = FILE.lock();
    baseline(of.name, counts, &entries.iter().map(|(_, entry)| entry).collect::<Vec<_>>());
}

#[test]
fn healthy_shifts_come_out_no_worse() {
    shifts_come_out_no_worse(&HEALTHY, (0..12).map(|i| i * 13).collect());
}

/// A light take-up on three legs, and slugs beyond what two lift.
#[test]
fn shifts_of_legs_that_cannot_lift_what_comes_come_out_no_worse() {
    shifts_come_out_no_worse(&STRAINED, vec![0, 4, 7, 8, 9]);
}

/// What the score of a few runs comes to under limits that were changed.
fn scored(runs: &[usize], change: impl Fn(&mut Limits)) -> Counts {
    let scored: Vec<_> = runs
        .iter()
        .map(|index| {
            let (_, drawn) = faulty(1, *index).expect("sound");
            let mut settings = drawn.settings.clone().into_settings();
            change(&mut settings.limits);
            let settings = settings.check().unwrap_or_else(|violations| panic!("{violations:?}"));
            score(&drawn.scenario, &drawn.commissioned, &settings, drawn.scenario.seed, How::default())
                .expect("it runs")
        })
        .collect();
    Counts::of(&scored)
}

/// Figures as they are held in the file.
fn held(counts: Counts) -> serde_json::Value {
    figures(counts)
        .into_iter()
        .map(|(name, now)| (name.to_owned(), now.into()))
        .collect::<serde_json::Map<_, _>>()
        .into()
}

#[test]
fn a_monitor_that_was_made_worse_on_purpose_is_told_by_its_figures() {
    // A target missing on a leg of four.
    let runs = [130];
    assert_eq!(faulty(1, runs[0]).expect("sound").0, Kind::TargetMissing);
    let sound = held(scored(&runs, |_| ()));
    assert!(moved(&sound, scored(&runs, |_| ())).is_empty(), "the same runs come out the same");
    // Alarms that no longer come.
    let dropped = |limits: &mut Limits| {
        for condition in [Condition::HeadTargets, Condition::BootTargets] {
            limits.change(condition, |limit| limit.enabled = false);
        }
    };
    let told = moved(&sound, scored(&runs, dropped)).join("; ");
    assert!(told.contains("alarms_missed"), "an alarm that was dropped goes unseen: {told}");
}

/// Whichever figure moves, by one and either way, is told by its name.
#[test]
fn every_figure_that_moves_is_told() {
    let sound = Counts { late: 3, missed: 2, nuisance: 1, alarms_missed: 4, called: 9, runs: 12, ..Counts::default() };
    for (name, now) in figures(sound) {
        let mut was = held(sound);
        was[name] = (now + 1).into();
        assert_eq!(moved(&was, sound), [format!("{name} {now}, was {}", now + 1)]);
    }
    assert!(moved(&serde_json::json!({}), sound).len() == figures(sound).len(), "what is not held at all is told too");
}
