//! A cell of the table, played on the box.

use slackside::input::Shaft;
use slackside::verdict::{Change, Permit};
use slackside_box::bench::{Panel, Rig, WATCHDOG_OPENS_WITHIN};

use super::{BeltStop, Make, Must, Row, State, Word};

/// The key of the boxes here.
const KEY: [u8; 16] = *b"the bench's key.";
/// From stopping until the run permit must be seen dropped where a belt stands, in milliseconds.
const BELT_STOP_MS: u64 = 3_000;
/// What comes out at a stop is waited for so long.
const AFTERWARDS_MS: u64 = 6_000;
/// A leg that a belt has stopped stands after so long, and that is known.
const STANDS_MS: u64 = 12_000;
/// What is said to do nothing is watched for so long.
const WATCHED_MS: u64 = 10_000;
/// A round looked at closely, and one of the many of a day, in microseconds: below what a box may stay away.
const CLOSE_US: u64 = 1_000;
const FAR_US: u64 = 40_000;
/// The leg runs for so long of a day: an hour, and what it needs to be at speed.
const OF_A_DAY_MS: u64 = 62 * 60_000;
/// What takes a day is not told sooner.
const NOT_BEFORE_MS: u64 = 23 * 3_600_000;

/// What happened, in milliseconds of true time.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Played {
    /// The run permit was dropped so long after the fault.
    pub stopped_ms: Option<u64>,
    /// The same, after the start.
    pub stopped_after_start_ms: Option<u64>,
    /// The run permit's coils went off so long after the fault, whatever the contacts do.
    pub dropped_ms: Option<u64>,
    /// The feed permit was dropped so long after the fault.
    pub unfed_ms: Option<u64>,
    /// The alarm output fell so long after the fault.
    pub alarmed_ms: Option<u64>,
    /// The same, after the start.
    pub alarmed_after_start_ms: Option<u64>,
    /// The alarm that dropped the run permit, where it was one.
    pub stopped_by: Option<Word>,
    /// Everything told since the fault, in order, and so long after it.
    pub said: Vec<(u64, Word)>,
    /// The motor was switched off so long after the fault.
    pub off_ms: Option<u64>,
    /// The belt was stopped so long after the fault.
    pub belt_stood_ms: u64,
    /// The motor was off so long after the belt stood; 0 if it was off before.
    pub belt_stop_ms: Option<u64>,
}

/// A rig in this state, its box told nothing but what it sees.
fn brought_to(row: &Row, state: State) -> Rig {
    let plan = (row.settings)().check().expect("sound settings").plan();
    let panel = Panel::new();
    // A plain contact that opens on rub is closed.
    panel.plain.set(true);
    let wires = (row.wire)(&panel);
    let mut rig = Rig::start_wired(Rig::set_up(&KEY, &plan), Rig::layout(), panel, wires);
    rig.temperature = plan.contacts.temperatures.ne(&0).then_some(250);
    rig.second_clock = row.two_clocks.then_some(0);
    rig.space(Shaft::Boot, row.boot_pitches);
    if row.proves_watchdog {
        rig.sensor_box.watchdog_opens_within(WATCHDOG_OPENS_WITHIN);
    }
    rig.make_ready();
    if state != State::Stopped {
        assert!(rig.start_up(), "it starts");
        rig.run(match state {
            State::Starting => 1_200,
            _ if row.boot_pitches.is_empty() => 12_000,
            // Until the box has seen twice how uneven targets lie.
            _ => 40_000,
        });
    }
    if state == State::Running {
        assert!(rig.panel.may_feed(), "it is fed: {:?}", rig.sensor_box.monitor().status());
    }
    rig.changes.clear();
    rig.faults.clear();
    rig
}

/// Watches a rig from the moment something failed.
struct Watch {
    rig: Rig,
    failed: u64,
    started: Option<u64>,
    beats: (i32, u64),
    played: Played,
}

impl Watch {
    fn since(&self, from: u64) -> u64 {
        (self.rig.now - from) / 1_000
    }

    /// One round.
    fn on(&mut self, micros: u64) {
        self.rig.round_after(micros);
        let after = self.since(self.failed);
        let after_start = self.started.map(|started| self.since(started));
        let Self { rig, played, beats, .. } = self;
        if !rig.panel.may_run() {
            played.stopped_ms.get_or_insert(after);
            played.stopped_after_start_ms = played.stopped_after_start_ms.or(after_start);
        }
        if !rig.panel.coils[0].get() {
            played.dropped_ms.get_or_insert(after);
        }
        if !rig.panel.may_feed() {
            played.unfed_ms.get_or_insert(after);
        }
        if !rig.alarm_shows_well() {
            played.alarmed_ms.get_or_insert(after);
            played.alarmed_after_start_ms = played.alarmed_after_start_ms.or(after_start);
        }
        for (_, change) in rig.changes.drain(..) {
            let word = match change {
                Change::Alarm { condition, to, .. } if to.holds() => Word::Alarm(condition),
                Change::Permit { permit: Permit::Run, allowed: false, because: Some(condition) } => {
                    played.stopped_by.get_or_insert(Word::Alarm(condition));
                    continue;
                }
                _ => continue,
            };
            played.said.push((after, word));
        }
        played.said.extend(rig.faults.drain(..).map(|fault| (after, Word::Box(fault))));
        let written = rig.panel.heartbeat.writes();
        if written != beats.0 {
            *beats = (written, rig.now);
        } else if rig.now - beats.1 > 50_000 && !played.said.iter().any(|(_, word)| *word == Word::Heart) {
            played.said.push((after, Word::Heart));
        }
    }

