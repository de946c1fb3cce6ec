//! What the page's script works on: numbers as columns, words as text, both made here, so that nothing is worked out twice.

use std::io::Write;

use flate2::Compression;
use flate2::write::GzEncoder;
use serde_json::{Value, json};
use slackside::conditions::Condition;
use slackside::input::Place;

use super::causes::place;
use super::chart::{Mark, heat_most, rated_mark, slip_scale, strips};
use super::figures::{belt_unit, trimmed};
use super::story::{Importance, Story};
use crate::replay::{Columns, Outcome, What};
use crate::trace::Channel;

/// The plot library, as its makers pack it.
const PLOT: &str = include_str!("page/vendor/uPlot.iife.min.js");
const PLOT_LICENCE: &str = include_str!("page/vendor/LICENSE");
/// The modules of the page, each after those it leans on.
const MODULES: [&str; 9] = [
    include_str!("page/columns.js"),
    include_str!("page/words.js"),
    include_str!("page/plots.js"),
    include_str!("page/strips.js"),
    include_str!("page/rows.js"),
    include_str!("page/timeline.js"),
    include_str!("page/bench.js"),
    include_str!("page/sources.js"),
    include_str!("page/main.js"),
];

/// The script of the page: the modules as one, without their imports and exports.
#[must_use]
pub fn scripts() -> String {
    let mut script = String::from("<script>\n/*\n");
    script.push_str(PLOT_LICENCE.trim());
    script.push_str("\n*/\n");
    script.push_str(PLOT.trim());
    script.push_str("\n</script>\n<script type=\"module\">\n");
    for module in MODULES {
        for line in module.lines().filter(|line| !line.starts_with("import ")) {
            script.push_str(line.strip_prefix("export ").unwrap_or(line));
            script.push('\n');
        }
    }
    script.push_str("</script>\n");
    script
}

/// The core inside, as `cargo xtask web` builds it from `crates/slackside-page`.
const CORE: &[u8] = include_bytes!("page/core.wasm");

/// The place where a limit can be turned, and what it works on: the core, and the recording that was kept. Empty where there is none, or
/// where the settings are those of a test bench.
#[must_use]
pub fn bench(outcome: &Outcome) -> String {
    let settings = outcome.settings.clone().into_settings();
    let Some(recording) = super::bench::recording(outcome).filter(|_| settings.check().is_ok()) else {
        return String::new();
    };
    format!(
        "<section class=\"wide live-bench\" hidden>\n<h2>What if a limit had been another?</h2>\n<div class=\"bench\"></div>\n\
         <script type=\"text/plain\" class=\"core\">{}</script>\n<script type=\"text/plain\" class=\"recording\">{}</script>\n</section>\n",
        base64(&gzip(CORE)),
        base64(&gzip(&recording))
    )
}

/// The place of the drawing that can be taken apart, empty until the script fills it, and what it is filled from.
#[must_use]
pub fn live(outcome: &Outcome, columns: &Columns, story: &Story) -> String {
    // Nothing in a script element may look like its end, or like markup at all.
    let data = data(outcome, columns, story).to_string().replace('<', "\\u003c");
    let what = if story.importance == Importance::Stop { "trip" } else { "trace" };
    format!(
        "<section class=\"wide live\" hidden>\n<h2>The {what}, moment by moment</h2>\n<div class=\"timeline\"></div>\n\
         <script type=\"application/json\" class=\"trip\">{data}</script>\n</section>\n"
    )
}

