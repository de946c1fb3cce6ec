//! The box on a Raspberry Pi Pico. **Built, not run on hardware**: try it on a bench before anything hangs on it.
//!
//! **Not a certified safety device.** Lock out and tag out the drive before anything is opened; never jog a choked leg.
//!
//! | GPIO | what | wired as |
//! |---|---|---|
//! | 0, 1 | link: transmit, receive, 115,200 baud | to an isolated RS-485 or USB converter |
//! | 2, 3 | target sensors: head, boot | 24 V through opto-couplers, high with a target |
//! | 4, 5 | service port: transmit, receive, 115,200 baud | to a plug within the housing, on no network |
//! | 6, 7 | rub contacts: boot left, boot right | closed while clear, to ground: a cut wire reads as a rub |
//! | 8 | starter's auxiliary contact | closed while the motor is on, to ground |
//! | 9 to 12 | acknowledge, reset, boot cleared, key | closed when on, to ground |
//! | 13 | inching switch | closed when on, to ground |
//! | 14, 16, 18 | relay coils: run permit first and second, feed permit | through drivers with pull-downs, on when high |
//! | 15, 17, 19 | their mirror contacts | closed while the relay is off, to ground |
//! | 20 | alarm relay | on while nothing is wrong |
//! | 21 | heartbeat | to the external watchdog that feeds the coils |
//! | 22, 26 | rub contacts: head left, head right | as those of the boot |
//!
//! A panic, a hard fault and a start that fails drop the relays first of all. The processor's own watchdog is fed by the main loop alone,
//! and only while the box is on time; it has no window, so that a loop that feeds it too fast is left to the watchdog outside. That one is
//! proven before each start. The stack
//! is painted and held to a bound in every round: beyond it the box stops. It lies at the bottom of the RAM: one that outgrows its memory
//! all the same is a hard fault, or a processor that stands still, and harms nothing else.
//!
//! No second clock: timer and watchdog both count by the board's crystal, and the part's ring oscillator may run anywhere between 1.8 and
//! 12 MHz (from memory). Whoever adds a clock with a crystal of its own hands it in by `SensorBox::second_clock`.
#![no_std]
#![no_main]

mod flash;
mod sensors;
#[path = "../../slackside-mps2/src/stack.rs"]
#[allow(dead_code, reason = "no log to tell its depth to")]
mod stack;

use core::cell::Cell;

use critical_section::Mutex;
use fugit::RateExtU32;
use hal::gpio::{DynPinId, FunctionSioInput, FunctionSioOutput, Pin, PullDown, PullUp};
use hal::pac::{self, interrupt};
use hal::uart::{DataBits, StopBits, UartConfig, UartPeripheral};
use rp2040_hal as hal;
use slackside::record::Recorder;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside_box::contact::{RubContact, Wiring};
use slackside_box::edges::{Catcher, EdgeQueue, Merger};
use slackside_box::line::NoAnalogue;
use slackside_box::pin::{Input, Output};
use slackside_box::relay::Relay;
use slackside_box::store::Layout;
use slackside_box::wires::{Inputs, Outputs, Wires};
use slackside_box::{BoxMonitor, Link, Nameplate, Parts, SensorBox, ServicePort};

type In = Pin<DynPinId, FunctionSioInput, PullUp>;
type Out = Pin<DynPinId, FunctionSioOutput, PullDown>;

#[unsafe(link_section = ".boot2")]
#[used]
static BOOT2: [u8; 256] = rp2040_boot2::BOOT_LOADER_GENERIC_03H;

/// Edges a queue holds: at 32 targets and the fastest leg more than a second.
const EDGES: usize = 256;
/// The memory of the recorder.
const RING: usize = 32 * 1024;
/// The processor's own watchdog: longer than the longest erasing of a block. The watchdog outside is quicker.
const WATCHDOG: fugit::MicrosDurationU32 = fugit::MicrosDurationU32::millis(1_000);
/// The watchdog outside opens within this once the heart stands still; longer than a block is erased, like the processor's own.
const WATCHDOG_OUTSIDE: Span = Span::from_millis(800);
/// The crystal of the board.
const CRYSTAL_HZ: u32 = 12_000_000;
/// What the driver makes of it for the serial line: its usual system clock. As a constant, so that no division by it is left.
const PERIPHERALS_HZ: u32 = 125_000_000;

