//! Who does the work that can be shared out: handed in, because the library starts no threads.

/// Somebody who works through a list.
pub trait Crew: Sync {
    /// What `work` makes of each item, in the order of the items.
    fn each<T: Send, R: Send>(&self, items: Vec<T>, work: impl Fn(T) -> R + Send + Sync) -> Vec<R>;
}

/// One after the other.
#[derive(Clone, Copy, Debug, Default)]
pub struct Alone;

impl Crew for Alone {
    fn each<T: Send, R: Send>(&self, items: Vec<T>, work: impl Fn(T) -> R + Send + Sync) -> Vec<R> {
        items.into_iter().map(work).collect()
    }
}
