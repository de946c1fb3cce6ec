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

mod contact;
mod long_run;
mod scatter;
mod shaft;
mod spacing;
mod width;
mod window;

use contact::Contact;
use long_run::LongRun;
use shaft::{Broken, Counted, ShaftTracker};
use spacing::MOST_MARKS;
use window::Windows;

use crate::input::{Input, Place, Shaft, Signal};
use crate::math::fraction;
use crate::motion::{Distrust, Motion, Pitch, ShaftMotion, SlipReading};
use crate::record::keep::keep;
use crate::settings::Checked;
use crate::sight::{Seen, Sight};
use crate::units::{Micros, Ratio, Span, TurnFraction};

/// Turns inputs into motion. `MARKS` is the most counted edges a turn that it has room for, 1 to 64.
#[derive(Clone, Debug)]
pub struct Measure<const MARKS: usize = MOST_MARKS> {
    now: Micros,
    /// The earliest deadline of all parts, and of the contacts alone; the end of time if there is none.
    deadline: Micros,
    contacts_due: Micros,
    motion: Motion,
    head: ShaftTracker<MARKS>,
    boot: ShaftTracker<MARKS>,
    windows: Windows,
    long_run: LongRun,
    contacts: [Contact; Place::COUNT],
    ratio: Ratio,
    /// Belt that passes in one boot turn, and the length of one bin of the belt loop, in micrometres.
    boot_circumference: u32,
    bin_length: u32,
    /// Belt passed since the newest bin began, and the time that took.
    in_bin: u32,
    bin_time: Span,
}

keep!(@[const MARKS: usize] Measure<MARKS> {
    now,
    deadline,
    contacts_due,
    motion,
    head,
    boot,
    windows,
    long_run,
    contacts,
    in_bin,
    bin_time,
} fixed { ratio, boot_circumference, bin_length });

impl Measure {
    /// A measure without settings, with room for every machine: sees nothing.
    #[must_use]
    pub const fn new() -> Self {
        Self::with_room()
    }
}

impl<const MARKS: usize> Measure<MARKS> {
    /// A measure without settings: sees nothing.
    #[must_use]
    pub const fn with_room() -> Self {
        const CONTACT: Contact = Contact::new(Span::ZERO);
        Self {
            now: Micros::ZERO,
            deadline: Micros::MAX,
            contacts_due: Micros::MAX,
            motion: Motion::NONE,
            head: ShaftTracker::new(),
            boot: ShaftTracker::new(),
            windows: Windows::new(),
            long_run: LongRun::new(),
            contacts: [CONTACT; Place::COUNT],
            ratio: Ratio::ONE,
            boot_circumference: 0,
            bin_length: u32::MAX,
            in_bin: 0,
            bin_time: Span::ZERO,
        }
    }

    /// Whether there is room for the marks of this machine.
    #[must_use]
    pub fn has_room(settings: &Checked) -> bool {
        let fitted = [settings.machine.head_targets, settings.machine.boot_targets];
        fitted.iter().flatten().all(|targets| usize::from(targets.marks()) <= MARKS)
    }

    /// As [`with_room`](Self::with_room). Part by part: by value the whole would make a large stack frame.
    fn clear(&mut self) {
        let Self {
            now,
            deadline,
            contacts_due,
            motion,
            head,
            boot,
            windows,
            long_run,
            contacts,
            ratio,
            boot_circumference,
            bin_length,
            in_bin,
            bin_time,
        } = self;
        *now = Micros::ZERO;
        *deadline = Micros::MAX;
        *contacts_due = Micros::MAX;
        *motion = Motion::NONE;
        for shaft in [head, boot] {
            shaft.clear();
        }
        *windows = Windows::new();
        *long_run = LongRun::new();
        for contact in contacts {
            *contact = Contact::new(Span::ZERO);
        }
        *ratio = Ratio::ONE;
        *boot_circumference = 0;
        *bin_length = u32::MAX;
        *in_bin = 0;
        *bin_time = Span::ZERO;
    }

    /// Take the machine, and start afresh. Without [room](Self::has_room) for its marks nothing is seen.
    pub fn configure(&mut self, settings: &Checked) {
        let machine = &settings.machine;
        self.clear();
        if !Self::has_room(settings) {
            return;
        }
        self.ratio = settings.ratio();
        self.boot_circumference = u32::try_from(settings.boot_circumference().get()).unwrap_or(u32::MAX);
        let bin = machine.belt.loop_length.get().checked_div(i64::from(contact::BINS)).unwrap_or(0);
        self.bin_length = u32::try_from(bin).unwrap_or(u32::MAX).max(1);
        if let Some(targets) = &machine.head_targets {
            self.motion.head.fitted = true;
            self.head.configure(targets, &machine.conditioning, machine.normal_head);
        }
        if let Some(targets) = &machine.boot_targets {
            self.motion.boot.fitted = true;
            self.boot.configure(targets, &machine.conditioning, machine.normal_boot);
        }
        let widest = TurnFraction::new(self.head.spacing().widest());
        self.windows.configure(self.ratio, self.boot.spacing().count(), widest, settings.boot_circumference());
        self.tell_doubt();
        self.long_run.configure(self.windows.readings_a_turn());
        for ((contact, motion), strand) in
            self.contacts.iter_mut().zip(&mut self.motion.contacts).zip(&machine.contacts)
        {
            *contact = Contact::new(machine.conditioning.contact_bridge);
            motion.fitted = strand.is_some();
        }
    }

