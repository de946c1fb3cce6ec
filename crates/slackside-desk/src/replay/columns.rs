//! Every channel of a trace as points in time: fine within the window that was kept, in stretches outside it. What is drawn, and what a
//! page says at its cursor, is read from here.

use slackside::input::{ContactState, Input, LineState, Place, Shaft, Signal};
use slackside::judge::Judge;
use slackside::monitor::{Tap, Told};
use slackside::motion::{Motion, SlipReading};
use slackside::settings::plan::Plan;
use slackside::settings::{Checked, Machine, Targets};
use slackside::signals::Signals;
use slackside::units::{Micrometres, Micros, TurnFraction};

use super::outcome::{Outcome, STALE_US};
use super::sample::shaft_speed;
use super::series::{Bucket, Range};
use crate::monitor::{Monitor, on, plan_of};

/// Silence longer than this is drawn as what it proves, not as the last speed.
const SILENCE_US: u64 = 100_000;
/// Points drawn in one silence.
const SILENT_POINTS: u64 = 40;

/// What a column is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// Head shaft, microturns a second, at most.
    Head,
    /// Belt, micrometres a second, at most.
    Belt,
    /// Slip over one boot turn, ppm.
    SlipShort,
    /// Slip over four boot turns, ppm.
    SlipLong,
    /// Slip heat, ppm of its budget.
    Heat,
    /// Power at the head shaft, watts.
    Power,
    /// Temperature at a rub point, tenths of a degree Celsius.
    Temperature(Place),
    /// The speed asked for, ppm of normal.
    Reference,
    /// The starter's auxiliary contact: 0 off, 1 on.
    Drive,
    /// The outlet: 0 free, 1 plugged.
    Outlet,
    /// A rub contact: 0 clear, 1 rubs, 2 faulty.
    Contact(Place),
    /// The supervised wire of a target sensor: 0 sound, 1 open, 2 shorted.
    Wire(Shaft),
    /// Why a target sensor is not trusted, as the bits of [`distrust`](slackside::signals::distrust); [`What::IN_DOUBT`] where the next
    /// edge will tell whether some were lost.
    Doubt(Shaft),
}

impl What {
    /// All of them, in the order in which they are told.
    pub const ALL: [Self; 21] = [
        Self::Head,
        Self::Belt,
        Self::SlipShort,
        Self::SlipLong,
        Self::Heat,
        Self::Power,
        Self::Temperature(Place::HeadLeft),
        Self::Temperature(Place::HeadRight),
        Self::Temperature(Place::BootLeft),
        Self::Temperature(Place::BootRight),
        Self::Reference,
        Self::Drive,
        Self::Outlet,
        Self::Contact(Place::HeadLeft),
        Self::Contact(Place::HeadRight),
        Self::Contact(Place::BootLeft),
        Self::Contact(Place::BootRight),
        Self::Wire(Shaft::Head),
        Self::Wire(Shaft::Boot),
        Self::Doubt(Shaft::Head),
        Self::Doubt(Shaft::Boot),
    ];

    /// Of [`What::Doubt`]: edges may have been lost, and the next will tell.
    pub const IN_DOUBT: i32 = 256;

    /// Whether the leg has a sensor for it.
    fn is_fitted(self, machine: &Machine) -> bool {
        let both = machine.head_targets.is_some() && machine.boot_targets.is_some();
        match self {
            Self::Head => machine.head_targets.is_some(),
            Self::Belt => machine.boot_targets.is_some(),
            Self::SlipShort | Self::SlipLong | Self::Heat => both,
            Self::Power => machine.power_meter,
            Self::Temperature(place) => machine.temperatures[place.index()],
            Self::Reference => machine.speed_reference.is_some(),
            Self::Drive => machine.drive_contact,
            Self::Outlet => machine.outlet_switch,
            Self::Contact(place) => machine.contacts[place.index()].is_some(),
            Self::Wire(shaft) => targets(machine, shaft).is_some_and(|targets| targets.supervised),
            Self::Doubt(shaft) => targets(machine, shaft).is_some(),
        }
    }

