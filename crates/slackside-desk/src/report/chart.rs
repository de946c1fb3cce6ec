//! Everything on one time axis: lanes of plain HTML with stretched vector drawings in them.
//!
//! Lanes whose text is HTML stay readable on a phone; the drawings between are stretched, and their colours follow the reader's light
//! or dark.

use std::fmt::Write;

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{ContactState, Place, Shaft};
use slackside::settings::schema::{DrivePart, SpeedPart};
use slackside::settings::{Field, LimitPart};
use slackside::units::{Micros, Ppm};
use slackside::verdict::{Change, Permit, Phase};

use super::causes::place;
use super::clock::Clock;
use super::escape::escape;
use super::figures::{belt as belt_text, belt_unit, percent, rpm, trimmed};
use super::sources::{Notes, Sources};
use super::story::distrust_of;
use crate::drawing::{Look, Scale, Svg, nice_step};
use crate::replay::{Column, Columns, Outcome, Point, What};

/// Nothing known for longer than this is marked.
const MARKED_US: u64 = 1_500_000;
/// A drawing is cut into so many slots of time, each with the least and the most in it.
const SLOTS: u64 = 500;

/// The time axis of one drawing.
#[derive(Clone, Copy)]
struct Axis {
    begin: u64,
    length: u64,
}

impl Axis {
    /// Where a moment lies, in thousandths of the width.
    fn x(self, at: u64) -> f64 {
        (1_000.0 * at.saturating_sub(self.begin) as f64 / self.length as f64).min(1_000.0)
    }

    const fn end(self) -> u64 {
        self.begin.saturating_add(self.length)
    }

    /// When a slot begins.
    fn slot(self, index: u64) -> u64 {
        let part = u128::from(self.length) * u128::from(index) / u128::from(SLOTS);
        self.begin.saturating_add(u64::try_from(part).unwrap_or(u64::MAX))
    }
}

/// The scale of a lane 100 high.
const fn lane(least: f64, most: f64) -> Scale {
    Scale { figures: (least, most), places: (100.0, 0.0) }
}

/// A strip: stretches of time, each in a class of its own.
pub struct Strip {
    /// What it is about.
    pub name: String,
    /// From, to, class, words.
    pub parts: Vec<(u64, u64, &'static str, String)>,
}

/// Strips about one thing.
pub struct Strips {
    /// What.
    pub title: &'static str,
    /// The classes in it, each with its words.
    pub keys: &'static [(&'static str, &'static str)],
    /// One below the other.
    pub strips: Vec<Strip>,
}

/// A limit that is drawn across a lane.
pub struct Mark {
    /// Where on its scale.
    pub at: f64,
    /// Its words.
    pub words: String,
    /// Where it comes from.
    pub from: Sources,
}

impl Mark {
    /// The setpoint of a condition.
    pub fn of(condition: Condition, at: f64, words: String) -> Self {
        Self { at, words, from: Sources::default().field(Field::Limit(condition, LimitPart::Setpoint)) }
    }

