//! The picture of a run: speeds, slip, tensions against the friction limit, lateral position against clearance, heat, load; what the
//! wires told of it, and what the monitor made of that.

use std::io::Write;
use std::path::Path;

use anyhow::anyhow;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::due::LEAST_BELT;
use slackside_desk::scenario::heard::{Bar, Heard};
use slackside_desk::scenario::run::Summary;
use slackside_desk::scenario::timeline::Button;
use slackside_desk::scenario::truth::Row;

use crate::outputs::write_whole;

/// Most points kept for a series: twice the picture's width, so that no spike is lost.
const BINS: usize = 1_600;

const BLUE: RGBColor = RGBColor(0x1f, 0x5f, 0xa8);
const ORANGE: RGBColor = RGBColor(0xd9, 0x6a, 0x00);
const GREEN: RGBColor = RGBColor(0x1a, 0x80, 0x50);
const RED: RGBColor = RGBColor(0xc0, 0x20, 0x30);
const GREY: RGBColor = RGBColor(0x77, 0x77, 0x77);
const INK: RGBColor = RGBColor(0x22, 0x22, 0x22);

/// Width of the picture, and of its panels without their key.
const WIDTH: u32 = 1_200;
const PANEL: u32 = 1_010;
const HEADING: u32 = 104;
const HEIGHT: u32 = 205;
/// Left of the panels' ground: margin and scale.
const MARGIN: u32 = 8;
const SCALE: u32 = 62;
/// Room over the first panel for what is marked, a line a mark.
const MARK_LINES: usize = 4;
const MARK_LINE: i32 = 15;
const MARKS: u32 = 6 + MARK_LINES as u32 * MARK_LINE as u32;

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
    colour: RGBColor,
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
    let mut text = String::new();
    let (from, to) = window;
    let inside = |row: &Row| (from..=to).contains(&(row.time_us as f64 * 1e-6));
    let rows: Vec<Row> = rows.iter().filter(|row| inside(row)).cloned().collect();
    let rows = rows.as_slice();
    {
        let (unit, scale) = match to - from {
            s if s > 3.0 * 7_200.0 => ("h", 3_600.0),
            s if s > 1_200.0 => ("min", 60.0),
            _ => ("s", 1.0),
        };
        let panels = panels(scenario, window, rows, heard, scale);
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
        let bars_height = 50 + 17 * bars.len() as u32;
        let height = HEADING + MARKS + HEIGHT * panels.len() as u32 + bars_height;
        let root = SVGBackend::with_string(&mut text, (WIDTH, height)).into_drawing_area();
        (|| -> Result<(), Box<dyn std::error::Error + '_>> {
            root.fill(&WHITE)?;
            let (head, mut rest) = root.split_vertically(HEADING);
            heading(scenario, summary, watched, &head)?;
            let mut marks: Vec<Mark> = onsets(scenario);
            marks.extend(watched.marks.iter().cloned());
            marks.retain(|mark| (from..=to).contains(&mark.at));
            marks.sort_by(|one, other| one.at.total_cmp(&other.at));
            let ground = Ground { window, rows, scale, marks: &marks };
            for (i, panel) in panels.iter().enumerate() {
                let (area, below) = rest.split_vertically(HEIGHT + if i == 0 { MARKS } else { 0 });
                rest = below;
                draw_panel(&ground, panel, &area, i == 0)?;
            }
            draw_bars(&ground, &bars, &rest, unit)?;
            root.present()?;
            Ok(())
        })()
        .map_err(|error| anyhow!("the picture cannot be drawn: {error}"))?;
    }
    write_whole(path, |file| Ok(file.write_all(text.as_bytes())?))
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
    /// From and to in s.
    window: (f64, f64),
    rows: &'s [Row],
    scale: f64,
    marks: &'s [Mark],
}

impl Ground<'_> {
    fn begin(&self) -> f64 {
        self.window.0 / self.scale
    }

    fn end(&self) -> f64 {
        self.window.1 / self.scale
    }
}

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
type Drawn<'a> = Result<(), Box<dyn std::error::Error + 'a>>;
type Chart<'a, 'c> = ChartContext<
    'c,
    SVGBackend<'a>,
    Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