    /// Settle what fell due before the input, then take the input; tell `tell` of every change in order of time.
    ///
    /// An input earlier than one already taken is told as late and taken at the newest time.
    pub fn observe(&mut self, input: Input, mut tell: impl FnMut(Seen<'_>)) {
        if input.at < self.now {
            tell(Seen { at: self.now, sight: Sight::Late });
        }
        let at = input.at.max(self.now);
        if self.deadline <= at {
            self.settle(at, &mut tell);
        }
        self.now = at;
        self.head.time_known(at);
        self.boot.time_known(at);
        if let Some(sight) = self.take(at, input.signal) {
            tell(Seen { at, sight });
        } else {
            tell(Seen { at, sight: Sight::Motion(&self.motion) });
        }
    }

    /// When an edge now waiting for its minimum width will count, or a bridged rub will end.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Micros> {
        (self.deadline < Micros::MAX).then_some(self.deadline)
    }

    /// What is known now.
    #[must_use]
    pub const fn motion(&self) -> &Motion {
        &self.motion
    }

    /// Take one signal. What to tell of it; `None` if the motion changed.
    fn take(&mut self, at: Micros, signal: Signal) -> Option<Sight<'static>> {
        match signal {
            Signal::Edge(shaft, level) => {
                let (tracker, motion) = self.shaft(shaft);
                let changed = motion.fitted && tracker.raw(at, level, motion);
                self.find_deadline();
                (!changed).then_some(Sight::Wake)
            }
            Signal::Line(shaft, state) => {
                ShaftTracker::<MARKS>::line(state, self.shaft(shaft).1);
                None
            }
            Signal::EdgesLost(shaft) => {
                let (tracker, motion) = self.shaft(shaft);
                tracker.lost(at, motion);
                self.break_windows(Broken::Count);
                None
            }
            Signal::Contact(place, state) => {
                let both = self.contacts.get_mut(place.index()).zip(self.motion.contacts.get_mut(place.index()));
                let (contact, motion) = both.filter(|(_, motion)| motion.fitted)?;
                contact.change(at, state, motion);
                self.find_contacts_due();
                None
            }
            Signal::Temperature(place, celsius) => Some(Sight::Temperature(place, celsius)),
            Signal::DriveRunning(on) => Some(Sight::Drive(on)),
            Signal::DrivePower(power) => Some(Sight::Power(power)),
            Signal::SpeedReference(share) => Some(Sight::Reference(share)),
            Signal::OutletPlugged(plugged) => Some(Sight::Outlet(plugged)),
            Signal::Command(origin, command) => Some(Sight::Command(origin, command)),
            Signal::Tick => Some(Sight::Wake),
        }
    }

    fn shaft(&mut self, shaft: Shaft) -> (&mut ShaftTracker<MARKS>, &mut ShaftMotion) {
        match shaft {
            Shaft::Head => (&mut self.head, &mut self.motion.head),
            Shaft::Boot => (&mut self.boot, &mut self.motion.boot),
        }
    }

    fn find_deadline(&mut self) {
        self.deadline = self.head.deadline().min(self.boot.deadline()).min(self.contacts_due);
    }

    fn find_contacts_due(&mut self) {
        let contacts = self.motion.contacts.iter().filter_map(|contact| contact.bridged_until).min();
        self.contacts_due = contacts.unwrap_or(Micros::MAX);
        self.find_deadline();
    }

    /// Settle every deadline up to `until`, in order of time; at equal times head, boot, contacts.
    fn settle(&mut self, until: Micros, tell: &mut impl FnMut(Seen<'_>)) {
        // The end of time stands for no deadline, and an input may come even then.
        while self.deadline <= until && self.deadline < Micros::MAX {
            let due = self.deadline;
            self.now = due;
            let changed = if self.head.deadline() == due {
                let settled = self.head.settle(due, &mut self.motion.head);
                settled.is_some_and(|(at, counted)| self.head_counted(at, due, counted))
            } else if self.boot.deadline() == due {
                let settled = self.boot.settle(due, &mut self.motion.boot);
                settled.is_some_and(|(at, counted)| self.boot_counted(at, counted))
            } else {
                let mut ended = false;
                for (contact, motion) in self.contacts.iter_mut().zip(&mut self.motion.contacts) {
                    ended |= contact.settle(due, motion);
                }
                self.find_contacts_due();
                ended
            };
            self.find_deadline();
            if changed {
                tell(Seen { at: due, sight: Sight::Motion(&self.motion) });
            }
        }
    }

    /// A head level was settled. Whether the motion changed.
    fn head_counted(&mut self, at: Micros, known_at: Micros, counted: Counted) -> bool {
        let Counted::Edge { from_rest, broken } = counted else {
            return counted == Counted::Told;
        };
        self.head.scatter_mut().count(true);
        if from_rest {
            self.windows.restart_from_rest();
            self.long_run.restart();
            self.motion.slip_short.reading = SlipReading::Unknown;
            self.motion.slip_long.reading = SlipReading::Unknown;
        }
        if let Some(broken) = broken {
            self.break_windows(broken);
        }
        let angle = self.motion.head.angle;
        let told = self.windows.head(at, angle, known_at);
        if self.motion.boot.fitted {
            self.windows.boot_rests_at(angle);
        }
        if let Some(slip) = told.short {
            self.motion.slip_short = slip;
        }
        if let Some(slip) = told.long {
            self.motion.slip_long = slip;
            if let Some(seen) = self.long_run.take(&slip, self.ratio) {
                self.motion.seen_ratio = Some(seen);
            }
        }
        self.motion.head_since_boot = self.windows.head_since_boot();
        self.motion.slipped = self.windows.slipped();
        true
    }

    /// A boot level was settled. Whether the motion changed.
    fn boot_counted(&mut self, at: Micros, counted: Counted) -> bool {
        let Counted::Edge { broken, .. } = counted else {
            return counted == Counted::Told;
        };
        // A new boot spacing moves no window: windows are whole boot turns.
        if broken == Some(Broken::Count) {
            self.break_windows(Broken::Count);
        }
        self.windows.boot(at, self.boot.spacing().index());
        self.motion.head_since_boot = self.windows.head_since_boot();
        if let Some(pitch) = self.motion.boot.pitch {
            self.move_belt(at, pitch);
        }
        self.compare_scatter();
        true
    }

    /// A boot whose pitches scatter while the head turns steadily does not turn so: the belt joins them. Where both scatter it may be
    /// the leg. A head that scatters alone proves nothing: a drive may pulse so that only a head of many marks shows it, and the belt
    /// has the boot for its witness still.
    fn compare_scatter(&mut self) {
        let steady = self.motion.head.fitted && self.head.is_steady();
        let scatter = self.boot.scatter_mut();
        scatter.count(steady);
        let distrust = &mut self.motion.boot.distrust;
        let wild = scatter.is_wild(distrust.contains(Distrust::SCATTER));
        let trusted = distrust.without(Distrust::SCATTER);
        *distrust = if wild { trusted.with(Distrust::SCATTER) } else { trusted };
    }

    /// What was measured across this is not one stretch.
    fn break_windows(&mut self, broken: Broken) {
        self.windows.restart();
        self.long_run.restart();
        let reading = match broken {
            Broken::Spacing => SlipReading::Unknown,
            Broken::Count => SlipReading::Retracted,
        };
        self.motion.slip_short.reading = reading;
        self.motion.slip_long.reading = reading;
        self.motion.head_since_boot = self.windows.head_since_boot();
        self.tell_doubt();
    }

    /// While the head's spacing is not known, a reading is only a lower limit.
    fn tell_doubt(&mut self) {
        let spacing = self.head.spacing();
        let doubt = if spacing.is_unknown() { spacing.widest().saturating_sub(spacing.closest()) } else { 0 };
        self.windows.set_doubt(TurnFraction::new(doubt));
    }

    /// The belt moved with the boot by a pitch that ended at `at`.
    fn move_belt(&mut self, at: Micros, boot: Pitch) {
        self.in_bin = self.in_bin.saturating_add(fraction(boot.angle.get(), self.boot_circumference));
        self.bin_time = self.bin_time.saturating_add(boot.time);
        if self.in_bin < self.bin_length {
            return;
        }
        // The bin length is never zero.
        let bins = self.in_bin.checked_div(self.bin_length).unwrap_or(1);
        self.in_bin = self.in_bin.saturating_sub(bins.saturating_mul(self.bin_length));
        let time = core::mem::replace(&mut self.bin_time, Span::ZERO);
        for (contact, motion) in self.contacts.iter_mut().zip(&mut self.motion.contacts) {
            if motion.fitted {
                contact.advance(at, bins, time, motion);
            }
        }
    }
}

impl<const MARKS: usize> Default for Measure<MARKS> {
    fn default() -> Self {
        Self::with_room()
    }
}
