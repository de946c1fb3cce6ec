//! What turns the leg: a trace from the host, played in two interrupts. In the one its edges come, each at its moment and stamped by the
//! clock, as pins of sensors would have them; the other puts everything else onto the pins.

use core::sync::atomic::Ordering;

use slackside::input::{Command, ContactState, Input as Entry, LineState, Shaft, Signal};
use slackside::units::{Micros, Span};
use slackside_mps2::clock::{COUNTS_A_US, count, counts, hush, now, ring_in};
use slackside_mps2::pins::*;

use crate::latency::LATENCY;

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

/// Both target sensors.
pub struct Sensors {
    rest: Rest,
    next: Option<(u64, Shaft, bool)>,
    /// The ring that is being answered has been answered by an edge already.
    answered: bool,
}

/// Rings further away than this are taken up again on the way.
const FURTHEST: u64 = 1 << 30;

impl Sensors {
    pub fn new(trace: &'static [u8]) -> Self {
        let mut sensors = Self { rest: Rest { bytes: trace }, next: None, answered: false };
        sensors.fetch();
        sensors
    }

    fn fetch(&mut self) {
        self.next = self.rest.next(true).and_then(|entry| match entry.signal {
            Signal::Edge(shaft, high) => Some((entry.at.get() * u64::from(COUNTS_A_US), shaft, high)),
            _ => None,
        });
    }

    /// The ring was heard: each edge that has come, with the time it is now and the level behind it. `None`: ring for the next.
    pub fn edge(&mut self) -> Option<(Micros, Shaft, bool)> {
        // Read first of all: how late this interrupt is.
        let heard = count();
        hush();
        let (due, shaft, high) = self.next?;
        let stamp = counts();
        if due > stamp {
            ring_in((due - stamp).min(FURTHEST) as u32);
            self.answered = false;
            return None;
        }
        if !self.answered {
            LATENCY.take(heard.wrapping_sub(due as u32));
            self.answered = true;
        }
        self.fetch();
        Some((Micros::new(stamp / u64::from(COUNTS_A_US)), shaft, high))
    }
}

/// The watchdog between heartbeat and coils: without a beat for so long it opens their supply.
const WATCHDOG: Span = Span::from_millis(200);

/// Plays everything but the edges, at each SysTick.
pub struct Rounds {
    rest: Rest,
    next: Option<Entry>,
    /// When each button is let go.
    held: [Option<Micros>; BUTTONS.len()],
    /// The heartbeat's level, and when it turned last.
    beat: (bool, Micros),
    /// The watchdog stays closed whatever the heart does.
    pub watchdog_shut: bool,
}

impl Rounds {
    pub fn new(trace: &'static [u8]) -> Self {
        let mut rest = Rest { bytes: trace };
        let next = rest.next(false);
        Self { rest, next, held: [None; BUTTONS.len()], beat: (false, Micros::ZERO), watchdog_shut: false }
    }

    pub fn play(&mut self) {
        let now = now();
        let beat = PINS[HEARTBEAT].load(Ordering::SeqCst);
        if beat != self.beat.0 {
            self.beat = (beat, now);
        }
        let supplied = self.watchdog_shut || now.since(self.beat.1) <= WATCHDOG;
        for (coil, back) in COILS.into_iter().zip(BACKS) {
            PINS[back].store(supplied && PINS[coil].load(Ordering::SeqCst), Ordering::SeqCst);
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
