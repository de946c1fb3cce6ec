//! The course of the leg, its alarms and its permits.

mod people;
mod permits;

use slackside::alarm::AlarmState;
use slackside::conditions::{Condition, Gate, Sense};
use slackside::input::{Place, Shaft, Signal};
use slackside::judge::Status;
use slackside::settings::plan::{Plan, RowPlan, ShaftPlan, act, fitted};
use slackside::signals::{Reading, ShaftSignals, Signals, moved, pattern};
use slackside::time::SWEEP;
use slackside::verdict::{Change, Phase};

use crate::heat::Heat;
use crate::look::{Gates, Look, Says};
use crate::reference::Reference;
use crate::rest::Rest;
use crate::speed::{Speed, ratio, share};

/// One step of the count in which starts, bypasses and inching end, in microseconds.
pub const SLOW: u64 = 1_024;
const HALF_AN_HOUR: u64 = 1_800_000_000;

/// One alarm.
#[derive(Clone, Copy, Debug, Default)]
pub struct Alarm {
    pub out: bool,
    pub beyond: bool,
    pub active: bool,
    pub unacknowledged: bool,
    pub latched: bool,
    pub suppressed: bool,
    pub shelved: bool,
    /// When the delay that runs ends.
    pub due: Option<u64>,
    /// The newest value beyond while the on-delay ran, in whole 32 of its unit.
    noted: i32,
    /// Whether that is what the alarm was told with.
    pub tells_noted: bool,
}

impl Alarm {
    fn state(&self) -> AlarmState {
        match (self.active, self.latched, self.unacknowledged) {
            _ if self.shelved => AlarmState::Shelved,
            (true, _, true) => AlarmState::Unacknowledged,
            (true, _, false) => AlarmState::Acknowledged,
            (false, true, true) => AlarmState::LatchedUnacknowledged,
            (false, true, false) => AlarmState::LatchedAcknowledged,
            (false, false, true) => AlarmState::ReturnedUnacknowledged,
            _ if self.out => AlarmState::OutOfService,
            _ if self.suppressed => AlarmState::Suppressed,
            _ => AlarmState::Normal,
        }
    }

    fn holds(&self) -> bool {
        !self.shelved && (self.active || self.latched)
    }
}

#[derive(Clone)]
pub struct Judge<'a> {
    pub plan: &'a Plan,
    pub now: u64,
    begun: Option<u64>,
    pub signals: Signals,
    pub said: Vec<Change>,
    /// Whether slip heat is beyond its limit: the core says so.
    pub hot: bool,
    /// Whether the core steps now: it notes since when slip is unknown only then.
    pub core_steps: bool,

    pub phase: Phase,
    pub alarms: Vec<Alarm>,
    first_out: Option<usize>,
    raised: Option<usize>,
    run: bool,
    feed: bool,
    boot_needed: bool,

    drive: Option<bool>,
    pub opened: Option<u64>,
    /// Until when the start may take, while it does.
    window: Option<u64>,
    at_speed: bool,
    pub start_failed: bool,
    /// Boot pitches in a row at speed, none of them surely slow.
    brisk: u32,
    pub unpermitted: bool,
    from_speed: bool,
    off_at: u64,
    coast_down: Option<u64>,
    turned: bool,
    head_brisk: bool,
    brisk_at: u64,
    pub rest: Rest,
    /// When changes of the drive contact, starts, late inputs and returns of the feed count no more.
    changes: Vec<u64>,
    pub starts: Vec<u64>,
    pub lates: Vec<u64>,
    returns: Vec<u64>,
    feed_dropped: bool,
    pub feed_hunts: bool,
    pub slip_unknown: Option<u64>,
    pub reference: Reference,
    pub heat: Heat,
    /// The power meter's newest reading, and when it came.
    power: Option<(u32, u64)>,
    pub temperatures: [Option<i16>; Place::COUNT],
    pub outlet: bool,
    key: bool,
    pub pressed: Option<u64>,
    pub bypassed: Option<usize>,
    bypass_began: u64,
    bypass_end: u64,
    inch_end: u64,
    /// A proof test, and whether the run permit dropped in it.
    proof: Option<bool>,
}

/// Keep the newest so many.
fn push(list: &mut Vec<u64>, end: u64, most: usize) {
    list.push(end);
    if list.len() > most {
        list.remove(0);
    }
}

