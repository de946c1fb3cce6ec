//! What a box says, in words.

use std::fmt::{self, Write};

use slackside::conditions::{Condition, ConditionSet, Unit};
use slackside::input::Place;
use slackside::settings::plan::{LegPlan, Plan, act};
use slackside::settings::{Field, LimitPart, Quantity};
use slackside::signals::{Reading, ShaftSignals, rub, speed, unknown};
use slackside::time::{Now, age};
use slackside::units::{Micros, MicroturnsPerSecond, Ppm};
use slackside::verdict::{Change, Refusal, Verdict};
use slackside::wire::{BoxStatus, LinkStatus, Reason, Refused, flags};
use slackside_box::fault::Faults;

use slackside_desk::lines::{counted, fill};
use slackside_desk::replay::{change_name, place_name};
use slackside_desk::report::{capital, event_words, lower, phase_words, state_words};

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
            "there is nothing to do: no alarm waits to be acknowledged, or no proof test runs (or one does already); look with `status`"
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

/// The columns that the name of a thing takes, before what is said of it.
const NAME: usize = 16;

/// A thing and what is said of it, on a line; longer words go on under their beginning.
pub fn row(text: &mut String, name: &str, words: impl fmt::Display) {
    let (first, rest) = (format!("{name:<NAME$}"), " ".repeat(NAME));
    text.push_str(&fill(&first, &rest, &words.to_string()));
    text.push('\n');
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
    row(
        text,
        name,
        format_args!(
            "{speed}, {}, {} rejected, {line}{trust}",
            counted(shaft.edges.into(), "edge", "edges"),
            shaft.rejected
        ),
    );
}

/// The state of a box, one thing a line.
#[must_use]
pub fn say_status(status: &LinkStatus, own: &BoxStatus) -> String {
    let mut whole = String::new();
    let text = &mut whole;
    let permit = |allowed: bool, given: bool| match (allowed, given) {
        (true, true) => "given",
        (true, false) => "allowed, but its contacts are not closed",
        (false, false) => "dropped",
        (false, true) => "DROPPED, BUT ITS CONTACTS ARE CLOSED",
    };
    row(text, "leg", phase_words(status.phase()));
    row(text, "run permit", permit(status.is(flags::RUN_PERMIT), own.run_given));
    row(text, "feed permit", permit(status.is(flags::FEED_PERMIT), own.feed_given));
    row(text, "key", if status.is(flags::KEY_ON) { "on" } else { "off" });
    if let Some(first) = status.first_out() {
        row(text, "first out", lower(first.entry().title));
    }
    if status.is(flags::BOOT_CLEARED_NEEDED) {
        row(text, "boot", "must be looked into and reported clear at the leg");
    }
    let [head_line, boot_line] = own.supervised_shafts;
    let signals = &status.signals;
    for (name, of, fitted, supervised) in
        [("head", &signals.head, flags::HEAD_FITTED, head_line), ("boot", &signals.boot, flags::BOOT_FITTED, boot_line)]
    {
        if status.is(fitted) {
            shaft(name, of, status.at(), supervised, text);
        }
    }
    let slip = |reading| slip(reading, signals.unknown == unknown::RETRACTED);
    let (short, long) = (slip(signals.short), slip(signals.long));
    row(text, "slip", format_args!("{short} over one turn, {long} over four"));
    // Every plan has targets on the boot; a box without one judges nothing.
    let judges = status.is(flags::BOOT_FITTED);
    let known = |what: String| if judges { what } else { "not known".to_owned() };
    let heat = known(format!("{} of its budget", percent(Ppm::new(status.slip_heat))));
    row(text, "slip heat", heat);
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
        row(text, &place, format_args!("{state}, {duty} of the last belt loop{line}"));
    }
    row(text, "wrong", known(names(status.wrong())));
    row(text, "latched", known(names(status.latched())));
    row(text, "unacknowledged", known(names(status.unacknowledged())));
    if status.shelved().iter().next().is_some() {
        row(text, "BYPASSED", names(status.shelved()));
    }
    if own.waits_for_press {
        row(text, "WAITS", "for a person at the box to confirm new settings");
    }
    let Refused { count, first, last } = own.refused;
    if count > 0 {
        let at = |at: Micros| format!("{:.1} s", at.get() as f64 / 1e6);
        let several = if count == 1 { "" } else { "s" };
        let when = format!("the first at {}, the last at {}", at(first), at(last));
        row(text, "refused", format_args!("{count} command{several} by a link since power-up, {when}"));
    }
    for fault in Faults::from_bits(own.faults).iter() {
        row(text, "FAULT", fault.says());
    }
    whole
}

/// What a plan has a condition do: the setpoint, for how long it must be beyond, and what comes of it.
fn limit(plan: &Plan, condition: Condition) -> [String; 3] {
    let (row, acts) = (plan.row(condition.rank()), plan.acts(condition.rank()));
    if acts & act::JUDGED == 0 {
        return ["not judged".to_owned(), String::new(), String::new()];
    }
    let setpoint = match condition.unit() {
        // There is no more or less of it.
        Unit::Flag => "-".to_owned(),
        _ => Quantity::new(row.setpoint.into(), Field::Limit(condition, LimitPart::Setpoint).unit()).to_string(),
    };
    let delay = match row.on_delay {
        0 => "at once".to_owned(),
        delay => format!("after {} s", f64::from(delay) / 1e6),
    };
    let does = if acts & act::STOP != 0 {
        "stop"
    } else if acts & act::DROP_FEED != 0 {
        "drop feed"
    } else {
        "alarm"
    };
    let latches = if acts & act::LATCHING != 0 { ", latches" } else { "" };
    [setpoint, delay, format!("{does}{latches}")]
}

