//! The picture of a run: speeds, slip, tensions against the friction limit, lateral position against clearance, heat, load; what the
//! wires told of it, and what the monitor made of that.

use std::io::Write;
use std::path::Path;

use slackside_desk::drawing::{Anchor, Look, Scale, Svg};
use slackside_desk::report::Clock;
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::due::LEAST_BELT;
use slackside_desk::scenario::heard::{Bar, Heard};
use slackside_desk::scenario::run::Summary;
use slackside_desk::scenario::timeline::Button;
use slackside_desk::scenario::truth::Row;

use crate::outputs::write_whole;

/// Most points kept for a series: twice the picture's width, so that no spike is lost.
const BINS: usize = 1_600;

const BLUE: &str = "#1f5fa8";
const ORANGE: &str = "#d96a00";
const GREEN: &str = "#1a8050";
const RED: &str = "#c02030";
const GREY: &str = "#777777";
const INK: &str = "#222222";

/// Width of the picture, and where its panels begin and end: left of them the scale, right of them the key.
const WIDTH: f64 = 1_200.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 1_010.0;
const HEADING: f64 = 104.0;
/// Height of a panel with the room around it.
const HEIGHT: f64 = 205.0;
const ABOVE: f64 = 6.0;
const BELOW: f64 = 26.0;
/// Room over the first panel for what is marked, a line a mark.
const MARK_LINES: usize = 4;
const MARK_LINE: f64 = 15.0;
const MARKS: f64 = 6.0 + MARK_LINES as f64 * MARK_LINE;
/// A bar of what was on and off.
const BAR: f64 = 17.0;

/// A moment that is marked.
#[derive(Clone, Debug)]
pub struct Mark {
    /// When, in s.
    pub at: f64,
    /// What happened.
    pub text: String,
    /// Whether the monitor stopped the leg.
    pub stops: bool,
}

/// What the monitor did, if it looked on.
#[derive(Clone, Debug, Default)]
pub struct Watched {
    /// When it dropped a permit, and why.
    pub marks: Vec<Mark>,
    /// Permits and alarms.
    pub bars: Vec<Bar>,
}

struct Series {
    name: String,
    colour: &'static str,
    dashed: bool,
    points: Vec<(f64, f64)>,
}

struct Panel {
    title: &'static str,
    series: Vec<Series>,
    /// Always shown at least this far.
    least: (f64, f64),
    /// Never shown farther than this.
    most: (f64, f64),
}

/// Draw the picture of the stretch `window`, from and to in s, into an SVG file.
///
/// # Errors
/// The file cannot be written.
pub fn draw(
    scenario: &Scenario,
    window: (f64, f64),
    summary: &Summary,
    rows: &[Row],
    heard: &Heard,
    watched: &Watched,
    path: &Path,
) -> anyhow::Result<()> {
    let (from, to) = window;
    let inside = |row: &Row| (from..=to).contains(&(row.time_us as f64 * 1e-6));
    let rows: Vec<Row> = rows.iter().filter(|row| inside(row)).cloned().collect();
    let rows = rows.as_slice();
    let curves = Curves { window, rows };
    let mut panels = motion(&curves, heard);
    panels.extend(forces(scenario, &curves));
    let bars = bars(scenario, window, heard, watched);
    let height = HEADING + MARKS + HEIGHT * panels.len() as f64 + ABOVE + BAR * bars.len() as f64 + 44.0;
    let mut svg = Svg::picture(WIDTH, height);
    heading(&mut svg, scenario, summary, watched);
    let mut marks: Vec<Mark> = onsets(scenario);
    marks.extend(watched.marks.iter().cloned());
    marks.retain(|mark| (from..=to).contains(&mark.at));
    marks.sort_by(|one, other| one.at.total_cmp(&other.at));
    let ground = Ground { time: Scale { figures: window, places: (LEFT, RIGHT) }, rows, marks: &marks };
    draw_marks(&mut svg, &ground);
    let mut top = HEADING + MARKS;
    for panel in &panels {
        draw_panel(&mut svg, &ground, panel, (top + ABOVE, top + HEIGHT - BELOW));
        top += HEIGHT;
    }
    draw_bars(&mut svg, &ground, &bars, top + ABOVE);
    write_whole(path, |file| Ok(file.write_all(svg.finish().as_bytes())?))
}

