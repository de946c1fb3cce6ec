//! A whole box made of memory on this computer: the firmware's own code with pins, flash and sensor lines in memory, the
//! link on a TCP port, and a trace that turns its leg.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread::{JoinHandle, sleep};
use std::time::{Duration, Instant};

use anyhow::{anyhow, bail};
use serde_json::{Value, json};
use serialport::SerialPort;
use slackside::input::{Command, ContactState, Input, LineState, Origin, Shaft, Signal};
use slackside::record::Recorder;
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside::verdict::Refusal;
use slackside_box::arming::BoxKey;
use slackside_box::bench::{CLEAR, Flash, Level, Line, Panel, Pin, RUBBING, SOUND};
use slackside_box::edges::{Catcher, EdgeQueue, Merger};
use slackside_box::store::{Journal, Kept, Layout, Slots, set_key};
use slackside_box::{BoxMonitor, Link, Nameplate, Parts, SensorBox};
use slackside_modbus::line::{NoDriver, RtuLine};
use slackside_modbus::view::View;

use super::cable::Cable;
use super::clock::Time;
use super::object::status_object;
use crate::modbus::Gateway;
use crate::mqtt::{Mqtt, Publisher};

/// One round of the main loop, in box time.
const ROUND_US: u64 = 1_000;
/// After the trace, so much box time goes by at the trace's pace: what belongs to a trip is filed in it.
const AFTERWARDS_US: u64 = 60_000_000;
/// The flash: 258 erase blocks of 1 KiB, enough for days and seven recordings.
const BLOCKS: usize = 258;
const BLOCK: usize = 1_024;
const RING: usize = 32 * 1_024;

/// The key of every box made of memory: it protects nothing but shows the way.
pub const MEMORY_KEY: BoxKey = *b"memory box's key";

type Chip = Flash<4, BLOCK>;
type Boxed<'a> = SensorBox<'a, Pin, Pin, Level, Chip, 64>;

/// What the box is to be.
pub struct Setup {
    /// The settings in its flash; `None` for a new box.
    pub settings: Option<Checked>,
    /// What turns its leg, in order of time.
    pub inputs: Vec<Input>,
    /// Where it listens: `127.0.0.1:0` for any free port.
    pub listen: String,
    /// How many times faster than the day the trace is played; `None` for as fast as the computer can.
    pub pace: Option<f64>,
    /// Where its registers are served by Modbus.
    pub modbus: Option<Modbus>,
    /// The broker that is told of it.
    pub mqtt: Option<Mqtt>,
}

/// Where and as whom a box is read by Modbus.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Modbus {
    /// On what.
    pub on: ModbusPort,
    /// The address of the leg, 1 to 247.
    pub address: u8,
}

/// What a master reaches a box by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ModbusPort {
    /// TCP on this address, `127.0.0.1:0` for any free port: the desk stands before the box.
    Tcp(String),
    /// RTU on this serial device, at so many bits a second: the box's own code.
    Serial(String, u32),
}

/// What a person at the box does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Button {
    /// Press acknowledge.
    Acknowledge,
    /// Hold acknowledge for five seconds: confirm what waits.
    Confirm,
    /// Press reset, for half a second.
    Reset,
    /// Press boot cleared.
    BootCleared,
    /// Turn the key.
    Key(bool),
    /// Not a button: the program stands still (`true`) or goes on.
    Halt(bool),
}

