//! Measure knows geometry and sensors, nothing of limits.
//!
//! ```text
//!  edge ─► width gate ─► gap gate ─► marks and their spacing ─► angle ─┐
//!                                                                      ├─► windows ─► slip, slipped length
//!  edge ─► width gate ─► gap gate ─► marks and their spacing ─► angle ─┘      │
//!                                                                            └─► long-run ratio
//!  contact ─► chatter bridged ─► dwell, count, duty over the belt loop (from the boot's angle)
//! ```
//!
//! A pitch that took as long as several may have lost the edges between, and one that took much less may have an edge too many. Until
//! the next pitch tells, its edge is in doubt: speed and silence take it as it came, the windows of slip wait for what it was. So
//! what slip says is not taken back later.
//!
//! Rest, for measure, is a head shaft silent for longer than its widest pitch takes at a tenth of normal speed, and for half a turn
//! at normal speed at least: whatever rocked or rolled meanwhile, windows begin afresh with the next head edge.
//!
//! Its state is plain bytes, and all zero is the state before a plan: it sees nothing.

mod contact;
mod long_run;
mod scatter;
mod shaft;
mod slip;
mod spacing;
mod twins;

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::input::{Shaft, Signal};
use crate::settings::plan::Plan;
use crate::signals::{Reading, ShaftSignals, Signals, distrust, moved, unknown};
use crate::time::{Now, age, wait};
use contact::Contacts;
use long_run::LongRun;
use shaft::{ShaftState, ShaftView, counted};
use slip::{HeadEdge, Windows};
use spacing::Mark;
use twins::Twins;

/// The largest pitch there is, in 2^-24 turn: a unit less than a turn.
const LARGEST_PITCH: u32 = (1 << 24) - 1;

/// Turns inputs into signals. `MARKS` is the most counted edges a turn that it has room for, 1 to 64.
#[derive(Clone, Debug)]
#[repr(C)]
pub struct Measure<const MARKS: usize = 64> {
    state: State,
    head_marks: [Mark; MARKS],
    boot_marks: [Mark; MARKS],
}

/// All but the marks.
#[derive(Clone, Copy, Debug, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
struct State {
    signals: Signals,
    head: ShaftState,
    boot: ShaftState,
    windows: Windows,
    /// The head edge in doubt, while its shaft is suspect.
    held: HeldEdge,
    long_run: LongRun,
    contacts: Contacts,
    twins: Twins,
}

/// A head edge in doubt, the newest until the next one tells: when the pitch before it began, and the head's angle then, in 2^-24 turn.
#[derive(Clone, Copy, Debug, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
struct HeldEdge {
    begun: u32,
    start: u32,
}

impl HeldEdge {
    /// Whether a further pitch in doubt, up to the angle `end`, makes one with the pitch before it, so that the edge between them is of no
    /// use. Not if they are a turn.
    const fn is_one_with(self, end: u32) -> bool {
        end.wrapping_sub(self.start) <= LARGEST_PITCH
    }

    /// What it was, now that the pitch after it is known to have begun at the angle `start`, at `at`, and ended with the edge `next`.
    fn late(self, start: u32, at: u32, next: &HeadEdge) -> HeadEdge {
        let angle = start.wrapping_sub(self.start).min(LARGEST_PITCH) << 8;
        let pitch = (angle, age(at, self.begun));
        HeadEdge { at, start: self.start, end: start, pitch, before: pitch, ..*next }
    }
}

impl<const MARKS: usize> Measure<MARKS> {
    /// A measure without a plan: sees nothing.
    #[must_use]
    pub const fn new() -> Self {
        const MARK: Mark = zerocopy::transmute!([0_u8; size_of::<Mark>()]);
        Self {
            state: zerocopy::transmute!([0_u8; size_of::<State>()]),
            head_marks: [MARK; MARKS],
            boot_marks: [MARK; MARKS],
        }
    }

    /// Whether there is room for the marks of this machine.
    #[must_use]
    pub const fn has_room(plan: &Plan) -> bool {
        plan.head.marks as usize <= MARKS && plan.boot.marks as usize <= MARKS
    }

    /// Take the machine, and start afresh. The plan must be sound, and there must be [room](Self::has_room) for its marks.
    pub fn begin(&mut self, plan: &Plan, now: Now) {
        self.parts_mut(&mut |bytes| bytes.fill(0));
        for shaft in [Shaft::Head, Shaft::Boot] {
            self.shaft(plan, shaft).begin(now.us());
        }
        self.forget_readings(unknown::PLAINLY);
    }