/// What was on and off in the stretch, a bar each.
fn bars(scenario: &Scenario, (from, to): (f64, f64), heard: &Heard, watched: &Watched) -> Vec<Bar> {
    let starts = scenario.timeline.iter().filter(|act| act.press == Some(Button::Start)).map(|act| act.at_s);
    let mut bars = vec![Bar::of_moments("start pressed", starts)];
    bars.retain(|bar| bar.stretches.len() > 1);
    bars.extend(heard.bars());
    bars.extend(watched.bars.iter().cloned());
    for bar in &mut bars {
        bar.stretches.retain(|(start, stop)| *start <= to && *stop >= from);
        for (start, stop) in &mut bar.stretches {
            (*start, *stop) = (start.max(from), stop.min(to));
        }
    }
    bars
}

/// When each fault begins, and how bad it gets.
fn onsets(scenario: &Scenario) -> Vec<Mark> {
    scenario
        .faults
        .iter()
        .map(|fault| {
            let name = fault.kind.name().replace('_', " ");
            let of = [fault.side.map(|it| format!("{it:?}")), fault.shaft.map(|it| format!("{it:?}"))]
                .into_iter()
                .flatten()
                .chain(fault.place.map(|it| format!("{it:?}")))
                .map(|word| format!(", {}", word.to_lowercase()))
                .collect::<String>();
            let grows = if fault.ramp_s > 0.0 { format!(", grows for {} s", fault.ramp_s) } else { String::new() };
            Mark {
                at: fault.from_s,
                text: format!("fault: {name}{of}, severity {}{grows}", fault.severity),
                stops: false,
            }
        })
        .collect()
}

/// What all panels share: time, the ground and the marks.
struct Ground<'s> {
    /// Seconds, and where they are drawn.
    time: Scale,
    rows: &'s [Row],
    marks: &'s [Mark],
}

impl Ground<'_> {
    /// The unit that times are written in, and how many seconds it has.
    fn unit(&self) -> (&'static str, f64) {
        let (from, to) = self.time.figures;
        match to - from {
            s if s > 3.0 * 7_200.0 => ("h", 3_600.0),
            s if s > 1_200.0 => ("min", 60.0),
            _ => ("s", 1.0),
        }
    }

    /// Round times to mark, in s, and how they are written.
    fn times(&self) -> Vec<(f64, String)> {
        let ((from, to), (unit, scale)) = (self.time.figures, self.unit());
        let marks = Scale { figures: (from / scale, to / scale), places: (0.0, 1.0) }.marks(10);
        let digits = usize::from(marks.iter().any(|mark| (mark - mark.round()).abs() > 1e-6));
        marks.into_iter().map(|mark| (mark * scale, format!("{mark:.digits$} {unit}"))).collect()
    }
}

const fn line(colour: &str, width: f64) -> Look<'_> {
    Look::Line { colour, width, dashed: false }
}

const fn area(colour: &str, opacity: f64) -> Look<'_> {
    Look::Area { colour, opacity }
}

