//! What a setting makes of a trace, and of all traces together.
//!
//! The recorded leg ran on, whatever the setting would have done. So scoring ends at the first run permit dropped: from there the
//! leg would have behaved otherwise. From the first feed permit dropped the leg would have been emptying: nuisance is no longer
//! counted and hours no longer add up; a stop that must come is still timed, on the recorded motion, and counted as such. Where
//! nothing must come, scoring ends there.

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::settings::Checked;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Phase, Verdict};

use super::columns::Cursor;
use super::corpus::Case;
use super::run::judge;
use super::stats::{Bounds, CONFIDENCE, clopper_pearson, floods, none_seen_rate, quantile, rate};
use super::walk;

/// What became of the stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Stop {
    /// None came and none had to.
    None = 0,
    /// One came that had to, in time.
    InTime = 1,
    /// It came, too late.
    Late = 2,
    /// It had to come and did not.
    Missed = 3,
    /// One came that nothing called for.
    Nuisance = 4,
    /// One came that was excused.
    Excused = 5,
}

impl Stop {
    /// From its number.
    #[must_use]
    pub const fn from_number(number: u8) -> Self {
        match number {
            1 => Self::InTime,
            2 => Self::Late,
            3 => Self::Missed,
            4 => Self::Nuisance,
            5 => Self::Excused,
            _ => Self::None,
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::InTime => "in time",
            Self::Late => "late",
            Self::Missed => "missed",
            Self::Nuisance => "nuisance",
            Self::Excused => "excused",
        }
    }
}

/// One setting on one trace. Whole numbers throughout, so that a file gives back what was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// The setting's number.
    pub setting: u32,
    /// The trace's number in the study.
    pub case: u32,
    /// Whether a stop had to come.
    pub needs_stop: bool,
    /// Whether the trace is held out.
    pub held_out: bool,
    /// What became of the stop.
    pub stop: Stop,
    /// When the run permit dropped, in microseconds; -1 if it did not.
    pub stop_us: i64,
    /// From when something was wrong until then; -1 if it does not apply.
    pub took_us: i64,
    /// When a stop was due, on a trace that calls for one; -1 if none is.
    pub due_us: i64,
    /// When the feed permit was first dropped by a condition; -1 if it was not.
    pub feed_us: i64,
    /// The condition that stopped it, by rank; -1 if none.
    pub first_out: i16,
    /// Running time that counts for nuisance.
    pub running_us: i64,
    /// Alarms that nothing called for.
    pub nuisance_alarms: u32,
    /// Feed drops that nothing called for: 0 or 1, since counting ends with it.
    pub nuisance_feed: u32,
    /// Alarm floods among the nuisance.
    pub floods: u32,
    /// Alarms that should have come, and those of them that did not.
    pub alarms_due: u32,
    /// Alarms that should have come and did not.
    pub alarms_missed: u32,
    /// Slip heat put into the pulley by then, net of cooling, in joules; -1 if it does not apply.
    pub heat_j: i64,
    /// How far the rim slid past the belt from when something was wrong, in millimetres; -1 if it does not apply.
    pub slid_mm: i64,
    /// Belt speed at the stop less 80 % of normal, in ppm of normal; `i32::MIN` if it does not apply.
    pub margin_ppm: i32,
}

struct Watcher<'a> {
    case: &'a Case,
    outcome: Outcome,
    given: bool,
    running_since: Option<u64>,
    counting: bool,
    alarms: Vec<u64>,
    met: Vec<bool>,
    first_out: Option<Condition>,
}

impl Watcher<'_> {
    fn close(&mut self, at: u64) {
        if let Some(since) = self.running_since.take()
            && self.counting
        {
            self.outcome.running_us += at.saturating_sub(since) as i64;
        }
    }

    fn take(&mut self, verdict: Verdict) -> bool {
        let at = verdict.at.get();
        let label = &self.case.label;
        match verdict.change {
            Change::Phase(phase) => {
                let runs = matches!(phase, Phase::Starting | Phase::Running);
                if runs {
                    self.running_since.get_or_insert(at);
                } else {
                    self.close(at);
                }
            }
            Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => {
                if self.counting && !label.excuses(at) {
                    self.outcome.nuisance_alarms += 1;
                    self.alarms.push(at);
                }
                for (due, met) in label.alarms.iter().zip(&mut self.met) {
                    let right = due.condition.is_none_or(|named| named == condition);
                    *met |= right && (due.within.from_us..=due.within.to_us).contains(&at);
                }
            }
            Change::FirstOut(first) => self.first_out = first.or(self.first_out),
            Change::Permit { permit: Permit::Feed, allowed: false, because: Some(_) } if self.outcome.feed_us < 0 => {
                self.outcome.feed_us = at as i64;
                if !label.excuses(at) {
                    self.outcome.nuisance_feed = 1;
                }
                // With the feed gone the recorded leg is no longer this leg.
                if self.counting {
                    let running = self.running_since;
                    self.close(at);
                    self.running_since = running;
                    self.counting = false;
                }
                // What is still asked of the record is whether a stop or an alarm comes that must.
                return label.stop.is_some() || !label.alarms.is_empty();
            }
            Change::Permit { permit: Permit::Run, allowed, .. } => {
                if self.given && !allowed {
                    self.outcome.stop_us = at as i64;
                    return false;
                }
                self.given = allowed;
            }
            _ => {}
        }
        true
    }
}