    /// What is known now.
    #[must_use]
    pub const fn signals(&self) -> &Signals {
        &self.state.signals
    }

    /// Take one input of those that measure knows, after everything due has been settled. What to tell of it, as bits of [`moved`];
    /// 0 if there is nothing to tell.
    pub fn take(&mut self, plan: &Plan, now: Now, signal: &Signal) -> u8 {
        let told = match *signal {
            Signal::Edge(shaft, level) => return self.edge(plan, now.us(), shaft, level).0,
            Signal::Line(shaft, state) => {
                self.shaft(plan, shaft).line(state);
                true
            }
            Signal::EdgesLost(shaft) => {
                self.shaft(plan, shaft).lost(now.us());
                self.break_windows(counted::COUNT);
                true
            }
            Signal::Contact(place, state) if plan.has_contact(place) => {
                self.state.contacts.change(now.us(), place, state, &mut self.state.signals.contacts);
                true
            }
            _ => false,
        };
        if told { moved::OTHER } else { 0 }
    }

    /// The same of a raw edge, and whether an edge of this shaft then waits to be held for the minimum width.
    pub fn edge(&mut self, plan: &Plan, now: u32, shaft: Shaft, level: bool) -> (u8, bool) {
        let mut shaft = self.shaft(plan, shaft);
        let told = shaft.plan.is_fitted() && shaft.raw(plan.minimum_width, now, level);
        (if told { moved::OTHER } else { 0 }, shaft.state.waits(shaft.plan))
    }

    /// How long until its earliest deadline, in microseconds; `u32::MAX` where nothing waits.
    #[must_use]
    pub fn wait(&self, plan: &Plan, now: u32) -> u32 {
        let mut least = u32::MAX;
        for (shaft, plan_of) in [(&self.state.head, &plan.head), (&self.state.boot, &plan.boot)] {
            if let Some(due) = shaft.due(plan_of, plan.minimum_width) {
                least = least.min(wait(now, due));
            }
        }
        self.state.contacts.wait(&plan.contacts, now, least, &self.state.signals.contacts)
    }

    /// Settle the one thing that is due now: of several head, boot, contacts in this order. What to tell of it, as bits of [`moved`].
    #[inline(never)]
    pub fn settle(&mut self, plan: &Plan, now: Now) -> u8 {
        let us = now.us();
        if shaft::is_due(&self.state.head, &plan.head, plan.minimum_width, us) {
            let before = self.seldom();
            let moved = self.settle_head(plan);
            if before == self.seldom() { moved } else { moved | moved::OTHER }
        } else if shaft::is_due(&self.state.boot, &plan.boot, plan.minimum_width, us) {
            self.settle_boot(plan)
        } else if self.state.contacts.settle(&plan.contacts, us, &mut self.state.signals.contacts) {
            moved::OTHER
        } else {
            0
        }
    }

    /// Hold past stamps; called at least every [`SWEEP`](crate::time::SWEEP).
    pub fn sweep(&mut self, plan: &Plan, now: u32) {
        self.state.head.sweep(&plan.head, plan.minimum_width, now);
        self.state.boot.sweep(&plan.boot, plan.minimum_width, now);
        self.state.contacts.sweep(now);
        self.state.signals.sweep(now);
    }

    /// Its state's own bytes, part by part.
    pub fn parts(&self, each: &mut dyn FnMut(&[u8])) {
        each(self.state.as_bytes());
        each(self.head_marks.as_bytes());
        each(self.boot_marks.as_bytes());
    }

    /// As [`parts`](Self::parts), to be written: any bytes will do, and mean something only if they came from there.
    pub fn parts_mut(&mut self, each: &mut dyn FnMut(&mut [u8])) {
        each(self.state.as_mut_bytes());
        each(self.head_marks.as_mut_bytes());
        each(self.boot_marks.as_mut_bytes());
    }

    /// Have the next pitch of each shaft taken the thorough way, for tests that hold the short way against it.
    #[doc(hidden)]
    pub const fn take_thoroughly(&mut self) {
        self.state.head.plain = 0;
        self.state.boot.plain = 0;
    }