fn heading(svg: &mut Svg, scenario: &Scenario, summary: &Summary, watched: &Watched) {
    let title = format!("{} on {}", scenario.name.replace('-', " "), scenario.leg.name);
    svg.text_in((14.0, 26.0), Anchor::Start, 21, INK, &title);
    for (number, line) in textwrap::wrap(&scenario.description, 165).iter().enumerate() {
        svg.text_in((14.0, 48.0 + 17.0 * number as f64), Anchor::Start, 14, INK, line);
    }
    let verdict = summary.call.map_or_else(
        || {
            let stopped = watched.marks.iter().any(|mark| mark.stops);
            let first =
                if stopped { " The monitor stopped the leg before one was, or for a reason of its own." } else { "" };
            format!("No stop is called for.{first}")
        },
        |call| {
            format!(
                "A stop is called for at {}, due by {}: {}.",
                Clock::length(call.from_us),
                Clock::length(call.due_us),
                call.why.sentence()
            )
        },
    );
    let colour = if summary.call.is_some() { RED } else { INK };
    svg.text_in((14.0, 82.0), Anchor::Start, 14, colour, &verdict);
    // What grounds and lines mean.
    let mut x = 14.0;
    for (colour, words) in [(GREY, "a fault is at work"), (RED, "a stop is called for")] {
        svg.rect(area(colour, 0.25), (x, 91.0), (22.0, 11.0), "");
        svg.text_in((x + 28.0, 101.0), Anchor::Start, 14, INK, words);
        x += 180.0;
    }
    let words = if watched.bars.is_empty() {
        "upright lines: a fault begins (the monitor did not look on: --replay puts it in the loop)"
    } else {
        "upright lines: a fault begins, the monitor drops a permit (named above the first panel)"
    };
    svg.line(line(INK, 1.0), [(x + 11.0, 89.0), (x + 11.0, 103.0)].map(Some));
    svg.text_in((x + 20.0, 101.0), Anchor::Start, 14, INK, words);
}

/// Draws curves from what was true and what was told in the stretch.
struct Curves<'s> {
    window: (f64, f64),
    rows: &'s [Row],
}

impl Curves<'_> {
    /// A figure of the truth.
    fn series(&self, name: &str, colour: &'static str, value: &dyn Fn(&Row) -> f64) -> Series {
        let points: Vec<(f64, f64)> = self.rows.iter().map(|row| (row.time_us as f64 * 1e-6, value(row))).collect();
        Series { name: name.to_owned(), colour, dashed: false, points: thin(&points) }
    }

    /// What a wire told.
    fn wire(&self, name: &str, colour: &'static str, points: &[(f64, f64)]) -> Series {
        let (from, to) = self.window;
        let points: Vec<(f64, f64)> = points.iter().copied().filter(|(at, _)| (from..=to).contains(at)).collect();
        Series { name: name.to_owned(), colour, dashed: false, points: thin(&points) }
    }

    /// A limit.
    fn level(&self, name: String, colour: &'static str, value: f64) -> Series {
        let (from, to) = self.window;
        Series { name, colour, dashed: true, points: vec![(from, value), (to, value)] }
    }

    /// The least the belt may do: with a variable-speed drive it is what was asked for that counts.
    fn must_stop(&self, heard: &Heard) -> Series {
        let (from, to) = self.window;
        let least = 100.0 * LEAST_BELT;
        if heard.reference().is_empty() {
            return self.level(format!("{least:.0} %: must stop"), RED, least);
        }
        let mut points: Vec<(f64, f64)> =
            heard.reference().iter().map(|&(at, asked)| (at, asked * LEAST_BELT)).collect();
        points.extend(points.last().map(|&(_, last)| (to, last)));
        // What held before the stretch holds as it begins.
        let before = points.iter().rev().find(|(at, _)| *at <= from).map(|&(_, asked)| (from, asked));
        points.retain(|(at, _)| (from..=to).contains(at));
        points.splice(0..0, before);
        Series { name: format!("{least:.0} % of speed asked"), colour: RED, dashed: true, points }
    }
}

