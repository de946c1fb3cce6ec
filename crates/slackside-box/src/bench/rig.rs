//! A whole box on the bench with a leg that turns before it.

use std::boxed::Box;
use std::vec;
use std::vec::Vec;

use slackside::input::{Place, Shaft};
use slackside::record::Recorder;
use slackside::settings::plan::Plan;
use slackside::units::{DeciCelsius, Micros, Span};
use slackside::verdict::{Change, Phase};

use super::sensor::{STEPS, Sensor, Tap, Turning};
use super::{Flash, Level, Line, Panel, Pin};
use crate::edges::{EdgeQueue, Merger};
use crate::events::Happened;
use crate::fault::Fault;
use crate::link::Link;
use crate::sensor_box::{BoxMonitor, Nameplate, Parts, SensorBox};
#[cfg(feature = "tag")]
use crate::service::ServicePort;
use crate::store::{Layout, Slots, set_key};
use crate::wires::Wires;

/// The flash of a box on the bench.
pub type Chip = Flash<4, 1024>;
/// A box on the bench.
pub type Boxed = SensorBox<'static, Pin, Pin, Level, Chip, 64>;

/// The memory of its recorder, in bytes.
pub const RING: usize = 32 * 1024;

/// Without a beat for so long the watchdog opens the supply of the coils, in microseconds.
pub const WATCHDOG: u64 = 200_000;
/// What a box is told of it where it proves it: a quarter more.
pub const WATCHDOG_OPENS_WITHIN: Span = Span::new(WATCHDOG as u32 / 4 * 5);
/// A leg that runs by its motor gains or loses so much of its normal speed, in per mille, each so many microseconds: three seconds
/// from standing to speed, or back.
const GAIN: (u64, u64) = (50, 150_000);
/// Targets on each wheel, unless the plan has others.
const TARGETS: u64 = 4;

/// The watchdog outside, between heartbeat and the supply of the coils.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Watchdog {
    /// It opens when the heart stands still.
    #[default]
    Works,
    /// It stays closed whatever the heart does.
    Closed,
    /// It stays open.
    Open,
}

/// The bench.
pub struct Rig {
    /// The wires.
    pub panel: Panel,
    /// The box.
    pub sensor_box: Boxed,
    /// True time since the box was switched on, in microseconds.
    pub now: u64,
    /// Contacts that do not follow their coils: the run permit's two, the feed permit's.
    pub stuck: [Option<bool>; 3],
    /// The watchdog outside.
    pub watchdog: Watchdog,
    /// The contacts of the run permit are bridged in the starter's wiring.
    pub starter_bridged: bool,
    /// The motor's auxiliary contact as the box gets it, if not as it is.
    pub drive_stuck: Option<bool>,
    /// The contact of the alarm relay, if it does not follow its coil: closed tells that all is well.
    pub alarm_stuck: Option<bool>,
    /// The head's left rub point in tenths of a degree as the box was switched on, told once a second; `None` where it has no sensor. It
    /// follows the air of a day.
    pub temperature: Option<i16>,
    /// Its sensor gives this instead.
    pub temperature_stuck: Option<i16>,
    /// Its readings do not come any more.
    pub temperature_lost: bool,
    /// A second clock so many parts per million too fast, below zero too slow, at -1,000,000 one that stands; `None` where the box has none.
    pub second_clock: Option<i64>,
    /// The program stands still.
    pub halted: bool,
    /// Whether the belt is taken along by the head pulley.
    pub belt_grips: bool,
    /// What the motor brings the leg to, in per mille of its normal speed: a loaded motor slips, an idle one does not.
    pub full_speed: u64,
    /// The desk's side of the link is at the test.
    pub link: Option<Link<'static, Line>>,
    /// Somebody is at the service port.
    #[cfg(feature = "tag")]
    pub service: Option<ServicePort<Line>>,
    /// Every verdict's change, with its time.
    pub changes: Vec<(u64, Change)>,
    /// Every fault that came, in order.
    pub faults: Vec<Fault>,
    /// Whether the motor runs: once the permit drops, it stays off.
    sealed_in: bool,
    /// The motor brings the leg up to speed and lets it run down: the speed in per mille, and when it next changes.
    by_motor: Option<(u64, u64)>,
    shafts: [Turning; 2],
    sensors: [Sensor; 2],
    /// What the second clock says.
    second_us: u64,
    /// The box's clock runs so much too fast, in parts per million, from then on.
    clock: (i64, u64),
    beats: (i32, u64),
    seen: u32,
    seen_verdicts: u32,
}

