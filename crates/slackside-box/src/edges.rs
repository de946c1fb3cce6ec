//! Edges from the interrupt to the monitor, through one lock-free queue a shaft.
//!
//! The interrupt holds a [`Catcher`] and writes down what it caught: the level and when. The main loop holds the
//! [`Merger`], which hands both shafts' edges over in order of time and no further than the watermark: the moment up to
//! which every edge is known to be in its queue. A queue that overflows keeps what it has, counts what it lost, and the
//! loss becomes [`Signal::EdgesLost`], which stops the leg.

use core::sync::atomic::{AtomicU32, Ordering};

use heapless::spsc::{Consumer, Producer, Queue};
use slackside::input::{Input, Shaft, Signal};
use slackside::units::Micros;

/// One edge as caught.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caught {
    /// When.
    pub at: Micros,
    /// The level after it.
    pub high: bool,
}

/// The queue of one shaft, with room for `N` − 1 edges. Put it into a static.
pub struct EdgeQueue<const N: usize> {
    queue: Queue<Caught, N>,
    lost: AtomicU32,
}

impl<const N: usize> EdgeQueue<N> {
    /// An empty queue.
    #[must_use]
    pub const fn new() -> Self {
        Self { queue: Queue::new(), lost: AtomicU32::new(0) }
    }

    /// The end for the interrupt and the end for the main loop.
    pub fn split(&mut self) -> (Catcher<'_>, Catch<'_>) {
        let Self { queue, lost } = self;
        let (producer, consumer) = queue.split();
        (Catcher { queue: producer, lost }, Catch { queue: consumer, lost, seen_lost: 0 })
    }
}

impl<const N: usize> Default for EdgeQueue<N> {
    fn default() -> Self {
        Self::new()
    }
}

/// The interrupt's end.
pub struct Catcher<'q> {
    queue: Producer<'q, Caught>,
    lost: &'q AtomicU32,
}

impl Catcher<'_> {
    /// An edge was caught. Never waits; if there is no room the edge is lost, and that is counted.
    pub fn catch(&mut self, at: Micros, high: bool) {
        if self.queue.enqueue(Caught { at, high }).is_err() {
            // Only this end writes, so that load and store make a sum even where the processor cannot add atomically.
            self.lost.store(self.lost.load(Ordering::Relaxed).wrapping_add(1), Ordering::Release);
        }
    }
}

/// The main loop's end.
pub struct Catch<'q> {
    queue: Consumer<'q, Caught>,
    lost: &'q AtomicU32,
    seen_lost: u32,
}

impl Catch<'_> {
    /// Whether edges were lost since last asked.
    fn lost(&mut self) -> bool {
        let lost = self.lost.load(Ordering::Acquire);
        let more = lost != self.seen_lost;
        self.seen_lost = lost;
        more
    }

    fn next_at(&self) -> Option<Micros> {
        self.queue.peek().map(|caught| caught.at)
    }
}

/// Both shafts' edges in one order.
pub struct Merger<'q> {
    head: Option<Catch<'q>>,
    boot: Catch<'q>,
    watermark: Micros,
}

impl<'q> Merger<'q> {
    /// Merge the queues; `head` is `None` where the head shaft has no sensor.
    #[must_use]
    pub const fn new(head: Option<Catch<'q>>, boot: Catch<'q>) -> Self {
        Self { head, boot, watermark: Micros::ZERO }
    }

    /// Move the watermark on: every edge up to it is in its queue. It never moves back. Tells `out` of lost edges first,
    /// at the watermark before, since it is not known where between the two they belong.
    ///
    /// Whether any were lost.
    pub fn move_on(&mut self, watermark: Micros, out: &mut dyn FnMut(Input)) -> bool {
        let mut any = false;
        if self.head.as_mut().is_some_and(Catch::lost) {
            out(Input::new(self.watermark, Signal::EdgesLost(Shaft::Head)));
            any = true;
        }
        if self.boot.lost() {
            out(Input::new(self.watermark, Signal::EdgesLost(Shaft::Boot)));
            any = true;
        }
        self.watermark = self.watermark.max(watermark);
        any
    }

