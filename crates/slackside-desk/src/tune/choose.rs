//! The choice: the best trade-offs, one of them recommended with its reasons, and of that only what the data decide. Whatever can
//! stay as it stands stays, and what moves moves no further than something that is weighed asks for.

use super::knob::Knob;
use super::results::{Row, Rows};
use super::search::{Levels, pareto};
use super::session::{Beside, held_out, tuned};
use super::study::Study;
use super::summary::{Objectives, Summary, mean};
use crate::crew::Crew;
use crate::lines::counted;
use crate::report::Clock;

/// How far along a ladder neighbours are looked at to find where the data begin to decide.
const REACH: usize = 12;

/// So much slower than the quickest, in seconds, is as good.
const QUICK_ENOUGH_S: f64 = 0.2;

/// So much further below the 20 % rule than the best, in per cent of belt speed, is as good.
const NEAR_ENOUGH_PCT: f64 = 0.5;

/// Rungs that a limit is led back at most.
const MOST_BACK: usize = 200;

/// One limit of the choice.
#[derive(Clone, Debug)]
pub struct Advice {
    /// What the next lower value would give; `None` at the end of the ladder; `Err` where a rule forbids it.
    pub lower: Option<(u16, Result<Summary, String>)>,
    /// What the next higher value would give.
    pub higher: Option<(u16, Result<Summary, String>)>,
    /// From which level to which nothing that is weighed changes.
    pub same: (u16, u16),
    /// Whether the stretch of no difference runs to an end of the ladder or of what was looked at.
    pub open: (bool, bool),
}

/// What is recommended.
#[derive(Clone, Debug)]
pub struct Choice {
    /// Its levels, one for each limit; [`STANDS`](super::knob::STANDS) where it lies between rungs.
    pub levels: Levels,
    /// Its outcomes.
    pub row: Row,
    /// The setting of the search that it came from; 0: the limits as they stand.
    pub from: u32,
    /// The limits that move, by number.
    pub moved: Vec<usize>,
    /// Those of them that let a stop come later or more seldom.
    pub loosened: Vec<usize>,
    /// The numbers of the best trade-offs, in order of what they fail.
    pub front: Vec<u32>,
    /// What the best on the traces tuned on did wrong on those held out, if it did more than the limits as they stand: then these
    /// are recommended instead.
    pub failed_proof: Option<String>,
    /// Why this one, a sentence each.
    pub reasons: Vec<String>,
    /// About each limit, in the order of the study.
    pub advice: Vec<Advice>,
}

/// What must hold of a setting for it to be as good as the best.
#[derive(Clone, Copy, Debug)]
struct Bar(Objectives);

impl Bar {
    fn holds(&self, own: &Objectives) -> bool {
        own.iter().zip(&self.0).all(|(own, most)| own <= most)
    }
}

/// A setting that was searched.
struct Scored<'a> {
    number: u32,
    levels: Levels,
    row: &'a Row,
    summary: Summary,
    weighed: Objectives,
    steps: f64,
}

/// Choose.
pub fn choose(study: &Study, rows: &Rows, beside: &mut Beside<'_, impl Crew>) -> Option<Choice> {
    let standing = study.standing();
    let scored: Vec<Scored<'_>> = rows
        .iter()
        .map(|(number, row)| {
            let levels = if row.levels.is_empty() { standing.clone() } else { row.levels.clone() };
            let summary = tuned(row);
            let weighed = summary.objectives();
            Scored { number: *number, steps: steps(study, &levels), levels, row, summary, weighed }
        })
        .collect();
    let front = front(&scored);
    let (bar, mut reasons) = bar(&scored, study)?;
    let best = scored
        .iter()
        .filter(|one| bar.holds(&one.weighed) && may_be_chosen(study, one))
        .min_by(|one, other| one.steps.total_cmp(&other.steps).then(one.number.cmp(&other.number)))?;
    let (mut levels, mut row) = put_back(study, best, &bar, beside);
    let present = rows.get(&0)?;
    let failed_proof = worse_on_held_out(present, &row);
    if let Some(worse) = &failed_proof {
        reasons.push(format!(
            "The best on the traces tuned on ({}) does not stand the proof: on held-out families {worse} than with the limits as they \
             stand. A next best would be picked on the proof itself, so the limits stay.",
            changes(study, &levels)
        ));
        (levels, row) = (standing.clone(), present.clone());
    }
    let moved: Vec<usize> = (0..levels.len()).filter(|knob| levels[*knob] != standing[*knob]).collect();
    let settings = &study.base;
    let loosened =
        moved.iter().copied().filter(|knob| study.knobs[*knob].loosens_a_stop(settings, levels[*knob])).collect();
    let back = best.levels.iter().zip(&standing).filter(|(own, standing)| own != standing).count() - moved.len();
    if best.number > 0 && back > 0 && failed_proof.is_none() {
        reasons.push(format!(
            "Of what setting {} changes, {} went back to where it stands, since nothing that is weighed asks for the change.",
            best.number,
            counted(back as u64, "limit", "limits")
        ));
    }
    reasons.push(match moved.len() {
        0 if failed_proof.is_some() => "It is the limits as they stand.".to_owned(),
        0 => "It is the limits as they stand: nothing tried is better by more than these traces can tell apart."
            .to_owned(),
        _ => "What is left to change moves only as far as something weighed gets worse on the way back.".to_owned(),
    });
    let own = tuned(&row).objectives();
    let advice = (0..study.knobs.len()).map(|knob| about(study, &levels, knob, &own, beside)).collect();
    let from = if failed_proof.is_some() { 0 } else { best.number };
    Some(Choice { levels, row, from, moved, loosened, front, failed_proof, reasons, advice })
}

