//! Inputs on their way out, put in order of time.
//!
//! Jitter and bounce move edges a little; what happened is held back for [`Outbox::HOLD_US`] so that the trace comes out in
//! order. A sensor line that is told the level it already has says nothing.

use slackside::input::{Input, Shaft, Signal};
use slackside::units::Micros;

/// The inputs waiting.
#[derive(Clone, Debug, Default)]
pub struct Outbox {
    waiting: Vec<Input>,
    last: u64,
    shown: [Option<bool>; 2],
}

impl Outbox {
    /// How long inputs are held back, in microseconds.
    pub const HOLD_US: u64 = 2_000;

    /// Something happened.
    pub fn push(&mut self, at_us: u64, signal: Signal) {
        self.waiting.push(Input::new(Micros::new(at_us), signal));
    }

    /// Hand out everything before `until_us`.
    pub fn flush(&mut self, until_us: u64, mut out: impl FnMut(Input)) {
        if self.waiting.is_empty() {
            return;
        }
        self.waiting.sort_by_key(|input| input.at);
        let ripe = self.waiting.partition_point(|input| input.at.get() < until_us);
        for mut input in self.waiting.drain(..ripe) {
            if let Signal::Edge(shaft, level) = input.signal {
                let shown = &mut self.shown[usize::from(shaft == Shaft::Boot)];
                if *shown == Some(level) {
                    continue;
                }
                *shown = Some(level);
            }
            // Nothing is more than the holding time late, so this holds only for what is beyond it.
            self.last = self.last.max(input.at.get());
            input.at = Micros::new(self.last);
            out(input);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comes_out_in_order_and_without_repeats() {
        let mut outbox = Outbox::default();
        outbox.push(30, Signal::Edge(Shaft::Head, false));
        outbox.push(10, Signal::Edge(Shaft::Head, true));
        outbox.push(20, Signal::Edge(Shaft::Head, true));
        outbox.push(500, Signal::Tick);
        let mut seen = Vec::new();
        outbox.flush(100, |input| seen.push(input.at.get()));
        assert_eq!(seen, [10, 30]);
    }
}