    /// Whether the next pitches may be taken the short way, head and boot: for tests, so that they know that they test it.
    #[doc(hidden)]
    #[must_use]
    pub const fn is_plain(&self) -> (bool, bool) {
        (self.state.head.plain != 0, self.state.boot.plain != 0)
    }

    const fn shaft<'a>(&'a mut self, plan: &'a Plan, shaft: Shaft) -> ShaftView<'a> {
        match shaft {
            Shaft::Head => ShaftView {
                state: &mut self.state.head,
                marks: &mut self.head_marks,
                plan: &plan.head,
                signals: &mut self.state.signals.head,
            },
            Shaft::Boot => ShaftView {
                state: &mut self.state.boot,
                marks: &mut self.boot_marks,
                plan: &plan.boot,
                signals: &mut self.state.signals.boot,
            },
        }
    }

    /// What a head edge changes seldom: trust in the boot, and the mean of slip.
    const fn seldom(&self) -> (u8, i32) {
        (self.state.signals.boot.distrust, self.state.signals.slip_mean)
    }

    fn settle_head(&mut self, plan: &Plan) -> u8 {
        let suspected = self.state.head.suspect;
        let ShaftSignals { angle: start, last_edge: begun, pitch, pitch_angle, .. } = self.state.signals.head;
        let (at, bits, weight) = self.shaft(plan, Shaft::Head).settle(plan.slip.regain);
        if bits & counted::EDGE == 0 {
            return if bits == 0 { 0 } else { moved::OTHER };
        }
        // Of a plain shaft nothing can be taken from a score of nothing.
        if self.state.head.plain == 0 {
            self.state.head.scatter.count(weight, true);
        }
        self.compare_edges(plan, at, Shaft::Head);
        if bits & counted::FROM_REST != 0 {
            self.state.windows.restart_from_rest();
            self.state.signals.slip_mean = 0;
            self.state.long_run.restart();
            self.forget_readings(unknown::PLAINLY);
        }
        let broken = self.break_windows(bits);
        let head = self.state.signals.head;
        // Mended, the pitch began further on, or ended where it was thought to begin.
        let start = if bits & counted::MENDED == 0 { start } else { head.angle.wrapping_sub(head.pitch_angle >> 8) };
        let mut edge = HeadEdge {
            at,
            start,
            end: head.angle,
            pitch: (head.pitch_angle, head.pitch),
            before: (pitch_angle, pitch),
            gone: self.state.boot.gone(),
            // While the head's spacing is not known, a reading has that much doubt.
            doubt: if self.state.head.spacing.is_unknown(&plan.head) {
                plan.head.largest.wrapping_sub(plan.head.least) >> 8
            } else {
                0
            },
        };
        let mut ended = false;
        if suspected != 0 && !broken && bits & counted::FROM_REST == 0 {
            let suspect = self.state.head.suspect;
            if suspect >= shaft::PAIRED && self.state.held.is_one_with(head.angle) {
                return moved::HEAD | told(bits);
            }
            if suspect == shaft::CHAINED {
                self.break_windows(counted::COUNT);
            } else {
                let late = self.state.held.late(start, begun, &edge);
                ended = self.tell_windows(plan, &late);
                edge.before = late.pitch;
            }
        }
        if self.state.head.suspect != 0 {
            self.state.held = HeldEdge { begun, start };
        } else {
            ended |= self.tell_windows(plan, &edge);
        }
        moved::HEAD | if ended { moved::OTHER } else { told(bits) }
    }

    /// A head edge that is no longer in doubt. Whether a block of the long-run ratio ended with it.
    #[inline(never)]
    fn tell_windows(&mut self, plan: &Plan, edge: &HeadEdge) -> bool {
        let long = self.state.windows.head(&plan.slip, edge, &mut self.state.signals);
        self.state.windows.boot_rests_here();
        if self.state.windows.doubt_is_over(&plan.slip) {
            // The boot is silent: what came late had been slow.
            self.shaft(plan, Shaft::Boot).end_doubt();
            self.state.windows.settle_doubt(&plan.slip, edge.at, self.state.boot.spacing.index);
        }
        self.state.signals.since_boot = self.state.windows.since_boot();
        self.state.signals.slipped = self.state.windows.slipped(&plan.slip, edge.gone);
        long && self.state.long_run.take(&plan.slip, &mut self.state.signals)
    }

