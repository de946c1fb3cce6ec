//! What a setting makes of many traces together, and what so many can and cannot tell.
//!
//! Runs of one family on one leg are the same upset again with other chance, so bounds go by families: a family fails if any of its
//! runs does.

use std::collections::BTreeMap;

use super::score::{Outcome, Stop};
use super::stats::{Bounds, CONFIDENCE, clopper_pearson, none_seen, none_seen_rate, quantile, rate};
use crate::lines::counted;

/// How many things a setting is weighed by.
pub const OBJECTIVES: usize = 6;

/// All that a setting is weighed by, each the less the better.
pub type Objectives = [f64; OBJECTIVES];

/// One family on one leg.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Group {
    /// Traces.
    pub traces: u64,
    /// Traces in which a stop had to come and is known to have come or not.
    pub needed: u64,
    /// Those of them in which it came too late or never.
    pub failed: u64,
    /// Traces in which a stop had to come and the record does not tell.
    pub not_known: u64,
    /// Nuisance stops.
    pub nuisance_stops: u64,
    /// Stops that nothing called for, with a fault of the machine at work.
    pub uncalled: u64,
    /// Nuisance alarms.
    pub alarms: u64,
    /// Healthy hours judged.
    pub hours: f64,
    /// The longest time from when a stop was due to the stop, in s.
    pub slowest_s: Option<f64>,
}

/// All traces of one setting.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// By family and leg.
    pub groups: BTreeMap<u32, Group>,
    /// Traces in which a stop had to come and is known to have come or not.
    pub needed: u64,
    /// Those in which none came.
    pub missed: u64,
    /// Those in which it came too late.
    pub late: u64,
    /// Traces in which a stop had to come and the record does not tell.
    pub not_known: u64,
    /// Stops that nothing called for, after the setting had dropped the feed: whether they would have come is not known.
    pub maybe_false: u64,
    /// Times from when something was wrong to the stop, in seconds, sorted.
    pub times_s: Vec<f64>,
    /// Times from when the stop was due to the stop, in seconds, sorted; negative where it came before.
    pub after_due_s: Vec<f64>,
    /// Stops timed after the feed permit had dropped.
    pub after_feed: u64,
    /// Nuisance stops.
    pub nuisance_stops: u64,
    /// Stops that nothing called for, with a fault of the machine at work.
    pub uncalled: u64,
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
    /// Healthy hours judged.
    pub hours: f64,
    /// Slip heat at each stop, in kJ, sorted.
    pub heat_kj: Vec<f64>,
    /// What was slid before each stop, in m, sorted.
    pub slid_m: Vec<f64>,
    /// Belt speed at each stop of a running leg, in per cent of normal speed, sorted.
    pub belt_pct: Vec<f64>,
    /// The same of stops during a start.
    pub start_belt_pct: Vec<f64>,
    /// Stops whose heat, slid length and belt speed are the plant's truth.
    pub by_truth: u64,
}

