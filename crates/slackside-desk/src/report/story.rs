//! The story of a replay, told once: the terminal, the page and the object all say the same.

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Place, Shaft, Signal};
use slackside::settings::{Action, Field, LimitPart, Limits, Targets};
use slackside::units::{Micros, Ppm};
use slackside::verdict::{Change, Permit, Phase, Verdict};

use super::because::{Because, because};
use super::causes::place;
use super::clock::Clock;
use super::figures;
use super::sources::{Sources, Told};
use crate::replay::{FirstOut, Outcome, Peak, Row, refusal_name};
use crate::trace::Channel;

/// How long before the first-out the run-up is shown, in microseconds.
const BEFORE_US: [u64; 7] = [10_000_000, 5_000_000, 3_000_000, 2_000_000, 1_000_000, 500_000, 0];

/// The core counts slip heat up to four budgets, less a millionth.
const MOST_HEAT: Ppm = Ppm::new(3_999_999);

/// A motor that is on for longer than this after the run permit was dropped did not obey it: contactors take less.
const RAN_ON_US: u64 = 1_000_000;
/// The detail of a shifted ratio that lies above the one in force.
const ABOVE: u8 = 2;

/// How much a story matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Importance {
    /// The leg was stopped.
    Stop,
    /// Alarms came, but no stop.
    Alarm,
    /// Neither.
    Quiet,
    /// No stop in what could be read, but not all of it could.
    Incomplete,
}

impl Importance {
    /// One word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Stop => "STOPPED",
            Self::Alarm => "ALARM",
            Self::Quiet => "NO STOP, NO ALARM",
            Self::Incomplete => "PART OF THE RECORDING IS DAMAGED, A STOP MAY BE MISSING",
        }
    }
}

/// One row of the run-up. What is not known is a dash.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RunUpRow {
    /// Seconds before the first-out.
    pub before: String,
    /// Head shaft, rpm.
    pub head: String,
    /// Belt, in the unit of [`Story::belt_unit`].
    pub belt: String,
    /// Slip over one boot turn.
    pub slip_short: String,
    /// Slip over four boot turns.
    pub slip_long: String,
    /// Where they come from.
    pub from: Sources,
}

impl RunUpRow {
    /// Whether anything in it is not known.
    #[must_use]
    pub fn has_unknown(&self) -> bool {
        [&self.head, &self.belt, &self.slip_short, &self.slip_long].into_iter().any(|cell| cell == "–")
    }
}

/// Something that happened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// When, as on the trace.
    pub at: Micros,
    /// When, as people read it.
    pub time: String,
    /// What.
    pub what: String,
    /// Whether it dropped something or raised an alarm.
    pub bad: bool,
    /// Where its numbers come from.
    pub from: Sources,
}

/// The story of a replay.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Story {
    /// How much it matters.
    pub importance: Importance,
    /// What spoils the whole story, such as settings that are not the leg's.
    pub warnings: Vec<String>,
    /// One line.
    pub headline: String,
    /// Where its numbers come from, and those of what to check.
    pub headline_from: Sources,
    /// What it means, sentence by sentence.
    pub meaning: Vec<Told>,
    /// The unit of belt speeds.
    pub belt_unit: &'static str,
    /// The seconds before the first-out, if there was one.
    pub run_up: Vec<RunUpRow>,
    /// What came before it.
    pub before: Vec<Event>,
    /// What came with it and after.
    pub after: Vec<Event>,
    /// How many events are left out of both lists.
    pub left_out: usize,
    /// The permits at the end, and what a restart needs.
    pub permits: Vec<Told>,
    /// What was watched and known.
    pub known: Vec<Told>,
    /// What was not.
    pub unknown: Vec<Told>,
    /// What to check first.
    pub findings: Vec<Because>,
}