impl<'a> Judge<'a> {
    pub fn new(plan: &'a Plan) -> Self {
        let alarm = |rank: usize| Alarm { out: plan.acts(rank) & act::JUDGED == 0, ..Alarm::default() };
        Self {
            plan,
            now: 0,
            begun: None,
            signals: Signals::NONE,
            said: Vec::new(),
            hot: false,
            core_steps: true,
            phase: Phase::Unsure,
            alarms: (0..Condition::COUNT).map(alarm).collect(),
            first_out: None,
            raised: None,
            run: false,
            feed: false,
            boot_needed: false,
            drive: None,
            opened: None,
            window: None,
            at_speed: false,
            start_failed: false,
            brisk: 0,
            unpermitted: false,
            from_speed: false,
            off_at: 0,
            coast_down: None,
            turned: false,
            head_brisk: false,
            brisk_at: 0,
            rest: Rest::default(),
            changes: Vec::new(),
            starts: Vec::new(),
            lates: Vec::new(),
            returns: Vec::new(),
            feed_dropped: false,
            feed_hunts: false,
            slip_unknown: None,
            reference: Reference::new(0),
            heat: Heat::new(&plan.drive),
            power: None,
            temperatures: [None; Place::COUNT],
            outlet: false,
            key: false,
            pressed: None,
            bypassed: None,
            bypass_began: 0,
            bypass_end: 0,
            inch_end: 0,
            proof: None,
        }
    }

    // What it is told.

    /// It is that late now.
    pub fn begin_or_go_on(&mut self, now: u64) {
        let sweeps = |at: u64| self.begun.map(|begun| (at - begun) / u64::from(SWEEP));
        if sweeps(self.now.max(self.begun.unwrap_or(0))) != sweeps(now) {
            self.heat.settle_for_it();
        }
        self.now = now;
        if self.begun.is_none() {
            self.begun = Some(now);
            (self.off_at, self.brisk_at) = (now, now);
            self.reference = Reference::new(now);
            self.heat.feed(0, now);
        }
        self.step();
    }

    pub fn moved(&mut self, bits: u8, signals: &Signals) {
        self.signals = *signals;
        let slip = self.signals.short;
        if slip.is_known() && self.phase != Phase::Standstill && !self.waits_for_head() {
            self.hear_slip(slip);
        }
        self.follow(bits);
        self.step();
    }

    fn hear_slip(&mut self, slip: Reading) {
        // Far enough below zero it may be slip with the sensors swapped.
        let below = slip.most.saturating_neg();
        let is_below = below >= self.limit(Condition::SlipNegative).limit;
        let counts = if is_below { below.min(100_000) } else { slip.least };
        let watts = self.watts();
        self.heat.hear(counts, slip.is_open(), watts, self.now);
    }

    /// The power that slip takes its share of: none while the leg stands or its drive is off, unless the head turns at speed.
    fn watts(&self) -> u32 {
        let stands = self.drive_off() || self.phase == Phase::Standstill;
        let measured = self.power.filter(|(watts, at)| *watts > 0 && self.now - at < 60_000_000);
        match measured {
            _ if stands && !Look::of(self).head_turns() => 0,
            Some((watts, _)) if self.plan.has(fitted::POWER_METER) => watts,
            _ => self.plan.drive.assumed_power,
        }
    }

    pub fn late(&mut self) {
        push(&mut self.lates, self.now / SLOW + 60_000_000 / SLOW + 1, 16);
        self.step();
    }

    pub fn signal(&mut self, signal: Signal) {
        match signal {
            Signal::DriveRunning(on) => self.drive(on),
            Signal::DrivePower(watts) => self.power = Some((watts.get(), self.now)),
            Signal::SpeedReference(share) => self.reference.read(self.plan, share.get(), self.now),
            Signal::Temperature(place, celsius) => self.temperatures[place.index()] = Some(celsius.get()),
            Signal::OutletPlugged(plugged) => self.outlet = plugged,
            Signal::Command(origin, command) => self.command(origin, command),
            _ => {}
        }
        self.step();
    }

    // What is so.

