//! The picture of a run: speeds, slip, tensions against the friction limit, lateral position against clearance, heat, load.

use std::io::Write;
use std::path::Path;

use anyhow::{Context, anyhow};
use plotters::coord::Shift;
use plotters::prelude::*;

use super::Scenario;
use super::run::Summary;
use super::truth::Row;
use crate::outputs::Whole;

/// Most points kept for a series: twice the picture's width, so that no spike is lost.
const BINS: usize = 1_600;

const BLUE: RGBColor = RGBColor(0x1f, 0x5f, 0xa8);
const ORANGE: RGBColor = RGBColor(0xd9, 0x6a, 0x00);
const GREEN: RGBColor = RGBColor(0x1a, 0x80, 0x50);
const RED: RGBColor = RGBColor(0xc0, 0x20, 0x30);
const GREY: RGBColor = RGBColor(0x77, 0x77, 0x77);
const INK: RGBColor = RGBColor(0x22, 0x22, 0x22);

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

/// Draw the picture into an SVG file.
///
/// # Errors
/// The file cannot be written.
pub fn draw(
    scenario: &Scenario,
    summary: &Summary,
    rows: &[Row],
    marks: &[(f64, String)],
    path: &Path,
) -> anyhow::Result<()> {
    let mut text = String::new();
    {
        let (unit, scale) = match scenario.duration_s {
            s if s > 3.0 * 7_200.0 => ("h", 3_600.0),
            s if s > 1_200.0 => ("min", 60.0),
            _ => ("s", 1.0),
        };
        let panels = panels(scenario, rows, scale);
        let height = 92 + 205 * panels.len() as u32 + 30;
        let root = SVGBackend::with_string(&mut text, (1_200, height)).into_drawing_area();
        (|| -> Result<(), Box<dyn std::error::Error + '_>> {
            root.fill(&WHITE)?;
            let (head, body) = root.split_vertically(92);
            heading(scenario, summary, &head)?;
            for (i, (panel, area)) in panels.iter().zip(body.split_evenly((panels.len(), 1))).enumerate() {
                let last = i + 1 == panels.len();
                draw_panel(
                    scenario,
                    panel,
                    &area,
                    scale,
                    if last { unit } else { "" },
                    rows,
                    if i == 0 { marks } else { &[] },
                )?;
            }
            root.present()?;
            Ok(())
        })()
        .map_err(|error| anyhow!("the picture cannot be drawn: {error}"))?;
    }
    Whole::create(path)
        .and_then(|mut file| file.write_all(text.as_bytes()).and_then(|()| file.finish()))
        .with_context(|| format!("{} cannot be written", path.display()))
}

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;
type Drawn<'a> = Result<(), Box<dyn std::error::Error + 'a>>;

fn heading<'a>(scenario: &Scenario, summary: &Summary, area: &Area<'a>) -> Drawn<'a> {
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
    let verdict = summary.stop_called_us.map_or_else(
        || "No stop is called for.".to_owned(),
        |at| {
            let why = if summary.called_by_belt { "belt below 80 %" } else { "slip heat above its budget" };
            format!("A stop is called for at {:.2} s: {why}.", at as f64 * 1e-6)
        },
    );
    area.draw(&Text::new(verdict, (14, 72), ("sans-serif", 14).into_font().color(&RED)))?;
    Ok(())
}