impl Story {
    /// Tell the story of an outcome, with at most `events` events on each side of the first-out.
    #[must_use]
    pub fn of(outcome: &Outcome, events: usize) -> Self {
        let clock = outcome.clock();
        let first_out = outcome.first_outs.first();
        let alarmed = outcome.raised.iter().any(|raised| raised.times > 0);
        let importance = match (first_out, alarmed) {
            (Some(_), _) => Importance::Stop,
            (None, _) if outcome.part_unread => Importance::Incomplete,
            (None, true) => Importance::Alarm,
            (None, false) => Importance::Quiet,
        };
        let (before, after, left_out) = event_lists(outcome, clock, events);
        Self {
            importance,
            warnings: outcome.cautions.clone(),
            headline: headline(outcome, clock),
            headline_from: headline_from(outcome),
            meaning: what_it_means(outcome),
            belt_unit: figures::belt_unit(outcome.feet),
            run_up: first_out.map_or_else(Vec::new, |_| run_up(outcome)),
            before,
            after,
            left_out,
            permits: permits(outcome, clock),
            known: known(outcome, clock),
            unknown: unknown(outcome, clock),
            findings: because(outcome),
        }
    }
}

fn headline(outcome: &Outcome, clock: Clock) -> String {
    if let Some(first_out) = outcome.first_outs.first() {
        let title = title_of(first_out.condition, first_out.detail);
        return match value_against_setpoint(first_out) {
            Some(figures) => format!("{title} at {}: {figures}.", clock.at(first_out.at)),
            None => format!("{title} at {}.", clock.at(first_out.at)),
        };
    }
    let alarms: Vec<Condition> =
        Condition::ALL.into_iter().filter(|condition| outcome.raised[condition.rank()].times > 0).collect();
    match alarms[..] {
        [] => format!("Nothing tripped in {}.", read(outcome)),
        [only] => format!("Nothing tripped in {}, but an alarm came: {}.", read(outcome), lower(only.entry().title)),
        [worst, ..] => format!(
            "Nothing tripped in {}, but {} alarms came, the gravest: {}.",
            read(outcome),
            alarms.len(),
            lower(worst.entry().title)
        ),
    }
}

fn headline_from(outcome: &Outcome) -> Sources {
    let Some(first_out) = outcome.first_outs.first() else { return Sources::all_rows(outcome) };
    Sources::how("By this row, and the silence after it; where a delay is set it ended then.")
        .row(outcome.row_of_verdict(first_out.at))
        .limit(first_out.condition)
}

/// How long the trace is; how long what could be read of it is, where that is not all.
fn read(outcome: &Outcome) -> String {
    if outcome.part_unread { format!("the {} that could be read", span(outcome)) } else { span(outcome) }
}

fn span(outcome: &Outcome) -> String {
    Clock::length(outcome.last().get().saturating_sub(outcome.first().get()))
}

/// "15.3 % slip, setpoint 15.0 %", where there is a value to speak of.
fn value_against_setpoint(first_out: &FirstOut) -> Option<String> {
    let unit = first_out.condition.unit();
    let subject = figures::subject(first_out.condition);
    if unit == slackside::conditions::Unit::Flag || subject.is_empty() {
        return None;
    }
    let setpoint = figures::value(unit, first_out.setpoint);
    Some(match first_out.value {
        // The value is that of the moment; while a delay ran it may have come back a little, within the deadband.
        Some(value) if value.unsigned_abs() < first_out.setpoint.unsigned_abs() => {
            format!("{} {subject} by then, after it had passed the setpoint {setpoint}", figures::value(unit, value))
        }
        Some(value) => format!("{} {subject}, setpoint {setpoint}", figures::value(unit, value)),
        None => format!("value not known, setpoint {setpoint}"),
    })
}

