//! Going through the settings of a study: in order, and on from where it was stopped.

use std::collections::{BTreeMap, HashMap};
use std::io;

use super::corpus::Case;
use super::results::{Row, Rows};
use super::score::{Outcome, score};
use super::search::{Breeder, Levels, grid, latin_hypercube};
use super::study::{Method, Study};
use super::summary::Summary;
use crate::crew::Crew;

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

/// How a study is gone through.
pub struct Going<'a, C> {
    /// Who shares the work.
    pub crew: &'a C,
    /// What a run that was stopped had judged.
    pub done: Rows,
    /// Keeps each setting as soon as it is judged.
    pub keep: &'a mut dyn FnMut(&Row) -> io::Result<()>,
    /// Is told how many more were judged, and their number in all when it is known; says whether to go on.
    pub progress: &'a (dyn Fn(u64, Option<u64>) -> bool + Sync),
}

/// Go through the study, or one shard of it.
///
/// # Errors
/// What was judged cannot be kept, or an evolution is to be split: its later settings depend on all earlier ones.
pub fn search<C: Crew>(
    study: &Study,
    cases: &[Case],
    shard: Shard,
    mut going: Going<'_, C>,
) -> crate::error::Result<Found> {
    let kept = going.done.len() as u64;
    let mut found = Found { rows: Rows::new(), refused: (0, None), kept, stopped: false };
    let mut todo = vec![(0, Levels::new())];
    let Some(plan) = planned(study) else {
        if shard.of > 1 {
            crate::error::bail!(
                "{}: search.method \"evolution\" cannot be split into shards, since what it tries next depends on all that came before; use \"latin_hypercube\" or \"grid\"",
                study.path.display()
            );
        }
        evolve(study, cases, &mut going, &mut found)?;
        return Ok(found);
    };
    todo.extend(plan.into_iter().enumerate().map(|(number, levels)| (number as u32 + 1, levels)));
    todo.retain(|(number, _)| number % shard.of == shard.number - 1);
    (going.progress)(0, Some(todo.len() as u64));
    go(study, cases, &todo, &mut going, &mut found)?;
    Ok(found)
}

fn evolve<C: Crew>(
    study: &Study,
    cases: &[Case],
    going: &mut Going<'_, C>,
    found: &mut Found,
) -> crate::error::Result<()> {
    let wanted = study.search.settings.unwrap_or(0);
    (going.progress)(0, Some(wanted as u64 + 1));
    go(study, cases, &[(0, Levels::new())], going, found)?;
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
        go(study, cases, &batch, going, found)?;
        breeder.select(batch.into_iter().filter_map(|(number, levels)| {
            let row = found.rows.get(&number)?;
            Some((levels, tuned(row).objectives()))
        }));
    }
    Ok(())
}

/// The sum over the traces that are not held out.
#[must_use]
pub fn tuned(row: &Row) -> Summary {
    Summary::of(row.outcomes.iter().filter(|outcome| !outcome.held_out))
}

/// The sum over the held-out traces.
#[must_use]
pub fn held_out(row: &Row) -> Summary {
    Summary::of(row.outcomes.iter().filter(|outcome| outcome.held_out))
}

/// Whether there is no proof: none of its traces is held out.
#[must_use]
pub fn none_held_out(row: &Row) -> bool {
    row.outcomes.iter().all(|outcome| !outcome.held_out)
}

fn go<C: Crew>(
    study: &Study,
    cases: &[Case],
    todo: &[(u32, Levels)],
    going: &mut Going<'_, C>,
    found: &mut Found,
) -> crate::error::Result<()> {
    let Going { crew, done, keep, progress } = going;
    for batch in todo.chunks(64) {
        let judged = crew.each(batch.iter().collect(), |(number, levels)| {
            if !progress(0, None) {
                return None;
            }
            let known = done.get(number).filter(|row| row.levels == *levels);
            let row = known.map_or_else(|| judge_all(study, cases, *number, levels), |row| Ok(row.clone()));
            progress(1, None);
            Some((*number, row))
        });
        let judged: BTreeMap<u32, Result<Row, String>> = judged.into_iter().flatten().collect();
        found.stopped = judged.len() < batch.len();
        for (number, row) in judged {
            match row {
                Ok(row) => {
                    if !done.contains_key(&number) {
                        keep(&row)?;
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
pub struct Beside<'a, C> {
    study: &'a Study,
    cases: &'a [Case],
    crew: &'a C,
    known: HashMap<Levels, Result<Row, String>>,
}

impl<'a, C: Crew> Beside<'a, C> {
    /// Knows what the search found.
    #[must_use]
    pub fn new(study: &'a Study, cases: &'a [Case], rows: &Rows, crew: &'a C) -> Self {
        let known =
            rows.iter().filter(|(number, _)| **number > 0).map(|(_, row)| (row.levels.clone(), Ok(row.clone())));
        let mut known: HashMap<Levels, Result<Row, String>> = known.collect();
        if let Some(present) = rows.get(&0) {
            known.insert(study.standing(), Ok(present.clone()));
        }
        Self { study, cases, crew, known }
    }

    /// Judge settings that were not searched.
    pub fn judge(&mut self, wanted: &[Levels]) {
        let new: Vec<&Levels> = wanted.iter().filter(|levels| !self.known.contains_key(*levels)).collect();
        let (study, cases) = (self.study, self.cases);
        let judged = self.crew.each(new, |levels| (levels.clone(), judge_all(study, cases, u32::MAX, levels)));
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