/// What a setting does worse than the present one on held-out traces, in words.
fn worse_on_held_out(present: &Row, own: &Row) -> Option<String> {
    let (present, own) = (held_out(present), held_out(own));
    let more =
        |own: u64, present: u64, one: &str, many: &str| (own > present).then(|| counted(own - present, one, many));
    let (failed, before) = (own.missed + own.late, present.missed + present.late);
    let worse = [
        more(failed, before, "stop more fails", "stops more fail"),
        more(own.false_stops(), present.false_stops(), "stop more comes for nothing", "stops more come for nothing"),
    ];
    let worse: Vec<String> = worse.into_iter().flatten().collect();
    (!worse.is_empty()).then(|| worse.join(" and "))
}

/// The limits that levels change, in words.
fn changes(study: &Study, levels: &Levels) -> String {
    let standing = study.standing();
    let moved = study.knobs.iter().enumerate().filter(|(number, _)| levels[*number] != standing[*number]);
    let words = moved.map(|(number, knob)| {
        format!("{} {} {}", knob.words(), knob.text_at(&study.base, levels[number]), knob.unit())
    });
    words.collect::<Vec<_>>().join(", ")
}

/// How many rungs the limits lie from where they stand, all together.
fn steps(study: &Study, levels: &Levels) -> f64 {
    study.knobs.iter().zip(levels).map(|(knob, level)| knob.steps_from(&study.base, *level).abs()).sum()
}

