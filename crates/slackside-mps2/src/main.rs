//! The box on an emulated board. The host gives it a plan (`plan.bin`) and a trace (`inputs.bin`, postcard,
//! one input after the other) by semihosting; interrupts then turn the leg, see `player`. The link is the board's first UART, the log
//! its second. With a file `edges.bin`, a number of four bytes, low byte first, the run ends after so many edges and leaves
//! `figures.bin`: see `latency`.
//!
//! **Not a certified safety device.** Lock out and tag out the drive before anything is opened; never jog a choked leg.
//!
//! | interrupt | priority |
//! |---|---|
//! | timer 0: an edge | highest, held up by nothing |
//! | UART 0: a byte of the link; SysTick: everything else, every 500 µs | below |
#![no_std]
#![no_main]

mod clock;
mod handed;
mod host;
mod latency;
mod log;
mod memory;
mod pins;
mod player;
mod stack;
mod uart;
mod watchdog;

use core::sync::atomic::{AtomicU32, Ordering};

use cortex_m::interrupt::InterruptNumber;
use cortex_m::peripheral::scb::SystemHandler;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::{entry, exception};
use slackside::record::Recorder;
use slackside::settings::plan::Plan;
use slackside::units::Span;
use slackside_box::contact::{RubContact, Wiring};
use slackside_box::edges::{EdgeQueue, Merger};
use slackside_box::pin::{Input, Output};
use slackside_box::relay::Relay;
use slackside_box::store::{Journal, Kept, Layout, Slots};
use slackside_box::wires::{Inputs, Outputs, Wires};
use slackside_box::{BoxMonitor, Link, Nameplate, Parts, SensorBox};

use clock::now;
use handed::Handed;
use latency::LATENCY;
use memory::{Flash, Level, Pin};
use pins::*;
use player::{Edges, Rounds};
use uart::{Receiver, Waiting};

const RING: usize = 32 * 1024;
const FLASH: usize = 256 * 1024;
const TRACE: usize = 2 * 1024 * 1024;

static EDGES: Handed<Edges> = Handed::new();
static ROUNDS: Handed<Rounds> = Handed::new();
static RECEIVER: Handed<Receiver> = Handed::new();
/// Bytes that came by the link.
static RECEIVED: AtomicU32 = AtomicU32::new(0);

/// The board's interrupts.
#[derive(Clone, Copy)]
#[repr(u16)]
enum Interrupt {
    UartReceived = 0,
    Timer0 = 8,
}

// SAFETY: the numbers are the board's.
unsafe impl InterruptNumber for Interrupt {
    fn number(self) -> u16 {
        self as u16
    }
}

#[exception]
unsafe fn DefaultHandler(number: i16) {
    // SAFETY: each interrupt takes only what was handed to it.
    unsafe {
        if number == Interrupt::Timer0 as i16 {
            if let Some(edges) = EDGES.take() {
                edges.play();
            }
        } else if let Some(receiver) = RECEIVER.take() {
            receiver.receive();
            RECEIVED.store(receiver.received, Ordering::SeqCst);
        }
    }
}

#[exception]
fn SysTick() {
    // SAFETY: handed to this interrupt.
    if let Some(rounds) = unsafe { ROUNDS.take() } {
        rounds.play();
    }
}

const fn pin(number: usize) -> Pin {
    Pin(&PINS[number])
}

fn wires() -> Wires<Pin, Pin, Level> {
    let on = |number| Input::on_high(pin(number));
    let line = |number: usize| Level(&LEVELS[number]);
    let relay = |number: usize| Relay::new(Output::on_high(pin(COILS[number])), Input::on_high(pin(BACKS[number])));
    Wires {
        inputs: Inputs {
            contacts: [0, 1, 2, 3].map(|number| Some(RubContact::new(Wiring::Supervised(line(number))))),
            head_line: Some(line(4)),
            boot_line: Some(line(5)),
            drive: Some(on(DRIVE)),
            outlet: Some(on(OUTLET)),
            acknowledge: on(ACKNOWLEDGE),
            reset: on(RESET),
            boot_cleared: on(BOOT_CLEARED),
            key: on(KEY),
            inching: Some(on(INCHING)),
            supply: None,
        },
        outputs: Outputs {
            run: [relay(0), relay(1)],
            feed: relay(2),
            alarm: Output::on_high(pin(ALARM)),
            heartbeat: Output::on_high(pin(HEARTBEAT)),
        },
    }
}

