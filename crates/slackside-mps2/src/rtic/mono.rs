//! The board's clock and alarm as RTIC's monotonic: the clock that stamps edges is the one that wakes whoever judges them.

use cortex_m::peripheral::NVIC;
use fugit::{MonotonicTimerInstant, TimerDuration};
use rtic_time::monotonic::TimerQueueBasedMonotonic;
use rtic_time::timer_queue::{TimerQueue, TimerQueueBackend};
use slackside::units::Micros;
use slackside_mps2::clock;
use slackside_mps2::device::Interrupt;

/// In microseconds.
pub struct Mono;

pub type Instant = MonotonicTimerInstant<u64, 1_000_000>;

impl TimerQueueBasedMonotonic for Mono {
    type Backend = Alarm;
    type Instant = Instant;
    type Duration = TimerDuration<u64, 1_000_000>;
}

/// What wakes. Its interrupt calls `on_monotonic_interrupt`.
pub struct Alarm;

impl TimerQueueBackend for Alarm {
    type Ticks = u64;

    fn now() -> u64 {
        clock::now().get()
    }

    fn set_compare(at: u64) {
        clock::alarm_at(Micros::new(at));
    }

    fn clear_compare_flag() {
        clock::hush_alarm();
    }

    fn pend_interrupt() {
        NVIC::pend(Interrupt::DUAL_TIMER);
    }

    fn timer_queue() -> &'static TimerQueue<Self> {
        static QUEUE: TimerQueue<Alarm> = TimerQueue::new();
        &QUEUE
    }
}
