//! The board's clock and alarm as Embassy's time: the clock that stamps edges is the one that wakes whoever judges them.

use core::cell::RefCell;
use core::task::Waker;

use critical_section::{CriticalSection, Mutex};
use embassy_time_driver::Driver;
use embassy_time_queue_utils::Queue;
use slackside::units::Micros;
use slackside_mps2::clock;
use slackside_mps2::device::interrupt;

/// In microseconds: the feature `tick-hz-1_000_000`.
struct Board(Mutex<RefCell<Queue>>);

embassy_time_driver::time_driver_impl!(static BOARD: Board = Board(Mutex::new(RefCell::new(Queue::new()))));

impl Board {
    fn set_alarm(&self, cs: CriticalSection<'_>) {
        let next = self.0.borrow_ref_mut(cs).next_expiration(self.now());
        clock::alarm_at(Micros::new(next));
    }
}

impl Driver for Board {
    fn now(&self) -> u64 {
        clock::now().get()
    }

    fn schedule_wake(&self, at: u64, waker: &Waker) {
        critical_section::with(|cs| {
            if self.0.borrow_ref_mut(cs).schedule_wake(at, waker) {
                self.set_alarm(cs);
            }
        });
    }
}

#[interrupt]
fn DUAL_TIMER() {
    clock::hush_alarm();
    critical_section::with(|cs| BOARD.set_alarm(cs));
}
