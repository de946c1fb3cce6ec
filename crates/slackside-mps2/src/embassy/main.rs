//! The core under Embassy: sensors in an interrupt, a task that waits for whatever comes first, an edge or a moment. A trace of the host
//! turns the leg (`cargo xtask frameworks`); on a board of one's own the interrupt is a pin's or a capture unit's.
//!
//! **Not a certified safety device.** Lock out and tag out the drive before anything is opened; never jog a choked leg.
#![no_std]
#![no_main]

mod driver;

use core::sync::atomic::{AtomicBool, Ordering};

use cortex_m::peripheral::NVIC;
use cortex_m::singleton;
use embassy_executor::Spawner;
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_sync::channel::Channel;
use embassy_time::{Instant, with_deadline};
use slackside::Monitor;
use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside_mps2::device::{Interrupt, interrupt};
use slackside_mps2::field::{self, Field};
use slackside_mps2::handed::Handed;
use slackside_mps2::outputs::{Outputs, ROUND};
use slackside_mps2::{clock, host, watchdog};

static FIELD: Handed<Field> = Handed::new();
/// What was seen, on its way to the task.
static SEEN: Channel<CriticalSectionRawMutex, Input, 256> = Channel::new();
/// The channel was full: edges are missing.
static LOST: AtomicBool = AtomicBool::new(false);

/// A sensor or a contact has changed: into the channel with it.
#[interrupt]
fn TIMER0() {
    // SAFETY: handed to this interrupt.
    let Some(field) = (unsafe { FIELD.take() }) else { return };
    while let Some(input) = field.captured() {
        if SEEN.try_send(input).is_err() {
            LOST.store(true, Ordering::SeqCst);
        }
    }
}

#[embassy_executor::main]
async fn main(_spawner: Spawner) {
    let (Some(plan), Some(trace), Some(monitor), Some(outputs)) = (
        singleton!(: Plan = Plan::blank()),
        singleton!(: [u8; 256 * 1024] = [0; 256 * 1024]),
        singleton!(: Monitor<&'static Plan> = Monitor::new()),
        singleton!(: Outputs = Outputs::new()),
    ) else {
        return;
    };
    // The plan where it lies, held against every rule; and what survived the last loss of power, here nothing. A monitor without a plan
    // allows nothing.
    if let Ok(sound) = Sound::new(host::plan(plan)) {
        let _ = monitor.configure(sound, &Retained::default());
    }
    clock::start();
    watchdog::start();
    // SAFETY: the interrupt is not let loose yet.
    unsafe {
        FIELD.hand(Field::new(host::read_file(c"inputs.bin", trace)));
        NVIC::unmask(Interrupt::TIMER0);
        NVIC::unmask(Interrupt::DUAL_TIMER);
    }
    loop {
        // Read first, with no interrupt held up: whatever came before this is in the channel.
        let (now, is_over) = (clock::now(), field::is_over());
        while let Ok(input) = SEEN.try_receive() {
            monitor.observe(input, &mut |verdict| outputs.tell(verdict));
        }
        if is_over {
            outputs.switch(monitor);
            outputs.end();
        }
        let mut observe = |signal| monitor.observe(Input::new(now, signal), &mut |verdict| outputs.tell(verdict));
        if LOST.swap(false, Ordering::SeqCst) {
            observe(Signal::EdgesLost(Shaft::Head));
            observe(Signal::EdgesLost(Shaft::Boot));
        }
        observe(Signal::Tick);
        outputs.switch(monitor);
        let round = now.after(ROUND);
        let wake = monitor.next_deadline().map_or(round, |due| due.min(round));
        // Whatever comes first: an edge, a deadline, the next round.
        let _ = with_deadline(Instant::from_micros(wake.get()), SEEN.ready_to_receive()).await;
    }
}
