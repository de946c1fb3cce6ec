//! The choice: the best trade-offs, one of them recommended with its reasons, what its neighbours would cost, and what the data do
//! not decide.

use super::knob::Knob;
use super::results::Rows;
use super::score::Summary;
use super::search::{Levels, pareto};
use super::session::{Beside, tuned};
use super::study::Study;
use crate::crew::Crew;
use crate::report::Clock;

/// How far along a ladder neighbours are looked at to find where the data begin to decide.
const REACH: u16 = 12;

/// So much slower than the quickest, in seconds, is as good.
const QUICK_ENOUGH_S: f64 = 0.2;

/// One limit of the choice.
#[derive(Clone, Debug)]
pub struct Advice {
    /// What the next lower value would give; `None` at the end of the ladder; `Err` where a rule forbids it.
    pub lower: Option<Result<Summary, String>>,
    /// What the next higher value would give.
    pub higher: Option<Result<Summary, String>>,
    /// From which level to which nothing that is weighed changes.
    pub same: (u16, u16),
    /// Whether the stretch of no difference runs to an end of the ladder or of what was looked at.
    pub open: (bool, bool),
}

/// What is recommended.
#[derive(Clone, Debug)]
pub struct Choice {
    /// Its number; 0 if nothing is better than the limits as they stand.
    pub number: u32,
    /// Its levels; empty for the limits as they stand where these lie on no ladder.
    pub levels: Levels,
    /// The numbers of the best trade-offs, in order of what they fail.
    pub front: Vec<u32>,
    /// Why this one, a sentence each.
    pub reasons: Vec<String>,
    /// About each limit, in the order of the study.
    pub advice: Vec<Advice>,
}

/// Choose.
pub fn choose(study: &Study, rows: &Rows, beside: &mut Beside<'_, impl Crew>) -> Option<Choice> {
    let scored: Vec<(u32, &Levels, Summary)> =
        rows.iter().map(|(number, row)| (*number, &row.levels, tuned(row))).collect();
    // Two settings that score alike are one trade-off; the one nearest to what stands now speaks for both.
    let steps = |levels: &Levels| -> f64 {
        study.knobs.iter().zip(levels).map(|(knob, level)| knob.steps_from(&study.base, *level).abs()).sum()
    };
    let objectives: Vec<[f64; 4]> = scored.iter().map(|(_, _, summary)| summary.objectives()).collect();
    let mut front: Vec<usize> = pareto(&objectives);
    front.sort_by(|one, other| {
        let order = objectives[*one].iter().zip(&objectives[*other]).map(|(one, other)| one.total_cmp(other));
        order
            .into_iter()
            .find(|order| order.is_ne())
            .unwrap_or_else(|| steps(scored[*one].1).total_cmp(&steps(scored[*other].1)))
            .then(scored[*one].0.cmp(&scored[*other].0))
    });
    front.dedup_by(|one, other| objectives[*one] == objectives[*other]);
    let mut left = front.clone();
    let mut reasons = Vec::new();
    let first = *left.first()?;
    let fewest = objectives[first][0];
    left.retain(|number| objectives[*number][0] <= fewest);
    let words = scored[first].2.failing_words();
    reasons.push(format!("A missed stop weighs most. No setting tried does better than this: {words}."));
    let nuisance = left.iter().map(|number| objectives[*number][1]).min_by(f64::total_cmp)?;
    let before = left.len();
    left.retain(|number| objectives[*number][1] <= nuisance);
    let of = scored[left[0]].2.nuisance_words();
    reasons.push(format!("Of those ({}), a stop that nothing called for comes next: {of}.", trade_offs(before)));
    let quickest = left.iter().map(|number| objectives[*number][2]).min_by(f64::total_cmp)?;
    // Before it was due is quick enough: from there on fewer alarms and less change weigh more.
    let allowed = quickest.max(0.0) + QUICK_ENOUGH_S;
    // Not only the trade-offs: what is beaten by no more than that in time alone is as good, and may lie nearer to what stands now.
    left = (0..objectives.len())
        .filter(|number| {
            let own = &objectives[*number];
            own[0] <= fewest && own[1] <= nuisance && own[2] <= allowed
        })
        .collect();
    if quickest.is_finite() && scored[first].2.needed > 0 {
        reasons.push(format!(
            "Of those, only settings whose 95 % time to stop, from when it was due, is at most {QUICK_ENOUGH_S} s above that of the quickest ({}), or above nought, are kept.",
            Clock::length_of_seconds(quickest)
        ));
    }
    let chosen = left.iter().copied().min_by(|one, other| {
        objectives[*one][3]
            .total_cmp(&objectives[*other][3])
            .then(steps(scored[*one].1).total_cmp(&steps(scored[*other].1)))
            .then(objectives[*one][2].total_cmp(&objectives[*other][2]))
            .then(scored[*one].0.cmp(&scored[*other].0))
    })?;
    reasons.push(format!(
        "Among them it has the fewest nuisance alarms, needless feed drops and missed alarms together ({:.0}), and of several it lies nearest to what stands now; alarms: {}.",
        objectives[chosen][3],
        scored[chosen].2.alarm_words()
    ));
    let (number, levels, _) = &scored[chosen];
    let mut levels = (*levels).clone();
    if levels.is_empty() {
        reasons.push("It is the limits as they stand: nothing tried is better on what is weighed.".to_owned());
        // Where they lie on the ladders their neighbours can be looked at like those of any other.
        let rung = |knob: &Knob| (0..knob.levels()).find(|level| knob.steps_from(&study.base, *level) == 0.0);
        levels = study.knobs.iter().map(rung).collect::<Option<_>>().unwrap_or_default();
    }
    let rungs = if levels.is_empty() { 0 } else { study.knobs.len() };
    let advice = (0..rungs).map(|knob| about(study, &levels, knob, &objectives[chosen], beside)).collect();
    Some(Choice {
        number: *number,
        levels,
        front: front.iter().map(|index| scored[*index].0).collect(),
        reasons,
        advice,
    })
}