    /// What the stretches outside the window know of it.
    fn coarse(self, bucket: &Bucket) -> Range {
        match self {
            Self::Head => bucket.head,
            Self::Belt => bucket.belt,
            Self::SlipShort => bucket.slip_short,
            Self::SlipLong => bucket.slip_long,
            Self::Heat => bucket.heat,
            Self::Power => bucket.power,
            Self::Temperature(place) => bucket.temperatures[place.index()],
            Self::Reference => bucket.reference,
            Self::Contact(place) => {
                let mut range = Range::EMPTY;
                range.include(i64::from(bucket.rubbed[place.index()]));
                range
            }
            // Of these the whole trace keeps each change.
            Self::Drive | Self::Outlet => Range::EMPTY,
            Self::Wire(_) | Self::Doubt(_) => Range::EMPTY,
        }
    }
}

const fn targets(machine: &Machine, shaft: Shaft) -> Option<&Targets> {
    match shaft {
        Shaft::Head => machine.head_targets.as_ref(),
        Shaft::Boot => machine.boot_targets.as_ref(),
    }
}

/// A rub as it began, and where belt and shaft then were.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rub {
    /// When.
    pub at: u64,
    /// Where.
    pub place: Place,
    /// How far the belt had come since the window began, by the boot's turns.
    pub travelled: Micrometres,
    /// The angle of the shaft at that station, counted from where the monitor first saw it.
    pub angle: TurnFraction,
}

/// What was known from a moment on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Point {
    /// The moment.
    pub at: u64,
    /// The least it can have been.
    pub least: i32,
    /// The most it can have been; [`Point::OPEN`] where there is no upper bound.
    pub most: i32,
}

impl Point {
    /// No upper bound.
    pub const OPEN: i32 = i32::MAX;

    const fn unknown(at: u64) -> Self {
        Self { at, least: i32::MAX, most: i32::MIN }
    }

    /// The bounds, if anything was known.
    #[must_use]
    pub const fn bounds(&self) -> Option<(i32, i32)> {
        if self.least > self.most { None } else { Some((self.least, self.most)) }
    }
}

/// One channel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// What it is about.
    pub what: What,
    /// What was known, each point until the next.
    pub points: Vec<Point>,
}

impl Column {
    fn push(&mut self, point: Point) {
        match self.points.last_mut() {
            Some(last) if last.bounds() == point.bounds() => {}
            // What comes late is told with what came before it.
            Some(last) if last.at >= point.at => *last = Point { at: last.at, ..point },
            _ => self.points.push(point),
        }
    }

    /// What was known at a moment.
    #[must_use]
    pub fn at(&self, at: u64) -> Option<(i32, i32)> {
        let past = self.points.partition_point(|point| point.at <= at);
        self.points.get(past.checked_sub(1)?)?.bounds()
    }
}

/// All channels that the leg has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Columns {
    /// When the window begins.
    pub from: u64,
    /// When it ends.
    pub to: u64,
    /// The rubs that began within it, oldest first.
    pub rubs: Vec<Rub>,
    /// How far the belt came within it up to the trip, or to its end where nothing tripped.
    pub travelled: Micrometres,
    columns: Vec<Column>,
}

impl Columns {
    /// The channels of an outcome, judged again from the window it kept.
    #[must_use]
    pub fn of(outcome: &Outcome) -> Self {
        let settings = &outcome.settings;
        let window = &outcome.window;
        let (begin, end) = (outcome.first().get(), outcome.last().get());
        let from =
            if window.rows_before == 0 { begin } else { window.inputs().next().map_or(end, |input| input.at.get()) };
        let to = if window.rows_after == 0 { end } else { window.inputs().last().map_or(end, |input| input.at.get()) };
        let columns = What::ALL.into_iter().filter(|what| what.is_fitted(&settings.machine));
        let columns = columns.map(|what| Column { what, points: Vec::new() }).collect();
        let mut columns = Self { from, to, rubs: Vec::new(), travelled: Micrometres::ZERO, columns };
        for (what, wired) in [(What::Drive, &outcome.drive), (What::Outlet, &outcome.outlet)] {
            for (at, closed) in wired.changes() {
                columns.known(what, at.get(), Some(i32::from(closed)));
            }
        }
        columns.coarse(outcome, |_, at_end| at_end <= from);
        columns.fine(outcome);
        columns.coarse(outcome, |at, _| at >= to);
        columns
    }

    /// A channel.
    #[must_use]
    pub fn get(&self, what: What) -> Option<&Column> {
        self.columns.iter().find(|column| column.what == what)
    }

    /// All of them.
    pub fn iter(&self) -> impl Iterator<Item = &Column> {
        self.columns.iter()
    }