impl Summary {
    /// Sum up.
    pub fn of<'a>(outcomes: impl IntoIterator<Item = &'a Outcome>) -> Self {
        let mut sum = Self {
            groups: BTreeMap::new(),
            needed: 0,
            missed: 0,
            late: 0,
            not_known: 0,
            maybe_false: 0,
            times_s: Vec::new(),
            after_due_s: Vec::new(),
            after_feed: 0,
            nuisance_stops: 0,
            uncalled: 0,
            nuisance_feeds: 0,
            nuisance_alarms: 0,
            floods: 0,
            alarms_due: 0,
            alarms_missed: 0,
            hours: 0.0,
            heat_kj: Vec::new(),
            slid_m: Vec::new(),
            belt_pct: Vec::new(),
            start_belt_pct: Vec::new(),
            by_truth: 0,
        };
        let mut running_us = 0_i64;
        for outcome in outcomes {
            sum.add(outcome);
            running_us += outcome.running_us;
        }
        let lists = [&mut sum.times_s, &mut sum.after_due_s, &mut sum.heat_kj, &mut sum.slid_m];
        for list in lists.into_iter().chain([&mut sum.belt_pct, &mut sum.start_belt_pct]) {
            list.sort_by(f64::total_cmp);
        }
        sum.hours = running_us as f64 / 3.6e9;
        sum
    }

    fn add(&mut self, outcome: &Outcome) {
        let stopped = matches!(outcome.stop, Stop::InTime | Stop::Late);
        let is = |stop: Stop| u64::from(outcome.stop == stop);
        let needed = u64::from(stopped) + is(Stop::Missed);
        let had_to_come = if outcome.needs_stop { is(Stop::NotKnown) } else { 0 };
        let group = self.groups.entry(outcome.group).or_default();
        group.traces += 1;
        group.needed += needed;
        group.failed += is(Stop::Missed) + is(Stop::Late);
        group.not_known += had_to_come;
        group.nuisance_stops += is(Stop::Nuisance);
        group.uncalled += is(Stop::Uncalled);
        group.alarms += u64::from(outcome.nuisance_alarms);
        group.hours += outcome.running_us as f64 / 3.6e9;
        self.needed += needed;
        self.missed += is(Stop::Missed);
        self.late += is(Stop::Late);
        self.not_known += had_to_come;
        self.maybe_false += is(Stop::NotKnown) - had_to_come;
        self.nuisance_stops += is(Stop::Nuisance);
        self.uncalled += is(Stop::Uncalled);
        self.nuisance_feeds += u64::from(outcome.nuisance_feed);
        self.nuisance_alarms += u64::from(outcome.nuisance_alarms);
        self.floods += u64::from(outcome.floods);
        self.alarms_due += u64::from(outcome.alarms_due);
        self.alarms_missed += u64::from(outcome.alarms_missed);
        if !stopped {
            return;
        }
        self.times_s.push(outcome.took_us as f64 / 1e6);
        if outcome.due_us >= 0 {
            let after = (outcome.stop_us - outcome.due_us) as f64 / 1e6;
            self.after_due_s.push(after);
            group.slowest_s = Some(group.slowest_s.map_or(after, |slowest| slowest.max(after)));
        }
        self.after_feed += u64::from(outcome.feed_us >= 0 && outcome.feed_us < outcome.stop_us);
        self.by_truth += u64::from(outcome.truth);
        if outcome.heat_j >= 0 {
            self.heat_kj.push(outcome.heat_j as f64 / 1e3);
        }
        if outcome.slid_mm >= 0 {
            self.slid_m.push(outcome.slid_mm as f64 / 1e3);
        }
        if outcome.margin_ppm > i32::MIN {
            let belt = 80.0 + f64::from(outcome.margin_ppm) / 1e4;
            if outcome.starting { &mut self.start_belt_pct } else { &mut self.belt_pct }.push(belt);
        }
    }

    /// Stops that nothing called for, whether or not anything was wrong.
    #[must_use]
    pub const fn false_stops(&self) -> u64 {
        self.nuisance_stops + self.uncalled
    }

    /// Stops of which the records do not tell, whether they had to come or may be false.
    #[must_use]
    pub const fn untold(&self) -> u64 {
        self.not_known + self.maybe_false
    }

    /// Families in which a stop had to come, and those of them that fail in any run.
    #[must_use]
    pub fn failing_families(&self) -> (u64, u64) {
        self.families(|group| group.needed > 0, |group| group.failed > 0)
    }

    /// Families with healthy hours, and those of them with any nuisance stop.
    #[must_use]
    pub fn stopped_families(&self) -> (u64, u64) {
        self.families(|group| group.hours > 0.0, |group| group.nuisance_stops > 0)
    }

    fn families(&self, all: impl Fn(&Group) -> bool, some: impl Fn(&Group) -> bool) -> (u64, u64) {
        let groups = self.groups.values().filter(|group| all(group));
        groups.fold((0, 0), |(count, found), group| (count + 1, found + u64::from(some(group))))
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

    /// How much of normal belt speed below the 80 % of 29 CFR 1910.272(q)(5) the belts had lost when they were stopped, in per cent,
    /// on the mean of all stops of a running leg.
    #[must_use]
    pub fn shortfall_pct(&self) -> f64 {
        mean(&self.belt_pct.iter().map(|belt| (80.0 - belt).max(0.0)).collect::<Vec<f64>>())
    }

    /// Nuisance alarms an hour.
    #[must_use]
    pub fn alarms_an_hour(&self) -> f64 {
        if self.hours > 0.0 { self.nuisance_alarms as f64 / self.hours } else { 0.0 }
    }

    /// What is too loud: nuisance alarms and feed drops, and alarms that did not come.
    #[must_use]
    pub const fn annoyances(&self) -> u64 {
        self.nuisance_alarms + self.nuisance_feeds + self.alarms_missed
    }

    /// All it is weighed by, each the less the better: failed stops; false stops; stops of which nothing is known; how far below the
    /// 20 % rule the belt was at the stops, in tenths of a per cent; time to stop from when it was due (95 %); alarms.
    #[must_use]
    pub fn objectives(&self) -> Objectives {
        [
            (self.missed + self.late) as f64,
            self.false_stops() as f64,
            self.untold() as f64,
            (self.shortfall_pct() * 10.0).round() / 10.0,
            // Where none came that had to, nothing is known to be quick.
            self.after_due_s(0.95).unwrap_or(if self.needed > 0 { f64::INFINITY } else { 0.0 }),
            self.annoyances() as f64,
        ]
    }

    /// Failed stops in words, with what that says and does not say.
    #[must_use]
    pub fn failing_words(&self) -> String {
        let failed = self.missed + self.late;
        let open = match self.not_known {
            0 => String::new(),
            1 => "; of 1 more it is not known, since the feed had been dropped or the recorded leg was stopped before"
                .to_owned(),
            more => format!(
                "; of {more} more it is not known, since the feed had been dropped or the recorded legs were stopped before"
            ),
        };
        if self.needed == 0 {
            return format!("no trace tells of a stop that had to come: nothing is known of missed stops{open}");
        }
        let (families, failing) = self.failing_families();
        let kinds = counted(families, "family", "families");
        if failed == 0 {
            let most = none_seen(families, CONFIDENCE) * 100.0;
            let bound = format!("95 % sure: fewer than {most:.0} % of families like these fail");
            return format!("none of {} missed or late, in {kinds} ({bound}){open}", self.needed);
        }
        let bounds = clopper_pearson(failing, families, CONFIDENCE);
        format!(
            "{failed} of {} missed or late ({} missed, {} late), in {failing} of {kinds} ({}){open}",
            self.needed,
            self.missed,
            self.late,
            share_words(bounds)
        )
    }

    /// Nuisance stops in words.
    #[must_use]
    pub fn nuisance_words(&self) -> String {
        if self.hours <= 0.0 {
            return "no healthy running hours were judged: not known".to_owned();
        }
        let (families, stopped) = self.stopped_families();
        let (long, kinds) = (hours_words(self.hours), counted(families, "family", "families"));
        if self.nuisance_stops == 0 {
            let most = none_seen(families, CONFIDENCE) * 100.0;
            return format!("none in {long} of {kinds} (95 % sure: in fewer than {most:.0} % of families like these)");
        }
        let bounds = clopper_pearson(stopped, families, CONFIDENCE);
        format!("{} in {long}, in {stopped} of {kinds} ({})", self.nuisance_stops, share_words(bounds))
    }

    /// Stops with a fault at work that called for none, in words.
    #[must_use]
    pub fn uncalled_words(&self) -> String {
        let kinds = self.groups.values().filter(|group| group.uncalled > 0).count() as u64;
        if self.uncalled == 0 {
            "none".to_owned()
        } else {
            format!("{} in {}", self.uncalled, counted(kinds, "family", "families"))
        }
    }

    /// Nuisance alarms in words.
    #[must_use]
    pub fn alarm_words(&self) -> String {
        if self.hours <= 0.0 {
            return "no healthy running hours were judged: not known".to_owned();
        }
        let (families, loud) = self.families(|group| group.hours > 0.0, |group| group.alarms > 0);
        let kinds = counted(families, "family", "families");
        if self.nuisance_alarms == 0 {
            return format!("none in {} of {kinds}", hours_words(self.hours));
        }
        format!("{} in {}, in {loud} of {kinds}", self.nuisance_alarms, hours_words(self.hours))
    }
}

