//! What the shafts do with the drive off: run down, stand, roll back, or chatter.

use super::cell::NEVER;
use super::speeds::{TurnTime, closed, fast_enough};
use crate::motion::{Pitch, ShaftMotion};
use crate::record::keep::keep;
use crate::units::{Micros, Span, TurnFraction, Turns};

/// Without an edge for so long, the edges counted at rest are forgotten: whatever moved or chattered has stopped.
const QUIET: Span = Span::from_millis(10_000);
/// Edges of both shafts from proven standstill that make a rollback: one of each can be a bucket settling.
const BOTH: u32 = 2;
/// Faster pitches in a row that make a rollback while running down: one can be the rock-back onto a backstop.
const FASTER: u8 = 2;
/// Both must add up to this part of a turn too, a quarter: the strands of a tall leg swing the pulleys to and fro after a stop, and
/// with many targets that gives several edges.
const SWING: TurnFraction = TurnFraction::new((1 << 30) - (1 << 20));

/// One shaft with the drive off.
#[derive(Clone, Copy, Debug)]
struct Runner {
    counted: u32,
    at_rest: u32,
    /// Angle at which the shaft came to rest.
    rested: Turns,
    slowest: Option<Pitch>,
    faster: u8,
    /// Angle of the faster pitches in a row.
    gathered: TurnFraction,
}

keep!(Runner { counted, at_rest, rested, slowest, faster, gathered });
keep!(Rest { head, boot, forget_at });

impl Runner {
    const NEW: Self =
        Self { counted: 0, at_rest: 0, rested: Turns::ZERO, slowest: None, faster: 0, gathered: TurnFraction::ZERO };

    fn edge(&mut self, shaft: &ShaftMotion, off_at: Micros, brisk: TurnTime) {
        if shaft.edges == self.counted {
            return;
        }
        self.counted = shaft.edges;
        let Some(pitch) = closed(shaft, Some(off_at)) else { return };
        match self.slowest {
            Some(slowest) if one_and_a_half_times(&pitch, &slowest) && fast_enough(&pitch, brisk) => {
                self.faster = self.faster.saturating_add(1);
                self.gathered = self.gathered.saturating_add(pitch.angle);
                return;
            }
            Some(slowest) if !slower(&pitch, &slowest) => {}
            _ => self.slowest = Some(pitch),
        }
        self.faster = 0;
        self.gathered = TurnFraction::ZERO;
    }

    /// Whether the shaft has turned from rest by more than a swing.
    fn has_rolled(&self, shaft: &ShaftMotion) -> bool {
        self.since_rest(shaft) >= BOTH && shaft.angle.beyond(self.rested).get() >= u64::from(SWING.get())
    }

    /// Whether it got faster and faster by more than a swing.
    const fn runs_away(&self) -> bool {
        self.faster >= FASTER && self.gathered.get() >= SWING.get()
    }

    const fn since_rest(&self, shaft: &ShaftMotion) -> u32 {
        shaft.edges.wrapping_sub(self.at_rest)
    }
}

/// Cross products of time and angle. Angles lose two bits so that three times the product fits.
const fn cross(time: Span, angle: u32) -> u64 {
    (time.get() as u64).wrapping_mul((angle >> 2) as u64)
}

const fn slower(pitch: &Pitch, than: &Pitch) -> bool {
    cross(pitch.time, than.angle.get()) > cross(than.time, pitch.angle.get())
}

const fn one_and_a_half_times(pitch: &Pitch, than: &Pitch) -> bool {
    cross(pitch.time, than.angle.get()).saturating_mul(3) < cross(than.time, pitch.angle.get()).saturating_mul(2)
}

/// Both shafts with the drive off.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rest {
    head: Runner,
    boot: Runner,
    forget_at: Micros,
}

impl Rest {
    pub(super) const NEW: Self = Self { head: Runner::NEW, boot: Runner::NEW, forget_at: NEVER };

    /// Whether the head has given an edge since the leg came to rest.
    pub(super) const fn head_has_turned(&self, head: &ShaftMotion) -> bool {
        self.head.since_rest(head) > 0
    }

    /// The drive went off, or the leg came to rest: count from here.
    pub(super) fn begin(&mut self, head: &ShaftMotion, boot: &ShaftMotion) {
        let runner = |shaft: &ShaftMotion| Runner {
            counted: shaft.edges,
            at_rest: shaft.edges,
            rested: shaft.angle,
            ..Runner::NEW
        };
        *self = Self { head: runner(head), boot: runner(boot), forget_at: NEVER };
    }

    /// A change of motion while running down.
    pub(super) fn running_down(
        &mut self,
        (head, head_brisk): (&ShaftMotion, TurnTime),
        (boot, boot_brisk): (&ShaftMotion, TurnTime),
        off_at: Micros,
    ) {
        self.head.edge(head, off_at, head_brisk);
        self.boot.edge(boot, off_at, boot_brisk);
    }

    /// A change of motion while standing.
    pub(super) fn standing(&mut self, head: &ShaftMotion, boot: &ShaftMotion) {
        if self.head.since_rest(head) == 0 && self.boot.since_rest(boot) == 0 {
            return;
        }
        let newest = head.last_edge.max(boot.last_edge).unwrap_or(Micros::ZERO);
        self.forget_at = newest.after(QUIET);
    }

    /// Forget edges at rest once nothing has followed for long enough.
    pub(super) fn settle(&mut self, now: Micros, head: &ShaftMotion, boot: &ShaftMotion) {
        if now >= self.forget_at {
            self.begin(head, boot);
        }
    }

    /// When they are forgotten.
    pub(super) const fn next(&self) -> Micros {
        self.forget_at
    }

    /// Whether the shafts roll back from standstill.
    pub(super) fn rolls_from_rest(&self, head: &ShaftMotion, boot: &ShaftMotion) -> bool {
        head.fitted && boot.fitted && self.head.has_rolled(head) && self.boot.has_rolled(boot)
    }

    /// Whether every shaft that is fitted got faster while running down.
    pub(super) fn speeds_up(&self, head: &ShaftMotion, boot: &ShaftMotion) -> bool {
        let up = |runner: &Runner, shaft: &ShaftMotion| !shaft.fitted || runner.runs_away();
        (head.fitted || boot.fitted) && up(&self.head, head) && up(&self.boot, boot)
    }

    /// Edges of the one shaft that chatters while the other stands; zero if both turn.
    pub(super) fn edges_of_one(&self, head: &ShaftMotion, boot: &ShaftMotion) -> u32 {
        let head_edges = if head.fitted { self.head.since_rest(head) } else { 0 };
        let boot_edges = if boot.fitted { self.boot.since_rest(boot) } else { 0 };
        if head_edges.min(boot_edges) >= BOTH { 0 } else { head_edges.max(boot_edges) }
    }
}