/// Judge one trace under one setting.
#[must_use]
pub fn score(setting: u32, number: u32, case: &Case, settings: &Checked) -> Outcome {
    let outcome = Outcome {
        setting,
        case: number,
        needs_stop: case.label.stop.is_some(),
        held_out: case.held_out,
        stop: Stop::None,
        stop_us: -1,
        took_us: -1,
        due_us: case.label.due_us.map_or(-1, |due| due as i64),
        feed_us: -1,
        first_out: -1,
        running_us: 0,
        nuisance_alarms: 0,
        nuisance_feed: 0,
        floods: 0,
        alarms_due: case.label.alarms.len() as u32,
        alarms_missed: 0,
        heat_j: -1,
        slid_mm: -1,
        margin_ppm: i32::MIN,
    };
    let mut watcher = Watcher {
        case,
        outcome,
        given: false,
        running_since: None,
        counting: true,
        alarms: Vec::new(),
        met: vec![false; case.label.alarms.len()],
        first_out: None,
    };
    let heat = case.heat.of(settings);
    judge(&case.store, settings, heat, |verdict| watcher.take(verdict));
    let end = case.store.end().get();
    watcher.close(u64::try_from(watcher.outcome.stop_us).unwrap_or(end));
    let stopped = u64::try_from(watcher.outcome.stop_us).ok();
    let (met, alarms, first_out) = (watcher.met, watcher.alarms, watcher.first_out);
    let mut outcome = watcher.outcome;
    // What should have come after the stop is not known, and so not missed.
    outcome.alarms_due = 0;
    for (due, met) in case.label.alarms.iter().zip(met) {
        if met || stopped.is_none_or(|stop| due.within.to_us <= stop) {
            outcome.alarms_due += 1;
            outcome.alarms_missed += u32::from(!met);
        }
    }
    outcome.floods = floods(&alarms) as u32;
    if let (Some(_), Some(condition)) = (stopped, first_out) {
        outcome.first_out = condition.rank() as i16;
    }
    // The feed dropped by the very step that stopped the leg is part of that stop.
    let feed_us = outcome.feed_us;
    let fed = |at: u64| feed_us < 0 || feed_us >= at as i64;
    outcome.stop = match (case.label.stop, stopped) {
        // A stop that nothing called for, but only after the feed had dropped: the leg would have been emptying by then.
        (Some(due), Some(at)) if at < due.from_us && fed(at) => Stop::Nuisance,
        (Some(due), Some(at)) if at < due.from_us => Stop::Excused,
        (Some(due), Some(at)) => {
            outcome.took_us = (at - due.from_us) as i64;
            if at <= due.to_us { Stop::InTime } else { Stop::Late }
        }
        (Some(_), None) => Stop::Missed,
        (None, Some(at)) if case.label.excuses(at) => Stop::Excused,
        (None, Some(at)) if fed(at) => Stop::Nuisance,
        (None, Some(_)) => Stop::Excused,
        (None, None) => Stop::None,
    };
    if matches!(outcome.stop, Stop::InTime | Stop::Late)
        && let (Some(due), Some(at)) = (case.label.stop, stopped)
    {
        let (from, at) = (Micros::new(due.from_us), Micros::new(at));
        let slid = case.store.slipped_at(at) - case.store.slipped_at(from);
        outcome.slid_mm = (slid * 1e3).round() as i64;
        if let Some(heat) = case.heat.like(settings) {
            outcome.heat_j = (heat.heat_at(&case.store, at) / 1_000) as i64;
        }
        let row = case.store.row_at(Micros::new(at.get() + 1));
        if row > 0 {
            let mut cursor = Cursor::new(&case.store);
            cursor.go_past(row - 1);
            let boot = walk::Shaft::at(at, &cursor.signals().boot);
            if let Some(speed) = boot.map(|boot| boot.speed_at_most(at)) {
                let share = i64::from(speed.get()) * 1_000_000 / i64::from(settings.machine.normal_boot.get().max(1));
                outcome.margin_ppm = i32::try_from(share - 800_000).unwrap_or(i32::MAX);
            }
        }
    }
    outcome
}