fn what_it_means(outcome: &Outcome) -> Vec<Told> {
    let mut lines = Vec::new();
    if let Some(first_out) = outcome.first_outs.first() {
        let setpoint = Sources::default().field(Field::Limit(first_out.condition, LimitPart::Setpoint));
        lines.push(Told::new(first_out.condition.entry().meaning, setpoint));
        let delay = outcome.settings.limits.of(first_out.condition).on_delay.get();
        if delay > 0 {
            lines.push(Told::new(
                format!(
                    "It had to last {} s before the leg was stopped, so that a passing jerk stops nothing.",
                    figures::trimmed(f64::from(delay) / 1e6, 3)
                ),
                Sources::default().field(Field::Limit(first_out.condition, LimitPart::OnDelay)),
            ));
        }
        if outcome.first_outs.len() > 1 {
            lines.push(Told::new(
                format!(
                    "Later in the trace {} more; this is the first of them.",
                    match outcome.first_outs.len() - 1 {
                        1 => "there was one trip".to_owned(),
                        more => format!("there were {more} trips"),
                    }
                ),
                Sources::all_rows(outcome),
            ));
        }
        return lines;
    }
    for condition in Condition::ALL.into_iter().filter(|condition| outcome.raised[condition.rank()].times > 0).take(3) {
        let entry = condition.entry();
        let from = Sources::default().limit(condition);
        lines.push(Told::new(format!("{}: {}", entry.title, entry.meaning), from));
    }
    lines.push(
        "That nothing tripped does not mean that the leg is sound: only what was watched can trip, and only while it was \
         known. See below what was not."
            .into(),
    );
    lines
}

fn run_up(outcome: &Outcome) -> Vec<RunUpRow> {
    BEFORE_US
        .into_iter()
        .map(|before_us| {
            let before = if before_us == 0 {
                "trip".to_owned()
            } else {
                format!("{} s before", figures::trimmed(before_us as f64 / 1e6, 1))
            };
            let sample = outcome.run_up.known_before(before_us, &outcome.settings.machine).unwrap_or_default();
            RunUpRow {
                before,
                head: figures::rpm(sample.head),
                belt: figures::belt(sample.belt, outcome.feet),
                slip_short: figures::slip(sample.slip_short),
                slip_long: figures::slip(sample.slip_long),
                from: run_up_from(outcome, before_us),
            }
        })
        .collect()
}

/// What was known at a moment before the trip is known from the newest edges by then.
fn run_up_from(outcome: &Outcome, before_us: u64) -> Sources {
    let at = outcome.run_up.until().map_or(Micros::ZERO, |until| Micros::new(until.get().saturating_sub(before_us)));
    let edge = |wanted: Shaft| {
        outcome.window.newest(at, |signal| matches!(signal, Signal::Edge(shaft, _) if *shaft == wanted))
    };
    Sources::how("By the shafts' newest edges:").row(edge(Shaft::Head)).row(edge(Shaft::Boot))
}

fn event_lists(outcome: &Outcome, clock: Clock, most: usize) -> (Vec<Event>, Vec<Event>, usize) {
    let split = outcome.first_outs.first().map_or(u64::MAX, |first_out| first_out.at.get());
    let mut before: Vec<Event> = Vec::new();
    let mut after: Vec<Event> = Vec::new();
    for (verdict, row) in outcome.verdicts.iter().zip(&outcome.verdict_rows) {
        if let Some((what, bad)) = event_words(Some(&outcome.settings.limits), verdict) {
            let from = event_from(verdict).row(*row);
            let event = Event { at: verdict.at, time: clock.short(verdict.at), what, bad, from };
            if verdict.at.get() < split { &mut before } else { &mut after }.push(event);
        }
    }
    let kept = usize::try_from(outcome.verdicts_in_all).unwrap_or(usize::MAX).saturating_sub(outcome.verdicts.len());
    // Of what came before, the newest matter most; of what came after, the oldest. Of both, the other end is shown too.
    let left_out = shorten(&mut before, most / 4, most) + shorten(&mut after, most - most / 4, most);
    (before, after, left_out + kept)
}

/// The settings that the numbers of an event come from.
fn event_from(verdict: &Verdict) -> Sources {
    match verdict.change {
        Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => Sources::default().limit(condition),
        _ => Sources::default(),
    }
}