    /// Below this share of normal speed a leg must be stopped.
    pub fn code() -> Self {
        let how = "29 CFR 1910.272(q)(5): a leg is stopped when its belt has lost 20 % of its normal speed.";
        Self { at: 80.0, words: "80 %: safety code".to_owned(), from: Sources::how(how) }
    }
}

/// The lanes from one moment to another.
pub fn lanes(notes: &mut Notes, outcome: &Outcome, columns: &Columns, begin: u64, end: u64) -> String {
    let axis = Axis { begin, length: end.saturating_sub(begin).max(1) };
    let trip = outcome.first_outs.first().map(|first_out| first_out.at.get());
    let mut out = String::from("<div class=\"chart\">\n");
    let mut chart = Chart { out: &mut out, notes, outcome, columns, svg: Svg::default(), axis, trip };
    chart.speeds();
    chart.slip();
    chart.heat();
    chart.power();
    chart.temperatures();
    for strips in strips(outcome, columns) {
        chart.strips(&strips);
    }
    chart.time_axis(outcome.clock());
    out.push_str("</div>\n");
    out
}

/// Every strip of an outcome.
pub fn strips(outcome: &Outcome, columns: &Columns) -> Vec<Strips> {
    const ALARM: &[(&str, &str)] =
        &[("unack", "not acknowledged"), ("ack", "acknowledged"), ("over", "over or latched")];
    let all = [
        Strips {
            title: "Where the belt rubs the casing",
            keys: &[("rub", "rubs"), ("faulty", "faulty: not known")],
            strips: contacts(outcome, columns),
        },
        Strips {
            title: "Sensors",
            keys: &[
                ("open", "wire cut"),
                ("shorted", "wire shorted"),
                ("doubt", "edges may be lost"),
                ("faulty", "not trusted"),
            ],
            strips: sensors(outcome, columns),
        },
        Strips {
            title: "Drive and outlet",
            keys: &[("on", "motor on"), ("plugged", "outlet plugged")],
            strips: wires(outcome, columns),
        },
        Strips { title: "Alarms", keys: ALARM, strips: alarms(outcome) },
        Strips {
            title: "Permits and what the leg does",
            keys: &[("given", "given"), ("dropped", "dropped")],
            strips: permits(outcome),
        },
    ];
    all.into_iter().filter(|strips| !strips.strips.is_empty()).collect()
}

/// The scale, the grid and the limits of a slip lane.
pub fn slip_scale(outcome: &Outcome) -> (Scale, Vec<f64>, [Mark; 2]) {
    let setpoint = |condition: Condition| f64::from(outcome.settings.limits.of(condition).setpoint) / 1e4;
    let (high, very_high) = (setpoint(Condition::SlipHigh), setpoint(Condition::SlipVeryHigh));
    let peak = outcome.peak_short.map_or(0.0, |peak| f64::from(peak.value.get()) / 1e4);
    let most = (very_high * 1.4).max((peak * 1.1).min(100.0));
    let step = nice_step(most, 4);
    let grid = (0..).map(|count| f64::from(count) * step).take_while(|figure| *figure <= most).collect();
    let marks = [
        Mark::of(Condition::SlipVeryHigh, very_high, format!("stop {} %", trimmed(very_high, 1))),
        Mark::of(Condition::SlipHigh, high, format!("alarm {} %", trimmed(high, 1))),
    ];
    (lane((-most / 10.0).max(-5.0), most), grid, marks)
}

struct Chart<'a> {
    out: &'a mut String,
    notes: &'a mut Notes,
    outcome: &'a Outcome,
    columns: &'a Columns,
    /// The drawing of the lane that is open.
    svg: Svg,
    axis: Axis,
    trip: Option<u64>,
}

