//! The board's clocks: timer 1 counts freely, timer 0 rings when an edge is due, the dual timer when a program wants to be woken. SysTick
//! wakes the box, but counts nothing: the emulator leaves some of its ticks out.

use core::sync::atomic::{AtomicU32, Ordering};

use slackside::units::Micros;

/// The processor's clock on this board.
const CLOCK_HZ: u32 = 25_000_000;
/// Counts in a microsecond.
pub const COUNTS_A_US: u32 = CLOCK_HZ / 1_000_000;
/// Counts from one SysTick to the next: 500 µs.
pub const STEP: u32 = 500 * COUNTS_A_US;

/// How often the free count has passed half of its range, as `now` last saw it.
static HALVES: AtomicU32 = AtomicU32::new(0);
const HALF: u32 = 31;

/// One of the board's timers (an ARM CMSDK timer): counts down, and from zero begins again.
struct Timer(usize);

const RING: Timer = Timer(0x4000_0000);
const FREE: Timer = Timer(0x4000_1000);
const CONTROL: usize = 0x0;
const VALUE: usize = 0x4;
const RELOAD: usize = 0x8;
const INTERRUPT: usize = 0xC;
const ENABLE: u32 = 1;
const ENABLE_INTERRUPT: u32 = 1 << 3;

/// The first half of the dual timer (an ARM CMSDK one): counts down once, and rings.
const ALARM: Timer = Timer(0x4000_2000);
const ALARM_LOAD: usize = 0x0;
const ALARM_CONTROL: usize = 0x8;
const ALARM_CLEAR: usize = 0xC;
/// Once, 32 bits, with an interrupt, on.
const ALARM_ONCE: u32 = 1 | 1 << 1 | 1 << 5 | 1 << 7;

impl Timer {
    fn read(&self, register: usize) -> u32 {
        // SAFETY: a register of a timer of the board; reading changes nothing.
        unsafe { ((self.0 + register) as *const u32).read_volatile() }
    }

    fn write(&self, register: usize, value: u32) {
        // SAFETY: as above; only this file writes them.
        unsafe { ((self.0 + register) as *mut u32).write_volatile(value) }
    }
}

/// The board's count of hundredths of a second (in its FPGA's block of lights and counters): the second clock.
const HUNDREDTHS: *const u32 = 0x4002_8014 as *const u32;

/// The newest count of hundredths, and how often it began anew.
static SECOND: [AtomicU32; 2] = [AtomicU32::new(0), AtomicU32::new(0)];

/// Start the free count. Call it together with SysTick's start.
pub fn start() {
    FREE.write(RELOAD, u32::MAX);
    FREE.write(VALUE, u32::MAX);
    FREE.write(CONTROL, ENABLE);
}

/// The free count: 25 in a microsecond, wrapping every 171 s.
pub fn count() -> u32 {
    !FREE.read(VALUE)
}

/// Counts since the start. From any interrupt or none.
pub fn counts() -> u64 {
    let seen = u64::from(HALVES.load(Ordering::SeqCst)) << HALF;
    // What was seen lies no further back than a whole range.
    seen + u64::from(count().wrapping_sub(seen as u32))
}

/// The time since the start. Ask at least every 85 s, or a wrap of the count is missed; from the main program, not from interrupts above it.
pub fn now() -> Micros {
    let counts = counts();
    HALVES.store((counts >> HALF) as u32, Ordering::SeqCst);
    Micros::new(counts / u64::from(COUNTS_A_US))
}

/// What the second clock says; its count begins anew every 497 days. From the main program.
///
/// On the emulator both clocks are of one time. On a board, look into its manual whether they hang on two oscillators: else they
/// show a timer that is set wrongly, and no crystal that is.
pub fn second() -> Micros {
    // SAFETY: a register of the board; reading changes nothing.
    let count = unsafe { HUNDREDTHS.read_volatile() };
    let [newest, rounds] = &SECOND;
    if count < newest.swap(count, Ordering::SeqCst) {
        rounds.store(rounds.load(Ordering::SeqCst).wrapping_add(1), Ordering::SeqCst);
    }
    let hundredths = u64::from(rounds.load(Ordering::SeqCst)) << u32::BITS | u64::from(count);
    Micros::new(hundredths.saturating_mul(10_000))
}

/// Ring in so many counts, and then no more.
pub fn ring_in(counts: u32) {
    // Far rings are taken up again on the way.
    RING.write(RELOAD, 0);
    RING.write(VALUE, counts);
    RING.write(CONTROL, ENABLE | ENABLE_INTERRUPT);
}

/// The ring was heard.
pub fn hush() {
    RING.write(CONTROL, 0);
    RING.write(INTERRUPT, 1);
}

/// Ring the alarm at this time, or at once if it has passed; the one before is forgotten.
pub fn alarm_at(at: Micros) {
    let counts = at.get().saturating_mul(COUNTS_A_US.into()).saturating_sub(counts());
    ALARM.write(ALARM_CONTROL, 0);
    // Too far for the timer: it rings early, and whoever set it looks at the clock.
    ALARM.write(ALARM_LOAD, counts.clamp(1, u32::MAX.into()) as u32);
    ALARM.write(ALARM_CONTROL, ALARM_ONCE);
}

/// The alarm was heard.
pub fn hush_alarm() {
    ALARM.write(ALARM_CONTROL, 0);
    ALARM.write(ALARM_CLEAR, 1);
}
