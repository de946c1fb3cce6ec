//! Every public entry point of the core, called with values the compiler cannot know, and a panic handler that cannot
//! be linked: if the image links, no panic can be reached. It is also what the flash figures are taken from.
#![no_std]
#![no_main]

use core::panic::PanicInfo;

use slackside::Monitor;

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
    everything::call();
    #[cfg(feature = "plant-panic")]
    planted();
    loop {
        core::hint::spin_loop();
    }
}

/// The RAM that a monitor takes with room for 4, 8 and 64 marks a turn, read from the image by whoever weighs it.
#[unsafe(no_mangle)]
#[unsafe(link_section = ".slackside_sizes")]
pub static SLACKSIDE_SIZES: [u32; 3] =
    [size_of::<Monitor<4>>() as u32, size_of::<Monitor<8>>() as u32, size_of::<Monitor<64>>() as u32];

#[cfg(feature = "plant-panic")]
fn planted() {
    static LENGTH: usize = 3;
    static WORDS: [u32; 4] = [1, 2, 3, 4];
    // SAFETY: reads a static.
    let index = unsafe { core::ptr::read_volatile(&raw const LENGTH) };
    // An index that can be out of range: the panic that the proof has to find.
    core::hint::black_box(WORDS[index]);
}

mod everything {
    use core::cell::UnsafeCell;
    use core::hint::black_box;

    use slackside::Monitor;
    use slackside::input::{Input, Signal};
    use slackside::settings::Settings;
    use slackside::survivor::Survivor;
    use slackside::units::Micros;
    #[cfg(not(feature = "box-only"))]
    use slackside::{
        diagnose::{Gather, findings},
        input::{Command, Origin, Place},
        judge::{ConditionSet, Judge},
        measure::Measure,
        motion::{Motion, Pitch, ShaftMotion},
        record::Reader,
        settings::{Limits, image_length, turn_time},
        sight::{Seen, Sight},
        units::{DeciCelsius, Ppm, Span, TurnFraction, Turns, Watts},
    };
    #[cfg(any(not(feature = "box-only"), feature = "record-and-wire"))]
    use slackside::{
        judge::Condition,
        record::{Anchor, Recorder},
        wire::{
            Decoder, EventLog, MOST_FRAME, RecordingInfo, Request, Server, Store, StoreFault, Surroundings, encode,
        },
    };

    /// A place whose content the compiler must take for anything of its type.
    struct Volatile<T>(UnsafeCell<T>);

    // SAFETY: one thread, no interrupts.
    unsafe impl<T> Sync for Volatile<T> {}

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
    static MONITOR: Volatile<Monitor<8>> = Volatile::new(Monitor::with_room());
    #[cfg(not(feature = "box-only"))]
    static ROOMY: Volatile<Monitor> = Volatile::new(Monitor::new());
    #[cfg(not(feature = "box-only"))]
    static MEASURE: Volatile<Measure> = Volatile::new(Measure::new());
    #[cfg(not(feature = "box-only"))]
    static JUDGE: Volatile<Judge> = Volatile::new(Judge::new());
    static INPUT: Volatile<Input> = Volatile::new(Input::new(Micros::new(1), Signal::Tick));
    #[cfg(not(feature = "box-only"))]
    static MOTION: Volatile<Motion> = Volatile::new(Motion::NONE);
    #[cfg(not(feature = "box-only"))]
    static COMMAND: Volatile<(Origin, Command)> = Volatile::new((Origin::Leg, Command::Acknowledge));
    static IMAGE: Volatile<[u8; 2048]> = Volatile::new([0; 2048]);
    static SURVIVOR: Volatile<[u8; 64]> = Volatile::new([0; 64]);
    static WORD: Volatile<u32> = Volatile::new(0);
    #[cfg(any(not(feature = "box-only"), feature = "record-and-wire"))]
    static LONG: Volatile<u64> = Volatile::new(0);

