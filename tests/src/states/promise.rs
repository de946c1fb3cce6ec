//! What must hold whatever happens.

use std::collections::BTreeSet;

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Command, Origin, Signal};
use slackside::verdict::Phase;

use super::world::View;

/// The moves that alarms have made, apart from bypass, suppression and service.
#[derive(Clone, Debug, Default)]
pub struct Moves(BTreeSet<(String, String)>);

/// The diagram of the core's alarms, a move a line.
const DIAGRAM: [(AlarmState, AlarmState); 12] = {
    use AlarmState::{
        Acknowledged, LatchedAcknowledged, LatchedUnacknowledged, Normal, ReturnedUnacknowledged, Unacknowledged,
    };
    [
        (Normal, Unacknowledged),
        (Unacknowledged, Acknowledged),
        (Unacknowledged, ReturnedUnacknowledged),
        (Unacknowledged, LatchedUnacknowledged),
        (Acknowledged, Normal),
        (Acknowledged, LatchedAcknowledged),
        (ReturnedUnacknowledged, Normal),
        (ReturnedUnacknowledged, Unacknowledged),
        (LatchedUnacknowledged, LatchedAcknowledged),
        (LatchedUnacknowledged, Unacknowledged),
        (LatchedAcknowledged, Normal),
        (LatchedAcknowledged, Unacknowledged),
    ]
};

impl Moves {
    /// Moves of the diagram that were never made.
    #[must_use]
    pub fn missing(&self) -> Vec<(AlarmState, AlarmState)> {
        let made = |(from, to): &(AlarmState, AlarmState)| self.0.contains(&(format!("{from:?}"), format!("{to:?}")));
        DIAGRAM.into_iter().filter(|one| !made(one)).collect()
    }

    /// An alarm moved.
    pub(super) fn add(&mut self, condition: Condition, from: AlarmState, to: AlarmState) -> Result<(), String> {
        let beside = |state| matches!(state, AlarmState::Shelved | AlarmState::Suppressed | AlarmState::OutOfService);
        if beside(from) || beside(to) {
            return Ok(());
        }
        if !DIAGRAM.contains(&(from, to)) {
            return Err(format!("{condition:?} went from {from:?} to {to:?}, which is not drawn"));
        }
        self.0.insert((format!("{from:?}"), format!("{to:?}")));
        Ok(())
    }
}

/// What holds in any state.
pub fn of_a_state(view: &View) -> Result<(), String> {
    if view.status.run_permit {
        for condition in Condition::ALL {
            if view.stops(condition) {
                return Err(format!("the run permit is given while {condition:?} is {:?}", view.alarm(condition)));
            }
        }
        if view.status.boot_cleared_needed {
            return Err("the run permit is given though the boot must be reported clear".to_owned());
        }
    }
    if view.status.feed_permit && !(view.status.run_permit && view.status.phase == Phase::Running) {
        return Err(format!("the feed permit is given in phase {:?}, {:?}", view.status.phase, view.status.run_permit));
    }
    Ok(())
}

/// What holds of a step by one input.
pub fn of_a_step(before: &View, signal: Signal, after: &View) -> Result<(), String> {
    let by_a_person = matches!(
        signal,
        Signal::Command(
            Origin::Leg,
            Command::Reset | Command::ResetButton(false) | Command::BootCleared | Command::Bypass(..)
        )
    );
    restored(before, after, by_a_person)?;
    for condition in Condition::ALL {
        let (from, to) = (before.alarm(condition), after.alarm(condition));
        let was_latched = matches!(from, AlarmState::LatchedAcknowledged | AlarmState::LatchedUnacknowledged);
        if was_latched && !to.holds() && !by_a_person {
            return Err(format!("{condition:?} was {from:?} and is {to:?} after {signal:?}"));
        }
        if was_latched && from.wants_acknowledgement() && to == AlarmState::Normal {
            return Err(format!("{condition:?} was reset before anybody acknowledged it"));
        }
    }
    first_out(before, after)?;
    if let Signal::Command(Origin::Link, command) = signal {
        let may_feed = command == Command::Acknowledge && before.alarm(Condition::FeedHunting).holds();
        let same = before.status.run_permit == after.status.run_permit
            && (may_feed || before.status.feed_permit == after.status.feed_permit)
            && before.status.phase == after.status.phase
            && before.status.bypassed == after.status.bypassed
            && before.status.boot_cleared_needed == after.status.boot_cleared_needed
            && before.status.first_out == after.status.first_out;
        if !same {
            return Err(format!("{command:?} by the link changed {:?} to {:?}", before.status, after.status));
        }
    }
    Ok(())
}

/// What holds of a loss of power.
pub fn of_a_power_cycle(before: &View, after: &View) -> Result<(), String> {
    restored(before, after, false)?;
    first_out(before, after)?;
    for condition in Condition::ALL {
        let (from, to) = (before.alarm(condition), after.alarm(condition));
        let was_latched = matches!(from, AlarmState::LatchedAcknowledged | AlarmState::LatchedUnacknowledged);
        if was_latched && !to.holds() {
            return Err(format!("power made {condition:?}, {from:?}, {to:?}"));
        }
    }
    if before.status.boot_cleared_needed && !after.status.boot_cleared_needed {
        return Err("power made the boot clear".to_owned());
    }
    Ok(())
}

/// A latched trip is given back by a person at the leg alone.
fn restored(before: &View, after: &View, by_a_person: bool) -> Result<(), String> {
    let tripped = before.status.first_out.is_some() || before.status.boot_cleared_needed;
    if tripped && !before.status.run_permit && after.status.run_permit && !by_a_person {
        return Err(format!("a trip by {:?} was given back with nobody at the leg", before.status.first_out));
    }
    Ok(())
}

/// The first-out of a group never changes, and ends with the group.
fn first_out(before: &View, after: &View) -> Result<(), String> {
    match (before.status.first_out, after.status.first_out) {
        (Some(was), Some(is)) if was != is => Err(format!("the first-out changed from {was:?} to {is:?}")),
        (Some(was), None) if Condition::ALL.into_iter().any(|one| after.stops(one)) => {
            Err(format!("the first-out {was:?} went while its group stands"))
        }
        _ => Ok(()),
    }
}
