//! The names of states and changes in files: lower case, words joined by underscores.

use slackside::alarm::AlarmState;
use slackside::conditions::Unit;
use slackside::input::Place;
use slackside::settings::Action;
use slackside::verdict::{Change, Permit, Phase, Refusal};

use crate::trace::write_decimal;

/// The name of an alarm state.
#[must_use]
pub const fn state_name(state: AlarmState) -> &'static str {
    match state {
        AlarmState::Normal => "normal",
        AlarmState::Unacknowledged => "unacknowledged",
        AlarmState::Acknowledged => "acknowledged",
        AlarmState::ReturnedUnacknowledged => "returned_unacknowledged",
        AlarmState::LatchedUnacknowledged => "latched_unacknowledged",
        AlarmState::LatchedAcknowledged => "latched_acknowledged",
        AlarmState::Shelved => "shelved",
        AlarmState::Suppressed => "suppressed",
        AlarmState::OutOfService => "out_of_service",
    }
}

/// The name of what a condition does.
#[must_use]
pub const fn action_name(action: Action) -> &'static str {
    match action {
        Action::Alarm => "alarm",
        Action::DropFeed => "drop_feed",
        Action::Stop => "stop",
    }
}

/// The name of what the leg does.
#[must_use]
pub const fn phase_name(phase: Phase) -> &'static str {
    match phase {
        Phase::Unsure => "unsure",
        Phase::Standstill => "standstill",
        Phase::Starting => "starting",
        Phase::Running => "running",
        Phase::CoastDown => "coast_down",
        Phase::Inching => "inching",
    }
}

/// The name of a reason to refuse a command.
#[must_use]
pub const fn refusal_name(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::OnlyAtTheLeg => "only_at_the_leg",
        Refusal::KeyOff => "key_off",
        Refusal::NothingToDo => "nothing_to_do",
        Refusal::StillPresent => "still_present",
        Refusal::NotAcknowledged => "not_acknowledged",
        Refusal::BootNotCleared => "boot_not_cleared",
        Refusal::NotAtRest => "not_at_rest",
        Refusal::NeverBypassed => "never_bypassed",
        Refusal::OneAtATime => "one_at_a_time",
        Refusal::TooLong => "too_long",
        Refusal::BadPress => "bad_press",
        _ => "other",
    }
}

/// The name of a contact's place.
#[must_use]
pub const fn place_name(place: Place) -> &'static str {
    match place {
        Place::HeadLeft => "head_left",
        Place::HeadRight => "head_right",
        Place::BootLeft => "boot_left",
        Place::BootRight => "boot_right",
    }
}

/// The name of a change, as in the events file.
#[must_use]
pub fn change_name(change: &Change) -> String {
    let command = |origin, command| {
        let mut words = Vec::new();
        crate::trace::write_command(origin, command, &mut words);
        String::from_utf8_lossy(&words).into_owned()
    };
    match change {
        Change::Alarm { to, .. } => state_name(*to).to_owned(),
        Change::Permit { permit, allowed, .. } => format!(
            "{}_permit_{}",
            match permit {
                Permit::Run => "run",
                Permit::Feed => "feed",
            },
            if *allowed { "given" } else { "dropped" }
        ),
        Change::FirstOut(Some(_)) => "first_out".to_owned(),
        Change::FirstOut(None) => "first_out_cleared".to_owned(),
        Change::Phase(phase) => format!("phase_{}", phase_name(*phase)),
        Change::Accepted(origin, what) => format!("accepted:{}", command(*origin, *what)),
        Change::Refused(origin, what, refusal) => {
            format!("refused:{}:{}", command(*origin, *what), refusal_name(*refusal))
        }
        Change::ProofTest { passed: true } => "proof_test_passed".to_owned(),
        Change::ProofTest { passed: false } => "proof_test_failed".to_owned(),
    }
}

/// Append a condition's value as people read it: per cent, seconds, turns, degrees Celsius or a plain number.
pub fn write_value(unit: Unit, value: i32, out: &mut Vec<u8>) {
    let places = match unit {
        Unit::Ppm => 4,
        Unit::Milliseconds => 3,
        Unit::Microturns => 6,
        Unit::DeciCelsius => 1,
        Unit::Count | Unit::Flag => 0,
    };
    write_decimal(i64::from(value), places, out);
}
