//! Who does the work that can be shared out: handed in, because the library starts no threads.

/// Somebody who works through a list.
pub trait Crew: Sync {
    /// What `work` makes of each item, in the order of the items.
    fn each<T: Send, R: Send>(&self, items: Vec<T>, work: impl Fn(T) -> R + Send + Sync) -> Vec<R>;

    /// Hand pieces on through three pairs of hands, in order: `make` fills one until it says that one was the last, `work` makes another of
    /// it, and `take` looks at that; perhaps all three at once. Pieces go round, so that only a few are ever there.
    ///
    /// # Errors
    /// The first of any of them; whatever was handed on before is looked at before it.
    fn relay<P: Default + Send, Q: Default + Send, E: Send>(
        &self,
        mut make: impl FnMut(&mut P) -> Result<bool, E> + Send,
        mut work: impl FnMut(&P, &mut Q) -> Result<(), E> + Send,
        mut take: impl FnMut(&Q) -> Result<(), E>,
    ) -> Result<(), E> {
        let (mut made, mut worked) = (P::default(), Q::default());
        loop {
            let more = make(&mut made)?;
            work(&made, &mut worked)?;
            take(&worked)?;
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
