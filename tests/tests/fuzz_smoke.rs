//! The fuzz bodies over the kept corpus and over seeded inputs, on every test run. `SLACKSIDE_FUZZ_RUNS` asks for more.

use std::path::PathBuf;
use std::{env, fs, panic};

use slackside_tests::fuzz;
use slackside_tests::wheels::Random;

type Body = fn(&[u8]);

fn corpus(target: &str) -> Vec<(String, Vec<u8>)> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fuzz/corpus").join(target);
    let mut files: Vec<_> = fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|entry| entry.expect("the corpus can be listed").path())
        .collect();
    files.sort();
    assert!(!files.is_empty(), "{target} has no corpus");
    files.into_iter().map(|path| (path.display().to_string(), fs::read(&path).expect("a corpus file reads"))).collect()
}

/// A corpus entry changed in a few places, or pure chance.
fn invent(random: &mut Random, corpus: &[(String, Vec<u8>)]) -> Vec<u8> {
    let mut below = |end: usize| (random.next_u64() % end as u64) as usize;
    if below(4) == 0 {
        let length = below(600);
        return (0..length).map(|_| below(256) as u8).collect();
    }
    let mut bytes = corpus[below(corpus.len())].1.clone();
    for _ in 0..=below(6) {
        let length = bytes.len();
        match below(4) {
            _ if length == 0 => bytes.push(below(256) as u8),
            0 => bytes[below(length)] = below(256) as u8,
            1 => bytes[below(length)] ^= 1 << below(8),
            2 => bytes.truncate(length - below(length.min(40))),
            _ => {
                let from = below(length);
                let piece = bytes[from..(from + 1 + below(30)).min(length)].to_vec();
                let at = below(length);
                bytes.splice(at..at, piece);
            }
        }
    }
    bytes
}

fn smoke(target: &str, body: Body, runs: u64) {
    let runs = env::var("SLACKSIDE_FUZZ_RUNS").ok().and_then(|runs| runs.parse().ok()).unwrap_or(runs);
    let corpus = corpus(target);
    for (name, bytes) in &corpus {
        if panic::catch_unwind(|| body(bytes)).is_err() {
            panic!("{target} fails on {name}");
        }
    }
    for seed in 0..runs {
        let bytes = invent(&mut Random(seed), &corpus);
        if panic::catch_unwind(|| body(&bytes)).is_err() {
            let kept = env::temp_dir().join(format!("slackside-fuzz-{target}-{seed}"));
            let told = fs::write(&kept, &bytes).map_or_else(|error| error.to_string(), |()| kept.display().to_string());
            panic!("{target} fails with seed {seed}; the bytes are in {told}: keep them in fuzz/corpus/{target}");
        }
    }
}

#[test]
fn any_trace() {
    smoke("trace", fuzz::trace, 4_000);
}

#[test]
fn any_settings_text() {
    smoke("settings_text", fuzz::settings_text, 2_000);
}

#[test]
fn any_plan() {
    smoke("plan", fuzz::plan, 2_000);
}

#[test]
fn any_link() {
    smoke("link", fuzz::link, 2_000);
}

#[test]
fn any_sequence_of_inputs() {
    smoke("monitor", fuzz::monitor, 500);
}

#[test]
fn any_settings_image() {
    smoke("settings_image", fuzz::settings_image, 4_000);
}
