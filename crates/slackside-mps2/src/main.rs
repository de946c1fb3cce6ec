//! The box on an emulated board. The host gives it settings (`settings.bin`, an image) and a trace (`inputs.bin`, postcard,
//! one input after the other) by semihosting; then SysTick turns the leg: its interrupt puts the trace's edges into the queues
//! and its contacts onto the pins, when their time has come. The link is the board's UART.
#![no_std]
#![no_main]

mod memory;
mod uart;

use core::cell::RefCell;
use core::sync::atomic::{AtomicBool, AtomicU16, AtomicU32, Ordering};

use cortex_m::interrupt::Mutex;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::{entry, exception};
use cortex_m_semihosting::{hprintln, nr, syscall};
use slackside::Monitor;
use slackside::input::{Command, ContactState, Input as Entry, LineState, Shaft, Signal};
use slackside::record::Recorder;
use slackside::settings::MOST_IMAGE_BYTES;
use slackside::units::{Micros, Span};
use slackside_box::contact::{RubContact, Wiring};
use slackside_box::edges::{Catcher, EdgeQueue, Merger};
use slackside_box::pin::{Input, Output};
use slackside_box::relay::Relay;
use slackside_box::store::{Journal, Kept, Layout, Slots};
use slackside_box::wires::{Inputs, Outputs, Wires};
use slackside_box::{Link, Nameplate, Parts, SensorBox};

use memory::{Flash, Level, Pin};
use uart::Uart;

/// The processor's clock on this board.
const CLOCK_HZ: u32 = 25_000_000;
/// How often the interrupt comes.
const STEP_US: u32 = 100;
const RING: usize = 32 * 1024;
const FLASH: usize = 256 * 1024;
const TRACE: usize = 2 * 1024 * 1024;
/// A rub contact's line clear, rubbing and cut; a sensor line's current sound, cut and shorted.
const CLEAR: u16 = 43_354;
const RUBBING: u16 = 20_480;
const SOUND: u16 = 3_000;

static STEPS: AtomicU32 = AtomicU32::new(0);
static PINS: [AtomicBool; 16] = [const { AtomicBool::new(false) }; 16];
static LEVELS: [AtomicU16; 6] = [
    AtomicU16::new(CLEAR),
    AtomicU16::new(CLEAR),
    AtomicU16::new(CLEAR),
    AtomicU16::new(CLEAR),
    AtomicU16::new(SOUND),
    AtomicU16::new(SOUND),
];

// The pins by number.
const DRIVE: usize = 0;
const OUTLET: usize = 1;
const ACKNOWLEDGE: usize = 2;
const RESET: usize = 3;
const BOOT_CLEARED: usize = 4;
const KEY: usize = 5;
const INCHING: usize = 6;
const COILS: [usize; 3] = [7, 8, 9];
const BACKS: [usize; 3] = [10, 11, 12];
const ALARM: usize = 13;
const HEARTBEAT: usize = 14;

const fn pin(number: usize) -> Pin {
    Pin(&PINS[number])
}

/// What the interrupt plays.
struct Player {
    rest: &'static [u8],
    next: Option<Entry>,
    head: Catcher<'static>,
    boot: Catcher<'static>,
}

static PLAYER: Mutex<RefCell<Option<Player>>> = Mutex::new(RefCell::new(None));

fn now() -> Micros {
    // 100 µs steps of 32 bits: five days of emulation.
    Micros::new(u64::from(STEPS.load(Ordering::SeqCst)) * u64::from(STEP_US))
}

#[exception]
fn SysTick() {
    let steps = STEPS.load(Ordering::SeqCst).wrapping_add(1);
    STEPS.store(steps, Ordering::SeqCst);
    for (coil, back) in COILS.into_iter().zip(BACKS) {
        PINS[back].store(PINS[coil].load(Ordering::SeqCst), Ordering::SeqCst);
    }
    cortex_m::interrupt::free(|section| {
        if let Some(player) = PLAYER.borrow(section).borrow_mut().as_mut() {
            player.play(now());
        }
    });
}

impl Player {
    fn fetch(&mut self) {
        self.next = match postcard::take_from_bytes(self.rest) {
            Ok((entry, rest)) => {
                self.rest = rest;
                Some(entry)
            }
            Err(_) => None,
        };
    }

