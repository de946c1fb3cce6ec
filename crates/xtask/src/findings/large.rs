//! What large classifiers made of the same runs: figures that another program writes (`bench/findings_large.py`), and what the page says
//! of them beside the trees.

use std::fmt::Write as _;

use slackside_desk::findings::learn::measure::{Measured, Share, Weighed};

/// The figures of a row, in order: right first and among two with all causes alike, as a report weighs them, as often as they come, in per
/// cent; Brier's score of the last.
const FIGURES: usize = 7;
/// What each pair of them is of.
const WEIGHTINGS: [&str; 3] = ["all causes alike", "as a report weighs them", "as often as they come"];
/// No more than this short of the best was wanted, in points.
const NEAR: f64 = 1.0;

/// One classifier.
#[derive(Clone, Debug, PartialEq)]
struct Row {
    name: String,
    figures: [f64; FIGURES],
}

/// Large classifiers, by their names.
#[derive(Clone, Debug, PartialEq)]
pub struct Large {
    /// What says of which runs they were: the first line of the store.
    pub runs: String,
    /// With which libraries.
    libraries: String,
    rows: Vec<Row>,
}

impl Large {
    /// Of a table: `# ` and which runs, `# ` and with which libraries, a line of heads, and a line for each classifier.
    ///
    /// # Errors
    /// The line that is wrong, and what was expected.
    pub fn parse(text: &str) -> Result<Self, String> {
        let mut lines = text.lines().enumerate();
        let mut told = || lines.next().and_then(|(_, line)| line.strip_prefix("# ")).map(str::to_owned);
        let (runs, libraries) =
            told().zip(told()).ok_or("lines 1 and 2: `# ` and the runs, `# ` and the libraries expected")?;
        let row = |(number, line): (usize, &str)| {
            let mut cells = line.split(',');
            let name = cells.next().unwrap_or_default().to_owned();
            let figures: Vec<f64> = cells.map_while(|cell| cell.parse().ok()).collect();
            let figures = figures
                .try_into()
                .map_err(|_| format!("line {}: a name and {FIGURES} figures expected", number + 1))?;
            Ok(Row { name, figures })
        };
        let rows = lines.skip(1).map(row).collect::<Result<Vec<_>, String>>()?;
        if rows.is_empty() { Err("no classifier in it".to_owned()) } else { Ok(Self { runs, libraries, rows }) }
    }

    /// The best of all in each figure.
    fn best(&self) -> [f64; FIGURES] {
        std::array::from_fn(|at| {
            let better = if at + 1 == FIGURES { f64::min } else { f64::max };
            self.rows.iter().map(|row| row.figures[at]).reduce(better).unwrap_or(f64::NAN)
        })
    }

    /// A part of the page: the trees among them. `runs`: what says of which runs the trees' figures are, and of which seed they were drawn.
    #[must_use]
    pub fn beside(&self, all: &Measured, runs: &str, seed: u64) -> String {
        let shares = [all.first, all.second].map(Share::per_cent);
        let [reported, reported_two] = all.reported.map(Share::per_cent);
        let [come, come_two] = [all.common[0], all.common[1]].map(Weighed::per_cent);
        let trees = [shares[0], shares[1], reported, reported_two, come, come_two, all.brier];
        let mut out = format!(
            "Large classifiers on the very same runs, learned from and held out, with the same questions and weights, stand beside the trees; `python\n\
             bench/findings_large.py target/findings {seed}` measures them ({}). They have no rules of physics beside them, as the\n\
             report has. Which is best was seen on the held-out runs themselves, so that the best is flattered.\n\n\
             | likeliest right, and of two | {} | Brier's score |\n|---|---:|---:|---:|---:|\n",
            self.libraries,
            WEIGHTINGS.join(" | ")
        );
        let mut line = |name: &str, figures: &[f64; FIGURES]| {
            let [a, b, c, d, e, f, brier] = figures;
            let _ = writeln!(out, "| {name} | {a:.1}, {b:.1} % | {c:.1}, {d:.1} % | {e:.1}, {f:.1} % | {brier:.3} |");
        };
        for row in &self.rows {
            line(&row.name, &row.figures);
        }
        line("**the trees**", &trees);
        if self.runs != runs {
            out.push_str("\nThe large ones are of an earlier draw than the trees, and cannot be held against them.\n");
            return out;
        }
        let short = |at: usize| self.best()[at] - trees[at];
        let told = |at: usize| {
            let among = if at.is_multiple_of(2) { "first" } else { "of two" };
            format!("{among}, {} ({:.1} short)", WEIGHTINGS[at / 2], short(at))
        };
        let missed: Vec<String> = (0..FIGURES - 1).filter(|at| short(*at) > NEAR).map(told).collect();
        let _ = writeln!(
            out,
            "\nWithin one point of the best of each column was wanted where nine in ten and 98 in a hundred cannot be had: {}.",
            if missed.is_empty() {
                "the trees are so in all".to_owned()
            } else {
                format!("missed {}", missed.join("; "))
            }
        );
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &str = "# drawn by sources 1\n# numpy 2\nname,figures\na forest,90.0,97.0,89.0,96.0,88.0,95.0,0.250\nboosting,91.0,96.0,88.0,97.0,87.0,94.0,0.200\n";

    #[test]
    fn the_best_of_each_column_is_held_against_the_trees_and_a_point_is_near_enough() {
        let large = Large::parse(TABLE).expect("a table");
        assert_eq!(large.best(), [91.0, 97.0, 89.0, 97.0, 88.0, 95.0, 0.2]);
        let mut all = Measured {
            first: Share { right: 902, of: 1_000 },
            second: Share { right: 970, of: 1_000 },
            reported: [Share { right: 879, of: 1_000 }, Share { right: 970, of: 1_000 }],
            ..Measured::default()
        };
        all.common[0] = Weighed { right: 87.2, of: 100.0, count: 1, ..Weighed::default() };
        all.common[1] = Weighed { right: 95.0, of: 100.0, count: 1, ..Weighed::default() };
        let told = large.beside(&all, "drawn by sources 1", 2);
        assert!(
            told.contains("missed first, as a report weighs them (1.1 short).") && !told.contains("first, all"),
            "{told}"
        );
        assert!(large.beside(&all, "drawn by sources 2", 2).contains("an earlier draw"), "of other runs");
    }

    #[test]
    fn a_table_that_is_cut_off_is_refused_with_its_line() {
        for (text, told) in [
            ("", "lines 1 and 2"),
            ("# a\n# b\nname\n", "no classifier"),
            ("# a\n# b\nname\nforest,1,2,3\n", "line 4: a name and 7 figures"),
        ] {
            let refused = Large::parse(text).expect_err("refused");
            assert!(refused.contains(told), "{refused}");
        }
    }
}