    #[cfg(any(not(feature = "box-only"), feature = "record-and-wire"))]
    fn micros() -> Micros {
        Micros::new(LONG.get())
    }

    pub fn call() {
        configure();
        monitor();
        #[cfg(any(not(feature = "box-only"), feature = "record-and-wire"))]
        {
            record();
            wire();
        }
        #[cfg(not(feature = "box-only"))]
        {
            units();
            settings();
            parts();
            read();
            diagnose();
        }
    }

    #[cfg(not(feature = "box-only"))]
    fn units() {
        let (a, b) = (Span::new(WORD.get()), Span::new(WORD.get()));
        black_box((a.saturating_add(b), a.saturating_sub(b), Span::from_millis(WORD.get())));
        black_box((micros().after(a), micros().since(micros())));
        let pitch = Pitch { time: a, angle: TurnFraction::new(WORD.get()), largest: TurnFraction::new(WORD.get()) };
        black_box(pitch.speed());
        black_box(Turns::new(LONG.get()).forward(pitch.angle).beyond(Turns::new(LONG.get())));
        let shaft: ShaftMotion = MOTION.get().boot;
        black_box((shaft.speed(), shaft.speed_at_most(micros())));
        let name: &[u8] = &IMAGE.place()[..12];
        if let Ok(name) = core::str::from_utf8(name) {
            black_box(Condition::from_name(name));
        }
        let mut set = ConditionSet::EMPTY;
        if let Some(condition) = Condition::ALL.get(WORD.get() as usize) {
            set = set.with(*condition);
            black_box((
                condition.unit(),
                condition.name(),
                condition.can_be_bypassed(),
                condition.needs_boot_cleared(),
            ));
        }
        black_box((set.iter().count(), set.is_empty()));
    }

    /// What a box does with its settings at start-up.
    fn configure() {
        let image: &[u8] = IMAGE.place();
        let Some(image) = image.get(..WORD.get() as usize) else { return };
        match Settings::from_image(image).map(Settings::check_first) {
            Ok(Ok(checked)) => {
                black_box(MONITOR.place().try_configure(&checked, &survivor()).is_ok());
            }
            Ok(Err(violation)) => {
                black_box(violation.unit());
            }
            Err(error) => {
                black_box(error);
            }
        }
    }

    #[cfg(not(feature = "box-only"))]
    fn settings() {
        black_box(Settings::example());
        let mut limits = Limits::default();
        limits.change(Condition::SlipHigh, |limit| limit.setpoint = WORD.get() as i32);
        black_box(limits.of(Condition::SlipHigh));
        let image: &[u8] = IMAGE.place();
        black_box(image_length(image).is_ok());
        let Ok(settings) = Settings::from_image(image) else { return };
        black_box((settings.identity(), settings.to_image(IMAGE.place()).is_ok()));
        let machine = &settings.machine;
        black_box((
            machine
                .boot_targets
                .as_ref()
                .map(|targets| (targets.marks(), targets.closest_pitch(), targets.widest_pitch())),
            turn_time(machine.normal_head),
            (machine.head_diameter(), machine.boot_diameter(), machine.geometric_ratio(), machine.ratio_in_force()),
            (machine.head_circumference(), machine.boot_circumference(), machine.loop_time()),
            (machine.normal_belt_speed(), machine.belt_speed(machine.normal_head)),
            (machine.head_turn_time(), machine.boot_turn_time()),
        ));
        for condition in [Condition::DeepUnderspeed, Condition::SlipVeryHigh] {
            black_box((
                settings.promptness(condition),
                settings.promptness_before_learning(condition),
                settings.promptness_with_targets(condition, WORD.get() as u8),
            ));
        }
        match settings.check() {
            Ok(checked) => {
                checked.advice(&mut |advice| {
                    black_box(advice);
                });
                black_box((checked.ratio(), checked.boot_circumference(), checked.head_circumference()));
                let survivor = survivor();
                MEASURE.place().configure(&checked);
                JUDGE.place().configure(&checked, &survivor);
                let roomy = ROOMY.place();
                roomy.configure(&checked, &survivor);
                roomy.observe(INPUT.get(), &mut |verdict| {
                    black_box(verdict);
                });
            }
            Err(violations) => {
                black_box(violations.len());
            }
        }
    }

