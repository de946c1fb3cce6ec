//! Everything on one time axis: lanes of plain HTML with stretched vector drawings in them.
//!
//! Lanes whose text is HTML stay readable on a phone; the drawings between are stretched, and their colours follow the reader's light
//! or dark.

use std::fmt::Write;

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{ContactState, Place};
use slackside::motion::SlipReading;
use slackside::units::{Micros, Ppm};
use slackside::verdict::{Change, Permit, Phase};

use super::causes::place;
use super::clock::Clock;
use super::escape::escape;
use super::figures::{belt as belt_text, belt_unit, percent, rpm, trimmed};
use crate::drawing::{Look, Scale, Svg, nice_step};
use crate::replay::{Bucket, Moment, Outcome, Range};

/// Lines are broken where nothing was known for longer than this.
const BREAK_US: u64 = 1_500_000;

/// The time axis of one drawing.
#[derive(Clone, Copy)]
struct Axis {
    begin: u64,
    length: u64,
}

impl Axis {
    /// Where a moment lies, in thousandths of the width.
    fn x(self, at: u64) -> f64 {
        1_000.0 * at.saturating_sub(self.begin) as f64 / self.length as f64
    }
}

/// The scale of a lane 100 high.
const fn lane(least: f64, most: f64) -> Scale {
    Scale { figures: (least, most), places: (100.0, 0.0) }
}

/// A strip: stretches of time, each in a class of its own.
struct Strip {
    name: String,
    parts: Vec<(u64, u64, &'static str, String)>,
}

/// The lanes.
pub fn lanes(outcome: &Outcome) -> String {
    let begin = outcome.first().get();
    let axis = Axis { begin, length: outcome.last().get().saturating_sub(begin).max(1) };
    let trip = outcome.first_outs.first().map(|first_out| first_out.at.get());
    let mut out = String::from("<div class=\"chart\">\n");
    let mut chart = Chart { out: &mut out, svg: Svg::default(), axis, trip };
    chart.speeds(outcome);
    chart.slip(outcome);
    chart.heat(outcome);
    chart.strips("Rub contacts", &contacts(outcome), "rub");
    chart.strips("Alarms", &alarms(outcome), "alarm");
    chart.strips("Permits and what the leg does", &permits(outcome), "permit");
    chart.time_axis(outcome.clock());
    out.push_str("</div>\n");
    out
}

/// Traces longer than this get a drawing of the last seconds before the first-out apart.
const LONG_US: u64 = 60_000_000;
/// What that drawing shows before and after.
const CLOSE_US: u64 = 10_000_000;

/// The last seconds before the first-out, where the whole trace is too long to show them. Empty where it is not.
pub fn close_up(outcome: &Outcome) -> String {
    let length = outcome.last().get().saturating_sub(outcome.first().get());
    let Some(trip) = outcome.run_up.until().map(Micros::get).filter(|_| length > LONG_US) else { return String::new() };
    let axis = Axis { begin: trip.saturating_sub(CLOSE_US), length: CLOSE_US };
    let mut out = String::from("<div class=\"chart\">\n");
    let mut chart = Chart { out: &mut out, svg: Svg::default(), axis, trip: Some(trip) };
    let machine = &outcome.settings.machine;
    let moments: Vec<(Micros, Moment)> = outcome.run_up.moments(machine).collect();
    let share = |part: u32, whole: u32| 100.0 * f64::from(part) / f64::from(whole.max(1));

    let scale = lane(0.0, 120.0);
    let mut keys = vec![("belt", "belt".to_owned())];
    if machine.head_targets.is_some() {
        keys.insert(0, ("head", "head shaft".to_owned()));
    }
    chart.open("Speeds, per cent of normal", &keys);
    chart.begin(scale, &[0.0, 50.0, 100.0], &[(80.0, "80 %: the code's limit")]);
    let head = moments
        .iter()
        .map(|(at, moment)| (*at, moment.head.map(|speed| share(speed.get(), machine.normal_head.get()))));
    chart.steps("head", scale, head);
    let belt = moments
        .iter()
        .map(|(at, moment)| (*at, moment.belt.map(|speed| share(speed.get(), machine.normal_belt_speed().get()))));
    chart.steps("belt", scale, belt);
    chart.close();

    if outcome.sees_slip() {
        let percent = |reading: SlipReading| reading.ppm().map(|ppm| f64::from(ppm.get()) / 1e4);
        let (scale, grid, marks) = slip_scale(outcome);
        chart.open(
            "Slip, per cent",
            &[("short", "over one boot turn".to_owned()), ("long", "over four boot turns".to_owned())],
        );
        let marks: Vec<(f64, &str)> = marks.iter().map(|(figure, text)| (*figure, text.as_str())).collect();
        chart.begin(scale, &grid, &marks);
        chart.steps("short", scale, moments.iter().map(|(at, moment)| (*at, percent(moment.slip_short))));
        chart.steps("long", scale, moments.iter().map(|(at, moment)| (*at, percent(moment.slip_long))));
        chart.close();
    }
    out.push_str("<div class=\"lane time\"><div class=\"bar\">");
    for before in [10, 8, 6, 4, 2] {
        let left = 10 * (10 - before);
        let _ = write!(out, "<span class=\"t\" style=\"left:{left}%\">−{before} s</span>");
    }
    out.push_str("<span class=\"t t-last bad\" style=\"left:100%\">trip</span></div></div>\n</div>\n");
    out
}

/// The scale, the grid and the limits of a slip lane.
fn slip_scale(outcome: &Outcome) -> (Scale, Vec<f64>, [(f64, String); 2]) {
    let setpoint = |condition: Condition| f64::from(outcome.settings.limits.of(condition).setpoint) / 1e4;
    let (high, very_high) = (setpoint(Condition::SlipHigh), setpoint(Condition::SlipVeryHigh));
    let peak = outcome.peak_short.map_or(0.0, |peak| f64::from(peak.value.get()) / 1e4);
    let most = (very_high * 1.4).max((peak * 1.1).min(100.0));
    let step = nice_step(most, 4);
    let grid = (0..).map(|count| f64::from(count) * step).take_while(|figure| *figure <= most).collect();
    let marks =
        [(very_high, format!("stop {} %", trimmed(very_high, 1))), (high, format!("alarm {} %", trimmed(high, 1)))];
    (lane((-most / 10.0).max(-5.0), most), grid, marks)
}

struct Chart<'a> {
    out: &'a mut String,
    /// The drawing of the lane that is open.
    svg: Svg,
    axis: Axis,
    trip: Option<u64>,
}

