//! What turns the leg: a trace from the host, played by two interrupts. The one puts its edges into their queues, each at its
//! moment and stamped by the clock as a board with sensors would; the other puts everything else onto the pins.

use core::sync::atomic::Ordering;

use slackside::input::{Command, ContactState, Input as Entry, LineState, Shaft, Signal};
use slackside::units::{Micros, Span};
use slackside_box::edges::Catcher;

use crate::clock::{COUNTS_A_US, count, counts, hush, keep_count, now, ring_in};
use crate::latency::LATENCY;
use crate::pins::*;

/// How long a button is held that the trace only says was pressed.
const PRESSED: Span = Span::from_millis(200);

/// The rest of a trace.
#[derive(Clone, Copy)]
struct Rest {
    bytes: &'static [u8],
}

impl Rest {
    /// The next entry of the wanted kind.
    fn next(&mut self, edges: bool) -> Option<Entry> {
        loop {
            let (entry, rest) = postcard::take_from_bytes::<Entry>(self.bytes).ok()?;
            self.bytes = rest;
            if matches!(entry.signal, Signal::Edge(..)) == edges {
                return Some(entry);
            }
        }
    }
}

/// Plays the edges.
pub struct Edges {
    rest: Rest,
    next: Option<(u64, Shaft, bool)>,
    head: Catcher<'static>,
    boot: Catcher<'static>,
}

/// Rings further away than this are taken up again on the way.
const FURTHEST: u64 = 1 << 30;

impl Edges {
    pub fn new(trace: &'static [u8], head: Catcher<'static>, boot: Catcher<'static>) -> Self {
        let mut edges = Self { rest: Rest { bytes: trace }, next: None, head, boot };
        edges.fetch();
        edges
    }

    fn fetch(&mut self) {
        self.next = self.rest.next(true).and_then(|entry| match entry.signal {
            Signal::Edge(shaft, high) => Some((entry.at.get() * u64::from(COUNTS_A_US), shaft, high)),
            _ => None,
        });
    }

    /// The ring was heard, or the first one is to be set.
    pub fn play(&mut self) {
        // Read first of all: how late this interrupt is.
        let heard = count();
        hush();
        let mut first = true;
        while let Some((due, shaft, high)) = self.next {
            let stamp = counts();
            if due > stamp {
                ring_in((due - stamp).min(FURTHEST) as u32);
                return;
            }
            if first {
                LATENCY.take(heard.wrapping_sub(due as u32));
                first = false;
            }
            let at = Micros::new(stamp / u64::from(COUNTS_A_US));
            match shaft {
                Shaft::Head => self.head.catch(at, high),
                Shaft::Boot => self.boot.catch(at, high),
            }
            self.fetch();
        }
    }
}

/// Plays everything but the edges, at each SysTick.
pub struct Rounds {
    rest: Rest,
    next: Option<Entry>,
    /// When each button is let go.
    held: [Option<Micros>; BUTTONS.len()],
}

impl Rounds {
    pub fn new(trace: &'static [u8]) -> Self {
        let mut rest = Rest { bytes: trace };
        let next = rest.next(false);
        Self { rest, next, held: [None; BUTTONS.len()] }
    }

    pub fn play(&mut self) {
        keep_count();
        let now = now();
        for (coil, back) in COILS.into_iter().zip(BACKS) {
            PINS[back].store(PINS[coil].load(Ordering::SeqCst), Ordering::SeqCst);
        }
        for (button, held) in BUTTONS.into_iter().zip(&mut self.held) {
            if held.is_some_and(|until| now >= until) {
                PINS[button].store(false, Ordering::SeqCst);
                *held = None;
            }
        }
        while let Some(Entry { signal, .. }) = self.next.filter(|entry| entry.at <= now) {
            self.put(signal, now);
            self.next = self.rest.next(false);
        }
    }

    fn press(&mut self, button: usize, now: Micros) {
        PINS[button].store(true, Ordering::SeqCst);
        for (held, _) in self.held.iter_mut().zip(BUTTONS).filter(|(_, number)| *number == button) {
            *held = Some(now.after(PRESSED));
        }
    }

    fn put(&mut self, signal: Signal, now: Micros) {
        match signal {
            Signal::Contact(place, state) => {
                let level = match state {
                    ContactState::Clear => CLEAR,
                    ContactState::Rubbing => RUBBING,
                    ContactState::Faulty => u16::MAX,
                };
                LEVELS[place.index()].store(level, Ordering::SeqCst);
            }
            Signal::Line(shaft, state) => {
                let current = match state {
                    LineState::Sound => SOUND,
                    LineState::Open => 0,
                    LineState::Shorted => u16::MAX,
                };
                LEVELS[4 + usize::from(shaft == Shaft::Boot)].store(current, Ordering::SeqCst);
            }
            Signal::DriveRunning(on) => PINS[DRIVE].store(on, Ordering::SeqCst),
            Signal::OutletPlugged(on) => PINS[OUTLET].store(on, Ordering::SeqCst),
            Signal::Command(_, Command::Key(on)) => PINS[KEY].store(on, Ordering::SeqCst),
            Signal::Command(_, Command::Inch(on)) => PINS[INCHING].store(on, Ordering::SeqCst),
            Signal::Command(_, Command::ResetButton(on)) => PINS[RESET].store(on, Ordering::SeqCst),
            Signal::Command(_, Command::Reset) => self.press(RESET, now),
            Signal::Command(_, Command::Acknowledge) => self.press(ACKNOWLEDGE, now),
            Signal::Command(_, Command::BootCleared) => self.press(BOOT_CLEARED, now),
            // Readings that this board has no input for, and what only the core's own callers say.
            _ => {}
        }
    }
}