fn panels(scenario: &Scenario, rows: &[Row], scale: f64) -> Vec<Panel> {
    let leg = &scenario.leg;
    let series = |name: &str, colour, value: &dyn Fn(&Row) -> f64| Series {
        name: name.to_owned(),
        colour,
        dashed: false,
        points: thin(rows, scale, value),
    };
    let level = |name: String, colour, value: f64| Series {
        name,
        colour,
        dashed: true,
        points: vec![(0.0, value), (scenario.duration_s / scale, value)],
    };
    let clearance = leg.lateral.clearance_mm;
    vec![
        Panel {
            title: "shaft speeds, rpm",
            series: vec![
                series("head", BLUE, &|row| row.truth.head_rpm),
                series("boot", ORANGE, &|row| row.truth.boot_rpm),
            ],
            least: (0.0, 1.0),
            most: (-1e9, 1e9),
        },
        Panel {
            title: "belt speed, % of normal",
            series: vec![series("belt", GREEN, &|row| row.belt_pct), level("80 %: stop".to_owned(), RED, 80.0)],
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
                level(format!("clearance {clearance:.0}"), RED, clearance),
                level(String::new(), RED, -clearance),
            ],
            least: (-1.1 * clearance, 1.1 * clearance),
            most: (-1e9, 1e9),
        },
        Panel {
            title: "rise in temperature, K",
            series: vec![
                series("head rim, lagging", RED, &|row| row.truth.head_rise_k),
                series("standing belt", ORANGE, &|row| row.truth.patch_rise_k),
                series("rub point", BLUE, &|row| row.truth.rub_rise_k),
                series("boot rim", GREEN, &|row| row.truth.boot_rise_k),
                series("slip heat, of budget", GREY, &|row| {
                    row.truth.heat_j / 1e3 / leg.heat.budget_kj * budget_rise(scenario)
                }),
                level("budget".to_owned(), GREY, budget_rise(scenario)),
            ],
            least: (0.0, 1.0),
            most: (0.0, 1e9),
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
fn thin(rows: &[Row], scale: f64, value: &dyn Fn(&Row) -> f64) -> Vec<(f64, f64)> {
    let point = |row: &Row| (row.time_us as f64 * 1e-6 / scale, value(row));
    if rows.len() <= 2 * BINS {
        return rows.iter().map(point).collect();
    }
    let mut thinned = Vec::with_capacity(2 * BINS + 2);
    for bin in rows.chunks(rows.len().div_ceil(BINS)) {
        let points = || bin.iter().map(point);
        let (Some(low), Some(high)) =
            (points().min_by(|a, b| a.1.total_cmp(&b.1)), points().max_by(|a, b| a.1.total_cmp(&b.1)))
        else {
            continue;
        };
        if low.0 <= high.0 { thinned.extend([low, high]) } else { thinned.extend([high, low]) }
    }
    thinned
}

fn draw_panel<'a>(
    scenario: &Scenario,
    panel: &Panel,
    area: &Area<'a>,
    scale: f64,
    unit: &str,
    rows: &[Row],
    marks: &[(f64, String)],
) -> Drawn<'a> {
    let (mut low, mut high) = panel.least;
    for (_, y) in panel.series.iter().flat_map(|series| &series.points) {
        low = low.min(*y);
        high = high.max(*y);
    }
    (low, high) = (low.max(panel.most.0), high.min(panel.most.1));
    let room = 0.04 * (high - low);
    let (area, key) = area.split_horizontally(1_010);
    let end = scenario.duration_s / scale;
    let mut chart = ChartBuilder::on(&area)
        .margin_left(8)
        .margin_top(6)
        .set_label_area_size(LabelAreaPosition::Left, 62)
        .set_label_area_size(LabelAreaPosition::Bottom, 26)
        .build_cartesian_2d(0.0..end, low - room..high + room)?;
    let (bottom, top) = (low - room, high + room);
    // When something is wrong the ground is grey; when a stop is called for it is red.
    for (start, stop) in stretches(rows, |row| row.active != 0) {
        let corner = [(start / scale, bottom), (stop / scale, top)];
        chart.draw_series([Rectangle::new(corner, GREY.mix(0.10).filled())])?;
    }
    for (start, stop) in stretches(rows, |row| row.stop_called_for) {
        let corner = [(start / scale, bottom), (stop / scale, top)];
        chart.draw_series([Rectangle::new(corner, RED.mix(0.12).filled())])?;
    }
    chart
        .configure_mesh()
        .light_line_style(TRANSPARENT)
        .bold_line_style(GREY.mix(0.25))
        .axis_style(GREY)
        .y_desc(panel.title)
        .x_labels(11)
        .y_labels(6)
        .x_label_formatter(&|x| if unit.is_empty() { String::new() } else { format!("{x:.0} {unit}") })
        .y_label_formatter(&|y| if high - low < 4.0 { format!("{y:.1}") } else { format!("{y:.0}") })
        .label_style(("sans-serif", 13).into_font().color(&INK))
        .axis_desc_style(("sans-serif", 14).into_font().color(&INK))
        .draw()?;
    for (i, series) in panel.series.iter().enumerate() {
        let points = series.points.iter().map(|&(x, y)| (x, y.clamp(bottom, top)));
        if series.dashed {
            chart.draw_series(DashedLineSeries::new(points, 7, 5, series.colour.stroke_width(1)))?;
        } else {
            chart.draw_series(LineSeries::new(points, series.colour.stroke_width(2)))?;
        }
        if !series.name.is_empty() {
            let y = 18 + 21 * i as i32;
            key.draw(&PathElement::new(
                [(6, y), (30, y)],
                series.colour.stroke_width(if series.dashed { 1 } else { 3 }),
            ))?;
            key.draw(&Text::new(series.name.clone(), (38, y - 8), ("sans-serif", 14).into_font().color(&INK)))?;
        }
    }
    let mut told: Vec<&str> = Vec::new();
    for (at, text) in marks {
        let x = at / scale;
        chart.draw_series([PathElement::new([(x, bottom), (x, top)], INK.stroke_width(1))])?;
        // The same words again would only cover each other.
        if told.contains(&text.as_str()) {
            continue;
        }
        let y = bottom + (top - bottom) * (0.5 - 0.1 * (told.len() % 5) as f64);
        told.push(text);
        let style = ("sans-serif", 12).into_font().color(&INK);
        chart.draw_series([Text::new(text.clone(), (x + 0.004 * end, y), style)])?;
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
