//! Judge knows limits, nothing of pulses.
//!
//! # Time
//! [`Judge::observe`] first settles everything that fell due up to the time of what it is told, in order of time, each
//! stamped with its own; delays end before a sample is taken, at equal times too. At one moment the order is: what a
//! command says and moves, delays that end (by rank of their condition), a bypass that ends, phase, all other alarms (by
//! rank), first-out (the lowest rank of all that were raised at that moment), run permit, feed permit. Ticks change
//! nothing but how promptly the box acts.
//!
//! # Permits and latches
//! A stop holds both permits dropped while it is wrong or latched ([`AlarmState::holds`]); what drops feed holds the feed
//! permit so. A latched alarm that gets wrong again is raised again after its on-delay, and cannot be reset while it is
//! wrong, on-delay or not. See `people` for who may do what, `course` for starts and standstill, `senses` for what each
//! condition looks at.
//!
//! # Two ways, one result
//! A motion that lies within every band in which nothing can change costs a few comparisons (`quiet`); any other takes a
//! scan of all conditions. [`Judge::observe_plainly`] always scans: tests hold the one against the other.

mod alarm;
mod cell;
mod condition;
mod course;
mod exp;
mod heat;
mod kept;
#[doc(hidden)]
pub mod leap;
mod limits;
mod people;
mod permits;
mod quiet;
mod ratio;
mod reference;
mod rest;
mod senses;
mod speeds;
mod survive;
mod values;
mod window;

use crate::input::Place;
use crate::motion::Motion;
use crate::settings::{Action, Checked, Limits, Machine};
use crate::sight::{Seen, Sight};
use crate::survivor::Survivor;
use crate::units::{DeciCelsius, Micros, Ppm, Ratio, Span, Watts};
use crate::verdict::{Change, Phase, Verdict};

use alarm::Event;
use cell::{Cell, Cells, NEVER, Sense, Turned};
use course::Course;
use heat::Heat;
use limits::InForce;
use people::People;
use quiet::Bands;
use reference::Reference;
use rest::Rest;
use senses::Pitches;
use speeds::{Nameplate, Speeds};
use window::Window;

pub use alarm::AlarmState;
pub use condition::{Condition, ConditionSet, Unit};

type Out<'a> = &'a mut dyn FnMut(Verdict);

/// Measured power older than this is stale: rated power is used instead.
pub(crate) const POWER_STALE: Span = Span::from_millis(60_000);

/// What the newest reading of the power meter says, if it counts: not stale, and not none, for a motor that turns a head takes power.
fn counted_power(newest: Option<(Micros, Watts)>, now: Micros) -> Option<Watts> {
    newest.filter(|(at, power)| *power > Watts::ZERO && now < at.after(POWER_STALE)).map(|(_, power)| power)
}

/// What judge holds now, for screens and outputs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Status {
    /// The drive may run.
    pub run_permit: bool,
    /// The leg may be fed.
    pub feed_permit: bool,
    /// What the leg is doing.
    pub phase: Phase,
    /// The first-out of the present trip group.
    pub first_out: Option<Condition>,
    /// Whether the boot must be reported clear before the next start.
    pub boot_cleared_needed: bool,
    /// The state of every alarm, in the order of [`Condition::ALL`].
    pub alarms: [AlarmState; Condition::COUNT],
}

/// What is fitted, as far as judge needs it.
#[derive(Clone, Copy, Debug)]
struct Fitted {
    head: bool,
    boot: bool,
    power_meter: bool,
    contacts: [bool; Place::COUNT],
}

/// Whether a condition is judged now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Mode {
    /// It is.
    Judged,
    /// There is nothing to judge: its cause counts as gone.
    Idle,
    /// Suppressed by design.
    Suppressed,
    /// Not fitted or switched off.
    Out,
}

