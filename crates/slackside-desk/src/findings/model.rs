//! The model: a table of points. Each answer in the evidence gives each cause some points; what a cause has in the end is the logarithm
//! of its odds.
//!
//! An additive model of log odds (a multinomial logistic regression over answers sorted into bins): so it can be read, line by line, and
//! asks for no more than sums of small integers. It was learned from drawn runs by `cargo xtask findings`, and `learned.txt` says how.
//! It decides nothing.

use std::sync::OnceLock;

use slackside::conditions::Condition;

use super::cause::Cause;
use super::evidence::{Clue, Evidence, PAIRS, Raised};

/// Points for a factor of e in the odds.
pub const NAT: i32 = 16;
/// The causes the model knows.
pub const CAUSES: usize = Cause::ALL.len();
/// All chances together.
pub const WHOLE: u32 = 1_000_000;
/// Rows for each condition: raised with the moment, after it, first of all.
const OF_A_CONDITION: usize = 3;

/// The table that was learned.
const LEARNED: &str = include_str!("learned.txt");

/// A table of points.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Model {
    points: Vec<[i16; CAUSES]>,
    /// How it was made: the first lines of its file.
    pub provenance: String,
}

/// Where the rows of each clue begin: one for "unknown", and one more than there are cuts.
const fn begins() -> [usize; Clue::COUNT + 1] {
    let mut begins = [0; Clue::COUNT + 1];
    let mut index = 0;
    while index < Clue::COUNT {
        begins[index + 1] = begins[index] + Clue::ALL[index].entry().cuts.len() + 2;
        index += 1;
    }
    begins
}

const BEGINS: [usize; Clue::COUNT + 1] = begins();

/// Where the rows of each pair of questions begin.
const fn pairs_begin() -> [usize; PAIRS.len() + 1] {
    let mut begins = [BEGINS[Clue::COUNT] + OF_A_CONDITION * Condition::COUNT; PAIRS.len() + 1];
    let mut index = 0;
    while index < PAIRS.len() {
        let ((_, one), (_, other)) = PAIRS[index];
        begins[index + 1] = begins[index] + (one.len() + 2) * (other.len() + 2);
        index += 1;
    }
    begins
}

const PAIRS_BEGIN: [usize; PAIRS.len() + 1] = pairs_begin();

/// The row that every evidence points to: what each cause has before anything is asked.
pub const ALWAYS: usize = PAIRS_BEGIN[PAIRS.len()];

/// How many rows a model has.
pub const ROWS: usize = ALWAYS + 1;

/// The rows that an evidence points to.
pub fn rows(evidence: &Evidence) -> impl Iterator<Item = usize> {
    let bin = |clue: Clue, cuts: &[i32]| {
        evidence.get(clue).map_or(0, |answer| 1 + cuts.partition_point(|cut| *cut <= answer))
    };
    let clues = Clue::ALL.into_iter().map(move |clue| BEGINS[clue as usize] + bin(clue, clue.entry().cuts));
    let pairs = PAIRS.into_iter().zip(PAIRS_BEGIN).map(move |(((one, of_one), (other, of_other)), begin)| {
        begin + bin(one, of_one) * (of_other.len() + 2) + bin(other, of_other)
    });
    let of = |condition: usize, which: usize| BEGINS[Clue::COUNT] + OF_A_CONDITION * condition + which;
    let raised = evidence.raised.into_iter().enumerate().filter_map(move |(condition, raised)| match raised {
        Raised::No => None,
        Raised::With => Some(of(condition, 0)),
        Raised::After => Some(of(condition, 1)),
    });
    let first = evidence.first.map(|first| of(first.rank(), 2));
    clues.chain(raised).chain(first).chain(pairs).chain([ALWAYS])
}

/// The name of a row in the file.
#[must_use]
pub fn row_name(row: usize) -> String {
    if row == ALWAYS {
        return "always".to_owned();
    }
    if let Some(past) = row.checked_sub(PAIRS_BEGIN[0]) {
        let pair = PAIRS_BEGIN.partition_point(|begin| *begin <= row) - 1;
        let ((one, of_one), (other, of_other)) = PAIRS[pair];
        let (inside, width) = (past + PAIRS_BEGIN[0] - PAIRS_BEGIN[pair], of_other.len() + 2);
        let bins = (inside / width, inside % width);
        return format!(
            "{}:{}&{}:{}",
            one.entry().name,
            between(of_one, bins.0),
            other.entry().name,
            between(of_other, bins.1)
        );
    }
    if let Some(past) = row.checked_sub(BEGINS[Clue::COUNT]) {
        let condition = Condition::of_rank(past / OF_A_CONDITION).map_or("", Condition::name);
        return format!("{}:{condition}", ["with", "after", "first"][past % OF_A_CONDITION]);
    }
    let clue = BEGINS.partition_point(|begin| *begin <= row) - 1;
    let entry = Clue::ALL[clue].entry();
    format!("{}:{}", entry.name, between(entry.cuts, row - BEGINS[clue]))
}

