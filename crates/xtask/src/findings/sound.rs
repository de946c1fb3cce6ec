//! Sound shifts of the page of scores: only those in which something was alarmed need be played again, since nothing is named in the rest.

use std::path::Path;

use anyhow::{Context, Result, anyhow};
use regex::Regex;

/// What a page of scores says of its sound shifts.
#[derive(Debug, PartialEq)]
pub struct Sound {
    /// The seed they were drawn from.
    pub seed: u64,
    /// Hours with the motor on.
    pub hours: f64,
    /// The numbers of those in which something was alarmed or stopped; of all, where the page does not tell them.
    pub shifts: Vec<usize>,
}

impl Sound {
    /// Of a page.
    pub fn read(page: &Path) -> Result<Self> {
        let text = std::fs::read_to_string(page).with_context(|| format!("{}", page.display()))?;
        Self::of(&text).with_context(|| format!("{} is no page of scores", page.display()))
    }

    fn of(text: &str) -> Result<Self> {
        let find = |what: &str| -> Result<Option<String>> {
            Ok(Regex::new(what)?.captures(text).map(|found| found[1].to_owned()))
        };
        let missing = |what: &str| anyhow!("{what} expected, none found");
        let seed = find(r"--score \S+ .*--seed (\d+)")?.ok_or_else(|| missing("the seed in its command"))?;
        let hours = find(r"(?m)^(\d+) hours with the motor on")?.ok_or_else(|| missing("healthy hours"))?;
        let all =
            find(r"(?m)^\d+ hours with the motor on, in (\d+) shifts")?.ok_or_else(|| missing("healthy shifts"))?;
        let shifts = match find(r"(?m)^Alarmed or stopped: shifts ((?:\d+, )*\d+)")? {
            Some(numbers) => numbers.split(", ").map(str::parse).collect::<Result<_, _>>()?,
            None => (0..all.parse()?).collect(),
        };
        Ok(Self { seed: seed.parse()?, hours: hours.parse()?, shifts })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_of_scores_tells_seed_hours_and_the_shifts_that_were_alarmed() {
        let page = "slackside simulate --score scenarios --hours 3000 --repeat 3 --seed 2029 --write FILE\n\
            4 hours with the motor on, in 5 shifts of an hour.\n";
        let all = Sound { seed: 2029, hours: 4.0, shifts: vec![0, 1, 2, 3, 4] };
        assert_eq!(Sound::of(page).expect("a page"), all);
        let told = format!("{page}Alarmed or stopped: shifts 1, 3, rightly or not.\n");
        assert_eq!(Sound::of(&told).expect("a page"), Sound { shifts: vec![1, 3], ..all });
        let refused = Sound::of("# Another page").expect_err("no page of scores").to_string();
        assert!(refused.contains("seed"), "{refused}");
    }
}