    pub fn status(&self) -> Status {
        let condition = |rank: Option<usize>| rank.and_then(Condition::of_rank);
        Status {
            run_permit: self.run,
            feed_permit: self.feed,
            phase: self.phase,
            first_out: condition(self.first_out),
            boot_cleared_needed: self.boot_needed,
            bypassed: condition(self.bypassed),
        }
    }

    pub fn alarm(&self, condition: Condition) -> AlarmState {
        self.alarms[condition.rank()].state()
    }

    pub fn has_contact(&self) -> bool {
        self.plan.has(fitted::DRIVE_CONTACT)
    }

    pub fn drive_off(&self) -> bool {
        self.has_contact() && self.drive == Some(false)
    }

    pub fn limit(&self, condition: Condition) -> &'a RowPlan {
        self.plan.row(condition.rank())
    }

    /// A turn at nameplate speed takes longer at less.
    pub fn scaled(&self, turn: u32) -> u32 {
        ratio(turn.into(), 1_000_000, self.reference.scale.into()) as u32
    }

    pub fn head(&self) -> Speed<'_> {
        Speed::new(&self.signals.head, &self.plan.head, self.now, self.opened)
    }

    pub fn boot(&self) -> Speed<'_> {
        Speed::new(&self.signals.boot, &self.plan.boot, self.now, self.opened)
    }

    pub fn is_running(&self) -> bool {
        self.phase == Phase::Running && !self.drive_off()
    }

    /// A start from standstill has not moved the head yet.
    pub fn waits_for_head(&self) -> bool {
        matches!(self.phase, Phase::Starting | Phase::Inching) && self.rest.head.since(&self.signals.head) == 0
    }

    pub fn slip_counts(&self) -> bool {
        !self.alarms[Condition::HeadSilent.rank()].beyond && !self.waits_for_head()
    }

    fn is_brisk(&self) -> bool {
        let under = self.limit(Condition::Underspeed);
        let (boot, turn) = (self.boot(), |limit: i32| self.scaled(limit.unsigned_abs()));
        boot.is_fast(turn(under.clear)) && !boot.shaft.too_slow(turn(under.limit))
    }

    fn at_speed_now(&self) -> bool {
        self.brisk >= 2 && self.is_brisk()
    }

    /// How long ago the newest edge of either shaft came.
    fn newest_edge(&self) -> Option<u64> {
        let ago = |shaft: &ShaftSignals| shaft.is_seen().then(|| self.ago(shaft.last_edge));
        ago(&self.signals.head).into_iter().chain(ago(&self.signals.boot)).min()
    }

    pub fn ago(&self, stamp: u32) -> u64 {
        (self.now as u32).wrapping_sub(stamp).into()
    }

    fn head_is_slow(&self) -> bool {
        let limit = self.scaled(self.plan.drive.head_deep);
        self.head().is_silent(limit) || self.head().is_slow(limit)
    }

    /// Whether the drive contact changes too often.
    pub fn contact_chatters(&self) -> bool {
        let within = |end: u64, window: u64| end - 10_000_000 + window > self.now;
        let chatter = self.changes.iter().filter(|end| within(**end, 2_000_000)).count() > 4;
        chatter || (self.changes.len() > 10 && self.phase != Phase::Inching)
    }

    pub fn contact_lies(&self) -> bool {
        let off = self.now - self.off_at;
        let coasts = self.phase == Phase::CoastDown;
        let boot = &self.signals.boot;
        let driven = boot.is_seen()
            && off >= self.ago(boot.last_edge) + 10_000_000
            && self.boot().is_fast(self.scaled(self.limit(Condition::Underspeed).clear.unsigned_abs()));
        self.contact_chatters() || coasts && (driven || off >= 60_000_000)
    }

    pub fn runs_unpermitted(&self) -> bool {
        self.unpermitted && (self.has_contact() || self.head().is_fast(self.scaled(self.plan.head.brisk)))
    }

    /// How long after the drive went off the newest edge came.
    fn since_off(&self) -> Option<u64> {
        self.newest_edge().map(|edge| (self.now - self.off_at).saturating_sub(edge))
    }

    pub fn stopped_too_soon(&self) -> bool {
        let pitch = |shaft: &ShaftPlan| self.scaled(share(shaft.largest, shaft.normal_turn) as u32);
        let four = 4 * u64::from(pitch(&self.plan.head).min(pitch(&self.plan.boot)));
        let set = Some(u64::from(self.plan.drive.coast_down)).filter(|set| *set > 0);
        let Some(shortest) = set.into_iter().chain(self.coast_down).min() else { return false };
        shortest / 2 >= four && self.since_off().is_some_and(|took| took < shortest / 2)
    }

    // What it does.

    fn set_phase(&mut self, phase: Phase) {
        if self.phase == phase {
            return;
        }
        self.phase = phase;
        self.said.push(Change::Phase(phase));
        match phase {
            Phase::CoastDown => self.rest.begin(&self.signals),
            Phase::Standstill => {
                self.rest.came_to_rest(&self.signals, self.now);
                (self.opened, self.window, self.at_speed, self.start_failed) = (None, None, false, false);
                if !self.has_contact() {
                    self.unpermitted = false;
                }
                self.heat.slip = 0;
            }
            _ => {}
        }
    }

    fn drive(&mut self, on: bool) {
        let known = self.drive.is_some();
        let same = self.drive == Some(on);
        self.drive = Some(on);
        if !self.has_contact() || same {
            return;
        }
        if known {
            push(&mut self.changes, self.now + 10_000_000, 11);
        }
        self.unpermitted = on && !self.run;
        if !on {
            self.off_at = self.now;
            self.start_failed = false;
            match self.phase {
                Phase::Starting | Phase::Running => {
                    self.from_speed = self.phase == Phase::Running && self.at_speed;
                    self.at_speed = false;
                    self.set_phase(Phase::CoastDown);
                }
                Phase::Inching => self.rest.begin(&self.signals),
                _ => {}
            }
            return;
        }
        let may_still_start = self.window.is_some_and(|end| end > self.now);
        match self.phase {
            Phase::Standstill => self.open_start(),
            Phase::Unsure if !self.turned => self.open_start(),
            Phase::CoastDown if may_still_start => self.set_phase(Phase::Starting),
            Phase::CoastDown if self.from_speed && self.belt_follows() => self.open_start(),
            Phase::CoastDown | Phase::Unsure => {
                self.window = None;
                self.set_phase(Phase::Running);
            }
            _ => {}
        }
    }

    fn belt_follows(&self) -> bool {
        let slip = self.signals.short;
        let most = self.limit(Condition::SlipHigh).limit;
        slip.is_exact() && slip.least.unsigned_abs() < most.unsigned_abs() && !self.is_brisk()
    }

    fn open_start(&mut self) {
        self.opened = Some(self.now);
        self.window = Some(self.now + u64::from(self.plan.drive.start_time));
        (self.at_speed, self.start_failed, self.feed_dropped, self.brisk) = (false, false, false, 0);
        push(&mut self.starts, self.now / SLOW + u64::from(self.plan.drive.start_window), 8);
        self.set_phase(Phase::Starting);
    }

    fn end_inching(&mut self) {
        if self.phase != Phase::Inching {
            return;
        }
        self.changes.clear();
        if self.drive_off() {
            (self.off_at, self.from_speed) = (self.now, false);
            self.set_phase(Phase::CoastDown);
        } else {
            self.set_phase(Phase::Running);
        }
    }

    /// The course of the leg follows what moved.
    fn follow(&mut self, bits: u8) {
        let plan = self.plan;
        if bits & moved::BOOT != 0 {
            let limit = self.scaled(self.limit(Condition::Underspeed).limit.unsigned_abs());
            let slow = self.signals.boot.pitch == 0 || self.signals.boot.too_slow(limit);
            self.brisk = if slow { 0 } else { self.brisk + u32::from(self.is_brisk()) };
        }
        self.turned |= self.signals.head.pitch != 0 || self.signals.boot.pitch != 0;
        let stands = self.phase == Phase::Standstill;
        if stands || self.phase == Phase::CoastDown {
            let (signals, off) = (self.signals, Some(self.off_at));
            let brisk = |shaft: &ShaftPlan| if stands { u32::MAX } else { shaft.standing / 2 };
            let chatters =
                |shaft: &ShaftPlan| ratio(shaft.sudden.into(), 1_000_000, plan.drive.reference_minimum.into()) as u32;
            if bits & moved::HEAD != 0 {
                let speed = Speed::new(&signals.head, &plan.head, self.now, off);
                self.rest.head_edge(&speed, brisk(&plan.head), chatters(&plan.head));
            }
            if bits & moved::BOOT != 0 {
                let speed = Speed::new(&signals.boot, &plan.boot, self.now, off);
                self.rest.boot_edge(&speed, brisk(&plan.boot), chatters(&plan.boot));
            }
        }
        if bits & moved::HEAD != 0 && !self.has_contact() {
            let brisk = self.head().is_fast(self.scaled(plan.head.brisk));
            if self.head_brisk && !brisk {
                self.brisk_at = self.now - self.head().edge - u64::from(self.signals.head.pitch);
            }
            self.head_brisk = brisk;
            match self.phase {
                Phase::Standstill if !self.rest.settles || self.rest.head.runs_away() => {
                    self.unpermitted = !self.run;
                    self.open_start();
                }
                Phase::Unsure => self.set_phase(Phase::Running),
                _ => {}
            }
        }
        if self.phase == Phase::Standstill {
            let newest = self.now - self.newest_edge().unwrap_or(0);
            self.rest.stands(&self.signals, newest);
        }
    }

    /// Everything that is so now, from the beginning.
    fn step(&mut self) {
        let (now, slow) = (self.now, self.now / SLOW);
        self.end_delays();
        // What a command sets off comes after the moment of the command.
        if self.bypassed.is_some() && slow >= self.bypass_end && now > self.bypass_began {
            self.end_bypass();
        }
        self.starts.retain(|end| *end > slow);
        self.changes.retain(|end| *end > now);
        self.lates.retain(|end| *end > slow);
        self.settle_phase();
        let judged = |condition: Condition| self.plan.acts(condition.rank()) & act::JUDGED != 0;
        let (running, head) = (self.is_running(), self.head());
        let mut reference = self.reference;
        reference.settle(self.plan, &head, running && judged(Condition::ReferenceFault), now);
        let known = self.slip_counts() && self.signals.short.is_known();
        let unknown = running && judged(Condition::SlipHeat) && !known;
        let guesses = self.slip_unknown.is_some_and(|since| now - since >= 5_000_000);
        if self.core_steps {
            self.slip_unknown = if unknown { self.slip_unknown.or(Some(now)) } else { None };
        }
        self.reference = reference;
        if self.core_steps && unknown && guesses {
            // From how much slower than normal the belt is, less what a load may make of that.
            let normal = ratio(self.plan.boot.normal.into(), self.reference.scale.into(), 1_000_000) as u32;
            self.heat.slip = (self.boot().loss(normal).unwrap_or(0) - 50_000).max(0);
        }
        let watts = self.watts();
        if watts == 0 && (self.drive_off() || self.phase == Phase::Standstill) {
            self.heat.settle_for_it();
        }
        self.heat.feed(watts, now);

        self.look();
        let rollback = self.alarms[Condition::Rollback.rank()];
        if self.phase == Phase::Standstill && rollback.beyond && !rollback.out {
            (self.off_at, self.from_speed) = (now, false);
            self.set_phase(Phase::CoastDown);
            self.look();
        }
        if self.resolve() {
            self.look();
            self.resolve();
        }
    }

    fn settle_phase(&mut self) {
        let up = self.window.is_some_and(|end| end <= self.now);
        match self.phase {
            Phase::Starting if self.at_speed_now() || up => {
                if self.at_speed_now() {
                    self.at_speed = true;
                } else {
                    self.start_failed = true;
                }
                self.window = None;
                self.set_phase(Phase::Running);
            }
            Phase::Running if self.at_speed_now() => self.at_speed = true,
            Phase::Inching if self.now / SLOW >= self.inch_end => self.end_inching(),
            Phase::Standstill => self.rest.settle(&self.signals, self.now),
            Phase::CoastDown if up => self.window = None,
            _ => {}
        }
        if self.stands() {
            self.learn_coast_down();
            self.set_phase(Phase::Standstill);
        }
    }

    /// Whether silence proves standstill: of each shaft that is fitted, since its last edge, since the drive went off and since power-up.
    fn stands(&self) -> bool {
        let (contact, off) = (self.has_contact(), self.drive_off());
        let may = match self.phase {
            Phase::Unsure => off || !contact,
            Phase::CoastDown => true,
            Phase::Starting | Phase::Running => !contact,
            Phase::Standstill | Phase::Inching => false,
        };
        let mut quiet = self.now - self.begun.expect("begun");
        if off {
            quiet = quiet.min(self.now - self.off_at);
        }
        let silent = |shaft: &ShaftSignals, plan: &ShaftPlan| {
            let seen = shaft.is_seen();
            let largest = if seen && shaft.next_largest != 0 { shaft.next_largest } else { plan.largest };
            let quiet = if seen { quiet.min(self.ago(shaft.last_edge)) } else { quiet };
            let longest = share(largest, plan.standing);
            !plan.is_fitted() || longest < slackside::time::FAR.into() && quiet > longest
        };
        let any = self.plan.head.is_fitted() || self.plan.boot.is_fitted();
        let alone = contact || self.underspeed_has_told();
        may && any
            && alone
            && silent(&self.signals.head, &self.plan.head)
            && silent(&self.signals.boot, &self.plan.boot)
    }

    /// A leg without a drive contact does not stand before its boot was told to be far too slow.
    fn underspeed_has_told(&self) -> bool {
        let (boot, deep) = (&self.signals.boot, self.limit(Condition::DeepUnderspeed));
        let crossed = share(boot.next_largest, self.scaled(deep.limit.unsigned_abs())) + u64::from(deep.on_delay);
        !boot.is_seen() || self.ago(boot.last_edge) >= (crossed + 2).min(u32::MAX.into())
    }

    fn learn_coast_down(&mut self) {
        let slow = |shaft: &ShaftSignals, plan: &ShaftPlan| {
            !plan.is_fitted() || shaft.pitch != 0 && shaft.too_slow(self.scaled(plan.brisk))
        };
        let clean = slow(&self.signals.head, &self.plan.head) && slow(&self.signals.boot, &self.plan.boot);
        if self.phase == Phase::CoastDown && self.from_speed && clean {
            let took = self.since_off().filter(|took| *took > 0);
            self.coast_down = self.coast_down.into_iter().chain(took).min();
        }
    }

    // Alarms.

    fn end_delays(&mut self) {
        for rank in 0..Condition::COUNT {
            // Only what would end now has to wait.
            let Some(due) = self.alarms[rank].due.filter(|due| *due <= self.now) else { continue };
            if !self.alarms[rank].active
                && let Some(told) = Look::of(self).boot_will_tell(rank)
            {
                self.alarms[rank].due = Some(due.max(told));
            }
            self.settle(rank);
        }
    }

    fn settle(&mut self, rank: usize) {
        let alarm = &mut self.alarms[rank];
        if alarm.due.is_none_or(|due| due > self.now) {
            return;
        }
        let from = Alarm { due: None, ..*alarm }.state();
        alarm.due = None;
        alarm.active = !alarm.active;
        if alarm.active {
            if !alarm.shelved {
                self.raise(rank, !self.stops_softly(rank));
            }
        } else if self.may_stop_softly(rank) && self.jammed() && self.plan.acts(rank) & act::LATCHING != 0 {
            self.alarms[rank].latched = true;
            self.boot_needed = true;
        }
        self.tell(rank, from);
    }

    fn tell(&mut self, rank: usize, from: AlarmState) {
        let alarm = self.alarms[rank];
        let to = alarm.state();
        if from == to {
            return;
        }
        let (condition, setpoint) = (Condition::ALL[rank], self.plan.row(rank).setpoint);
        let (mut value, detail) = Look::of(self).value(condition, alarm.beyond);
        let is_raised = alarm.beyond && to == AlarmState::Unacknowledged;
        self.alarms[rank].tells_noted =
            is_raised && alarm.noted >= setpoint && value.is_some_and(|value| value < setpoint);
        if self.alarms[rank].tells_noted {
            value = Some(alarm.noted);
        }
        self.said.push(Change::Alarm { condition, from, to, value, setpoint, detail });
    }

    fn raise(&mut self, rank: usize, stays: bool) {
        let acts = self.plan.acts(rank);
        let soft = self.stops_softly(rank);
        let alarm = &mut self.alarms[rank];
        alarm.unacknowledged = true;
        alarm.latched |= stays && acts & act::LATCHING != 0;
        if acts & act::STOP != 0 {
            self.raised = Some(self.raised.map_or(rank, |raised| raised.min(rank)));
            self.boot_needed |= Condition::ALL[rank].needs_boot_cleared() && !soft;
        }
    }

    fn may_stop_softly(&self, rank: usize) -> bool {
        let slow = rank == Condition::DeepUnderspeed.rank() || rank == Condition::NoMotion.rank();
        slow && !self.has_contact()
    }

    fn stops_softly(&self, rank: usize) -> bool {
        let beyond = |condition: Condition| self.alarms[condition.rank()].beyond;
        let slips = beyond(Condition::SlipHigh) || beyond(Condition::SlipVeryHigh);
        let high = self.signals.short.least >= self.limit(Condition::SlipHigh).limit;
        self.may_stop_softly(rank) && self.head_is_slow() && !slips && !high
    }

    /// Both shafts stand, and the head came to rest sooner after it was at speed than a leg runs down.
    fn jammed(&self) -> bool {
        let took = if self.head_brisk { 0 } else { (self.now - self.brisk_at).saturating_sub(self.head().edge) };
        let set = u64::from(self.plan.drive.coast_down / 4);
        let stands = self.head().is_silent(self.plan.head.standing) && self.boot().is_silent(self.plan.boot.standing);
        stands && took < if set > 0 { set } else { 800_000 }
    }

    /// Whether the head is silent, as its condition finds at this moment.
    fn falls_silent(&self, gates: &Gates) -> bool {
        let rank = Condition::HeadSilent.rank();
        let was = self.alarms[rank].beyond;
        if self.alarms[rank].out {
            return was;
        }
        let judged = gates.opens(Condition::TABLE[rank].gate);
        match if judged { Look::of(self).says(rank, false) } else { Says::Within } {
            Says::Beyond => true,
            Says::Within => false,
            _ => was,
        }
    }

    /// Look at every condition.
    fn look(&mut self) {
        let (gates, suppresses) = (Look::of(self).gates(), matches!(self.phase, Phase::Starting | Phase::Inching));
        let counts = !self.falls_silent(&gates) && !self.waits_for_head();
        for (rank, entry) in Condition::TABLE.iter().enumerate() {
            if self.alarms[rank].out {
                continue;
            }
            let was_suppressed = self.alarms[rank].suppressed;
            let says = if gates.opens(entry.gate) { Look::of(self).says(rank, counts) } else { Says::Within };
            self.sample(rank, says);
            if entry.gate == Gate::LiveOnceStarted && suppresses != was_suppressed {
                let from = self.alarms[rank].state();
                if !suppresses || from == AlarmState::Normal {
                    self.alarms[rank].suppressed = suppresses;
                    self.tell(rank, from);
                }
            }
        }
    }

    fn sample(&mut self, rank: usize, says: Says) {
        let limit = self.plan.row(rank);
        let noted = rank >= 1 && rank <= Condition::FasterThanNormal.rank();
        if says == Says::Beyond && noted && !self.alarms[rank].active {
            let value = Look::of(self).value(Condition::ALL[rank], true).0.unwrap_or(0).max(0);
            self.alarms[rank].noted = ((i64::from(value) + 31) / 32).min(65_535) as i32 * 32;
        }
        let alarm = &mut self.alarms[rank];
        match says {
            Says::Beyond => alarm.beyond = true,
            Says::Within => alarm.beyond = false,
            Says::Unknown | Says::Retracted if alarm.active => alarm.beyond = true,
            Says::Retracted => alarm.beyond = false,
            Says::Hold | Says::Unknown => {}
        }
        if alarm.beyond == alarm.active {
            alarm.due = None;
            return;
        }
        let delay = if alarm.beyond { limit.on_delay } else { limit.off_delay };
        alarm.due = alarm.due.or(Some(self.now + u64::from(delay)));
        self.settle(rank);
    }

    /// Whether a boot that loses edges may have lost some.
    pub fn loses_edges(&self) -> bool {
        self.signals.boot.pattern == pattern::MISSING && self.plan.boot.marks > 3
    }

    /// What a condition looks at.
    pub fn sense(rank: usize) -> Sense {
        Condition::TABLE[rank].sense
    }

    /// One of the two.
    pub fn of(&self, shaft: Shaft) -> Speed<'_> {
        match shaft {
            Shaft::Head => self.head(),
            Shaft::Boot => self.boot(),
        }
    }
}