impl Chart<'_> {
    fn speeds(&mut self, outcome: &Outcome) {
        let machine = &outcome.settings.machine;
        let share = |range: Range, whole: u32| {
            range.bounds().map(|(least, most)| {
                let whole = f64::from(whole.max(1));
                (100.0 * least as f64 / whole, 100.0 * most as f64 / whole)
            })
        };
        let head = machine.normal_head.get();
        let belt = machine.normal_belt_speed().get();
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
        self.begin(scale, &[0.0, 50.0, 100.0], &[(80.0, "80 %: the code's limit")]);
        let width = outcome.series.width_us();
        if machine.head_targets.is_some() {
            self.line("head", outcome, scale, |bucket| share(bucket.head, head));
        }
        self.line("belt", outcome, scale, |bucket| share(bucket.belt, belt));
        self.unknown(outcome, width, |bucket| bucket.belt.bounds().is_some());
        self.close();
    }

    fn slip(&mut self, outcome: &Outcome) {
        if !outcome.sees_slip() {
            self.out
                .push_str("<p class=\"lane-note\">Slip is not drawn: without a head sensor it cannot be seen.</p>\n");
            return;
        }
        let (scale, grid, marks) = slip_scale(outcome);
        let percents = |range: Range| range.bounds().map(|(least, most)| (least as f64 / 1e4, most as f64 / 1e4));
        self.open(
            "Slip, per cent",
            &[("short", "over one boot turn".to_owned()), ("long", "over four boot turns".to_owned())],
        );
        let marks: Vec<(f64, &str)> = marks.iter().map(|(figure, text)| (*figure, text.as_str())).collect();
        self.begin(scale, &grid, &marks);
        self.line("short", outcome, scale, |bucket| percents(bucket.slip_short));
        self.line("long", outcome, scale, |bucket| percents(bucket.slip_long));
        self.unknown(outcome, outcome.series.width_us(), |bucket| {
            bucket.slip_short.bounds().is_some() || bucket.slip_long.bounds().is_some()
        });
        self.close();
    }

    fn heat(&mut self, outcome: &Outcome) {
        if !outcome.sees_slip() {
            return;
        }
        let peak = f64::from(outcome.peak_heat.get()) / 1e4;
        let most = if peak > 40.0 { (peak * 1.1).max(110.0) } else { nice_step(peak.max(1.0) * 1.1, 1) };
        let scale = lane(0.0, most);
        self.open("Slip heat, per cent of the budget", &[("heat", "heat in pulley and belt".to_owned())]);
        let step = nice_step(most, 3);
        let grid: Vec<f64> = (0..).map(|count| f64::from(count) * step).take_while(|figure| *figure <= most).collect();
        let marks: &[(f64, &str)] = if most > 100.0 { &[(100.0, "stop 100 %")] } else { &[] };
        self.begin(scale, &grid, marks);
        self.line("heat", outcome, scale, |bucket| {
            bucket.heat.bounds().map(|(least, most)| (least as f64 / 1e4, most as f64 / 1e4))
        });
        self.close();
    }

    fn open(&mut self, title: &str, keys: &[(&str, String)]) {
        let _ = write!(self.out, "<div class=\"lane\"><p class=\"lane-title\"><b>{}</b>", escape(title));
        for (class, text) in keys {
            let _ = write!(self.out, " <span class=\"key k-{class}\">{}</span>", escape(text));
        }
        self.out.push_str("</p>\n");
    }

    fn begin(&mut self, scale: Scale, grid: &[f64], marks: &[(f64, &str)]) {
        self.out.push_str("<div class=\"plot\">");
        for figure in grid {
            let y = scale.place(*figure);
            let _ = write!(self.out, "<span class=\"y\" style=\"top:{y:.2}%\">{}</span>", trimmed(*figure, 2));
        }
        for (figure, text) in marks {
            let y = scale.place(*figure);
            let _ = write!(self.out, "<span class=\"mark\" style=\"top:{y:.2}%\">{}</span>", escape(text));
        }
        self.svg = Svg::stretched(1_000.0, 100.0);
        for figure in grid {
            self.level("grid", scale.place(*figure));
        }
        for (figure, _) in marks {
            self.level("limit", scale.place(*figure));
        }
        self.trip_line(100.0);
    }

    fn level(&mut self, class: &str, y: f64) {
        self.svg.path(Look::Class(class), &format!("M0 {y:.2}H1000"));
    }

    fn trip_line(&mut self, height: f64) {
        if let Some(trip) = self.trip {
            let x = self.axis.x(trip);
            self.svg.path(Look::Class("trip"), &format!("M{x:.2} 0V{height}"));
        }
    }

    fn close(&mut self) {
        self.out.push_str(&std::mem::take(&mut self.svg).finish());
        self.out.push_str("</div></div>\n");
    }

    fn line(&mut self, class: &str, outcome: &Outcome, scale: Scale, figure: impl Fn(&Bucket) -> Option<(f64, f64)>) {
        let width = outcome.series.width_us();
        let start = outcome.series.start().get();
        let mut path = String::new();
        let mut last: Option<u64> = None;
        for (index, bucket) in outcome.series.buckets().iter().enumerate() {
            let Some((least, most)) = figure(bucket) else { continue };
            let at = start.saturating_add((index as u64).saturating_mul(width)).saturating_add(width / 2);
            let joined = last.is_some_and(|last| at - last <= BREAK_US.max(4 * width));
            let x = self.axis.x(at).clamp(0.0, 1_000.0);
            let (low, high) = (scale.place(least), scale.place(most));
            let _ = write!(path, "{}{x:.1} {low:.1}", if joined { "L" } else { "M" });
            if (low - high).abs() > 0.3 {
                let _ = write!(path, "L{x:.1} {high:.1}");
            } else if !joined {
                path.push_str("h.5");
            }
            last = Some(at);
        }
        self.svg.path(Look::Class(&format!("line s-{class}")), &path);
    }

    /// A line from figures that hold until the next; broken where nothing is known.
    fn steps(&mut self, class: &str, scale: Scale, figures: impl Iterator<Item = (Micros, Option<f64>)>) {
        let begin = self.axis.begin;
        let axis = self.axis;
        // The one from before the drawing begins is drawn at its edge.
        let places = figures.map(|(at, figure)| Some((axis.x(at.get().max(begin)), scale.place(figure?))));
        self.svg.line(Look::Class(&format!("line s-{class}")), places);
    }

    /// A band along the foot of the lane wherever nothing was known.
    fn unknown(&mut self, outcome: &Outcome, width: u64, known: impl Fn(&Bucket) -> bool) {
        let start = outcome.series.start().get();
        let end = self.axis.begin.saturating_add(self.axis.length);
        let mut since = self.axis.begin;
        let mut parts = Vec::new();
        for (index, bucket) in outcome.series.buckets().iter().enumerate() {
            if known(bucket) {
                let at = start.saturating_add((index as u64).saturating_mul(width));
                parts.push((since, at));
                since = at.saturating_add(width);
            }
        }
        parts.push((since, end));
        for (from, to) in parts {
            if to.saturating_sub(from) > BREAK_US.max(4 * width) {
                let (x, to) = (self.axis.x(from), self.axis.x(to));
                self.svg.rect(Look::Class("unknown"), (x, 94.0), (to - x, 6.0), "");
            }
        }
    }

    fn strips(&mut self, title: &str, strips: &[Strip], class: &str) {
        if strips.is_empty() {
            return;
        }
        let _ = writeln!(
            self.out,
            "<div class=\"lane\"><p class=\"lane-title\"><b>{}</b>{}</p>",
            escape(title),
            match class {
                "alarm" =>
                    " <span class=\"key k-unack\">not acknowledged</span> <span class=\"key k-ack\">acknowledged</span> \
                     <span class=\"key k-over\">over or latched</span>",
                "permit" => " <span class=\"key k-given\">given</span> <span class=\"key k-dropped\">dropped</span>",
                _ => " <span class=\"key k-rub\">rubs</span>",
            }
        );
        for strip in strips {
            let _ = write!(
                self.out,
                "<div class=\"strip\"><span class=\"strip-name\">{}</span><div class=\"bar\">",
                escape(&strip.name)
            );
            self.svg = Svg::stretched(1_000.0, 10.0);
            for (from, to, class, words) in &strip.parts {
                let (x, to) = (self.axis.x(*from), self.axis.x(*to));
                let look = format!("p-{class}");
                self.svg.rect(Look::Class(&look), (x, 0.0), ((to - x).max(1.5), 10.0), words);
            }
            self.trip_line(10.0);
            self.out.push_str(&std::mem::take(&mut self.svg).finish());
            for (from, to, _, words) in &strip.parts {
                // Words only where they fit: a tenth of the width.
                if class == "permit" && self.axis.x(*to) - self.axis.x(*from) > 110.0 {
                    let _ = write!(
                        self.out,
                        "<span class=\"bar-word\" style=\"left:{:.2}%;width:{:.2}%\">{}</span>",
                        self.axis.x(*from) / 10.0,
                        (self.axis.x(*to) - self.axis.x(*from)) / 10.0,
                        escape(words)
                    );
                }
            }
            self.out.push_str("</div></div>\n");
        }
        self.out.push_str("</div>\n");
    }

    fn time_axis(&mut self, clock: Clock) {
        self.out.push_str("<div class=\"lane time\"><div class=\"bar\">");
        let seconds = self.axis.length as f64 / 1e6;
        let step = nice_time_step(seconds);
        let mut second = 0.0;
        while second <= seconds {
            let at = self.axis.begin + (second * 1e6) as u64;
            let class = if self.axis.x(at) > 960.0 { "t t-last" } else { "t" };
            let _ = write!(
                self.out,
                "<span class=\"{class}\" style=\"left:{:.2}%\">{}</span>",
                self.axis.x(at) / 10.0,
                clock.mark(Micros::new(at), step)
            );
            second += step;
        }
        if let Some(trip) = self.trip {
            let _ = write!(
                self.out,
                "<span class=\"t trip-word\" style=\"left:{:.2}%\">trip</span>",
                self.axis.x(trip) / 10.0
            );
        }
        self.out.push_str("</div></div>\n");
    }
}