/// What a box runs on, one condition a line.
#[must_use]
pub fn say_plan(plan: &Plan) -> String {
    let mut text = format!("leg {}, settings {:08X}\n", plan.leg_name(), plan.identity());
    let _ = writeln!(text, "{:<24}{:<12}{:<14}does", "condition", "setpoint", "delay");
    for condition in Condition::ALL {
        let [setpoint, delay, does] = limit(plan, condition);
        let line = format!("{:<24}{setpoint:<12}{delay:<14}{does}", condition.name());
        let _ = writeln!(text, "{}", line.trim_end());
    }
    text
}

/// In what the plan of a settings file differs from that of a box, a thing a line.
#[must_use]
pub fn say_difference(of_box: &Plan, of_file: &Plan) -> Vec<String> {
    let mut lines = Vec::new();
    let (leg, other) = (of_box.leg_name(), of_file.leg_name());
    if leg != other {
        lines.push(format!("the box runs {leg}, the file is of {other}"));
    }
    // The turn time of the head at a limit is told with the limit.
    let drive = |plan: &Plan| LegPlan { head_deep: 0, ..plan.drive };
    let machine = [
        (
            of_box.fitted != of_file.fitted,
            "drive contact, power meter, speed reference, outlet switch, supervised wires: which there are",
        ),
        (of_box.contacts != of_file.contacts, "rub contacts and temperatures: which there are, or how they are read"),
        (of_box.head != of_file.head, "head shaft: targets or speed"),
        (of_box.boot != of_file.boot, "boot shaft: targets or speed"),
        (of_box.slip != of_file.slip, "no-slip ratio, or the boot pulley"),
        (drive(of_box) != drive(of_file), "speed, starts, power, or the budget of slip heat"),
        (of_box.unloaded != of_file.unloaded, "speed of the head unloaded, by which the load of days is told"),
        (of_box.minimum_width != of_file.minimum_width, "minimum width of a level"),
    ];
    let is_same_machine = machine.iter().all(|(differs, _)| !differs);
    lines.extend(machine.into_iter().filter(|(differs, _)| *differs).map(|(_, what)| what.to_owned()));
    for condition in Condition::ALL {
        let (in_box, in_file) = (limit(of_box, condition), limit(of_file, condition));
        let (row, other) = (of_box.row(condition.rank()), of_file.row(condition.rank()));
        let said = |limit: &[String; 3]| limit.join(" ").trim_end().to_owned();
        if in_box != in_file {
            lines.push(format!("{}: box {}; file {}", condition.name(), said(&in_box), said(&in_file)));
        } else if row.off_delay != other.off_delay {
            lines.push(format!("{}: off-delay", condition.name()));
        } else if is_same_machine && row != other {
            // On another machine the same deadband comes to other turn times.
            lines.push(format!("{}: deadband", condition.name()));
        }
    }
    lines
}

/// One verdict.
#[must_use]
pub fn say_event(verdict: &Verdict) -> String {
    match (event_words(None, verdict), verdict.change) {
        (Some((words, _)), _) => words,
        (None, Change::Alarm { condition, to, .. }) => format!("{}: {}", condition.entry().title, state_words(to)),
        (None, Change::FirstOut(Some(condition))) => format!("Tripped first: {}", lower(condition.entry().title)),
        (None, other) => capital(&change_name(&other).replace('_', " ").replace(':', ": ")),
    }
}

#[cfg(test)]
mod tests {
    use slackside::Monitor;
    use slackside::settings::Settings;

    use super::*;

    #[test]
    fn what_differs_is_told_and_nothing_that_follows_from_it() {
        let plan = |settings: Settings| settings.check().expect("sound").plan();
        let of_box = plan(Settings::example());
        assert_eq!(say_difference(&of_box, &of_box), Vec::<String>::new());
        let changed = |change: &dyn Fn(&mut Settings)| {
            let mut settings = Settings::example();
            change(&mut settings);
            say_difference(&of_box, &plan(settings))
        };
        let told =
            changed(&|settings| settings.limits.change(Condition::DeepUnderspeed, |limit| limit.setpoint = 130_000));
        assert_eq!(told, ["deep_underspeed: box 14 % after 0.5 s stop, latches; file 13 % after 0.5 s stop, latches"]);
        let told = changed(&|settings| settings.limits.change(Condition::Underspeed, |limit| limit.deadband += 1_000));
        assert_eq!(told, ["underspeed: deadband"]);
        let told = changed(&|settings| settings.machine.outlet_switch = true);
        assert_eq!(
            told[0],
            "drive contact, power meter, speed reference, outlet switch, supervised wires: which there are"
        );
        assert!(told.iter().all(|line| !line.contains("deadband")), "{told:?}");
    }

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
        for line in ["slip ", "slip heat", "wrong", "latched", "unacknowledged"] {
            assert!(text.lines().any(|said| said.starts_with(line) && said.contains("not known")), "{line}: {text}");
        }
        assert!(!text.contains(" %") && !text.contains("given"), "{text}");
    }
}