>;

fn heading<'a>(scenario: &Scenario, summary: &Summary, watched: &Watched, area: &Area<'a>) -> Drawn<'a> {
    let title = format!("{} on {}", scenario.name.replace('-', " "), scenario.leg.name);
    area.draw(&Text::new(title, (14, 8), ("sans-serif", 21).into_font().color(&INK)))?;
    let small = ("sans-serif", 14).into_font().color(&INK);
    let mut line = String::new();
    let mut y = 36;
    for word in scenario.description.split_whitespace() {
        if line.len() + word.len() > 165 {
            area.draw(&Text::new(core::mem::take(&mut line), (14, y), small.clone()))?;
            y += 17;
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    area.draw(&Text::new(line, (14, y), small.clone()))?;
    let verdict = summary.call.map_or_else(
        || {
            let stopped = watched.marks.iter().any(|mark| mark.stops);
            let first =
                if stopped { " The monitor stopped the leg before one was, or for a reason of its own." } else { "" };
            format!("No stop is called for.{first}")
        },
        |call| {
            let at = |us: u64| us as f64 * 1e-6;
            format!(
                "A stop is called for at {:.2} s, due by {:.2} s: {}.",
                at(call.from_us),
                at(call.due_us),
                call.why.sentence()
            )
        },
    );
    let colour = if summary.call.is_some() { RED } else { INK };
    area.draw(&Text::new(verdict, (14, 70), ("sans-serif", 14).into_font().color(&colour)))?;
    // What grounds and lines mean.
    let mut x = 14;
    for (fill, words) in [(GREY.mix(0.25), "a fault is at work"), (RED.mix(0.25), "a stop is called for")] {
        area.draw(&Rectangle::new([(x, 91), (x + 22, 102)], fill.filled()))?;
        area.draw(&Text::new(words, (x + 28, 89), small.clone()))?;
        x += 180;
    }
    let words = if !watched.bars.is_empty() {
        "upright lines: a fault begins, the monitor drops a permit (named above the first panel)"
    } else {
        "upright lines: a fault begins (the monitor did not look on: --replay puts it in the loop)"
    };
    area.draw(&PathElement::new([(x + 11, 89), (x + 11, 103)], INK.stroke_width(1)))?;
    area.draw(&Text::new(words, (x + 20, 89), small))?;
    Ok(())
}

fn panels(scenario: &Scenario, window: (f64, f64), rows: &[Row], heard: &Heard, scale: f64) -> Vec<Panel> {
    let leg = &scenario.leg;
    let (from, to) = (window.0 / scale, window.1 / scale);
    let solid = |name: &str, colour, points: Vec<(f64, f64)>| Series {
        name: name.to_owned(),
        colour,
        dashed: false,
        points: thin(&points),
    };
    let series = |name: &str, colour, value: &dyn Fn(&Row) -> f64| {
        solid(name, colour, rows.iter().map(|row| (row.time_us as f64 * 1e-6 / scale, value(row))).collect())
    };
    let wire = |name: &str, colour, points: &[(f64, f64)]| {
        let points = points.iter().map(|&(at, rpm)| (at / scale, rpm));
        solid(name, colour, points.filter(|(at, _)| (from..=to).contains(at)).collect())
    };
    let fastest = rows.iter().map(|row| row.truth.head_rpm.max(row.truth.boot_rpm)).fold(1.0, f64::max);
    let mut told = vec![wire("boot", ORANGE, heard.boot())];
    if !heard.head().is_empty() {
        told.insert(0, wire("head", BLUE, heard.head()));
    }
    let level = |name: String, colour, value: f64| Series {
        name,
        colour,
        dashed: true,
        points: vec![(from, value), (to, value)],
    };
    let clearance = leg.lateral.clearance_mm;
    let limit_c = leg.heat.dust.surface_limit_c();
    let least = 100.0 * LEAST_BELT;
    // With a variable-speed drive it is what was asked for that counts.
    let must_stop = if heard.reference().is_empty() {
        level(format!("{least:.0} %: must stop"), RED, least)
    } else {
        let mut points: Vec<(f64, f64)> =
            heard.reference().iter().map(|&(at, asked)| (at / scale, asked * LEAST_BELT)).collect();
        points.extend(points.last().map(|&(_, last)| (to, last)));
        // What held before the stretch holds as it begins.
        let before = points.iter().rev().find(|(at, _)| *at <= from).map(|&(_, asked)| (from, asked));
        points.retain(|(at, _)| (from..=to).contains(at));
        points.splice(0..0, before);
        Series { name: format!("{least:.0} % of speed asked"), colour: RED, dashed: true, points }
    };
    vec![
        Panel {
            title: "true shaft speeds, rpm",
            series: vec![
                series("head", BLUE, &|row| row.truth.head_rpm),
                series("boot", ORANGE, &|row| row.truth.boot_rpm),
            ],
            least: (0.0, 1.0),
            most: (-1e9, 1e9),
        },
        Panel { title: "edges tell, rpm", series: told, least: (0.0, 1.0), most: (0.0, 2.0 * fastest) },
        Panel {
            title: "belt speed, % of normal",
            series: vec![series("belt", GREEN, &|row| row.belt_pct), must_stop],
            least: (0.0, 110.0),
            most: (-150.0, 200.0),
        },
        Panel {
            title: "slip and creep, %",
            series: vec![
                series("slip (sliding)", RED, &|row| {
                    if row.truth.head_rpm.abs() > 1.0 { row.truth.slip_pct } else { 0.0 }
                }),
                series("creep", BLUE, &|row| row.truth.creep_pct),
            ],
            least: (0.0, 1.5),
            most: (-20.0, 105.0),
        },
        Panel {
            title: "tensions, kN",
            series: vec![
                series("tight side", BLUE, &|row| row.truth.tight_n / 1e3),
                series("slack side", GREEN, &|row| row.truth.slack_n / 1e3),
                series("pull", ORANGE, &|row| row.truth.pull_n / 1e3),
                series("friction limit", RED, &|row| row.truth.limit_n / 1e3),
            ],
            least: (0.0, 0.1),
            most: (-1e9, 1e9),
        },
        Panel {
            title: "belt offset, mm (right +)",
            series: vec![
                series("head", BLUE, &|row| row.truth.head_offset_mm),
                series("boot", ORANGE, &|row| row.truth.boot_offset_mm),
                level(format!("clearance, {clearance:.0} mm"), RED, clearance),
                level(String::new(), RED, -clearance),
            ],
            least: (-1.1 * clearance, 1.1 * clearance),
            most: (-1e9, 1e9),
        },
        Panel {
            title: "surfaces, °C",
            series: vec![
                series("head face", RED, &|row| row.truth.head_face_c),
                series("belt face, hottest", ORANGE, &|row| row.truth.belt_face_c),
                series("rub, face", BLUE, &|row| row.truth.rub_face_c),
                series("boot face", GREEN, &|row| row.truth.boot_face_c),
                level(format!("must stop, {limit_c:.0} °C"), RED, limit_c),
            ],
            least: (leg.heat.ambient_c, leg.heat.ambient_c + 10.0),
            most: (-1e9, leg.heat.ambient_c.max(0.0) + 800.0),
        },
        Panel {
            title: "bodies, °C",
            series: vec![
                series("head rim", RED, &|row| row.truth.head_rim_c),
                series("rub, casing", BLUE, &|row| row.truth.rub_wall_c),
                series("head bearings", ORANGE, &|row| row.truth.head_bearing_c),
                series("boot bearings", GREEN, &|row| row.truth.boot_bearing_c),
                series("slip heat / budget", GREY, &|row| {
                    leg.heat.ambient_c + row.truth.heat_j / 1e3 / leg.heat.budget_kj * budget_rise(scenario)
                }),
                level("its budget, as a rise".to_owned(), GREY, leg.heat.ambient_c + budget_rise(scenario)),
            ],
            least: (leg.heat.ambient_c, leg.heat.ambient_c + 10.0),
            most: (-1e9, 1e9),
        },
        Panel {
            title: "load, % of design",
            series: vec![
                series("on the belt", BLUE, &|row| {
                    100.0 * row.truth.load_kg / (leg.capacity_kg_per_s() * leg.lift_m / leg.rated_belt_speed())
                }),
                series("discharge", GREEN, &|row| 100.0 * row.truth.discharge_kg_per_s / leg.capacity_kg_per_s()),
                series("boot choked", RED, &|row| 100.0 * row.truth.choke),
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
fn draw_ground<'a>(ground: &Ground<'_>, chart: &mut Chart<'a, '_>, (bottom, top): (f64, f64)) -> Drawn<'a> {
    let Ground { rows, scale, .. } = *ground;
    let mut fill = |stretches: Vec<(f64, f64)>, colour: RGBAColor| -> Drawn<'a> {
        for (start, stop) in stretches {
            let corner = [(start / scale, bottom), (stop / scale, top)];
            chart.draw_series([Rectangle::new(corner, colour.filled())])?;
        }
        Ok(())
    };
    fill(stretches(rows, |row| row.active != 0), GREY.mix(0.10))?;
    fill(stretches(rows, |row| row.called.is_some()), RED.mix(0.12))?;
    for mark in ground.marks {
        let x = mark.at / scale;
        chart.draw_series([PathElement::new([(x, bottom), (x, top)], INK.mix(0.6).stroke_width(1))])?;
    }
    Ok(())
}

/// Write what is marked over the first panel, each beside its moment, a line for each, and a lead down to it.
fn draw_marks<'a>(ground: &Ground<'_>, area: &Area<'a>) -> Drawn<'a> {
    let left = f64::from(MARGIN + SCALE);
    let (from, to) = ground.window;
    let place = |at: f64| (left + (at - from) / (to - from) * (f64::from(PANEL) - left)) as i32;
    let mut told: Vec<&str> = Vec::new();
    for mark in ground.marks {
        // The same words again would only cover each other.
        if told.contains(&mark.text.as_str()) || told.len() >= MARK_LINES {
            continue;
        }
        let (x, y) = (place(mark.at), 6 + MARK_LINE * told.len() as i32);
        told.push(&mark.text);
        area.draw(&PathElement::new([(x, y), (x, MARKS as i32 + 6)], INK.mix(0.6).stroke_width(1)))?;
        // Beyond the middle it would run out of the picture.
        let beyond = x > PANEL as i32 / 2;
        let style = ("sans-serif", 13)
            .into_font()
            .color(&INK)
            .pos(Pos::new(if beyond { HPos::Right } else { HPos::Left }, VPos::Top));
        let unit = match ground.scale {
            s if s > 3_000.0 => format!("{:.2} h", mark.at / s),
            s if s > 30.0 => format!("{:.1} min", mark.at / s),
            _ => format!("{:.1} s", mark.at),
        };
        area.draw(&Text::new(format!("{unit}  {}", mark.text), (if beyond { x - 5 } else { x + 5 }, y), style))?;
    }
    Ok(())
}

fn draw_panel<'a>(ground: &Ground<'_>, panel: &Panel, area: &Area<'a>, first: bool) -> Drawn<'a> {
    let (mut low, mut high) = panel.least;
    for (_, y) in panel.series.iter().flat_map(|series| &series.points) {
        low = low.min(*y);
        high = high.max(*y);
    }
    (low, high) = (low.max(panel.most.0), high.min(panel.most.1));
    let room = 0.04 * (high - low);
    let (area, key) = area.split_horizontally(PANEL);
    if first {
        draw_marks(ground, &area)?;
    }
    let above = if first { MARKS } else { 0 };
    let mut chart = ChartBuilder::on(&area)
        .margin_left(MARGIN)
        .margin_top(6 + above)
        .set_label_area_size(LabelAreaPosition::Left, SCALE)
        .set_label_area_size(LabelAreaPosition::Bottom, 26)
        .build_cartesian_2d(ground.begin()..ground.end(), low - room..high + room)?;
    let (bottom, top) = (low - room, high + room);
    draw_ground(ground, &mut chart, (bottom, top))?;
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GREY.mix(0.25))
        .axis_style(GREY)
        .y_desc(panel.title)
        .x_labels(11)
        .y_labels(6)
        .x_label_formatter(&|_| String::new())
        .y_label_formatter(&|y| if high - low < 4.0 { format!("{y:.1}") } else { format!("{y:.0}") })
        .label_style(("sans-serif", 13).into_font().color(&INK))
        .axis_desc_style(("sans-serif", 14).into_font().color(&INK))
        .draw()?;
    let mut line = 0;
    for series in &panel.series {
        let points = series.points.iter().map(|&(x, y)| (x, y.clamp(bottom, top)));
        if series.dashed {
            chart.draw_series(DashedLineSeries::new(points, 7, 5, series.colour.stroke_width(1)))?;
        } else {
            chart.draw_series(LineSeries::new(points, series.colour.stroke_width(2)))?;
        }
        if series.name.is_empty() {
            continue;
        }
        let y = above as i32 + 18 + 21 * line;
        line += 1;
        // A dashed line is dashed in the key as well.
        let strokes: &[(i32, i32)] = if series.dashed { &[(6, 13), (18, 25), (30, 34)] } else { &[(6, 30)] };
        for &(from, to) in strokes {
            let width = if series.dashed { 1 } else { 3 };
            key.draw(&PathElement::new([(from, y), (to, y)], series.colour.stroke_width(width)))?;
        }
        key.draw(&Text::new(series.name.clone(), (38, y - 8), ("sans-serif", 14).into_font().color(&INK)))?;
    }
    Ok(())
}

/// What was on and off, a bar each, the newest below.
fn draw_bars<'a>(ground: &Ground<'_>, bars: &[Bar], area: &Area<'a>, unit: &str) -> Drawn<'a> {
    let (area, key) = area.split_horizontally(PANEL);
    let count = bars.len() as f64;
    let mut chart = ChartBuilder::on(&area)
        .margin_left(MARGIN)
        .margin_top(6)
        .margin_bottom(18)
        .set_label_area_size(LabelAreaPosition::Left, SCALE)
        .set_label_area_size(LabelAreaPosition::Bottom, 26)
        .build_cartesian_2d(ground.begin()..ground.end(), 0.0..count)?;
    draw_ground(ground, &mut chart, (0.0, count))?;
    chart
        .configure_mesh()
        .disable_y_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GREY.mix(0.25))
        .axis_style(GREY)
        .y_desc("on and off")
        .x_labels(11)
        .y_labels(0)
        .x_label_formatter(&|x| format!("{x:.0} {unit}"))
        .y_label_formatter(&|_| String::new())
        .label_style(("sans-serif", 13).into_font().color(&INK))
        .axis_desc_style(("sans-serif", 14).into_font().color(&INK))
        .draw()?;
    for (i, bar) in bars.iter().enumerate() {
        let base = count - 1.0 - i as f64;
        let colour = match bar.name.as_str() {
            "drive contact on" => BLUE,
            "run permit" | "feed permit" => GREEN,
            "start pressed" => INK,
            name if name.starts_with("rub head") || name.starts_with("rub boot") => ORANGE,
            _ => RED,
        };
        for &(start, stop) in &bar.stretches {
            let from = start / ground.scale;
            // However short, it must be seen.
            let to = (stop.min(ground.window.1) / ground.scale).max(from + (ground.end() - ground.begin()) / 900.0);
            chart.draw_series([Rectangle::new(
                [(from, base + 0.2), (to.min(ground.end()), base + 0.8)],
                colour.filled(),
            )])?;
        }
        let (_, y) = chart.backend_coord(&(ground.begin(), base + 0.5));
        let (_, top) = area.get_base_pixel();
        key.draw(&Text::new(bar.name.clone(), (6, y - top - 8), ("sans-serif", 14).into_font().color(&INK)))?;
    }
    Ok(())
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