/// Keep `most` events, the first `first` and the newest, with a line where the rest was; how many were left out.
fn shorten(events: &mut Vec<Event>, first: usize, most: usize) -> usize {
    let left_out = events.len().saturating_sub(most);
    if left_out == 0 {
        return 0;
    }
    let at = events.get(first).map_or(Micros::ZERO, |event| event.at);
    let what = format!("({left_out} more here)");
    events.splice(
        first..first + left_out,
        [Event { at, time: String::new(), what, bad: false, from: Sources::how("Counted for this list.") }],
    );
    left_out
}

/// A verdict in words, and whether it is bad news; without the limits it is not told what an alarm does. `None`: not worth a line.
#[must_use]
pub fn event_words(limits: Option<&Limits>, verdict: &Verdict) -> Option<(String, bool)> {
    Some(match verdict.change {
        Change::Alarm { condition, from, to, value, setpoint, detail } => {
            let title = condition.entry().title;
            match to {
                AlarmState::Unacknowledged => {
                    let figures =
                        value_against_setpoint(&FirstOut { at: verdict.at, condition, value, setpoint, detail });
                    let does = limits.map_or("", |limits| match limits.of(condition).action {
                        Action::Alarm => " (alarm)",
                        Action::DropFeed => " (alarm, drops the feed)",
                        Action::Stop => " (stops the leg)",
                    });
                    let at = place_of(condition, detail).or_else(|| distrust_of(condition, detail));
                    let at = at.map_or_else(String::new, |what| format!(", {what}"));
                    let figures = figures.map_or_else(String::new, |figures| format!(": {figures}"));
                    let title = title_of(condition, detail);
                    (format!("{title}{at}{does}{figures}"), true)
                }
                AlarmState::LatchedUnacknowledged | AlarmState::LatchedAcknowledged => {
                    (format!("{title}: no longer so, latched until reset"), false)
                }
                AlarmState::ReturnedUnacknowledged => (format!("{title}: over, not acknowledged"), false),
                AlarmState::Acknowledged => (format!("{title}: acknowledged"), false),
                AlarmState::Normal if !matches!(from, AlarmState::Suppressed | AlarmState::OutOfService) => {
                    (format!("{title}: back to normal"), false)
                }
                AlarmState::Shelved => (format!("{title}: bypassed by a person"), true),
                AlarmState::Normal | AlarmState::Suppressed | AlarmState::OutOfService => return None,
            }
        }
        Change::Permit { permit, allowed, because } => {
            let name = permit_name(permit);
            let why = because.map_or_else(String::new, |why| format!(": {}", lower(why.entry().title)));
            let verb = if allowed { "given" } else { "dropped" };
            (format!("{name} {verb}{why}"), !allowed)
        }
        // The alarm beside it says it better.
        Change::FirstOut(Some(_)) => return None,
        Change::FirstOut(None) => ("Trip reset".to_owned(), false),
        Change::Phase(phase) => (format!("The leg is {}", phase_words(phase)), false),
        Change::Accepted(_, command) => (format!("Command taken: {}", command_words(command)), false),
        Change::Refused(_, command, refusal) => {
            (format!("Command refused: {} ({})", command_words(command), refusal_name(refusal).replace('_', " ")), true)
        }
        Change::ProofTest { passed: true } => ("Proof test passed: the leg was stopped".to_owned(), false),
        Change::ProofTest { passed: false } => ("Proof test failed: nothing stopped the leg".to_owned(), true),
    })
}

fn place_of(condition: Condition, detail: u8) -> Option<&'static str> {
    matches!(
        condition,
        Condition::Mistracking
            | Condition::MistrackingDuty
            | Condition::RubAtOnePlace
            | Condition::MistrackingSustained
            | Condition::RubHot
            | Condition::ContactFault
    )
    .then(|| Place::ALL.get(usize::from(detail)).copied().map(place))
    .flatten()
}

/// The title of a condition that was raised. A boot whose pitches scatter is not called a fault of its sensor: it may surge.
const fn title_of(condition: Condition, detail: u8) -> &'static str {
    match (condition, detail) {
        (Condition::BootSensorFault, slackside::signals::distrust::SCATTER) => "Boot surges or sensor trembles",
        _ => condition.entry().title,
    }
}