/// A running box. Dropped, it stops.
pub struct MemoryBox {
    address: SocketAddr,
    modbus: Option<SocketAddr>,
    buttons: Sender<Button>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl MemoryBox {
    /// Start it.
    ///
    /// # Errors
    /// The address is taken or not this computer's.
    pub fn start(setup: Setup) -> anyhow::Result<Self> {
        let listener = TcpListener::bind(&setup.listen).map_err(|error| {
            let wanted = "write HOST:PORT with a free port of this computer, such as 127.0.0.1:7002";
            anyhow!("cannot listen on {}: {error}\n  mend: {wanted}", setup.listen)
        })?;
        let address = listener.local_addr()?;
        if !address.ip().is_loopback() {
            bail!("{address}: the link is not protected, so this box listens on 127.0.0.1 only");
        }
        listener.set_nonblocking(true)?;
        let wire = setup.modbus.as_ref().map(Wire::open).transpose()?;
        let modbus = match &wire {
            Some(Wire::Gateway(gateway)) => Some(gateway.address()),
            _ => None,
        };
        let publisher = setup.mqtt.clone().map(Publisher::start).transpose()?;
        let (buttons, pressed) = channel();
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let thread = std::thread::Builder::new()
            .name("box".to_owned())
            .spawn(move || run(setup, &listener, (wire, publisher), &pressed, &stopped))?;
        Ok(Self { address, modbus, buttons, stop, thread: Some(thread) })
    }

    /// Where it listens.
    #[must_use]
    pub const fn address(&self) -> SocketAddr {
        self.address
    }

    /// Where its registers are served on TCP, if they are.
    #[must_use]
    pub const fn modbus(&self) -> Option<SocketAddr> {
        self.modbus
    }

    /// A person does something at the box.
    pub fn press(&self, button: Button) {
        // A box that has stopped has no buttons.
        let _ = self.buttons.send(button);
    }
}

impl Drop for MemoryBox {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// Flash as it lies in a box of that leg that was in good order when it was switched off.
fn flash(settings: Option<&Checked>, layout: &Layout) -> Chip {
    let mut chip = Chip::new(BLOCKS);
    // Into flash of memory just made: without it nothing could be armed, and the box says so.
    let _ = set_key(layout, &mut chip, &MEMORY_KEY);
    if let Some(settings) = settings {
        // Into flash of memory just made: the box itself tells if anything were wrong with it.
        let _ = Slots::new(layout).store(&mut chip, settings.plan().bytes(), None, &mut [0; Plan::LENGTH]);
        if let Ok((mut journal, _)) = Journal::open(layout, &mut chip) {
            let _ = journal.append(&mut chip, &Kept::default());
        }
    }
    chip
}

/// Whom it tells, beside the desk.
type Others = (Option<Wire>, Option<Publisher>);

fn run(
    setup: Setup,
    listener: &TcpListener,
    (mut wire, publisher): Others,
    pressed: &Receiver<Button>,
    stop: &AtomicBool,
) {
    let Ok(layout) = Layout::fit::<Chip>(0, (BLOCKS * BLOCK) as u32, RING as u32) else { return };
    let (mut head, mut boot) = (EdgeQueue::<1024>::new(), EdgeQueue::<1024>::new());
    let ((mut catch_head, head), (mut catch_boot, boot)) = (head.split(), boot.split());
    let mut monitor = Box::new(BoxMonitor::new());
    let mut ring = vec![0; RING];
    let mut staging = Box::new(Plan::blank());
    let panel = Panel::new();
    let mut sensor_box: Boxed<'_> = SensorBox::start(
        Parts {
            nameplate: Nameplate { serial: "MEMORY-1", firmware: concat!("memory-box ", env!("CARGO_PKG_VERSION")) },
            edges: Merger::new(Some(head), boot),
            capture_latency: Span::ZERO,
            wires: panel.wires(),
            flash: flash(setup.settings.as_ref(), &layout),
            layout,
            monitor: &mut monitor,
            recorder: Recorder::new(&mut ring),
        },
        Micros::ZERO,
    );
    let (boxes_end, outside) = Line::pair(4_096);
    let mut link = Link::new(boxes_end, &mut staging);
    let mut cable = Cable::new(listener, outside);
    let mut person = Person { panel: &panel, releases: Vec::new() };
    let mut inputs = setup.inputs.iter().peekable();
    let ends_us = setup.inputs.last().map_or(0, |last| last.at.get()) + AFTERWARDS_US;
    let mut pacer = Pacer { begun: Instant::now(), begun_us: 0 };
    let mut now_us = 0;
    while !stop.load(Ordering::SeqCst) {
        while let Some(input) = inputs.next_if(|input| input.at.get() <= now_us) {
            person.play(input, &mut catch_head, &mut catch_boot, &mut sensor_box);
        }
        while let Ok(button) = pressed.try_recv() {
            if button == Button::Halt(true) {
                // Time goes on without it: what that means it finds out itself.
                now_us += (stand_still(pressed, stop).as_secs_f64() * setup.pace.unwrap_or(1.0) * 1e6) as u64;
            } else {
                person.press(button, now_us);
            }
        }
        person.let_go(now_us);
        panel.relays_follow();
        sensor_box.poll(Micros::new(now_us));
        cable.pump();
        link.poll(&mut sensor_box);
        if let Some(wire) = &mut wire {
            wire.poll(&mut sensor_box, now_us);
        }
        if let Some(publisher) = publisher.as_ref().filter(|publisher| publisher.wants_state()) {
            publisher.take(state(&sensor_box, now_us));
        }
        now_us += ROUND_US;
        if now_us >= ends_us && pacer.begun_us < ends_us {
            // From here on it lives at the pace of the day.
            pacer = Pacer { begun: Instant::now(), begun_us: now_us };
        }
        let pace = if now_us < ends_us { setup.pace } else { Some(1.0) };
        pacer.wait(pace, now_us);
    }
}

/// As `slackside box … status` tells it.
fn state(sensor_box: &Boxed<'_>, now_us: u64) -> Value {
    let at = Micros::new(now_us);
    let view = View::of(sensor_box, at);
    let mut object = json!({"format": "slackside-mqtt-status", "format_version": 1});
    let state = status_object(&view.status, &view.own, &Time { at, anchor: None });
    if let (Some(object), Value::Object(state)) = (object.as_object_mut(), state) {
        object.extend(state);
    }
    object
}

/// Until somebody lets it go on: how long that was.
fn stand_still(pressed: &Receiver<Button>, stop: &AtomicBool) -> Duration {
    let begun = Instant::now();
    while !stop.load(Ordering::SeqCst) && pressed.try_recv() != Ok(Button::Halt(false)) {
        sleep(Duration::from_millis(10));
    }
    begun.elapsed()
}

/// What a master reaches the box by, opened.
enum Wire {
    Gateway(Gateway),
    Serial { port: Box<dyn SerialPort>, outside: Line, line: Box<RtuLine<Line, NoDriver>>, answer: Vec<u8> },
}

impl Wire {
    fn open(modbus: &Modbus) -> anyhow::Result<Self> {
        match &modbus.on {
            ModbusPort::Tcp(listen) => Ok(Self::Gateway(Gateway::start(listen, modbus.address)?)),
            ModbusPort::Serial(device, bits_a_second) => {
                let port = serialport::new(device, *bits_a_second)
                    .timeout(Duration::from_millis(1))
                    .open()
                    .map_err(|error| {
                        anyhow!("cannot open {device}: {error}\n  mend: name a serial device, or HOST:PORT for TCP, such as 127.0.0.1:5020")
                    })?;
                let (inside, outside) = Line::pair(4_096);
                let line = Box::new(RtuLine::new(inside, NoDriver, modbus.address, *bits_a_second));
                Ok(Self::Serial { port, outside, line, answer: Vec::new() })
            }
        }
    }

