//! What a desk watches live.

use serde::{Deserialize, Serialize};

use crate::Monitor;
use crate::input::{ContactState, LineState, Place};
use crate::judge::{AlarmState, Condition, ConditionSet};
use crate::motion::{ShaftMotion, SlipReading};
use crate::units::{Micrometres, Micros, MicroturnsPerSecond, Ppm};
use crate::verdict::Phase;

/// One shaft.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ShaftStatus {
    /// Whether it is fitted; if not, the rest means nothing.
    pub fitted: bool,
    /// The largest speed it can have now; `None` before it is known.
    pub speed_at_most: Option<MicroturnsPerSecond>,
    /// Edges that count, wrapping.
    pub edges: u32,
    /// Edges rejected, wrapping.
    pub rejected: u32,
    /// Why it is not to be trusted: [`Distrust::bits`](crate::motion::Distrust::bits).
    pub distrust: u8,
    /// Its line, where supervised.
    pub line: LineState,
}

impl ShaftStatus {
    fn of(shaft: &ShaftMotion, now: Micros) -> Self {
        Self {
            fitted: shaft.fitted,
            speed_at_most: shaft.speed_at_most(now),
            edges: shaft.edges,
            rejected: shaft.rejected,
            distrust: shaft.distrust.bits(),
            line: shaft.line,
        }
    }
}

/// The state of a box at one moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LinkStatus {
    /// The moment, in running time.
    pub at: Micros,
    /// The drive may run.
    pub run_permit: bool,
    /// The leg may be fed.
    pub feed_permit: bool,
    /// What the leg is doing.
    pub phase: Phase,
    /// The key at the box is on.
    pub key_on: bool,
    /// The first-out of the present trip group.
    pub first_out: Option<Condition>,
    /// The boot must be reported clear before the next start.
    pub boot_cleared_needed: bool,
    /// The head shaft.
    pub head: ShaftStatus,
    /// The boot shaft.
    pub boot: ShaftStatus,
    /// Slip over one boot turn.
    pub slip_short: SlipReading,
    /// Slip over four boot turns.
    pub slip_long: SlipReading,
    /// How far the head's rim has slid past the belt since the leg was last at rest.
    pub slipped: Micrometres,
    /// Slip heat, of its budget.
    pub slip_heat: Ppm,
    /// Each rub contact: what it says, and the share of the last loop on which it rubbed; `None` where not fitted.
    pub contacts: [Option<(ContactState, Ppm)>; Place::COUNT],
    /// Alarms unacknowledged, returned or latched ones included.
    pub unacknowledged: ConditionSet,
    /// Conditions wrong now, acknowledged or not.
    pub wrong: ConditionSet,
    /// Conditions latched, no longer wrong.
    pub latched: ConditionSet,
    /// Bypassed.
    pub shelved: ConditionSet,
    /// The number of the newest event.
    pub newest_event: u32,
}

impl LinkStatus {
    /// The state of `monitor` at `now`.
    #[must_use]
    pub fn of<const MARKS: usize>(monitor: &Monitor<MARKS>, now: Micros, key_on: bool, newest_event: u32) -> Self {
        let (status, motion) = (monitor.status(), monitor.motion());
        let all = |is: fn(AlarmState) -> bool| {
            let alarms = Condition::ALL.into_iter().zip(status.alarms);
            alarms
                .fold(ConditionSet::EMPTY, |set, (condition, state)| if is(state) { set.with(condition) } else { set })
        };
        Self {
            at: now,
            run_permit: status.run_permit,
            feed_permit: status.feed_permit,
            phase: status.phase,
            key_on,
            first_out: status.first_out,
            boot_cleared_needed: status.boot_cleared_needed,
            head: ShaftStatus::of(&motion.head, now),
            boot: ShaftStatus::of(&motion.boot, now),
            slip_short: motion.slip_short.reading,
            slip_long: motion.slip_long.reading,
            slipped: motion.slipped,
            slip_heat: monitor.slip_heat_at(now),
            contacts: motion.contacts.map(|contact| contact.fitted.then_some((contact.state, contact.duty))),
            unacknowledged: all(|state| {
                matches!(
                    state,
                    AlarmState::Unacknowledged | AlarmState::ReturnedUnacknowledged | AlarmState::LatchedUnacknowledged
                )
            }),
            wrong: all(|state| matches!(state, AlarmState::Unacknowledged | AlarmState::Acknowledged)),
            latched: all(|state| matches!(state, AlarmState::LatchedUnacknowledged | AlarmState::LatchedAcknowledged)),
            shelved: all(|state| state == AlarmState::Shelved),
            newest_event,
        }
    }
}
