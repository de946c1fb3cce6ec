//! What comes out, as C reads it.

use slackside::conditions::Condition;
use slackside::judge::Status;
use slackside::signals::Reading;
use slackside::verdict::{Change, Verdict};

/// No condition.
const NONE: i16 = -1;

/// What changed.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SlacksideChange {
    /// An alarm went from one state to another: `condition`, `from`, `to`, `value` (if `value_known`), `setpoint`.
    Alarm = 0,
    /// A permit was given (`to` 1) or dropped (0): `from` 0 run, 1 feed; `condition` what dropped it.
    Permit = 1,
    /// The first condition of a trip group: `condition`.
    FirstOut = 2,
    /// The leg does something else now: `to`.
    Phase = 3,
    /// A command was taken.
    Accepted = 4,
    /// A command was refused.
    Refused = 5,
    /// A proof test ended: `to` 1 passed, 0 failed.
    ProofTest = 6,
}

/// One change with the time it fell due.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SlacksideVerdict {
    /// When, in microseconds.
    pub at_us: u64,
    /// The value, in the condition's unit.
    pub value: i32,
    /// What it is held against.
    pub setpoint: i32,
    /// The number of the condition; -1 for none.
    pub condition: i16,
    /// What changed: one of slackside_change.
    pub change: u8,
    /// See there.
    pub from: u8,
    /// See there.
    pub to: u8,
    /// Whether `value` is known, 0 or 1.
    pub value_known: u8,
}

fn number(condition: Option<Condition>) -> i16 {
    condition.map_or(NONE, |condition| condition.id().into())
}

impl SlacksideVerdict {
    /// A verdict of the core.
    #[must_use]
    pub fn of(verdict: &Verdict) -> Self {
        let plain = Self {
            at_us: verdict.at.get(),
            value: 0,
            setpoint: 0,
            condition: NONE,
            change: 0,
            from: 0,
            to: 0,
            value_known: 0,
        };
        let of = |change: SlacksideChange| Self { change: change as u8, ..plain };
        match verdict.change {
            Change::Alarm { condition, from, to, value, setpoint, .. } => Self {
                condition: number(Some(condition)),
                from: from as u8,
                to: to as u8,
                value: value.unwrap_or_default(),
                value_known: value.is_some().into(),
                setpoint,
                ..of(SlacksideChange::Alarm)
            },
            Change::Permit { permit, allowed, because } => Self {
                from: permit as u8,
                to: allowed.into(),
                condition: number(because),
                ..of(SlacksideChange::Permit)
            },
            Change::FirstOut(first) => Self { condition: number(first), ..of(SlacksideChange::FirstOut) },
            Change::Phase(phase) => Self { to: phase as u8, ..of(SlacksideChange::Phase) },
            Change::Accepted(..) => of(SlacksideChange::Accepted),
            Change::Refused(..) => of(SlacksideChange::Refused),
            Change::ProofTest { passed } => Self { to: passed.into(), ..of(SlacksideChange::ProofTest) },
        }
    }
}

/// What the leg is doing.
#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SlacksideStatus {
    /// Slip over one boot turn is no less, in parts per million, if `slip_known`.
    pub slip_least_ppm: i32,
    /// It is no more; the greatest number there is while the boot is overdue.
    pub slip_most_ppm: i32,
    /// The number of the condition that tripped first; -1 for none.
    pub first_out: i16,
    /// 0 not known yet, 1 stands, 2 starts, 3 runs, 4 runs down, 5 is inched.
    pub phase: u8,
    /// Whether slip is known, 0 or 1. Unknown is never to be read as none.
    pub slip_known: u8,
    /// Whether the boot must be reported clear before the next start, 0 or 1.
    pub boot_cleared_needed: u8,
}

impl SlacksideStatus {
    /// Of what judge holds, and of slip over one boot turn, if it is known.
    pub(crate) fn of(status: &Status, slip: Option<Reading>) -> Self {
        let reading = slip.unwrap_or(Reading::UNKNOWN);
        Self {
            slip_least_ppm: reading.least,
            slip_most_ppm: reading.most,
            first_out: number(status.first_out),
            phase: status.phase as u8,
            slip_known: reading.is_known().into(),
            boot_cleared_needed: status.boot_cleared_needed.into(),
        }
    }
}