    fn survivor() -> Survivor {
        let bytes: &[u8] = SURVIVOR.place();
        postcard::from_bytes(bytes).unwrap_or_default()
    }

    #[cfg(not(feature = "box-only"))]
    fn parts() {
        let measure = MEASURE.place();
        measure.observe(INPUT.get(), |seen| {
            black_box(seen);
        });
        black_box((measure.next_deadline(), measure.motion()));
        let judge = JUDGE.place();
        let motion = MOTION.place();
        for sight in [
            Sight::Motion(motion),
            Sight::Drive(WORD.get() == 0),
            Sight::Power(Watts::new(WORD.get())),
            Sight::Reference(Ppm::new(WORD.get() as i32)),
            Sight::Temperature(Place::HeadLeft, DeciCelsius::new(WORD.get() as i16)),
            Sight::Outlet(WORD.get() == 0),
            Sight::Command(COMMAND.get().0, COMMAND.get().1),
            Sight::Late,
            Sight::Wake,
        ] {
            judge.observe(Seen { at: micros(), sight }, &mut |verdict| {
                black_box(verdict);
            });
        }
        judge.observe_plainly(Seen { at: micros(), sight: Sight::Wake }, &mut |verdict| {
            black_box(verdict);
        });
        black_box((judge.next_deadline(), judge.status(), judge.slip_heat_at(micros()), judge.survivor()));
    }

    #[cfg(any(not(feature = "box-only"), feature = "record-and-wire"))]
    static SEGMENTS: Volatile<[u8; 8192]> = Volatile::new([0; 8192]);

    #[cfg(any(not(feature = "box-only"), feature = "record-and-wire"))]
    fn record() {
        let anchor = Anchor::from_exchange(LONG.get() as i64, LONG.get() as i64, micros());
        black_box(anchor.and_then(|anchor| anchor.desk_time(micros(), WORD.get())));
        let monitor = MONITOR.place();
        let image: &[u8] = IMAGE.place();
        if let Ok(Ok(checked)) = Settings::from_image(image).map(Settings::check_first) {
            let mut recorder = Recorder::new(SEGMENTS.place());
            black_box(recorder.configure(monitor, &checked, &survivor(), WORD.get()).is_ok());
            while WORD.get() != 0 {
                recorder.observe(monitor, INPUT.get(), &mut |verdict| {
                    black_box(verdict);
                });
                if let Some(anchor) = anchor {
                    recorder.anchor(monitor, anchor);
                }
            }
            recorder.freeze(monitor);
            for held in recorder.held() {
                black_box((held.sequence, held.bytes));
            }
            recorder.release(WORD.get());
            black_box((recorder.kept_since(), recorder.trips(), recorder.missed(), recorder.newest_anchor()));
        }
    }

    #[cfg(not(feature = "box-only"))]
    fn read() {
        let monitor = MONITOR.place();
        let image: &[u8] = IMAGE.place();
        if let Ok(Ok(checked)) = Settings::from_image(image).map(Settings::check_first) {
            for found in Reader::new(SEGMENTS.place()) {
                if let Some(segment) = &found.0 {
                    for record in segment.records() {
                        black_box(record);
                    }
                    black_box(MONITOR.place().restore(&checked, &segment.header, segment.keyframe).is_ok());
                }
                black_box(found.1);
            }
        }
        black_box((monitor.state_crc(micros()), monitor.keyframe_length(micros())));
    }

    /// A memory of which the compiler knows nothing.
    #[cfg(any(not(feature = "box-only"), feature = "record-and-wire"))]
    struct AnyStore;

