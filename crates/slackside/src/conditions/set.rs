//! A public set of conditions. Its bits are the conditions' numbers, not their ranks, so that it can be stored and sent.

use serde::{Deserialize, Serialize};

use super::Condition;
use crate::alarm::Set;

/// A set of conditions: bit `n` stands for the condition whose number is `n`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ConditionSet(u64);

impl ConditionSet {
    /// None of them.
    pub const EMPTY: Self = Self(0);

    const fn bit(condition: Condition) -> u64 {
        1_u64.wrapping_shl(condition.id() as u32)
    }

    /// Whether `condition` is in the set.
    #[must_use]
    pub const fn contains(self, condition: Condition) -> bool {
        self.0 & Self::bit(condition) != 0
    }

    /// The set with `condition`.
    #[must_use]
    pub const fn with(self, condition: Condition) -> Self {
        Self(self.0 | Self::bit(condition))
    }

    /// The set without `condition`.
    #[must_use]
    pub const fn without(self, condition: Condition) -> Self {
        Self(self.0 & !Self::bit(condition))
    }

    /// The members as bits.
    #[must_use]
    pub const fn bits(self) -> u64 {
        self.0
    }

    /// The set of these bits; `None` if one of them stands for no condition.
    #[must_use]
    pub fn from_bits(bits: u64) -> Option<Self> {
        let known = Condition::ALL.into_iter().fold(Self::EMPTY, Self::with);
        if bits & !known.0 == 0 { Some(Self(bits)) } else { None }
    }

    /// Whether nothing is in it.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The members, in order of rank.
    pub fn iter(self) -> impl Iterator<Item = Condition> {
        Condition::ALL.into_iter().filter(move |condition| self.contains(*condition))
    }

    /// The set of the conditions of these ranks.
    #[must_use]
    pub fn of_ranks(ranks: Set) -> Self {
        ranks.filter_map(Condition::of_rank).fold(Self::EMPTY, Self::with)
    }

    /// The ranks of its members.
    #[must_use]
    pub fn ranks(self) -> Set {
        self.iter().fold(Set::EMPTY, |set, condition| set.put(condition.rank(), true))
    }
}
