//! What a box calls of the core, with values the compiler cannot know, and a panic handler that cannot be linked: if the image links,
//! no panic can be reached. It is also what the flash figures are taken from.
#![no_std]
#![no_main]

use core::cell::UnsafeCell;
use core::hint::black_box;
use core::panic::PanicInfo;

use slackside::Monitor;
#[cfg(feature = "link")]
use slackside::conditions::Condition;
use slackside::input::{Input, Shaft, Signal};
#[cfg(any(feature = "record", feature = "link"))]
use slackside::record::Anchor;
#[cfg(feature = "read")]
use slackside::record::Reader;
#[cfg(feature = "record")]
use slackside::record::Recorder;
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside::units::Micros;
#[cfg(any(feature = "record", feature = "link"))]
use slackside::units::Span;
#[cfg(feature = "monitor")]
use slackside::verdict::Verdict;
#[cfg(feature = "link")]
use slackside::wire::{
    Asked, Decoder, EventLog, MOST_FRAME, Message, RecordingInfo, Reply, Request, Server, Store, StoreFault,
    Surroundings, Window, encode,
};
#[cfg(feature = "modbus")]
use slackside::wire::{BoxStatus, LinkStatus, Refused};
#[cfg(feature = "modbus")]
use slackside_modbus::{
    leg::Leg,
    rtu::{self, Receiver},
    server::{Exception, MOST_PDU, answer as modbus_answer, refuse},
    view::View,
};

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
    sensor_box();
    #[cfg(feature = "check")]
    check();
    #[cfg(feature = "read")]
    read();
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

#[cfg(any(feature = "monitor", feature = "record", feature = "link", feature = "read"))]
static MONITOR: Volatile<Box> = Volatile::new(Box::new());
static INPUT: Volatile<Input> = Volatile::new(Input::new(Micros::ZERO, Signal::Edge(Shaft::Head, false)));
static WORD: Volatile<u32> = Volatile::new(0);

/// The plan as it lies in flash.
#[repr(align(8))]
struct Flash([u8; Plan::LENGTH]);

static PLAN: Volatile<Flash> = Volatile::new(Flash([0; Plan::LENGTH]));
static RETAINED: Volatile<[u8; Retained::IMAGE]> = Volatile::new([0; Retained::IMAGE]);

/// One more input.
#[inline(never)]
fn input() -> Input {
    INPUT.get()
}

fn plan() -> Option<Sound<&'static Plan>> {
    let bytes: &'static [u8] = &PLAN.place().0;
    Sound::new(Plan::from_bytes(bytes).ok()?).ok()
}

#[cfg(feature = "monitor")]
fn retained() -> Retained {
    let bytes: &[u8] = RETAINED.place();
    Retained::from_image(bytes).unwrap_or_else(|_| Retained::unreadable())
}

/// What a box does with its plan at start-up, and then round by round.
#[cfg(feature = "monitor")]
fn sensor_box() {
    let monitor = MONITOR.place();
    let Some(plan) = plan() else { return };
    #[cfg(not(feature = "record"))]
    black_box(monitor.configure(plan, &retained()).is_ok());
    #[cfg(feature = "record")]
    let mut recorder = Recorder::new(SEGMENTS.place());
    #[cfg(feature = "record")]
    black_box(recorder.configure(monitor, plan, &retained(), WORD.get()).is_ok());
    #[cfg(feature = "link")]
    let mut line = Line { events: EVENTS.place(), decoder: DECODER.place(), server: Server::new(staging()) };
    // Inputs come in any order and any number.
    while WORD.get() != 0 {
        let mut sink = |verdict: &Verdict| {
            #[cfg(feature = "link")]
            line.events.push(verdict);
            black_box(verdict);
        };
        #[cfg(not(feature = "record"))]
        monitor.observe(input(), &mut sink);
        #[cfg(feature = "record")]
        {
            recorder.observe(monitor, input(), &mut sink);
            file(&mut recorder, monitor);
        }
        black_box((monitor.next_deadline(), monitor.signals(), monitor.status()));
        black_box(monitor.retained().map(|retained| retained.to_image()));
        #[cfg(feature = "link")]
        line.poll(monitor);
        #[cfg(feature = "modbus")]
        modbus(monitor);
    }
}

/// Nothing but the check of a plan.
#[cfg(feature = "check")]
fn check() {
    black_box(plan().is_some());
}

#[cfg(any(feature = "record", feature = "link", feature = "modbus"))]
static LONG: Volatile<u64> = Volatile::new(0);

#[cfg(any(feature = "record", feature = "link", feature = "modbus"))]
fn micros() -> Micros {
    Micros::new(LONG.get())
}

#[cfg(any(feature = "record", feature = "link"))]
static ANCHOR: Volatile<Anchor> = Volatile::new(Anchor { at: Micros::ZERO, desk_us: 0, uncertainty: Span::ZERO });

#[cfg(any(feature = "record", feature = "read"))]
static SEGMENTS: Volatile<[u8; 8192]> = Volatile::new([0; 8192]);

/// Recordings read back, which no box does.
#[cfg(feature = "read")]
fn read() {
    let monitor = MONITOR.place();
    for found in Reader::new(SEGMENTS.place()) {
        if let (Some(segment), Some(plan)) = (&found.0, plan()) {
            for record in segment.records() {
                black_box(record);
            }
            black_box(monitor.restore(plan, &segment.header, segment.keyframe).is_ok());
        }
        black_box(found.1);
    }
    black_box((monitor.state_crc(), monitor.keyframe_length()));
}

