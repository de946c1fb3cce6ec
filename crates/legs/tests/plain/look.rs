//! What each condition says at one moment, and the value and the detail that its alarm goes with.

use slackside::conditions::{Condition, Flag, Gate, Sense, Stamp, Value, Window};
use slackside::input::Shaft;
use slackside::settings::plan::{Plan, RowPlan};
use slackside::signals::{ContactSignals, Reading, pattern, rub, unknown};
use slackside::verdict::Phase;

use crate::judge::Judge;
use crate::speed::{Speed, ratio, share};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Says {
    Beyond,
    Within,
    /// As it was.
    Hold,
    /// As it was, and an alarm stays.
    Unknown,
    /// Within, and an alarm stays.
    Retracted,
}

/// What is judged now.
pub struct Gates {
    phase: Phase,
    off: bool,
    head_turns: bool,
}

impl Gates {
    pub fn opens(&self, gate: Gate) -> bool {
        let Self { phase, off, head_turns } = *self;
        let down = phase == Phase::CoastDown;
        let live = !off && !down && phase != Phase::Standstill;
        let starts = phase == Phase::Starting;
        match gate {
            Gate::Always | Gate::Flagged => true,
            Gate::Live => live || head_turns,
            Gate::LiveOnceStarted => live && !starts && phase != Phase::Inching,
            Gate::LiveOrRunningDown => live || down || head_turns,
            Gate::StartedOrRunningDown => live && !starts || down,
            Gate::Running => phase == Phase::Running && !off,
            Gate::DriveOff => off,
            Gate::Standstill => phase == Phase::Standstill,
        }
    }
}

/// The judge at one moment.
pub struct Look<'a> {
    judge: &'a Judge<'a>,
}

fn says(is: bool) -> Says {
    if is { Says::Beyond } else { Says::Within }
}

fn upper(value: i64, limit: i64, clear: i64) -> Says {
    match value {
        _ if value >= limit => Says::Beyond,
        _ if value < clear => Says::Within,
        _ => Says::Hold,
    }
}

impl<'a> Look<'a> {
    pub fn of(judge: &'a Judge<'a>) -> Self {
        Self { judge }
    }

