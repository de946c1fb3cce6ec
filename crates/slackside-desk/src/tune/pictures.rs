//! The two drawings of the report: what quickness costs, and when each stop came.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::choose::Choice;
use super::corpus::Case;
use super::results::Rows;
use super::score::Stop;
use super::session::tuned;
use super::summary::Summary;
use crate::drawing::{Anchor, Look, Scale, Svg};

const WIDTH: f64 = 720.0;

/// What a setting is drawn as.
struct Point {
    number: u32,
    time: f64,
    loud: f64,
}

/// What goes up the picture: false stops if any setting gives one, else what is merely a nuisance.
fn loudness(rows: &Rows) -> (fn(&Summary) -> f64, &'static str) {
    if rows.values().map(tuned).any(|summary| summary.false_stops() > 0) {
        (|summary| summary.false_stops() as f64, "stops that nothing called for")
    } else {
        (|summary| summary.annoyances() as f64, "nuisance alarms, needless feed drops, missed alarms")
    }
}

/// So far apart the names of two dots on one line do not touch.
const NAME_WIDTH: f64 = 130.0;

/// Quickness against nuisance, a dot a setting; the line joins those that no other beats in both.
pub fn trade_off(rows: &Rows, choice: &Choice) -> Option<String> {
    let (loudness, name) = loudness(rows);
    let point = |number: u32, summary: &Summary| {
        let time = summary.after_due_s(0.95).filter(|time| time.is_finite() && summary.missed + summary.late == 0)?;
        Some(Point { number, time, loud: loudness(summary) })
    };
    let mut points: Vec<Point> = rows.iter().filter_map(|(number, row)| point(*number, &tuned(row))).collect();
    let chosen = point(choice.from, &tuned(&choice.row))?;
    let ends = |of: fn(&Point) -> f64| {
        let all = points.iter().chain([&chosen]).map(of);
        all.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), value| (least.min(value), most.max(value)))
    };
    let (soonest, latest) = ends(|point| point.time);
    let (_, loudest) = ends(|point| point.loud);
    let room = (0.06 * (latest - soonest)).max(0.05);
    let times = Scale { figures: (soonest - room, latest + room), places: (56.0, WIDTH - 20.0) };
    // Square root: few and many on one axis.
    let louds = Scale { figures: (0.0, loudest.max(1.0).sqrt()), places: (300.0, 44.0) };
    let place = |point: &Point| (times.place(point.time), louds.place(point.loud.sqrt()));
    let mut svg = Svg::part(WIDTH, 372.0, "time to stop against nuisance, a dot a setting");
    axes(&mut svg, &times, &louds, loudest, name);

    // At most a few thousand dots: the line and what is named are always drawn, and last.
    let every = points.len().div_ceil(2_000).max(1);
    for point in points.iter().step_by(every) {
        svg.circle(Look::Class("dot"), place(point), 2.5);
    }
    let present = points.iter().find(|point| point.number == 0).map(place);
    points.sort_by(|one, other| one.time.total_cmp(&other.time).then(one.loud.total_cmp(&other.loud)));
    let mut line: Vec<&Point> = Vec::new();
    for point in &points {
        if line.last().is_none_or(|last| point.loud < last.loud) {
            line.push(point);
        }
    }
    let mut way = String::new();
    for point in &line {
        let (x, y) = place(point);
        let _ = if way.is_empty() { write!(way, "M{x:.1} {y:.1}") } else { write!(way, "H{x:.1}V{y:.1}") };
    }
    svg.path(Look::Class("edge"), &way);
    for point in &line {
        svg.circle(Look::Class("front"), place(point), 4.5);
    }
    let own = place(&chosen);
    // Above: below a dot that nothing is false of are the figures of the axis.
    let mut named = |(x, y): (f64, f64), up: f64, words: &str| {
        let (anchor, x) = if x > WIDTH / 2.0 { (Anchor::End, x - 12.0) } else { (Anchor::Start, x + 12.0) };
        svg.text((x, y - up), anchor, words);
    };
    match present {
        Some(now) if choice.moved.is_empty() => named(now, 10.0, "as it stands, and recommended"),
        Some(now) => {
            let together = (now.0 - own.0).abs() < NAME_WIDTH && (now.1 - own.1).abs() < 16.0;
            named(now, 10.0, "as it stands");
            named(own, if together { 26.0 } else { 10.0 }, "recommended");
        }
        None => named(own, 10.0, "recommended"),
    }
    svg.circle(Look::Class("chosen"), own, 6.0);
    if let Some(now) = present {
        svg.circle(Look::Class("asis"), now, 9.0);
    }
    Some(svg.finish())
}