impl Chart<'_> {
    fn speeds(&mut self) {
        let outcome = self.outcome;
        let machine = &outcome.settings.machine;
        let share = |whole: u32| move |value: i32| 100.0 * f64::from(value) / f64::from(whole.max(1));
        let scale = lane(0.0, 120.0);
        let mut keys = vec![(
            "belt",
            format!(
                "belt, 100 % is {} {}",
                belt_text(Some(machine.normal_belt_speed()), outcome.feet),
                belt_unit(outcome.feet)
            ),
        )];
        if machine.head_targets.is_some() {
            keys.insert(0, ("head", format!("head shaft, 100 % is {} rpm", rpm(Some(machine.normal_head)))));
        }
        self.open("Speeds, per cent of normal", &keys);
        self.begin(scale, &[0.0, 50.0, 100.0], &[Mark::code()]);
        self.line("head", scale, What::Head, share(machine.normal_head.get()));
        self.line("belt", scale, What::Belt, share(machine.normal_belt_speed().get()));
        self.unknown(&[What::Belt]);
        self.close();
    }

    fn slip(&mut self) {
        let outcome = self.outcome;
        if !outcome.sees_slip() {
            self.out
                .push_str("<p class=\"lane-note\">Slip is not drawn: without a head sensor it cannot be seen.</p>\n");
            return;
        }
        let (scale, grid, marks) = slip_scale(outcome);
        self.open(
            "Slip: how much faster the pulley runs than the belt, per cent",
            &[("short", "over one boot turn".to_owned()), ("long", "over four boot turns".to_owned())],
        );
        self.begin(scale, &grid, &marks);
        self.line("short", scale, What::SlipShort, |ppm| f64::from(ppm) / 1e4);
        self.line("long", scale, What::SlipLong, |ppm| f64::from(ppm) / 1e4);
        self.unknown(&[What::SlipShort, What::SlipLong]);
        self.close();
    }

    fn heat(&mut self) {
        let outcome = self.outcome;
        if !outcome.sees_slip() {
            return;
        }
        let most = heat_most(outcome);
        let stop = Mark::of(Condition::SlipHeat, 100.0, "stop 100 %".to_owned());
        let marks: &[Mark] = if most > 100.0 { &[stop] } else { &[] };
        let keys = [("heat", "heat in pulley and belt".to_owned())];
        self.plain("Heat from slip, per cent of what is allowed", &keys, (0.0, most), marks, &[What::Heat], 1e4);
    }

    fn power(&mut self) {
        let outcome = self.outcome;
        let Some((_, most)) = self.span(&[What::Power]) else { return };
        let rated = f64::from(outcome.settings.machine.rated_power.get()) / 1e3;
        let mark = rated_mark(outcome);
        let most = (f64::from(most) / 1e3).max(rated) * 1.15;
        let keys = [("power", "power at the head shaft".to_owned())];
        self.plain("Power, kilowatts", &keys, (0.0, most), &[mark], &[What::Power], 1e3);
    }

    fn temperatures(&mut self) {
        let whats = Place::ALL.map(What::Temperature);
        let Some((least, most)) = self.span(&whats) else { return };
        let keys: Vec<(&str, String)> = Place::ALL
            .into_iter()
            .filter(|place| self.columns.get(What::Temperature(*place)).is_some())
            .map(|place_| (temperature_class(place_), place(place_).to_owned()))
            .collect();
        let range = ((f64::from(least) / 10.0).min(0.0), (f64::from(most) / 10.0 * 1.15).max(20.0));
        self.plain("Temperature at the rub points, °C", &keys, range, &[], &whats, 10.0);
    }

    /// A lane of channels that share a scale, each `divisor` of its units in one of the scale's.
    fn plain(
        &mut self,
        title: &str,
        keys: &[(&str, String)],
        (least, most): (f64, f64),
        marks: &[Mark],
        whats: &[What],
        divisor: f64,
    ) {
        let scale = lane(least, most);
        let step = nice_step(most - least, 3);
        let first = (least / step).ceil();
        let grid: Vec<f64> =
            (0..8).map(|count| (first + f64::from(count)) * step).take_while(|figure| *figure <= most).collect();
        self.open(title, keys);
        self.begin(scale, &grid, marks);
        for what in whats {
            let class = match *what {
                What::Heat => "heat",
                What::Temperature(place) => temperature_class(place),
                _ => "power",
            };
            self.line(class, scale, *what, |value| f64::from(value) / divisor);
        }
        self.close();
    }

    /// The least and the most of channels in the whole trace.
    fn span(&self, whats: &[What]) -> Option<(i32, i32)> {
        let columns = whats.iter().filter_map(|what| self.columns.get(*what));
        let bounds = columns.flat_map(|column| column.points.iter().filter_map(Point::bounds));
        bounds.reduce(|(least, most), (low, high)| (least.min(low), most.max(high)))
    }

    fn open(&mut self, title: &str, keys: &[(&str, String)]) {
        let _ = write!(self.out, "<div class=\"lane\"><p class=\"lane-title\"><b>{}</b>", escape(title));
        for (class, text) in keys {
            let text = self.notes.traced(self.outcome, text, &normal_speeds());
            let _ = write!(self.out, " <span class=\"key k-{class}\">{text}</span>");
        }
        self.out.push_str("</p>\n");
    }

    fn begin(&mut self, scale: Scale, grid: &[f64], marks: &[Mark]) {
        self.out.push_str("<div class=\"plot\">");
        for figure in grid {
            let y = scale.place(*figure);
            let _ = write!(self.out, "<span class=\"y\" style=\"top:{y:.2}%\">{}</span>", trimmed(*figure, 2));
        }
        let places: Vec<f64> = marks.iter().map(|mark| scale.place(mark.at)).collect();
        for (mark, y) in marks.iter().zip(apart(&places)) {
            let words = self.notes.traced(self.outcome, &mark.words, &mark.from);
            let _ = write!(self.out, "<span class=\"mark\" style=\"top:{y:.2}%\">{words}</span>");
        }
        self.svg = Svg::stretched(1_000.0, 100.0);
        for figure in grid {
            self.level("grid", scale.place(*figure));
        }
        for y in places {
            self.level("limit", y);
        }
        self.trip_line(100.0);
    }

    fn level(&mut self, class: &str, y: f64) {
        self.svg.path(Look::Class(class), &format!("M0 {y:.2}H1000"));
    }

    fn trip_line(&mut self, height: f64) {
        if let Some(trip) = self.trip.filter(|trip| (self.axis.begin..=self.axis.end()).contains(trip)) {
            let x = self.axis.x(trip);
            self.svg.path(Look::Class("trip"), &format!("M{x:.2} 0V{height}"));
        }
    }

    fn close(&mut self) {
        self.out.push_str(&std::mem::take(&mut self.svg).finish());
        self.out.push_str("</div></div>\n");
    }

    /// The least and the most that a channel can have been in each slot, where anything was known.
    fn slots(&self, what: What) -> Vec<Option<(i32, i32)>> {
        let Some(column) = self.columns.get(what) else { return Vec::new() };
        let mut next = column.points.partition_point(|point| point.at <= self.axis.begin);
        let mut holds = next.checked_sub(1).and_then(|at| column.points.get(at)).and_then(Point::bounds);
        let closed = |(least, most): (i32, i32)| (least, if most == Point::OPEN { least } else { most });
        (1..=SLOTS)
            .map(|slot| {
                let end = self.axis.slot(slot);
                let mut seen = holds.map(closed);
                while let Some(point) = column.points.get(next).filter(|point| point.at < end) {
                    holds = point.bounds();
                    if let Some((low, high)) = holds.map(closed) {
                        seen = Some(seen.map_or((low, high), |(least, most)| (least.min(low), most.max(high))));
                    }
                    next += 1;
                }
                seen
            })
            .collect()
    }

    fn line(&mut self, class: &str, scale: Scale, what: What, figure: impl Fn(i32) -> f64) {
        let mut path = String::new();
        let mut joined = false;
        for (slot, seen) in self.slots(what).into_iter().enumerate() {
            let Some((least, most)) = seen else {
                joined = false;
                continue;
            };
            let x = 1_000.0 * (slot as f64 + 0.5) / SLOTS as f64;
            let (low, high) = (scale.place(figure(least)), scale.place(figure(most)));
            let _ = write!(path, "{}{x:.1} {low:.1}", if joined { "L" } else { "M" });
            if (low - high).abs() > 0.3 {
                let _ = write!(path, "V{high:.1}");
            } else if !joined {
                path.push_str("h.5");
            }
            joined = true;
        }
        self.svg.path(Look::Class(&format!("line s-{class}")), &path);
    }

    /// A band along the foot of the lane wherever none of these was known.
    fn unknown(&mut self, whats: &[What]) {
        let all: Vec<Vec<Option<(i32, i32)>>> = whats.iter().map(|what| self.slots(*what)).collect();
        let known = |slot: u64| all.iter().any(|slots| slots.get(slot as usize).is_some_and(Option::is_some));
        let mut since = None;
        for slot in 0..=SLOTS {
            if slot < SLOTS && !known(slot) {
                since.get_or_insert(slot);
            } else if let Some(since) = since.take() {
                let (from, to) = (self.axis.slot(since), self.axis.slot(slot));
                if to.saturating_sub(from) > MARKED_US.max(4 * self.axis.length / SLOTS) {
                    let (x, to) = (self.axis.x(from), self.axis.x(to));
                    self.svg.rect(Look::Class("unknown"), (x, 94.0), (to - x, 6.0), "");
                }
            }
        }
    }

    fn strips(&mut self, strips: &Strips) {
        let _ = write!(self.out, "<div class=\"lane\"><p class=\"lane-title\"><b>{}</b>", escape(strips.title));
        for (class, words) in strips.keys {
            let _ = write!(self.out, " <span class=\"key k-{class}\">{words}</span>");
        }
        self.out.push_str("</p>\n");
        for strip in &strips.strips {
            self.strip(strip);
        }
        self.out.push_str("</div>\n");
    }

    fn strip(&mut self, strip: &Strip) {
        let duty = Sources::how("The share of the belt loop up to the last row on which the contact was held.");
        let name = self.notes.traced(self.outcome, &strip.name, &duty.row(self.outcome.rows.newest()));
        let _ = write!(self.out, "<div class=\"strip\"><span class=\"strip-name\">{name}</span><div class=\"bar\">");
        self.svg = Svg::stretched(1_000.0, 10.0);
        let seen = strip.parts.iter().filter(|(from, to, ..)| *from <= self.axis.end() && *to >= self.axis.begin);
        let seen: Vec<(f64, f64, &str, &str)> = seen
            .map(|(from, to, class, words)| (self.axis.x(*from), self.axis.x(*to), *class, words.as_str()))
            .collect();
        for (x, to, class, words) in &seen {
            self.svg.rect(Look::Class(&format!("p-{class}")), (*x, 0.0), ((to - x).max(1.5), 10.0), words);
        }
        self.trip_line(10.0);
        self.out.push_str(&std::mem::take(&mut self.svg).finish());
        for (x, to, _, words) in &seen {
            // Words only where they fit: a tenth of the width.
            if to - x > 110.0 {
                let (left, width) = (x / 10.0, (to - x) / 10.0);
                let words = escape(words);
                let _ = write!(
                    self.out,
                    "<span class=\"bar-word\" style=\"left:{left:.2}%;width:{width:.2}%\">{words}</span>"
                );
            }
        }
        self.out.push_str("</div></div>\n");
    }

    fn time_axis(&mut self, clock: Clock) {
        self.out.push_str("<div class=\"lane time\"><div class=\"bar\">");
        let seconds = self.axis.length as f64 / 1e6;
        let step = nice_time_step(seconds);
        // Marks lie at round times.
        let step_us = ((step * 1e6) as u64).max(1);
        let mut at = clock.round_up(Micros::new(self.axis.begin), step_us).get();
        while at <= self.axis.end() {
            let x = self.axis.x(at);
            let class = match x {
                x if x > 960.0 => "t t-last",
                x if x < 40.0 => "t t-first",
                _ => "t",
            };
            let mark = clock.mark(Micros::new(at), step);
            let _ = write!(self.out, "<span class=\"{class}\" style=\"left:{:.2}%\">{mark}</span>", x / 10.0);
            let Some(next) = at.checked_add(step_us) else { break };
            at = next;
        }
        if let Some(trip) = self.trip.filter(|trip| (self.axis.begin..=self.axis.end()).contains(trip)) {
            let x = self.axis.x(trip) / 10.0;
            let _ = write!(self.out, "<span class=\"t trip-word\" style=\"left:{x:.2}%\">trip</span>");
        }
        self.out.push_str("</div></div>\n");
    }
}

