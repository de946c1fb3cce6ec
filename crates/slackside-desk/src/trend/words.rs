//! What the days say, in words and as an object.

use serde_json::{Value, json};
use slackside::daily::{Kind, LoadBy};

use super::course::{Change, FEWEST_DAYS, Reach};
use super::figure::figures;
use super::wear::{Course, Restart, Wear, Work, work_word};
use super::{Date, Day, Figure, Over};
use crate::cautions;
use crate::lines::{WIDTH, fill};
use crate::report::{capital, lower};

/// Where nothing goes one way.
const NO_TREND: &str = "No trend: nothing that was measured goes one way beyond what chance does.";
/// The same where some figures are not known for long enough.
const NO_TREND_SO_FAR: &str =
    "No trend: nothing that can be told goes one way beyond what chance does. The rest has too few days to tell.";
/// Where nothing does but what grain does too.
const ONLY_GRAIN: &str = "No trend that is surely wear: what goes one way goes with the load only, and heavier or lighter grain does that too.";
/// The heading of what does.
pub(super) const MAY_BE_GRAIN: &str = "What may be the grain";
const WEEK: f64 = 7.0;
/// Beyond this nothing is said but that it is far away, in days.
const FAR: f64 = 3_652.5;
/// A day with so many looks of running should know its load.
const RUNS: u16 = 900;
/// What happened within so many days of a change may have to do with it.
const NEAR: i32 = 2;

/// All of it, in 80 columns.
#[must_use]
pub fn words(wear: &Wear) -> String {
    let mut out = String::new();
    let title = if wear.leg.is_empty() { "Wear".to_owned() } else { format!("Wear of {}", wear.leg) };
    put(&mut out, "", &format!("{title}: {}", wear.span()));
    out.push('\n');
    for text in wear.headlines() {
        put(&mut out, "", &text);
    }
    list(&mut out, MAY_BE_GRAIN, wear.grain());
    list(&mut out, "Without a trend", wear.quiet());
    list(&mut out, "What changed", wear.changes());
    list(&mut out, "Work done", wear.done());
    list(&mut out, "How to read it", wear.reading());
    out.push_str("\nCautions\n");
    out.push_str(&cautions::as_text(WIDTH));
    out
}

fn put(out: &mut String, first: &str, text: &str) {
    let rest = " ".repeat(if first.is_empty() { 2 } else { first.len() });
    out.push_str(&fill(first, &rest, text));
    out.push('\n');
}

fn list(out: &mut String, title: &str, lines: Vec<String>) {
    if lines.is_empty() {
        return;
    }
    out.push_str(&format!("\n{title}\n"));
    for line in lines {
        put(out, "- ", &line);
    }
}

impl Wear {
    /// How many days, and from when to when.
    #[must_use]
    pub fn span(&self) -> String {
        let told = self.days.iter().filter(|day| !matches!(day.summary.kind, Kind::Done(_)));
        let mut dates: Vec<Date> = told.map(|day| day.date).collect();
        dates.dedup();
        match dates[..] {
            [] => "no days".to_owned(),
            [only] => format!("1 day, {only}"),
            [first, .., last] => format!("{} days, {first} to {last}", dates.len()),
        }
    }

    /// What comes first: what goes one way; else that nothing does, or that it is not known. Too few days are no good news.
    #[must_use]
    pub fn headlines(&self) -> Vec<String> {
        let trends = self.trends();
        if !trends.is_empty() {
            return trends;
        }
        let wearing = || self.courses.iter().filter(|course| course.figure.wears());
        let known = wearing().filter(|course| course.trend.is_some()).count();
        vec![if self.courses.iter().any(|course| course.may_be_grain) {
            ONLY_GRAIN.to_owned()
        } else if known == 0 {
            format!("Not known yet: it takes {FEWEST_DAYS} days at the least to tell a trend.")
        } else if known < wearing().count() {
            NO_TREND_SO_FAR.to_owned()
        } else {
            NO_TREND.to_owned()
        }]
    }

