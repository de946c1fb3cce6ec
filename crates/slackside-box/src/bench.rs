//! A box made of memory: pins, analogue levels and flash that a test or a box on the desk can turn and watch.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicBool, AtomicI32, Ordering};
use std::sync::{Arc, Mutex};
use std::vec;
use std::vec::Vec;

use embedded_hal::digital::{ErrorKind, ErrorType, InputPin, OutputPin};
use embedded_storage::nor_flash::{
    ErrorType as FlashErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

use crate::contact::{RubContact, Wiring};
use crate::line::Analogue;
use crate::pin::{Input, Output};
use crate::relay::Relay;
use crate::wires::{Inputs, Outputs, Wires};

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

/// Why the flash did not do it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FlashFailure {
    /// Not on a unit, or beyond the end.
    Address(NorFlashErrorKind),
    /// Written twice without being erased between: real flash may not keep that.
    NotErased,
    /// Power is gone.
    NoPower,
}

impl NorFlashError for FlashFailure {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Self::Address(kind) => *kind,
            Self::NotErased | Self::NoPower => NorFlashErrorKind::Other,
        }
    }
}

/// NOR flash in memory: writing only clears bits, each write unit is written once after each erasing, and power can go at
/// any byte.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Flash<const WRITE: usize = 4, const ERASE: usize = 1024> {
    bytes: Vec<u8>,
    written: Vec<bool>,
    /// Steps until power goes: a byte written or erased is a step.
    until: Option<u64>,
    /// Whether the byte under way keeps some of its bits as they were.
    torn: bool,
    steps: u64,
    bytes_read: u64,
}

impl<const WRITE: usize, const ERASE: usize> Flash<WRITE, ERASE> {
    /// Erased flash of `blocks` erase blocks.
    #[must_use]
    pub fn new(blocks: usize) -> Self {
        let length = blocks.saturating_mul(ERASE);
        let units = length.checked_div(WRITE).unwrap_or(0);
        Self {
            bytes: vec![0xFF; length],
            written: vec![false; units],
            until: None,
            torn: false,
            steps: 0,
            bytes_read: 0,
        }
    }

    /// Let power go after so many more steps; `torn` leaves half the bits of the byte under way as they were.
    pub fn lose_power_after(&mut self, steps: u64, torn: bool) {
        (self.until, self.torn) = (Some(steps), torn);
    }

    /// Power is back.
    pub fn restore_power(&mut self) {
        self.until = None;
    }

    /// Steps made so far.
    #[must_use]
    pub const fn steps(&self) -> u64 {
        self.steps
    }

    /// Bytes read so far.
    #[must_use]
    pub const fn bytes_read(&self) -> u64 {
        self.bytes_read
    }

    /// Turn a bit of what is stored, as age does.
    pub fn flip(&mut self, at: usize, bit: u8) {
        if let Some(byte) = self.bytes.get_mut(at) {
            *byte ^= 1_u8.wrapping_shl(u32::from(bit));
        }
    }

    /// What is stored.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    fn set(&mut self, at: usize, value: u8) -> Result<(), FlashFailure> {
        let byte = self.bytes.get_mut(at).ok_or(FlashFailure::Address(NorFlashErrorKind::OutOfBounds))?;
        match self.until.as_mut() {
            Some(0) => {
                if self.torn {
                    *byte = (value & 0x55) | (*byte & 0xAA);
                    self.torn = false;
                }
                return Err(FlashFailure::NoPower);
            }
            Some(left) => *left = left.saturating_sub(1),
            None => {}
        }
        *byte = value;
        self.steps = self.steps.saturating_add(1);
        Ok(())
    }

    fn range(from: u32, length: usize) -> core::ops::Range<usize> {
        let from = usize::try_from(from).unwrap_or(usize::MAX);
        from..from.saturating_add(length)
    }
}

impl<const WRITE: usize, const ERASE: usize> FlashErrorType for Flash<WRITE, ERASE> {
    type Error = FlashFailure;
}