impl Rig {
    /// What lies where in the flash.
    ///
    /// # Panics
    /// Never: the flash is large enough.
    #[must_use]
    pub fn layout() -> Layout {
        Layout::fit::<Chip>(0, 128 * 1024, RING as u32).expect("enough flash")
    }

    /// Flash of a new box.
    #[must_use]
    pub fn blank() -> Chip {
        Chip::new(128)
    }

    /// Flash with a key and a plan in it, and nothing else.
    ///
    /// # Panics
    /// Never: new flash takes both.
    #[must_use]
    pub fn set_up(key: &[u8; 16], plan: &Plan) -> Chip {
        let mut chip = Self::blank();
        set_key(&Self::layout(), &mut chip, key).expect("set");
        Slots::new(&Self::layout()).store(&mut chip, plan.bytes(), None, &mut [0; Plan::LENGTH]).expect("stored");
        chip
    }

    /// Switch a box on with this flash.
    #[must_use]
    pub fn start(flash: Chip) -> Self {
        Self::start_with(flash, Panel::new())
    }

    /// With these wires.
    #[must_use]
    pub fn start_with(flash: Chip, panel: Panel) -> Self {
        Self::start_in(flash, Self::layout(), panel)
    }

    /// With flash laid out so.
    #[must_use]
    pub fn start_in(flash: Chip, layout: Layout, panel: Panel) -> Self {
        let wires = panel.wires();
        Self::start_wired(flash, layout, panel, wires)
    }

    /// With other wires than the panel's own.
    #[must_use]
    pub fn start_wired(flash: Chip, layout: Layout, panel: Panel, wires: Wires<Pin, Pin, Level>) -> Self {
        let (catch_head, head) = Box::leak(Box::new(EdgeQueue::<32>::new())).split();
        let (catch_boot, boot) = Box::leak(Box::new(EdgeQueue::<32>::new())).split();
        let sensor_box = SensorBox::start(
            Parts {
                nameplate: Nameplate { serial: "BENCH-1", firmware: "bench" },
                edges: Merger::new(Some(head), boot),
                capture_latency: Span::new(20),
                wires,
                flash,
                layout,
                monitor: Box::leak(Box::new(BoxMonitor::new())),
                recorder: Recorder::new(Box::leak(vec![0; RING].into_boxed_slice())),
            },
            Micros::ZERO,
        );
        Self {
            panel,
            sensor_box,
            now: 0,
            stuck: [None; 3],
            watchdog: Watchdog::Works,
            starter_bridged: false,
            drive_stuck: None,
            alarm_stuck: None,
            temperature: None,
            temperature_stuck: None,
            temperature_lost: false,
            second_clock: None,
            halted: false,
            belt_grips: true,
            full_speed: 1_000,
            link: None,
            #[cfg(feature = "tag")]
            service: None,
            changes: Vec::new(),
            faults: Vec::new(),
            sealed_in: false,
            by_motor: None,
            shafts: [Turning::standing(), Turning::standing()],
            sensors: [Sensor::new(Shaft::Head, catch_head), Sensor::new(Shaft::Boot, catch_boot)],
            second_us: 0,
            clock: (0, 0),
            beats: (0, 0),
            seen: 0,
            seen_verdicts: 0,
        }
    }