    fn play(&mut self, now: Micros) {
        while let Some(Entry { at, signal }) = self.next.filter(|entry| entry.at <= now) {
            match signal {
                Signal::Edge(Shaft::Head, high) => self.head.catch(at, high),
                Signal::Edge(Shaft::Boot, high) => self.boot.catch(at, high),
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
                // Buttons without a length in the trace, and readings that this board has no input for.
                _ => {}
            }
            self.fetch();
        }
    }
}

/// Read a file of the host into `buffer`: what was read, empty if there is no such file.
fn read_file<'b>(name: &core::ffi::CStr, buffer: &'b mut [u8]) -> &'b [u8] {
    // SAFETY: the name and the buffer live through the calls, and the lengths are their own.
    let length = unsafe {
        let handle = syscall!(OPEN, name.as_ptr(), nr::open::R_BINARY, name.to_bytes().len());
        if handle == usize::MAX {
            return &[];
        }
        let missing = syscall!(READ, handle, buffer.as_mut_ptr(), buffer.len());
        syscall!(CLOSE, handle);
        buffer.len().saturating_sub(missing)
    };
    &buffer[..length]
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
    static mut MONITOR: Monitor = Monitor::new();
    static mut HEAD: EdgeQueue<256> = EdgeQueue::new();
    static mut BOOT: EdgeQueue<256> = EdgeQueue::new();
    static mut MEMORY: [u8; RING] = [0; RING];
    static mut STAGING: [u8; MOST_IMAGE_BYTES] = [0; MOST_IMAGE_BYTES];
    static mut INPUTS: [u8; TRACE] = [0; TRACE];
    static mut CHIP: [u8; FLASH] = [0; FLASH];

    CHIP.fill(0xFF);
    let mut flash = Flash(CHIP);
    let Ok(layout) = Layout::fit::<Flash>(0, FLASH as u32, RING as u32) else { stop() };
    let image = read_file(c"settings.bin", STAGING);
    if !image.is_empty() {
        // As a box of that leg that was in good order when it was switched off; the box itself tells if anything is wrong.
        let _ = Slots::new(&layout).store(&mut flash, image, None, &mut [0; MOST_IMAGE_BYTES]);
        if let Ok((mut journal, _)) = Journal::open(&layout, &mut flash) {
            let _ = journal.append(&mut flash, &Kept::default());
        }
    }
    let trace = read_file(c"inputs.bin", INPUTS);
    let ((catch_head, head), (catch_boot, boot)) = (HEAD.split(), BOOT.split());
    let parts = Parts {
        nameplate: Nameplate { serial: "EMULATED-1", firmware: concat!("slackside-mps2 ", env!("CARGO_PKG_VERSION")) },
        edges: Merger::new(Some(head), boot),
        // Edges of one step are put into their queues when the step is over.
        capture_latency: Span::new(STEP_US),
        wires: wires(),
        flash,
        layout,
        monitor: MONITOR,
        recorder: Recorder::new(MEMORY),
    };
    let mut sensor_box = SensorBox::start(parts, now());
    let mut link = Link::new(Uart::new(), STAGING);
    let mut player = Player { rest: trace, next: None, head: catch_head, boot: catch_boot };
    player.fetch();
    cortex_m::interrupt::free(|section| PLAYER.borrow(section).replace(Some(player)));
    let Some(core) = cortex_m::Peripherals::take() else { stop() };
    let mut systick = core.SYST;
    systick.set_clock_source(SystClkSource::Core);
    systick.set_reload(CLOCK_HZ / 1_000_000 * STEP_US - 1);
    systick.clear_current();
    systick.enable_counter();
    systick.enable_interrupt();
    hprintln!("the box runs");
    loop {
        sensor_box.poll(now());
        link.poll(&mut sensor_box);
        while now() < sensor_box.next_wake() {
            cortex_m::asm::wfi();
        }
    }
}

fn stop() -> ! {
    hprintln!("the box cannot start");
    loop {
        cortex_m::asm::bkpt();
    }
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    cortex_m::interrupt::disable();
    loop {
        cortex_m::asm::nop();
    }
}
