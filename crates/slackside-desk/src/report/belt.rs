//! The belt loop unrolled: where on it the rubs began, at each place; and to what they are bound, as far as that can be told.

use std::fmt::Write;

use slackside::diagnose::Lock;
use slackside::input::Place;
use slackside::settings::Field;
use slackside::settings::schema::BeltPart;

use super::causes::place;
use super::clock::Clock;
use super::escape::escape;
use super::figures::{percent, trimmed};
use super::leg::{leg, shaft};
use super::sources::{Notes, Sources};
use crate::drawing::{Look, Svg};
use crate::replay::{Columns, Outcome, Point, What};

/// The leg, its shafts, and one bar for each place where the belt rubbed; nothing where it rubbed nowhere, or where its way is not known.
pub fn belt(out: &mut String, notes: &mut Notes, outcome: &Outcome, columns: &Columns) {
    let way = Way::of(columns);
    let length = outcome.settings.machine.belt.loop_length.get() as f64;
    let rubbed: Vec<(Place, Vec<(f64, f64)>)> = Place::ALL
        .into_iter()
        .map(|where_| (where_, marks(columns, &way, where_, length)))
        .filter(|(_, marks)| !marks.is_empty())
        .collect();
    if rubbed.is_empty() || length <= 0.0 {
        return;
    }
    let when = if outcome.first_outs.is_empty() { "at the end" } else { "at the trip" };
    let _ = writeln!(
        out,
        "<section class=\"wide loop\">\n<h2>Where on the belt it rubbed</h2>\n<div class=\"loop-row\"><figure class=\"leg-picture\">{}\
         <figcaption>The leg as its belt lay {when}, seen so that the belt goes up at the left. <b class=\"round\">●</b> a place on the belt's \
         left edge that rubbed on its last loop, <b class=\"square\">■</b> one on its right edge. Left and right are those of someone who stands on \
         the up side and looks the way the grain goes out.</figcaption></figure>",
        leg(outcome, columns)
    );
    for (where_, _) in &rubbed {
        let label = format!("The shaft at the {}, with the angles at which the belt rubbed there.", place(*where_));
        if let Some(drawn) = shaft(columns, *where_, &label) {
            let name = escape(place(*where_));
            let _ = writeln!(
                out,
                "<figure class=\"shaft-picture\">{drawn}<figcaption>Shaft, {name}: how it stood at each rub. The longer the line from the \
                 middle, the more they are at one angle.</figcaption></figure>"
            );
        }
    }
    out.push_str("</div>\n");
    let from = Sources::how("Counted from the rub contacts' rows, and the boot's turns.")
        .row(outcome.rows.first())
        .row(outcome.rows.newest())
        .field(Field::Belt(BeltPart::Loop));
    for (where_, marks) in &rubbed {
        let mut svg = Svg::stretched(1_000.0, 10.0);
        for (from, long) in marks {
            svg.rect(Look::Class("p-rub"), (1_000.0 * from, 0.0), ((1_000.0 * long).max(3.0), 10.0), "");
        }
        let bound = notes.traced(outcome, &bound(outcome, *where_), &from);
        let name = escape(place(*where_));
        let _ = writeln!(
            out,
            "<div class=\"strip\"><span class=\"strip-name\">{name}: {bound}</span><div class=\"bar\">{}</div></div>",
            svg.finish()
        );
    }
    let metres = notes.traced(outcome, &format!("{} m", trimmed(length / 1e6, 1)), &from);
    let _ = writeln!(
        out,
        "<p class=\"note\">Each bar is the whole belt loop, {metres}, cut open where it was as the picture of the trip begins and laid flat; each mark \
         a rub, where the belt had come to by the boot's turns. Marks below one another on every bar, or at one place of a bar, point \
         to the belt; marks all along it to the pulleys or the casing.</p>\n</section>"
    );
}

/// How often, how long, and to what the rubs at a place are bound.
fn bound(outcome: &Outcome, where_: Place) -> String {
    let rubs = outcome.evidence.rubs[where_.index()];
    let lock = match rubs.lock {
        Lock::None => "bound to nothing that can be told",
        Lock::Belt { .. } => "always at one place of the belt",
        Lock::Shaft { .. } => "always at one angle of the shaft there",
    };
    let times = if rubs.count == 1 { "once".to_owned() } else { format!("{} times", rubs.count) };
    format!(
        "rubbed {times}, at most {} and {} of a loop; {lock}",
        Clock::length(rubs.longest.get().into()),
        percent(rubs.duty)
    )
}

/// Where each rub began and how long it is, as shares of the loop.
fn marks(columns: &Columns, way: &Way, where_: Place, length: f64) -> Vec<(f64, f64)> {
    let Some(column) = columns.get(What::Contact(where_)) else { return Vec::new() };
    let points = column.points.iter().filter(|point| (columns.from..=columns.to).contains(&point.at));
    let points: Vec<&Point> = points.collect();
    let ends = points.iter().skip(1).map(|point| point.at).chain([columns.to]);
    let rubs = points.iter().zip(ends).filter(|(point, _)| point.bounds() == Some((1, 1)));
    let rubs = rubs.filter_map(|(point, to)| {
        let (from, to) = (way.at(point.at)?, way.at(to)?);
        let share = (from / length).fract();
        Some((share, ((to - from) / length).min(1.0 - share)))
    });
    rubs.collect()
}

/// How far the belt has gone, in micrometres, since the window began.
struct Way(Vec<(u64, f64, f64)>);

impl Way {
    fn of(columns: &Columns) -> Self {
        let mut way = 0.0;
        let mut steps: Vec<(u64, f64, f64)> = Vec::new();
        let points = columns.get(What::Belt).map_or(&[][..], |column| &column.points);
        for point in points.iter().filter(|point| (columns.from..=columns.to).contains(&point.at)) {
            if let Some((at, _, speed)) = steps.last() {
                way += speed * (point.at - at) as f64 / 1e6;
            }
            // What is not known moves nothing: places after it are then those of a belt that stood.
            steps.push((point.at, way, point.bounds().map_or(0.0, |(_, most)| f64::from(most))));
        }
        Self(steps)
    }

    fn at(&self, at: u64) -> Option<f64> {
        let past = self.0.partition_point(|(time, ..)| *time <= at);
        let (time, way, speed) = self.0.get(past.checked_sub(1)?)?;
        Some(way + speed * (at - time) as f64 / 1e6)
    }
}
