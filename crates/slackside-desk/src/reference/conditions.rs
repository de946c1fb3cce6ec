//! Every condition: what it means, what it needs, what it does, what to check.

use std::fmt::Write as _;

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::retained::Retained;
use slackside::settings::{Action, Limits, Settings, SpeedReference};
use slackside::units::Ppm;

use super::checks::first_check;
use crate::monitor::judge;

/// A change of settings.
type Change = fn(&mut Settings);

/// What may be fitted: how it is fitted to the example leg, and how the leg is without it.
const FITTINGS: [(&str, Change, Change); 6] = [
    (
        "head sensor",
        |_| (),
        |settings| {
            settings.machine.head_targets = None;
            settings.machine.accepted_ratio = None;
        },
    ),
    ("drive contact", |_| (), |settings| settings.machine.drive_contact = false),
    ("rub contacts", |_| (), |settings| settings.machine.contacts = [None; 4]),
    (
        "rub temperatures",
        |settings| settings.machine.temperatures = [true; 4],
        |settings| settings.machine.temperatures = [false; 4],
    ),
    (
        "outlet switch",
        |settings| settings.machine.outlet_switch = true,
        |settings| settings.machine.outlet_switch = false,
    ),
    (
        "speed reference",
        |settings| {
            settings.machine.speed_reference =
                Some(SpeedReference { minimum: Ppm::new(950_000), ramp_per_second: Ppm::new(50_000) });
        },
        |settings| settings.machine.speed_reference = None,
    ),
];

/// The conditions out of service on the example leg so changed; `None` if no leg can be so.
fn out_of_service(change: Change) -> Option<Vec<Condition>> {
    let mut settings = Settings::example();
    change(&mut settings);
    let checked = settings.check().ok()?;
    let judge = judge(&checked, &Retained::default());
    let out = |condition: &Condition| judge.alarm(*condition) == AlarmState::OutOfService;
    Some(Condition::ALL.into_iter().filter(out).collect())
}

fn needs(condition: Condition) -> String {
    let needed: Vec<&str> = FITTINGS
        .into_iter()
        .filter(|(_, with, without)| {
            let out = |change: Change| out_of_service(change).map(|out| out.contains(&condition));
            out(*without) == Some(true) && out(*with) == Some(false)
        })
        .map(|(name, ..)| name)
        .collect();
    if needed.is_empty() { "nothing beside the sensors every leg must have".to_owned() } else { needed.join(", ") }
}

/// The page of all conditions.
#[must_use]
pub fn conditions() -> String {
    let mut out = format!(
        "# Every condition\n\nMade from the lists of the core by `cargo xtask reference`; a test holds it against them. There are {} \
         of them, the gravest first: when several come at once, the first of this list is named as what tripped first. Names in \
         backticks are those of settings and of files for programs.\n\n\
         **Before you check anything: lock out and tag out the drive, and prove it dead by trying to start it.** Dust explodes; never \
         jog a choked leg.\n",
        Condition::COUNT
    );
    for condition in Condition::ALL {
        let limit = Limits::STARTING.of(condition);
        let does = match limit.action {
            Action::Alarm => "an alarm",
            Action::DropFeed => "an alarm; drops the feed permit",
            Action::Stop => "stops the leg: drops the run permit and the feed permit",
        };
        let latching = if limit.latching { ", and latches until reset at the leg" } else { "" };
        let mut people = Vec::new();
        if condition.needs_boot_cleared() {
            people.push("the boot must be looked into and reported clear before a restart");
        }
        if !condition.can_be_bypassed() {
            people.push("can never be bypassed");
        }
        let entry = condition.entry();
        let _ = writeln!(out, "\n## {} (`{}`)\n\n{}\n", entry.title, condition.name(), entry.meaning);
        let _ = writeln!(out, "- **Needs:** {}.", needs(condition));
        let _ = writeln!(out, "- **Does, to begin with:** {does}{latching}.");
        if !people.is_empty() {
            let _ = writeln!(out, "- **People:** {}.", people.join("; "));
        }
        let _ = writeln!(out, "- **Why, and why this limit:** {}", condition.entry().reason);
        let _ = writeln!(out, "- **Check:** {}", first_check(condition));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_condition_needs_is_what_the_judge_says() {
        assert_eq!(needs(Condition::SlipHigh), "head sensor");
        assert_eq!(needs(Condition::RubHot), "rub temperatures");
        assert_eq!(needs(Condition::OutletPlugged), "outlet switch");
        for (name, with, without) in FITTINGS {
            assert!(out_of_service(with).is_some() && out_of_service(without).is_some(), "{name}: no leg can be so");
        }
        assert!(needs(Condition::DeepUnderspeed).starts_with("nothing beside"));
    }

    #[test]
    fn whatever_brings_a_hand_into_a_leg_stands_with_its_lockout() {
        for condition in Condition::ALL {
            let said = first_check(condition).to_lowercase();
            for hand in ["open the", "dig", "by hand", "inspection door", "look at the belt", "targets and"] {
                if let Some(at) = said.find(hand) {
                    assert!(said.find("lock").is_some_and(|lock| lock < at), "{condition:?}: {said}");
                }
            }
        }
    }
}