fn trade_offs(count: usize) -> String {
    if count == 1 { "one trade-off".to_owned() } else { format!("{count} trade-offs") }
}

/// Why a neighbour is not allowed, without the name of the limit it stands beside.
#[must_use]
pub fn refusal<'a>(knob: &Knob, reason: &'a str) -> &'a str {
    let (section, key) = knob.place();
    reason
        .strip_prefix(section.as_str())
        .and_then(|rest| rest.strip_prefix('.')?.strip_prefix(key)?.strip_prefix(": "))
        .unwrap_or(reason)
}

fn about(study: &Study, levels: &Levels, knob: usize, own: &[f64; 4], beside: &mut Beside<'_, impl Crew>) -> Advice {
    let last = study.knobs[knob].levels() - 1;
    let at = levels[knob];
    let with = |level: u16| {
        let mut levels = levels.clone();
        levels[knob] = level;
        levels
    };
    let (lowest, highest) = (at.saturating_sub(REACH), (at + REACH).min(last));
    beside.judge(&(lowest..=highest).map(with).collect::<Vec<_>>());
    let mut look = |level: u16| beside.of(&with(level)).map(tuned);
    let mut same = (at, at);
    while same.0 > lowest && look(same.0 - 1).is_ok_and(|summary| summary.objectives() == *own) {
        same.0 -= 1;
    }
    while same.1 < highest && look(same.1 + 1).is_ok_and(|summary| summary.objectives() == *own) {
        same.1 += 1;
    }
    Advice {
        lower: (at > 0).then(|| look(at - 1)),
        higher: (at < last).then(|| look(at + 1)),
        same,
        open: (same.0 == lowest, same.1 == highest),
    }
}

/// What moving to a neighbour would change, in words.
#[must_use]
pub fn cost(own: &Summary, other: &Summary) -> String {
    let mut parts = Vec::new();
    let mut count = |name: &str, own: u64, other: u64| {
        if own != other {
            let change = other as i64 - own as i64;
            parts.push(format!("{change:+} {name}"));
        }
    };
    count("missed", own.missed, other.missed);
    count("late", own.late, other.late);
    count("nuisance stops", own.nuisance_stops, other.nuisance_stops);
    count("nuisance alarms", own.nuisance_alarms, other.nuisance_alarms);
    count("needless feed drops", own.nuisance_feeds, other.nuisance_feeds);
    count("missed alarms", own.alarms_missed, other.alarms_missed);
    // Where more or fewer are missed the times are not of the same stops.
    if own.missed == other.missed
        && let (Some(own), Some(other)) = (own.after_due_s(0.95), other.after_due_s(0.95))
        && own.is_finite()
        && other.is_finite()
        && (own - other).abs() >= 0.005
    {
        parts.push(format!("{} (95 % time from due)", Clock::difference(other - own)));
    }
    if parts.is_empty() { "no difference".to_owned() } else { parts.join(", ") }
}

/// Where the data do not decide a limit, in words; `None` if they do.
#[must_use]
pub fn undecided(study: &Study, choice: &Choice, knob: usize) -> Option<String> {
    let advice = choice.advice.get(knob)?;
    let (low, high) = advice.same;
    if low == high {
        return None;
    }
    let named = &study.knobs[knob];
    let end = match advice.open {
        (true, true) => ", nor beyond: this study says nothing about it",
        (true, false) => ", nor below",
        (false, true) => ", nor above",
        (false, false) => "",
    };
    Some(format!(
        "{}: no difference from {} to {} {}{end}. The value is a judgement, not a finding.",
        named.words(),
        named.text(low),
        named.text(high),
        named.unit()
    ))
}
