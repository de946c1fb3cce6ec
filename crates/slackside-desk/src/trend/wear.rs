//! All figures of a leg together.

use slackside::daily::{Kind, Load, LoadBy, Work as Done};
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
    /// Whether its trend may be of heavier or lighter grain and is not told as wear.
    pub may_be_grain: bool,
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
    let mut courses: Vec<Course> =
        known.into_iter().map(|(figure, points)| course(figure, points, &days, &work, wearing, settings)).collect();
    if days.iter().any(|day| day.summary.load_by == LoadBy::HeadSpeed) {
        tell_grain_apart(&mut courses);
    }
    let leg = settings.map_or_else(String::new, |settings| settings.machine.leg.to_string());
    Wear { leg, days, work, courses, notes: Vec::new() }
}

/// The head's speed tells loads coarsely: with heavier grain slip rises within a class, and more so while a motor gets colder. With empty
/// buckets it does not, whatever the grain. So what goes with the load is told as wear only where slip unloaded goes the same way. The ratio,
/// which is of all loads, is held to that where slip unloaded is known well enough.
fn tell_grain_apart(courses: &mut [Course]) {
    let way = |course: &Course| {
        let trend = course.trend.as_ref().filter(|trend| trend.shows)?;
        // A pulley that got smaller slips more and has a smaller ratio.
        Some((trend.line.slope > 0.0) != (course.figure == Figure::Ratio))
    };
    let unloaded = courses.iter().find(|course| course.figure == Figure::Slip(Load::Unloaded));
    let is_known = unloaded.is_some_and(|course| course.trend.is_some());
    let unloaded = unloaded.and_then(way);
    for course in courses {
        let hangs_on_load = match course.figure {
            Figure::Slip(Load::Part | Load::Full) => true,
            Figure::Ratio => is_known,
            _ => false,
        };
        let goes = way(course);
        course.may_be_grain = hangs_on_load && goes.is_some() && goes != unloaded;
        if course.may_be_grain {
            course.reach = None;
        }
    }
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
    Course { figure, points, changes: found, since, trend, limit, reach, may_be_grain: false }
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