/// All traces of one setting.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// Traces in which a stop had to come and whose record reaches so far.
    pub needed: u64,
    /// Those in which none came.
    pub missed: u64,
    /// Those in which it came too late.
    pub late: u64,
    /// Times from when something was wrong to the stop, in seconds, sorted.
    pub times_s: Vec<f64>,
    /// Times from when the stop was due to the stop, in seconds, sorted; negative where it came before.
    pub after_due_s: Vec<f64>,
    /// Stops timed after the feed permit had dropped.
    pub after_feed: u64,
    /// Nuisance stops.
    pub nuisance_stops: u64,
    /// Nuisance feed drops.
    pub nuisance_feeds: u64,
    /// Nuisance alarms.
    pub nuisance_alarms: u64,
    /// Alarm floods.
    pub floods: u64,
    /// Alarms that should have come.
    pub alarms_due: u64,
    /// Those of them that did not.
    pub alarms_missed: u64,
    /// Running hours that count for nuisance.
    pub hours: f64,
    /// The most heat at a stop, in kJ.
    pub most_heat_kj: Option<f64>,
    /// The most slid before a stop, in m.
    pub most_slid_m: Option<f64>,
    /// The least margin to 80 % of belt speed at a stop, in per cent of normal speed.
    pub least_margin_pct: Option<f64>,
}

impl Summary {
    /// Sum up.
    pub fn of<'a>(outcomes: impl IntoIterator<Item = &'a Outcome>) -> Self {
        let mut sum = Self {
            needed: 0,
            missed: 0,
            late: 0,
            times_s: Vec::new(),
            after_due_s: Vec::new(),
            after_feed: 0,
            nuisance_stops: 0,
            nuisance_feeds: 0,
            nuisance_alarms: 0,
            floods: 0,
            alarms_due: 0,
            alarms_missed: 0,
            hours: 0.0,
            most_heat_kj: None,
            most_slid_m: None,
            least_margin_pct: None,
        };
        let mut running_us = 0_i64;
        for outcome in outcomes {
            let stopped = matches!(outcome.stop, Stop::InTime | Stop::Late);
            sum.needed += u64::from(stopped || outcome.stop == Stop::Missed);
            sum.missed += u64::from(outcome.stop == Stop::Missed);
            sum.late += u64::from(outcome.stop == Stop::Late);
            sum.nuisance_stops += u64::from(outcome.stop == Stop::Nuisance);
            if stopped {
                sum.times_s.push(outcome.took_us as f64 / 1e6);
                if outcome.due_us >= 0 {
                    sum.after_due_s.push((outcome.stop_us - outcome.due_us) as f64 / 1e6);
                }
                sum.after_feed += u64::from(outcome.feed_us >= 0 && outcome.feed_us < outcome.stop_us);
            }
            sum.nuisance_feeds += u64::from(outcome.nuisance_feed);
            sum.nuisance_alarms += u64::from(outcome.nuisance_alarms);
            sum.floods += u64::from(outcome.floods);
            sum.alarms_due += u64::from(outcome.alarms_due);
            sum.alarms_missed += u64::from(outcome.alarms_missed);
            running_us += outcome.running_us;
            let most = |slot: &mut Option<f64>, value: i64, scale: f64| {
                if value >= 0 {
                    *slot = Some(slot.unwrap_or(0.0).max(value as f64 / scale));
                }
            };
            most(&mut sum.most_heat_kj, outcome.heat_j, 1e3);
            most(&mut sum.most_slid_m, outcome.slid_mm, 1e3);
            if outcome.margin_ppm > i32::MIN {
                let margin = f64::from(outcome.margin_ppm) / 1e4;
                sum.least_margin_pct = Some(sum.least_margin_pct.map_or(margin, |least| least.min(margin)));
            }
        }
        sum.times_s.sort_by(f64::total_cmp);
        sum.after_due_s.sort_by(f64::total_cmp);
        sum.hours = running_us as f64 / 3.6e9;
        sum
    }

    /// Bounds on the share of needed stops that are missed or late.
    #[must_use]
    pub fn failing(&self) -> Bounds {
        clopper_pearson(self.missed + self.late, self.needed, CONFIDENCE)
    }

    /// A quantile of the times from when something was wrong to the stop, of the stops that came.
    #[must_use]
    pub fn time_s(&self, share: f64) -> Option<f64> {
        quantile(&self.times_s, share)
    }

    /// The same of the times from when the stop was due.
    #[must_use]
    pub fn after_due_s(&self, share: f64) -> Option<f64> {
        quantile(&self.after_due_s, share)
    }

    /// Nuisance stops in 1,000 running hours.
    #[must_use]
    pub fn nuisance_rate(&self) -> f64 {
        if self.hours > 0.0 { self.nuisance_stops as f64 * 1e3 / self.hours } else { 0.0 }
    }

    /// The bounds of that.
    #[must_use]
    pub fn nuisance_bounds(&self) -> Bounds {
        rate(self.nuisance_stops, self.hours, 1e3, CONFIDENCE)
    }

    /// Nuisance alarms in 1,000 running hours.
    #[must_use]
    pub fn alarm_rate(&self) -> f64 {
        if self.hours > 0.0 { self.nuisance_alarms as f64 * 1e3 / self.hours } else { 0.0 }
    }

    /// The bounds of that.
    #[must_use]
    pub fn alarm_bounds(&self) -> Bounds {
        rate(self.nuisance_alarms, self.hours, 1e3, CONFIDENCE)
    }

    /// What all of it is weighed by, each the less the better: failed stops, nuisance stops, time to stop from when it was due (95 %), nuisance alarms
    /// and feed drops with alarms that did not come.
    #[must_use]
    pub fn objectives(&self) -> [f64; 4] {
        [
            (self.missed + self.late) as f64,
            self.nuisance_stops as f64,
            // Where none came that had to, nothing is known to be quick.
            self.after_due_s(0.95).unwrap_or(if self.needed > 0 { f64::INFINITY } else { 0.0 }),
            (self.nuisance_alarms + self.nuisance_feeds + self.alarms_missed) as f64,
        ]
    }

    /// Failed stops in words, with what that says and does not say.
    #[must_use]
    pub fn failing_words(&self) -> String {
        let failed = self.missed + self.late;
        if self.needed == 0 {
            return "no trace called for a stop: nothing is known of missed stops".to_owned();
        }
        if failed == 0 {
            let most = super::stats::none_seen(self.needed, CONFIDENCE) * 100.0;
            return format!("none of {} missed or late (95 % sure: fewer than {most:.1} %)", self.needed);
        }
        let bounds = self.failing();
        format!(
            "{failed} of {} missed or late ({} missed, {} late; 95 % sure: {:.1} to {:.1} %)",
            self.needed,
            self.missed,
            self.late,
            bounds.low * 100.0,
            bounds.high * 100.0
        )
    }

    /// Nuisance stops in words.
    #[must_use]
    pub fn nuisance_words(&self) -> String {
        counted(self.nuisance_stops, self.hours)
    }

    /// Nuisance alarms in words.
    #[must_use]
    pub fn alarm_words(&self) -> String {
        counted(self.nuisance_alarms, self.hours)
    }
}

