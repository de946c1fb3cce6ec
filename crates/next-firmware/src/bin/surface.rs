//! What a box calls of the core, with values the compiler cannot know, and a panic handler that cannot be linked: if the image links,
//! no panic can be reached. It is also what the flash figures are taken from.
#![no_std]
#![no_main]

use core::cell::UnsafeCell;
use core::hint::black_box;
use core::panic::PanicInfo;

use slackside_next::Monitor;
use slackside_next::input::{Input, Signal};
use slackside_next::retained::Retained;
use slackside_next::settings::plan::Plan;
use slackside_next::settings::plan_check::Sound;
use slackside_next::units::Micros;

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    unsafe extern "C" {
        // Defined nowhere.
        fn slackside_a_panic_can_be_reached() -> !;
    }
    // SAFETY: never linked, so never run.
    unsafe { slackside_a_panic_can_be_reached() }
}

/// The entry of the image. It is linked and weighed, never run.
#[unsafe(no_mangle)]
#[unsafe(link_section = ".text._start")]
pub extern "C" fn _start() -> ! {
    #[cfg(feature = "monitor")]
    {
        configure();
        monitor();
    }
    #[cfg(feature = "plant-panic")]
    planted();
    loop {
        core::hint::spin_loop();
    }
}

/// The RAM that a monitor takes with room for 4, 8 and 64 marks a turn, read from the image by whoever weighs it.
#[unsafe(no_mangle)]
#[unsafe(link_section = ".slackside_sizes")]
pub static SLACKSIDE_SIZES: [u32; 3] = [
    size_of::<Monitor<&'static Plan, 4>>() as u32,
    size_of::<Monitor<&'static Plan, 8>>() as u32,
    size_of::<Monitor<&'static Plan, 64>>() as u32,
];

#[cfg(feature = "plant-panic")]
fn planted() {
    static WORDS: [u32; 4] = [1, 2, 3, 4];
    // An index that can be out of range: the panic that the proof has to find.
    black_box(WORDS[WORD.get() as usize]);
}

/// A place whose content the compiler must take for anything of its type.
struct Volatile<T>(UnsafeCell<T>);

// SAFETY: one thread, no interrupts.
unsafe impl<T> Sync for Volatile<T> {}

#[allow(dead_code, reason = "each feature uses its own")]
impl<T> Volatile<T> {
    const fn new(value: T) -> Self {
        Self(UnsafeCell::new(value))
    }

    fn get(&self) -> T
    where
        T: Copy,
    {
        // SAFETY: the place is alive and holds a value of its type.
        unsafe { self.0.get().read_volatile() }
    }

    /// The place itself, through an address the compiler cannot follow.
    #[expect(clippy::mut_from_ref, reason = "one thread, and each place is asked for once")]
    fn place(&self) -> &mut T {
        let hidden: Volatile<*mut T> = Volatile::new(self.0.get());
        // SAFETY: the address is that of a static; nobody else holds it.
        unsafe { &mut *hidden.get() }
    }
}

/// A box for legs of up to four targets, both edges counted.
type Box = Monitor<&'static Plan, 8>;

#[cfg(feature = "monitor")]
static MONITOR: Volatile<Box> = Volatile::new(Box::new());
static INPUT: Volatile<Input> = Volatile::new(Input::new(Micros::new(1), Signal::Tick));
static WORD: Volatile<u32> = Volatile::new(0);

/// The plan as it lies in flash.
#[repr(align(8))]
struct Flash([u8; 1024]);

static PLAN: Volatile<Flash> = Volatile::new(Flash([0; 1024]));
static RETAINED: Volatile<[u8; 96]> = Volatile::new([0; 96]);

fn plan() -> Option<Sound<&'static Plan>> {
    let bytes: &'static [u8] = &PLAN.place().0;
    let (plan, _) = <Plan as zerocopy::FromBytes>::ref_from_prefix(bytes).ok()?;
    Sound::new(plan).ok()
}

/// What a box does with its plan at start-up.
#[cfg(feature = "monitor")]
fn configure() {
    let retained = retained();
    if let Some(plan) = plan() {
        black_box(MONITOR.place().configure(plan, &retained).is_ok());
    }
}

fn retained() -> Retained {
    black_box(RETAINED.place());
    Retained::default()
}

#[cfg(feature = "monitor")]
fn monitor() {
    let monitor = MONITOR.place();
    // Inputs come in any order and any number.
    while WORD.get() != 0 {
        monitor.observe(INPUT.get(), &mut |verdict| {
            black_box(verdict);
        });
    }
    black_box((monitor.next_deadline(), monitor.signals(), monitor.status()));
    black_box(monitor.retained());
}