    /// Until `done`, or so long.
    fn until(&mut self, most_ms: u64, done: impl Fn(&Self) -> bool) {
        self.until_by(CLOSE_US, most_ms, done);
    }

    /// The same, in rounds of so many microseconds.
    fn until_by(&mut self, micros: u64, most_ms: u64, done: impl Fn(&Self) -> bool) {
        for _ in 0..most_ms * 1_000 / micros {
            if done(self) {
                return;
            }
            self.on(micros);
        }
    }

    /// A day in which the leg runs for an hour, until something is told.
    fn day(&mut self, most_ms: u64) {
        if !self.rig.motor_runs() {
            self.start();
        }
        self.until_by(FAR_US, OF_A_DAY_MS, |_| false);
        self.rig.press_stop();
        let left_ms = most_ms.saturating_sub(self.since(self.failed));
        self.until_by(FAR_US, left_ms, |watch| watch.played.alarmed_ms.is_some());
    }

    /// A person presses start, if it may be started; it runs until it is at speed and fed, and some more.
    fn start(&mut self) {
        self.started = Some(self.rig.now);
        // What was told at rest stands for itself.
        self.played.stopped_after_start_ms = None;
        self.rig.start_up();
        self.until(12_000, |watch| !watch.rig.motor_runs());
    }
}

/// Play it; the failure as a sentence, if it is one.
pub fn play(row: &Row, state: State) -> (Played, Result<(), String>) {
    let must = row.must[state as usize];
    let mut rig = brought_to(row, state);
    match row.make {
        Make::While(fails) => fails(&mut rig),
        Make::OverPower(becomes) => {
            let panel = rig.panel.clone();
            let mut chip = rig.power_down();
            becomes(&mut chip);
            panel.drive.set(false);
            for pin in panel.coils.iter().chain([&panel.alarm, &panel.heartbeat]) {
                pin.set(false);
            }
            let wires = (row.wire)(&panel);
            rig = Rig::start_wired(chip, Rig::layout(), panel, wires);
        }
    }
    let failed = rig.now;
    let beats = (rig.panel.heartbeat.writes(), failed);
    let mut watch = Watch { rig, failed, started: None, beats, played: Played::default() };
    match must {
        Must::AlarmWithADay { within_ms, .. } => watch.day(within_ms),
        _ => watch.until(most_ms(must), |_| false),
    }
    let rests = state == State::Stopped || matches!(must, Must::AlarmWithADay { .. });
    let may_start = rests && watch.rig.panel.may_run() && !watch.rig.motor_runs();
    if may_start {
        watch.start();
        if let Must::StopOnceStarted { within_ms, .. } | Must::AlarmOnceStarted { within_ms, .. } = must {
            watch.until(within_ms.saturating_sub(12_000), |_| false);
        }
    }
    // Now the belt stands.
    watch.played.belt_stood_ms = watch.since(failed);
    let runs = watch.rig.motor_runs();
    let stands = watch.rig.now;
    watch.rig.stop_belt();
    watch.until(BELT_STOP_MS, |watch| !watch.rig.motor_runs());
    watch.played.belt_stop_ms = (!watch.rig.motor_runs()).then(|| if runs { watch.since(stands) } else { 0 });
    // What comes out at the stop itself.
    watch.until(AFTERWARDS_MS, |_| false);
    if let Must::OnceOff { within_ms, .. } = must {
        watch.played.off_ms = Some(watch.since(failed));
        watch.rig.press_stop();
        watch.until(within_ms, |_| false);
    }
    if matches!(must, Must::BeforeNextStart { .. }) {
        watch.rig.belt_grips = true;
        watch.until(STANDS_MS, |_| false);
        watch.rig.clear_up();
        watch.until(AFTERWARDS_MS, |_| false);
    }
    let judged = judge(row, must, &watch);
    (watch.played, judged)
}

/// How long to wait for it.
const fn most_ms(must: Must) -> u64 {
    match must {
        Must::Stop { within_ms, .. } | Must::Alarm { within_ms, .. } | Must::AlarmWithADay { within_ms, .. } => {
            within_ms
        }
        Must::StopOnceStarted { .. } | Must::AlarmOnceStarted { .. } => 2_000,
        Must::AtNextStop { .. }
        | Must::BeforeNextStart { .. }
        | Must::OnceOff { .. }
        | Must::Nothing
        | Must::Unseen(_) => WATCHED_MS,
    }
}

