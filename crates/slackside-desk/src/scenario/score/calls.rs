//! What a run called for, and what it excuses: the one account that score and tuning judge by.

use slackside::conditions::Condition;

use super::super::Scenario;
use super::super::due::{ASTRAY_ALARM_US, Call, SLOW_ALARM_US};
use super::super::fault::Kind;
use super::super::run::Summary;
use super::alarms::{ASTRAY, NAMES_A_SENSOR, SLOW, Wanted, wanted};
use super::judged::Class;

/// What a run called for.
#[derive(Clone, Debug)]
pub struct Calls {
    /// The call for a stop that counts.
    pub call: Option<Call>,
    /// When the first fault of the machine began, in microseconds; `u64::MAX`: none did.
    pub machine_us: u64,
    /// When the first fault of a sensor or a contact began.
    pub sensors_us: u64,
    /// When the belt first touched the casing, or a rub contact began to say so falsely.
    pub touched_us: u64,
    /// So many targets are not seen that an alarm which names the sensor is right.
    pub named: bool,
    /// Alarms that are due.
    pub due: Vec<Wanted>,
}

impl Calls {
    /// Of a run. `healthy`: the faults of the scenario are what any healthy leg lives with; they excuse nothing but, with many
    /// dropouts, an alarm that names the sensor.
    #[must_use]
    pub fn of(scenario: &Scenario, summary: &Summary, healthy: bool) -> Self {
        let end_us = (scenario.duration_s * 1e6) as u64;
        let began = |of: &dyn Fn(Kind) -> bool| {
            let faults = scenario.faults.iter().filter(|fault| fault.severity > 0.0 && of(fault.kind));
            faults.map(|fault| (fault.from_s * 1e6) as u64).min().unwrap_or(u64::MAX)
        };
        let [machine_us, sensors_us] = if healthy {
            [u64::MAX; 2]
        } else {
            [began(&|kind| !kind.is_of_sensors()), began(&|kind| kind.is_of_sensors())]
        };
        let contacts = |kind| matches!(kind, Kind::ContactStuckRubbing | Kind::ContactCut | Kind::ContactBouncing);
        let mut due: Vec<Wanted> = Vec::new();
        if !healthy {
            due.extend(scenario.faults.iter().filter_map(|fault| wanted(fault, &scenario.leg, end_us)));
        }
        let first_us = machine_us.min(sensors_us);
        let by_truth = [
            (summary.astray_us, summary.touched_us, ASTRAY_ALARM_US, ASTRAY, "astray"),
            (summary.slow_us, None, SLOW_ALARM_US, SLOW, "slow"),
        ];
        for (called_us, since_us, within_us, any_of, what) in by_truth {
            let Some(called_us) = called_us else { continue };
            let due_us = called_us + within_us;
            if due_us <= end_us {
                let from_us = since_us.unwrap_or(called_us).min(first_us).min(called_us);
                due.push(Wanted { any_of, from_us, due_us, what });
            }
        }
        let dropouts = |kind, severity| kind == Kind::SensorDropout && severity > 0.001;
        Self {
            call: summary.call,
            machine_us,
            sensors_us,
            touched_us: summary.touched_us.unwrap_or(u64::MAX).min(began(&contacts)),
            named: healthy && scenario.faults.iter().any(|fault| dropouts(fault.kind, fault.severity)),
            due,
        }
    }

    /// When the first fault began, of whatever it is.
    #[must_use]
    pub fn first_us(&self) -> u64 {
        self.machine_us.min(self.sensors_us)
    }

    /// What a stop at that moment is, or none.
    #[must_use]
    pub fn class(&self, stop_us: Option<u64>) -> Class {
        match (self.call, stop_us) {
            (None, None) => Class::Quiet,
            (Some(_), None) => Class::Missed,
            (Some(call), Some(at)) if at >= call.from_us => {
                if at <= call.due_us {
                    Class::InTime
                } else {
                    Class::Late
                }
            }
            (call, Some(at)) => match call {
                _ if at >= self.sensors_us => Class::FailSafe,
                Some(_) if at >= self.machine_us => Class::Early,
                _ if at >= self.machine_us => Class::Uncalled,
                _ => Class::Nuisance,
            },
        }
    }

    /// From when an alarm of this condition is no false one, in microseconds.
    #[must_use]
    pub fn alarm_from_us(&self, condition: Condition) -> u64 {
        if ASTRAY.contains(&condition) {
            self.touched_us
        } else if self.named && NAMES_A_SENSOR.contains(&condition) {
            0
        } else {
            self.first_us().min(self.call.map_or(u64::MAX, |call| call.from_us))
        }
    }
}