fn data(outcome: &Outcome, columns: &Columns, story: &Story) -> Value {
    let (zero, day_us, dates) = outcome.clock().zero_and_day();
    let (begin, end) = (outcome.first().get(), outcome.last().get());
    let window = (columns.from > begin || columns.to < end).then(|| {
        let clock = outcome.clock();
        let at = |us: u64| clock.at(slackside::units::Micros::new(us));
        format!(
            "The trace is long: from {} to {} every change is in this page; before and after only the least and the most of each {}.",
            at(columns.from),
            at(columns.to),
            super::Clock::length(outcome.series.width_us())
        )
    });
    let events = story.before.iter().chain(&story.after).filter(|event| !event.time.is_empty());
    json!({
        "leg": outcome.settings.machine.leg.as_str(),
        "stopped": story.importance == Importance::Stop,
        "begin": begin,
        "end": end,
        "trip": outcome.first_outs.first().map(|first_out| first_out.at.get()),
        "window": window,
        "rows_before": outcome.window.rows_before,
        "clock": {"zero": zero, "day_us": day_us, "dates": dates},
        "panels": panels(outcome, columns),
        "strips": strips(outcome, columns).iter().map(|strips| json!({
            "title": strips.title,
            "keys": strips.keys,
            "strips": strips.strips.iter().map(|strip| json!({"name": strip.name, "parts": strip.parts})).collect::<Vec<_>>(),
        })).collect::<Vec<_>>(),
        "events": events.map(|event| json!([event.at.get(), event.time, event.what, event.bad])).collect::<Vec<_>>(),
        "columns": base64(&gzip(&packed(begin, columns))),
        "rows": {
            "name": outcome.trace,
            "what": if outcome.is_text { "line" } else { "input" },
            "channels": Channel::ALL.map(Channel::name),
            "packed": base64(&gzip(&packed_rows(begin, outcome))),
        },
    })
}