impl<const WRITE: usize, const ERASE: usize> ReadNorFlash for Flash<WRITE, ERASE> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), FlashFailure> {
        if self.until == Some(0) {
            return Err(FlashFailure::NoPower);
        }
        let out_of_bounds = FlashFailure::Address(NorFlashErrorKind::OutOfBounds);
        bytes.copy_from_slice(self.bytes.get(Self::range(offset, bytes.len())).ok_or(out_of_bounds)?);
        self.bytes_read = self.bytes_read.saturating_add(bytes.len() as u64);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl<const WRITE: usize, const ERASE: usize> NorFlash for Flash<WRITE, ERASE> {
    const ERASE_SIZE: usize = ERASE;
    const WRITE_SIZE: usize = WRITE;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), FlashFailure> {
        embedded_storage::nor_flash::check_erase(self, from, to).map_err(FlashFailure::Address)?;
        for at in Self::range(from, usize::try_from(to.saturating_sub(from)).unwrap_or(usize::MAX)) {
            self.set(at, 0xFF)?;
            if let Some(written) = self.written.get_mut(at.checked_div(WRITE).unwrap_or(usize::MAX)) {
                *written = false;
            }
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), FlashFailure> {
        embedded_storage::nor_flash::check_write(self, offset, bytes.len()).map_err(FlashFailure::Address)?;
        for (at, byte) in Self::range(offset, bytes.len()).zip(bytes) {
            if self.until == Some(0) && !self.torn {
                return Err(FlashFailure::NoPower);
            }
            if at.is_multiple_of(WRITE)
                && let Some(written) = self.written.get_mut(at.checked_div(WRITE).unwrap_or(usize::MAX))
            {
                if *written {
                    return Err(FlashFailure::NotErased);
                }
                // Filling up with FF programs nothing on NOR flash, but parts with their own check bits count it.
                *written = true;
            }
            let old = self.bytes.get(at).copied().unwrap_or(0xFF);
            self.set(at, old & *byte)?;
        }
        Ok(())
    }
}

/// Every wire of a box on the bench. The inputs are on when high.
#[derive(Clone, Debug)]
pub struct Panel {
    /// The lines of the rub contacts, supervised.
    pub contacts: [Level; 4],
    /// The current of the head sensor's line.
    pub head_line: Level,
    /// The current of the boot sensor's line.
    pub boot_line: Level,
    /// The starter's auxiliary contact.
    pub drive: Pin,
    /// The outlet switch.
    pub outlet: Pin,
    /// The acknowledge button.
    pub acknowledge: Pin,
    /// The reset button.
    pub reset: Pin,
    /// The button that reports the boot clear.
    pub boot_cleared: Pin,
    /// The key.
    pub key: Pin,
    /// The inching switch.
    pub inching: Pin,
    /// Supply good.
    pub supply: Pin,
    /// Coils: run permit's first and second relay, feed permit's.
    pub coils: [Pin; 3],
    /// Their read-backs.
    pub backs: [Pin; 3],
    /// The alarm relay.
    pub alarm: Pin,
    /// The heartbeat.
    pub heartbeat: Pin,
}

/// The line of a rub contact that is clear.
pub const CLEAR: u16 = 43_354;
/// The line of a rub contact when the belt rubs.
pub const RUBBING: u16 = 20_480;
/// The current of a sound sensor line.
pub const SOUND: u16 = 3_000;

impl Default for Panel {
    fn default() -> Self {
        Self::new()
    }
}

impl Panel {
    /// Everything off, lines sound, supply good.
    #[must_use]
    pub fn new() -> Self {
        let panel = Self {
            contacts: core::array::from_fn(|_| Level::new(CLEAR)),
            head_line: Level::new(SOUND),
            boot_line: Level::new(SOUND),
            drive: Pin::new(),
            outlet: Pin::new(),
            acknowledge: Pin::new(),
            reset: Pin::new(),
            boot_cleared: Pin::new(),
            key: Pin::new(),
            inching: Pin::new(),
            supply: Pin::new(),
            coils: core::array::from_fn(|_| Pin::new()),
            backs: core::array::from_fn(|_| Pin::new()),
            alarm: Pin::new(),
            heartbeat: Pin::new(),
        };
        panel.supply.set(true);
        panel
    }

