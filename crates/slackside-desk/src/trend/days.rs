//! Days from traces: each through the monitor, gathered as a box gathers its own.

use slackside::daily::{Gatherer, LOOK, Summary};
use slackside::input::{Input, Signal};
use slackside::settings::Checked;
use slackside::units::Micros;

use super::Date;
use crate::error::Result;
use crate::monitor::Monitor;
use crate::replay::check_units;
use crate::trace::Reader;

/// A day and what it says.
#[derive(Clone, Debug, PartialEq)]
pub struct Day {
    /// Which day.
    pub date: Date,
    /// Where it comes from.
    pub source: String,
    /// What it says.
    pub summary: Summary,
}

/// A stretch without any row that is longer than this is passed over: what silence proves it has proven by then.
const PASSED_OVER_US: u64 = 600_000_000;

/// The days of a trace or of one shift: one, unless it is longer than a day. Without a clock of the day they are told the date that their
/// file's name holds, if any; else [`in_order`] counts them.
///
/// # Errors
/// The trace is broken, or its times cannot be microseconds.
pub fn days_of_trace(mut reader: Reader, settings: &Checked, mut monitor: Box<Monitor>) -> Result<Vec<Day>> {
    let mut watch = Watch { gatherer: Gatherer::new(), next: None, whole: Vec::new() };
    let mut batch = Vec::new();
    while reader.read_batch(&mut batch)? {
        for input in &batch {
            watch.take(&mut monitor, input);
        }
    }
    let survey = reader.survey();
    check_units(reader.name(), survey, &settings.machine)?;
    let began = survey.anchor.map(|anchor| {
        let first = survey.first.unwrap_or_default();
        let unix_us = anchor.desk_us.saturating_add_unsigned(first.get()).saturating_sub_unsigned(anchor.at.get());
        Date::of_unix_us(unix_us)
    });
    let date = began.or_else(|| Date::within(reader.name())).unwrap_or(Date::Counted(0));
    let mut summaries = watch.whole;
    if let Some(plan) = monitor.plan() {
        summaries.push(watch.gatherer.summary(0, plan));
    }
    let day =
        |(later, summary)| Day { date: date.alike(date.number() + later), source: reader.name().to_owned(), summary };
    Ok((0..).zip(summaries).map(day).collect())
}

struct Watch {
    gatherer: Gatherer,
    next: Option<u64>,
    /// Days that are over.
    whole: Vec<Summary>,
}

impl Watch {
    fn take(&mut self, monitor: &mut Monitor, input: &Input) {
        let at = input.at.get();
        let mut next = self.next.unwrap_or(at);
        if at.saturating_sub(next) > PASSED_OVER_US {
            next = at;
        }
        // Ticks on the way change no verdict.
        while next < at {
            monitor.observe(Input::new(Micros::new(next), Signal::Tick), &mut |_| {});
            self.look(monitor, Micros::new(next));
            next = next.saturating_add(LOOK.get().into());
        }
        self.next = Some(next);
        self.gatherer.hear(input);
        monitor.observe(*input, &mut |_| {});
        self.look(monitor, monitor.newest());
    }

    fn look(&mut self, monitor: &Monitor, now: Micros) {
        let Some(plan) = monitor.plan() else { return };
        if self.gatherer.look(now, monitor.status().phase, monitor.signals(), plan) {
            self.whole.push(self.gatherer.summary(0, plan));
            self.gatherer.next_day();
        }
    }
}

/// The days that a box has told, as its window shows them: places of 24 bytes, some of them blank or damaged, in any order.
#[must_use]
pub fn days_of_box(source: &str, window: &[u8]) -> Vec<Day> {
    let (places, _) = window.as_chunks::<{ Summary::LENGTH }>();
    let mut summaries: Vec<Summary> = places.iter().filter_map(Summary::of_bytes).collect();
    summaries.sort_by_key(|summary| summary.day);
    let day = |summary: Summary| Day { date: Date::Counted(summary.day.into()), source: source.to_owned(), summary };
    summaries.into_iter().map(day).collect()
}

/// What was noted of work, as it can stand in a table.
#[must_use]
pub fn note_of(summary: &Summary) -> String {
    let note = summary.note.split(|byte| *byte == 0).next().unwrap_or_default();
    let plain = |letter: char| if letter.is_control() || letter == ',' { ' ' } else { letter };
    String::from_utf8_lossy(note).chars().map(plain).collect::<String>().trim().to_owned()
}

/// In order of their days. Where any of them has no date of the calendar they are counted as they come, from 1; several of one day are told
/// apart by their place within it. `true`: they were counted.
#[must_use]
pub fn in_order(mut days: Vec<Day>) -> (Vec<Day>, bool) {
    let counted = days.iter().any(|day| !day.date.is_calendar());
    if counted {
        // Days of a box or of a table have their numbers already.
        let has_numbers = days.iter().all(|day| day.date.number() > 0 && !day.date.is_calendar());
        if !has_numbers {
            for (number, day) in (1..).zip(&mut days) {
                day.date = Date::Counted(number);
            }
        }
    }
    days.sort_by_key(|day| day.date);
    (days, counted)
}