    /// Whether the head shaft has a sensor.
    #[must_use]
    pub const fn has_head(&self) -> bool {
        self.head.is_some()
    }

    /// The watermark.
    #[must_use]
    pub const fn watermark(&self) -> Micros {
        self.watermark
    }

    /// The next edge up to the watermark; the head's first where both are at the same time.
    #[expect(clippy::should_implement_trait, reason = "it goes on after `None`, once the watermark has moved")]
    pub fn next(&mut self) -> Option<Input> {
        let head = self.head.as_ref().and_then(Catch::next_at);
        let boot = self.boot.next_at();
        let (shaft, at) = match (head, boot) {
            (Some(head), Some(boot)) if boot < head => (Shaft::Boot, boot),
            (Some(head), _) => (Shaft::Head, head),
            (None, Some(boot)) => (Shaft::Boot, boot),
            (None, None) => return None,
        };
        if at > self.watermark {
            return None;
        }
        let catch = match shaft {
            Shaft::Head => self.head.as_mut()?,
            Shaft::Boot => &mut self.boot,
        };
        let caught = catch.queue.dequeue()?;
        Some(Input::new(caught.at, Signal::Edge(shaft, caught.high)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drain(merger: &mut Merger<'_>, to: u64) -> heapless::Vec<Input, 32> {
        let mut seen = heapless::Vec::new();
        merger.move_on(Micros::new(to), &mut |input| {
            let _ = seen.push(input);
        });
        while let Some(input) = merger.next() {
            let _ = seen.push(input);
        }
        seen
    }

    fn edge(at: u64, shaft: Shaft, high: bool) -> Input {
        Input::new(Micros::new(at), Signal::Edge(shaft, high))
    }

    #[test]
    fn edges_come_in_order_of_time_and_not_beyond_the_watermark() {
        let (mut head, mut boot) = (EdgeQueue::<8>::new(), EdgeQueue::<8>::new());
        let ((mut catch_head, head), (mut catch_boot, boot)) = (head.split(), boot.split());
        let mut merger = Merger::new(Some(head), boot);
        catch_boot.catch(Micros::new(5), true);
        catch_head.catch(Micros::new(7), true);
        catch_boot.catch(Micros::new(7), false);
        catch_head.catch(Micros::new(11), false);
        let first = drain(&mut merger, 10);
        let expected = [edge(5, Shaft::Boot, true), edge(7, Shaft::Head, true), edge(7, Shaft::Boot, false)];
        assert_eq!(first.as_slice(), expected);
        // An edge that the interrupt adds later, but before the one that waits, still comes first.
        catch_boot.catch(Micros::new(10), true);
        let second = drain(&mut merger, 11);
        assert_eq!(second.as_slice(), [edge(10, Shaft::Boot, true), edge(11, Shaft::Head, false)]);
    }

    #[test]
    fn an_overflow_is_told_once_and_what_is_kept_still_comes() {
        let mut boot = EdgeQueue::<4>::new();
        let (mut catcher, boot) = boot.split();
        let mut merger = Merger::new(None, boot);
        drain(&mut merger, 1);
        for at in 2..9 {
            catcher.catch(Micros::new(at), at % 2 == 0);
        }
        let seen = drain(&mut merger, 9);
        let lost = Input::new(Micros::new(1), Signal::EdgesLost(Shaft::Boot));
        let kept = [edge(2, Shaft::Boot, true), edge(3, Shaft::Boot, false), edge(4, Shaft::Boot, true)];
        assert_eq!(seen.first(), Some(&lost));
        assert_eq!(seen.get(1..), Some(kept.as_slice()));
        assert!(drain(&mut merger, 20).is_empty());
    }

    #[test]
    fn the_watermark_never_moves_back() {
        let mut boot = EdgeQueue::<4>::new();
        let (mut catcher, boot) = boot.split();
        let mut merger = Merger::new(None, boot);
        drain(&mut merger, 50);
        drain(&mut merger, 20);
        assert_eq!(merger.watermark(), Micros::new(50));
        catcher.catch(Micros::new(40), true);
        assert_eq!(drain(&mut merger, 20).as_slice(), [edge(40, Shaft::Boot, true)]);
    }
}
