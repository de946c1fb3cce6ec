//! A box on the bench with a leg that turns in memory.
#![allow(dead_code, reason = "not every test uses all of it")]

use slackside::input::Shaft;
use slackside::record::Recorder;
use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside::verdict::{Change, Phase};
use slackside_box::bench::{Flash, Level, Line, Panel, Pin};
use slackside_box::edges::{Catcher, EdgeQueue, Merger};
use slackside_box::fault::Fault;
use slackside_box::store::{Layout, Slots, set_key};
use slackside_box::{BoxMonitor, Happened, Link, Nameplate, Parts, SensorBox};

pub type Chip = Flash<4, 1024>;
pub type Boxed = SensorBox<'static, Pin, Pin, Level, Chip, 64>;

pub const RING: usize = 32 * 1024;

pub fn layout() -> Layout {
    Layout::fit::<Chip>(0, 128 * 1024, RING as u32).expect("enough flash")
}

pub fn settings() -> Settings {
    Settings::example()
}

pub fn plan(settings: &Settings) -> Plan {
    settings.clone().check().expect("sound").plan()
}

/// The key of the box on the bench.
pub const KEY: [u8; 16] = *b"the bench's key.";

/// Flash of a new box with its key.
pub fn new_box() -> Chip {
    let mut chip = Chip::new(128);
    set_key(&layout(), &mut chip, &KEY).expect("set");
    chip
}

/// Flash with its key and the example leg's plan in it, and nothing else.
pub fn set_up() -> Chip {
    let mut chip = new_box();
    Slots::new(&layout()).store(&mut chip, plan(&settings()).bytes(), None, &mut [0; Plan::LENGTH]).expect("stored");
    chip
}

/// One shaft with four targets of half a pitch each.
struct Turning {
    shaft: Shaft,
    catcher: Catcher<'static>,
    /// Half a pitch in microseconds; `None` while it stands.
    half_pitch: Option<u64>,
    next: u64,
    high: bool,
}

pub struct Rig {
    pub panel: Panel,
    pub sensor_box: Boxed,
    pub now: u64,
    /// Contacts that do not follow their coils.
    pub stuck: [Option<bool>; 3],
    /// Whether the motor runs when the run permit and the seal-in allow: once the permit drops, it stays off.
    sealed_in: bool,
    shafts: [Turning; 2],
    seen: u32,
    seen_verdicts: u32,
    pub link: Option<Link<'static, Line>>,
    pub changes: Vec<(u64, Change)>,
    pub faults: Vec<Fault>,
}

impl Rig {
    pub fn start(flash: Chip) -> Self {
        Self::start_with(flash, Panel::new())
    }

    pub fn start_with(flash: Chip, panel: Panel) -> Self {
        Self::start_in(flash, layout(), panel)
    }

    pub fn start_in(flash: Chip, layout: Layout, panel: Panel) -> Self {
        let (catch_head, head) = Box::leak(Box::new(EdgeQueue::<32>::new())).split();
        let (catch_boot, boot) = Box::leak(Box::new(EdgeQueue::<32>::new())).split();
        let sensor_box = SensorBox::start(
            Parts {
                nameplate: Nameplate { serial: "BENCH-1", firmware: "bench" },
                edges: Merger::new(Some(head), boot),
                capture_latency: Span::new(20),
                wires: panel.wires(),
                flash,
                layout,
                monitor: Box::leak(Box::new(BoxMonitor::new())),
                recorder: Recorder::new(Box::leak(vec![0; RING].into_boxed_slice())),
            },
            Micros::ZERO,
        );
        let turning = |shaft, catcher| Turning { shaft, catcher, half_pitch: None, next: 0, high: false };
        Self {
            panel,
            sensor_box,
            now: 0,
            stuck: [None; 3],
            sealed_in: false,
            shafts: [turning(Shaft::Head, catch_head), turning(Shaft::Boot, catch_boot)],
            seen: 0,
            seen_verdicts: 0,
            link: None,
            changes: Vec::new(),
            faults: Vec::new(),
        }
    }

    /// Turn a shaft at so many per mille of its normal speed.
    pub fn turn(&mut self, shaft: Shaft, per_mille: u64) {
        let machine = settings().machine;
        let normal = u64::from(if shaft == Shaft::Head { machine.normal_head } else { machine.normal_boot }.get());
        let now = self.now;
        let turning = self.shafts.iter_mut().find(|turning| turning.shaft == shaft).expect("both are there");
        let half_pitch = 1_000_000_000_000_000_u64.checked_div(normal * per_mille * 8);
        if turning.half_pitch.is_none() {
            turning.next = now + half_pitch.unwrap_or(0);
        }
        turning.half_pitch = half_pitch;
    }

