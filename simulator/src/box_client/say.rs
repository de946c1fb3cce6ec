//! What a box says, in words.

use std::fmt::Write;

use slackside::conditions::{Condition, ConditionSet};
use slackside::input::Place;
use slackside::settings::plan::{Plan, act};
use slackside::settings::{Field, LimitPart, Quantity};
use slackside::signals::{Reading, ShaftSignals, rub, speed, unknown};
use slackside::time::{Now, age};
use slackside::units::{Micros, MicroturnsPerSecond, Ppm};
use slackside::verdict::{Change, Permit, Refusal};
use slackside::wire::{BoxStatus, LinkStatus, Reason, Refused, flags};
use slackside_box::fault::Faults;

use slackside_desk::replay::{change_name, place_name};
use slackside_desk::report::{capital, lower, phase_words, state_words};

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
        Reason::Damaged => "the settings came through damaged: send them again".to_owned(),
        Reason::RuleBroken { row } => format!(
            "the settings break a rule of the box (row {row}) that this program does not hold: use the desk program that belongs \
             to its firmware"
        ),
        Reason::NothingStaged => "no whole settings have been sent".to_owned(),
        Reason::OtherIdentity => {
            "the settings it received are not those that were to be armed: send them again".to_owned()
        }
        Reason::OtherLeg => "the settings are for another leg than the one this box watches".to_owned(),
        Reason::LegTurns => {
            "the leg is not proven to stand: stop it, wait until it is at rest, and try again".to_owned()
        }
        Reason::NotWired => "the settings name a sensor or contact that this box has no input for".to_owned(),
        Reason::NoRoom => "the settings have more marks a turn than this box has room for".to_owned(),
        Reason::Monitor(refusal) => refusal_words(refusal).to_owned(),
        Reason::TooOften => "too many commands came by the link: wait a quarter of a minute and try again".to_owned(),
        Reason::OtherDesk => {
            "another program has its link (`watch` holds it): only one can talk to a box at a time".to_owned()
        }
        Reason::NoKey => {
            "it has no key, so that nothing can be armed by its link: set one at the box (`slackside new-key`)"
                .to_owned()
        }
        Reason::NoChallenge => "it took too long, or another desk asked meanwhile: try again".to_owned(),
        Reason::WrongTag => "the key in the key file is not that of this box".to_owned(),
        Reason::KeepsNoDays => "it keeps no days: its flash has no room for them or takes none any more".to_owned(),
        _ => "for a reason that this program does not know".to_owned(),
    }
}

/// Why the monitor would refuse what a link may ask for.
const fn refusal_words(refusal: Refusal) -> &'static str {
    match refusal {
        Refusal::NothingToDo => {
            "there is nothing to do: no alarm waits to be acknowledged, or no proof test runs (or one does already)"
        }
        Refusal::StillPresent => {
            "the run permit is dropped already, so nothing would be proven: clear the alarms at the leg first"
        }
        Refusal::BootNotCleared => "the boot must be looked into and reported clear at the leg first",
        Refusal::OnlyAtTheLeg => "only a person at the box may do this",
        _ => "as things stand at the leg it cannot be done: look with `status`",
    }
}

fn percent(ppm: Ppm) -> String {
    format!("{:.2} %", f64::from(ppm.get()) / 1e4)
}

fn slip(reading: Reading, retracted: bool) -> String {
    if !reading.is_known() {
        return if retracted { "not known (an edge was lost or extra)" } else { "not known" }.to_owned();
    }
    let least = percent(Ppm::new(reading.least));
    if reading.is_exact() {
        least
    } else if reading.is_open() {
        format!("{least} or more")
    } else {
        format!("{} to {}", least.trim_end_matches(" %"), percent(Ppm::new(reading.most)))
    }
}

fn names(set: ConditionSet) -> String {
    let names: Vec<_> = set.iter().map(|condition| lower(condition.entry().title)).collect();
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}

/// The largest speed the shaft can have `now`, if it has turned a pitch.
pub(super) fn speed_at_most(shaft: &ShaftSignals, now: Micros) -> Option<MicroturnsPerSecond> {
    let measured = shaft.speed()?;
    let waited = age(Now::new(now).us(), shaft.last_edge);
    Some(if waited == 0 { measured } else { measured.min(speed(shaft.next_largest, waited)) })
}

