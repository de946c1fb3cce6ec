//! Chores: builds for microcontrollers, the emulated board against the desk, budgets, the proof against panics, tidiness.

mod board;
mod box_run;
mod budget;
mod coverage;
mod emulator;
mod findings;
mod frameworks;
mod image;
mod latency;
mod licences;
mod log;
mod masters;
mod mutants;
mod no_panic;
mod parity;
mod reference;
mod relay;
mod root;
mod scenarios;
mod service;
mod soak;
mod states;
mod targets;
mod tidy;
mod toolchain;
mod trace;
mod verdicts;
mod web;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Chores of this project.
#[derive(Parser)]
#[command(name = "cargo xtask", max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    chore: Chore,
}

#[derive(Subcommand)]
enum Chore {
    /// Build the core and the box, alone and with each of their features, for every microcontroller target.
    Targets,
    /// Build the desk library for a browser, and the core inside the report's page, whose bytes lie beside the page.
    Web {
        /// Do not write: fail if the bytes are not those of the code. Under another compiler than they were made with, nothing is
        /// compared.
        #[arg(long)]
        check: bool,
    },
    /// Build the boxes on boards.
    Boards,
    /// Play a trace into the emulated board and compare its verdicts with the desk's, byte for byte.
    Emulate {
        /// The trace.
        trace: PathBuf,
        /// The leg's settings.
        #[arg(long)]
        settings: PathBuf,
        /// Where to keep the verdict stream that came back: one postcard-encoded verdict after the other.
        #[arg(long)]
        out: Option<PathBuf>,
    },
    /// Compare the emulated board with the desk on the built-in legs, every scenario, every recording, and every trace of the
    /// given folders.
    Parity {
        /// Folders of traces (`NAME.csv`, each with its settings `NAME.toml` or the folder's `leg.toml`; without either,
        /// the example leg's settings are used).
        folders: Vec<PathBuf>,
    },
    /// Run the whole box on the emulated board, its link on a TCP port of this computer.
    Box {
        /// The trace that turns its leg; without it the built-in demo.
        trace: Option<PathBuf>,
        /// The leg's settings; without them the example leg's.
        #[arg(long)]
        settings: Option<PathBuf>,
        /// The TCP port of its link, on 127.0.0.1.
        #[arg(long, default_value_t = 7003)]
        port: u16,
        /// Fetch the recording of the trip, replay it, and fail unless box and desk trip at the same microsecond.
        #[arg(long)]
        check: bool,
    },
    /// Run the core under RTIC and under Embassy on the emulated board; fail unless the demo's verdicts are the desk's to the byte.
    Frameworks,
    /// Measure flash, RAM, instructions, stack and lines, and write them to the book with how they stand to their goals.
    Budget {
        /// Do not write: fail if a figure is more than 5 % above the one in the book, or a goal reached there is missed.
        #[arg(long)]
        check: bool,
        /// Flash, RAM and lines only, printed and not written: what an author looks at on the way.
        #[arg(long)]
        weigh: bool,
    },
    /// Measure how late edges are stamped on the emulated box while its link is quiet and flooded; fail if the flood shows.
    Latency,
    /// Prove that no panic can be reached in the linked images, and that the proof can fail.
    NoPanic {
        /// The images that people flash, alone.
        #[arg(long)]
        boards: bool,
    },
    /// Hold the licence of every package against a list.
    Licences,
    /// Write the reference pages of the book from the lists of the core.
    Reference {
        /// Do not write: fail if they are not those of the code.
        #[arg(long)]
        check: bool,
    },
    /// Draw runs at random, learn the model of the findings from them, measure it on others, and write model and page. What was played
    /// is kept in the store and gone on with.
    Findings(findings::Wish),
    /// Change the core in small ways, one at a time, and see whether a test sees it.
    Mutants(mutants::Wish),
    /// Which lines of what measures, judges and talks to others are reached by tests, or by the bodies of the fuzz targets alone.
    Coverage(coverage::Wish),
    /// Let a box live for a month of its time: runs, trips, faults, floods and losses of power at random from a seed.
    Soak {
        /// The seed.
        #[arg(long, default_value_t = 1)]
        seed: u64,
        /// Hours of box time.
        #[arg(long, default_value_t = 730)]
        hours: u64,
        /// A fault planted on the second day, to see it found: BridgedStarter, Forgets, DrivenUnasked or Rots.
        #[arg(long)]
        plant: Option<String>,
    },
    /// Walk the state space of alarms, latches, permits and operator over the monitor, and look at what is promised in each state.
    States {
        /// Of each state of a turning leg that looks the same, so many that differ within are taken further.
        #[arg(long, default_value_t = 1)]
        each: usize,
        /// So many states of a turning leg at the most; one takes some two kilobytes of memory while it waits.
        #[arg(long, default_value_t = 1_000_000)]
        most: usize,
    },
    /// Look for what should not be in the tree.
    Tidy,
    /// Write every verdict of random legs, of every scenario and of the demo as text, one a line: what a change of the core changes in
    /// them is what `diff` tells of the files of two builds.
    Verdicts {
        /// Where to write them.
        file: PathBuf,
        /// So many random legs.
        #[arg(long, default_value_t = 400)]
        legs: u64,
    },
}

fn main() -> ExitCode {
    let outcome = match Cli::parse().chore {
        Chore::Targets => targets::run(),
        Chore::Web { check } => web::run(check),
        Chore::Boards => targets::boards(),
        Chore::Emulate { trace, settings, out } => parity::emulate(&trace, &settings, out.as_deref()),
        Chore::Parity { folders } => parity::run(&folders),
        Chore::Box { trace, settings, port, check } => box_run::run(trace.as_deref(), settings.as_deref(), port, check),
        Chore::Frameworks => frameworks::run(),
        Chore::Budget { check, weigh } => budget::run(check, weigh),
        Chore::Latency => latency::run(),
        Chore::NoPanic { boards: true } => no_panic::boards(),
        Chore::NoPanic { boards: false } => no_panic::run(),
        Chore::Licences => licences::run(),
        Chore::Reference { check } => reference::run(check),
        Chore::Findings(wish) => findings::run(&wish),
        Chore::Mutants(wish) => mutants::run(&wish),
        Chore::Coverage(wish) => coverage::run(&wish),
        Chore::Soak { seed, hours, plant } => soak::run(seed, hours, plant.as_deref()),
        Chore::States { each, most } => states::run(each, most),
        Chore::Tidy => tidy::run(),
        Chore::Verdicts { file, legs } => verdicts::run(&file, legs),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("error: {failure:#}");
            ExitCode::FAILURE
        }
    }
}
