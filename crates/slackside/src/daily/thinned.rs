//! The median of a day in little memory.

/// Up to `N` values taken evenly from any number of them, in tens of ppm, for their median. Once full, every second one is let go and
/// only every second one to come is kept: so there are always at least `N / 2` once there were, from the whole of the time, and no single
/// value however wild moves the median far.
#[derive(Clone, Copy, Debug)]
pub(super) struct Thinned<const N: usize> {
    values: [i16; N],
    filled: u16,
    /// Of so many values one is kept, less one: a power of two less one.
    stride: u16,
    /// Values since the last that was kept.
    passed: u16,
}

impl<const N: usize> Thinned<N> {
    pub(super) const NEW: Self = Self { values: [0; N], filled: 0, stride: 0, passed: 0 };

    /// One more value.
    #[inline(never)]
    pub(super) fn push(&mut self, value: i16) {
        if self.passed < self.stride {
            self.passed = self.passed.wrapping_add(1);
            return;
        }
        self.passed = 0;
        if usize::from(self.filled) >= N {
            self.thin();
        }
        if let Some(slot) = self.values.get_mut(usize::from(self.filled)) {
            *slot = value;
            self.filled = self.filled.wrapping_add(1);
        }
    }

    fn thin(&mut self) {
        let old = self.values;
        let mut kept = 0;
        for (slot, value) in self.values.iter_mut().zip(old.into_iter().step_by(2)) {
            *slot = value;
            kept = 1_u16.saturating_add(kept);
        }
        self.filled = kept;
        self.stride = self.stride.saturating_mul(2).saturating_add(1);
    }

    /// The middle one, of an even number of them the lower; `None` without any. `N²` comparisons, and no sorting: a box has no room for
    /// what sorting brings in.
    #[inline(never)]
    pub(super) fn median(&self) -> Option<i16> {
        let values = self.values.get(..usize::from(self.filled))?;
        let below_wanted = values.len().wrapping_sub(1) >> 1;
        values.iter().copied().find(|middle| {
            let below = values.iter().filter(|value| *value < middle).count();
            let upto = values.iter().filter(|value| *value <= middle).count();
            below <= below_wanted && below_wanted < upto
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_few_is_theirs() {
        let mut few = Thinned::<8>::NEW;
        assert_eq!(few.median(), None);
        for (value, median) in [(5, 5), (1, 1), (3, 3), (3, 3), (-9, 3), (i16::MAX, 3)] {
            few.push(value);
            assert_eq!(few.median(), Some(median), "{few:?}");
        }
    }

    #[test]
    fn of_many_it_is_near_theirs_and_from_all_of_the_day() {
        // Rises through the day: what was kept must be of all of it.
        let mut many = Thinned::<64>::NEW;
        for value in 0..30_000 {
            many.push(value);
        }
        let found = many.median().expect("a median");
        assert!((14_000..16_000).contains(&found), "{found}");
        assert!(many.filled >= 32);
    }
}
