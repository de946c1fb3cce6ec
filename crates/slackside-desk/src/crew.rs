//! Who does the work that can be shared out: handed in, because the library starts no threads.

/// Somebody who works through a list.
pub trait Crew: Sync {
    /// What `work` makes of each item, in the order of the items.
    fn each<T: Send, R: Send>(&self, items: Vec<T>, work: impl Fn(T) -> R + Send + Sync) -> Vec<R>;

    /// Fill piece after piece with `make`, until it says that one was the last, and have `take` look at each, in order: perhaps while the
    /// next is made. Pieces go round, so that only a few are ever there.
    ///
    /// # Errors
    /// The first error of either; of `make` after `take` has looked at what was made before.
    fn pass<P: Default + Send, E: Send>(
        &self,
        mut make: impl FnMut(&mut P) -> Result<bool, E> + Send,
        mut take: impl FnMut(&P) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut piece = P::default();
        loop {
            let more = make(&mut piece)?;
            take(&piece)?;
            if !more {
                return Ok(());
            }
        }
    }
}

/// One after the other.
#[derive(Clone, Copy, Debug, Default)]
pub struct Alone;

impl Crew for Alone {
    fn each<T: Send, R: Send>(&self, items: Vec<T>, work: impl Fn(T) -> R + Send + Sync) -> Vec<R> {
        items.into_iter().map(work).collect()
    }
}
