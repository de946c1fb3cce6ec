//! Which settings to try, as levels of the study's knobs. Chance depends on the study's seed alone.

use std::collections::HashSet;

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

use super::knob::Knob;
use super::summary::{OBJECTIVES, Objectives};

/// The levels of one setting, one for each knob.
pub type Levels = Vec<u16>;

/// Every combination, the last knob turning fastest.
#[must_use]
pub fn grid(knobs: &[Knob]) -> Vec<Levels> {
    let mut all = vec![Levels::new()];
    for knob in knobs {
        all = all
            .into_iter()
            .flat_map(|levels| {
                (0..knob.levels()).map(move |level| {
                    let mut more = levels.clone();
                    more.push(level);
                    more
                })
            })
            .collect();
    }
    all
}

fn below(chance: &mut ChaCha8Rng, end: usize) -> usize {
    // Far below 2^32: the bias is below one in a million.
    (chance.next_u64() % end.max(1) as u64) as usize
}

fn part(chance: &mut ChaCha8Rng) -> f64 {
    (chance.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
}

/// A Latin hypercube: `count` settings such that each knob's ladder, cut into `count` even strata, is hit once in each. Twins that
/// come of rounding to levels are left out.
#[must_use]
pub fn latin_hypercube(knobs: &[Knob], count: usize, seed: u64) -> Vec<Levels> {
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let mut columns = Vec::new();
    for knob in knobs {
        let mut column: Vec<u16> = (0..count)
            .map(|stratum| {
                let place = (stratum as f64 + part(&mut chance)) / count as f64;
                ((place * f64::from(knob.levels())) as u16).min(knob.levels() - 1)
            })
            .collect();
        for last in (1..column.len()).rev() {
            let other = below(&mut chance, last + 1);
            column.swap(last, other);
        }
        columns.push(column);
    }
    let mut seen = HashSet::new();
    (0..count)
        .map(|row| columns.iter().map(|column| column[row]).collect::<Levels>())
        .filter(|levels| seen.insert(levels.clone()))
        .collect()
}

/// Whether `one` is at least as good as `other` everywhere and better somewhere.
#[must_use]
pub fn dominates(one: &Objectives, other: &Objectives) -> bool {
    one.iter().zip(other).all(|(one, other)| one <= other) && one.iter().zip(other).any(|(one, other)| one < other)
}

/// The indices that no other dominates, smallest first.
#[must_use]
pub fn pareto(objectives: &[Objectives]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..objectives.len()).collect();
    let by_parts = |one: &Objectives, other: &Objectives| {
        let parts = one.iter().zip(other).map(|(one, other)| one.total_cmp(other));
        parts.into_iter().find(|part| part.is_ne()).unwrap_or(std::cmp::Ordering::Equal)
    };
    order.sort_by(|one, other| by_parts(&objectives[*one], &objectives[*other]));
    // Whatever dominates comes first in this order, so that the front found so far is all there is to compare with.
    let mut distinct: Vec<Objectives> = Vec::new();
    let mut front = Vec::new();
    for number in order {
        let own = &objectives[number];
        if distinct.last() == Some(own) {
            front.push(number);
        } else if !distinct.iter().any(|better| dominates(better, own)) {
            if !distinct.contains(own) {
                distinct.push(*own);
            }
            front.push(number);
        }
    }
    front.sort_unstable();
    front
}

/// Non-dominated sorting and crowding: for each the rank of its front, 0 the best, and how alone it stands in it.
fn rank(objectives: &[Objectives]) -> Vec<(usize, f64)> {
    let mut ranks = vec![(usize::MAX, 0.0); objectives.len()];
    let mut left: Vec<usize> = (0..objectives.len()).collect();
    let mut front_number = 0;
    while !left.is_empty() {
        let front: Vec<usize> = left
            .iter()
            .copied()
            .filter(|number| !left.iter().any(|other| dominates(&objectives[*other], &objectives[*number])))
            .collect();
        for number in &front {
            ranks[*number].0 = front_number;
        }
        let values = (0..OBJECTIVES).map(|part| move |number: usize| objectives[number][part]);
        for value in values {
            let mut order = front.clone();
            order.sort_by(|one, other| value(*one).total_cmp(&value(*other)));
            let (Some(first), Some(last)) = (order.first(), order.last()) else { break };
            let span = value(*last) - value(*first);
            ranks[*first].1 = f64::INFINITY;
            ranks[*last].1 = f64::INFINITY;
            if span > 0.0 && span.is_finite() {
                for three in order.windows(3) {
                    ranks[three[1]].1 += (value(three[2]) - value(three[0])) / span;
                }
            }
        }
        left.retain(|number| ranks[*number].0 == usize::MAX);
        front_number += 1;
    }
    ranks
}

