//! Replaying a recording to prove that this program and the box agree.

use std::fmt;
use std::sync::Arc;

use slackside::input::{Input, Signal};
use slackside::record::BadKeyframe;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside::units::Micros;
use slackside::verdict::Verdict;

use super::file::{Run, Seconds};
use crate::monitor::Monitor;

/// What replaying a run of segments proved.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Proof {
    /// Segments whose state at the end is that of the box, to the last bit.
    pub agreed: usize,
    /// Segments whose end is lost, so that nothing is claimed of them.
    pub open: usize,
    /// The first segment that ended in another state than the box, with its time.
    pub disagreed: Option<(u32, Micros)>,
    /// Why nothing is claimed at all.
    pub no_claim: Option<BadKeyframe>,
    /// Every verdict on the way.
    pub verdicts: Vec<Verdict>,
}

/// Replay the run under the plan it was recorded under.
#[must_use]
pub fn prove(run: Run<'_>, plan: &Sound<Arc<Plan>>) -> Proof {
    let mut proof = Proof::default();
    let mut monitor = Box::new(Monitor::new());
    let Some(first) = run.first() else { return proof };
    // Without a claim it goes on from a fresh start.
    proof.no_claim = monitor.restore(plan.clone(), &first.header, &first.keyframe).err();
    for part in run {
        let mut take = |input| monitor.observe(input, &mut |verdict| proof.verdicts.push(*verdict));
        part.inputs().for_each(&mut take);
        let Some(end) = part.end else {
            proof.open += 1;
            continue;
        };
        take(Input::new(end.newest, Signal::Tick));
        if proof.no_claim.is_some() || proof.disagreed.is_some() {
            continue;
        }
        if monitor.state_crc() == end.state {
            proof.agreed += 1;
        } else {
            proof.disagreed = Some((part.header.sequence, part.header.at));
        }
    }
    proof
}

impl fmt::Display for Proof {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (&self.no_claim, self.disagreed) {
            (Some(reason), _) => write!(
                out,
                "Nothing is claimed of agreement with the box: {reason}. It was replayed from a fresh start, so what happened \
                 before the recording is not known to it."
            ),
            (None, Some((sequence, at))) => write!(
                out,
                "This replay DISAGREES with the box in segment {sequence}, which begins at {}: after {} that agreed, its state at \
                 the end is another. Do not rely on it; report it with the recording.",
                Seconds(at),
                self.agreed
            ),
            (None, None) => {
                match self.agreed {
                    1 => write!(out, "Bit for bit the same as in the box: 1 segment, to its last state.")?,
                    agreed => {
                        write!(out, "Bit for bit the same as in the box: {agreed} segments, each to its last state.")?
                    }
                }
                if self.open > 0 {
                    write!(out, " Of {} more the end is lost.", self.open)?;
                }
                Ok(())
            }
        }
    }
}