/// How it moves, in truth and as the wires tell it.
fn motion(curves: &Curves<'_>, heard: &Heard) -> Vec<Panel> {
    let fastest = curves.rows.iter().map(|row| row.truth.head_rpm.max(row.truth.boot_rpm)).fold(1.0, f64::max);
    let mut told = vec![curves.wire("boot", ORANGE, heard.boot())];
    if !heard.head().is_empty() {
        told.insert(0, curves.wire("head", BLUE, heard.head()));
    }
    vec![
        Panel {
            title: "true shaft speeds, rpm",
            series: vec![
                curves.series("head", BLUE, &|row| row.truth.head_rpm),
                curves.series("boot", ORANGE, &|row| row.truth.boot_rpm),
            ],
            least: (0.0, 1.0),
            most: (-1e9, 1e9),
        },
        Panel { title: "edges tell, rpm", series: told, least: (0.0, 1.0), most: (0.0, 2.0 * fastest) },
        Panel {
            title: "belt speed, % of normal",
            series: vec![curves.series("belt", GREEN, &|row| row.belt_pct), curves.must_stop(heard)],
            least: (0.0, 110.0),
            most: (-150.0, 200.0),
        },
        Panel {
            title: "slip and creep, %",
            series: vec![
                curves.series("slip (sliding)", RED, &|row| {
                    if row.truth.head_rpm.abs() > 1.0 { row.truth.slip_pct } else { 0.0 }
                }),
                curves.series("creep", BLUE, &|row| row.truth.creep_pct),
            ],
            least: (0.0, 1.5),
            most: (-20.0, 105.0),
        },
    ]
}

/// What pulls, where the belt runs, what gets hot, what it carries.
fn forces(scenario: &Scenario, curves: &Curves<'_>) -> Vec<Panel> {
    let leg = &scenario.leg;
    let clearance = leg.lateral.clearance_mm;
    let limit_c = leg.heat.dust.surface_limit_c();
    vec![
        Panel {
            title: "tensions, kN",
            series: vec![
                curves.series("tight side", BLUE, &|row| row.truth.tight_n / 1e3),
                curves.series("slack side", GREEN, &|row| row.truth.slack_n / 1e3),
                curves.series("pull", ORANGE, &|row| row.truth.pull_n / 1e3),
                curves.series("friction limit", RED, &|row| row.truth.limit_n / 1e3),
            ],
            least: (0.0, 0.1),
            most: (-1e9, 1e9),
        },
        Panel {
            title: "belt offset, mm (right +)",
            series: vec![
                curves.series("head", BLUE, &|row| row.truth.head_offset_mm),
                curves.series("boot", ORANGE, &|row| row.truth.boot_offset_mm),
                curves.level(format!("clearance, {clearance:.0} mm"), RED, clearance),
                curves.level(String::new(), RED, -clearance),
            ],
            least: (-1.1 * clearance, 1.1 * clearance),
            most: (-1e9, 1e9),
        },
        Panel {
            title: "surfaces, °C",
            series: vec![
                curves.series("head face", RED, &|row| row.truth.head_face_c),
                curves.series("belt face, hottest", ORANGE, &|row| row.truth.belt_face_c),
                curves.series("rub, face", BLUE, &|row| row.truth.rub_face_c),
                curves.series("boot face", GREEN, &|row| row.truth.boot_face_c),
                curves.level(format!("must stop, {limit_c:.0} °C"), RED, limit_c),
            ],
            least: (leg.heat.ambient_c, leg.heat.ambient_c + 10.0),
            most: (-1e9, leg.heat.ambient_c.max(0.0) + 800.0),
        },
        Panel {
            title: "bodies, °C",
            series: vec![
                curves.series("head rim", RED, &|row| row.truth.head_rim_c),
                curves.series("rub, casing", BLUE, &|row| row.truth.rub_wall_c),
                curves.series("head bearings", ORANGE, &|row| row.truth.head_bearing_c),
                curves.series("boot bearings", GREEN, &|row| row.truth.boot_bearing_c),
                curves.series("slip heat / budget", GREY, &|row| {
                    leg.heat.ambient_c + row.truth.heat_j / 1e3 / leg.heat.budget_kj * budget_rise(scenario)
                }),
                curves.level("its budget, as a rise".to_owned(), GREY, leg.heat.ambient_c + budget_rise(scenario)),
            ],
            least: (leg.heat.ambient_c, leg.heat.ambient_c + 10.0),
            most: (-1e9, 1e9),
        },
        Panel {
            title: "load, % of design",
            series: vec![
                curves.series("on the belt", BLUE, &|row| {
                    100.0 * row.truth.load_kg / (leg.capacity_kg_per_s() * leg.lift_m / leg.rated_belt_speed())
                }),
                curves
                    .series("discharge", GREEN, &|row| 100.0 * row.truth.discharge_kg_per_s / leg.capacity_kg_per_s()),
                curves.series("boot choked", RED, &|row| 100.0 * row.truth.choke),
            ],
            least: (0.0, 110.0),
            most: (0.0, 400.0),
        },
    ]
}

