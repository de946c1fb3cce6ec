//! All figures of a leg together.

use slackside::daily::{Kind, Work as Done};
use slackside::settings::Checked;

use super::course::{Change, Point, Reach, Trend, changes, trend};
use super::{Date, Day, Figure, Limit, note_of};

/// Work done on the leg.
#[derive(Clone, Debug, PartialEq)]
pub struct Work {
    /// When.
    pub date: Date,
    /// What.
    pub what: Done,
    /// What was noted of it.
    pub note: String,
}

/// Where a trend begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Restart {
    /// At the first day.
    Beginning,
    /// Work was done.
    Work(Done),
    /// The settings changed.
    Settings,
    /// The figure changed its level, whatever did that.
    Change,
}

/// The course of one figure.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// Which.
    pub figure: Figure,
    /// Its days and values.
    pub points: Vec<Point>,
    /// Where it changed: of the points.
    pub changes: Vec<Change>,
    /// The point since which its trend counts, and why.
    pub since: (usize, Restart),
    /// The trend since, if there are days enough and it is a measure of wear.
    pub trend: Option<Trend>,
    /// Its limit, where settings say one.
    pub limit: Option<Limit>,
    /// When it reaches that.
    pub reach: Option<Reach>,
}

/// What the days of a leg say together.
#[derive(Clone, Debug, PartialEq)]
pub struct Wear {
    /// The leg's name, if known.
    pub leg: String,
    /// The days, in order.
    pub days: Vec<Day>,
    /// Work that was done, in order.
    pub work: Vec<Work>,
    /// The figures that are known on any day.
    pub courses: Vec<Course>,
    /// What must be said of the days.
    pub notes: Vec<String>,
}

/// Follow the days, in order, with the work among them. `settings` say the limits.
#[must_use]
pub fn wear(days: Vec<Day>, settings: Option<&Checked>) -> Wear {
    let done = |day: &Day| match day.summary.kind {
        Kind::Done(what) => Some(Work { date: day.date, what, note: note_of(&day.summary) }),
        Kind::Day | Kind::PartOfDay => None,
    };
    let mut work: Vec<Work> = days.iter().filter_map(done).collect();
    work.dedup();
    let warmth = Figure::warmth(days.iter().map(|day| &day.summary));
    let known: Vec<(Figure, Vec<Point>)> = Figure::ALL
        .into_iter()
        .chain(warmth)
        .map(|figure| (figure, points(&days, figure)))
        .filter(|(_, points)| !points.is_empty())
        .collect();
    let wearing = known.iter().filter(|(figure, _)| figure.wears()).count();
    let courses =
        known.into_iter().map(|(figure, points)| course(figure, points, &days, &work, wearing, settings)).collect();
    let leg = settings.map_or_else(String::new, |settings| settings.machine.leg.to_string());
    Wear { leg, days, work, courses, notes: Vec::new() }
}

/// The figure on each day; several parts of a day lie beside each other within it.
fn points(days: &[Day], figure: Figure) -> Vec<Point> {
    let mut points = Vec::new();
    for same in days.chunk_by(|one, next| one.date == next.date) {
        let values: Vec<f64> = same.iter().filter_map(|day| figure.of(&day.summary)).collect();
        let parts = values.len() as f64;
        for (part, value) in values.into_iter().enumerate() {
            points.push((f64::from(same[0].date.number()) + part as f64 / parts, value));
        }
    }
    points
}

fn course(
    figure: Figure,
    points: Vec<Point>,
    days: &[Day],
    work: &[Work],
    wearing: usize,
    settings: Option<&Checked>,
) -> Course {
    // What somebody did parts the days; what else did is looked for within the parts.
    let settings_changed =
        days.iter().filter(|day| day.summary.settings_changed).map(|day| (day.date, Restart::Settings));
    let mut parted: Vec<(usize, Restart)> = work
        .iter()
        .map(|work| (work.date, Restart::Work(work.what)))
        .chain(settings_changed)
        // The day of the work itself is of both.
        .map(|(date, why)| (points.partition_point(|point| point.0 < f64::from(date.number() + 1)), why))
        .collect();
    parted.sort_by_key(|(index, _)| *index);
    let mut since = (0, Restart::Beginning);
    let mut found = Vec::new();
    for (to, why) in parted.into_iter().chain([(points.len(), Restart::Beginning)]) {
        let even: Vec<Point> =
            points[since.0..to.max(since.0)].iter().map(|(at, value)| (*at, figure.even(*value))).collect();
        for Change { index, .. } in changes(&even, figure.grain()) {
            found.push(at_point(&points, since.0 + index));
        }
        if to < points.len() || why != Restart::Beginning {
            since = (to, why);
        }
    }
    if let Some(newest) = found.last()
        && newest.index > since.0
    {
        since = (newest.index, Restart::Change);
    }
    let trend = figure.wears().then(|| trend(&points, since.0, wearing)).flatten();
    let now = trend.as_ref().zip(points.last()).map(|(trend, last)| trend.at(last.0));
    // Of a ratio that hardly shifts the slope says which way it goes.
    let towards = trend.as_ref().map_or(0.0, |trend| now.unwrap_or(0.0) + 1e4 * trend.line.slope);
    let limit = settings.and_then(|settings| figure.limit(settings, towards, days.iter().map(|day| &day.summary)));
    let reach = trend
        .as_ref()
        .filter(|trend| trend.shows)
        .zip(limit)
        .and_then(|(trend, limit)| trend.reaches(&points, limit.value));
    Course { figure, points, changes: found, since, trend, limit, reach }
}

/// The change at this point, by the medians of the days around it, in the figure's own unit.
fn at_point(points: &[Point], index: usize) -> Change {
    const AROUND: usize = 14;
    let middle = |side: &[Point]| {
        let mut values: Vec<f64> = side.iter().map(|point| point.1).collect();
        values.sort_unstable_by(f64::total_cmp);
        super::sen::middle(&values).unwrap_or(0.0)
    };
    let after = &points[index..points.len().min(index + AROUND)];
    Change { index, by: middle(after) - middle(&points[index.saturating_sub(AROUND)..index]) }
}

/// The word of a piece of work, as marks have it.
#[must_use]
pub const fn work_word(work: Done) -> &'static str {
    match work {
        Done::Lagging => "lagging",
        Done::Belt => "belt",
        Done::Splice => "splice",
        Done::TakeUp => "take-up",
        Done::Sensor => "sensor",
        Done::Other => "other",
    }
}

/// What a mark such as `new lagging` stands for: the word for it, with `new ` before it or not.
#[must_use]
pub fn work_of(text: &str) -> Option<Done> {
    let word = text.trim().to_lowercase();
    let word = word.strip_prefix("new ").unwrap_or(&word).trim();
    Done::ALL.into_iter().find(|work| work_word(*work) == word)
}