    #[cfg(any(not(feature = "box-only"), feature = "record-and-wire"))]
    impl Store for AnyStore {
        fn settings_image(&self) -> &[u8] {
            let image: &[u8] = IMAGE.place();
            image.get(..WORD.get() as usize).unwrap_or(image)
        }

        fn recording(&mut self, position: u8) -> Option<RecordingInfo> {
            let first_out = Condition::ALL.get(WORD.get() as usize).copied();
            (u32::from(position) < WORD.get()).then(|| RecordingInfo {
                number: WORD.get(),
                length: WORD.get(),
                session: WORD.get(),
                tripped_at: micros(),
                first_out,
                settings: WORD.get(),
            })
        }

        fn read_recording(&mut self, number: u32, offset: u32, into: &mut [u8]) -> Result<Option<usize>, StoreFault> {
            black_box((number, offset));
            into.fill(WORD.get() as u8);
            match WORD.get() {
                0 => Err(StoreFault),
                1 => Ok(None),
                // More than there is room for, too.
                length => Ok(Some(length as usize)),
            }
        }

        fn arm(&mut self, image: &[u8], old: u32, new: u32) -> Result<(), StoreFault> {
            black_box((image, old, new));
            if WORD.get() == 0 { Err(StoreFault) } else { Ok(()) }
        }
    }

    #[cfg(any(not(feature = "box-only"), feature = "record-and-wire"))]
    fn wire() {
        static STAGING: Volatile<[u8; 1024]> = Volatile::new([0; 1024]);
        static EVENTS: Volatile<EventLog<32>> = Volatile::new(EventLog::new());
        static DECODER: Volatile<Decoder> = Volatile::new(Decoder::new());
        static FRAME: Volatile<[u8; MOST_FRAME]> = Volatile::new([0; MOST_FRAME]);
        let monitor = MONITOR.place();
        let events = EVENTS.place();
        let staging: &mut [u8] = STAGING.place();
        let Some(staging) = staging.get_mut(..WORD.get() as usize) else { return };
        let mut server = Server::new(staging);
        let decoder = DECODER.place();
        while WORD.get() != 0 {
            monitor.observe(INPUT.get(), &mut |verdict| events.push(verdict));
            black_box((events.newest(), events.after(WORD.get()), decoder.errors()));
            let Some(Ok(frame)) = decoder.feed(WORD.get() as u8) else { continue };
            let around = Surroundings {
                now: micros(),
                key_on: WORD.get() == 1,
                serial: "serial",
                firmware: "firmware",
                session: WORD.get(),
                anchor: Anchor::from_exchange(LONG.get() as i64, LONG.get() as i64, micros()),
            };
            let mut store = AnyStore;
            let request = frame.message::<Request<'_>>();
            let (reply, asked) = server.answer(request, &around, monitor, events, &mut store);
            black_box(asked);
            black_box(encode(frame.number, &reply, FRAME.place()).is_some());
        }
    }

    #[cfg(not(feature = "box-only"))]
    fn diagnose() {
        let image: &[u8] = IMAGE.place();
        let Ok(Ok(checked)) = Settings::from_image(image).map(Settings::check_first) else { return };
        let mut gather = Gather::new(&checked);
        while WORD.get() != 0 {
            gather.motion(micros(), MOTION.place());
            gather.power(Watts::new(WORD.get()));
            MONITOR.place().observe(INPUT.get(), &mut |verdict| gather.verdict(&verdict));
        }
        for finding in &findings(&gather.evidence()) {
            black_box(finding);
        }
    }

    fn monitor() {
        let monitor = MONITOR.place();
        // Inputs come in any order and any number.
        while WORD.get() != 0 {
            monitor.observe(INPUT.get(), &mut |verdict| {
                black_box(verdict);
            });
        }
        black_box((monitor.next_deadline(), monitor.motion(), monitor.status()));
        black_box(monitor.survivor());
    }
}
