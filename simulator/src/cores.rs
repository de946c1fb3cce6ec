//! Work shared out to all cores.

use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
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

    fn relay<P: Default + Send, Q: Default + Send, E: Send>(
        &self,
        mut make: impl FnMut(&mut P) -> Result<bool, E> + Send,
        mut work: impl FnMut(&P, &mut Q) -> Result<(), E> + Send,
        mut take: impl FnMut(&Q) -> Result<(), E>,
    ) -> Result<(), E> {
        let (mut maker, made) = hands();
        let (mut worker, worked) = hands();
        thread::scope(move |scope| {
            scope.spawn(move || while let Some(true) = maker.hand(&mut make) {});
            scope.spawn(move || {
                for piece in made.pieces {
                    let handed = match piece {
                        Ok(piece) => {
                            let handed = worker.hand(|other| work(&piece, other).map(|()| true));
                            drop(made.spent.send(piece));
                            handed
                        }
                        Err(error) => worker.hand(|_| Err(error)),
                    };
                    if handed != Some(true) {
                        return;
                    }
                }
            });
            for piece in worked.pieces {
                let piece = piece?;
                take(&piece)?;
                drop(worked.spent.send(piece));
            }
            Ok(())
        })
    }
}

/// Who fills pieces and hands them on.
struct Giver<P, E> {
    pieces: SyncSender<Result<P, E>>,
    lent: Receiver<P>,
}

/// Who gets them, and gives them back: to nobody, where who filled them is done.
struct Taker<P, E> {
    pieces: Receiver<Result<P, E>>,
    spent: Sender<P>,
}

fn hands<P, E>() -> (Giver<P, E>, Taker<P, E>) {
    let (full, pieces) = sync_channel(PIECES);
    let (spent, lent) = channel();
    (Giver { pieces: full, lent }, Taker { pieces, spent })
}

impl<P: Default, E> Giver<P, E> {
    /// Fill a piece and hand it on, or the error. Whether there is more to come; `None` if nobody gets anything any more.
    fn hand(&mut self, fill: impl FnOnce(&mut P) -> Result<bool, E>) -> Option<bool> {
        let mut piece = self.lent.try_recv().unwrap_or_default();
        let (piece, more) = match fill(&mut piece) {
            Ok(more) => (Ok(piece), more),
            Err(error) => (Err(error), false),
        };
        self.pieces.send(piece).ok().map(|()| more)
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

    /// Each number times two, unless it is the one that is not worked on; what was seen of that, unless it is refused.
    fn relayed(crew: &impl Crew, [ends, breaks, fails, refuses]: [u32; 4]) -> (Vec<u32>, Result<(), u32>) {
        let mut seen = Vec::new();
        let twice = |from: &Vec<u32>, to: &mut Vec<u32>| {
            to.clear();
            to.extend(from.iter().map(|number| number * 2));
            if from.contains(&fails) { Err(fails) } else { Ok(()) }
        };
        let outcome = crew.relay(counting(ends, breaks), twice, |piece| {
            seen.extend_from_slice(piece);
            if piece.contains(&refuses) { Err(refuses) } else { Ok(()) }
        });
        (seen, outcome)
    }

    #[test]
    fn pieces_come_in_order_and_the_first_error_ends_it_whoever_hands_them_on() {
        const NEVER: u32 = u32::MAX;
        for (run, seen, outcome) in [
            ([99, NEVER, NEVER, NEVER], 102, Ok(())),
            ([0, NEVER, NEVER, NEVER], 3, Ok(())),
            ([99, 50, NEVER, NEVER], 48, Err(50)),
            ([99, NEVER, 50, NEVER], 48, Err(50)),
            ([99, NEVER, NEVER, 50], 27, Err(50)),
            ([99, 2, 1, 0], 0, Err(2)),
        ] {
            let told = ((0..seen).map(|number| number * 2).collect(), outcome);
            assert_eq!((relayed(&Alone, run), relayed(&Cores, run)), (told.clone(), told), "{run:?}");
        }
    }
}