    fn poll(&mut self, sensor_box: &mut Boxed<'_>, now_us: u64) {
        let now = Micros::new(now_us);
        match self {
            Self::Gateway(gateway) => {
                gateway.acknowledge(|| {
                    // Where there is nothing to acknowledge it is done already.
                    let would = sensor_box.monitor().would_take(Origin::Link, Command::Acknowledge);
                    would == Err(Refusal::NothingToDo) || sensor_box.command(Origin::Link, Command::Acknowledge)
                });
                if gateway.wants_picture() {
                    gateway.take(&View::of(sensor_box, now));
                }
            }
            Self::Serial { port, outside, line, answer } => {
                let mut bytes = [0; 256];
                if port.bytes_to_read().is_ok_and(|waiting| waiting > 0)
                    && let Ok(count) = port.read(&mut bytes)
                {
                    outside.put(&bytes[..count]);
                }
                line.poll(sensor_box, now);
                answer.extend(outside.take());
                // A pseudo-terminal is quicker than any line: the master must not have its answer, and ask again, before the line is free.
                if !line.is_busy() && !answer.is_empty() {
                    // What cannot be written is lost, as on any serial line; the master asks again.
                    let _ = port.write_all(answer);
                    answer.clear();
                }
            }
        }
    }
}

struct Pacer {
    begun: Instant,
    begun_us: u64,
}

impl Pacer {
    fn wait(&self, pace: Option<f64>, now_us: u64) {
        let Some(pace) = pace else { return };
        let due = Duration::from_secs_f64((now_us - self.begun_us) as f64 / 1e6 / pace);
        if let Some(early) = due.checked_sub(self.begun.elapsed()) {
            sleep(early);
        }
    }
}

/// Turns what a trace says into what the wires say.
struct Person<'p> {
    panel: &'p Panel,
    /// Buttons to be let go, and when.
    releases: Vec<(u64, Pin)>,
}