    fn push(&mut self, what: What, at: u64, (least, most): (i32, i32)) {
        if let Some(column) = self.columns.iter_mut().find(|column| column.what == what) {
            column.push(Point { at, least, most });
        }
    }

    fn known(&mut self, what: What, at: u64, value: Option<i32>) {
        let unknown = Point::unknown(at);
        self.push(what, at, value.map_or((unknown.least, unknown.most), |value| (value, value)));
    }

    /// Take the stretches that `wanted` accepts by their beginning and end.
    fn coarse(&mut self, outcome: &Outcome, wanted: impl Fn(u64, u64) -> bool) {
        let (start, width) = (outcome.series.start().get(), outcome.series.width_us());
        for (index, bucket) in outcome.series.buckets().iter().enumerate() {
            let at = start.saturating_add((index as u64).saturating_mul(width));
            if !wanted(at, at.saturating_add(width)) {
                continue;
            }
            for column in &mut self.columns {
                let point = match column.what.coarse(bucket).bounds() {
                    Some((least, most)) => Point { at, least: held(least), most: held(most) },
                    // Speeds and slip are told at every turn: silence is not knowing. The rest holds until it is told anew.
                    None if matches!(column.what, What::Head | What::Belt | What::SlipShort | What::SlipLong) => {
                        Point::unknown(at)
                    }
                    None => continue,
                };
                column.push(point);
            }
        }
    }

    fn fine(&mut self, outcome: &Outcome) {
        let settings = &outcome.settings;
        let plan = plan_of(settings);
        let mut monitor = on(&plan);
        if let Some(first) = outcome.window.parts.first() {
            // It was written a moment ago by the same core under the same plan.
            let _ = monitor.restore(plan, &first.header, &first.keyframe);
        }
        let trip = outcome.first_outs.first().map_or(u64::MAX, |first_out| first_out.at.get());
        let mut drawing = Drawing { columns: self, settings, motion: Motion::NONE, moved: 0, trip, turned: 0 };
        for input in outcome.window.inputs() {
            drawing.silence(&mut monitor, input.at.get());
            drawing.input(&mut monitor, input);
        }
        let end = outcome.last().get().min(drawing.columns.to);
        drawing.silence(&mut monitor, end);
        // What falls due up to the last row, as the replay does.
        if outcome.window.rows_after == 0 {
            drawing.input(&mut monitor, Input::new(outcome.last(), Signal::Tick));
        }
    }
}

/// Held inside the type, below what means no bound.
fn held(value: i64) -> i32 {
    i32::try_from(value.clamp(-2_000_000_000, 2_000_000_000)).unwrap_or(0)
}

struct Drawing<'a> {
    columns: &'a mut Columns,
    settings: &'a Checked,
    motion: Motion,
    /// When it last moved.
    moved: u64,
    /// When the leg was stopped.
    trip: u64,
    /// How far the boot has turned, in 2^-32 turn.
    turned: u64,
}