/// What the budget would warm the part of rim and lagging by that it stands for.
fn budget_rise(scenario: &Scenario) -> f64 {
    scenario.leg.heat.budget_kj / scenario.leg.heat.head_kj_per_k
}

/// The least and the largest of every bin, in order.
fn thin(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    if points.len() <= 2 * BINS {
        return points.to_vec();
    }
    let mut thinned = Vec::with_capacity(2 * BINS + 2);
    for bin in points.chunks(points.len().div_ceil(BINS)) {
        let by = |a: &&(f64, f64), b: &&(f64, f64)| a.1.total_cmp(&b.1);
        let (Some(&low), Some(&high)) = (bin.iter().min_by(by), bin.iter().max_by(by)) else { continue };
        if low.0 <= high.0 { thinned.extend([low, high]) } else { thinned.extend([high, low]) }
    }
    thinned
}

/// Draw what lies behind a panel: grey while something is wrong, red while a stop is called for; lines at the marks.
fn draw_ground(svg: &mut Svg, ground: &Ground<'_>, (top, bottom): (f64, f64)) {
    let time = ground.time;
    let mut fill = |stretches: Vec<(f64, f64)>, look: Look<'_>| {
        for (start, stop) in stretches {
            let (from, to) = (time.place(start), time.place(stop));
            svg.rect(look, (from, top), (to - from, bottom - top), "");
        }
    };
    fill(stretches(ground.rows, |row| row.active != 0), area(GREY, 0.10));
    fill(stretches(ground.rows, |row| row.called.is_some()), area(RED, 0.12));
    for mark in ground.marks {
        let x = time.place(mark.at);
        svg.line(line(GREY, 1.0), [(x, top), (x, bottom)].map(Some));
    }
}

/// Write what is marked over the first panel, each beside its moment, a line for each, and a lead down to it.
fn draw_marks(svg: &mut Svg, ground: &Ground<'_>) {
    let (unit, scale) = ground.unit();
    let mut told: Vec<&str> = Vec::new();
    for mark in ground.marks {
        // The same words again would only cover each other.
        if told.contains(&mark.text.as_str()) || told.len() >= MARK_LINES {
            continue;
        }
        let (x, y) = (ground.time.place(mark.at), HEADING + 6.0 + MARK_LINE * told.len() as f64);
        told.push(&mark.text);
        svg.line(line(GREY, 1.0), [(x, y), (x, HEADING + MARKS + ABOVE)].map(Some));
        let digits = if scale > 3_000.0 { 2 } else { 1 };
        let words = format!("{:.digits$} {unit}  {}", mark.at / scale, mark.text);
        // Beyond the middle it would run out of the picture.
        let (anchor, beside) = if x > RIGHT / 2.0 { (Anchor::End, -5.0) } else { (Anchor::Start, 5.0) };
        svg.text_in((x + beside, y + 11.0), anchor, 13, INK, &words);
    }
}