/// Rated power, as it is drawn.
pub fn rated_mark(outcome: &Outcome) -> Mark {
    let rated = f64::from(outcome.settings.machine.rated_power.get()) / 1e3;
    let from = Sources::default().field(Field::Drive(DrivePart::Rated));
    Mark { at: rated, words: format!("rated {} kW", trimmed(rated, 1)), from }
}

/// What 100 per cent of speed is.
fn normal_speeds() -> Sources {
    Sources::default().field(Field::Speed(SpeedPart::Head)).field(Field::Speed(SpeedPart::Boot))
}

/// Where the words of marks stand beside a lane, in hundredths of its height from the top: beside their line, or as close to it as
/// leaves each its room.
fn apart(places: &[f64]) -> Vec<f64> {
    /// The height of a line of words in the lowest lane, that of a printed page.
    const ROOM: f64 = 26.0;
    let mut order: Vec<usize> = (0..places.len()).collect();
    order.sort_by(|one, other| places[*one].total_cmp(&places[*other]));
    let mut stand = places.to_vec();
    let mut free = 0.0;
    for at in &order {
        stand[*at] = places[*at].max(free);
        free = stand[*at] + ROOM;
    }
    let mut most = 100.0;
    for at in order.iter().rev() {
        stand[*at] = stand[*at].min(most);
        most = stand[*at] - ROOM;
    }
    stand
}

