//! Which traces are kept for the proof: whole families on whole legs, since another seed of one upset is no new evidence.

use std::collections::{BTreeMap, HashMap};

use super::corpus::Case;
use super::study::{Study, fingerprint};
use crate::error::{Result, bail};

/// Refuse a trace that is there twice, under whatever name.
///
/// # Errors
/// It names both.
pub fn refuse_copies(cases: &[Case]) -> Result<()> {
    let mut seen: HashMap<u64, &str> = HashMap::new();
    for case in cases {
        if let Some(first) = seen.insert(case.content, &case.name) {
            bail!(
                "{} is a copy of {first}: the same inputs, whatever the file is called; remove one, since it would count double, \
                 and might be tuned on and held out at once",
                case.name
            );
        }
    }
    Ok(())
}

/// Number the families on their legs, in order of the traces.
pub fn group(cases: &mut [Case]) {
    let mut numbers: HashMap<(String, String), u32> = HashMap::new();
    for case in cases {
        let next = numbers.len() as u32;
        case.group = *numbers.entry((case.kind.clone(), case.leg.clone())).or_insert(next);
    }
}

/// Keep the asked share of traces for the proof, family by family: apart among those that need a stop and those that do not, by
/// chance that depends on the study's seed and the family's name alone. One family of each sort at least is left to tune on.
///
/// # Errors
/// A study wants one trace of a family held out and another of it tuned on.
pub fn hold_out(study: &Study, cases: &mut [Case]) -> Result<()> {
    let mut said: BTreeMap<u32, (bool, String)> = BTreeMap::new();
    for (trace, case) in study.traces.iter().zip(cases.iter()) {
        let Some(held_out) = trace.held_out else { continue };
        let (before, name) = said.entry(case.group).or_insert_with(|| (held_out, case.name.clone()));
        if *before != held_out {
            bail!(
                "{}: held_out = {held_out}, and {name} of the same leg and family (\"{}\") is the other way: what is held out must be \
                 another leg or another family; if they are different upsets, say so by family = \"...\" in each [[trace]]",
                case.name,
                case.family
            );
        }
    }
    let mut held: HashMap<u32, bool> = said.iter().map(|(group, (held_out, _))| (*group, *held_out)).collect();
    for needs_stop in [true, false] {
        let mut groups: BTreeMap<u32, (u64, usize, bool)> = BTreeMap::new();
        for case in cases.iter() {
            let name = format!("{} {} {}", study.seed, case.family, case.leg);
            let order = fingerprint(name.as_bytes()).wrapping_mul(0x9E37_79B9_7F4A_7C15);
            let (_, count, needs) = groups.entry(case.group).or_insert((order, 0, false));
            *count += 1;
            *needs |= case.expected.stop.is_some();
        }
        let mut free: Vec<(u64, u32, usize)> = groups
            .into_iter()
            .filter(|(group, (_, _, needs))| *needs == needs_stop && !said.contains_key(group))
            .map(|(group, (order, count, _))| (order, group, count))
            .collect();
        free.sort_unstable();
        let wanted = study.held_out * free.iter().map(|(_, _, count)| *count as f64).sum::<f64>();
        // As near to the asked share as whole families come: one at least is left to tune on, and one to prove it by.
        let (mut kept, mut left) = (0.0, free.len());
        for (_, group, count) in &free {
            if wanted > 0.0 && left > 1 && kept + *count as f64 / 2.0 <= wanted {
                (kept, left) = (kept + *count as f64, left - 1);
                held.insert(*group, true);
            }
        }
        if let Some((_, group, _)) = free.iter().min_by_key(|(order, _, count)| (*count, *order))
            && wanted > 0.0
            && left > 1
            && kept == 0.0
        {
            held.insert(*group, true);
        }
    }
    for case in cases {
        case.held_out = held.get(&case.group).copied().unwrap_or(false);
    }
    Ok(())
}