fn judge(row: &Row, must: Must, watch: &Watch) -> Result<(), String> {
    let played = &watch.played;
    let (before, later): (Vec<_>, Vec<_>) = played.said.iter().partition(|(at, _)| *at <= played.belt_stood_ms);
    let in_time = |is: Option<u64>, within_ms: u64, what: &str| match is {
        Some(ms) if ms <= within_ms => Ok(()),
        Some(ms) => Err(format!("{what} after {ms} ms, not within {within_ms}")),
        None => Err(format!("no {what}")),
    };
    let told = |says: Word, among: &[(u64, Word)]| match among.iter().find(|(_, word)| *word == says) {
        Some((at, _)) => Ok(*at),
        None if matches!(says, Word::Off | Word::Itself) => Ok(0),
        None => Err(format!("not told as {says:?} but as {among:?}")),
    };
    // What a stop is told by is what dropped the permit, not what was told beside it.
    let stopped_by = |says: Word| match says {
        Word::Alarm(_) if played.stopped_by == Some(says) => Ok(()),
        Word::Alarm(_) => Err(format!("stopped by {:?}, not by {says:?}; told {before:?}", played.stopped_by)),
        _ => told(says, &before).map(|_| ()),
    };
    match must {
        Must::Stop { within_ms, says } => {
            in_time(played.stopped_ms, within_ms, "stop")?;
            stopped_by(says)?;
        }
        Must::StopOnceStarted { within_ms, says } => {
            in_time(played.stopped_after_start_ms, within_ms, "stop after the start")?;
            stopped_by(says)?;
        }
        Must::Alarm { within_ms, says } => {
            in_time(played.alarmed_ms, within_ms, "alarm")?;
            told(says, &before)?;
        }
        Must::AlarmOnceStarted { within_ms, says } => {
            in_time(played.alarmed_after_start_ms, within_ms, "alarm after the start")?;
            told(says, &before)?;
        }
        Must::AtNextStop { within_ms, says } => {
            let at = told(says, &later)?;
            let dropped = played.dropped_ms.ok_or("the permit was not dropped")?;
            in_time(Some(at.saturating_sub(dropped)), within_ms, "word")?;
            if !before.is_empty() || dropped <= played.belt_stood_ms {
                return Err(format!("it should do nothing yet, and said {before:?}"));
            }
            if watch.rig.alarm_shows_well() {
                return Err("the alarm output did not fall".to_owned());
            }
        }
        Must::BeforeNextStart { says } => {
            told(says, &later)?;
            if !before.is_empty() || watch.rig.panel.may_run() || watch.rig.alarm_shows_well() {
                return Err(format!(
                    "it should do nothing before {says:?}, and then let nothing start: {before:?}, {later:?}"
                ));
            }
        }
        Must::AlarmWithADay { within_ms, says, .. } => {
            in_time(played.alarmed_ms, within_ms, "alarm")?;
            told(says, &before)?;
            let too_soon = played.alarmed_ms.is_some_and(|ms| ms < NOT_BEFORE_MS);
            // The leg was started once more, and ran: else the motor was off as the belt stood.
            if too_soon || before.len() > 1 || played.belt_stop_ms == Some(0) {
                return Err(format!(
                    "it should do nothing but tell {says:?} after a day, and said {before:?}: {played:?}"
                ));
            }
        }
        Must::OnceOff { within_ms, says, .. } => {
            let off = played.off_ms.ok_or("the motor was not switched off")?;
            let at = told(says, &later)?;
            in_time(at.checked_sub(off), within_ms, "word after the motor went off")?;
            if !before.is_empty() || played.stopped_by != Some(says) || watch.rig.panel.may_run() {
                return Err(format!(
                    "it should do nothing yet, and then be stopped by {says:?}: {before:?}, {later:?}"
                ));
            }
        }
        Must::Nothing | Must::Unseen(_) => {
            let quiet = |since: Option<u64>| since.is_none_or(|ms| ms > played.belt_stood_ms);
            if !before.is_empty() || !quiet(played.stopped_ms) || !quiet(played.alarmed_ms) {
                return Err(format!("it should do nothing, and said {before:?}: {played:?}"));
            }
        }
    }
    let seen = match row.belt {
        BeltStop::Stopped => played.belt_stop_ms.is_some(),
        BeltStop::ToldOnly => {
            played.belt_stop_ms.is_none() && !watch.rig.panel.coils[0].get() && !watch.rig.alarm_shows_well()
        }
        BeltStop::Missed => {
            let at_speed = matches!(must, Must::Unseen(_) | Must::OnceOff { .. } | Must::Alarm { .. });
            played.belt_stop_ms.is_none() == at_speed
        }
    };
    if seen {
        Ok(())
    } else {
        Err(format!("a belt that stood: {:?}, the motor off after {:?}", row.belt, played.belt_stop_ms))
    }
}

/// Whether the proof test passes on a leg without any fault and fails on this one.
pub fn finds(row: &Row, proof: super::Proof) -> bool {
    let sound = Row { make: Make::While(|_| {}), wire: Panel::wires, ..*row };
    let mut sound = brought_to(&sound, proof.at());
    let mut faulty = brought_to(row, proof.at());
    if let Make::While(fails) = row.make {
        fails(&mut faulty);
        faulty.run(100);
    }
    proof.passes(&mut sound) && !proof.passes(&mut faulty)
}
