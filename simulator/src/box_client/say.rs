//! What a box says, in words.

use std::fmt::Write;

use slackside::input::{ContactState, Place};
use slackside::judge::ConditionSet;
use slackside::motion::SlipReading;
use slackside::settings::{Field, LimitPart, Quantity};
use slackside::units::Ppm;
use slackside::verdict::{Change, Permit};
use slackside::wire::{BoxStatus, LinkStatus, Reason, ShaftStatus};
use slackside_box::fault::Faults;

use slackside_desk::replay::{change_name, place_name};
use slackside_desk::report::{capital, lower, meaning, phase_words, state_words};

/// Why a box refuses, and what to do.
#[must_use]
pub fn say_reason(reason: Reason) -> String {
    match reason {
        Reason::NotUnderstood => "it does not know this request: its firmware is older than this program".to_owned(),
        Reason::OnlyAtTheLeg => "only a person at the box may do this".to_owned(),
        Reason::KeyOff => "the key at the box is off: someone must turn it on there".to_owned(),
        Reason::NoSuchRecording => "it has no such recording: list them with `recordings`".to_owned(),
        Reason::NoSuchOffset => "there is nothing at that offset".to_owned(),
        Reason::Memory => "its memory cannot be read or written: look at its faults with `status`".to_owned(),
        Reason::OutOfOrder { received } => format!("the pieces came out of order: it has {received} bytes"),
        Reason::TooLong => "the settings are longer than it has room for".to_owned(),
        Reason::BadImage => "the settings came through damaged: send them again".to_owned(),
        Reason::RulesBroken => "the settings break a rule: check the file at the desk".to_owned(),
        Reason::NothingStaged => "no whole settings have been sent".to_owned(),
        Reason::OtherIdentity => "the settings it received are not those that were to be armed: send them again".to_owned(),
        Reason::OtherLeg => "the settings are for another leg than the one this box watches".to_owned(),
        Reason::LegTurns => "the leg is not proven to stand: stop it, wait until it is at rest, and try again".to_owned(),
        Reason::NotWired => {
            "the settings name a sensor or contact that this box has no input for, or more marks a turn than it has room for"
                .to_owned()
        }
        _ => "for a reason that this program does not know".to_owned(),
    }
}

fn percent(ppm: Ppm) -> String {
    format!("{:.2} %", f64::from(ppm.get()) / 1e4)
}

fn slip(reading: SlipReading) -> String {
    match reading {
        SlipReading::Unknown => "not known".to_owned(),
        SlipReading::Retracted => "not known (an edge was lost or extra)".to_owned(),
        SlipReading::Known(ppm) => percent(ppm),
        SlipReading::AtLeast(ppm) => format!("{} or more", percent(ppm)),
    }
}

fn names(set: ConditionSet) -> String {
    let names: Vec<_> = set.iter().map(|condition| lower(meaning(condition).title)).collect();
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}

fn shaft(name: &str, shaft: &ShaftStatus, supervised: bool, text: &mut String) {
    if !shaft.fitted {
        return;
    }
    let speed = shaft
        .speed_at_most
        .map_or("not known".to_owned(), |speed| format!("{:.2} rpm at most", f64::from(speed.get()) * 60.0 / 1e6));
    let trust = if shaft.distrust == 0 { "" } else { ", NOT TRUSTED" };
    let line =
        if supervised { format!("line {:?}", shaft.line).to_lowercase() } else { "line unsupervised".to_owned() };
    let _ = writeln!(text, "{name:<13}{speed}, {} edges, {} rejected, {line}{trust}", shaft.edges, shaft.rejected);
}

/// The state of a box, one thing a line.
#[must_use]
pub fn say_status(status: &LinkStatus, own: &BoxStatus) -> String {
    let mut text = String::new();
    let permit = |allowed: bool, given: bool| match (allowed, given) {
        (true, true) => "given",
        (true, false) => "allowed, but its contacts are not closed",
        (false, false) => "dropped",
        (false, true) => "DROPPED, BUT ITS CONTACTS ARE CLOSED",
    };
    let _ = writeln!(text, "leg          {}", phase_words(status.phase));
    let _ = writeln!(text, "run permit   {}", permit(status.run_permit, own.run_given));
    let _ = writeln!(text, "feed permit  {}", permit(status.feed_permit, own.feed_given));
    let _ = writeln!(text, "key          {}", if status.key_on { "on" } else { "off" });
    if let Some(first) = status.first_out {
        let _ = writeln!(text, "first out    {}", lower(meaning(first).title));
    }
    if status.boot_cleared_needed {
        let _ = writeln!(text, "boot         must be looked into and reported clear at the leg");
    }
    let [head_line, boot_line] = own.supervised_shafts;
    shaft("head", &status.head, head_line, &mut text);
    shaft("boot", &status.boot, boot_line, &mut text);
    let _ =
        writeln!(text, "slip         {} over one turn, {} over four", slip(status.slip_short), slip(status.slip_long));
    let _ = writeln!(text, "slip heat    {} of its budget", percent(status.slip_heat));
    for ((place, contact), supervised) in Place::ALL.into_iter().zip(status.contacts).zip(own.supervised_contacts) {
        let Some((state, duty)) = contact else { continue };
        let state = match state {
            ContactState::Clear => "clear",
            ContactState::Rubbing => "RUBBING",
            ContactState::Faulty => "FAULTY: what the belt does there is not known",
        };
        let line = if supervised { "" } else { ", unsupervised" };
        let place = place_name(place).replace('_', " ");
        let _ = writeln!(text, "{place:<13}{state}, {} of the last belt loop{line}", percent(duty));
    }
    let _ = writeln!(text, "wrong        {}", names(status.wrong));
    let _ = writeln!(text, "latched      {}", names(status.latched));
    let _ = writeln!(text, "to be seen   {}", names(status.unacknowledged));
    if status.shelved.iter().next().is_some() {
        let _ = writeln!(text, "BYPASSED     {}", names(status.shelved));
    }
    for fault in Faults::from_bits(own.faults).iter() {
        let _ = writeln!(text, "FAULT        {}", fault.says());
    }
    text
}

/// One verdict.
#[must_use]
pub fn say_event(change: &Change) -> String {
    match change {
        Change::Alarm { condition, to, value, setpoint, .. } => {
            let unit = Field::Limit(*condition, LimitPart::Setpoint).unit();
            let told = |value: i32| Quantity::new(value.into(), unit).to_string();
            let value = value.map_or("not known".to_owned(), told);
            let title = meaning(*condition).title;
            format!("{title}: {}, at {value}, setpoint {}", state_words(*to), told(*setpoint))
        }
        Change::Permit { permit, allowed, because } => {
            let which = if *permit == Permit::Run { "Run permit" } else { "Feed permit" };
            let verb = if *allowed { "given" } else { "dropped" };
            let why = because.map_or_else(String::new, |because| format!(": {}", lower(meaning(because).title)));
            format!("{which} {verb}{why}")
        }
        Change::FirstOut(Some(condition)) => format!("Tripped first: {}", lower(meaning(*condition).title)),
        Change::FirstOut(None) => "Trip reset".to_owned(),
        Change::Phase(phase) => format!("The leg is {}", phase_words(*phase)),
        other => capital(&change_name(other).replace('_', " ").replace(':', ": ")),
    }
}