#[entry]
fn main() -> ! {
    static mut MONITOR: BoxMonitor<64> = BoxMonitor::new();
    static mut HEAD: EdgeQueue<256> = EdgeQueue::new();
    static mut BOOT: EdgeQueue<256> = EdgeQueue::new();
    static mut MEMORY: [u8; RING] = [0; RING];
    static mut STAGING: Plan = Plan::blank();
    static mut INPUTS: [u8; TRACE] = [0; TRACE];
    static mut CHIP: [u8; FLASH] = [0; FLASH];
    static mut WAITING: Waiting = Waiting::new();

    stack::paint();
    let Some(mut core) = cortex_m::Peripherals::take() else { stop() };
    let (receiver, uart) = uart::start(WAITING);
    CHIP.fill(0xFF);
    let mut flash = Flash(CHIP);
    let Ok(layout) = Layout::fit::<Flash>(0, FLASH as u32, RING as u32) else { stop() };
    let mut buffer = [0; Plan::LENGTH];
    let plan = host::read_file(c"plan.bin", &mut buffer);
    if !plan.is_empty() {
        // As a box of that leg that was in good order when it was switched off; the box itself tells if anything is wrong.
        let _ = Slots::new(&layout).store(&mut flash, plan, None, &mut [0; Plan::LENGTH]);
        if let Ok((mut journal, _)) = Journal::open(&layout, &mut flash) {
            let _ = journal.append(&mut flash, &Kept::default());
        }
    }
    let mut wanted = [0; 4];
    let wanted = match *host::read_file(c"edges.bin", &mut wanted) {
        [a, b, c, d] => u32::from_le_bytes([a, b, c, d]),
        _ => u32::MAX,
    };
    let trace: &'static [u8] = host::read_file(c"inputs.bin", INPUTS);
    let ((catch_head, head), (catch_boot, boot)) = (HEAD.split(), BOOT.split());
    let parts = Parts {
        nameplate: Nameplate { serial: "EMULATED-1", firmware: concat!("slackside-mps2 ", env!("CARGO_PKG_VERSION")) },
        edges: Merger::new(Some(head), boot),
        // The interrupt itself reads the clock, and nothing holds it up.
        capture_latency: Span::ZERO,
        wires: wires(),
        flash,
        layout,
        monitor: MONITOR,
        recorder: Recorder::new(MEMORY),
    };
    core.SYST.set_clock_source(SystClkSource::Core);
    core.SYST.set_reload(clock::STEP - 1);
    core.SYST.clear_current();
    core.SYST.enable_counter();
    clock::start();
    let mut sensor_box = SensorBox::start(parts, now());
    let mut link = Link::new(uart, STAGING);
    // SAFETY: none of these interrupts is let loose yet; the edges' is above the others, and no critical section relies on
    // priorities here.
    unsafe {
        EDGES.hand(Edges::new(trace, catch_head, catch_boot));
        ROUNDS.hand(Rounds::new(trace));
        RECEIVER.hand(receiver);
        core.NVIC.set_priority(Interrupt::Timer0, 0);
        core.NVIC.set_priority(Interrupt::UartReceived, 0x80);
        core.SCB.set_priority(SystemHandler::SysTick, 0x80);
        core.SYST.enable_interrupt();
        clock::ring_in(1);
        cortex_m::peripheral::NVIC::unmask(Interrupt::Timer0);
        cortex_m::peripheral::NVIC::unmask(Interrupt::UartReceived);
    }
    defmt::info!("the box runs, settings {=u32:08X}", sensor_box.settings_identity().unwrap_or(0));
    let mut told = Told::default();
    watchdog::start();
    loop {
        sensor_box.poll(now());
        if sensor_box.is_on_time() {
            watchdog::feed();
        }
        #[cfg(feature = "plant-stall")]
        stall();
        #[cfg(not(feature = "plant-mask"))]
        link.poll(&mut sensor_box);
        #[cfg(feature = "plant-mask")]
        cortex_m::interrupt::free(|_| link.poll(&mut sensor_box));
        told.tell(&sensor_box);
        if LATENCY.taken() >= wanted {
            report();
        }
        while now() < sensor_box.next_wake() {
            // While edges are measured the emulated time must be that of instructions alone.
            if wanted == u32::MAX {
                cortex_m::asm::wfi();
            }
        }
    }
}

/// What the log has told so far.
#[derive(Default)]
struct Told {
    run: bool,
    feed: bool,
    events: u32,
}

impl Told {
    fn tell(&mut self, sensor_box: &SensorBox<'_, Pin, Pin, Level, Flash, 64>) {
        let before = self.events;
        for event in sensor_box.events().from(self.events) {
            defmt::info!("{=u64} us: {}", event.at.get(), event.happened);
            self.events = event.number.wrapping_add(1);
        }
        if self.events != before {
            defmt::info!("stack {=u32} of {=u32} bytes", stack::depth(), stack::LENGTH);
        }
        let (run, feed) = (sensor_box.run_given(), sensor_box.feed_given());
        if run != self.run {
            self.run = run;
            let first_out = sensor_box.monitor().status().first_out;
            defmt::info!("run permit {=str}, first out {}", word(run), first_out);
        }
        if feed != self.feed {
            self.feed = feed;
            defmt::info!("feed permit {=str}", word(feed));
        }
    }
}

const fn word(given: bool) -> &'static str {
    if given { "given" } else { "dropped" }
}

/// The figures to the host, and the end.
fn report() -> ! {
    let [taken, least, most, total] = LATENCY.figures();
    let mut bytes = [0; 20];
    let figures = [taken, least, most, total, RECEIVED.load(Ordering::SeqCst)];
    for (slot, byte) in bytes.iter_mut().zip(figures.into_iter().flat_map(u32::to_le_bytes)) {
        *slot = byte;
    }
    host::write_file(c"figures.bin", &bytes);
    host::exit(0)
}

/// Every output off, first of all.
fn drop_all() {
    for pin in COILS.into_iter().chain([ALARM]) {
        PINS[pin].store(false, Ordering::SeqCst);
    }
}

/// A loop that has lost its way: once it has run for 20 s it comes back no more.
#[cfg(feature = "plant-stall")]
fn stall() {
    while now().get() > 20_000_000 {
        cortex_m::asm::nop();
    }
}

/// The watchdog calls for help.
#[exception]
unsafe fn NonMaskableInt() {
    drop_all();
    host::write_file(c"stalled.bin", &COILS.map(|pin| PINS[pin].load(Ordering::SeqCst).into()));
    host::exit(3)
}

/// A fault of the processor, a stack that has outgrown its memory among them.
#[exception]
unsafe fn HardFault(_: &cortex_m_rt::ExceptionFrame) -> ! {
    drop_all();
    host::exit(4)
}

fn stop() -> ! {
    defmt::error!("the box cannot start");
    host::exit(1)
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    drop_all();
    cortex_m::interrupt::disable();
    loop {
        cortex_m::asm::nop();
    }
}