impl Drawing<'_> {
    fn input(&mut self, monitor: &mut Monitor, input: Input) {
        let at = input.at.get();
        match input.signal {
            Signal::Contact(place, state) => self.columns.known(What::Contact(place), at, Some(contact(state))),
            Signal::Line(shaft, state) => self.columns.known(What::Wire(shaft), at, Some(wire(state))),
            _ => {}
        }
        monitor.observe_with(input, self, &mut |_| {});
    }

    /// Why the sensors are not trusted, and the rubs that began.
    fn doubts_and_rubs(&mut self, at: u64, before: &Motion, signals: &Signals) {
        for (shaft, shaft_signals) in [(Shaft::Head, &signals.head), (Shaft::Boot, &signals.boot)] {
            let doubt = if shaft_signals.is_in_doubt() { What::IN_DOUBT } else { 0 };
            self.columns.known(What::Doubt(shaft), at, Some(doubt | i32::from(shaft_signals.distrust)));
        }
        // What a motion tells of an angle wraps after 256 turns.
        let on = self.motion.boot.angle.get().wrapping_sub(before.boot.angle.get()) & ((1 << 40) - 1);
        self.turned += if before.boot.fitted { on } else { 0 };
        let circumference = self.settings.machine.boot_circumference().get();
        let way = (i128::from(self.turned) * i128::from(circumference)) >> 32;
        let travelled = Micrometres::new(i64::try_from(way).unwrap_or(i64::MAX));
        if at <= self.trip {
            self.columns.travelled = travelled;
        }
        for (place, (contact, was)) in Place::ALL.into_iter().zip(self.motion.contacts.iter().zip(&before.contacts)) {
            if contact.fitted && was.fitted && contact.count != was.count {
                let shaft = match place {
                    Place::HeadLeft | Place::HeadRight => &self.motion.head,
                    Place::BootLeft | Place::BootRight => &self.motion.boot,
                };
                // The angle within the turn is the lower half.
                let angle = TurnFraction::new(shaft.angle.get() as u32);
                self.columns.rubs.push(Rub { at, place, travelled, angle });
            }
        }
    }

    fn speeds(&mut self, at: u64) {
        let now = Micros::new(at);
        let head = shaft_speed(&self.motion.head, now).map(|speed| held(i64::from(speed.get())));
        let belt = shaft_speed(&self.motion.boot, now)
            .map(|speed| held(i64::from(self.settings.machine.belt_speed(speed).get())));
        self.columns.known(What::Head, at, head);
        self.columns.known(What::Belt, at, belt);
    }

    /// Draw what silence proves up to `until`: ticks on the way change no verdict, and let measure say what it held back.
    fn silence(&mut self, monitor: &mut Monitor, until: u64) {
        let begun = self.moved;
        let gap = until.saturating_sub(begun);
        if begun == 0 || gap < SILENCE_US {
            return;
        }
        // Closer together at first, where a speed falls fastest.
        for step in 1..SILENT_POINTS {
            let part = u128::from(gap) * u128::from(step * step) / u128::from(SILENT_POINTS * SILENT_POINTS);
            let at = begun.saturating_add((part as u64).max(SILENCE_US / 2 * step).min(gap - 1));
            if Micros::new(at) > monitor.newest() {
                monitor.observe_with(Input::new(Micros::new(at), Signal::Tick), self, &mut |_| {});
                self.speeds(at);
            }
        }
        // Slip that nothing has told anew for so long is not known.
        if gap > STALE_US {
            for what in [What::SlipShort, What::SlipLong] {
                self.columns.known(what, begun.saturating_add(STALE_US), None);
            }
        }
    }
}

const fn wire(state: LineState) -> i32 {
    match state {
        LineState::Sound => 0,
        LineState::Open => 1,
        LineState::Shorted => 2,
    }
}

const fn contact(state: ContactState) -> i32 {
    match state {
        ContactState::Clear => 0,
        ContactState::Rubbing => 1,
        ContactState::Faulty => 2,
    }
}

impl Tap for Drawing<'_> {
    fn tells(&mut self, now: Micros, told: Told<'_>, signals: &Signals, plan: &Plan) {
        let at = now.get();
        match told {
            Told::Moved(_) => {
                let before = core::mem::replace(&mut self.motion, Motion::of(signals, plan, now));
                self.doubts_and_rubs(at, &before, signals);
                self.moved = at;
                self.speeds(at);
                for (what, reading) in
                    [(What::SlipShort, self.motion.slip_short), (What::SlipLong, self.motion.slip_long)]
                {
                    let bounds = match reading {
                        SlipReading::Known(slip) => Some((slip.get(), slip.get())),
                        SlipReading::Between(least, most) => Some((least.get(), most.get())),
                        SlipReading::AtLeast(least) => Some((least.get(), Point::OPEN)),
                        SlipReading::Unknown | SlipReading::Retracted => None,
                    };
                    let unknown = Point::unknown(at);
                    self.columns.push(what, at, bounds.unwrap_or((unknown.least, unknown.most)));
                }
            }
            Told::Signal(Signal::DrivePower(power)) => {
                self.columns.known(What::Power, at, Some(held(i64::from(power.get()))));
            }
            Told::Signal(Signal::SpeedReference(reference)) => {
                self.columns.known(What::Reference, at, Some(reference.get()));
            }
            Told::Signal(Signal::Temperature(place, celsius)) => {
                self.columns.known(What::Temperature(*place), at, Some(i32::from(celsius.get())));
            }
            Told::Signal(_) | Told::Late => {}
        }
    }

    fn told(&mut self, now: Micros, told: Told<'_>, _: &Signals, judge: &Judge, plan: &Plan) {
        if let Told::Moved(_) = told {
            // Heat moves at every edge; a hundredth of a per cent of it is fine enough.
            self.columns.known(What::Heat, now.get(), Some(judge.slip_heat_at(plan, now).get() / 100 * 100));
        }
    }
}