/// What a look at every condition found.
struct Look {
    /// At the limit or beyond, and inside limit less deadband; what is in neither stays as it was.
    beyond: ConditionSet,
    within: ConditionSet,
    suppressed: ConditionSet,
    /// The earliest moments at which silence, and anything else, may change one.
    silence: Micros,
    other: Micros,
}

impl Look {
    const NOTHING: Self = Self {
        beyond: ConditionSet::EMPTY,
        within: ConditionSet::EMPTY,
        suppressed: ConditionSet::EMPTY,
        silence: NEVER,
        other: NEVER,
    };
}

/// Holds motion against limits.
#[derive(Clone, Debug)]
pub struct Judge {
    status: Status,
    configured: bool,
    /// Whether anything was observed since `configure`.
    begun: bool,
    /// When the first thing was observed.
    base: Micros,
    newest: Micros,
    limits: InForce,
    fitted: Fitted,
    out_of_service: ConditionSet,
    /// Those whose action is to stop, and to drop feed.
    stopping: ConditionSet,
    dropping_feed: ConditionSet,
    /// Those whose alarm holds.
    holding: ConditionSet,
    names: Nameplate,
    speeds: Speeds,
    scale: Ppm,
    expected_ratio: Ratio,
    assumed_power: Watts,
    cells: Cells,
    motion: Motion,
    course: Course,
    rest: Rest,
    starts: Window<8>,
    /// Ages of starts from before the loss of power, until time is known.
    start_ages: heapless::Vec<Span, 8>,
    contact_changes: Window<{ course::TOGGLES + 1 }>,
    lates: Window<16>,
    heat: Heat,
    heat_slip: i32,
    power: Option<(Micros, Watts)>,
    reference: Reference,
    temperatures: [Option<DeciCelsius>; Place::COUNT],
    outlet: bool,
    unknown_since: Option<Micros>,
    people: People,
    /// The first by rank of the stops raised in the present step.
    raised: Option<Condition>,
    bands: Bands,
    /// The earliest moment at which silence of a shaft may change something.
    silence: Micros,
    /// The earliest moment at which anything else may, but for slip heat.
    other: Micros,
    /// The earliest of all.
    due: Micros,
}