/// What the interrupt holds.
struct Sensors {
    timer: hal::Timer,
    head: (In, Catcher<'static>),
    boot: (In, Catcher<'static>),
}

static SENSORS: Mutex<Cell<Option<Sensors>>> = Mutex::new(Cell::new(None));

#[hal::entry]
fn main() -> ! {
    stack::paint();
    let (Some(mut peripherals), Some(core)) = (pac::Peripherals::take(), pac::CorePeripherals::take()) else { stop() };
    let _ = core;
    let mut watchdog = hal::Watchdog::new(peripherals.WATCHDOG);
    let Ok(clocks) = hal::clocks::init_clocks_and_plls(
        CRYSTAL_HZ,
        peripherals.XOSC,
        peripherals.CLOCKS,
        peripherals.PLL_SYS,
        peripherals.PLL_USB,
        &mut peripherals.RESETS,
        &mut watchdog,
    ) else {
        stop()
    };
    let sio = hal::Sio::new(peripherals.SIO);
    let pins =
        hal::gpio::Pins::new(peripherals.IO_BANK0, peripherals.PADS_BANK0, sio.gpio_bank0, &mut peripherals.RESETS);
    let timer = hal::Timer::new(peripherals.TIMER, &mut peripherals.RESETS, &clocks);

    macro_rules! input {
        ($pin:ident) => {
            pins.$pin.into_pull_up_input().into_dyn_pin()
        };
    }
    macro_rules! relay {
        ($coil:ident, $mirror:ident) => {
            // The mirror contact is closed to ground while the relay is off: high means that the power contact is closed.
            Relay::new(Output::on_high(pins.$coil.into_push_pull_output().into_dyn_pin()), Input::on_high(input!($mirror)))
        };
    }
    // Closed while clear: high means open, so a rub or a cut wire.
    let rub = |pin: In| Some(RubContact::new(Wiring::Plain(Input::on_high(pin))));
    let wires: Wires<In, Out, NoAnalogue> = Wires {
        inputs: Inputs {
            contacts: [rub(input!(gpio22)), rub(input!(gpio26)), rub(input!(gpio6)), rub(input!(gpio7))],
            head_line: None,
            boot_line: None,
            drive: Some(Input::on_low(input!(gpio8))),
            outlet: None,
            acknowledge: Input::on_low(input!(gpio9)),
            reset: Input::on_low(input!(gpio10)),
            boot_cleared: Input::on_low(input!(gpio11)),
            key: Input::on_low(input!(gpio12)),
            inching: Some(Input::on_low(input!(gpio13))),
            supply: None,
        },
        outputs: Outputs {
            run: [relay!(gpio14, gpio15), relay!(gpio16, gpio17)],
            feed: relay!(gpio18, gpio19),
            alarm: Output::on_high(pins.gpio20.into_push_pull_output().into_dyn_pin()),
            heartbeat: Output::on_high(pins.gpio21.into_push_pull_output().into_dyn_pin()),
        },
    };

    let (Some(head_queue), Some(boot_queue)) = (
        cortex_m::singleton!(: EdgeQueue<EDGES> = EdgeQueue::new()),
        cortex_m::singleton!(: EdgeQueue<EDGES> = EdgeQueue::new()),
    ) else {
        stop()
    };
    let ((catch_head, head), (catch_boot, boot)) = (head_queue.split(), boot_queue.split());
    let sensors = Sensors { timer, head: (input!(gpio2), catch_head), boot: (input!(gpio3), catch_boot) };
    sensors::ring_at_edges();
    critical_section::with(|section| SENSORS.borrow(section).set(Some(sensors)));

    let uart = UartPeripheral::new(
        peripherals.UART0,
        (pins.gpio0.into_function(), pins.gpio1.into_function()),
        &mut peripherals.RESETS,
    );
    let service = UartPeripheral::new(
        peripherals.UART1,
        (pins.gpio4.into_function(), pins.gpio5.into_function()),
        &mut peripherals.RESETS,
    );
    let config = || UartConfig::new(115_200.Hz(), DataBits::Eight, None, StopBits::One);
    let Ok(uart) = uart.enable(config(), PERIPHERALS_HZ.Hz()) else { stop() };
    let Ok(service) = service.enable(config(), PERIPHERALS_HZ.Hz()) else { stop() };

    let (Some(monitor), Some(ring), Some(staging)) = (
        cortex_m::singleton!(: BoxMonitor<64> = BoxMonitor::new()),
        cortex_m::singleton!(: [u8; RING] = [0; RING]),
        cortex_m::singleton!(: Plan = Plan::blank()),
    ) else {
        stop()
    };
    let Ok(layout) = Layout::fit::<flash::Flash>(0, flash::LENGTH, RING as u32) else { stop() };
    let now = || Micros::new(timer.get_counter().ticks());
    let parts = Parts {
        nameplate: Nameplate { serial: "0001", firmware: concat!("slackside-pico ", env!("CARGO_PKG_VERSION")) },
        edges: Merger::new(Some(head), boot),
        // The interrupt itself reads the clock, on the one core that runs.
        capture_latency: Span::ZERO,
        wires,
        flash: flash::Flash::new(),
        layout,
        monitor,
        recorder: Recorder::new(ring),
    };
    let mut sensor_box = SensorBox::start(parts, now());
    sensor_box.watchdog_opens_within(WATCHDOG_OUTSIDE);
    let mut link = Link::new(uart, staging);
    let mut service = ServicePort::new(service);

    // SAFETY: everything the interrupt touches is in place, behind a critical section.
    unsafe { pac::NVIC::unmask(pac::Interrupt::IO_IRQ_BANK0) };
    watchdog.start(WATCHDOG);
    loop {
        sensor_box.poll(now());
        link.poll(&mut sensor_box);
        service.poll(&mut sensor_box);
        #[cfg(feature = "plant-panic")]
        assert!(sensor_box.is_on_time(), "planted");
        if !stack::is_within_bound() {
            stop();
        }
        if sensor_box.is_on_time() {
            watchdog.feed();
        }
        // The sensors' interrupt may come and go meanwhile: the box looks at everything else once a millisecond.
        while now() < sensor_box.next_wake() {
            cortex_m::asm::nop();
        }
    }
}

#[interrupt]
fn IO_IRQ_BANK0() {
    critical_section::with(|section| {
        let place = SENSORS.borrow(section);
        // Taken out and put back, so that nothing can be borrowed twice.
        let Some(mut sensors) = place.take() else { return };
        let Sensors { timer, head, boot } = &mut sensors;
        let at = Micros::new(timer.get_counter().ticks());
        let edges = sensors::Edges::take();
        for (gpio, (pin, catcher)) in [(sensors::HEAD, head), (sensors::BOOT, boot)] {
            let (rose, fell) = edges.of(gpio);
            if !rose && !fell {
                continue;
            }
            let high = pin.as_input().is_high_now();
            if rose && fell {
                // A pulse shorter than the way into this interrupt: both edges are told, the core's gates judge them.
                catcher.catch(at, !high);
            }
            catcher.catch(at, high);
        }
        place.set(Some(sensors));
    });
}

/// GPIO of the relays: run permit first and second, feed permit, alarm.
const RELAYS: u32 = 1 << 14 | 1 << 16 | 1 << 18 | 1 << 20;

/// Switch every relay off, whoever owns its pin.
fn drop_relays() {
    // SAFETY: one write to a register that only clears the bits written, and nothing runs after it that could set them.
    unsafe { (*pac::SIO::ptr()).gpio_out_clr().write(|bits| bits.bits(RELAYS)) };
}

/// Nothing can be done: the relays drop, nobody feeds the watchdogs, and both of them do the rest.
extern "C" fn stop() -> ! {
    drop_relays();
    cortex_m::interrupt::disable();
    loop {
        cortex_m::asm::wfi();
    }
}

/// A fault of the processor. The stack may be what is at fault: begin anew at its top, before anything is pushed.
#[unsafe(naked)]
#[unsafe(no_mangle)]
#[allow(non_snake_case, reason = "its name in the table of vectors")]
extern "C" fn HardFault() -> ! {
    core::arch::naked_asm!("ldr r0, =_stack_start", "mov sp, r0", "bl {stop}", stop = sym stop)
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    stop()
}

/// The level of a pin that is owned by the interrupt.
trait LevelNow {
    fn is_high_now(&mut self) -> bool;
}

impl<P: embedded_hal::digital::InputPin> LevelNow for P {
    fn is_high_now(&mut self) -> bool {
        self.is_high().unwrap_or(false)
    }
}