    /// What goes one way, a paragraph each, soonest at its limit first.
    #[must_use]
    pub fn trends(&self) -> Vec<String> {
        let mut told: Vec<&Course> = self.showing().filter(|course| !course.may_be_grain).collect();
        let soonest = |course: &Course| course.reach.map_or(f64::INFINITY, |reach| reach.soonest);
        told.sort_by(|one, other| soonest(one).total_cmp(&soonest(other)));
        told.into_iter().filter_map(|course| self.trend_words(course)).collect()
    }

    /// What goes one way with the load only, where the load is told by the head's speed: no dates, for it need not be wear.
    #[must_use]
    pub fn grain(&self) -> Vec<String> {
        let told = self.showing().filter(|course| course.may_be_grain);
        told.filter_map(|course| {
            let words = capital(&self.rate_words(course)?);
            Some(format!(
                "{words} Slip unloaded does not go with it: heavier or lighter grain may be all of it. {}",
                self.since_words(course)
            ))
        })
        .collect()
    }

    fn showing(&self) -> impl Iterator<Item = &Course> {
        self.courses.iter().filter(|course| course.trend.as_ref().is_some_and(|trend| trend.shows))
    }

    fn trend_words(&self, course: &Course) -> Option<String> {
        let (figure, trend) = (course.figure, course.trend.as_ref()?);
        let last = course.points.last()?.0;
        let now = trend.at(last);
        let mut text = format!("{}: {}", figure.part().to_uppercase(), self.rate_words(course)?);
        if let Some(limit) = course.limit {
            let name = lower(limit.condition.entry().title);
            let limit_words = format!("its limit of {} ({name})", figure.say(limit.value));
            let is_beyond = if limit.value > 0.0 { now >= limit.value } else { now <= limit.value };
            text.push_str(&match course.reach {
                _ if is_beyond => format!(" That is beyond {limit_words}."),
                Some(reach) => format!(" {}", self.reach_words(reach, last, &limit_words)),
                None => format!(" That leads away from {limit_words}."),
            });
        }
        text.push(' ');
        text.push_str(&self.since_words(course));
        Some(text)
    }

    fn rate_words(&self, course: &Course) -> Option<String> {
        let (figure, trend) = (course.figure, course.trend.as_ref()?);
        let (slope, interval) = (trend.line.slope, trend.interval);
        let (verb, least, most) =
            if slope > 0.0 { ("rises", interval.low, interval.high) } else { ("falls", -interval.high, -interval.low) };
        Some(format!(
            "{} {verb} by {} {} a week (90 %: {} to {}), now {}.",
            figure.name(),
            figures(slope.abs() * WEEK),
            figure.unit(),
            figures(least * WEEK),
            figures(most * WEEK),
            figure.say(trend.at(course.points.last()?.0))
        ))
    }

    fn reach_words(&self, reach: Reach, last: f64, limit: &str) -> String {
        let day = |at: f64| self.day_words(at.floor() as i32);
        if reach.soonest - last > FAR {
            return format!("At this rate it reaches {limit} in ten years or later.");
        }
        if reach.latest - last > FAR {
            let about = if reach.about - last > FAR { String::new() } else { format!("about {}, ", day(reach.about)) };
            return format!(
                "At this rate it reaches {limit} {about}at the soonest {}, at the latest in ten years or more.",
                day(reach.soonest)
            );
        }
        format!(
            "At this rate it reaches {limit} about {}, at the soonest {}, at the latest {}.",
            day(reach.about),
            day(reach.soonest),
            day(reach.latest)
        )
    }

    pub(super) fn day_words(&self, number: i32) -> String {
        self.days.first().map_or_else(String::new, |day| day.date.alike(number).to_string())
    }

    fn since_words(&self, course: &Course) -> String {
        let (index, why) = course.since;
        let since = course.points.get(index).map_or_else(String::new, |point| self.day_words(point.0.floor() as i32));
        let days = course.points.len() - index;
        let why = match why {
            Restart::Beginning => "the first day".to_owned(),
            Restart::Work(work) => format!("after work on it ({})", work_word(work)),
            Restart::Settings => "when the settings changed".to_owned(),
            Restart::Change => "when it changed".to_owned(),
        };
        let unit = if days == 1 { "day" } else { "days" };
        format!("Counted since {since}, {why}: {days} {unit}.")
    }

