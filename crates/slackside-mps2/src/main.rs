//! The box on an emulated board: a whole port, which the book goes through in [Porting](../../../docs/src/integrator/porting.md).
//!
//! The host gives it a plan (`plan.bin`) and a trace (`inputs.bin`, postcard, one input after the other) by semihosting; interrupts then
//! turn the leg, see `player`. The link is the board's first UART, the log its second, Modbus RTU its third, the service port its fourth. With a file `edges.bin`, a
//! number of four bytes, low byte first, the run ends after so many edges and leaves `figures.bin`: see `latency`.
//!
//! **Not a certified safety device.** Lock out and tag out the drive before anything is opened; never jog a choked leg.
//!
//! | interrupt | priority |
//! |---|---|
//! | timer 0: an edge | highest, held up by nothing |
//! | UARTs: a byte of the link, of Modbus or of the service port; SysTick: everything else, every 500 µs | below |
#![no_std]
#![no_main]

mod delivered;
mod latency;
#[cfg(feature = "plant-fault")]
mod planted;
mod player;

use core::sync::atomic::{AtomicU32, Ordering};

use cortex_m::peripheral::NVIC;
use cortex_m::peripheral::scb::{self, SystemHandler};
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::{entry, exception};
use slackside::input::Shaft;
use slackside::record::Recorder;
use slackside::settings::plan::Plan;
use slackside::units::Span;
use slackside_box::contact::{RubContact, Wiring};
use slackside_box::edges::{Catcher, EdgeQueue, Merger};
use slackside_box::pin::{Input, Output};
use slackside_box::relay::Relay;
use slackside_box::store::Layout;
use slackside_box::wires::{Inputs, Outputs, Wires};
use slackside_box::{BoxMonitor, Link, Nameplate, Parts, SensorBox, ServicePort, Told};
use slackside_modbus::line::RtuLine;
use slackside_mps2::clock::{self, now};
use slackside_mps2::device::{Interrupt, interrupt};
use slackside_mps2::handed::Handed;
use slackside_mps2::memory::{Flash, Level, Pin};
use slackside_mps2::pins::*;
use slackside_mps2::rs485::Rs485;
use slackside_mps2::uart::{self, Receiver, Waiting};
use slackside_mps2::{faults, host, stack, watchdog};

use latency::LATENCY;
use player::{Rounds, Sensors};

const RING: usize = 32 * 1024;
const FLASH: usize = 256 * 1024;
const TRACE: usize = 2 * 1024 * 1024;
/// The leg's address on Modbus, and the line's speed.
const ADDRESS: u8 = 17;
const BITS_A_SECOND: u32 = 19_200;
/// The watchdog outside opens within this once the heart stands still.
const WATCHDOG_OUTSIDE: Span = Span::from_millis(250);

static ROUNDS: Handed<Rounds> = Handed::new();
static LINK: Handed<Receiver> = Handed::new();
static MODBUS: Handed<Receiver> = Handed::new();
static SERVICE: Handed<Receiver> = Handed::new();
/// Bytes that came by the link.
static RECEIVED: AtomicU32 = AtomicU32::new(0);

// ANCHOR: sensors
/// Sensors and the ends of the queues that their interrupt fills.
static EDGES: Handed<(Sensors, Catcher<'static>, Catcher<'static>)> = Handed::new();

#[interrupt]
fn TIMER0() {
    // SAFETY: handed to this interrupt.
    let Some((sensors, catch_head, catch_boot)) = (unsafe { EDGES.take() }) else { return };
    // The clock read, the level read, and nothing else.
    while let Some((at, shaft, high)) = sensors.edge() {
        match shaft {
            Shaft::Head => catch_head.catch(at, high),
            Shaft::Boot => catch_boot.catch(at, high),
        }
    }
}
// ANCHOR_END: sensors

#[interrupt]
fn UART0_RX() {
    // SAFETY: handed to this interrupt.
    let Some(receiver) = (unsafe { LINK.take() }) else { return };
    receiver.receive();
    RECEIVED.store(receiver.received, Ordering::SeqCst);
}

#[interrupt]
fn UART2_RX() {
    // SAFETY: handed to this interrupt.
    let Some(receiver) = (unsafe { MODBUS.take() }) else { return };
    receiver.receive();
}

#[interrupt]
fn UART3_RX() {
    // SAFETY: handed to this interrupt.
    let Some(receiver) = (unsafe { SERVICE.take() }) else { return };
    receiver.receive();
}

#[exception]
fn SysTick() {
    // SAFETY: handed to this interrupt.
    if let Some(rounds) = unsafe { ROUNDS.take() } {
        rounds.play();
    }
}