/// Why a sensor's signal is not trusted, where the title does not say it: the gravest of the reasons.
#[must_use]
pub fn distrust_of(condition: Condition, detail: u8) -> Option<&'static str> {
    use slackside::signals::distrust;
    if !matches!(condition, Condition::HeadSensorFault | Condition::BootSensorFault) {
        return None;
    }
    let reasons = [
        (distrust::LINE_OPEN, "its wire is cut"),
        (distrust::LINE_SHORTED, "its wire is shorted"),
        (distrust::BRIDGED, "its wire carries the head's pulses"),
        (distrust::EDGES_LOST, "edges were lost on the way"),
        (distrust::HUM, "hum or noise, or it bounces for longer than minimum_width"),
        (distrust::REJECTS, "too many rejected edges: noise, or it bounces for longer than minimum_width"),
        (distrust::TOO_FAST, "faster than the shaft can go: noise, or it bounces for longer than minimum_width"),
    ];
    reasons.into_iter().find(|(reason, _)| detail & reason != 0).map(|(_, words)| words)
}

const fn permit_name(permit: Permit) -> &'static str {
    match permit {
        Permit::Run => "Run permit",
        Permit::Feed => "Feed permit",
    }
}

/// What a leg does, in words.
#[must_use]
pub const fn phase_words(phase: Phase) -> &'static str {
    match phase {
        Phase::Unsure => "not known to turn or to stand",
        Phase::Standstill => "proven at standstill",
        Phase::Starting => "starting",
        Phase::Running => "running",
        Phase::CoastDown => "running down",
        Phase::Inching => "inching",
    }
}

fn command_words(command: slackside::input::Command) -> String {
    let mut words = Vec::new();
    crate::trace::write_command(slackside::input::Origin::Leg, command, &mut words);
    String::from_utf8_lossy(&words).replace('_', " ")
}

/// Whether shafts turned from standstill and nothing has shown since that they stopped: nobody may be told that the leg stands.
fn may_turn(outcome: &Outcome) -> bool {
    outcome.standing().any(|(condition, state)| {
        condition == Condition::Rollback && matches!(state, AlarmState::Unacknowledged | AlarmState::Acknowledged)
    })
}

fn permits(outcome: &Outcome, clock: Clock) -> Vec<Told> {
    let status = &outcome.status;
    let mut lines: Vec<Told> = Vec::new();
    let word = |given: bool| if given { "given" } else { "dropped" };
    lines.push(
        format!(
            "At the end of the trace: run permit {}, feed permit {}, leg {}.",
            word(status.run_permit),
            word(status.feed_permit),
            if may_turn(outcome) {
                "may be turning: its shafts turned after it stood"
            } else {
                phase_words(status.phase)
            }
        )
        .into(),
    );
    if !outcome.run_ever_given {
        lines.push("The run permit was never given while the trace lasted.".into());
    }
    if let Some(at) = outcome.run_dropped {
        let from = Sources::how("By this row, or the silence after it.").row(outcome.row_of_verdict(at));
        lines.push(Told::new(format!("The run permit was dropped at {}.", clock.at(at)), from));
    }
    if let Some(ran_on) = outcome.ran_on_us.filter(|ran_on| *ran_on > RAN_ON_US) {
        lines.push(Told::new(
            format!(
                "The motor stayed on for {} after that: in this trace it did not obey the run permit. What came later is not what \
                 a leg wired to it would have done.",
                Clock::length(ran_on)
            ),
            Sources::how("By the drive contact, the channel `drive`, after this row.")
                .row(outcome.run_dropped.and_then(|at| outcome.row_of_verdict(at))),
        ));
    }
    if let Some((at, condition)) = outcome.feed_dropped {
        lines.push(Told::new(
            format!(
                "The feed permit was first dropped by a condition at {}: {}.",
                clock.at(at),
                lower(condition.entry().title)
            ),
            Sources::how("By this row, or the silence after it.").row(outcome.row_of_verdict(at)).limit(condition),
        ));
    }
    let restart = match (status.first_out.is_some(), status.boot_cleared_needed) {
        (true, true) => {
            Some("Before a restart somebody must look into the boot, clear it, report it clear, and reset at the leg.")
        }
        (true, false) => Some("Before a restart somebody must reset at the leg."),
        (false, true) => Some("Before a restart somebody must look into the boot, clear it and report it clear."),
        (false, false) => None,
    };
    lines.extend(restart.map(Told::from));
    let standing: Vec<String> = outcome
        .standing()
        .map(|(condition, state)| format!("{} ({})", lower(condition.entry().title), state_words(state)))
        .collect();
    if !standing.is_empty() {
        lines.push(format!("Alarms standing at the end: {}.", standing.join(", ")).into());
    }
    lines
}