fn shaft(name: &str, shaft: &ShaftSignals, now: Micros, supervised: bool, text: &mut String) {
    let speed = speed_at_most(shaft, now)
        .map_or("not known".to_owned(), |speed| format!("{:.2} rpm at most", f64::from(speed.get()) * 60.0 / 1e6));
    let trust = if shaft.distrust == 0 { "" } else { ", NOT TRUSTED" };
    let line = match shaft.line {
        _ if !supervised => "line unsupervised",
        0 => "line sound",
        1 => "line open",
        _ => "line shorted",
    };
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
    let _ = writeln!(text, "leg          {}", phase_words(status.phase()));
    let _ = writeln!(text, "run permit   {}", permit(status.is(flags::RUN_PERMIT), own.run_given));
    let _ = writeln!(text, "feed permit  {}", permit(status.is(flags::FEED_PERMIT), own.feed_given));
    let _ = writeln!(text, "key          {}", if status.is(flags::KEY_ON) { "on" } else { "off" });
    if let Some(first) = status.first_out() {
        let _ = writeln!(text, "first out    {}", lower(first.entry().title));
    }
    if status.is(flags::BOOT_CLEARED_NEEDED) {
        let _ = writeln!(text, "boot         must be looked into and reported clear at the leg");
    }
    let [head_line, boot_line] = own.supervised_shafts;
    let signals = &status.signals;
    for (name, of, fitted, supervised) in
        [("head", &signals.head, flags::HEAD_FITTED, head_line), ("boot", &signals.boot, flags::BOOT_FITTED, boot_line)]
    {
        if status.is(fitted) {
            shaft(name, of, status.at(), supervised, &mut text);
        }
    }
    let slip = |reading| slip(reading, signals.unknown == unknown::RETRACTED);
    let (short, long) = (slip(signals.short), slip(signals.long));
    let _ = writeln!(text, "slip         {short} over one turn, {long} over four");
    // Every plan has targets on the boot; a box without one judges nothing.
    let judges = status.is(flags::BOOT_FITTED);
    let known = |what: String| if judges { what } else { "not known".to_owned() };
    let heat = known(format!("{} of its budget", percent(Ppm::new(status.slip_heat))));
    let _ = writeln!(text, "slip heat    {heat}");
    for ((place, contact), supervised) in Place::ALL.into_iter().zip(signals.contacts).zip(own.supervised_contacts) {
        if status.contacts >> place.index() & 1 == 0 {
            continue;
        }
        let state = match contact.state {
            rub::CLEAR => "clear",
            rub::RUBBING => "RUBBING",
            _ => "FAULTY: what the belt does there is not known",
        };
        let duty = percent(Ppm::new(contact.duty));
        let line = if supervised { "" } else { ", unsupervised" };
        let place = place_name(place).replace('_', " ");
        let _ = writeln!(text, "{place:<13}{state}, {duty} of the last belt loop{line}");
    }
    let _ = writeln!(text, "wrong        {}", known(names(status.wrong())));
    let _ = writeln!(text, "latched      {}", known(names(status.latched())));
    let _ = writeln!(text, "to be seen   {}", known(names(status.unacknowledged())));
    if status.shelved().iter().next().is_some() {
        let _ = writeln!(text, "BYPASSED     {}", names(status.shelved()));
    }
    if own.waits_for_press {
        let _ = writeln!(text, "WAITS        for a person at the box to confirm new settings");
    }
    let Refused { count, first, last } = own.refused;
    if count > 0 {
        let at = |at: Micros| format!("{:.1} s", at.get() as f64 / 1e6);
        let _ = writeln!(
            text,
            "refused      {count} commands by a link since power-up, the first at {}, the last at {}",
            at(first),
            at(last)
        );
    }
    for fault in Faults::from_bits(own.faults).iter() {
        let _ = writeln!(text, "FAULT        {}", fault.says());
    }
    text
}

/// What a box runs on, one condition a line.
#[must_use]
pub fn say_plan(plan: &Plan) -> String {
    let mut text = format!("leg {}, settings {:08X}\n", plan.leg_name(), plan.identity());
    for condition in Condition::ALL {
        let (row, acts) = (plan.row(condition.rank()), plan.acts(condition.rank()));
        if acts & act::JUDGED == 0 {
            let _ = writeln!(text, "{:<24}not judged", condition.name());
            continue;
        }
        let setpoint = Quantity::new(row.setpoint.into(), Field::Limit(condition, LimitPart::Setpoint).unit());
        let delay = f64::from(row.on_delay) / 1e6;
        let does = if acts & act::STOP != 0 {
            "stop"
        } else if acts & act::DROP_FEED != 0 {
            "drop feed"
        } else {
            "alarm"
        };
        let latches = if acts & act::LATCHING != 0 { ", latches" } else { "" };
        let _ = writeln!(text, "{:<24}{:<12}for {delay} s  {does}{latches}", condition.name(), setpoint.to_string());
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
            let title = condition.entry().title;
            format!("{title}: {}, at {value}, setpoint {}", state_words(*to), told(*setpoint))
        }
        Change::Permit { permit, allowed, because } => {
            let which = if *permit == Permit::Run { "Run permit" } else { "Feed permit" };
            let verb = if *allowed { "given" } else { "dropped" };
            let why = because.map_or_else(String::new, |because| format!(": {}", lower(because.entry().title)));
            format!("{which} {verb}{why}")
        }
        Change::FirstOut(Some(condition)) => format!("Tripped first: {}", lower(condition.entry().title)),
        Change::FirstOut(None) => "Trip reset".to_owned(),
        Change::Phase(phase) => format!("The leg is {}", phase_words(*phase)),
        other => capital(&change_name(other).replace('_', " ").replace(':', ": ")),
    }
}

#[cfg(test)]
mod tests {
    use slackside::Monitor;

    use super::*;

    /// It judges nothing, so nothing that it might have judged is said to be well.
    #[test]
    fn a_box_without_a_plan_knows_nothing() {
        let monitor: Box<Monitor<&Plan>> = Box::new(Monitor::new());
        let status = LinkStatus::of(&monitor, Micros::new(5), false, 0);
        let own = BoxStatus {
            faults: 0,
            run_given: false,
            feed_given: false,
            supervised_shafts: [false; 2],
            supervised_contacts: [false; 4],
            refused: Refused::default(),
            waits_for_press: false,
        };
        let text = say_status(&status, &own);
        for line in ["slip ", "slip heat", "wrong", "latched", "to be seen"] {
            assert!(text.lines().any(|said| said.starts_with(line) && said.contains("not known")), "{line}: {text}");
        }
        assert!(!text.contains(" %") && !text.contains("given"), "{text}");
    }
}
