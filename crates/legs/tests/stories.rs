//! Hundreds of short random stories over the whole of what can be seen of a box from outside, against what was seen before.
//!
//! **The kept lines say "the same as before", not "right".** A change of the core that is meant changes lines; each has then to be read, and its
//! reason given with the commit. What must hold whatever comes (no permit while a stop holds, no deadline in the past, a copied state with the
//! same future, …) is looked at in each story besides, and needs no kept line.
//!
//! `SLACKSIDE_BLESS=1 cargo test -p slackside-legs --test stories` writes the lines anew: `tests/golden/stories/`, one a story, with what happened
//! in words and 16 digests, each of everything that was seen up to the end of a 16th of the story's inputs.

use std::fmt::Write as _;
use std::path::PathBuf;
use std::{env, fs};

use slackside_legs::parts::{ALL, ON_THE_BRINK, STORIES, stories, stories_of};
use slackside_legs::story::story;
use slackside_legs::witness::{PARTS, Seen, play};

fn line(seed: u64, seen: &Seen) -> String {
    let mut line = format!("{seed} | {} |", seen.facts);
    for digest in &seen.digests {
        let _ = write!(line, " {digest:04x}");
    }
    line
}

/// What was kept of a story and what is seen now: which inputs they part at, and what is said there now.
fn difference(seed: u64, kept: &str, now: &str, seen: &Seen) -> String {
    let digests =
        |line: &str| line.rsplit('|').next().unwrap_or_default().split_whitespace().map(str::to_owned).collect();
    let (was, is): (Vec<String>, Vec<String>) = (digests(kept), digests(now));
    let inputs = story(seed).leg.inputs.len();
    let place = was.iter().zip(&is).position(|(was, is)| was != is).map_or_else(String::new, |part| {
        let (from, to) = ((part * inputs).div_ceil(PARTS), ((part + 1) * inputs).div_ceil(PARTS));
        let there = seen.verdicts.iter().filter(|(index, _)| (from..to).contains(index));
        let said: String = there.map(|(index, said)| format!("    input {index}: {said:?}\n")).collect();
        format!("  they part between inputs {from} and {to}, where now is said:\n{said}")
    });
    format!("story {seed} is another than before\n  kept: {kept}\n  now:  {now}\n{place}")
}

fn part(number: u64, quarter: u64) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(format!("../../tests/golden/stories/{number:02}.txt"));
    let seeds = stories(number);
    if env::var_os("SLACKSIDE_BLESS").is_some() {
        if quarter == 0 {
            let lines: String = seeds.map(|seed| line(seed, &play(&story(seed))) + "\n").collect();
            fs::write(&path, lines).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        }
        return;
    }
    let kept = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    assert_eq!(kept.lines().count() as u64, STORIES, "{}", path.display());
    let here = stories_of(number, quarter);
    for (seed, kept) in seeds.zip(kept.lines()).filter(|(seed, _)| here.contains(seed)) {
        let seen = play(&story(seed));
        let now = line(seed, &seen);
        assert!(
            kept == now,
            "{}If that is meant, `SLACKSIDE_BLESS=1 cargo test -p slackside-legs --test stories` keeps what is seen now.",
            difference(seed, kept, &now, &seen)
        );
    }
}

slackside_legs::story_parts!(part);
slackside_legs::story_parts!(on_the_brink part);

/// Lines that no part reads hold nothing.
#[test]
fn every_kept_file_has_its_part() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/golden/stories");
    let name = |entry: std::io::Result<fs::DirEntry>| entry.expect("a file").file_name().to_string_lossy().into_owned();
    let mut files: Vec<String> = fs::read_dir(folder).expect("a folder").map(name).collect();
    files.sort();
    assert_eq!(files, ALL.iter().chain(ON_THE_BRINK).map(|number| format!("{number:02}.txt")).collect::<Vec<_>>());
}