impl Group {
    /// Nuisance stops in so many hours, with the exact bounds of that family alone.
    #[must_use]
    pub fn nuisance_words(&self) -> String {
        exposure_words(self.nuisance_stops, self.hours)
    }

    /// Stops that had to come and failed, with exact bounds: how sure the runs of that family alone make one.
    #[must_use]
    pub fn failing_words(&self) -> String {
        let open = if self.not_known > 0 { format!(", {} not known", self.not_known) } else { String::new() };
        if self.needed == 0 {
            return if self.not_known > 0 { open.trim_start_matches(", ").to_owned() } else { "–".to_owned() };
        }
        let bounds = clopper_pearson(self.failed, self.needed, CONFIDENCE);
        format!("{} of {} ({:.0} to {:.0} %){open}", self.failed, self.needed, bounds.low * 100.0, bounds.high * 100.0)
    }
}

fn share_words(bounds: Bounds) -> String {
    format!("95 % sure: {:.0} to {:.0} % of families like these", bounds.low * 100.0, bounds.high * 100.0)
}

/// The mean; 0 of none.
#[must_use]
pub fn mean(values: &[f64]) -> f64 {
    if values.is_empty() { 0.0 } else { values.iter().sum::<f64>() / values.len() as f64 }
}

/// A length of time in two figures or three.
#[must_use]
pub fn hours_words(hours: f64) -> String {
    match hours {
        hours if hours < 1.0 / 60.0 => format!("{:.0} s", hours * 3_600.0),
        hours if hours < 1.0 => format!("{:.0} min", hours * 60.0),
        hours if hours < 100.0 => format!("{hours:.1} h"),
        hours => format!("{hours:.0} h"),
    }
}

/// Events in so many hours of one family, exact Poisson.
fn exposure_words(events: u64, hours: f64) -> String {
    if hours <= 0.0 {
        return "–".to_owned();
    }
    let (long, one_in) = (hours_words(hours), |rate: f64| hours_words(1.0 / rate));
    if events == 0 {
        return format!("none in {long} (fewer than one in {})", one_in(none_seen_rate(hours, CONFIDENCE)));
    }
    let bounds = rate(events, hours, 1.0, CONFIDENCE);
    format!("{events} in {long} (one in {} to one in {})", one_in(bounds.high), one_in(bounds.low))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// None in a time `t` leaves open, 95 % sure, one in `t / 3`; two in it, one in `t / 7.22` to one in `t / 0.242`: Garwood 1936.
    #[test]
    fn a_time_without_events_says_how_often_they_may_still_come() {
        assert_eq!(exposure_words(0, 0.025), "none in 2 min (fewer than one in 30 s)");
        assert_eq!(exposure_words(2, 10.0), "2 in 10.0 h (one in 1.4 h to one in 41.3 h)");
        assert_eq!(exposure_words(0, 0.0), "–");
    }
}