    /// What goes no way that could be told from chance.
    #[must_use]
    pub fn quiet(&self) -> Vec<String> {
        let mut lines = Vec::new();
        for course in self.courses.iter().filter(|course| course.figure.wears()) {
            let name = capital(course.figure.name());
            match &course.trend {
                Some(trend) if trend.shows => {}
                Some(trend) => {
                    let last = course.points.last().map_or(0.0, |point| point.0);
                    lines.push(format!(
                        "{name}: {}, by {} to {} {} a week. {}",
                        course.figure.say(trend.at(last)),
                        figures(trend.interval.low * WEEK),
                        figures(trend.interval.high * WEEK),
                        course.figure.unit(),
                        self.since_words(course)
                    ));
                }
                None => {
                    let days = course.points.len() - course.since.0;
                    lines.push(format!(
                        "{name}: too few days to tell ({days} of {FEWEST_DAYS}). {}",
                        self.since_words(course)
                    ));
                }
            }
        }
        lines
    }

    /// The work that was marked.
    #[must_use]
    pub fn done(&self) -> Vec<String> {
        let one = |work: &Work| {
            let note = if work.note.is_empty() { String::new() } else { format!(" ({})", work.note) };
            format!("{}: {}{note}", work.date, work_word(work.what))
        };
        self.work.iter().map(one).collect()
    }

    /// What changed its level, with what else changed about that day.
    #[must_use]
    pub fn changes(&self) -> Vec<String> {
        let mut all: Vec<(i32, &Course, Change)> = self
            .courses
            .iter()
            .flat_map(|course| course.changes.iter().map(move |change| (day_of(course, change), course, *change)))
            .collect();
        all.sort_by_key(|(day, ..)| *day);
        let one = |(day, course, change): &(i32, &Course, Change)| {
            let way = if change.by > 0.0 { "up" } else { "down" };
            let beside = self.beside(*day, course.figure);
            let beside = if beside.is_empty() { "nothing else that is known".to_owned() } else { beside.join("; ") };
            let by = course.figure.say(change.by.abs());
            format!("{}: {} went {way} by {by}. About that day: {beside}.", self.day_words(*day), course.figure.name())
        };
        all.iter().map(one).collect()
    }

    /// What else happened about that day.
    fn beside(&self, day: i32, but: Figure) -> Vec<String> {
        let near = |number: i32| number.abs_diff(day) <= NEAR.unsigned_abs();
        let work = self
            .work
            .iter()
            .filter(|work| near(work.date.number()))
            .map(|work| format!("work ({})", work_word(work.what)));
        let changed = self.days.iter().any(|day| day.summary.settings_changed && near(day.date.number()));
        let others = self.courses.iter().filter(|course| course.figure != but).filter_map(|course| {
            let change = course.changes.iter().find(|change| near(day_of(course, change)))?;
            let way = if change.by > 0.0 { "up" } else { "down" };
            Some(format!("{} {way}", course.figure.name()))
        });
        work.chain(changed.then(|| "other settings".to_owned())).chain(others).collect()
    }

    /// How the load is known, where it is not measured.
    fn loads(&self) -> Vec<String> {
        let mut lines = Vec::new();
        if self.courses.iter().any(|course| course.figure == Figure::SlipAtAnyLoad) {
            lines.push(
                "Nothing tells the load, so slip is not told apart by it: days with more grain slip more, and a season may look like wear. \
                 A power meter tells it, or unloaded_head_rpm in the settings of a leg without a speed reference."
                    .to_owned(),
            );
        }
        let by_head = |day: &&Day| day.summary.load_by == LoadBy::HeadSpeed && day.summary.running >= RUNS;
        let newest: Vec<&Day> = self.days.iter().rev().filter(by_head).take(7).collect();
        if newest.is_empty() {
            return lines;
        }
        lines.push(
            "The load is told by the head's speed, between its speed unloaded and at normal operation: a coarse meter. Near the borders, and \
             where the head is faster or slower than that can be, slip is told at no load. What goes one way with the load only is told as \
             wear where slip unloaded goes that way too: heavier grain leaves that alone."
                .to_owned(),
        );
        let silent = newest.iter().filter(|day| day.summary.slip.iter().all(Option::is_none)).count();
        if 2 * silent > newest.len() {
            lines.push(format!(
                "On {silent} of the newest {} days that the leg ran its load was not known by its speed, and slip is not followed: \
                 unloaded_head_rpm or head_rpm is not true any more. Measure both again.",
                newest.len()
            ));
        }
        lines
    }

