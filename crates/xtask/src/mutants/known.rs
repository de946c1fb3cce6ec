//! Changes that change nothing anybody could see, each with its reason.

use std::collections::BTreeMap;

use anyhow::{Result, bail};

use super::points::Mutant;

/// One a line: `file function: was -> becomes | which of them, counted from 1, or all | why`.
const LIST: &str = include_str!("known.txt");

/// Those of the list, by number, each with why.
pub fn read(mutants: &[Mutant]) -> Result<BTreeMap<usize, String>> {
    let mut known = BTreeMap::new();
    for line in LIST.lines().filter(|line| !line.is_empty() && !line.starts_with('#')) {
        let mut parts = line.rsplitn(3, " | ");
        let (Some(why), Some(which), Some(what)) = (parts.next(), parts.next(), parts.next()) else {
            bail!("known.txt: no \"what | which | why\": {line}");
        };
        let alike: Vec<usize> = (0..mutants.len()).filter(|index| without_line(&mutants[*index]) == what).collect();
        let chosen = match which.parse::<usize>() {
            Ok(which) => alike.get(which.wrapping_sub(1)).copied().into_iter().collect(),
            Err(_) if which == "all" => alike,
            Err(_) => Vec::new(),
        };
        if chosen.is_empty() {
            bail!("known.txt: there is no such change: {line}");
        }
        known.extend(chosen.into_iter().map(|index| (index, why.to_owned())));
    }
    Ok(known)
}

/// A change without its line, which moves.
fn without_line(mutant: &Mutant) -> String {
    format!("{} {}: `{}` -> `{}`", mutant.file, mutant.function, mutant.was, mutant.becomes)
}