    /// Turn a shaft at so many per mille of its normal speed.
    ///
    /// # Panics
    /// If it is to turn and the box has no plan: the speed is the plan's.
    pub fn turn(&mut self, shaft: Shaft, per_mille: u64) {
        let step = (per_mille > 0).then(|| {
            let of = self.sensor_box.monitor().plan().expect("a leg that turns has a plan").shaft(shaft);
            1_000_000_000_000_000 / (u64::from(of.normal) * per_mille * targets(of.marks) * STEPS)
        });
        self.shafts[shaft as usize].turn(step, self.now);
    }

    /// Turn both.
    pub fn turn_both(&mut self, per_mille: u64) {
        self.turn(Shaft::Head, per_mille);
        self.turn(Shaft::Boot, per_mille);
    }

    /// The targets of a shaft do not lie evenly: each pitch of a turn is so many per mille wider than the mean one.
    pub fn space(&mut self, shaft: Shaft, wider: &'static [i64]) {
        self.shafts[shaft as usize].space(wider);
    }

    /// What the box's input of a shaft gets from now on.
    pub fn tap(&mut self, shaft: Shaft, tap: Tap) {
        self.sensors[shaft as usize].put(tap, self.now);
    }

    /// Swing a sensor off its targets: what it gives by itself goes on.
    pub fn swing_away(&mut self, shaft: Shaft) {
        self.sensors[shaft as usize].swing_away();
    }

    /// From now on the box's clock is so many parts per million too fast; below zero too slow.
    pub const fn clock_runs(&mut self, fast_ppm: i64) {
        self.clock = (fast_ppm, self.now);
    }

    /// Put an edge into a queue as the interrupt does, without a leg.
    pub fn catch(&mut self, shaft: Shaft, high: bool) {
        let now = Micros::new(self.now);
        self.sensors[shaft as usize].catcher.catch(now, high);
    }

    /// One round, `micros` after the last one.
    pub fn round_after(&mut self, micros: u64) {
        self.now += micros;
        self.second_us += micros
            .saturating_mul(self.second_clock.map_or(0, |fast| 1_000_000_u64.saturating_add_signed(fast)))
            / 1_000_000;
        self.follow_motor();
        let (fast, since) = self.clock;
        let clock = move |at: u64| at.saturating_add_signed(at.saturating_sub(since) as i64 * fast / 1_000_000);
        let marks = self.sensor_box.monitor().plan().map_or([0; 2], |plan| [plan.head.marks, plan.boot.marks]);
        for (turning, (shaft, marks)) in self.shafts.iter_mut().zip([Shaft::Head, Shaft::Boot].into_iter().zip(marks)) {
            while let Some((at, step)) = turning.step_on(self.now) {
                for sensor in &mut self.sensors {
                    sensor.sees(shaft, step, targets(marks), at, &clock);
                }
            }
        }
        for sensor in &mut self.sensors {
            sensor.tremble(self.now, &clock);
        }
        self.relays_follow();
        self.motor_follows();
        if self.halted {
            return;
        }
        if let Some(temperature) = self.temperature
            && !self.temperature_lost
            && self.now / 1_000_000 != (self.now - micros) / 1_000_000
        {
            let told = self.temperature_stuck.unwrap_or(temperature + air(self.now));
            self.sensor_box.temperature(Place::HeadLeft, DeciCelsius::new(told));
        }
        if self.second_clock.is_some() {
            self.sensor_box.second_clock(Micros::new(self.second_us));
        }
        self.sensor_box.poll(Micros::new(clock(self.now)));
        if let Some(link) = &mut self.link {
            link.poll(&mut self.sensor_box);
        }
        #[cfg(feature = "tag")]
        if let Some(service) = &mut self.service {
            service.poll(&mut self.sensor_box);
        }
        self.note();
    }

    /// The leg follows its motor.
    fn follow_motor(&mut self) {
        let Some((speed, next)) = self.by_motor.filter(|(_, next)| *next <= self.now) else { return };
        let (gain, every) = GAIN;
        let speed = if self.sealed_in { (speed + gain).min(self.full_speed) } else { speed.saturating_sub(gain) };
        self.by_motor = Some((speed, next + every));
        self.turn(Shaft::Head, speed);
        self.turn(Shaft::Boot, if self.belt_grips { speed } else { 0 });
    }

