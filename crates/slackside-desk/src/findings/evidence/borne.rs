//! Which loads a leg has borne since it settled, so that the one it slips under can be held against them.

use std::collections::VecDeque;

use super::{Clue, Evidence};

/// Seconds kept: ten minutes.
const KEPT: usize = 600;
/// What was borne was so many seconds before slip began.
const BEFORE_S: u64 = 20;
/// The seconds before slip began.
const LAST_S: u64 = 4;
/// By how much a head must slow, and speed up again, to have swung, in ppm of normal.
const SWUNG: i32 = 2_000;

/// A second's head speed in ppm of what is asked for, and power per mille of rated.
#[derive(Clone, Copy, Debug)]
struct Second {
    number: u64,
    head: Option<i32>,
    power: Option<i32>,
}

/// What was borne.
#[derive(Clone, Debug, Default)]
pub(super) struct Borne {
    kept: VecDeque<Second>,
}

impl Borne {
    /// A second of a leg that runs, and has settled.
    pub fn add(&mut self, number: u64, head: Option<i32>, power: Option<i32>) {
        if self.kept.len() == KEPT {
            self.kept.pop_front();
        }
        self.kept.push_back(Second { number, head, power });
    }

    /// Write down what was borne before second `foot`, in which slip began.
    pub fn tell(&self, foot: u64, evidence: &mut Evidence) {
        let before = || self.kept.iter().filter(|second| second.number + BEFORE_S <= foot);
        let last = || self.kept.iter().filter(|second| (foot.saturating_sub(LAST_S)..=foot).contains(&second.number));
        let least = before().filter_map(|second| second.head).min();
        let now = last().filter_map(|second| second.head).min();
        evidence.set(Clue::HeadBorne, now.zip(least).map(|(now, least)| now.saturating_sub(least)));
        let most = before().filter_map(|second| second.power).max();
        let now = last().filter_map(|second| second.power).max();
        evidence.set(Clue::PowerBorne, most.zip(now).map(|(most, now)| most.saturating_sub(now)));
        let heads: Vec<i32> =
            self.kept.iter().filter(|second| second.number <= foot).filter_map(|second| second.head).collect();
        evidence.set(Clue::LoadSwings, swings(&heads));
    }
}

/// How often a figure fell by at least [`SWUNG`], each time from where it had come up to by as much; unknown where it was never told.
fn swings(figures: &[i32]) -> Option<i32> {
    let (mut top, mut bottom, mut loaded, mut count) = (*figures.first()?, 0, false, 0);
    for figure in figures.iter().copied() {
        if loaded {
            bottom = bottom.min(figure);
            (loaded, top) = (figure < bottom.saturating_add(SWUNG), figure);
        } else {
            top = top.max(figure);
            if figure <= top.saturating_sub(SWUNG) {
                (loaded, bottom, count) = (true, figure, count + 1);
            }
        }
    }
    Some(count)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A leg whose head ran at these speeds, a second each; slip begins in the last.
    fn told(heads: &[i32]) -> Evidence {
        let mut borne = Borne::default();
        for (number, head) in heads.iter().enumerate() {
            borne.add(number as u64, Some(*head), Some((1_010_000 - head) / 10));
        }
        let mut evidence = Evidence::default();
        borne.tell(heads.len() as u64, &mut evidence);
        evidence
    }

    #[test]
    fn a_load_that_was_borne_before_is_told_from_one_that_is_more_than_ever() {
        // Full for a minute, half for another, then full again.
        let full = |seconds: usize| vec![1_000_000; seconds];
        let half = |seconds: usize| vec![1_005_000; seconds];
        let again = told(&[full(60), half(60), full(10)].concat());
        assert_eq!((again.get(Clue::HeadBorne), again.get(Clue::PowerBorne)), (Some(0), Some(0)));
        let lighter = told(&[full(60), half(60)].concat());
        assert_eq!((lighter.get(Clue::HeadBorne), lighter.get(Clue::PowerBorne)), (Some(5_000), Some(500)));
        let never = told(&[half(60), full(10)].concat());
        assert_eq!((never.get(Clue::HeadBorne), never.get(Clue::PowerBorne)), (Some(-5_000), Some(-500)));
        // Ten seconds are too little to have borne anything.
        assert_eq!(told(&full(10)).get(Clue::HeadBorne), None);
    }

    #[test]
    fn slugs_are_counted_and_a_steady_load_is_none() {
        let slugs: Vec<i32> = (0..300).map(|second| if second % 60 < 50 { 1_006_000 } else { 996_000 }).collect();
        assert_eq!(told(&slugs).get(Clue::LoadSwings), Some(5));
        assert_eq!(told(&[1_001_000; 300]).get(Clue::LoadSwings), Some(0));
        assert_eq!(told(&[]).get(Clue::LoadSwings), None);
    }
}