    fn settle_boot(&mut self, plan: &Plan) -> u8 {
        let ShaftSignals { distrust: before, last_edge, .. } = self.state.signals.boot;
        let (at, bits, weight) = self.shaft(plan, Shaft::Boot).settle(plan.slip.regain);
        if bits & counted::EDGE == 0 {
            return if bits == 0 { 0 } else { moved::OTHER };
        }
        self.compare_edges(plan, at, Shaft::Boot);
        // Marks in between are told from whole turns by their place, if more than one a turn closes windows.
        let is_placed = plan.slip.closings > 1;
        let is_broken = bits & counted::COUNT != 0 || bits & counted::MENDED != 0 && !is_placed;
        // A new boot spacing moves no window: windows are whole boot turns.
        if is_broken {
            self.break_windows(counted::COUNT);
        }
        let (index, suspect) = (self.state.boot.spacing.index, self.state.boot.suspect);
        let windows = &mut self.state.windows;
        if windows.is_in_doubt() && (suspect < shaft::PAIRED || !is_placed) {
            windows.settle_doubt(&plan.slip, last_edge, self.state.boot.spacing.preceding(&plan.boot));
        }
        windows.boot(&plan.slip, at, index, suspect != 0);
        if suspect != 0 {
            windows.doubt_readings(&plan.slip, &mut self.state.signals);
        }
        self.state.signals.since_boot = 0;
        let Signals { boot, contacts, .. } = &mut self.state.signals;
        let mut other = told(bits) != 0;
        if boot.pitch != 0 {
            let pitch = (boot.pitch_angle, boot.pitch);
            other |= self.state.contacts.move_belt(&plan.contacts, plan.slip.boot_circumference, at, pitch, contacts);
        }
        if self.state.boot.plain == 0 {
            self.compare_scatter(plan, weight);
        }
        other |= before != self.state.signals.boot.distrust;
        moved::BOOT | if other { moved::OTHER } else { 0 }
    }

    /// A boot whose edges are the head's has no sensor of its own: it says nothing of the belt.
    fn compare_edges(&mut self, plan: &Plan, at: u32, shaft: Shaft) {
        let Signals { head, boot, .. } = &mut self.state.signals;
        let other = match shaft {
            Shaft::Head => &*boot,
            Shaft::Boot => &*head,
        };
        let bridged = self.state.twins.edge(at, other, plan.head.marks.max(plan.boot.marks));
        boot.distrust = if bridged { boot.distrust | distrust::BRIDGED } else { boot.distrust & !distrust::BRIDGED };
    }

    /// A boot whose pitches scatter while the head turns steadily does not turn so: the belt joins them. Where both scatter it may be
    /// the leg. A head that scatters alone proves nothing: a drive may pulse so that only a head of many marks shows it, and the belt
    /// has the boot for its witness still.
    #[inline(never)]
    fn compare_scatter(&mut self, plan: &Plan, weight: i8) {
        let steady = plan.head.is_fitted() && self.state.head.scatter.is_steady(plan.head.marks);
        let scatter = &mut self.state.boot.scatter;
        scatter.count(weight, steady);
        let reasons = &mut self.state.signals.boot.distrust;
        let wild = scatter.is_wild(*reasons & distrust::SCATTER != 0) || self.state.boot.spacing.is_evened();
        *reasons = if wild { *reasons | distrust::SCATTER } else { *reasons & !distrust::SCATTER };
    }

    /// What was measured across this is not one stretch: whether it is not.
    fn break_windows(&mut self, bits: u8) -> bool {
        if bits & (counted::COUNT | counted::SPACING) == 0 {
            return false;
        }
        self.state.windows.restart();
        self.state.long_run.restart();
        self.state.signals.since_boot = 0;
        self.forget_readings(if bits & counted::COUNT != 0 { unknown::RETRACTED } else { unknown::PLAINLY });
        true
    }

    const fn forget_readings(&mut self, why: u8) {
        self.state.signals.short = Reading::UNKNOWN;
        self.state.signals.long = Reading::UNKNOWN;
        self.state.signals.unknown = why;
    }
}

/// What else judge must look at after an edge.
const fn told(bits: u8) -> u8 {
    if bits & !counted::EDGE == 0 { 0 } else { moved::OTHER }
}

impl<const MARKS: usize> Default for Measure<MARKS> {
    fn default() -> Self {
        Self::new()
    }
}