    /// The belt stands from now on, whatever the head pulley does.
    pub fn stop_belt(&mut self) {
        self.belt_grips = false;
        self.turn(Shaft::Boot, 0);
    }

    fn relays_follow(&mut self) {
        let beats = self.panel.heartbeat.writes();
        if beats != self.beats.0 {
            self.beats = (beats, self.now);
        }
        let supplied = match self.watchdog {
            Watchdog::Works => self.now - self.beats.1 <= WATCHDOG,
            Watchdog::Closed => true,
            Watchdog::Open => false,
        };
        for ((back, coil), stuck) in self.panel.backs.iter().zip(&self.panel.coils).zip(self.stuck) {
            back.set(stuck.unwrap_or(coil.get() && supplied));
        }
    }

    fn motor_follows(&mut self) {
        if self.sealed_in && !self.panel.may_run() && !self.starter_bridged {
            self.press_stop();
        }
        if let Some(on) = self.drive_stuck {
            self.panel.drive.set(on);
        }
    }

    fn note(&mut self) {
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

    /// So many milliseconds, a round each.
    pub fn run(&mut self, millis: u64) {
        for _ in 0..millis {
            self.round_after(1_000);
        }
    }

    /// Press a button for so long and let it go.
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
    ///
    /// # Panics
    /// If it is not given.
    pub fn make_ready(&mut self) {
        self.run(8_000);
        assert_eq!(self.phase(), Phase::Standstill, "standstill is proven by silence");
        self.clear_up();
        self.run(500);
        // Where the watchdog is proven first, it takes a little longer.
        for _ in 0..10 {
            if !self.panel.may_run() {
                self.run(100);
            }
        }
        assert!(self.panel.may_run(), "ready: {:?}", self.sensor_box.faults().iter().collect::<Vec<_>>());
    }

    /// A person presses start: if the permit lets the contactor in, it holds itself. Whether it does.
    pub fn press_start(&mut self) -> bool {
        if self.panel.may_run() || self.starter_bridged {
            self.sealed_in = true;
            self.panel.drive.set(true);
        }
        self.sealed_in
    }

    /// The same; from now on the leg follows its motor by itself.
    pub fn start_up(&mut self) -> bool {
        let started = self.press_start();
        self.by_motor.get_or_insert((0, self.now));
        started
    }

    /// Stop is pressed, or the contactor drops.
    pub fn press_stop(&mut self) {
        self.sealed_in = false;
        self.panel.drive.set(false);
    }

    /// Whether lamp or horn, behind the alarm relay's contact, tell that all is well.
    #[must_use]
    pub fn alarm_shows_well(&self) -> bool {
        self.alarm_stuck.unwrap_or_else(|| self.panel.alarm.get())
    }

    /// Whether the motor runs.
    #[must_use]
    pub const fn motor_runs(&self) -> bool {
        self.sealed_in
    }

    /// From ready to running at speed with the feed permit given.
    ///
    /// # Panics
    /// If it is not.
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

    /// What the leg does, as the box has it.
    #[must_use]
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

    /// Plug something into the service port: its end of the line.
    #[cfg(feature = "tag")]
    pub fn connect_service(&mut self) -> Line {
        let (boxes_end, other_end) = Line::pair(4_096);
        self.service = Some(ServicePort::new(boxes_end));
        other_end
    }

    /// Power goes: what is left is the flash.
    #[must_use]
    pub fn power_down(self) -> Chip {
        self.sensor_box.into_flash()
    }
}

/// How much warmer the air is than when the box was switched on, in tenths of a degree: a tenth more each half hour, and after half a day
/// a tenth less.
const fn air(now: u64) -> i16 {
    let half_hours = (now / 1_800_000_000 % 48) as i16;
    if half_hours < 24 { half_hours } else { 48 - half_hours }
}

/// Targets on a wheel of so many counted marks.
const fn targets(marks: u8) -> u64 {
    if marks == 0 { TARGETS } else { marks as u64 }
}
