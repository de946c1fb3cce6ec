//! Something handed to an interrupt for good.

use core::cell::UnsafeCell;

/// A place that is filled once before an interrupt is let loose, and from then on belongs to that interrupt alone. So no
/// critical section is needed, and none holds another interrupt up.
pub struct Handed<T>(UnsafeCell<Option<T>>);

// SAFETY: see the two functions: never more than one side holds it.
unsafe impl<T: Send> Sync for Handed<T> {}

impl<T> Handed<T> {
    /// Nothing handed over yet.
    pub const fn new() -> Self {
        Self(UnsafeCell::new(None))
    }

    /// Hand it over.
    ///
    /// # Safety
    /// The interrupt that takes it is not let loose yet.
    pub unsafe fn hand(&self, value: T) {
        // SAFETY: nobody else looks, as the caller promises.
        unsafe { *self.0.get() = Some(value) };
    }

    /// What was handed over.
    ///
    /// # Safety
    /// Called by one interrupt only, once in each of its runs.
    #[expect(clippy::mut_from_ref, reason = "one holder, as the caller promises")]
    pub unsafe fn take(&self) -> Option<&mut T> {
        // SAFETY: one holder, as the caller promises.
        unsafe { (*self.0.get()).as_mut() }
    }
}
