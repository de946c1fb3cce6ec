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

use slackside_legs::story::story;
use slackside_legs::witness::{PARTS, Seen, play};

/// Stories in each file of kept lines, which is a test in parts.
const STORIES: u64 = 12;
const PARTS_OF_IT: u64 = 4;

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
    let seeds = number * STORIES..(number + 1) * STORIES;
    if env::var_os("SLACKSIDE_BLESS").is_some() {
        if quarter == 0 {
            let lines: String = seeds.map(|seed| line(seed, &play(&story(seed))) + "\n").collect();
            fs::write(&path, lines).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        }
        return;
    }
    let kept = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    assert_eq!(kept.lines().count() as u64, STORIES, "{}", path.display());
    let each = (STORIES / PARTS_OF_IT) as usize;
    for (seed, kept) in seeds.zip(kept.lines()).skip(quarter as usize * each).take(each) {
        let seen = play(&story(seed));
        let now = line(seed, &seen);
        assert!(
            kept == now,
            "{}If that is meant, `SLACKSIDE_BLESS=1 cargo test -p slackside-legs --test stories` keeps what is seen now.",
            difference(seed, kept, &now, &seen)
        );
    }
}

macro_rules! parts {
    ($($name:ident $number:literal)*) => {
        $(mod $name {
            #[test]
            fn first() {
                super::part($number, 0);
            }

            #[test]
            fn second() {
                super::part($number, 1);
            }

            #[test]
            fn third() {
                super::part($number, 2);
            }

            #[test]
            fn fourth() {
                super::part($number, 3);
            }
        })*
        /// Each part by its number.
        const ALL: &[u64] = &[$($number),*];
    };
}

parts! {
    part_00 0 part_01 1 part_02 2 part_03 3 part_04 4 part_05 5 part_06 6 part_07 7
    part_08 8 part_09 9 part_10 10 part_11 11 part_12 12 part_13 13 part_14 14 part_15 15
    part_16 16 part_17 17 part_18 18 part_19 19 part_20 20 part_21 21 part_22 22 part_23 23
    part_24 24 part_25 25 part_26 26 part_27 27 part_28 28 part_29 29 part_30 30 part_31 31
    part_32 32 part_33 33 part_34 34 part_35 35 part_36 36 part_37 37 part_38 38 part_39 39
    part_40 40 part_41 41 part_42 42 part_43 43 part_44 44 part_45 45 part_46 46 part_47 47
}

/// Lines that no part reads hold nothing.
#[test]
fn every_kept_file_has_its_part() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../tests/golden/stories");
    let name = |entry: std::io::Result<fs::DirEntry>| entry.expect("a file").file_name().to_string_lossy().into_owned();
    let mut files: Vec<String> = fs::read_dir(folder).expect("a folder").map(name).collect();
    files.sort();
    assert_eq!(files, ALL.iter().map(|number| format!("{number:02}.txt")).collect::<Vec<_>>());
}