// ANCHOR: wires
fn wires() -> Wires<Pin, Pin, Level> {
    let on = |number| Input::on_high(pin(number));
    // A relay, and its mirror contact that tells what the relay did.
    let relay = |number: usize| Relay::new(Output::on_high(pin(COILS[number])), Input::on_high(pin(BACKS[number])));
    Wires {
        inputs: Inputs {
            contacts: [0, 1, 2, 3].map(|number| Some(RubContact::new(Wiring::Supervised(level(number))))),
            head_line: Some(level(4)),
            boot_line: Some(level(5)),
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
// ANCHOR_END: wires

#[entry]
fn main() -> ! {
    // ANCHOR: statics
    static mut MONITOR: BoxMonitor<64> = BoxMonitor::new();
    static mut HEAD: EdgeQueue<256> = EdgeQueue::new();
    static mut BOOT: EdgeQueue<256> = EdgeQueue::new();
    static mut MEMORY: [u8; RING] = [0; RING];
    static mut STAGING: Plan = Plan::blank();
    // ANCHOR_END: statics
    static mut INPUTS: [u8; TRACE] = [0; TRACE];
    static mut CHIP: [u8; FLASH] = [0; FLASH];
    static mut OF_LINK: Waiting = Waiting::new();
    static mut OF_MODBUS: Waiting = Waiting::new();
    static mut OF_SERVICE: Waiting = Waiting::new();

    stack::paint();
    let Some(mut core) = cortex_m::Peripherals::take() else { stop() };
    core.SCB.enable(scb::Exception::BusFault);
    uart::start_log();
    let (link_receiver, link_uart) = uart::start(uart::LINK, 115_200, OF_LINK);
    let (modbus_receiver, modbus_uart) = uart::start(uart::MODBUS, BITS_A_SECOND, OF_MODBUS);
    let (service_receiver, service_uart) = uart::start(uart::SERVICE, 115_200, OF_SERVICE);
    let wanted = latency::wanted();
    let trace: &'static [u8] = host::read_file(c"inputs.bin", INPUTS);
    core.SYST.set_clock_source(SystClkSource::Core);
    core.SYST.set_reload(clock::STEP - 1);
    core.SYST.clear_current();
    core.SYST.enable_counter();

    // ANCHOR: start
    let Ok(layout) = Layout::fit::<Flash>(0, FLASH as u32, RING as u32) else { stop() };
    let flash = delivered::deliver(CHIP, &layout);
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
    clock::start();
    let mut sensor_box = SensorBox::start(parts, now());
    sensor_box.watchdog_opens_within(WATCHDOG_OUTSIDE);
    let mut link = Link::new(link_uart, STAGING);
    let mut service = ServicePort::new(service_uart);
    // ANCHOR: modbus
    let driver_enable = pin(DRIVER_ENABLE);
    let mut modbus =
        RtuLine::new(Rs485::new(modbus_uart, driver_enable, BITS_A_SECOND), driver_enable, ADDRESS, BITS_A_SECOND);
    // ANCHOR_END: modbus
    // ANCHOR_END: start

    #[cfg_attr(not(feature = "plant-fault"), allow(unused_mut))]
    let mut rounds = Rounds::new(trace);
    #[cfg(feature = "plant-fault")]
    let planted = planted::Planted::new();
    #[cfg(feature = "plant-fault")]
    {
        rounds.watchdog_shut = planted.shuts_watchdog();
    }
    // SAFETY: none of these interrupts is let loose yet; the edges' is above the others, and no critical section relies on
    // priorities here.
    unsafe {
        EDGES.hand((Sensors::new(trace), catch_head, catch_boot));
        ROUNDS.hand(rounds);
        LINK.hand(link_receiver);
        MODBUS.hand(modbus_receiver);
        SERVICE.hand(service_receiver);
        core.NVIC.set_priority(Interrupt::TIMER0, 0);
        core.NVIC.set_priority(Interrupt::UART0_RX, 0x80);
        core.NVIC.set_priority(Interrupt::UART2_RX, 0x80);
        core.NVIC.set_priority(Interrupt::UART3_RX, 0x80);
        core.SCB.set_priority(SystemHandler::SysTick, 0x80);
        core.SYST.enable_interrupt();
        clock::ring_in(1);
        NVIC::unmask(Interrupt::TIMER0);
        NVIC::unmask(Interrupt::UART0_RX);
        NVIC::unmask(Interrupt::UART2_RX);
        NVIC::unmask(Interrupt::UART3_RX);
    }
    defmt::info!("the box runs, settings {=u32:08X}", sensor_box.settings_identity().unwrap_or(0));
    let mut told = Told::new();
    watchdog::start();
    loop {
        #[cfg(feature = "plant-mask")]
        cortex_m::interrupt::disable();
        // ANCHOR: second_clock
        let second = clock::second();
        #[cfg(feature = "plant-fault")]
        let second = planted.second(second);
        sensor_box.second_clock(second);
        // ANCHOR_END: second_clock
        // ANCHOR: judge
        sensor_box.poll(now());
        // The watchdog is fed here and nowhere else: by the loop that judges, while it is on time.
        if sensor_box.is_on_time() {
            watchdog::feed();
        }
        // ANCHOR_END: judge
        #[cfg(feature = "plant-fault")]
        planted.strike();
        if !stack::is_within_bound() {
            faults::stop(faults::EndedBy::Stack);
        }
        // ANCHOR: serve
        link.poll(&mut sensor_box);
        service.poll(&mut sensor_box);
        modbus.poll(&mut sensor_box, now());
        // ANCHOR_END: serve
        #[cfg(feature = "plant-mask")]
        // SAFETY: no critical section is open.
        unsafe {
            cortex_m::interrupt::enable()
        };
        if told.tell(&sensor_box) {
            defmt::info!("stack {=u32} of {=u32} bytes", stack::depth(), stack::LENGTH);
        }
        if LATENCY.taken() >= wanted {
            latency::report(RECEIVED.load(Ordering::SeqCst));
        }
        while now() < sensor_box.next_wake() {
            // While edges are measured the emulated time must be that of instructions alone.
            if wanted == u32::MAX {
                cortex_m::asm::wfi();
            }
        }
    }
}

fn stop() -> ! {
    defmt::error!("the box cannot start");
    host::exit(1)
}