/// Breeds settings towards the best trade-offs: NSGA-II (Deb, Pratap, Agarwal and Meyarivan, IEEE Transactions on Evolutionary
/// Computation 6, 2002), on ladders instead of real numbers: uniform crossover, and mutation by a few rungs. Written here because
/// the libraries found bring plotting and serialisation of their own with them.
pub struct Breeder {
    ladders: Vec<u16>,
    chance: ChaCha8Rng,
    population: usize,
    parents: Vec<(Levels, Objectives)>,
    tried: HashSet<Levels>,
}

impl Breeder {
    /// Begin.
    #[must_use]
    pub fn new(knobs: &[Knob], population: usize, seed: u64) -> Self {
        Self {
            ladders: knobs.iter().map(Knob::levels).collect(),
            chance: ChaCha8Rng::seed_from_u64(seed),
            population,
            parents: Vec::new(),
            tried: HashSet::new(),
        }
    }

    /// The next settings to try, none of them tried before; empty once nothing new can be found.
    pub fn breed(&mut self, knobs: &[Knob]) -> Vec<Levels> {
        if self.parents.is_empty() && self.tried.is_empty() {
            let first = latin_hypercube(knobs, self.population, self.chance.next_u64());
            self.tried.extend(first.iter().cloned());
            return first;
        }
        if self.parents.is_empty() {
            return Vec::new();
        }
        let objectives: Vec<Objectives> = self.parents.iter().map(|(_, objectives)| *objectives).collect();
        let ranks = rank(&objectives);
        let mut children = Vec::new();
        for _ in 0..self.population * 20 {
            if children.len() >= self.population {
                break;
            }
            let mut pick = || {
                let (one, other) = (below(&mut self.chance, ranks.len()), below(&mut self.chance, ranks.len()));
                let better =
                    ranks[one].0 < ranks[other].0 || (ranks[one].0 == ranks[other].0 && ranks[one].1 >= ranks[other].1);
                if better { one } else { other }
            };
            let (mother, father) = (pick(), pick());
            let mut child = Levels::new();
            for (number, levels) in self.ladders.iter().enumerate() {
                let from = if part(&mut self.chance) < 0.5 { mother } else { father };
                let mut level = i32::from(self.parents[from].0[number]);
                if part(&mut self.chance) < 1.5 / self.ladders.len() as f64 {
                    let reach = (f64::from(*levels) / 4.0).max(1.0);
                    let far = reach * part(&mut self.chance).powi(3);
                    let step = (far.ceil() as i32).max(1);
                    level += if part(&mut self.chance) < 0.5 { step } else { -step };
                }
                child.push(level.clamp(0, i32::from(*levels) - 1) as u16);
            }
            if self.tried.insert(child.clone()) {
                children.push(child);
            }
        }
        children
    }

    /// Take what came of them; the fittest become parents.
    pub fn select(&mut self, bred: impl IntoIterator<Item = (Levels, Objectives)>) {
        self.parents.extend(bred);
        let objectives: Vec<Objectives> = self.parents.iter().map(|(_, objectives)| *objectives).collect();
        let ranks = rank(&objectives);
        let mut order: Vec<usize> = (0..self.parents.len()).collect();
        order.sort_by(|one, other| {
            ranks[*one].0.cmp(&ranks[*other].0).then(ranks[*other].1.total_cmp(&ranks[*one].1)).then(one.cmp(other))
        });
        order.truncate(self.population);
        self.parents = order.into_iter().map(|number| self.parents[number].clone()).collect();
    }
}