fn axes(svg: &mut Svg, times: &Scale, louds: &Scale, loudest: f64, name: &str) {
    svg.path(Look::Class("axis frame"), &format!("M56 44V300H{}", WIDTH - 20.0));
    for mark in times.marks(6) {
        let x = times.place(mark);
        svg.path(Look::Class("grid"), &format!("M{x:.1} 44V300"));
        svg.text((x, 318.0), Anchor::Middle, &short(mark));
    }
    if (times.figures.0..times.figures.1).contains(&0.0) {
        let x = times.place(0.0);
        svg.path(Look::Class("axis due"), &format!("M{x:.1} 44V300"));
    }
    svg.text(
        (WIDTH - 20.0, 340.0),
        Anchor::End,
        "time to stop, from when it was due: nineteen of twenty stops come sooner →",
    );
    let mut last = f64::INFINITY;
    for mark in [0_u32, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1_000, 2_000, 5_000, 10_000] {
        let y = louds.place(f64::from(mark).sqrt());
        if f64::from(mark) <= loudest.max(1.0) && last - y >= 14.0 {
            svg.path(Look::Class("grid"), &format!("M56 {y:.1}H{}", WIDTH - 20.0));
            svg.text((48.0, y + 4.0), Anchor::End, &mark.to_string());
            last = y;
        }
    }
    svg.text((8.0, 18.0), Anchor::Start, &format!("↑ {name}, on the traces tuned on"));
}

/// A time on an axis: seconds, or minutes where they are many.
fn short(time: f64) -> String {
    let size = time.abs();
    let sign = match time {
        before if before < 0.0 => "−",
        after if after > 0.0 => "+",
        _ => "",
    };
    if size >= 60.0 {
        format!("{sign}{:.0} min", size / 60.0)
    } else {
        format!("{sign}{} s", (size * 100.0).round() / 100.0)
    }
}

/// Where a time from due is drawn: seconds around it and minutes further off on one line.
fn bent(time: f64) -> f64 {
    (time / 0.25).asinh()
}

/// When each stop came, a line of dots for each family.
pub fn times(cases: &[Case], choice: &Choice) -> Option<String> {
    let mut families: BTreeMap<(bool, u32), (String, Vec<f64>)> = BTreeMap::new();
    for outcome in &choice.row.outcomes {
        let Some(case) = cases.get(outcome.case as usize) else { continue };
        if matches!(outcome.stop, Stop::InTime | Stop::Late) && outcome.due_us >= 0 {
            let key = (outcome.held_out, outcome.group);
            let (_, times) = families.entry(key).or_insert_with(|| (case.family.clone(), Vec::new()));
            times.push((outcome.stop_us - outcome.due_us) as f64 / 1e6);
        }
    }
    let all = || families.values().flat_map(|(_, times)| times.iter().copied());
    all().next()?;
    let (first, last) = (all().fold(-1.0, f64::min), all().fold(1.0, f64::max));
    let scale = Scale { figures: (bent(first) - 0.4, bent(last) + 0.4), places: (230.0, WIDTH - 16.0) };
    let low = 34.0 + 30.0 * families.len() as f64;
    let mut svg = Svg::part(WIDTH, low + 46.0, "when each stop came, from when it was due");
    let marks = [-300.0, -60.0, -10.0, -3.0, -1.0, -0.3, 0.0, 0.3, 1.0, 3.0, 10.0, 60.0, 300.0_f64];
    let mut free = f64::NEG_INFINITY;
    for mark in marks.into_iter().filter(|mark| *mark >= first - 0.1 && *mark <= last + 0.1) {
        let x = scale.place(bent(mark));
        let due = mark == 0.0;
        svg.path(Look::Class(if due { "axis due" } else { "grid" }), &format!("M{x:.1} 22V{low:.1}"));
        if due || (x - free >= 46.0 && (x - scale.place(0.0)).abs() >= 40.0) {
            let words = if due { "due".to_owned() } else { short(mark) };
            svg.text((x, low + 18.0), Anchor::Middle, &words);
            free = x;
        }
    }
    svg.text((scale.place(0.0) - 8.0, 14.0), Anchor::End, "← before it was due");
    svg.text((scale.place(0.0) + 8.0, 14.0), Anchor::Start, "after →");
    for (line, ((held, _), (family, times))) in families.iter().enumerate() {
        let y = 44.0 + 30.0 * line as f64;
        svg.path(Look::Class("grid"), &format!("M230 {y:.1}H{}", WIDTH - 16.0));
        let mut words: String = family.chars().take(26).collect();
        words.push_str(if *held { ", held out" } else { "" });
        svg.text((220.0, y + 4.0), Anchor::End, &words);
        for (index, time) in times.iter().enumerate() {
            let off = (index % 3) as f64 * 5.0 - 5.0;
            svg.circle(Look::Class(if *held { "held" } else { "tuned" }), (scale.place(bent(*time)), y + off), 3.5);
        }
    }
    Some(svg.finish())
}
