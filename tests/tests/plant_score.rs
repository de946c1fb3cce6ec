//! A small part of the page of scores, the same runs every time: the score may not get worse.
//!
//! The baseline is `golden/score.json`, and every figure must be met: one that got better unseen could get worse again unseen.
//! `SLACKSIDE_BLESS=1` writes the new figures; say in the commit what became worse and why that is right.

use std::path::Path;

use slackside_desk::crew::Crew;
use slackside_desk::scenario::score::{Counts, Entry, run_healthy, run_random};

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

fn baseline(section: &str, counts: Counts, entries: &[&Entry]) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("golden/score.json");
    let text = std::fs::read_to_string(&path).expect("the baseline");
    let mut file: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let figures = [
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
    ];
    let moved: Vec<String> = figures
        .iter()
        .map(|(name, now)| (name, now, file[section][name].as_u64()))
        .filter(|(_, now, held)| *held != Some(u64::from(**now)))
        .map(|(name, now, held)| format!("{name} {now}, was {}", held.map_or("none".to_owned(), |was| was.to_string())))
        .collect();
    if moved.is_empty() {
        return;
    }
    if std::env::var_os("SLACKSIDE_BLESS").is_some() {
        for (name, now) in figures {
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

#[test]
fn healthy_shifts_come_out_no_worse() {
    let entries = run_healthy(1, (0..12).map(|i| i * 13).collect(), &Threads, &|_, _, _| ()).expect("sound");
    let counts = Counts::of(entries.iter().map(|(_, entry)| &entry.scored));
    let _one = FILE.lock();
    baseline("healthy", counts, &entries.iter().map(|(_, entry)| entry).collect::<Vec<_>>());
}
