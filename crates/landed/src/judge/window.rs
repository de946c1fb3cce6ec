//! Counting within a rolling window.

use heapless::Deque;

use super::cell::NEVER;
use crate::record::keep::keep;
use crate::units::Micros;

/// The moments at which counted things leave the window. Holds the newest `N`; more count as `N`.
#[derive(Clone, Debug)]
pub(super) struct Window<const N: usize> {
    ends: Deque<Micros, N>,
}

keep!(@[const N: usize] Window<N> { ends });

impl<const N: usize> Window<N> {
    pub(super) const fn new() -> Self {
        Self { ends: Deque::new() }
    }

    /// Count one that leaves at `end`, no sooner than those before it.
    pub(super) fn push(&mut self, end: Micros) {
        if self.ends.is_full() {
            let _ = self.ends.pop_front();
        }
        // There is room: one was taken out if it was full.
        let _ = self.ends.push_back(end);
    }

    /// Forget all.
    pub(super) fn clear(&mut self) {
        self.ends.clear();
    }

    /// Forget what has left by `now`.
    pub(super) fn settle(&mut self, now: Micros) {
        while self.ends.front().is_some_and(|end| *end <= now) {
            let _ = self.ends.pop_front();
        }
    }

    /// How many are in it.
    pub(super) fn count(&self) -> i32 {
        i32::try_from(self.ends.len()).unwrap_or(i32::MAX)
    }

    /// When the one leaves that came so many before the newest.
    pub(super) fn leaves_before_newest(&self, by: usize) -> Option<Micros> {
        self.ends.iter().rev().nth(by).copied()
    }

    /// When the first leaves.
    pub(super) fn next(&self) -> Micros {
        self.ends.front().copied().unwrap_or(NEVER)
    }

    /// The ends, oldest first.
    pub(super) fn ends(&self) -> impl Iterator<Item = Micros> {
        self.ends.iter().copied()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_leaves_is_forgotten_at_its_own_time() {
        let mut window = Window::<3>::new();
        for end in [10, 20, 30, 40] {
            window.push(Micros::new(end));
        }
        assert_eq!(window.count(), 3);
        assert_eq!(window.next(), Micros::new(20));
        window.settle(Micros::new(29));
        assert_eq!(window.count(), 2);
        window.settle(Micros::new(30));
        assert_eq!(window.count(), 1);
    }
}