/// A length of time in two figures or three.
fn roughly(hours: f64) -> String {
    match hours {
        hours if hours < 1.0 / 60.0 => format!("{:.0} s", hours * 3_600.0),
        hours if hours < 1.0 => format!("{:.0} min", hours * 60.0),
        hours if hours < FEW_HOURS => format!("{hours:.1} h"),
        hours => format!("{hours:.0} h"),
    }
}

/// Below so many hours a rate in a thousand hours says nothing.
const FEW_HOURS: f64 = 100.0;

fn counted(events: u64, hours: f64) -> String {
    if hours <= 0.0 {
        return "no running hours: not known".to_owned();
    }
    if hours < FEW_HOURS {
        let (long, one_in) = (roughly(hours), |rate: f64| roughly(1.0 / rate));
        if events == 0 {
            return format!(
                "none in {long} (95 % sure: fewer than one in {})",
                one_in(none_seen_rate(hours, CONFIDENCE))
            );
        }
        let bounds = rate(events, hours, 1.0, CONFIDENCE);
        return format!(
            "{events} in {long} (95 % sure: one in {} to one in {})",
            one_in(bounds.high),
            one_in(bounds.low)
        );
    }
    let long = format!("{hours:.0} h");
    if events == 0 {
        return format!(
            "none in {long} (95 % sure: fewer than {:.1} in 1,000 h)",
            none_seen_rate(hours, CONFIDENCE) * 1e3
        );
    }
    let bounds = rate(events, hours, 1e3, CONFIDENCE);
    format!(
        "{events} in {long}: {:.1} in 1,000 h (95 % sure: {:.1} to {:.1})",
        events as f64 * 1e3 / hours,
        bounds.low,
        bounds.high
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// None in a time `t` leaves open, 95 % sure, one in `t / 3`; two in it, one in `t / 7.22` to one in `t / 0.242`: Garwood 1936.
    #[test]
    fn a_short_time_is_not_put_into_a_rate_of_a_thousand_hours() {
        assert_eq!(counted(0, 0.025), "none in 2 min (95 % sure: fewer than one in 30 s)");
        assert_eq!(counted(2, 10.0), "2 in 10.0 h (95 % sure: one in 1.4 h to one in 41.3 h)");
        assert_eq!(counted(0, 3_000.0), "none in 3000 h (95 % sure: fewer than 1.0 in 1,000 h)");
        assert_eq!(counted(0, 0.0), "no running hours: not known");
    }
}
