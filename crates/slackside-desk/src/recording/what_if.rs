//! What if the leg had had other settings? Known only up to where the permits would have differed: from there on the leg
//! would have behaved otherwise.

use std::fmt;
use std::sync::Arc;

use slackside::input::Input;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Verdict};

use super::file::{Run, Seconds};
use super::prove::Proof;
use crate::monitor::{Monitor, measure_alike, on};

/// Where the two part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Divergence {
    /// The permits were the same to the end, once they had come together at this moment.
    Never {
        /// From here on they were the same.
        from: Micros,
    },
    /// They came together at `from` and parted at `at`: from there on outcomes are not known.
    At {
        /// From here on they were the same.
        from: Micros,
        /// From here on they were not.
        at: Micros,
        /// The first permit that differed, and whether the other settings allowed it.
        permit: Permit,
        /// Whether the other settings allowed it.
        allowed: bool,
    },
    /// They never were the same: nothing can be said.
    NeverMet,
}

/// Both permits at each moment at which either changes: run, feed.
fn permits(verdicts: &[Verdict], begin: (bool, bool)) -> Vec<(Micros, (bool, bool))> {
    let mut now = begin;
    let mut steps = vec![(Micros::ZERO, now)];
    for verdict in verdicts {
        if let Change::Permit { permit, allowed, .. } = verdict.change {
            match permit {
                Permit::Run => now.0 = allowed,
                Permit::Feed => now.1 = allowed,
            }
            // The last state of a moment is its state.
            match steps.last_mut() {
                Some((at, state)) if *at == verdict.at => *state = now,
                _ => steps.push((verdict.at, now)),
            }
        }
    }
    steps
}

fn at(steps: &[(Micros, (bool, bool))], moment: Micros) -> (bool, bool) {
    let past = steps.partition_point(|(at, _)| *at <= moment);
    steps.get(past.saturating_sub(1)).map_or((false, false), |(_, state)| *state)
}

/// Replay the run under another plan, and hold the permits against those of `proof`. Measure goes on from the keyframe if the
/// machine is the same; judge always begins afresh, because the keyframe knows only the delays of the old limits.
#[must_use]
pub fn what_if(
    run: Run<'_>,
    recorded: &Sound<Arc<Plan>>,
    other: &Sound<Arc<Plan>>,
    proof: &Proof,
) -> (Divergence, Vec<Verdict>) {
    let mut monitor = on(other);
    let mut verdicts = Vec::new();
    let mut begin = (false, false);
    if let Some(first) = run.first() {
        let mut then = Box::new(Monitor::new());
        if then.restore(recorded.clone(), &first.header, &first.keyframe).is_ok() {
            begin = (then.status().run_permit, then.status().feed_permit);
            if measure_alike(recorded, other) {
                monitor.go_on_measuring(&then, &mut |verdict| verdicts.push(*verdict));
            }
        }
    }
    let mut last = Micros::ZERO;
    let inputs: Vec<Input> = run.iter().flat_map(super::file::Part::inputs).collect();
    for input in &inputs {
        last = last.max(input.at);
        monitor.observe(*input, &mut |verdict| verdicts.push(*verdict));
    }
    let (old, new) = (permits(&proof.verdicts, begin), permits(&verdicts, (false, false)));
    (compare(&old, &new, inputs.first().map_or(Micros::ZERO, |input| input.at), last), verdicts)
}

fn compare(old: &[(Micros, (bool, bool))], new: &[(Micros, (bool, bool))], first: Micros, last: Micros) -> Divergence {
    let mut moments: Vec<Micros> = old.iter().chain(new).map(|(at, _)| (*at).max(first)).collect();
    moments.push(first);
    moments.sort_unstable();
    moments.retain(|moment| *moment <= last);
    let mut met = None;
    for moment in moments {
        let (was, would) = (at(old, moment), at(new, moment));
        match (was == would, met) {
            (true, None) => met = Some(moment),
            (false, Some(from)) => {
                let (permit, allowed) = if was.0 == would.0 { (Permit::Feed, would.1) } else { (Permit::Run, would.0) };
                return Divergence::At { from, at: moment, permit, allowed };
            }
            _ => {}
        }
    }
    met.map_or(Divergence::NeverMet, |from| Divergence::Never { from })
}

impl fmt::Display for Divergence {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(
            "What if: judging began afresh with the recording, so delays and latches from before it are not known. ",
        )?;
        match self {
            Self::Never { from } => {
                write!(out, "From {} to the end the permits are the same as under the recorded settings.", Seconds(*from))
            }
            Self::At { from, at, permit, allowed } => {
                let permit = if *permit == Permit::Run { "run" } else { "feed" };
                let would = if *allowed { "would have kept or given" } else { "would have dropped" };
                write!(
                    out,
                    "From {} the permits are the same, until at {} these settings {would} the {permit} permit and the recorded \
                     ones did not. From there on the leg would have behaved otherwise: WHAT FOLLOWS IS NOT KNOWN.",
                    Seconds(*from),
                    Seconds(*at)
                )
            }
            Self::NeverMet => out.write_str(
                "The permits were never the same as under the recorded settings: WHAT THESE SETTINGS WOULD HAVE DONE IS NOT KNOWN.",
            ),
        }
    }
}