/// The most that the lane of slip heat shows.
pub fn heat_most(outcome: &Outcome) -> f64 {
    let peak = f64::from(outcome.peak_heat.get()) / 1e4;
    if peak > 40.0 { (peak * 1.1).max(110.0) } else { nice_step(peak.max(1.0) * 1.1, 1) }
}

const fn temperature_class(place: Place) -> &'static str {
    match place {
        Place::HeadLeft => "t0",
        Place::HeadRight => "t1",
        Place::BootLeft => "t2",
        Place::BootRight => "t3",
    }
}

fn nice_time_step(seconds: f64) -> f64 {
    const STEPS: [f64; 18] = [
        0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1_800.0, 3_600.0, 7_200.0, 14_400.0,
        43_200.0,
    ];
    STEPS.into_iter().find(|step| seconds / step <= 6.5).unwrap_or(seconds / 5.0)
}

/// The stretches of a channel of states, each in the class of its state; states without one are left out.
fn stretches(
    column: &Column,
    end: u64,
    class: impl Fn(i32) -> Option<(&'static str, &'static str)>,
) -> Vec<(u64, u64, &'static str, String)> {
    let ends = column.points.iter().skip(1).map(|point| point.at).chain([end]);
    let parts = column.points.iter().zip(ends);
    let parts = parts.filter_map(|(point, to)| Some((point.at, to, class(point.bounds()?.1)?)));
    parts.map(|(from, to, (class, words))| (from, to, class, words.to_owned())).collect()
}

