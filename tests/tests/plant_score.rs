//! A small part of the page of scores, the same runs every time: the score may not get worse.
//!
//! The baseline is `golden/score.json`. To bless a change that is wanted, put the new figures there and say in the commit what
//! became worse and why that is right; where it became better, put them there too, so that it stays so.

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
    let text = std::fs::read_to_string(path).expect("the baseline");
    let file: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let held = |name: &str| file[section][name].as_u64().unwrap_or_else(|| panic!("{section}.{name}")) as u32;
    assert_eq!(counts.runs, held("runs"), "{section}: other runs than the baseline's");
    // What calls for a stop or an alarm is the plant's affair: it may not quietly become less.
    assert!(counts.called >= held("called") && counts.alarms_due >= held("alarms_due"), "{section}: {counts:?}");
    for (name, now) in [
        ("late", counts.late),
        ("missed", counts.missed),
        ("uncalled", counts.uncalled),
        ("nuisance", counts.nuisance),
        ("alarms_missed", counts.alarms_missed),
        ("false_alarms", counts.false_alarms),
    ] {
        let told: Vec<String> = entries
            .iter()
            .map(|entry| {
                let one = &entry.scored;
                format!(
                    "{:?} {} missed, {:?}: {} {}",
                    one.class,
                    one.missed.len(),
                    one.false_alarms,
                    entry.what,
                    entry.again
                )
            })
            .collect();
        assert!(now <= held(name), "{section}: {name} {now}, was {}\n{counts:?}\n{}", held(name), told.join("\n"));
    }
}

#[test]
fn faults_at_random_come_out_no_worse() {
    // Every nineteenth run, so that kinds and legs mix.
    let entries = run_random(1, (0..12).map(|i| i * 19).collect(), &Threads, &|_, _, _| ()).expect("sound");
    let counts = Counts::of(entries.iter().map(|entry| &entry.scored));
    baseline("random", counts, &entries.iter().collect::<Vec<_>>());
}

#[test]
fn healthy_shifts_come_out_no_worse() {
    let entries = run_healthy(1, (0..12).map(|i| i * 13).collect(), &Threads, &|_, _, _| ()).expect("sound");
    let counts = Counts::of(entries.iter().map(|(_, entry)| &entry.scored));
    baseline("healthy", counts, &entries.iter().map(|(_, entry)| entry).collect::<Vec<_>>());
}