/// The state of an alarm, in words.
#[must_use]
pub const fn state_words(state: AlarmState) -> &'static str {
    match state {
        AlarmState::Normal => "normal",
        AlarmState::Unacknowledged => "not acknowledged",
        AlarmState::Acknowledged => "acknowledged",
        AlarmState::ReturnedUnacknowledged => "over, not acknowledged",
        AlarmState::LatchedUnacknowledged => "latched, not acknowledged",
        AlarmState::LatchedAcknowledged => "latched, acknowledged",
        AlarmState::Shelved => "bypassed",
        AlarmState::Suppressed => "suppressed by design",
        AlarmState::OutOfService => "out of service",
    }
}

fn known(outcome: &Outcome, clock: Clock) -> Vec<Told> {
    let all_rows = || Sources::all_rows(outcome);
    let reaches = format!(
        "The trace reaches from {} to {} ({} rows). What came after it is not known.",
        clock.at(outcome.first()),
        clock.at(outcome.last()),
        outcome.survey.rows
    );
    let mut lines: Vec<Told> = outcome.origin.iter().map(|line| line.as_str().into()).collect();
    lines.push(Told::new(reaches, all_rows()));
    lines.extend(clock.note().map(|note| Told::new(note, all_rows())));
    lines.push(format!("Watched: {}.", watched(outcome).join(", ")).into());
    if outcome.running_us > 0 && outcome.sees_slip() {
        let running = format!(
            "The leg was running for {}; slip was known for {:.1} % of that.",
            Clock::length(outcome.running_us),
            100.0 * outcome.slip_known_us as f64 / outcome.running_us as f64
        );
        lines.push(Told::new(running, all_rows()));
    } else if outcome.running_us > 0 {
        let running = format!("The leg was running for {}.", Clock::length(outcome.running_us));
        lines.push(Told::new(running, all_rows()));
    }
    let peak = |peak: Option<Peak>, window: &str| {
        peak.map(|peak| {
            let at_least = if peak.at_least { "at least " } else { "" };
            let (value, at) = (figures::percent(peak.value), clock.at(peak.at));
            let words = format!("Largest slip over {window}: {at_least}{value} at {at}.");
            let how =
                "Head turns held against boot turns times the no-slip ratio, up to this row or the silence after it.";
            Told::new(words, Sources::how(how).row(peak.row).slip())
        })
    };
    lines.extend(peak(outcome.peak_short, "one boot turn"));
    lines.extend(peak(outcome.peak_long, "four boot turns"));
    if outcome.sees_slip() {
        let or_more = if outcome.peak_heat >= MOST_HEAT { " or more" } else { "" };
        let heat = format!("Most slip heat: {}{or_more} of its budget.", figures::percent(outcome.peak_heat));
        lines.push(Told::new(
            heat,
            Sources::how("Slip times power, added up over the whole trace and cooling down.").heat(),
        ));
    }
    lines
}

