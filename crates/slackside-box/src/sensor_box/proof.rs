//! Proof tests: whether one runs, when the stop was proven last, and when that is due again.
//!
//! A box has no clock of the day. The day comes from a desk that tells its time; in a session in which none did, nothing falls due.

use slackside::input::Command;
use slackside::record::Anchor;
use slackside::units::Micros;
use slackside::verdict::Change;
use slackside::wire::ProofTests;

/// The stop is to be proven once a year. Common practice, no source.
const EVERY_DAYS: u32 = 366;
const MINUTES_A_DAY: i64 = 24 * 60;
const US_A_MINUTE: i64 = 60_000_000;

/// What is known of proof tests.
#[derive(Clone, Copy, Debug)]
pub(super) struct Proof {
    /// One runs: the alarm output has fallen for it, so that somebody sees that it does.
    pub(super) runs: bool,
    just_passed: bool,
    /// When the last one passed, in minutes of the desk's time; 0 if that is not known.
    passed_min: Option<u32>,
    /// The moment of running time from which on the next is due.
    due: Option<Micros>,
}

impl Proof {
    /// With what was written down of the last one that passed.
    pub(super) const fn new(passed_min: Option<u32>) -> Self {
        Self { runs: false, just_passed: false, passed_min, due: None }
    }

    /// A verdict.
    pub(super) fn hear(&mut self, change: &Change) {
        match change {
            Change::Accepted(_, Command::ProofTest(begun)) => self.runs = *begun,
            Change::ProofTest { passed } => self.just_passed = *passed,
            _ => {}
        }
    }

    /// Whether one has passed since this was last asked.
    pub(super) const fn just_passed(&mut self) -> bool {
        core::mem::replace(&mut self.just_passed, false)
    }

    /// It passed at `now`: the minute to write down.
    pub(super) fn passed(&mut self, anchor: Option<Anchor>, now: Micros) -> u32 {
        let desk_us = anchor.and_then(|anchor| anchor.desk_time(now, 0)).map_or(0, |(desk_us, _)| desk_us);
        // Within the type until the year 10,000.
        let minutes = u32::try_from(desk_us.div_euclid(US_A_MINUTE)).unwrap_or(0);
        self.passed_min = Some(minutes);
        self.find_due(anchor);
        minutes
    }

    /// Work out when the next is due: with an anchor, and where the day of the last is known.
    pub(super) fn find_due(&mut self, anchor: Option<Anchor>) {
        self.due = None;
        let (Some(anchor), Some(passed @ 1..)) = (anchor, self.passed_min) else { return };
        let due_min = i64::from(passed).saturating_add(i64::from(EVERY_DAYS).saturating_mul(MINUTES_A_DAY));
        let left_us = due_min.saturating_mul(US_A_MINUTE).saturating_sub(anchor.desk_us);
        self.due = Some(Micros::new(anchor.at.get().saturating_add_signed(left_us)));
    }

    /// Whether it is due.
    pub(super) fn is_due(&self, now: Micros) -> bool {
        self.due.is_some_and(|due| due <= now)
    }

    /// As the link tells it.
    pub(super) const fn tests(&self) -> ProofTests {
        ProofTests { passed_min: self.passed_min, every_days: EVERY_DAYS }
    }
}
