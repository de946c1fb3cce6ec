//! A leg that is not there: the host's trace, each of its inputs at its moment, as a capture unit has them. Such a unit keeps the time of
//! an edge by itself, and rings: however late the interrupt looks, the stamp is that of the edge.

use core::sync::atomic::{AtomicBool, Ordering};

use slackside::input::Input;

use crate::clock::{COUNTS_A_US, counts, hush, ring_in};

/// Rings further away than this are taken up again on the way.
const FURTHEST: u64 = 1 << 30;

static OVER: AtomicBool = AtomicBool::new(false);

/// Whether nothing more comes: the run ends with the trace.
pub fn is_over() -> bool {
    OVER.load(Ordering::SeqCst)
}

/// The trace, from its next input on.
pub struct Field {
    next: Option<Input>,
    rest: &'static [u8],
}

impl Field {
    /// Of these inputs, postcard, one after the other. It rings from now on.
    pub fn new(trace: &'static [u8]) -> Self {
        let mut field = Self { next: None, rest: trace };
        field.fetch();
        ring_in(1);
        field
    }

    fn fetch(&mut self) {
        self.next = postcard::take_from_bytes(self.rest).ok().map(|(input, rest)| {
            self.rest = rest;
            input
        });
    }

    /// The ring was heard: what was captured since the last one, one by one.
    pub fn captured(&mut self) -> Option<Input> {
        hush();
        let Some(input) = self.next else {
            OVER.store(true, Ordering::SeqCst);
            return None;
        };
        let early = (input.at.get() * u64::from(COUNTS_A_US)).saturating_sub(counts());
        if early > 0 {
            ring_in(early.min(FURTHEST) as u32);
            return None;
        }
        self.fetch();
        Some(input)
    }
}