fn watched(outcome: &Outcome) -> Vec<String> {
    let machine = &outcome.settings.machine;
    // Fitted, and yet not a word of it in the trace: it must not read as watched.
    let is_mute = |channel: Channel| outcome.survey.count(channel) == 0;
    let several = |fitted: [bool; Place::COUNT], one: &str, channel: fn(Place) -> Channel| {
        let of = || Place::ALL.into_iter().filter(|place| fitted[place.index()]);
        let (all, mute) = (of().count(), of().filter(|place| is_mute(channel(*place))).count());
        let what = format!("{all} {one}{}", if all == 1 { "" } else { "s" });
        match mute {
            _ if all == 0 => None,
            0 => Some(what),
            mute if mute == all => Some(format!("{what} (no row in this trace)")),
            mute => Some(format!("{what} (no row of {mute} in this trace)")),
        }
    };
    let heard = |is_fitted: bool, name: &str, channel: Channel| {
        is_fitted.then(|| format!("{name}{}", if is_mute(channel) { " (no row in this trace)" } else { "" }))
    };
    [
        heard(machine.head_targets.is_some(), "head shaft", Channel::Edge(Shaft::Head)),
        heard(machine.boot_targets.is_some(), "boot shaft", Channel::Edge(Shaft::Boot)),
        heard(machine.drive_contact, "drive contact", Channel::Drive),
        several(machine.contacts.map(|contact| contact.is_some()), "rub contact", Channel::Rub),
        several(machine.temperatures, "rub temperature", Channel::Temperature),
        heard(machine.power_meter, "power", Channel::Power),
        heard(machine.speed_reference.is_some(), "speed reference", Channel::SpeedReference),
        heard(machine.outlet_switch, "outlet switch", Channel::OutletPlugged),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn unknown(outcome: &Outcome, clock: Clock) -> Vec<Told> {
    let machine = &outcome.settings.machine;
    let mut lines: Vec<Told> = outcome.notes.iter().map(|note| plain_names(note).into()).collect();
    if machine.head_targets.is_none() {
        lines.push(
            "There is no head sensor, so slip was not watched: a slow belt may be slip, a choke or the drive, and a slip \
             that the drive makes up for goes unseen."
                .into(),
        );
    }
    let unsupervised = |targets: &Option<Targets>| targets.is_some_and(|targets| !targets.supervised);
    let wires = match (unsupervised(&machine.head_targets), unsupervised(&machine.boot_targets)) {
        (true, true) => Some("The wires of head and boot sensor are"),
        (true, false) => Some("The wire of the head sensor is"),
        (false, true) => Some("The wire of the boot sensor is"),
        (false, false) => None,
    };
    if let Some(wires) = wires {
        lines.push(
            format!("{wires} not supervised: a cut wire looks like a shaft that stands, and is treated as one.").into(),
        );
    }
    let places: Vec<&str> =
        Place::ALL.into_iter().filter(|place| machine.contacts[place.index()].is_none()).map(place).collect();
    if places.len() == Place::COUNT {
        lines.push("There are no rub contacts: where the belt runs was not watched.".into());
    } else if !places.is_empty() {
        lines.push(format!("No rub contact is fitted at: {}.", places.join("; ")).into());
    }
    if !machine.power_meter && outcome.sees_slip() {
        lines.push("Power was not measured: slip heat is reckoned with rated power, whatever the load.".into());
    }
    if machine.accepted_ratio.is_none() && outcome.sees_slip() {
        lines.push(
            "Nobody has accepted a learned no-slip ratio: slip is held against the one that the diameters give.".into(),
        );
    }
    lines.extend(shifted(outcome, clock));
    if !machine.drive_contact {
        lines.push("The drive contact is not wired: whether the motor was on is judged from the shafts alone.".into());
    }
    let bypassed: Vec<&str> = Condition::ALL
        .into_iter()
        .filter(|condition| !outcome.settings.limits.of(*condition).enabled)
        .map(|condition| condition.entry().title)
        .collect();
    if !bypassed.is_empty() {
        lines.push(format!("Switched off in the settings: {}.", bypassed.join(", ")).into());
    }
    let all_rows = || Sources::all_rows(outcome);
    let warnings = outcome.warnings.iter().map(|warning| capital(&plain_names(&warning.to_string())));
    lines.extend(warnings.map(|warning| Told::new(warning, all_rows())));
    lines
}

/// Slip against a ratio that was not the leg's is not known to better than that; and what reads below zero is no slip at all.
fn shifted(outcome: &Outcome, clock: Clock) -> Vec<Told> {
    let raised = |wanted: Condition| {
        let of = |(verdict, row): (&Verdict, &Option<Row>)| match verdict.change {
            Change::Alarm { condition, to: AlarmState::Unacknowledged, value, detail, .. } if condition == wanted => {
                Some((verdict.at, value.unwrap_or(0), detail, *row))
            }
            _ => None,
        };
        outcome.verdicts.iter().zip(&outcome.verdict_rows).find_map(of)
    };
    let ratio = raised(Condition::RatioShifted).map(|(at, shift, detail, row)| {
        let (shift, at) = (figures::percent(Ppm::new(shift)), clock.at(at));
        let words = if detail == ABOVE {
            format!("Told at {at}, and true for a while before: the no-slip ratio was off by {shift}. Slip read too low by as much, and slip heat with it.")
        } else {
            format!("Told at {at}, and true for a while before: the no-slip ratio was off by {shift}, or the belt slipped by as much all the time.")
        };
        Told::new(words, Sources::default().limit(Condition::RatioShifted).row(row))
    });
    let below = raised(Condition::SlipNegative).map(|(at, _, _, row)| {
        let words =
            format!("From {} on slip read below zero: how much the belt slipped then is not known.", clock.at(at));
        Told::new(words, Sources::default().limit(Condition::SlipNegative).row(row))
    });
    ratio.into_iter().chain(below).collect()
}

/// Conditions by their titles in place of their names in files. What stands between backticks is a name in a file, and stays.
fn plain_names(text: &str) -> String {
    let plain = |text: &str| {
        // Some names are words of ordinary speech; those in files are told by their underscore.
        Condition::ALL
            .into_iter()
            .filter(|condition| condition.name().contains('_'))
            .fold(text.to_owned(), |text, condition| {
                text.replace(condition.name(), &format!("\"{}\"", condition.entry().title))
            })
    };
    let pieces = text.split('`').enumerate();
    let pieces: Vec<String> =
        pieces.map(|(at, piece)| if at % 2 == 0 { plain(piece) } else { piece.to_owned() }).collect();
    pieces.join("`")
}

/// A title inside a sentence.
#[must_use]
pub fn lower(title: &str) -> String {
    let mut letters = title.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().collect::<String>() + letters.as_str())
}

/// A sentence's beginning.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;
    use slackside::signals::distrust;
    use slackside::units::Micros;

    fn said(detail: u8) -> String {
        let change = Change::Alarm {
            condition: Condition::BootSensorFault,
            from: AlarmState::Normal,
            to: AlarmState::Unacknowledged,
            value: Some(1),
            setpoint: 1,
            detail,
        };
        event_words(Some(&Limits::STARTING), &Verdict { at: Micros::new(1), change }).expect("worth a line").0
    }

    #[test]
    fn names_in_files_stay_as_they_are() {
        let told = plain_names("slip_high is off: 1 row on `outlet_plugged`, and `outlet_plugged` is slip_high");
        assert_eq!(told, "\"Slip high\" is off: 1 row on `outlet_plugged`, and `outlet_plugged` is \"Slip high\"");
    }

    #[test]
    fn a_boot_that_surges_is_not_called_a_sensor_fault() {
        assert_eq!(said(distrust::SCATTER), "Boot surges or sensor trembles (stops the leg)");
        assert!(said(distrust::LINE_OPEN).starts_with("Boot sensor fault, its wire is cut"));
    }

    #[test]
    fn a_sensor_that_bounces_for_too_long_names_the_minimum_width() {
        for reason in [distrust::HUM, distrust::REJECTS, distrust::TOO_FAST, distrust::HUM | distrust::REJECTS] {
            assert!(said(reason).contains("bounces for longer than minimum_width"), "{}", said(reason));
        }
    }
}
