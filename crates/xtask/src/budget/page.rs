//! The page of the book that holds the figures.

use std::fmt::Write;

use super::counts::{HEALTHY, STACK, WORST};
use super::table::Table;
use super::weights::{ALL, EIGHT, TITLE, WHOLE};

const OPENING: &str = "\
# What it costs

Written by `cargo xtask budget`; do not edit. `cargo xtask budget --check` measures again and fails if a figure grew by more than
5 %.

Flash is the whole of a linked image that calls what a box calls (settings image read and checked, monitor configured and fed,
status and survivor read), with the compiler's own arithmetic and copying routines, without start-up code. It holds the monitor's
initial state, which start-up code copies to RAM. A *mark* is a counted edge a turn: four targets have four marks, or eight
with both edges counted. Flash is for eight marks. \"With recorder and link\" is the same image with the recorder and the whole
of the link's protocol.

Instructions are counted by the emulator, one by one, around each call; they are not clock cycles: a Cortex-M3 takes between one
and two cycles for most. Counts come in steps of five. Deadlines that fall due are settled by ticks of their own, as a box
does it, and are listed apart; the verdicts were the desk's own, byte for byte. \"All else\" is drive contact, power, temperature
and commands. An edge only waits until its level has been held for the minimum width; the work it makes, slip and every condition,
is done when that deadline is settled. So the cost of an edge is the two rows together. The legs tried: the example leg running well; the same with noise, rubbing, commands and slip to standstill;
one target at the head against 32 at the boot.

Stack is what a call took below its caller, found by painting; interrupts come on top. \"Settings taken\" is `configure`;
reading and checking a settings image before it is not in it.
";

/// How the line that names the compiler begins.
pub const TAKEN_WITH: &str = "Taken with ";

/// The line that names the compiler.
pub fn taken_with(compiler: &str) -> String {
    format!("{TAKEN_WITH}{compiler}.")
}

struct Goal {
    what: &'static str,
    table: &'static str,
    /// Rows whose sum is held against the goal.
    rows: &'static [&'static str],
    column: &'static str,
    at_most: u64,
}

/// The budgets set before anything was written. Flash was set with recording and link in mind.
const GOALS: [Goal; 9] = [
    Goal {
        what: "flash with recorder and link, size-optimised, thumbv6m",
        table: TITLE,
        rows: &["thumbv6m-none-eabi"],
        column: WHOLE,
        at_most: 24 * 1024,
    },
    Goal {
        what: "RAM, 4 targets a turn, either edge or both",
        table: TITLE,
        rows: &["thumbv6m-none-eabi"],
        column: EIGHT,
        at_most: 2 * 1024,
    },
    Goal {
        what: "RAM, 32 targets a turn",
        table: TITLE,
        rows: &["thumbv6m-none-eabi"],
        column: ALL,
        at_most: 5 * 1024,
    },
    Goal {
        what: "an edge and its settling on Cortex-M3, mean",
        table: HEALTHY,
        rows: &["edge", "deadline settled"],
        column: "Cortex-M3, for speed",
        at_most: 1_000,
    },
    Goal {
        what: "an edge and its settling on Cortex-M3, most",
        table: WORST,
        rows: &["edge", "deadline settled"],
        column: "Cortex-M3, for speed",
        at_most: 6_000,
    },
    Goal {
        what: "an edge and its settling on thumbv6m, mean",
        table: HEALTHY,
        rows: &["edge", "deadline settled"],
        column: "thumbv6m, for speed",
        at_most: 3_000,
    },
    Goal {
        what: "stack of an input on Cortex-M3",
        table: STACK,
        rows: &["an input"],
        column: "Cortex-M3, for speed",
        at_most: 2 * 1024,
    },
    Goal {
        what: "stack of an input on thumbv6m",
        table: STACK,
        rows: &["an input"],
        column: "thumbv6m, for size",
        at_most: 2 * 1024,
    },
    Goal {
        what: "stack of taking settings on Cortex-M3",
        table: STACK,
        rows: &["settings taken"],
        column: "Cortex-M3, for speed",
        at_most: 2 * 1024,
    },
];

const MISSED: &str = "
What is missed, and why:

- **Flash.** Judge is most of it: every condition is written out, and on a processor with 32-bit registers each comparison of two
  moments takes several instructions. Then come recorder and link, and reading and checking settings, which a box does itself so
  that it never runs on settings nobody checked.
- **RAM.** Judge keeps what it needs of the limits and a copy of the last motion, so that it can be used apart from measure; the
  initial state is not zero, so it also takes flash.
- **An edge, mean.** About six tenths of it are measure: interpolation, and both windows at each head edge. The rest is judge: its
  bands, its copy of the motion, and slip heat, which is anchored anew whenever slip changes.
- **An edge, most.** A step that turns several alarms works out the value that goes with each, and a delay that runs out at the moment
  of an edge makes it two steps.
";

/// One goal as the tables stand to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// What the goal is for.
    pub what: &'static str,
    at_most: u64,
    /// What was measured.
    pub value: u64,
}

impl Outcome {
    /// Whether the goal is reached.
    pub const fn is_reached(self) -> bool {
        self.value <= self.at_most
    }

    fn row(self) -> String {
        let verdict = if self.is_reached() { "reached" } else { "missed" };
        format!("| {} | {} | {} | {verdict} |", self.what, self.at_most, self.value)
    }
}

/// How the tables stand to the goals; those of which a figure is missing are left out.
pub fn outcomes(tables: &[Table]) -> Vec<Outcome> {
    let outcome = |goal: &Goal| {
        let table = tables.iter().find(|table| table.title == goal.table)?;
        let values = goal.rows.iter().map(|row| table.cell(row, goal.column));
        Some(Outcome { what: goal.what, at_most: goal.at_most, value: values.sum::<Option<u64>>()? })
    };
    GOALS.iter().filter_map(outcome).collect()
}

/// The table of the goals.
pub fn against_the_goals(tables: &[Table]) -> String {
    let mut text = String::from("## Against the goals\n\n| what | goal | measured | |\n|---|---:|---:|---|\n");
    for outcome in outcomes(tables) {
        let _ = writeln!(text, "{}", outcome.row());
    }
    text
}

/// The whole page.
pub fn write(compiler: &str, tables: &[Table], breakdown: &[(&str, u64)]) -> String {
    let mut text = format!("{OPENING}\n{}\n", taken_with(compiler));
    for table in tables {
        let _ = write!(text, "\n{}", table.markdown());
    }
    let _ = write!(text, "\n{}", against_the_goals(tables));
    text.push_str(MISSED);
    text.push_str("\n## Where the flash goes: thumbv6m, for size\n\n| part | bytes |\n|---|---:|\n");
    for (part, bytes) in breakdown {
        let _ = writeln!(text, "| {part} | {bytes} |");
    }
    text
}