/// What a box does with recordings.
#[cfg(feature = "record")]
fn file(recorder: &mut Recorder<'_>, monitor: &Box) {
    // As the link brought it.
    recorder.anchor(ANCHOR.get());
    recorder.freeze(monitor);
    for held in recorder.held() {
        black_box((held.sequence, held.bytes));
    }
    recorder.release(WORD.get());
    black_box((recorder.missed(), recorder.newest_anchor()));
}

/// A memory of which the compiler knows nothing.
#[cfg(feature = "link")]
struct AnyStore;

#[cfg(feature = "link")]
impl Store for AnyStore {
    fn recording(&mut self, position: u8) -> Option<RecordingInfo> {
        let first_out = Condition::of_rank(WORD.get() as usize);
        (u32::from(position) < WORD.get()).then(|| RecordingInfo {
            number: WORD.get(),
            length: WORD.get(),
            session: WORD.get(),
            tripped_at: micros(),
            first_out,
            plan: WORD.get(),
        })
    }

    fn read(&mut self, window: Window, offset: u32, into: &mut [u8]) -> Result<Option<usize>, StoreFault> {
        black_box((window, offset));
        into.fill(WORD.get() as u8);
        match WORD.get() {
            0 => Err(StoreFault),
            1 => Ok(None),
            // More than there is room for, too.
            length => Ok(Some(length as usize)),
        }
    }
}

#[cfg(feature = "link")]
static STAGING: Volatile<core::mem::MaybeUninit<Plan>> = Volatile::new(core::mem::MaybeUninit::zeroed());
#[cfg(feature = "link")]
static EVENTS: Volatile<EventLog<32>> = Volatile::new(EventLog::new());
#[cfg(feature = "link")]
static DECODER: Volatile<Decoder> = Volatile::new(Decoder::new());
#[cfg(feature = "link")]
static FRAME: Volatile<[u8; MOST_FRAME]> = Volatile::new([0; MOST_FRAME]);

#[cfg(feature = "link")]
fn staging() -> &'static mut Plan {
    // SAFETY: a plan may be all zeros.
    unsafe { STAGING.place().assume_init_mut() }
}

/// A box's end of the link.
#[cfg(feature = "link")]
struct Line {
    events: &'static mut EventLog<32>,
    decoder: &'static mut Decoder,
    server: Server<'static>,
}

#[cfg(feature = "link")]
impl Line {
    fn poll(&mut self, monitor: &Box) {
        let Some(Ok(frame)) = self.decoder.feed(WORD.get() as u8) else { return };
        let around = Surroundings {
            now: micros(),
            key_on: WORD.get() == 1,
            serial: "serial",
            firmware: "firmware",
            session: WORD.get(),
            anchor: Some(ANCHOR.get()),
        };
        let request = frame.message::<Request<'_>>();
        let number = frame.number;
        let say = |reply: &dyn Message| {
            black_box(encode(number, reply, FRAME.place()).is_some());
        };
        let asked = self.server.answer(request, &around, monitor, self.events, &mut AnyStore, &mut { say });
        // The box alone checks and arms what is staged.
        if let Asked::Arm { leg, identity, .. } = asked {
            black_box(leg);
            if self.server.staged().is_some_and(|plan| Sound::new(plan).is_ok()) {
                say(&Reply::Armed { old: 0, new: identity });
            }
        }
        black_box(self.decoder.errors());
    }
}

#[cfg(feature = "modbus")]
static RECEIVER: Volatile<Receiver> = Volatile::new(Receiver::new());
#[cfg(feature = "modbus")]
static REFUSED: Volatile<Refused> = Volatile::new(Refused { count: 0, first: Micros::ZERO, last: Micros::ZERO });
#[cfg(feature = "modbus")]
static REPLY: Volatile<[u8; MOST_PDU]> = Volatile::new([0; MOST_PDU]);
#[cfg(feature = "modbus")]
static REPLY_FRAME: Volatile<[u8; rtu::MOST_FRAME]> = Volatile::new([0; rtu::MOST_FRAME]);

/// A frame by Modbus RTU, byte by byte, and its answer.
#[cfg(feature = "modbus")]
fn modbus(monitor: &Box) {
    let receiver = RECEIVER.place();
    receiver.take(WORD.get() as u8, micros());
    let Some((address, message)) = receiver.frame(micros(), rtu::silence(19_200)) else { return };
    let yes = || WORD.get() == 1;
    let own = BoxStatus {
        faults: WORD.get(),
        run_given: yes(),
        feed_given: yes(),
        supervised_shafts: [yes(), yes()],
        supervised_contacts: [yes(), yes(), yes(), yes()],
        refused: REFUSED.get(),
        waits_for_press: yes(),
    };
    let view = View {
        status: LinkStatus::of(monitor, micros(), yes(), WORD.get()),
        own,
        plan: monitor.plan(),
        session: WORD.get(),
        judged_until: micros(),
    };
    let mut leg = Leg::new(&view);
    let length = modbus_answer(message, &mut leg, REPLY.place());
    black_box((leg.acknowledged, length, refuse(message, Exception::Busy, REPLY.place())));
    black_box(rtu::frame(address, WORD.get() as usize, REPLY_FRAME.place()));
}