/// The best trade-offs. Two settings that score alike are one; the one nearest to what stands now speaks for both.
fn front(scored: &[Scored<'_>]) -> Vec<u32> {
    let objectives: Vec<Objectives> = scored.iter().map(|one| one.weighed).collect();
    let mut front: Vec<usize> = pareto(&objectives);
    front.sort_by(|one, other| {
        let order = objectives[*one].iter().zip(&objectives[*other]).map(|(one, other)| one.total_cmp(other));
        order
            .into_iter()
            .find(|order| order.is_ne())
            .unwrap_or_else(|| scored[*one].steps.total_cmp(&scored[*other].steps))
            .then(scored[*one].number.cmp(&scored[*other].number))
    });
    front.dedup_by(|one, other| objectives[*one] == objectives[*other]);
    front.into_iter().map(|index| scored[index].number).collect()
}

/// A stop is not let come later where no trace shows that one still comes.
fn may_be_chosen(study: &Study, one: &Scored<'_>) -> bool {
    let loosens = study.knobs.iter().zip(&one.levels).any(|(knob, level)| knob.loosens_a_stop(&study.base, *level));
    !loosens || one.summary.needed > 0
}

/// What the best of them reach, one thing after the other, and why in words.
fn bar(scored: &[Scored<'_>], study: &Study) -> Option<(Bar, Vec<String>)> {
    let mut left: Vec<&Scored<'_>> = scored.iter().filter(|one| may_be_chosen(study, one)).collect();
    let mut most = [f64::INFINITY; super::summary::OBJECTIVES];
    let mut reasons = Vec::new();
    let slack = [0.0, 0.0, 0.0, NEAR_ENOUGH_PCT, QUICK_ENOUGH_S, 0.0];
    for (part, slack) in slack.into_iter().enumerate() {
        let least = left.iter().map(|one| one.weighed[part]).min_by(f64::total_cmp)?;
        // A stop before it was due is quick enough, however early.
        let enough = if part == 4 { least.max(0.0) } else { least } + slack;
        let before = left.len();
        left.retain(|one| one.weighed[part] <= enough);
        most[part] = enough;
        let of = left.first()?;
        let kept = if left.len() == before {
            format!("all {before} settings are left")
        } else {
            format!("{} of {before} settings are left", left.len())
        };
        let needed = of.summary.needed > 0;
        reasons.extend(match part {
            0 => Some(format!("A missed stop weighs most; no setting tried fails fewer: {} ({kept}).", of.summary.failing_words())),
            1 => Some(format!(
                "Then a stop that nothing called for: {} with nothing wrong; with a fault at work that calls for none, {} ({kept}).",
                of.summary.nuisance_words(),
                of.summary.uncalled_words()
            )),
            2 if scored.iter().any(|one| one.summary.untold() > 0) => {
                Some(format!("Then the fewest stops of which the records do not tell: {} ({kept}).", of.summary.untold()))
            }
            3 if needed => Some(format!(
                "Then the margin to the 20 % of 29 CFR 1910.272(q)(5): at the stops belts had lost {least:.1} % of normal speed \
                 beyond it on the mean, and up to {NEAR_ENOUGH_PCT} % more is as good ({kept})."
            )),
            4 if needed && least.is_finite() => Some(format!(
                "Then time: nineteen stops of twenty come within {} of being due with the quickest, and up to {QUICK_ENOUGH_S} s \
                 more, or any time before it is due, is as good ({kept}).",
                Clock::difference(least)
            )),
            5 => Some(format!(
                "Then the fewest nuisance alarms, needless feed drops and missed alarms together: {least:.0} ({kept}). Of several \
                 the one nearest to what stands now."
            )),
            _ => None,
        });
    }
    Some((Bar(most), reasons))
}

/// Of a setting only what is needed to stay as good as the best: limits go back to where they stand, singly and in pairs (a rule may
/// bind two), and what must move moves as little as it can.
fn put_back(study: &Study, best: &Scored<'_>, bar: &Bar, beside: &mut Beside<'_, impl Crew>) -> (Levels, Row) {
    let standing = study.standing();
    let mut now = (best.levels.clone(), best.row.clone());
    let mut as_good = |levels: &Levels| {
        let row = beside.of(levels).ok()?;
        bar.holds(&tuned(row).objectives()).then(|| row.clone())
    };
    loop {
        let moved: Vec<usize> = (0..standing.len()).filter(|knob| now.0[*knob] != standing[*knob]).collect();
        let pairs = moved.iter().enumerate().flat_map(|(at, one)| moved[at..].iter().map(move |other| [*one, *other]));
        // A limit alone comes before a pair, a loosened stop before all else.
        let mut tries: Vec<[usize; 2]> = pairs.collect();
        let loosens = |knob: usize| study.knobs[knob].loosens_a_stop(&study.base, now.0[knob]);
        tries.sort_by_key(|[one, other]| (one != other, !loosens(*one) && !loosens(*other)));
        let back = tries.into_iter().find_map(|both| {
            let mut levels = now.0.clone();
            for knob in both {
                levels[knob] = standing[knob];
            }
            as_good(&levels).map(|row| (levels, row))
        });
        match back {
            Some(nearer) => now = nearer,
            None => break,
        }
    }
    for knob in 0..standing.len() {
        for _ in 0..MOST_BACK {
            let steps = study.knobs[knob].steps_from(&study.base, now.0[knob]);
            let mut levels = now.0.clone();
            if steps > 1.0 {
                levels[knob] -= 1;
            } else if steps < -1.0 {
                levels[knob] += 1;
            } else {
                break;
            }
            let Some(row) = as_good(&levels) else { break };
            now = (levels, row);
        }
    }
    now
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

fn about(study: &Study, levels: &Levels, knob: usize, own: &Objectives, beside: &mut Beside<'_, impl Crew>) -> Advice {
    let ladder = &study.knobs[knob];
    let with = |level: u16| {
        let mut levels = levels.clone();
        levels[knob] = level;
        levels
    };
    let [mut below, mut above] = [0, 1].map(|side| {
        let next = |level: &u16| ladder.beside(&study.base, *level)[side];
        std::iter::successors(next(&levels[knob]), next).take(REACH).collect::<Vec<u16>>()
    });
    beside.judge(&below.iter().chain(&above).map(|level| with(*level)).collect::<Vec<_>>());
    let mut side = |levels: &mut Vec<u16>| {
        let first = levels.first().map(|level| (*level, beside.of(&with(*level)).map(tuned)));
        let alike = levels
            .iter()
            .take_while(|level| beside.of(&with(**level)).is_ok_and(|row| tuned(row).objectives() == *own));
        let alike = alike.count();
        let end = levels.get(alike.wrapping_sub(1)).copied();
        (first, end, alike == levels.len())
    };
    let (lower, low, low_open) = side(&mut below);
    let (higher, high, high_open) = side(&mut above);
    Advice {
        lower,
        higher,
        same: (low.unwrap_or(levels[knob]), high.unwrap_or(levels[knob])),
        open: (low_open, high_open),
    }
}

/// What moving to another setting would change, in words a person feels: stops, hours between false ones, seconds, metres of belt.
#[must_use]
pub fn cost(own: &Summary, other: &Summary) -> String {
    let mut parts = Vec::new();
    let mut count = |one: &str, many: &str, own: u64, other: u64| {
        if own != other {
            let change = own.abs_diff(other);
            let name = if change == 1 { one } else { many };
            parts.push(format!("{change} {} {name}", if other > own { "more" } else { "fewer" }));
        }
    };
    count("stop missed", "stops missed", own.missed, other.missed);
    count("stop late", "stops late", own.late, other.late);
    count("stop not known", "stops not known", own.untold(), other.untold());
    count(
        "stop with a fault that called for none",
        "stops with a fault that called for none",
        own.uncalled,
        other.uncalled,
    );
    count("nuisance stop", "nuisance stops", own.nuisance_stops, other.nuisance_stops);
    count("needless feed drop", "needless feed drops", own.nuisance_feeds, other.nuisance_feeds);
    count("nuisance alarm", "nuisance alarms", own.nuisance_alarms, other.nuisance_alarms);
    count("alarm that does not come", "alarms that do not come", own.alarms_missed, other.alarms_missed);
    if own.nuisance_stops != other.nuisance_stops {
        let often = |summary: &Summary| match summary.nuisance_stops {
            0 => "none".to_owned(),
            stops => format!("one in {}", super::summary::hours_words(summary.hours / stops as f64)),
        };
        parts.push(format!("in healthy running {} where it was {}", often(other), often(own)));
    }
    // Where more or fewer come the times are not of the same stops.
    if (own.missed, own.not_known) == (other.missed, other.not_known)
        && let (Some(before), Some(after)) = (own.after_due_s(0.95), other.after_due_s(0.95))
    {
        let change = after - before;
        if change.abs() >= 0.005 {
            let slid = mean(&other.slid_m) - mean(&own.slid_m);
            let heat = mean(&other.heat_kj) - mean(&own.heat_kj);
            let mut words =
                format!("slow stops {:.2} s {}", change.abs(), if change > 0.0 { "later" } else { "sooner" });
            if slid.abs() >= 0.005 || heat.abs() >= 0.05 {
                let more = |change: f64| if change > 0.0 { "more" } else { "less" };
                let (slid_words, heat_words) = (more(slid), more(heat));
                words.push_str(&format!(
                    " ({:.2} m {slid_words} slid and {:.1} kJ {heat_words} a stop on the mean)",
                    slid.abs(),
                    heat.abs()
                ));
            }
            parts.push(words);
        }
        let belt = mean(&other.belt_pct) - mean(&own.belt_pct);
        if belt.abs() >= 0.05 {
            let side = if belt > 0.0 { "faster" } else { "slower" };
            parts.push(format!("belts {:.1} % of normal speed {side} when they are stopped", belt.abs()));
        }
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
    let then =
        if choice.moved.contains(&knob) { "It moves to the near end of that" } else { "It stays where it stands" };
    Some(format!(
        "{}: no difference from {} to {} {}{end}. {then}.",
        named.words(),
        named.text_at(&study.base, low),
        named.text_at(&study.base, high),
        named.unit()
    ))
}
