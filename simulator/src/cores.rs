//! Work shared out to all cores.

use rayon::iter::{IntoParallelIterator, ParallelIterator};
use slackside_desk::crew::Crew;

/// All cores of this computer.
#[derive(Clone, Copy, Debug, Default)]
pub struct Cores;

impl Crew for Cores {
    fn each<T: Send, R: Send>(&self, items: Vec<T>, work: impl Fn(T) -> R + Send + Sync) -> Vec<R> {
        items.into_par_iter().map(work).collect()
    }
}