fn contacts(outcome: &Outcome, columns: &Columns) -> Vec<Strip> {
    let class = |state| match state {
        1 => Some(("rub", "rubs")),
        2 => Some(("faulty", "faulty")),
        _ => None,
    };
    let strips = Place::ALL.into_iter().filter_map(|where_| {
        let parts = stretches(columns.get(What::Contact(where_))?, outcome.last().get(), class);
        let motion = &outcome.motion.contacts[where_.index()];
        let mut name = place(where_).to_owned();
        if motion.state == ContactState::Faulty {
            name.push_str(" (faulty at the end: not known)");
        } else if motion.duty > Ppm::ZERO {
            let _ = write!(name, " ({} of the last loop)", percent(motion.duty));
        }
        Some(Strip { name, parts })
    });
    strips.collect()
}

/// The target sensors: the state of their wires, where those are supervised, and why they were not trusted. Those of which nothing was
/// said have no strip.
fn sensors(outcome: &Outcome, columns: &Columns) -> Vec<Strip> {
    let mut strips = Vec::new();
    let end = columns.to.min(outcome.last().get());
    for (shaft, condition, name) in
        [(Shaft::Head, Condition::HeadSensorFault, "head"), (Shaft::Boot, Condition::BootSensorFault, "boot")]
    {
        let wire = columns.get(What::Wire(shaft)).map(|column| {
            stretches(column, end, |state| match state {
                1 => Some(("open", "wire cut")),
                2 => Some(("shorted", "wire shorted")),
                _ => None,
            })
        });
        let doubt = columns.get(What::Doubt(shaft)).map(|column| {
            stretches(column, end, |state| match u8::try_from(state & 0xFF).unwrap_or(0) {
                0 => (state & What::IN_DOUBT != 0).then_some(("doubt", "edges may be lost; the next will tell")),
                bits => Some(("faulty", distrust_of(condition, bits).unwrap_or("surges or trembles"))),
            })
        });
        for (parts, what) in [(wire, "sensor's wire"), (doubt, "sensor's edges")] {
            strips.extend(
                parts.filter(|parts| !parts.is_empty()).map(|parts| Strip { name: format!("{name} {what}"), parts }),
            );
        }
    }
    strips
}

/// The wired contacts of drive and outlet.
fn wires(outcome: &Outcome, columns: &Columns) -> Vec<Strip> {
    let wires = [(What::Drive, "drive contact", ("on", "motor on")), (What::Outlet, "outlet", ("plugged", "plugged"))];
    let (first, last) = (outcome.first().get(), outcome.last().get());
    let strips = wires.into_iter().filter_map(|(what, name, on)| {
        let column = columns.get(what)?;
        let mut parts = stretches(column, last, |state| (state == 1).then_some(on));
        let begun = column.points.first().map_or(last, |point| point.at);
        if begun > first {
            parts.insert(0, (first, begun, "unsure", "not known here".to_owned()));
        }
        Some(Strip { name: name.to_owned(), parts })
    });
    strips.collect()
}

