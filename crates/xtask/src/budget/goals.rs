//! The goals, and how the tables stand to them.

use std::fmt::Write;

use super::counts::{DEADLINE, EDGE, HEALTHY, LEGS, M3, RANDOM, SETTLED, STACK, TAKEN, V6M_SMALL};
use super::host;
use super::lines;
use super::table::Table;
use super::weights::{ALL, EIGHT, TITLE, WHOLE};

struct Goal {
    what: &'static str,
    table: &'static str,
    /// Rows whose sum is held against the goal.
    rows: &'static [&'static str],
    column: &'static str,
    at_most: u64,
}

const V6M: &str = "thumbv6m-none-eabi";
const BOTH: &[&str] = &[EDGE, DEADLINE];

const GOALS: &[Goal] = &[
    Goal {
        what: "flash with recorder and link, size-optimised, thumbv6m",
        table: TITLE,
        rows: &[V6M],
        column: WHOLE,
        at_most: 24_576,
    },
    Goal { what: "RAM, 8 marks", table: TITLE, rows: &[V6M], column: EIGHT, at_most: 1_600 },
    Goal { what: "RAM, 64 marks", table: TITLE, rows: &[V6M], column: ALL, at_most: 3_072 },
    Goal {
        what: "an edge and its settling on Cortex-M3, mean, healthy leg",
        table: HEALTHY,
        rows: &[SETTLED],
        column: M3,
        at_most: 600,
    },
    Goal {
        what: "an edge and its settling on Cortex-M3, most, the three legs",
        table: LEGS,
        rows: BOTH,
        column: M3,
        at_most: 4_500,
    },
    Goal {
        what: "an edge and its settling on Cortex-M3, most, random legs",
        table: RANDOM,
        rows: BOTH,
        column: M3,
        at_most: 5_200,
    },
    Goal {
        what: "an edge and its settling on thumbv6m for size, mean, healthy leg",
        table: HEALTHY,
        rows: &[SETTLED],
        column: V6M_SMALL,
        at_most: 2_100,
    },
    Goal {
        what: "an edge and its settling on thumbv6m for size, most, the three legs",
        table: LEGS,
        rows: BOTH,
        column: V6M_SMALL,
        at_most: 17_000,
    },
    Goal { what: "stack of an input on Cortex-M3", table: STACK, rows: &["an input"], column: M3, at_most: 512 },
    Goal {
        what: "stack of an input on thumbv6m for size",
        table: STACK,
        rows: &["an input"],
        column: V6M_SMALL,
        at_most: 768,
    },
    Goal { what: "taking a plan on Cortex-M3", table: LEGS, rows: &[TAKEN], column: M3, at_most: 3_000 },
    Goal {
        what: "instructions an input on the desk, healthy leg, singly",
        table: host::TITLE,
        rows: &[host::SINGLY],
        column: host::COLUMN,
        at_most: 450,
    },
    Goal {
        what: "instructions an input on the desk, healthy leg, in a batch",
        table: host::TITLE,
        rows: &[host::BATCH],
        column: host::COLUMN,
        at_most: 360,
    },
    Goal {
        what: "lines of judge and measure, without comments and tests",
        table: lines::TITLE,
        rows: &[lines::BOTH],
        column: "lines",
        at_most: 2_700,
    },
];

/// A goal as the tables stand to it; no value where nothing was measured.
pub struct Outcome {
    pub what: &'static str,
    pub at_most: u64,
    pub value: Option<u64>,
}

impl Outcome {
    /// Whether it is reached: what was not measured is not.
    pub fn is_reached(&self) -> bool {
        self.value.is_some_and(|value| value <= self.at_most)
    }

    fn measured(&self) -> String {
        self.value.map_or_else(|| "not measured".to_owned(), |value| value.to_string())
    }
}

/// Every goal.
pub fn outcomes(tables: &[Table]) -> Vec<Outcome> {
    let outcome = |goal: &Goal| {
        let table = tables.iter().find(|table| table.title == goal.table);
        let value = table.and_then(|table| goal.rows.iter().map(|row| table.cell(row, goal.column)).sum());
        Outcome { what: goal.what, at_most: goal.at_most, value }
    };
    GOALS.iter().map(outcome).collect()
}

/// Every goal that `old` reached and `new` misses. A goal missed before is on the page as missed, and printed: no failure.
pub fn lost(old: &[Table], new: &[Table]) -> Vec<String> {
    let pairs = outcomes(old).into_iter().zip(outcomes(new));
    let lost = pairs.filter(|(before, now)| before.is_reached() && !now.is_reached());
    lost.map(|(_, now)| format!("{}: {}, and the goal was reached: {}", now.what, now.measured(), now.at_most))
        .collect()
}

/// The table of the goals.
pub fn text(tables: &[Table]) -> String {
    let mut text = String::from("## Against the goals\n\n| what | goal | measured | |\n|---|---:|---:|---|\n");
    for outcome in outcomes(tables) {
        let verdict = if outcome.is_reached() { "reached" } else { "missed" };
        let _ = writeln!(text, "| {} | {} | {} | {verdict} |", outcome.what, outcome.at_most, outcome.measured());
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_not_measured_is_not_reached() {
        assert!(outcomes(&[]).iter().all(|outcome| !outcome.is_reached()));
    }

    fn an_edge(edge: u64) -> Vec<Table> {
        vec![Table::new(LEGS, &[M3]).row(EDGE, vec![Some(edge)]).row(DEADLINE, vec![Some(500)])]
    }

    #[test]
    fn only_a_goal_that_was_reached_can_be_lost() {
        assert!(lost(&an_edge(4_001), &an_edge(4_004)).is_empty());
        assert!(lost(&an_edge(4_001), &an_edge(4_000)).is_empty());
        let what = "an edge and its settling on Cortex-M3, most, the three legs";
        assert_eq!(lost(&an_edge(4_000), &an_edge(4_001)), [format!("{what}: 4501, and the goal was reached: 4500")]);
        assert_eq!(lost(&an_edge(4_000), &[]), [format!("{what}: not measured, and the goal was reached: 4500")]);
    }

    #[test]
    fn a_sum_is_held_against_its_goal() {
        let reached = |edge| outcomes(&an_edge(edge)).iter().filter(|outcome| outcome.is_reached()).count();
        assert_eq!((reached(4_000), reached(4_001)), (1, 0));
    }
}
