//! Work shared out to all cores.

use std::sync::mpsc::{channel, sync_channel};
use std::thread;

use rayon::iter::{IntoParallelIterator, ParallelIterator};
use slackside_desk::crew::Crew;

/// Pieces made ahead.
const PIECES: usize = 4;

/// All cores of this computer.
#[derive(Clone, Copy, Debug, Default)]
pub struct Cores;

impl Crew for Cores {
    fn each<T: Send, R: Send>(&self, items: Vec<T>, work: impl Fn(T) -> R + Send + Sync) -> Vec<R> {
        items.into_par_iter().map(work).collect()
    }

    fn pass<P: Default + Send, E: Send>(
        &self,
        mut make: impl FnMut(&mut P) -> Result<bool, E> + Send,
        mut take: impl FnMut(&P) -> Result<(), E>,
    ) -> Result<(), E> {
        let (made, pieces) = sync_channel::<Result<P, E>>(PIECES);
        let (spent, lent) = channel::<P>();
        thread::scope(|scope| {
            scope.spawn(move || {
                loop {
                    let mut piece = lent.try_recv().unwrap_or_default();
                    let more = make(&mut piece);
                    let last = !matches!(more, Ok(true));
                    // Nobody looks any more: then there is nothing to do.
                    if made.send(more.map(|_| piece)).is_err() || last {
                        return;
                    }
                }
            });
            for piece in pieces {
                let piece = piece?;
                take(&piece)?;
                // The maker may be done.
                let _ = spent.send(piece);
            }
            Ok(())
        })
    }
}

#[cfg(test)]
mod tests {
    use slackside_desk::crew::Alone;

    use super::*;

    /// Fills pieces with counted numbers; the last is that which holds `ends`, and at `breaks` it fails.
    fn counting(ends: u32, breaks: u32) -> impl FnMut(&mut Vec<u32>) -> Result<bool, u32> + Send {
        let mut next = 0;
        move |piece| {
            piece.clear();
            piece.extend(next..next + 3);
            next += 3;
            if next > breaks { Err(breaks) } else { Ok(next <= ends) }
        }
    }

    fn passed(crew: &impl Crew, ends: u32, breaks: u32, refuses: u32) -> (Vec<u32>, Result<(), u32>) {
        let mut seen = Vec::new();
        let outcome = crew.pass(counting(ends, breaks), |piece: &Vec<u32>| {
            seen.extend(piece);
            if piece.contains(&refuses) { Err(refuses) } else { Ok(()) }
        });
        (seen, outcome)
    }

    #[test]
    fn pieces_come_in_order_to_the_end_whoever_passes_them() {
        const NEVER: u32 = u32::MAX;
        for (ends, breaks, refuses) in [(100, NEVER, NEVER), (0, NEVER, NEVER), (100, 50, NEVER), (100, NEVER, 50)] {
            let [alone, cores] = [passed(&Alone, ends, breaks, refuses), passed(&Cores, ends, breaks, refuses)];
            assert_eq!(alone, cores);
            let all = ends.min(breaks).min(refuses);
            assert!(alone.0.iter().copied().eq(0..alone.0.len() as u32), "{:?}", alone.0);
            assert!(
                (all..all + 3).contains(&(alone.0.len() as u32 + u32::from(all == breaks) * 3)),
                "{all} {}",
                alone.0.len()
            );
            assert_eq!(alone.1, if all == ends { Ok(()) } else { Err(all) });
        }
    }
}