impl Judge {
    /// A judge without settings: nothing is allowed.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            status: Status {
                run_permit: false,
                feed_permit: false,
                phase: Phase::Unsure,
                first_out: None,
                boot_cleared_needed: false,
                alarms: [AlarmState::Normal; Condition::COUNT],
            },
            configured: false,
            begun: false,
            base: Micros::ZERO,
            newest: Micros::ZERO,
            limits: InForce::NONE,
            fitted: Fitted { head: false, boot: false, power_meter: false, contacts: [false; Place::COUNT] },
            out_of_service: ConditionSet::EMPTY,
            stopping: ConditionSet::EMPTY,
            dropping_feed: ConditionSet::EMPTY,
            holding: ConditionSet::EMPTY,
            names: Nameplate::NEW,
            speeds: Speeds::NEW,
            scale: Ppm::ONE,
            expected_ratio: Ratio::ZERO,
            assumed_power: Watts::ZERO,
            cells: Cells::NEW,
            motion: Motion::NONE,
            course: Course::NEW,
            rest: Rest::NEW,
            starts: Window::new(),
            start_ages: heapless::Vec::new(),
            contact_changes: Window::new(),
            lates: Window::new(),
            heat: Heat::NEW,
            heat_slip: 0,
            power: None,
            reference: Reference::NEW,
            temperatures: [None; Place::COUNT],
            outlet: false,
            unknown_since: None,
            people: People::NEW,
            raised: None,
            bands: Bands::NONE,
            silence: NEVER,
            other: NEVER,
            due: NEVER,
        }
    }

    /// Take limits, and what survived the last loss of power. Everything else starts afresh, and nothing is allowed
    /// before something is observed.
    #[inline(never)]
    pub fn configure(&mut self, settings: &Checked, survivor: &Survivor) {
        let Machine { head_targets, boot_targets, power_meter, contacts, .. } = &settings.machine;
        // Field by field: by value the whole would make a large stack frame.
        self.configured = true;
        self.begun = false;
        self.base = Micros::ZERO;
        self.newest = Micros::ZERO;
        self.limits.take(&settings.limits);
        self.fitted = Fitted {
            head: head_targets.is_some(),
            boot: boot_targets.is_some(),
            power_meter: *power_meter,
            contacts: contacts.map(|contact| contact.is_some()),
        };
        self.out_of_service = senses::out_of_service(settings);
        self.stopping = acting(&settings.limits, Action::Stop);
        self.dropping_feed = acting(&settings.limits, Action::DropFeed);
        self.names = Nameplate::new(&settings.machine);
        self.scale = Ppm::ONE;
        self.speeds = Speeds::new(&self.names, &self.limits, self.scale);
        self.expected_ratio = settings.machine.ratio_in_force();
        self.assumed_power = assumed_power(&settings.machine);
        self.motion = Motion::NONE;
        self.course = Course { contact: settings.machine.drive_contact, ..Course::NEW };
        self.rest = Rest::NEW;
        self.contact_changes = Window::new();
        self.lates = Window::new();
        self.heat_slip = 0;
        self.power = None;
        self.reference = Reference::new(settings.machine.speed_reference);
        self.temperatures = [None; Place::COUNT];
        self.outlet = false;
        self.unknown_since = None;
        self.people = People::NEW;
        self.raised = None;
        self.bands = Bands::NONE;
        self.silence = NEVER;
        self.other = NEVER;
        self.status.run_permit = false;
        self.status.feed_permit = false;
        self.status.phase = Phase::Unsure;
        self.revive(&settings.limits, survivor);
        self.find_due();
    }

    /// Settle everything that fell due up to `seen.at`, then take it. A time earlier than the newest counts as the
    /// newest.
    pub fn observe(&mut self, seen: Seen<'_>, out: &mut dyn FnMut(Verdict)) {
        self.take(seen, true, out);
    }

    /// The same with a scan of every condition at every sight: slower, same verdicts. The oracle of the tests.
    pub fn observe_plainly(&mut self, seen: Seen<'_>, out: &mut dyn FnMut(Verdict)) {
        self.take(seen, false, out);
    }

    fn take(&mut self, seen: Seen<'_>, fast: bool, out: Out<'_>) {
        if !self.configured {
            return;
        }
        let now = seen.at.max(self.newest);
        if !self.begun {
            self.begin(now, out);
        }
        if self.due <= now {
            self.settle(now, out);
        }
        self.newest = now;
        match seen.sight {
            Sight::Wake => return,
            Sight::Motion(motion) => {
                if fast && let Some(until) = self.bands.hold(&self.motion, motion, &self.reference, &self.speeds, now) {
                    self.glide(motion, until, now);
                    return;
                }
                let head_edge = motion.head.edges != self.motion.head.edges;
                let boot_edge = motion.boot.edges != self.motion.boot.edges;
                self.motion = *motion;
                // Mended after it landed: what the last run said is no slip of a leg that stands, or starts and has not turned yet.
                if let Some(slip) = motion.slip_short.reading.ppm()
                    && self.status.phase != Phase::Standstill
                    && !self.waits_for_head()
                {
                    self.heat_slip = slip.get();
                }
                self.follow(head_edge, boot_edge, now, out);
            }
            Sight::Drive(on) => self.drive(on, now, out),
            Sight::Power(watts) => self.power = Some((now, watts)),
            Sight::Reference(share) => self.reference.read(now, share, self.names.normal_head),
            Sight::Temperature(place, value) => {
                if let Some(slot) = self.temperatures.get_mut(place.index()) {
                    *slot = Some(value);
                }
            }
            Sight::Outlet(plugged) => self.outlet = plugged,
            Sight::Command(origin, command) => self.command(origin, command, now, out),
            Sight::Late => self.lates.push(now.after(senses::LATE_WINDOW)),
        }
        self.step(now, out);
    }

    /// The first thing is observed: time becomes known.
    #[cold]
    fn begin(&mut self, now: Micros, out: Out<'_>) {
        self.begun = true;
        self.base = now;
        self.newest = now;
        self.heat.begin(now);
        let window = self.limits.starts.window;
        let mut starts = Window::new();
        for age in &self.start_ages {
            starts.push(now.after(Span::new(window.get().saturating_sub(age.get()))));
        }
        self.starts = starts;
        self.start_ages.clear();
        self.step(now, out);
    }

    /// Settle what falls due up to `until`, in order of time.
    fn settle(&mut self, until: Micros, out: Out<'_>) {
        loop {
            let due = self.due;
            if due > until || due == NEVER {
                return;
            }
            self.step(due.max(self.newest), out);
        }
    }

    fn find_due(&mut self) {
        self.due = self.silence.min(self.other).min(self.heat.check());
    }

    /// Bring everything to `now`.
    fn step(&mut self, now: Micros, out: Out<'_>) {
        self.newest = now;
        for condition in self.cells.pending.iter() {
            let turned = self.with_cell(condition, |cell| cell.settle(now));
            self.turn(condition, turned, now, out);
        }
        self.settle_people(now, out);
        self.settle_course(now, out);
        self.settle_reference(now);
        self.starts.settle(now);
        self.contact_changes.settle(now);
        self.lates.settle(now);
        self.settle_slip_unknown(now);
        self.feed_heat(now);
        let (mut silence, mut other) = self.scan(now, out);
        if self.leave_standstill(now, out) {
            (silence, other) = self.scan(now, out);
        }
        self.conclude(now, out);
        // Every step leaves time behind it, whatever a deadline may say.
        let soonest = Micros::new(now.get().saturating_add(1));
        self.silence = silence.max(soonest);
        self.other = other.max(soonest);
        self.heat.next(now);
        self.find_due();
        self.bands = self.bands_now();
    }

    /// Look at every condition; the earliest moments at which silence, and anything else but heat, may change one.
    fn scan(&mut self, now: Micros, out: Out<'_>) -> (Micros, Micros) {
        let mut silence = NEVER;
        let mut other = self.people.next(now);
        let course = self.course_next();
        if self.standstill_by_silence() {
            silence = silence.min(self.standstill_at());
        }
        other = other.min(course);
        if let (true, Some((at, _))) = (self.fitted.power_meter, self.power) {
            let stale = at.after(POWER_STALE);
            other = other.min(if stale > now { stale } else { NEVER });
        }
        other = other.min(self.reference.next(now));
        let look = self.look(now);
        silence = silence.min(look.silence);
        other = other.min(look.other);
        // What a condition looks at is never another's alarm, so that all may be looked at before any of them turns.
        self.cells.beyond = self.cells.beyond.but(look.within).or(look.beyond);
        let moving =
            self.cells.beyond.differs(self.cells.active).or(self.cells.pending).or(self.changing(look.suppressed));
        for condition in moving.but(self.out_of_service).iter() {
            let limit = self.limits.of(condition);
            let (on_delay, off_delay) = (limit.on_delay, limit.off_delay);
            let turned = self.with_cell(condition, |cell| cell.sample(Sense::Hold, now, on_delay, off_delay));
            self.turn(condition, turned, now, out);
            let event = if look.suppressed.contains(condition) { Event::Suppress } else { Event::Unsuppress };
            self.move_by(condition, event, now, out);
            other = other.min(self.cell(condition).due);
        }
        (silence, other)
    }

    /// Look at every condition. Written out, so that each look is only what that condition needs.
    fn look(&self, now: Micros) -> Look {
        let pitches = self.pitches();
        let mut look = Look::NOTHING;
        macro_rules! at {
            ($($condition:ident)*) => {
                const LIST: [Condition; Condition::COUNT] = [$(Condition::$condition),*];
                const { assert!(ConditionSet::of(&LIST).bits() == ConditionSet::of(&Condition::ALL).bits()) };
                $(self.glance(Condition::$condition, &pitches, now, &mut look);)*
            };
        }
        at!(BeltNotFollowing SlipVeryHigh SlipHigh SlipHeat SlipImpossible SlipNegative DeepUnderspeed Underspeed NoMotion
            HeadUnderspeed StartFailed TooManyStarts Rollback EdgesAtRest Mistracking MistrackingDuty MistrackingSustained
            RubHot RatioShifted OutletPlugged HeadSensorFault BootSensorFault HeadSilent BothSilent SlipUnknown HeadTargets
            BootTargets ContactFault DriveContactFault ReferenceFault TimeBaseFault SettingsFault ResetHeld BypassActive PermitBypassed);
        look
    }

    #[inline(always)]
    fn glance(&self, condition: Condition, pitches: &Pitches, now: Micros, look: &mut Look) {
        let (sense, next) = match self.mode(condition) {
            Mode::Out => return,
            Mode::Judged => self.sense(condition, pitches, now),
            Mode::Idle => (Sense::Within, NEVER),
            Mode::Suppressed => {
                look.suppressed = look.suppressed.with(condition);
                (Sense::Within, NEVER)
            }
        };
        match sense {
            Sense::Beyond => look.beyond = look.beyond.with(condition),
            Sense::Within => look.within = look.within.with(condition),
            Sense::Hold => {}
        }
        let next_of = if senses::follows_silence(condition) { &mut look.silence } else { &mut look.other };
        *next_of = (*next_of).min(next);
    }

    /// Those that enter or leave suppression.
    fn changing(&self, suppressed: ConditionSet) -> ConditionSet {
        let mut set = ConditionSet::EMPTY;
        for condition in senses::SUPPRESSIBLE {
            let from = if suppressed.contains(condition) { AlarmState::Normal } else { AlarmState::Suppressed };
            set = set.put(condition, self.state(condition) == from);
        }
        set
    }

    /// What a cell's turn does to the alarm.
    fn turn(&mut self, condition: Condition, turned: Turned, now: Micros, out: Out<'_>) {
        match turned {
            Turned::No => {}
            Turned::Cleared => self.move_by(condition, Event::Clear, now, out),
            Turned::Raised => {
                let was_latched = matches!(
                    self.state(condition),
                    AlarmState::LatchedUnacknowledged | AlarmState::LatchedAcknowledged
                );
                let latches =
                    was_latched || (self.limits.latching.contains(condition) && !self.stops_softly(condition, now));
                self.with_cell(condition, |cell| cell.latches = latches);
                let to = self.state(condition).next(Event::Raise, latches);
                if to == AlarmState::Unacknowledged {
                    self.tripped(condition, now);
                }
                self.move_to(condition, to, now, out);
            }
        }
    }

    /// An alarm was raised: if it stops the leg, note what follows.
    fn tripped(&mut self, condition: Condition, now: Micros) {
        if !self.stopping.contains(condition) {
            return;
        }
        self.raised = Some(self.raised.map_or(condition, |first| first.min(condition)));
        if condition.needs_boot_cleared() && !self.stops_softly(condition, now) {
            self.status.boot_cleared_needed = true;
        }
    }

    /// Without a drive contact an ordinary stop looks like a loss of speed. It still drops the permits, but it does not
    /// latch and asks for no look into the boot, if the head lost its speed too and slip is not high.
    fn stops_softly(&self, condition: Condition, now: Micros) -> bool {
        !self.course.contact
            && matches!(condition, Condition::DeepUnderspeed | Condition::NoMotion)
            && self.head_is_slow(now)
            && !self.cell(Condition::SlipHigh).beyond
            && !self.cell(Condition::SlipVeryHigh).beyond
            && self
                .motion
                .slip_short
                .reading
                .ppm()
                .is_none_or(|slip| slip.get() < self.limits.of(Condition::SlipHigh).setpoint)
    }

    fn feed_heat(&mut self, now: Micros) {
        let standing = self.course.drive_off() || self.status.phase == Phase::Standstill;
        let power = if standing {
            Watts::ZERO
        } else {
            counted_power(self.power.filter(|_| self.fitted.power_meter), now).unwrap_or(self.assumed_power)
        };
        self.heat.feed(now, power.get(), self.heat_slip);
    }

    fn settle_reference(&mut self, now: Micros) {
        let judged = self.mode(Condition::ReferenceFault) == Mode::Judged;
        self.reference.compare(speeds::closed(&self.motion.head, self.course.opened), judged);
        let scale = self.reference.scale(now);
        if scale != self.scale {
            self.scale = scale;
            self.speeds = Speeds::new(&self.names, &self.limits, scale);
        }
    }

    /// When something will fall due by itself. May be early where only a look is due, never late.
    #[must_use]
    pub fn next_deadline(&self) -> Option<Micros> {
        (self.begun && self.due != NEVER).then_some(self.due)
    }

    /// What judge holds now.
    #[must_use]
    pub const fn status(&self) -> &Status {
        &self.status
    }

    /// Slip heat at `now`, as a share of the budget.
    #[must_use]
    pub fn slip_heat_at(&self, now: Micros) -> Ppm {
        self.heat.ppm_at(now)
    }

    fn cell(&self, condition: Condition) -> Cell {
        self.cells.get(condition, self.newest)
    }

    fn with_cell<T>(&mut self, condition: Condition, change: impl FnOnce(&mut Cell) -> T) -> T {
        let mut cell = self.cell(condition);
        let result = change(&mut cell);
        self.cells.set(condition, cell);
        result
    }

    fn state(&self, condition: Condition) -> AlarmState {
        self.status.alarms.get(condition.index()).copied().unwrap_or_default()
    }

    fn set_state(&mut self, condition: Condition, to: AlarmState) {
        if let Some(state) = self.status.alarms.get_mut(condition.index()) {
            *state = to;
        }
        self.holding = self.holding.put(condition, to.holds());
    }

    fn any(&self, is: impl Fn(AlarmState) -> bool) -> bool {
        self.status.alarms.into_iter().any(is)
    }

    fn move_by(&mut self, condition: Condition, event: Event, now: Micros, out: Out<'_>) {
        let latches = self.cell(condition).latches;
        let mut to = self.state(condition).next(event, latches);
        if self.out_of_service.contains(condition) {
            to = to.next(Event::TakeOut, latches);
        }
        self.move_to(condition, to, now, out);
    }

    fn move_to(&mut self, condition: Condition, to: AlarmState, now: Micros, out: Out<'_>) {
        let from = self.state(condition);
        if from == to {
            return;
        }
        self.set_state(condition, to);
        let (value, detail) = self.value(condition, now);
        let setpoint = self.limits.of(condition).setpoint;
        out(Verdict { at: now, change: Change::Alarm { condition, from, to, value, setpoint, detail } });
    }
}

impl Default for Judge {
    fn default() -> Self {
        Self::new()
    }
}

/// The conditions that act so.
fn acting(limits: &Limits, action: Action) -> ConditionSet {
    let acts = |set: ConditionSet, condition| set.put(condition, limits.of(condition).action == action);
    Condition::ALL.into_iter().fold(ConditionSet::EMPTY, acts)
}

/// Rated power times service factor.
fn assumed_power(machine: &Machine) -> Watts {
    let factor = u64::from(machine.service_factor.get().unsigned_abs());
    let watts = u64::from(machine.rated_power.get()).wrapping_mul(factor) / 1_000_000;
    Watts::new(u32::try_from(watts).unwrap_or(u32::MAX))
}