    fn plan(&self) -> &'a Plan {
        self.judge.plan
    }

    /// Whether the head, as far as is known, turns at 80 % of normal speed or more.
    pub fn head_turns(&self) -> bool {
        let (judge, head) = (self.judge, self.judge.head());
        let brisk = judge.scaled(self.plan().head.brisk);
        let is_trusted = self.plan().head.is_fitted() && judge.signals.head.distrust == 0;
        is_trusted && judge.phase != Phase::Standstill && head.is_fast(brisk) && !head.is_silent(brisk)
    }

    pub fn gates(&self) -> Gates {
        Gates { phase: self.judge.phase, off: self.judge.drive_off(), head_turns: self.head_turns() }
    }

    /// The contacts that are fitted, each with its place.
    fn contacts(&self) -> impl Iterator<Item = (u8, &ContactSignals)> {
        let fitted = self.plan().contacts.fitted;
        (0_u8..).zip(&self.judge.signals.contacts).filter(move |(place, _)| fitted >> place & 1 != 0)
    }

    /// The most of something, and the first place that has it.
    fn most(&self, of: impl Fn(&ContactSignals) -> i64) -> Option<(i64, u8)> {
        self.contacts().map(|(place, contact)| (of(contact), place)).min_by_key(|(value, place)| (-value, *place))
    }

    fn oldest_rub(&self) -> Option<(u64, u8)> {
        let rubs = self.contacts().filter(|(_, contact)| contact.rubs != 0);
        rubs.map(|(place, contact)| (self.judge.ago(contact.since), place))
            .max_by_key(|(lasts, place)| (*lasts, 255 - place))
    }

    fn hottest(&self) -> Option<(i64, u8)> {
        let told = (0_u8..).zip(self.judge.temperatures).filter_map(|(place, told)| Some((i64::from(told?), place)));
        told.min_by_key(|(value, place)| (-value, *place))
    }

    fn faulty(&self) -> Option<u8> {
        self.contacts().find(|(_, contact)| contact.state == rub::FAULTY).map(|(place, _)| place)
    }

    pub fn says(&self, rank: usize, slip_counts: bool) -> Says {
        let (judge, limit) = (self.judge, self.plan().row(rank));
        let (least, clear) = (i64::from(limit.limit), i64::from(limit.clear));
        match Judge::sense(rank) {
            Sense::Flag(flag) => self.flag(flag),
            Sense::Upper(Value::Heat) => says(judge.hot),
            Sense::Upper(value) => self.level(value).map_or(Says::Hold, |value| upper(value, least, clear)),
            Sense::Over(value) => {
                let count = self.level(value).expect("known");
                // At the limit it is as it was.
                upper(count, least + 1, least.max(1))
            }
            Sense::RangeAbove(window) => self.slip(self.reading(window), limit, slip_counts),
            Sense::RangeBelow(window) => {
                let Reading { least, most } = self.reading(window);
                let mirrored = Reading { least: most.saturating_neg(), most: least.saturating_neg() };
                self.slip_or(self.reading(window).is_known(), mirrored, limit, slip_counts)
            }
            Sense::Slow(shaft) => self.slow(shaft, limit),
            Sense::Fast => {
                let (boot, turn) = (judge.boot(), |limit: i32| judge.scaled(limit.unsigned_abs()));
                let normal = turn(limit.clear);
                match boot.is_fast(turn(limit.limit)) {
                    _ if boot.is_silent(normal) || !boot.is_fast(normal) => Says::Within,
                    true => Says::Beyond,
                    false => Says::Hold,
                }
            }
            Sense::Since(stamp) => self.since(stamp).map_or(Says::Within, |lasts| upper(lasts as i64, least, clear)),
            Sense::BothSilent => says(self.both_silent()),
        }
    }

    fn reading(&self, window: Window) -> Reading {
        match window {
            Window::Short => self.judge.signals.short,
            Window::Long => self.judge.signals.long,
        }
    }

    fn slip(&self, reading: Reading, limit: &RowPlan, counts: bool) -> Says {
        self.slip_or(reading.is_known(), reading, limit, counts)
    }

    fn slip_or(&self, known: bool, Reading { least, most }: Reading, limit: &RowPlan, counts: bool) -> Says {
        match known {
            _ if !counts => Says::Unknown,
            false if self.judge.signals.unknown == unknown::RETRACTED => Says::Retracted,
            false => Says::Unknown,
            true if least >= limit.limit => Says::Beyond,
            true if most < limit.clear => Says::Within,
            true => Says::Hold,
        }
    }

    fn flag(&self, flag: Flag) -> Says {
        let (judge, signals) = (self.judge, &self.judge.signals);
        says(match flag {
            Flag::StartFailed => judge.start_failed,
            Flag::Rollback if judge.phase == Phase::Standstill => judge.rest.rolls_back(self.plan(), signals),
            // What ran away once did.
            Flag::Rollback => return if judge.rest.speeds_up(self.plan()) { Says::Beyond } else { Says::Hold },
            Flag::OutletPlugged => judge.outlet,
            Flag::HeadDistrust => signals.head.distrust != 0,
            Flag::BootDistrust => signals.boot.distrust != 0,
            Flag::HeadSilent => return self.head_silent(),
            Flag::HeadTargets => signals.head.pattern != pattern::WHOLE,
            Flag::BootTargets => signals.boot.pattern != pattern::WHOLE,
            Flag::ContactFault => self.faulty().is_some(),
            Flag::DriveContact => judge.contact_lies(),
            Flag::Reference => judge.reference.is_wrong(self.plan(), judge.now),
            Flag::Plan => false,
            Flag::ResetHeld => judge.pressed.is_some_and(|pressed| judge.now - pressed > 3_000_000),
            Flag::Bypass => judge.bypassed.is_some(),
            Flag::Unpermitted => judge.runs_unpermitted(),
            Flag::FeedHunting => judge.feed_hunts,
        })
    }

    fn level(&self, value: Value) -> Option<i64> {
        let (judge, signals) = (self.judge, &self.judge.signals);
        Some(match value {
            Value::SinceBoot if judge.waits_for_head() => 0,
            Value::SinceBoot => i64::from(signals.since_boot).min(i32::MAX.into()),
            Value::Heat => return None,
            Value::Duty => self.most(|contact| contact.duty.into())?.0,
            Value::RubLoops => self.most(|contact| contact.loops.into())?.0,
            Value::SlipMean => signals.slip_mean.into(),
            Value::BelowZero => self.swapped().unwrap_or(-i64::from(signals.slip_mean)),
            Value::Hottest => self.hottest()?.0,
            Value::RatioShift => self.ratio_shift()?.abs(),
            Value::EdgesAtRest => judge.rest.edges_of_one(signals).into(),
            Value::Starts => judge.starts.len() as i64,
            Value::Lates => judge.lates.len() as i64,
        })
    }

    fn ratio_shift(&self) -> Option<i64> {
        let (signals, expected) = (&self.judge.signals, self.plan().slip.ratio);
        let off = i64::from(signals.ratio) - i64::from(expected);
        let steady = signals.ratio != 0 && signals.ratio_spread < 3_000;
        steady.then(|| off.signum() * (off.abs() * 1_000_000 / i64::from(expected)).min(i32::MAX.into()))
    }

    /// What slip reads with the sensors swapped and nothing but creep, if it does, of both means, and the head is as much faster.
    fn swapped(&self) -> Option<i64> {
        let (judge, plan) = (self.judge, self.plan());
        let long = i64::from(judge.signals.long.least);
        let squared = |marks: u8| u64::from(marks) * u64::from(marks);
        let seen = ratio(squared(plan.head.marks) * 1_000_000, 1, squared(plan.boot.marks));
        let kept = ratio(ratio(seen, 1_000_000, plan.slip.ratio.into()), 1_000_000, plan.slip.ratio.into());
        let expected = 1_000_000_i64.checked_sub(kept as i64).filter(|expected| *expected >= 0)?;
        let creeps = |slip: i64| slip <= expected + 3_750 && slip >= expected - 30_000;
        let gain = ratio(plan.head.normal_turn.into(), expected as u64, 4_000_000);
        let fast = judge.head().is_fast(judge.scaled(plan.head.normal_turn.saturating_sub(gain as u32)));
        let counts = long >= judge.limit(Condition::SlipHigh).limit.into();
        (counts && creeps(long) && creeps(judge.signals.slip_mean.into()) && fast).then_some(expected)
    }

    fn since(&self, stamp: Stamp) -> Option<u64> {
        match stamp {
            Stamp::Rubbing => self.oldest_rub().map(|(lasts, _)| lasts),
            Stamp::SlipUnknown => self.judge.slip_unknown.map(|since| self.judge.now - since),
        }
    }

    fn slow(&self, shaft: Shaft, limit: &RowPlan) -> Says {
        let (judge, speed) = (self.judge, self.judge.of(shaft));
        let turn = |limit: i32| judge.scaled(limit.unsigned_abs());
        let longest = turn(limit.limit);
        if speed.is_silent(longest) {
            Says::Beyond
        } else if speed.is_slow(longest) {
            // The mean over a run-up says nothing of the speed reached.
            let no_edge_in_time = share(speed.shaft.next_largest, longest) > limit.on_delay.into();
            says(shaft == Shaft::Boot || !(no_edge_in_time && self.runs_up()))
        } else if speed.is_fast(turn(limit.clear)) {
            Says::Within
        } else {
            Says::Hold
        }
    }

    /// Whether the head's last pitch began while the leg was given time to start.
    fn runs_up(&self) -> bool {
        let (judge, head) = (self.judge, self.judge.head());
        let began = head.edge + u64::from(head.shaft.pitch);
        judge
            .opened
            .is_some_and(|opened| (judge.now - opened).saturating_sub(began) < self.plan().drive.start_time.into())
    }

    fn head_silent(&self) -> Says {
        let (judge, plan) = (self.judge, self.plan());
        let (head, boot, limit) = (judge.head(), judge.boot(), judge.scaled(plan.drive.head_silent));
        let boot_turns = boot.shaft.is_seen() && boot.is_fast(judge.scaled(plan.drive.boot_turns));
        match head.open {
            Some(_) if !head.is_silent(limit) => Says::Within,
            Some(_) if boot_turns && head.was_silent(boot.edge, limit) => Says::Beyond,
            _ => Says::Hold,
        }
    }

    fn both_silent(&self) -> bool {
        let (judge, plan) = (self.judge, self.plan());
        let silent = |speed: Speed<'_>, sudden: u32| {
            let short = share(speed.shaft.next_largest, plan.boot.normal_turn) <= plan.slip.regain.into();
            let longer = short || speed.shaft.pattern == pattern::MISSING;
            let limit = if longer { sudden.saturating_add(sudden / 2 + sudden / 8) } else { sudden };
            speed.is_silent(judge.scaled(limit))
        };
        let (head, boot) = (judge.head(), judge.boot());
        head.is_fast(judge.scaled(plan.head.brisk))
            && boot.is_fast(judge.scaled(plan.boot.brisk))
            && (judge.phase != Phase::CoastDown || judge.stopped_too_soon())
            && silent(head, plan.head.sudden)
            && silent(boot, plan.boot.sudden)
    }

    /// Until when an on-delay waits, because the next edges tell whether the boot only lost some.
    pub fn boot_will_tell(&self, rank: usize) -> Option<u64> {
        let (judge, plan, signals) = (self.judge, self.plan(), &self.judge.signals);
        let limit = plan.row(rank);
        match Judge::sense(rank) {
            Sense::Slow(Shaft::Boot) => {
                let (boot, loses) = (&signals.boot, judge.loses_edges());
                let clear = judge.scaled(limit.clear.unsigned_abs());
                let is_fast = boot.pitch != 0 && u64::from(boot.pitch) <= share(boot.pitch_angle, clear);
                let more = match (boot.is_in_doubt(), boot.may_go_on()) {
                    (true, false) => 0,
                    (true, true) if loses => 2,
                    (true, true) => 1,
                    (false, _) if loses && is_fast => 3,
                    (false, _) => return None,
                };
                let pitch = share(plan.boot.largest, plan.boot.normal_turn);
                Some(judge.now - judge.ago(boot.last_edge) + share(boot.next_largest, plan.boot.brisk) + more * pitch)
            }
            Sense::RangeAbove(window) => {
                let (head, reading) = (&signals.head, self.reading(window));
                let taken_back = reading.is_open() && reading.least < limit.limit;
                taken_back.then(|| judge.now - judge.ago(head.last_edge) + share(head.next_largest, plan.head.brisk))
            }
            _ => None,
        }
    }

    /// The value and the detail that a condition's alarm goes with.
    pub fn value(&self, condition: Condition, wrong: bool) -> (Option<i32>, u8) {
        let (judge, signals) = (self.judge, &self.judge.signals);
        let held = |value: i64| value.min(i32::MAX.into()) as i32;
        let at = |most: Option<(i64, u8)>| (most.map(|(value, _)| held(value)), most.map_or(0, |(_, place)| place));
        let plain = |value: Option<i32>| (value, 0);
        let millis = |micros: u64| (micros / 1_000) as i32;
        let slip =
            |window| Some(self.reading(window)).filter(|reading| reading.is_known()).map(|reading| reading.least);
        let normal = |normal: u32| ratio(normal.into(), judge.reference.scale.into(), 1_000_000) as u32;
        match Judge::sense(condition.rank()) {
            Sense::Flag(Flag::StartFailed) => plain(judge.opened.map(|opened| millis(judge.now - opened))),
            Sense::Flag(flag) => {
                let detail = match flag {
                    Flag::HeadDistrust => signals.head.distrust,
                    Flag::BootDistrust => signals.boot.distrust,
                    Flag::HeadTargets => signals.head.pattern,
                    Flag::BootTargets => signals.boot.pattern,
                    Flag::ContactFault => self.faulty().unwrap_or(0),
                    Flag::Reference => u8::from(judge.reference.is_missing(judge.now)),
                    Flag::DriveContact if judge.contact_chatters() => 1,
                    Flag::DriveContact if wrong => 2,
                    _ => 0,
                };
                (Some(i32::from(wrong)), detail)
            }
            Sense::Upper(Value::SinceBoot) => plain(Some(held((i64::from(signals.since_boot) * 1_000_000) >> 24))),
            Sense::Upper(Value::Duty) => at(self.most(|contact| contact.duty.into())),
            Sense::Upper(Value::RubLoops) => at(self.most(|contact| contact.loops.into())),
            Sense::Upper(Value::Hottest) => at(self.hottest()),
            Sense::Upper(Value::RatioShift) => {
                let shift = self.ratio_shift();
                (shift.map(|shift| held(shift.abs())), shift.map_or(0, |shift| if shift < 0 { 1 } else { 2 }))
            }
            Sense::Upper(value) | Sense::Over(value) => plain(self.level(value).map(held)),
            Sense::RangeAbove(window) => plain(slip(window)),
            Sense::RangeBelow(window) => plain(slip(window).map(i32::saturating_neg)),
            Sense::Slow(Shaft::Head) => plain(judge.head().loss(normal(self.plan().head.normal))),
            Sense::Slow(Shaft::Boot) => plain(judge.boot().loss(normal(self.plan().boot.normal))),
            Sense::Fast => plain(judge.boot().loss(normal(self.plan().boot.normal)).map(|loss| -loss)),
            Sense::Since(Stamp::Rubbing) => {
                let rub = self.oldest_rub();
                (rub.map(|(lasts, _)| millis(lasts)), rub.map_or(0, |(_, place)| place))
            }
            Sense::Since(Stamp::SlipUnknown) => plain(self.since(Stamp::SlipUnknown).map(millis)),
            Sense::BothSilent => (Some(i32::from(wrong)), if judge.phase == Phase::CoastDown { 2 } else { 1 }),
        }
    }
}