fn nice_time_step(seconds: f64) -> f64 {
    const STEPS: [f64; 18] = [
        0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1_800.0, 3_600.0, 7_200.0, 14_400.0,
        43_200.0,
    ];
    STEPS.into_iter().find(|step| seconds / step <= 6.5).unwrap_or(seconds / 5.0)
}

fn contacts(outcome: &Outcome) -> Vec<Strip> {
    let start = outcome.series.start().get();
    let width = outcome.series.width_us();
    Place::ALL
        .into_iter()
        .filter(|place| outcome.settings.machine.contacts[place.index()].is_some())
        .map(|where_| {
            let mut parts: Vec<(u64, u64, &'static str, String)> = Vec::new();
            for (index, bucket) in outcome.series.buckets().iter().enumerate() {
                if !bucket.rubbed[where_.index()] {
                    continue;
                }
                let from = start.saturating_add((index as u64).saturating_mul(width));
                let to = from.saturating_add(width);
                match parts.last_mut() {
                    Some(part) if part.1 >= from => part.1 = to,
                    _ => parts.push((from, to, "rub", "rubs".to_owned())),
                }
            }
            let motion = &outcome.motion.contacts[where_.index()];
            let mut name = place(where_).to_owned();
            if motion.state == ContactState::Faulty {
                name.push_str(" (faulty at the end: not known)");
            } else if motion.duty > Ppm::ZERO {
                let _ = write!(name, " ({} of the last loop)", percent(motion.duty));
            }
            Strip { name, parts }
        })
        .collect()
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
    fn steps_of_time_are_those_of_clocks() {
        assert!((nice_time_step(120.0) - 20.0).abs() < 1e-9);
        assert!(nice_time_step(1e9) > 1e8);
    }
}