impl Person<'_> {
    fn hold(&mut self, pin: &Pin, millis: u64, now_us: u64) {
        pin.set(true);
        self.releases.push((now_us + millis * 1_000, pin.clone()));
    }

    fn let_go(&mut self, now_us: u64) {
        self.releases.retain(|(due, pin)| {
            let due = *due <= now_us;
            if due {
                pin.set(false);
            }
            !due
        });
    }

    fn press(&mut self, button: Button, now_us: u64) {
        let panel = self.panel;
        match button {
            Button::Acknowledge => self.hold(&panel.acknowledge, 100, now_us),
            Button::Confirm => self.hold(&panel.acknowledge, 5_000, now_us),
            Button::Reset => self.hold(&panel.reset, 500, now_us),
            Button::BootCleared => self.hold(&panel.boot_cleared, 100, now_us),
            Button::Key(on) => panel.key.set(on),
            // It goes on already.
            Button::Halt(_) => {}
        }
    }

    fn play(&mut self, input: &Input, head: &mut Catcher<'_>, boot: &mut Catcher<'_>, sensor_box: &mut Boxed<'_>) {
        let panel = self.panel;
        let now_us = input.at.get();
        match input.signal {
            Signal::Edge(Shaft::Head, high) => head.catch(input.at, high),
            Signal::Edge(Shaft::Boot, high) => boot.catch(input.at, high),
            Signal::Line(shaft, state) => {
                let current = match state {
                    LineState::Sound => SOUND,
                    LineState::Open => 0,
                    LineState::Shorted => u16::MAX,
                };
                let line = if shaft == Shaft::Head { &panel.head_line } else { &panel.boot_line };
                line.set(Some(current));
            }
            Signal::Contact(place, state) => {
                let level = match state {
                    ContactState::Clear => CLEAR,
                    ContactState::Rubbing => RUBBING,
                    ContactState::Faulty => u16::MAX,
                };
                panel.contacts[place.index()].set(Some(level));
            }
            Signal::Temperature(place, value) => sensor_box.temperature(place, value),
            Signal::DriveRunning(on) => panel.drive.set(on),
            Signal::DrivePower(power) => sensor_box.power(power),
            Signal::SpeedReference(reference) => sensor_box.reference(reference),
            Signal::OutletPlugged(plugged) => panel.outlet.set(plugged),
            Signal::Command(_, command) => match command {
                Command::Acknowledge => self.press(Button::Acknowledge, now_us),
                Command::Reset => self.press(Button::Reset, now_us),
                Command::ResetButton(down) => panel.reset.set(down),
                Command::BootCleared => self.press(Button::BootCleared, now_us),
                Command::Key(on) => panel.key.set(on),
                Command::Inch(on) => panel.inching.set(on),
                // Not a button of this box: as from a panel at the leg.
                // The box says it itself.
                Command::Armed { .. } => {}
                Command::Bypass(..) | Command::EndBypass | Command::ProofTest(_) => {
                    sensor_box.command(Origin::Leg, command);
                }
            },
            Signal::EdgesLost(_) | Signal::Tick => {}
        }
    }
}
