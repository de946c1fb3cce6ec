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
//! Rest, for measure, is a head shaft silent for longer than its widest pitch takes at a tenth of normal speed: whatever
//! rocked or rolled meanwhile, windows begin afresh with the next head edge.
//!
//! Its state is plain bytes, and all zero is the state before a plan: it sees nothing.

mod contact;
mod long_run;
mod scatter;
mod shaft;
mod slip;
mod spacing;

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::input::{Shaft, Signal};
use crate::settings::plan::Plan;
use crate::signals::{Reading, Signals, distrust, moved, unknown};
use crate::time::{Now, SWEEP, wait};
use contact::Contacts;
use long_run::LongRun;
use shaft::{ShaftState, ShaftView, counted};
use slip::{HeadEdge, Windows};
use spacing::Mark;

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
    long_run: LongRun,
    contacts: Contacts,
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
    pub fn has_room(plan: &Plan) -> bool {
        usize::from(plan.head.marks.max(plan.boot.marks)) <= MARKS
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
            Signal::Edge(shaft, level) => {
                let mut shaft = self.shaft(plan, shaft);
                shaft.plan.is_fitted() && shaft.raw(now.us(), level)
            }
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
                self.state.contacts.change(&plan.contacts, now.us(), place, state, &mut self.state.signals.contacts);
                true
            }
            _ => false,
        };
        if told { moved::OTHER } else { 0 }
    }

    /// How long until its earliest deadline, in microseconds, at most [`SWEEP`].
    #[must_use]
    pub fn wait(&self, plan: &Plan, now: u32) -> u32 {
        let mut least = SWEEP;
        for shaft in [&self.state.head, &self.state.boot] {
            if let Some(due) = shaft.due(plan.minimum_width) {
                least = least.min(wait(now, due));
            }
        }
        self.state.contacts.wait(now, least, &self.state.signals.contacts)
    }

    /// Settle the one thing that is due now: of several head, boot, contacts in this order. What to tell of it, as bits of [`moved`].
    pub fn settle(&mut self, plan: &Plan, now: Now) -> u8 {
        let us = now.us();
        if shaft::is_due(&self.state.head, plan.minimum_width, us) {
            self.settle_head(plan, us)
        } else if shaft::is_due(&self.state.boot, plan.minimum_width, us) {
            self.settle_boot(plan)
        } else if self.state.contacts.settle(us, &mut self.state.signals.contacts) {
            moved::OTHER
        } else {
            0
        }
    }

    /// Hold past stamps; called at least every [`SWEEP`].
    pub fn sweep(&mut self, now: u32) {
        for shaft in [&mut self.state.head, &mut self.state.boot] {
            shaft.sweep(now);
        }
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

    fn settle_head(&mut self, plan: &Plan, now: u32) -> u8 {
        let before = self.state.signals.head;
        let (at, bits, weight) = self.shaft(plan, Shaft::Head).settle();
        if bits & counted::EDGE == 0 {
            return if bits == 0 { 0 } else { moved::OTHER };
        }
        self.state.head.scatter.count(weight, true);
        if bits & counted::FROM_REST != 0 {
            self.state.windows.restart_from_rest();
            self.state.long_run.restart();
            self.forget_readings(unknown::PLAINLY);
        }
        self.break_windows(bits);
        let edge = HeadEdge {
            at,
            known_at: now,
            start: before.angle,
            pitch: (self.state.signals.head.pitch_angle, self.state.signals.head.pitch),
            before: (before.pitch_angle, before.pitch),
            // While the head's spacing is not known, a reading is only a lower limit.
            doubt: if self.state.head.spacing.is_unknown(&plan.head) {
                plan.head.largest.wrapping_sub(plan.head.least) >> 8
            } else {
                0
            },
        };
        let long = self.state.windows.head(&plan.slip, &edge, &mut self.state.signals);
        if plan.boot.is_fitted() {
            self.state.windows.boot_rests_here();
        }
        let ended = long && self.state.long_run.take(&plan.slip, &mut self.state.signals);
        self.state.signals.since_boot = self.state.windows.since_boot();
        self.state.signals.slipped = self.state.windows.slipped(&plan.slip);
        moved::HEAD | if bits == counted::EDGE && !ended { 0 } else { moved::OTHER }
    }

    fn settle_boot(&mut self, plan: &Plan) -> u8 {
        let before = self.state.signals.boot.distrust;
        let (at, bits, weight) = self.shaft(plan, Shaft::Boot).settle();
        if bits & counted::EDGE == 0 {
            return if bits == 0 { 0 } else { moved::OTHER };
        }
        // A new boot spacing moves no window: windows are whole boot turns.
        self.break_windows(bits & counted::COUNT);
        self.state.windows.boot(&plan.slip, at, self.state.boot.spacing.index);
        self.state.signals.since_boot = 0;
        let Signals { boot, contacts, .. } = &mut self.state.signals;
        let mut other = bits != counted::EDGE;
        if boot.pitch != 0 {
            let pitch = (boot.pitch_angle, boot.pitch);
            other |= self.state.contacts.move_belt(&plan.contacts, plan.slip.boot_circumference, at, pitch, contacts);
        }
        if self.state.boot.plain == 0 {
            self.compare_scatter(plan, weight);
            other |= before != self.state.signals.boot.distrust;
        }
        moved::BOOT | if other { moved::OTHER } else { 0 }
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
        let wild = scatter.is_wild(*reasons & distrust::SCATTER != 0);
        *reasons = if wild { *reasons | distrust::SCATTER } else { *reasons & !distrust::SCATTER };
    }

    /// What was measured across this is not one stretch.
    fn break_windows(&mut self, bits: u8) {
        if bits & (counted::COUNT | counted::SPACING) == 0 {
            return;
        }
        self.state.windows.restart();
        self.state.long_run.restart();
        self.state.signals.since_boot = 0;
        self.forget_readings(if bits & counted::COUNT != 0 { unknown::RETRACTED } else { unknown::PLAINLY });
    }

    const fn forget_readings(&mut self, why: u8) {
        self.state.signals.short.reading = Reading::UNKNOWN;
        self.state.signals.long.reading = Reading::UNKNOWN;
        self.state.signals.unknown = why;
    }
}

impl<const MARKS: usize> Default for Measure<MARKS> {
    fn default() -> Self {
        Self::new()
    }
}
