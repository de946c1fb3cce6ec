//! The speed asked of a drive, and the speed that the drive has reached by its own ramp.

use slackside::settings::plan::{Plan, fitted};

use crate::speed::{Speed, ratio, share};

/// Readings of one speed differ by no more, in ppm.
const SLACK: u32 = 10_000;
/// A reading says nothing of now after so long.
const STALE: u64 = 15_000_000;
/// The ramp goes on in steps.
const STEP: u64 = 1 << 16;
const ONE: u32 = 1_000_000;

#[derive(Clone, Copy, Debug)]
pub struct Reference {
    value: Option<i32>,
    read_at: u64,
    /// Up, down, or neither: which way the newest reading went.
    went: i32,
    reached: i32,
    lagging: i32,
    next_step: u64,
    contradicted: bool,
    pub scale: u32,
}

impl Reference {
    pub fn new(now: u64) -> Self {
        Self {
            value: None,
            read_at: now,
            went: 0,
            reached: 0,
            lagging: 0,
            next_step: 0,
            contradicted: false,
            scale: ONE,
        }
    }

    fn ramps(&self) -> bool {
        self.value.is_some_and(|value| self.reached != value || self.lagging != value)
    }

    pub fn is_missing(&self, now: u64) -> bool {
        self.value.is_none() || now - self.read_at >= STALE
    }

    fn is_too_low(plan: &Plan, value: i32) -> bool {
        i64::from(value) < plan.drive.reference_minimum.into()
    }

    pub fn is_wrong(&self, plan: &Plan, now: u64) -> bool {
        plan.has(fitted::REFERENCE)
            && (self.is_missing(now)
                || self.value.is_none_or(|value| Self::is_too_low(plan, value))
                || self.contradicted)
    }

    pub fn read(&mut self, plan: &Plan, value: i32, now: u64) {
        if !self.ramps() {
            let pitch = if value > self.reached {
                ratio(share(plan.boot.largest, plan.boot.normal_turn), ONE.into(), self.reached.max(1) as u64)
            } else {
                0
            };
            self.next_step = now + pitch.min(STALE) + STEP;
        }
        let change = value.saturating_sub(self.value.unwrap_or(0));
        let went = if change.unsigned_abs() <= SLACK { 0 } else { change.signum() };
        let goes_on = went != 0 && went == self.went;
        let since = (now - self.read_at).min(1_000_000);
        let could = if goes_on { ratio(since, plan.drive.reference_rate.into(), ONE.into()) } else { 0 };
        let is_near = u64::from(value.abs_diff(self.reached)) <= could + u64::from(SLACK);
        let jumps = (goes_on || self.reached == self.lagging) && is_near;
        if self.is_missing(now) || Self::is_too_low(plan, self.reached) || jumps {
            (self.reached, self.lagging) = (value, value);
        }
        (self.value, self.went, self.read_at) = (Some(value), went, now);
    }

    pub fn settle(&mut self, plan: &Plan, head: &Speed<'_>, judged: bool, now: u64) {
        if judged {
            if self.ramps() && now >= self.next_step {
                self.next_step += STEP;
                // Two thirds of the plan's rate, which is half as much again as the drive's.
                let step = i64::try_from(share(plan.drive.reference_rate, 187_649_984)).expect("small");
                let to = i64::from(self.value.expect("read"));
                let towards =
                    |from: i32, step: i64| (i64::from(from) + (to - i64::from(from)).clamp(-step, step)) as i32;
                (self.reached, self.lagging) = (towards(self.reached, step), towards(self.lagging, step / 2));
            }
            if head.closed {
                self.contradicted = !self.agrees(plan, head.shaft);
            }
        } else {
            self.contradicted = false;
            if self.ramps() {
                (self.reached, self.lagging) = (self.value.expect("read"), self.value.expect("read"));
            }
        }
        let counts = plan.has(fitted::REFERENCE) && self.value.is_some() && !self.is_wrong(plan, now);
        self.scale = if counts { self.reached.unsigned_abs() } else { ONE };
    }

    /// Whether the head's last pitch is within 20 % of what the drive may have reached.
    fn agrees(&self, plan: &Plan, head: &slackside::signals::ShaftSignals) -> bool {
        let Some(value) = self.value.filter(|_| plan.has(fitted::REFERENCE)) else { return true };
        let turn = |speed: i32, percent: u64| {
            let share = (speed.max(0) as u64 * percent / 100).min(u32::MAX.into());
            ratio(plan.head.normal_turn.into(), ONE.into(), share).max(1) as u32
        };
        let slow = turn(value.min(self.reached).min(self.lagging), 80);
        let fast = turn(value.max(self.reached).max(self.lagging), 120);
        let too_slow = u64::from(head.pitch) > share(head.pitch_largest, slow);
        let too_fast = fast > 1 && head.pitch != 0 && u64::from(head.pitch) <= share(head.pitch_angle, fast);
        !too_slow && !too_fast
    }
}
