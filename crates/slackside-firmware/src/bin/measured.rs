//! The emulated board with a stopwatch: instructions for each kind of input, and how deep the stack goes.
//!
//! Under the emulator's `-icount shift=0` an instruction takes one nanosecond, so time is instructions. The clock is set to
//! its fastest, 200 MHz: one count of SysTick is five instructions. Deadlines are settled by ticks of their own, as a
//! box does it, and counted apart.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m::Peripherals;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::{entry, exception};
use slackside::input::{Input, Signal};
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside_firmware::host::{Failure, File, exit, finish};
use slackside_firmware::paint::paint;
use slackside_firmware::play::{Inputs, Verdicts, plan};

/// The kinds told apart, in the order of the figures: edge, contact, tick, a tick that settles a deadline, all else, the first input.
const KINDS: usize = 6;
const DEADLINE: usize = 3;
const FIRST: usize = 5;

type Monitor = slackside::Monitor<&'static Plan>;

const fn kind(signal: Signal) -> usize {
    match signal {
        Signal::Edge(..) => 0,
        Signal::Contact(..) => 1,
        Signal::Tick => 2,
        _ => 4,
    }
}

#[derive(Clone, Copy)]
struct Figure {
    count: u32,
    total: u64,
    worst: u32,
}

struct Stopwatch {
    figures: [Figure; KINDS],
    /// The counts that an empty measurement takes.
    empty: u32,
    deepest: u32,
}

/// No more settled deadlines than this between two inputs: beyond it, ticking does not help.
const MOST_DEADLINES: u32 = 10_000;

const LOOP_TURNS: u32 = 10_000;

/// Exactly two instructions a turn.
#[inline(never)]
fn known_loop() {
    // SAFETY: counts a register down; touches no memory.
    unsafe {
        core::arch::asm!("2:", "subs {turns}, #1", "bne 2b", turns = inout(reg) LOOP_TURNS => _, options(nomem, nostack));
    }
}

/// Counts of SysTick that `work` takes; at most 2^24, which is 80 million instructions.
#[inline(always)]
fn counts(work: impl FnOnce()) -> u32 {
    let before = SYST::get_current();
    work();
    let after = SYST::get_current();
    before.wrapping_sub(after) & 0x00FF_FFFF
}

impl Stopwatch {
    fn observe(&mut self, monitor: &mut Monitor, kind: usize, input: Input, verdicts: &mut Verdicts) {
        // Verdicts are kept aside: writing them out is not the core's work.
        let mut kept = heapless_verdicts::Kept::new();
        let painted = paint();
        let taken = counts(|| monitor.observe(black_box(input), &mut |verdict| kept.push(*verdict)));
        self.deepest = self.deepest.max(painted.depth());
        let taken = taken.saturating_sub(self.empty);
        let figure = &mut self.figures[kind];
        figure.count += 1;
        figure.total += u64::from(taken);
        figure.worst = figure.worst.max(taken);
        kept.hand_over(verdicts);
    }
}

/// Verdicts of one input, held until the stopwatch has stopped.
mod heapless_verdicts {
    use slackside::verdict::Verdict;
    use slackside_firmware::play::Verdicts;

    pub struct Kept {
        list: [Option<Verdict>; 96],
        length: usize,
    }

    impl Kept {
        pub const fn new() -> Self {
            Self { list: [None; 96], length: 0 }
        }

        pub fn push(&mut self, verdict: Verdict) {
            self.list[self.length] = Some(verdict);
            self.length += 1;
        }

        pub fn hand_over(&self, verdicts: &mut Verdicts) {
            for verdict in self.list[..self.length].iter().flatten() {
                verdicts.push(verdict);
            }
        }
    }
}

fn run(monitor: &mut Monitor) -> Result<(), Failure> {
    let mut watch =
        Stopwatch { figures: [Figure { count: 0, total: 0, worst: 0 }; KINDS], empty: counts(|| ()), deepest: 0 };
    let known = counts(known_loop).saturating_sub(watch.empty);

    let plan = plan()?;
    let retained = Retained::default();
    let mut sound = None;
    let painted = paint();
    let checked = (counts(|| sound = Sound::new(black_box(plan)).ok()), painted.depth());
    let sound = sound.ok_or(Failure::Settings)?;
    let mut taken = false;
    let painted = paint();
    let configured = (counts(|| taken = monitor.configure(black_box(sound), &retained).is_ok()), painted.depth());
    if !taken {
        return Err(Failure::Settings);
    }

    let mut inputs = Inputs::open()?;
    let mut verdicts = Verdicts::create()?;
    let mut begun = false;
    while let Some(input) = inputs.next()? {
        let mut settled = 0;
        while let Some(due) = monitor.next_deadline().filter(|due| begun && *due <= input.at) {
            settled += 1;
            if settled > MOST_DEADLINES {
                return Err(Failure::Stuck);
            }
            watch.observe(monitor, DEADLINE, Input::new(due, Signal::Tick), &mut verdicts);
        }
        let kind = if begun { kind(input.signal) } else { FIRST };
        begun = true;
        watch.observe(monitor, kind, input, &mut verdicts);
    }
    verdicts.finish()?;
    report(&watch, known, checked, configured)
}

#[inline(never)]
fn report(watch: &Stopwatch, known: u32, checked: (u32, u32), configured: (u32, u32)) -> Result<(), Failure> {
    let figures = watch.figures.map(|figure| (figure.count, figure.total, figure.worst));
    let mut buffer = [0; 256];
    let all = ((LOOP_TURNS, known), checked, configured, watch.deepest, figures);
    let bytes = postcard::to_slice(&all, &mut buffer).map_err(|_| Failure::Verdict)?;
    File::create(c"figures.bin")?.write(bytes)
}

/// 200 MHz from the internal oscillator's divider: the emulated clock tree gives 5 ns at divider 0.
fn fastest_clock() {
    const RUN_MODE_CLOCK: *mut u32 = 0x400F_E060 as *mut u32;
    // SAFETY: the run-mode clock register of this board; nothing else uses it.
    unsafe {
        let clock = RUN_MODE_CLOCK.read_volatile();
        RUN_MODE_CLOCK.write_volatile(clock & !(0xF << 23));
    }
}

#[entry]
fn main() -> ! {
    // `entry` makes this static local and hands it out once.
    static mut MONITOR: Monitor = Monitor::new();
    let Some(mut peripherals) = Peripherals::take() else { exit(Failure::Fault as u32) };
    fastest_clock();
    peripherals.SYST.set_clock_source(SystClkSource::Core);
    peripherals.SYST.set_reload(0x00FF_FFFF);
    peripherals.SYST.clear_current();
    peripherals.SYST.enable_counter();
    finish(run(MONITOR))
}

#[exception]
unsafe fn HardFault(_: &cortex_m_rt::ExceptionFrame) -> ! {
    exit(Failure::Fault as u32)
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    exit(Failure::Panic as u32)
}