/// The frame of a panel: its upright and level lines and what they stand for, and what it is about.
fn draw_frame(svg: &mut Svg, ground: &Ground<'_>, scale: &Scale, title: &str) {
    let (bottom, top) = scale.places;
    for (at, _) in ground.times() {
        let x = ground.time.place(at);
        svg.line(Look::Line { colour: "#dddddd", width: 1.0, dashed: false }, [(x, top), (x, bottom)].map(Some));
    }
    let marks = scale.marks(6);
    let digits = usize::from(marks.windows(2).any(|pair| pair[1] - pair[0] < 0.99));
    for figure in marks {
        let y = scale.place(figure);
        svg.line(Look::Line { colour: "#dddddd", width: 1.0, dashed: false }, [(LEFT, y), (RIGHT, y)].map(Some));
        svg.text_in((LEFT - 6.0, y + 4.0), Anchor::End, 13, INK, &format!("{figure:.digits$}"));
    }
    svg.line(line(GREY, 1.0), [(LEFT, top), (LEFT, bottom), (RIGHT, bottom)].map(Some));
    svg.text_up((20.0, 0.5 * (top + bottom)), 14, INK, title);
}

fn draw_panel(svg: &mut Svg, ground: &Ground<'_>, panel: &Panel, (top, bottom): (f64, f64)) {
    let (mut low, mut high) = panel.least;
    for (_, y) in panel.series.iter().flat_map(|series| &series.points) {
        low = low.min(*y);
        high = high.max(*y);
    }
    (low, high) = (low.max(panel.most.0), high.min(panel.most.1));
    let room = 0.04 * (high - low);
    let scale = Scale { figures: (low - room, high + room), places: (bottom, top) };
    draw_ground(svg, ground, (top, bottom));
    draw_frame(svg, ground, &scale, panel.title);
    let mut y = top + 12.0;
    for Series { name, colour, dashed, points } in &panel.series {
        let look = |width| Look::Line { colour, width, dashed: *dashed };
        let places = points.iter().map(|&(at, figure)| Some((ground.time.place(at), scale.place(figure))));
        svg.line(look(if *dashed { 1.0 } else { 2.0 }), places);
        if name.is_empty() {
            continue;
        }
        // A dashed line is dashed in the key as well.
        svg.line(look(if *dashed { 1.0 } else { 3.0 }), [(RIGHT + 6.0, y), (RIGHT + 32.0, y)].map(Some));
        svg.text_in((RIGHT + 38.0, y + 5.0), Anchor::Start, 14, INK, name);
        y += 21.0;
    }
}

/// What was on and off, a bar each, the newest below, and the times of all panels under them.
fn draw_bars(svg: &mut Svg, ground: &Ground<'_>, bars: &[Bar], top: f64) {
    let bottom = top + BAR * bars.len() as f64;
    draw_ground(svg, ground, (top, bottom));
    for (number, bar) in bars.iter().enumerate() {
        let y = top + BAR * number as f64;
        let colour = match bar.name.as_str() {
            "drive contact on" => BLUE,
            "run permit" | "feed permit" => GREEN,
            "start pressed" => INK,
            name if name.starts_with("rub head") || name.starts_with("rub boot") => ORANGE,
            _ => RED,
        };
        for &(start, stop) in &bar.stretches {
            let from = ground.time.place(start);
            // However short, it must be seen.
            let to = ground.time.place(stop).max(from + 1.0);
            svg.rect(area(colour, 1.0), (from, y + 0.2 * BAR), (to - from, 0.6 * BAR), "");
        }
        svg.text_in((RIGHT + 6.0, y + 13.0), Anchor::Start, 14, INK, &bar.name);
    }
    svg.line(line(GREY, 1.0), [(LEFT, top), (LEFT, bottom), (RIGHT, bottom)].map(Some));
    svg.text_up((20.0, 0.5 * (top + bottom)), 14, INK, "on and off");
    for (at, words) in ground.times() {
        svg.text_in((ground.time.place(at), bottom + 18.0), Anchor::Middle, 13, INK, &words);
    }
}

/// Beginning and end in s of each stretch of rows for which something holds.
fn stretches(rows: &[Row], holds: impl Fn(&Row) -> bool) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut before = false;
    for row in rows {
        let at = row.time_us as f64 * 1e-6;
        let now = holds(row);
        match (before, now, found.last_mut()) {
            (false, true, _) => found.push((at, at)),
            (true, _, Some(last)) => last.1 = at,
            _ => {}
        }
        before = now;
    }
    found
}