    pub fn turn_both(&mut self, per_mille: u64) {
        self.turn(Shaft::Head, per_mille);
        self.turn(Shaft::Boot, per_mille);
    }

    /// Put an edge into a queue as the interrupt does, without a leg.
    pub fn catch(&mut self, shaft: Shaft, high: bool) {
        let now = self.now;
        let turning = self.shafts.iter_mut().find(|turning| turning.shaft == shaft).expect("both are there");
        turning.catcher.catch(Micros::new(now), high);
    }

    /// One round, `micros` after the last one.
    pub fn round_after(&mut self, micros: u64) {
        self.now += micros;
        for turning in &mut self.shafts {
            while let Some(half_pitch) = turning.half_pitch
                && turning.next <= self.now
            {
                turning.high = !turning.high;
                turning.catcher.catch(Micros::new(turning.next), turning.high);
                turning.next += half_pitch;
            }
        }
        self.panel.relays_follow();
        for (back, stuck) in self.panel.backs.iter().zip(self.stuck) {
            if let Some(closed) = stuck {
                back.set(closed);
            }
        }
        if self.sealed_in && !self.panel.may_run() {
            self.sealed_in = false;
            self.panel.drive.set(false);
        }
        self.sensor_box.poll(Micros::new(self.now));
        if let Some(link) = &mut self.link {
            link.poll(&mut self.sensor_box);
        }
        for event in self.sensor_box.events().from(self.seen) {
            if let Happened::FaultCame(fault) = event.happened {
                self.faults.push(fault);
            }
        }
        self.seen = self.sensor_box.events().next_number();
        while self.sensor_box.verdicts().newest() > self.seen_verdicts {
            let (_, events) = self.sensor_box.verdicts().after(self.seen_verdicts).read();
            for event in events {
                self.changes.push((event.verdict.at.get(), event.verdict.change));
                self.seen_verdicts = event.number;
            }
        }
    }

    pub fn run(&mut self, millis: u64) {
        for _ in 0..millis {
            self.round_after(1_000);
        }
    }

    pub fn press(&mut self, button: impl Fn(&Panel) -> &Pin, millis: u64) {
        button(&self.panel).set(true);
        self.run(millis);
        button(&self.panel).set(false);
        self.run(50);
    }

    /// What a person does at a new box, or after a trip with the cause gone.
    pub fn clear_up(&mut self) {
        self.press(|panel| &panel.acknowledge, 50);
        self.press(|panel| &panel.boot_cleared, 50);
        self.press(|panel| &panel.reset, 500);
    }

    /// From power-up to the run permit.
    pub fn make_ready(&mut self) {
        self.run(8_000);
        assert_eq!(self.phase(), Phase::Standstill, "standstill is proven by silence");
        self.clear_up();
        self.run(500);
        assert!(self.panel.may_run(), "ready: {:?}", self.sensor_box.faults().iter().collect::<Vec<_>>());
    }

    /// A person presses start: if the permit lets the contactor in, it holds itself.
    pub fn press_start(&mut self) -> bool {
        if self.panel.may_run() {
            self.sealed_in = true;
            self.panel.drive.set(true);
        }
        self.sealed_in
    }

    pub fn press_stop(&mut self) {
        self.sealed_in = false;
        self.panel.drive.set(false);
    }

    /// From ready to running at speed with the feed permit given.
    pub fn run_up(&mut self) {
        assert!(self.press_start());
        for per_mille in [200, 400, 600, 800, 1_000] {
            self.turn_both(per_mille);
            self.run(600);
        }
        self.run(8_000);
        assert_eq!(
            self.phase(),
            Phase::Running,
            "at {}: {:?}",
            self.now,
            self.changes.iter().rev().take(12).collect::<Vec<_>>()
        );
        assert!(self.panel.may_feed(), "fed: {:?}", self.sensor_box.monitor().status());
    }

    pub fn phase(&self) -> Phase {
        self.sensor_box.monitor().status().phase
    }

    /// Connect a desk: its end of the line.
    pub fn connect(&mut self) -> Line {
        let (boxes_end, desks_end) = Line::pair(4_096);
        let staging = Box::leak(Box::new(Plan::blank()));
        self.link = Some(Link::new(boxes_end, staging));
        desks_end
    }

    /// Power goes: what is left is the flash.
    pub fn power_down(self) -> Chip {
        self.sensor_box.into_flash()
    }
}
