//! Moments in the order in which judge takes steps.

use slackside::units::Micros;

use super::store::Store;

/// A moment within the order in which judge takes steps: at one time first what falls due by itself, then each row; in one step
/// first delays that end, then what turns at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Moment(u64);

impl Moment {
    /// None comes.
    pub const NEVER: Self = Self(u64::MAX);
    /// Before all others.
    pub const FIRST: Self = Self(0);
    /// More rows at one time than steps can be told apart.
    const STEPS: u64 = 1 << 11;

    /// A delay ends.
    pub const fn due(at: u64) -> Self {
        Self(at << 12)
    }

    /// A value crosses its limit by itself.
    pub const fn silent(at: Micros) -> Self {
        Self(at.get() << 12 | 1)
    }

    /// With a row.
    pub fn row(store: &Store, row: usize) -> Self {
        let at = store.at(row);
        let before = (0..row).rev().take_while(|before| store.at(*before) == at).count() as u64;
        Self(at.get() << 12 | (before + 1).min(Self::STEPS - 1) << 1 | 1)
    }

    /// The last before `row` is taken: that of the row before it.
    pub fn before_row(store: &Store, row: usize) -> Self {
        row.checked_sub(1).map_or(Self::FIRST, |last| Self::row(store, last))
    }

    /// When it is.
    pub const fn at(self) -> Micros {
        Micros::new(self.0 >> 12)
    }

    /// The same for all that is one step.
    pub const fn step(self) -> u64 {
        self.0 >> 1
    }

    /// The last that may be in its step.
    pub const fn end_of_step(self) -> Self {
        Self(self.0 | 1)
    }

    /// The next that may be.
    pub const fn next(self) -> Self {
        Self(self.0.saturating_add(1))
    }

    /// Whether it turns without a delay.
    pub const fn is_at_once(self) -> bool {
        self.0 & 1 != 0
    }

    /// How many rows have been taken by the end of its step.
    pub fn rows(self, store: &Store) -> usize {
        store.row_at(self.at()) + (self.step() % Self::STEPS) as usize
    }

    /// How many rows have been taken before its step.
    pub fn rows_before(self, store: &Store) -> usize {
        self.rows(store) - usize::from(!self.step().is_multiple_of(Self::STEPS))
    }
}
