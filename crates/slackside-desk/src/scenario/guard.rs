//! The monitor in the loop: the plant's inputs go straight to it, and its permits come back.

use std::io;

use slackside::alarm::AlarmState;
use slackside::conditions::{Condition, ConditionSet};
use slackside::input::{Input, Signal};
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Verdict};

use super::run::{Permits, Watch};
use super::truth::Row;
use crate::monitor::{Monitor, monitor};

/// What the monitor did.
#[derive(Clone, Debug)]
pub struct Guard {
    monitor: Box<Monitor>,
    /// Every change but inputs taken, oldest first, up to [`Guard::MOST`].
    pub verdicts: Vec<Verdict>,
    /// When the run permit was first dropped after it had been given, and by what.
    pub dropped: Option<(Micros, Option<Condition>)>,
    /// When the feed permit was first dropped by a condition after it had been given.
    pub feed_dropped: Option<(Micros, Condition)>,
    /// How often each condition's alarm came, in the order of [`Condition::ALL`].
    pub raised: [u32; Condition::COUNT],
    /// Conditions that came before the run permit was dropped.
    pub before_drop: ConditionSet,
    given: [bool; 2],
}

impl Guard {
    /// Most verdicts kept.
    pub const MOST: usize = 100_000;

    /// A monitor with those settings that has seen nothing.
    #[must_use]
    pub fn new(settings: &Checked) -> Self {
        Self {
            monitor: monitor(settings, &Retained::default()),
            verdicts: Vec::new(),
            dropped: None,
            feed_dropped: None,
            raised: [0; Condition::COUNT],
            before_drop: ConditionSet::EMPTY,
            given: [false; 2],
        }
    }

    /// Take one input.
    pub fn take(&mut self, input: &Input) {
        let Self { monitor, verdicts, dropped, feed_dropped, raised, before_drop, given } = self;
        monitor.observe(*input, &mut |verdict| {
            match verdict.change {
                Change::Permit { permit: Permit::Run, allowed, because } => {
                    if given[0] && !allowed && dropped.is_none() {
                        *dropped = Some((verdict.at, because));
                    }
                    given[0] |= allowed;
                }
                Change::Permit { permit: Permit::Feed, allowed, because } => {
                    if let (true, false, None, Some(because)) = (given[1], allowed, *feed_dropped, because) {
                        *feed_dropped = Some((verdict.at, because));
                    }
                    given[1] |= allowed;
                }
                Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => {
                    raised[condition.rank()] += 1;
                    if dropped.is_none() {
                        *before_drop = before_drop.with(condition);
                    }
                }
                _ => {}
            }
            if verdicts.len() < Self::MOST {
                verdicts.push(*verdict);
            }
        });
    }

    /// No earlier input than this follows; what is allowed?
    pub fn allows(&mut self, now_us: u64) -> Permits {
        self.take(&Input::new(Micros::new(now_us), Signal::Tick));
        let status = self.monitor.status();
        Permits { run: status.run_permit, feed: status.feed_permit }
    }
}

impl Watch for Guard {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        self.take(input);
        Ok(())
    }

    fn truth(&mut self, _: &Row) -> io::Result<()> {
        Ok(())
    }

    fn permits(&mut self, now_us: u64) -> Permits {
        self.allows(now_us)
    }
}