    /// What warmth is held against.
    fn warmth(&self) -> Vec<String> {
        let all = || {
            self.courses.iter().filter_map(|course| match course.figure {
                Figure::Warmth(place, over) => Some((course.figure.name(), place, over)),
                _ => None,
            })
        };
        let mut lines = Vec::new();
        if all().next().is_some() {
            lines.push(
                "Warmth is how much hotter a rub point got in a day than what it is held against: the other side of its shaft, where that \
                 has a sensor, so that weather, season and load are in neither. What warms both sides alike does not show in it, only in the \
                 degrees of the table and in the alarm. Its limit is that alarm's, less the hottest that the other was on any of the days."
                    .to_owned(),
            );
        }
        for (name, _, over) in all().filter(|(_, place, over)| !over.is_other_side_of(*place)) {
            let against = match over {
                Over::Place(other) => Figure::Warmth(other, over).name().replace("warmth at ", "that at "),
                Over::Coolest => "the coolest of the day".to_owned(),
            };
            lines.push(format!(
                "{} is held against {against}, for the other side of its shaft is not known: a season may look like wear there.",
                capital(name)
            ));
        }
        lines
    }

    /// What must be known to read it.
    #[must_use]
    pub fn reading(&self) -> Vec<String> {
        let mut lines = self.notes.clone();
        lines.extend(self.loads());
        lines.extend(self.warmth());
        lines.push(
            "A rate is the median of the slopes between all pairs of days (Theil and Sen), with the range that holds it in 90 of 100 cases. \
             It is told once that range, made wide enough for all the figures together, leaves out \"no change\"."
                .to_owned(),
        );
        lines.push(
            "The dates say when, if all goes on as it did. Wear seldom does: look before the soonest, and mark the work with \
             --mark so that the trend begins anew."
                .to_owned(),
        );
        lines
    }
}

fn day_of(course: &Course, change: &Change) -> i32 {
    course.points.get(change.index).map_or(0, |point| point.0.floor() as i32)
}

/// All of it, for other programs.
#[must_use]
pub fn object(wear: &Wear) -> Value {
    let day = |number: f64| {
        if number.is_finite() { Value::String(wear.day_words(number.floor() as i32)) } else { Value::Null }
    };
    let courses: Vec<Value> = wear
        .courses
        .iter()
        .map(|course| {
            let trend = course.trend.as_ref().map(|trend| {
                json!({
                    "shows": trend.shows,
                    "a_day": trend.line.slope,
                    "a_day_low": trend.interval.low,
                    "a_day_high": trend.interval.high,
                    "confidence": super::course::CONFIDENCE,
                    "memory": trend.line.memory,
                })
            });
            let reach = course.reach.map(|reach| {
                json!({ "soonest": day(reach.soonest), "about": day(reach.about), "latest": day(reach.latest) })
            });
            json!({
                "figure": course.figure.name(),
                "part": course.figure.part(),
                "days": course.points.len(),
                "since": course.points.get(course.since.0).map(|point| day(point.0)),
                "trend": trend,
                "limit": course.limit.map(|limit| json!({ "condition": limit.condition.entry().name, "value": limit.value })),
                "reach": reach,
                "may_be_grain": course.may_be_grain,
                "changes": course.changes.iter().map(|change| json!({ "day": day(f64::from(day_of(course, change))), "by": change.by })).collect::<Vec<_>>(),
            })
        })
        .collect();
    json!({
        "format": "slackside-trend",
        "format_version": 1,
        "leg": wear.leg,
        "span": wear.span(),
        "work": wear.work.iter().map(|work| json!({ "day": work.date.to_string(), "what": work_word(work.what), "note": work.note })).collect::<Vec<_>>(),
        "figures": courses,
        "told": wear.trends(),
        "notes": wear.notes,
    })
}
