//! What the shafts do with the drive off: run down, stand, roll back, or chatter.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use super::speed::Pitches;
use super::view::View;
use crate::signals::ShaftSignals;
use crate::time::{SWEEP, reached, wait};

/// Without an edge for so long, the edges counted at rest are forgotten: whatever moved or chattered has stopped.
const QUIET: u32 = 10_000_000;
/// Edges of both shafts from proven standstill that make a rollback: one of each can be a bucket settling.
const BOTH: u32 = 2;
/// Faster pitches in a row that make a rollback while running down: one can be the rock-back onto a backstop.
const FASTER: u8 = 2;
/// Both must add up to this part of a turn too, a quarter: the strands of a tall leg swing the pulleys to and fro after a stop, and
/// with many targets that gives several edges. Less a 4096th: pitches that make up a quarter reach it
/// whatever is not known of them.
const SWING: u32 = (1 << 30) - (1 << 20);

/// One shaft with the drive off.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
struct Runner {
    counted: u32,
    at_rest: u32,
    /// Angle at which the shaft came to rest, in 2^-24 turn.
    rested: u32,
    /// The slowest pitch so far: its time, 0 before there is one, and its angle.
    slowest: u32,
    slowest_angle: u32,
    /// Angle of the faster pitches in a row.
    gathered: u32,
    faster: u8,
    spare: [u8; 3],
}

impl Runner {
    fn begin(&mut self, shaft: &ShaftSignals) {
        *self = Self { counted: shaft.edges, at_rest: shaft.edges, rested: shaft.angle, ..Self::default() };
    }

    fn edge(&mut self, pitches: &Pitches<'_>, brisk: u32) {
        let shaft = pitches.shaft;
        if shaft.edges == self.counted {
            return;
        }
        self.counted = shaft.edges;
        if !pitches.is_closed() {
            return;
        }
        let now = cross(shaft.pitch, self.slowest_angle);
        let slowest = cross(self.slowest, shaft.pitch_angle);
        if self.slowest != 0 && now.saturating_mul(3) < slowest.saturating_mul(2) && shaft.fast_enough(brisk) {
            self.faster = self.faster.saturating_add(1);
            self.gathered = self.gathered.saturating_add(shaft.pitch_angle);
            return;
        }
        if self.slowest == 0 || now > slowest {
            self.slowest = shaft.pitch;
            self.slowest_angle = shaft.pitch_angle;
        }
        self.faster = 0;
        self.gathered = 0;
    }

    const fn since_rest(&self, shaft: &ShaftSignals) -> u32 {
        shaft.edges.wrapping_sub(self.at_rest)
    }

    /// Whether the shaft has turned from rest by more than a swing.
    const fn has_rolled(&self, shaft: &ShaftSignals) -> bool {
        self.since_rest(shaft) >= BOTH && shaft.angle.wrapping_sub(self.rested) >= SWING >> 8
    }

    /// Whether it got faster and faster by more than a swing.
    const fn runs_away(&self) -> bool {
        self.faster >= FASTER && self.gathered >= SWING
    }
}

/// Cross products of time and angle. Angles lose two bits so that three times the product fits.
const fn cross(time: u32, angle: u32) -> u64 {
    (time as u64).wrapping_mul((angle >> 2) as u64)
}

/// Both shafts with the drive off.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Rest {
    head: Runner,
    boot: Runner,
    /// When edges at rest are forgotten.
    forget_at: u32,
    forgets: u8,
    spare: [u8; 3],
}

impl Rest {
    /// Whether the head has given an edge since the leg came to rest.
    pub const fn head_has_turned(&self, head: &ShaftSignals) -> bool {
        self.head.since_rest(head) > 0
    }

    /// The drive went off, or the leg came to rest: count from here.
    pub fn begin(&mut self, view: &View<'_>) {
        self.head.begin(&view.signals.head);
        self.boot.begin(&view.signals.boot);
        self.forgets = 0;
    }

    /// A change of motion while running down: pitches since the drive went off, and the limits from which one may be faster.
    pub fn running_down(&mut self, (head, head_brisk): (&Pitches<'_>, u32), (boot, boot_brisk): (&Pitches<'_>, u32)) {
        self.head.edge(head, head_brisk);
        self.boot.edge(boot, boot_brisk);
    }

    /// A change of motion while standing.
    pub fn standing(&mut self, view: &View<'_>, newest_edge: u32) {
        let (head, boot) = (&view.signals.head, &view.signals.boot);
        if self.head.since_rest(head) | self.boot.since_rest(boot) != 0 {
            self.forget_at = newest_edge.wrapping_add(QUIET);
            self.forgets = 1;
        }
    }

    /// Forget edges at rest once nothing has followed for long enough.
    pub fn settle(&mut self, view: &View<'_>) {
        if self.forgets != 0 && reached(view.now.us(), self.forget_at) {
            self.begin(view);
        }
    }

    /// How long until they are forgotten.
    pub const fn next(&self, now: u32) -> u32 {
        if self.forgets == 0 { SWEEP } else { wait(now, self.forget_at) }
    }

    /// Whether the shafts roll back from standstill.
    pub fn rolls_from_rest(&self, view: &View<'_>) -> bool {
        let (head, boot) = (&view.plan.head, &view.plan.boot);
        head.is_fitted()
            && boot.is_fitted()
            && self.head.has_rolled(&view.signals.head)
            && self.boot.has_rolled(&view.signals.boot)
    }

    /// Whether every shaft that is fitted got faster while running down.
    pub fn speeds_up(&self, view: &View<'_>) -> bool {
        let (head, boot) = (view.plan.head.is_fitted(), view.plan.boot.is_fitted());
        (head || boot) && (!head || self.head.runs_away()) && (!boot || self.boot.runs_away())
    }

    /// Edges of the one shaft that chatters while the other stands; zero if both turn.
    pub fn edges_of_one(&self, view: &View<'_>) -> u32 {
        let head = if view.plan.head.is_fitted() { self.head.since_rest(&view.signals.head) } else { 0 };
        let boot = if view.plan.boot.is_fitted() { self.boot.since_rest(&view.signals.boot) } else { 0 };
        if head.min(boot) >= BOTH { 0 } else { head.max(boot) }
    }
}