/// Between which cuts an answer lies.
fn between(cuts: &[i32], bin: usize) -> String {
    let bound = |index: usize| cuts.get(index).map_or_else(String::new, ToString::to_string);
    match bin {
        0 => "unknown".to_owned(),
        1 => format!("..{}", bound(0)),
        _ => format!("{}..{}", bound(bin - 2), bound(bin - 1)),
    }
}

impl Model {
    /// The one that was learned.
    #[must_use]
    pub fn learned() -> &'static Self {
        static MODEL: OnceLock<Model> = OnceLock::new();
        MODEL.get_or_init(|| Self::parse(LEARNED).unwrap_or_else(|wrong| unreachable!("learned.txt: {wrong}")))
    }

    /// Of points and what is to be known of them.
    #[must_use]
    pub const fn new(points: Vec<[i16; CAUSES]>, provenance: String) -> Self {
        Self { points, provenance }
    }

    /// As text: provenance, the causes, then a row for each answer with its points; zeros are left out.
    #[must_use]
    pub fn text(&self) -> String {
        let mut text = self.provenance.clone();
        let names = Cause::ALL.map(Cause::name).join(",");
        text.push_str(&format!("{names}\n"));
        for (row, points) in self.points.iter().enumerate().filter(|(_, points)| points.iter().any(|point| *point != 0))
        {
            let cells = points.map(|point| if point == 0 { String::new() } else { point.to_string() }).join(",");
            text.push_str(&format!("{} {}\n", row_name(row), cells.trim_end_matches(',')));
        }
        text
    }

    /// Of text.
    ///
    /// # Errors
    /// What is wrong with it, with its line: it was made for other causes or other questions.
    pub fn parse(text: &str) -> Result<Self, String> {
        let provenance: String = text.split_inclusive('\n').take_while(|line| line.starts_with('#')).collect();
        let mut lines = text.lines().enumerate().skip_while(|(_, line)| line.starts_with('#'));
        if lines.next().map(|(_, line)| line) != Some(Cause::ALL.map(Cause::name).join(",").as_str()) {
            return Err("its causes are not those of the code: learn it anew".to_owned());
        }
        let known: std::collections::HashMap<String, usize> = (0..ROWS).map(|row| (row_name(row), row)).collect();
        let mut points = vec![[0_i16; CAUSES]; ROWS];
        for (number, line) in lines {
            let wrong = |what: &str| format!("line {}: {what}", number + 1);
            let (name, cells) = line.split_once(' ').ok_or_else(|| wrong("no points"))?;
            let row = known.get(name).ok_or_else(|| wrong("no question has this answer: learn it anew"))?;
            for (cell, point) in cells.split(',').zip(&mut points[*row]) {
                if !cell.is_empty() {
                    *point = cell.parse().map_err(|_| wrong("not a whole number"))?;
                }
            }
        }
        Ok(Self { points, provenance })
    }

    /// How likely each cause is, in millionths that add up to [`WHOLE`] but for rounding.
    #[must_use]
    pub fn chances(&self, evidence: &Evidence) -> [u32; CAUSES] {
        let mut sums = [0_i32; CAUSES];
        for row in rows(evidence) {
            for (sum, point) in sums.iter_mut().zip(self.points[row]) {
                *sum += i32::from(point);
            }
        }
        let most = sums.into_iter().max().unwrap_or(0);
        let odds = sums.map(|sum| falling(most.abs_diff(sum)));
        let all: u64 = odds.iter().sum();
        odds.map(|odds| u32::try_from(odds * u64::from(WHOLE) / all.max(1)).unwrap_or(0))
    }
}

/// e to the power of minus so many points, in 2^32 parts.
fn falling(points: u32) -> u64 {
    /// e^(-1/16), e^(-2/16), e^(-4/16) and so on, in 2^32 parts.
    const HALVINGS: [u64; 9] = [
        4_034_748_382,
        3_790_295_335,
        3_344_923_893,
        2_605_029_347,
        1_580_030_169,
        581_260_615,
        78_665_070,
        1_440_801,
        483,
    ];
    if points >= 1 << HALVINGS.len() {
        return 0;
    }
    let factors = HALVINGS.iter().enumerate().filter(|(bit, _)| points >> bit & 1 == 1);
    factors.fold(1 << 32, |product: u64, (_, factor)| ((u128::from(product) * u128::from(*factor)) >> 32) as u64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_fall_as_the_exponential_does() {
        for points in 0..500_u32 {
            let exact = libm::exp(-f64::from(points) / f64::from(NAT));
            let ours = falling(points) as f64 / 4_294_967_296.0;
            assert!((ours - exact).abs() < 1e-8, "{points}: {ours} {exact}");
        }
    }

    #[test]
    fn every_row_has_a_name_of_its_own_and_the_text_comes_back() {
        let names: std::collections::HashSet<String> = (0..ROWS).map(row_name).collect();
        assert_eq!(names.len(), ROWS);
        let learned = Model::learned();
        assert_eq!(&Model::parse(&learned.text()).expect("its own text"), learned);
        assert_eq!(learned.text(), LEARNED);
    }

    #[test]
    fn chances_add_up() {
        let all: u32 = Model::learned().chances(&Evidence::default()).iter().sum();
        assert!((WHOLE - 100..=WHOLE).contains(&all), "{all}");
    }
}
