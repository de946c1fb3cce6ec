//! The plan in force, and what must be so before another takes its place.

use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Broken;
use slackside::wire::Reason;

use crate::store::StoreError;

/// Why a plan was not armed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ArmRefusal {
    /// The key at the box is off.
    KeyOff,
    /// The leg is not proven to stand, or its drive is on.
    NotAtRest,
    /// The leg's name given is not this leg's.
    OtherLeg,
    /// The identity echoed is not that of this plan.
    OtherIdentity,
    /// A rule is broken.
    Rule(Broken),
    /// It is for more marks a turn than this box has room for.
    NoRoom,
    /// It names something that is not wired.
    NotWired,
    /// It could not be stored.
    Store(StoreError),
}

impl ArmRefusal {
    /// What the link says of it.
    pub(super) const fn reason(self) -> Reason {
        match self {
            Self::KeyOff => Reason::KeyOff,
            Self::NotAtRest => Reason::LegTurns,
            Self::OtherLeg => Reason::OtherLeg,
            Self::OtherIdentity => Reason::OtherIdentity,
            Self::Rule(Broken { rule, at }) => Reason::RuleBroken { row: (rule as u16) << 8 | at as u16 },
            Self::NoRoom => Reason::NoRoom,
            Self::NotWired => Reason::NotWired,
            Self::Store(_) => Reason::Memory,
        }
    }
}

/// What is in force. The plan itself is the monitor's.
pub(super) struct Armed {
    /// Its identity, if there is one.
    pub(super) identity: Option<u32>,
    /// What survived the last loss of power, for a plan that comes later.
    pub(super) restored: Retained,
}

impl Armed {
    /// Whether `plan` may follow `current`, meant for the leg of this name, its identity echoed: everything but what the box is wired for.
    pub(super) fn may_follow(current: Option<&Plan>, plan: &Plan, leg: &[u8], identity: u32) -> Result<(), ArmRefusal> {
        let known = current.unwrap_or(plan);
        let is_of = |plan: &Plan| !leg.is_empty() && plan.leg_name().as_bytes() == leg;
        if !is_of(known) || !is_of(plan) {
            return Err(ArmRefusal::OtherLeg);
        }
        if plan.identity() != identity {
            return Err(ArmRefusal::OtherIdentity);
        }
        Ok(())
    }
}