/// One lane of lines: its title, scale, marks and channels. `per` is how many units of a channel are one of what is told at the cursor,
/// `scale` how many are one on the axis.
fn panels(outcome: &Outcome, columns: &Columns) -> Vec<Value> {
    let machine = &outcome.settings.machine;
    let index = |what| columns.iter().position(|column| column.what == what && !column.points.is_empty());
    let line = |what, name: &str, unit: &str, per: f64, scale: f64, places: u8| {
        index(what).map(|column| {
            json!({"column": column, "name": name, "unit": unit, "per": per, "scale": scale, "places": places})
        })
    };
    let percent = |condition: Condition| f64::from(outcome.settings.limits.of(condition).setpoint) / 1e4;
    let per_belt = if outcome.feet { 1e6 * 0.3048 / 60.0 } else { 1e6 };
    let (head, belt) = (f64::from(machine.normal_head.get()), f64::from(machine.normal_belt_speed().get()));
    let speeds = [
        line(What::Head, "head shaft", "rpm", 1e6 / 60.0, head / 100.0, 1),
        line(What::Belt, "belt", belt_unit(outcome.feet), per_belt, belt / 100.0, if outcome.feet { 0 } else { 2 }),
    ];
    let slip = [
        line(What::SlipShort, "over one boot turn", "%", 1e4, 1e4, 1),
        line(What::SlipLong, "over four boot turns", "%", 1e4, 1e4, 1),
    ];
    let warmth = Place::ALL.map(|where_| line(What::Temperature(where_), place(where_), "°C", 10.0, 10.0, 1));
    let (slip_range, _, slip_marks) = slip_scale(outcome);
    let deep = 100.0 - percent(Condition::DeepUnderspeed);
    let low = 100.0 - percent(Condition::Underspeed);
    let mark = |mark: Mark| json!({"at": mark.at, "words": mark.words});
    let speed_marks = [
        mark(Mark::code()),
        mark(Mark::of(Condition::DeepUnderspeed, deep, format!("belt stop {} %", trimmed(deep, 1)))),
        mark(Mark::of(Condition::Underspeed, low, format!("belt alarm {} %", trimmed(low, 1)))),
    ];
    let panel = |title: &str, lines: &[Option<Value>], range: Option<(f64, f64)>, marks: Value| {
        let lines: Vec<&Value> = lines.iter().flatten().collect();
        (!lines.is_empty()).then(|| json!({"title": title, "lines": lines, "range": range, "marks": marks}))
    };
    let slip_marks: Vec<Value> = slip_marks.into_iter().map(mark).collect();
    let heat = heat_most(outcome);
    let stop = Mark::of(Condition::SlipHeat, 100.0, "stop 100 %".to_owned());
    let heat_marks = if heat > 100.0 { vec![mark(stop)] } else { Vec::new() };
    [
        panel("Speeds, per cent of normal", &speeds, Some((0.0, 120.0)), json!(speed_marks)),
        panel(
            "Slip: how much faster the pulley runs than the belt, per cent",
            &slip,
            Some(slip_range.figures),
            json!(slip_marks),
        ),
        panel(
            "Heat from slip, per cent of what is allowed",
            &[line(What::Heat, "slip heat", "%", 1e4, 1e4, 1)],
            Some((0.0, heat)),
            json!(heat_marks),
        ),
        panel(
            "Power, kilowatts",
            &[line(What::Power, "power", "kW", 1e3, 1e3, 1)],
            None,
            json!([mark(rated_mark(outcome))]),
        ),
        panel("Temperature at the rub points, °C", &warmth, None, json!([])),
        panel(
            "Speed asked for, per cent of normal",
            &[line(What::Reference, "speed reference", "%", 1e4, 1e4, 1)],
            Some((0.0, 120.0)),
            json!([]),
        ),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The columns as bytes, low byte first: for each the number of its points; how long after the point before each comes, in microseconds,
/// the first after the beginning of the trace; the least; the most. A column that rests for longer than 32 bits of microseconds is told
/// again on the way.
fn packed(begin: u64, columns: &Columns) -> Vec<u8> {
    let mut bytes = Vec::new();
    for column in columns.iter() {
        let mut rows: Vec<(u32, i32, i32)> = Vec::new();
        let mut before = begin;
        let mut held = (i32::MAX, i32::MIN);
        for point in &column.points {
            let mut wait = point.at.saturating_sub(before);
            while let Err(_too_long) = u32::try_from(wait) {
                rows.push((u32::MAX, held.0, held.1));
                wait -= u64::from(u32::MAX);
            }
            held = (point.least, point.most);
            rows.push((wait as u32, point.least, point.most));
            before = before.max(point.at);
        }
        bytes.extend((rows.len() as u32).to_le_bytes());
        bytes.extend(rows.iter().flat_map(|row| row.0.to_le_bytes()));
        bytes.extend(rows.iter().flat_map(|row| row.1.to_le_bytes()));
        bytes.extend(rows.iter().flat_map(|row| row.2.to_le_bytes()));
    }
    bytes
}

/// The rows of the window, low byte first: their number; how long after the row before each comes, in microseconds, the first after the
/// beginning of the trace; how much its number is above that of the row before; its channel. Rows out of order are taken at the newest
/// time, as the monitor takes them.
fn packed_rows(begin: u64, outcome: &Outcome) -> Vec<u8> {
    let (mut waits, mut steps, mut channels) = (Vec::new(), Vec::new(), Vec::new());
    let (mut newest, mut number) = (begin, 0);
    let held = |step: u64| u32::try_from(step).unwrap_or(u32::MAX).to_le_bytes();
    for row in outcome.window.rows() {
        let at = row.input.at.get().max(newest);
        waits.extend(held(at - newest));
        steps.extend(held(row.number.saturating_sub(number)));
        channels.push(Channel::of(&row.input.signal).index() as u8);
        (newest, number) = (at, row.number);
    }
    let count = held(channels.len() as u64);
    [&count[..], &waits, &steps, &channels].concat()
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packer = GzEncoder::new(Vec::new(), Compression::best());
    // Memory takes whatever it is given.
    let _ = packer.write_all(bytes);
    packer.finish().unwrap_or_default()
}

/// Base 64 of RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let word = group.iter().enumerate().fold(0_u32, |word, (at, byte)| word | u32::from(*byte) << (16 - 8 * at));
        for at in 0..4 {
            let letter = LETTERS[(word >> (18 - 6 * at)) as usize & 63];
            text.push(if at <= group.len() { char::from(letter) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base_64_is_that_of_the_rfc() {
        // RFC 4648, section 10.
        for (bytes, text) in
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("foobar", "Zm9vYmFy")]
        {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
    }
}
