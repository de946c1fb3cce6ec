//! Pins and analogue levels that a test can turn and watch.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicI32, Ordering};

use embedded_hal::digital::{ErrorKind, ErrorType, InputPin, OutputPin};

use crate::line::Analogue;
use crate::pin::{Input, Output};
use crate::relay::Relay;

/// A pin: its clones are the same pin.
#[derive(Clone, Debug, Default)]
pub struct Pin(Arc<PinState>);

#[derive(Debug, Default)]
struct PinState {
    high: AtomicBool,
    broken: AtomicBool,
    writes: AtomicI32,
}

/// A pin that cannot be read or written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BrokenPin;

impl embedded_hal::digital::Error for BrokenPin {
    fn kind(&self) -> ErrorKind {
        ErrorKind::Other
    }
}

impl Pin {
    /// A low pin.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Turn it.
    pub fn set(&self, high: bool) {
        self.0.high.store(high, Ordering::SeqCst);
    }

    /// Whether it is high.
    #[must_use]
    pub fn get(&self) -> bool {
        self.0.high.load(Ordering::SeqCst)
    }

    /// From now on it can be neither read nor written.
    pub fn break_down(&self) {
        self.0.broken.store(true, Ordering::SeqCst);
    }

    /// How often it was written.
    #[must_use]
    pub fn writes(&self) -> i32 {
        self.0.writes.load(Ordering::SeqCst)
    }

    fn whole(&self) -> Result<(), BrokenPin> {
        if self.0.broken.load(Ordering::SeqCst) { Err(BrokenPin) } else { Ok(()) }
    }

    fn write(&self, high: bool) -> Result<(), BrokenPin> {
        self.whole()?;
        self.0.writes.fetch_add(1, Ordering::SeqCst);
        self.set(high);
        Ok(())
    }
}

impl ErrorType for Pin {
    type Error = BrokenPin;
}

impl InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, BrokenPin> {
        self.whole()?;
        Ok(self.get())
    }

    fn is_low(&mut self) -> Result<bool, BrokenPin> {
        self.is_high().map(|high| !high)
    }
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), BrokenPin> {
        self.write(false)
    }

    fn set_high(&mut self) -> Result<(), BrokenPin> {
        self.write(true)
    }
}

/// An analogue input: its clones are the same input.
#[derive(Clone, Debug)]
pub struct Level(Arc<AtomicI32>);

impl Level {
    /// An input that reads `level`.
    #[must_use]
    pub fn new(level: u16) -> Self {
        Self(Arc::new(AtomicI32::new(i32::from(level))))
    }

    /// Change it; `None` makes it unreadable.
    pub fn set(&self, level: Option<u16>) {
        self.0.store(level.map_or(-1, i32::from), Ordering::SeqCst);
    }
}

impl Analogue for Level {
    fn read(&mut self) -> Option<u16> {
        u16::try_from(self.0.load(Ordering::SeqCst)).ok()
    }
}

/// A relay between two pins, on when high.
#[must_use]
pub fn relay(coil: &Pin, back: &Pin) -> Relay<Pin, Pin> {
    Relay::new(Output::on_high(coil.clone()), Input::on_high(back.clone()))
}
