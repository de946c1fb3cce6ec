//! The same as a page: each figure over the days, its trend, its limit, and where it changed.

use std::fmt::Write as _;

use super::Wear;
use super::wear::Course;
use super::words::MAY_BE_GRAIN;
use crate::cautions::CAUTIONS;
use crate::drawing::{Anchor, Look, Scale, Svg};
use crate::lines::kept_together;
use crate::report::escape::escape;
use crate::report::{capital, lower};

const STYLE: &str = include_str!("../report/page/page.css");
const OWN_STYLE: &str = "\
main { display: block; } section { max-width: 46rem; }\n\
svg { width: 100%; height: auto; display: block; } svg text { fill: var(--soft); font-size: 12px; }\n\
.day { fill: var(--l1); fill-opacity: .55; } .trend { fill: none; stroke: var(--l0); stroke-width: 2.5; } .grid { stroke: var(--line); stroke-width: 1; }\n\
.limit { stroke: var(--bad); stroke-width: 1.5; stroke-dasharray: 6 4; } .changed { stroke: var(--l2); stroke-width: 1.5; stroke-dasharray: 2 3; }\n\
@media screen and (max-width: 40rem) { svg text { font-size: 22px; } .day { r: 4px; } }\n";

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 220.0;
/// Room for the figures, as large as they are on a phone.
const LEFT: f64 = 100.0;

/// The page: one file that needs nothing else.
#[must_use]
pub fn page(wear: &Wear) -> String {
    let leg = escape(&wear.leg);
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<title>Wear {leg}</title>\n<style>\n{STYLE}{OWN_STYLE}</style>\n</head>\n\
         <body>\n<header>\n<p class=\"leg\">{leg}</p>\n<h1><span>Wear</span> {}</h1>\n</header>\n<main>\n",
        escape(&wear.span())
    );
    section(&mut out, "Trends", &wear.headlines());
    // What never moved is told in words below.
    let moved = |course: &&Course| course.points.iter().any(|point| point.1 != course.points[0].1);
    for course in wear.courses.iter().filter(|course| course.figure.wears()).filter(moved) {
        let name = capital(course.figure.name());
        let _ = writeln!(out, "<section>\n<h2>{}</h2>\n{}\n</section>", escape(&name), picture(wear, course, &name));
    }
    section(&mut out, MAY_BE_GRAIN, &wear.grain());
    section(&mut out, "Without a trend", &wear.quiet());
    section(&mut out, "What changed", &wear.changes());
    section(&mut out, "Work done", &wear.done());
    section(&mut out, "How to read it", &wear.reading());
    section(&mut out, "Cautions", &CAUTIONS.map(str::to_owned));
    out.push_str("</main>\n</body>\n</html>\n");
    out
}

fn section(out: &mut String, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    let _ = writeln!(out, "<section>\n<h2>{title}</h2>");
    for line in lines {
        let _ = writeln!(out, "<p>{}</p>", escape(&kept_together(line)));
    }
    out.push_str("</section>\n");
}

fn picture(wear: &Wear, course: &Course, name: &str) -> String {
    let points = &course.points;
    let (first, last) = (points[0].0, points[points.len() - 1].0);
    // The limit is drawn where the figure comes near it: far away it would press all days flat.
    let most_seen = points.iter().fold(0.0_f64, |most, point| most.max(point.1.abs()));
    let limit = course.limit.map(|limit| limit.value).filter(|limit| limit.abs() < 4.0 * most_seen);
    let all = points.iter().map(|point| point.1).chain(limit);
    let (least, most) =
        all.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), value| (least.min(value), most.max(value)));
    let room = (0.08 * (most - least)).max(1e-3);
    let days = Scale { figures: (first, last), places: (LEFT, WIDTH - 12.0) };
    let values = Scale { figures: (least - room, most + room), places: (HEIGHT - 28.0, 12.0) };
    let mut svg = Svg::part(WIDTH, HEIGHT, &format!("{name} over the days"));
    for mark in values.marks(4) {
        let y = values.place(mark);
        svg.line(Look::Class("grid"), [Some((LEFT, y)), Some((WIDTH - 12.0, y))]);
        svg.text((LEFT - 6.0, y + 4.0), Anchor::End, &course.figure.say(mark));
    }
    svg.text((LEFT, HEIGHT - 8.0), Anchor::Start, &wear.day_words(first.floor() as i32));
    svg.text((WIDTH - 12.0, HEIGHT - 8.0), Anchor::End, &wear.day_words(last.floor() as i32));
    let upright = |svg: &mut Svg, at: f64| {
        let x = days.place(at);
        svg.line(Look::Class("changed"), [Some((x, 12.0)), Some((x, HEIGHT - 28.0))]);
    };
    for change in &course.changes {
        upright(&mut svg, points[change.index].0);
    }
    for work in &wear.work {
        upright(&mut svg, f64::from(work.date.number()));
    }
    if let Some(limit) = limit {
        let y = values.place(limit);
        svg.line(Look::Class("limit"), [Some((LEFT, y)), Some((WIDTH - 12.0, y))]);
        let title = course.limit.as_ref().map_or("", |limit| limit.condition.entry().title);
        // Towards the middle, where the days of a figure that nears its limit leave room.
        let beside = if y < HEIGHT / 2.0 { y + 22.0 } else { y - 6.0 };
        svg.text((LEFT + 6.0, beside), Anchor::Start, &format!("limit: {}", lower(title)));
    }
    // A few thousand dots at most.
    for (at, value) in points.iter().step_by(points.len().div_ceil(2_000)) {
        svg.circle(Look::Class("day"), (days.place(*at), values.place(*value)), 2.5);
    }
    if let Some(trend) = course.trend.as_ref().filter(|trend| trend.shows) {
        let place = |at: f64| Some((days.place(at), values.place(trend.at(at))));
        svg.line(Look::Class("trend"), [place(points[trend.from].0), place(last)]);
    }
    svg.finish()
}
