//! What should come of a trace and what is excused: of a recording as its label says, of a simulated run as the plant's truth and
//! the page of scores have it.

use slackside::conditions::Condition;

use super::label::{AlarmDue, Label, Stretch};
use super::score::Stop;
use crate::scenario::score::calls::Calls;

/// A stop that must come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Needed {
    /// The first sign: when something begins to be wrong, in microseconds.
    pub from_us: u64,
    /// When it is called for: from here on nothing but time counts.
    pub called_us: u64,
    /// When it is due.
    pub due_us: u64,
    /// Later than this is late.
    pub late_us: u64,
}

/// What should come of a trace.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Expected {
    /// The stop that must come.
    pub stop: Option<Needed>,
    /// From when a fault of the machine is at work: a stop that is not called for is false all the same, but no nuisance of a
    /// healthy leg. `u64::MAX`: never.
    pub at_fault_us: u64,
    /// From when any stop is excused: a sensor is at fault, or a person's label says no more than that something was wrong.
    pub excused_us: u64,
    /// When whatever comes is excused.
    pub may: Vec<Stretch>,
    /// Alarms that should come.
    pub alarms: Vec<AlarmDue>,
    /// From when an alarm of each condition, by rank, is no false one.
    alarm_from_us: [u64; Condition::COUNT],
    /// Beyond this the record says nothing of what other limits would have done.
    pub known_until_us: u64,
    /// What was wrong, in words.
    pub wrong: String,
}

impl Expected {
    /// As a person says of a recording.
    #[must_use]
    pub fn of_label(label: &Label) -> Self {
        let excused_us = label.excused_from_us();
        let needed = |stop: Stretch| Needed {
            from_us: stop.from_us,
            called_us: stop.from_us,
            due_us: label.due_us.unwrap_or(stop.to_us),
            late_us: stop.to_us,
        };
        Self {
            stop: label.stop.map(needed),
            at_fault_us: u64::MAX,
            excused_us,
            may: label.may.clone(),
            alarms: label.alarms.clone(),
            alarm_from_us: [excused_us; Condition::COUNT],
            known_until_us: label.known_until_us.unwrap_or(u64::MAX),
            wrong: label.wrong.clone(),
        }
    }

    /// As the plant's truth has it. `grace_us`: for so long after it was due a stop still counts as in time.
    #[must_use]
    pub fn of_truth(calls: &Calls, grace_us: u64, wrong: &str) -> Self {
        let alarms = calls.due.iter().map(|wanted| AlarmDue {
            any_of: wanted.any_of.to_vec(),
            within: Stretch { from_us: wanted.from_us, to_us: wanted.due_us },
        });
        let mut alarm_from_us = [0; Condition::COUNT];
        for condition in Condition::ALL {
            alarm_from_us[condition.rank()] = calls.alarm_from_us(condition);
        }
        Self {
            stop: calls.call.map(|call| Needed {
                from_us: call.from_us.min(calls.machine_us),
                called_us: call.from_us,
                due_us: call.due_us,
                late_us: call.due_us + grace_us,
            }),
            at_fault_us: calls.machine_us,
            excused_us: calls.sensors_us,
            may: Vec::new(),
            alarms: alarms.collect(),
            alarm_from_us,
            known_until_us: u64::MAX,
            wrong: wrong.to_owned(),
        }
    }

    /// What a stop at that moment is. The same order as [`Calls::class`], of which an early stop counts as in time.
    #[must_use]
    pub fn stop_at(&self, at_us: u64) -> Stop {
        match self.stop {
            Some(needed) if at_us >= needed.called_us => {
                if at_us <= needed.late_us {
                    Stop::InTime
                } else {
                    Stop::Late
                }
            }
            _ if at_us >= self.excused_us || self.may_at(at_us) => Stop::Excused,
            Some(needed) if at_us >= needed.from_us => Stop::InTime,
            _ if at_us >= self.at_fault_us => Stop::Uncalled,
            _ => Stop::Nuisance,
        }
    }

    /// Whether an alarm of that condition is called for, or excused, at that moment.
    #[must_use]
    pub fn excuses(&self, condition: Condition, at_us: u64) -> bool {
        at_us >= self.alarm_from_us[condition.rank()] || self.may_at(at_us)
    }

    fn may_at(&self, at_us: u64) -> bool {
        self.may.iter().any(|may| (may.from_us..=may.to_us).contains(&at_us))
    }

    /// When the first of it began to be wrong; 0 where nothing is.
    #[must_use]
    pub fn first_sign_us(&self) -> u64 {
        let needed = self.stop.map_or(u64::MAX, |needed| needed.from_us);
        match needed.min(self.at_fault_us).min(self.excused_us) {
            u64::MAX => 0,
            first => first,
        }
    }

    /// How much of `from_us..to_us` is healthy running: what comes then is judged, and would be a nuisance.
    #[must_use]
    pub fn healthy_us(&self, from_us: u64, to_us: u64) -> u64 {
        let first_sign = self.stop.map_or(u64::MAX, |needed| needed.from_us);
        let end = to_us.min(first_sign).min(self.at_fault_us).min(self.excused_us);
        // Stretches may overlap: what is excused is counted once, from left to right.
        let mut may: Vec<Stretch> = self.may.clone();
        may.sort_by_key(|stretch| stretch.from_us);
        let (mut at, mut healthy) = (from_us, 0);
        for stretch in may {
            healthy += stretch.from_us.min(end).saturating_sub(at);
            at = at.max(stretch.to_us);
        }
        healthy + end.saturating_sub(at)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_in_which_anything_is_excused_are_not_hours_without_a_nuisance() {
        let stretch = |from_us, to_us| Stretch { from_us, to_us };
        let label = Label {
            stop: Some(stretch(1_000, 1_200)),
            may: vec![stretch(300, 400), stretch(100, 350), stretch(900, 2_000)],
            ..Label::default()
        };
        let expected = Expected::of_label(&label);
        assert_eq!(expected.healthy_us(0, 5_000), 100 + 500);
        assert_eq!(expected.healthy_us(320, 500), 100);
        assert_eq!(expected.healthy_us(1_500, 5_000), 0);
        assert_eq!(Expected::of_label(&Label::default()).healthy_us(7, 5_007), 5_000);
    }
}