    /// The wires, for a box.
    #[must_use]
    pub fn wires(&self) -> Wires<Pin, Pin, Level> {
        let on = |pin: &Pin| Input::on_high(pin.clone());
        let [run_a, run_b, feed] = &self.coils;
        let [back_a, back_b, back_feed] = &self.backs;
        Wires {
            inputs: Inputs {
                contacts: self
                    .contacts
                    .each_ref()
                    .map(|level| Some(RubContact::new(Wiring::Supervised(level.clone())))),
                head_line: Some(self.head_line.clone()),
                boot_line: Some(self.boot_line.clone()),
                drive: Some(on(&self.drive)),
                outlet: Some(on(&self.outlet)),
                acknowledge: on(&self.acknowledge),
                reset: on(&self.reset),
                boot_cleared: on(&self.boot_cleared),
                key: on(&self.key),
                inching: Some(on(&self.inching)),
                supply: Some(on(&self.supply)),
            },
            outputs: Outputs {
                run: [relay(run_a, back_a), relay(run_b, back_b)],
                feed: relay(feed, back_feed),
                alarm: Output::on_high(self.alarm.clone()),
                heartbeat: Output::on_high(self.heartbeat.clone()),
            },
        }
    }

    /// The relays' contacts follow their coils.
    pub fn relays_follow(&self) {
        for (coil, back) in self.coils.iter().zip(&self.backs) {
            back.set(coil.get());
        }
    }

    /// Whether the contacts of the run permit, in series, let the drive run.
    #[must_use]
    pub fn may_run(&self) -> bool {
        let [a, b, _] = &self.backs;
        a.get() && b.get()
    }

    /// Whether the contact of the feed permit lets the leg be fed.
    #[must_use]
    pub fn may_feed(&self) -> bool {
        let [_, _, feed] = &self.backs;
        feed.get()
    }
}

/// A serial line made of memory: what one end writes, the other reads.
#[derive(Clone, Debug)]
pub struct Line {
    inward: Arc<Mutex<VecDeque<u8>>>,
    outward: Arc<Mutex<VecDeque<u8>>>,
    room: usize,
}

impl Line {
    /// Both ends. `room` is how many bytes wait in each direction before the writer must.
    #[must_use]
    pub fn pair(room: usize) -> (Self, Self) {
        let queue = || Arc::new(Mutex::new(VecDeque::new()));
        let (one, other) = (queue(), queue());
        let first = Self { inward: Arc::clone(&one), outward: Arc::clone(&other), room };
        (first, Self { inward: other, outward: one, room })
    }

    fn locked(queue: &Mutex<VecDeque<u8>>) -> std::sync::MutexGuard<'_, VecDeque<u8>> {
        // A thread that panicked has left bytes at worst, and bytes may be anything.
        queue.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    /// Everything that came in.
    #[must_use]
    pub fn take(&self) -> Vec<u8> {
        Self::locked(&self.inward).drain(..).collect()
    }

    /// Let these out as far as there is room: how many.
    pub fn put(&self, bytes: &[u8]) -> usize {
        let mut queue = Self::locked(&self.outward);
        let free = self.room.saturating_sub(queue.len()).min(bytes.len());
        queue.extend(bytes.iter().take(free));
        free
    }
}

impl embedded_io::ErrorType for Line {
    type Error = core::convert::Infallible;
}

impl embedded_io::ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(!Self::locked(&self.inward).is_empty())
    }
}

impl embedded_io::Read for Line {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Self::Error> {
        let mut queue = Self::locked(&self.inward);
        let count = queue.len().min(bytes.len());
        Ok(bytes.iter_mut().zip(queue.drain(..count)).map(|(slot, byte)| *slot = byte).count())
    }
}

impl embedded_io::WriteReady for Line {
    fn write_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(Self::locked(&self.outward).len() < self.room)
    }
}

impl embedded_io::Write for Line {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Self::Error> {
        Ok(self.put(bytes))
    }

    fn flush(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
}
