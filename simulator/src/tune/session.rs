//! Going through the settings of a study: in parallel, in order, and on from where it was stopped.

use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use rayon::prelude::*;

use super::corpus::Case;
use super::results::{Row, Rows, Unfinished};
use super::score::{Outcome, Summary, score};
use super::search::{Breeder, Levels, grid, latin_hypercube};
use super::study::{Method, Study};

/// Which part of a study: number `k` of `n`, from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard {
    /// This one.
    pub number: u32,
    /// Of so many.
    pub of: u32,
}

/// What came of all settings.
pub struct Found {
    /// By number.
    pub rows: Rows,
    /// How many combinations broke a rule together, with the first such.
    pub refused: (u64, Option<String>),
    /// How many had been judged before, by a run that was stopped.
    pub kept: u64,
    /// It was asked to stop before all were judged.
    pub stopped: bool,
}

/// Judge every trace under one setting; `Err` if it breaks a rule on the leg of any.
pub fn judge_all(study: &Study, cases: &[Case], number: u32, levels: &Levels) -> Result<Row, String> {
    let outcomes = cases
        .iter()
        .enumerate()
        .map(|(case_number, case)| {
            let settings =
                if levels.is_empty() { case.settings.clone() } else { study.settings(&case.settings, levels)? };
            Ok(score(number, case_number as u32, case, &settings))
        })
        .collect::<Result<Vec<Outcome>, String>>()?;
    Ok(Row { levels: levels.clone(), outcomes })
}

/// The settings in order, for the ways of searching that know them beforehand. Number 0, the limits as they stand, is not in it.
#[must_use]
pub fn planned(study: &Study) -> Option<Vec<Levels>> {
    let count = study.search.settings.unwrap_or(0);
    match study.search.method {
        Method::Grid => Some(grid(&study.knobs)),
        Method::LatinHypercube => Some(latin_hypercube(&study.knobs, count, study.seed)),
        Method::Evolution => None,
    }
}

/// Go through the study, or one shard of it. `unfinished` keeps what is done. `progress` is told how many more were judged, and
/// their number in all when it is known; it says whether to go on.
///
/// # Errors
/// The unfinished file cannot be used, or an evolution is to be split: its later settings depend on all earlier ones.
pub fn search(
    study: &Study,
    cases: &[Case],
    shard: Shard,
    unfinished: &Path,
    progress: &(dyn Fn(u64, Option<u64>) -> bool + Sync),
) -> anyhow::Result<Found> {
    let what = format!("{}/{}", shard.number, shard.of);
    let (mut file, done) = Unfinished::open(unfinished, study, cases, &what)?;
    let mut found = Found { rows: Rows::new(), refused: (0, None), kept: done.len() as u64, stopped: false };
    let mut todo = vec![(0, Levels::new())];
    match planned(study) {
        Some(plan) => {
            let numbered = plan.into_iter().enumerate().map(|(number, levels)| (number as u32 + 1, levels));
            todo.extend(numbered);
            todo.retain(|(number, _)| number % shard.of == shard.number - 1);
            progress(0, Some(todo.len() as u64));
            go(study, cases, &todo, &done, &mut file, &mut found, progress)?;
        }
        None => {
            if shard.of > 1 {
                anyhow::bail!(
                    "{}: search.method \"evolution\" cannot be split into shards, since what it tries next depends on all that came before; use \"latin_hypercube\" or \"grid\"",
                    study.path.display()
                );
            }
            let wanted = study.search.settings.unwrap_or(0);
            progress(0, Some(wanted as u64 + 1));
            go(study, cases, &todo, &done, &mut file, &mut found, progress)?;
            let mut breeder = Breeder::new(&study.knobs, study.search.population, study.seed);
            let mut number = 0;
            while (number as usize) < wanted && !found.stopped {
                let mut bred = breeder.breed(&study.knobs);
                bred.truncate(wanted - number as usize);
                if bred.is_empty() {
                    break;
                }
                let batch: Vec<(u32, Levels)> = bred
                    .into_iter()
                    .map(|levels| {
                        number += 1;
                        (number, levels)
                    })
                    .collect();
                go(study, cases, &batch, &done, &mut file, &mut found, progress)?;
                breeder.select(batch.into_iter().filter_map(|(number, levels)| {
                    let row = found.rows.get(&number)?;
                    Some((levels, tuned(row).objectives()))
                }));
            }
        }
    }
    Ok(found)
}

/// The sum over the traces that are not held out.
#[must_use]
pub fn tuned(row: &Row) -> Summary {
    Summary::of(row.outcomes.iter().filter(|outcome| !outcome.held_out))
}

fn go(
    study: &Study,
    cases: &[Case],
    todo: &[(u32, Levels)],
    done: &Rows,
    file: &mut Unfinished,
    found: &mut Found,
    progress: &(dyn Fn(u64, Option<u64>) -> bool + Sync),
) -> anyhow::Result<()> {
    for batch in todo.chunks(64) {
        let judged: BTreeMap<u32, Result<Row, String>> = batch
            .par_iter()
            .filter_map(|(number, levels)| {
                if !progress(0, None) {
                    return None;
                }
                let known = done.get(number).filter(|row| row.levels == *levels);
                let row = known.map_or_else(|| judge_all(study, cases, *number, levels), |row| Ok(row.clone()));
                progress(1, None);
                Some((*number, row))
            })
            .collect();
        found.stopped = judged.len() < batch.len();
        for (number, row) in judged {
            match row {
                Ok(row) => {
                    if !done.contains_key(&number) {
                        file.add(study, cases, &row)?;
                    }
                    found.rows.insert(number, row);
                }
                Err(reason) => {
                    found.refused.0 += 1;
                    found.refused.1.get_or_insert(reason);
                }
            }
        }
        if found.stopped {
            break;
        }
    }
    Ok(())
}

/// Remembers what was judged after the search, for the neighbours of the choice.
pub struct Beside<'a> {
    study: &'a Study,
    cases: &'a [Case],
    known: HashMap<Levels, Result<Row, String>>,
}

impl<'a> Beside<'a> {
    /// Knows what the search found.
    #[must_use]
    pub fn new(study: &'a Study, cases: &'a [Case], rows: &Rows) -> Self {
        let known =
            rows.iter().filter(|(number, _)| **number > 0).map(|(_, row)| (row.levels.clone(), Ok(row.clone())));
        Self { study, cases, known: known.collect() }
    }

    /// Judge settings that were not searched, in parallel.
    pub fn judge(&mut self, wanted: &[Levels]) {
        let new: Vec<&Levels> = wanted.iter().filter(|levels| !self.known.contains_key(*levels)).collect();
        let (study, cases) = (self.study, self.cases);
        let judged: Vec<(Levels, Result<Row, String>)> =
            new.into_par_iter().map(|levels| (levels.clone(), judge_all(study, cases, u32::MAX, levels))).collect();
        self.known.extend(judged);
    }

    /// What is known of one.
    pub fn of(&mut self, levels: &Levels) -> Result<&Row, String> {
        if !self.known.contains_key(levels) {
            self.judge(std::slice::from_ref(levels));
        }
        match self.known.get(levels) {
            Some(Ok(row)) => Ok(row),
            Some(Err(reason)) => Err(reason.clone()),
            None => Err(String::new()),
        }
    }
}