fn alarms(outcome: &Outcome) -> Vec<Strip> {
    let end = outcome.last().get();
    let class = |state: AlarmState| match state {
        AlarmState::Unacknowledged => Some(("unack", "not acknowledged")),
        AlarmState::Acknowledged => Some(("ack", "acknowledged")),
        AlarmState::ReturnedUnacknowledged => Some(("over", "over, not acknowledged")),
        AlarmState::LatchedUnacknowledged => Some(("over", "latched, not acknowledged")),
        AlarmState::LatchedAcknowledged => Some(("over", "latched, acknowledged")),
        AlarmState::Shelved => Some(("shelved", "bypassed")),
        AlarmState::Normal | AlarmState::Suppressed | AlarmState::OutOfService => None,
    };
    Condition::ALL
        .into_iter()
        .filter(|condition| outcome.raised[condition.rank()].times > 0)
        .map(|wanted| {
            let mut parts = Vec::new();
            let mut open: Option<(u64, AlarmState)> = None;
            for verdict in &outcome.verdicts {
                let Change::Alarm { condition, to, .. } = verdict.change else { continue };
                if condition != wanted {
                    continue;
                }
                if let Some((from, Some((class, words)))) = open.map(|(from, state)| (from, class(state))) {
                    parts.push((from, verdict.at.get(), class, words.to_owned()));
                }
                open = Some((verdict.at.get(), to));
            }
            if let Some((from, Some((class, words)))) = open.map(|(from, state)| (from, class(state))) {
                parts.push((from, end, class, words.to_owned()));
            }
            Strip { name: wanted.entry().title.to_owned(), parts }
        })
        .collect()
}

fn permits(outcome: &Outcome) -> Vec<Strip> {
    let (begin, end) = (outcome.first().get(), outcome.last().get());
    let permit_strip = |wanted: Permit, name: &str| {
        let mut parts = Vec::new();
        let mut open = (begin, false);
        let word = |allowed: bool| if allowed { ("given", "given") } else { ("dropped", "dropped") };
        for verdict in &outcome.verdicts {
            let Change::Permit { permit, allowed, .. } = verdict.change else { continue };
            if permit == wanted && allowed != open.1 {
                let (class, words) = word(open.1);
                if verdict.at.get() > open.0 {
                    parts.push((open.0, verdict.at.get(), class, words.to_owned()));
                }
                open = (verdict.at.get(), allowed);
            }
        }
        let (class, words) = word(open.1);
        parts.push((open.0, end, class, words.to_owned()));
        Strip { name: name.to_owned(), parts }
    };
    let mut phases = Vec::new();
    let mut open = (begin, Phase::Unsure);
    for verdict in &outcome.verdicts {
        if let Change::Phase(phase) = verdict.change {
            phases.push((open.0, verdict.at.get(), phase_class(open.1), phase_word(open.1).to_owned()));
            open = (verdict.at.get(), phase);
        }
    }
    phases.push((open.0, end, phase_class(open.1), phase_word(open.1).to_owned()));
    phases.retain(|(from, to, ..)| to > from);
    vec![
        permit_strip(Permit::Run, "Run permit"),
        permit_strip(Permit::Feed, "Feed permit"),
        Strip { name: "The leg".to_owned(), parts: phases },
    ]
}

const fn phase_class(phase: Phase) -> &'static str {
    match phase {
        Phase::Unsure => "unsure",
        Phase::Standstill => "still",
        Phase::Starting | Phase::CoastDown | Phase::Inching => "between",
        Phase::Running => "running",
    }
}

const fn phase_word(phase: Phase) -> &'static str {
    match phase {
        Phase::Unsure => "not known",
        Phase::Standstill => "stands",
        Phase::Starting => "starts",
        Phase::Running => "runs",
        Phase::CoastDown => "runs down",
        Phase::Inching => "inching",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_limits_that_lie_close_stand_apart_and_inside_the_lane() {
        for places in [vec![50.0, 50.0, 52.0], vec![1.0, 0.0], vec![99.0, 97.0, 100.0], vec![10.0, 80.0]] {
            let mut stand = apart(&places);
            assert!(stand.iter().all(|place| (0.0..=100.0).contains(place)), "{stand:?}");
            stand.sort_by(f64::total_cmp);
            assert!(stand.windows(2).all(|pair| pair[1] - pair[0] >= 25.9), "{places:?}: {stand:?}");
        }
        assert_eq!(apart(&[10.0, 80.0]), [10.0, 80.0]);
    }

    #[test]
    fn steps_of_time_are_those_of_clocks() {
        assert!((nice_time_step(120.0) - 20.0).abs() < 1e-9);
        assert!(nice_time_step(1e9) > 1e8);
    }
}
