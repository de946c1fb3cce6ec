//! `slackside emulate`.

use std::io::{self, BufRead, Cursor};
use std::path::{Path, PathBuf};

use anyhow::bail;
use serde_json::json;
use slackside::input::{Input, Signal};
use slackside::settings::Checked;
use slackside::units::Span;

use slackside_desk::demo;
use slackside_desk::replay::check_units;
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::estimate;
use slackside_desk::scenario::score::checked;
use slackside_desk::scenario::settings::Commissioned;
use slackside_desk::settings;
use slackside_desk::trace::Reader;

use super::talk::{Talk, tell};
use crate::box_client::{Button, MemoryBox, Modbus, ModbusPort, Setup};
use crate::disk::{Disk, open_trace};
use crate::heard::heard;
use crate::mqtt::Mqtt;

/// Run a sensor box made of memory on this computer, and let a trace or a scenario turn its leg.
///
/// It is the code of the firmware, with pins, flash and sensor lines in memory, and its link on a TCP port. Talk to it from
/// another window: `slackside box 127.0.0.1:7002 watch`; with `--modbus` from any Modbus master. Lines typed here are what a person
/// does at the box: `acknowledge`, `confirm` (acknowledge held for 5 s), `reset`, `boot cleared`, `key on`, `key off`; `halt` stops its
/// program as a fault would, `go on` lets it go on, `quit` ends it.
#[derive(clap::Args)]
pub struct Args {
    /// The trace. Without it the built-in demo is played.
    trace: Option<PathBuf>,
    /// In place of a trace: simulate this scenario first, with motor and feed obeying the permits, and play what its sensors say.
    #[arg(long, value_name = "SCENARIO.toml", conflicts_with = "trace")]
    scenario: Option<PathBuf>,
    /// The settings in the box's flash. Without them those of the scenario's leg, or of the example leg.
    #[arg(long, value_name = "LEG.toml")]
    settings: Option<PathBuf>,
    /// A box as it comes: without settings.
    #[arg(long, conflicts_with = "settings")]
    new: bool,
    /// Where it listens; this computer only, since the link is not protected.
    #[arg(long, default_value = "127.0.0.1:7002", value_name = "HOST:PORT")]
    listen: String,
    /// Serve its registers by Modbus: TCP on HOST:PORT, or RTU on a serial device.
    #[arg(long, value_name = "HOST:PORT|DEVICE")]
    modbus: Option<String>,
    /// The leg's address on Modbus.
    #[arg(long, default_value_t = 1, value_name = "1..247", requires = "modbus", value_parser = clap::value_parser!(u8).range(1..=247))]
    unit: u8,
    /// Bits a second of the serial device.
    #[arg(long, default_value_t = 19_200, value_name = "BITS", requires = "modbus", value_parser = clap::value_parser!(u32).range(1_200..=1_000_000))]
    baud: u32,
    /// Tell an MQTT broker of it, which is HOST:PORT: `TOPIC/status` once a second, and `TOPIC/online`.
    #[arg(long, value_name = "HOST:PORT", value_parser = broker)]
    mqtt: Option<(String, u16)>,
    /// What the topics begin with.
    #[arg(long, default_value = "slackside/leg", requires = "mqtt", value_parser = topic)]
    topic: String,
    /// How many times faster than the day the trace is played; 0 for as fast as the computer can.
    #[arg(long, alias = "pace", default_value_t = 1.0, value_name = "TIMES", value_parser = speed)]
    speed: f64,
}

fn speed(text: &str) -> Result<f64, String> {
    let speed: f64 = text.parse().map_err(|_| "write a number, such as 10".to_owned())?;
    if (0.0..=1e6).contains(&speed) { Ok(speed) } else { Err("write 0 to 1000000".to_owned()) }
}

fn broker(text: &str) -> Result<(String, u16), String> {
    let parts = text.rsplit_once(':').and_then(|(host, port)| Some((host.to_owned(), port.parse().ok()?)));
    parts.filter(|(host, _)| !host.is_empty()).ok_or_else(|| format!("write HOST:PORT, such as {text}:1883"))
}

fn topic(text: &str) -> Result<String, String> {
    let plain = !text.is_empty() && !text.ends_with('/') && !text.contains(['+', '#', '\0']);
    if plain { Ok(text.to_owned()) } else { Err("write a topic without + and #, such as plant/leg-3".to_owned()) }
}

impl Args {
    fn modbus(&self) -> anyhow::Result<Option<Modbus>> {
        let Some(on) = &self.modbus else { return Ok(None) };
        let is_port = |(_, port): (&str, &str)| port.parse::<u16>().is_ok();
        let on = if on.rsplit_once(':').is_some_and(is_port) {
            ModbusPort::Tcp(on.clone())
        } else if on.parse::<u16>().is_ok() {
            bail!(
                "--modbus {on} names a port and no address: write 127.0.0.1:{on}, or 0.0.0.0:{on} for other computers too"
            );
        } else if self.speed == 1.0 {
            ModbusPort::Serial(on.clone(), self.baud)
        } else {
            bail!("--modbus {on} is a serial line, which the box's own clock times: leave out --speed, or serve TCP");
        };
        Ok(Some(Modbus { on, address: self.unit }))
    }
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    let modbus = args.modbus()?;
    let (checked, inputs) = match &args.scenario {
        Some(scenario) => simulated(scenario, args.settings.as_deref())?,
        None => traced(args)?,
    };
    let seconds = inputs.last().map_or(0, |last| last.at.get().div_ceil(1_000_000));
    let setup = Setup {
        settings: (!args.new).then_some(checked),
        inputs,
        listen: args.listen.clone(),
        pace: (args.speed > 0.0).then_some(args.speed),
        modbus: modbus.clone(),
        mqtt: args.mqtt.clone().map(|(host, port)| Mqtt { host, port, topic: args.topic.clone() }),
    };
    let memory_box = MemoryBox::start(setup)?;
    let address = memory_box.address().to_string();
    let serves = modbus.map(|modbus| match (modbus.on, memory_box.modbus()) {
        (ModbusPort::Serial(device, _), _) => device,
        (ModbusPort::Tcp(listen), at) => at.map_or(listen, |at| at.to_string()),
    });
    let broker = args.mqtt.as_ref().map(|(host, port)| format!("{host}:{port}"));
    talk.object_line(
        || json!({"format": "slackside-emulate", "format_version": 2, "listens": address, "modbus": serves, "mqtt": broker, "seconds": seconds}),
    )?;
    talk.line(format_args!("A box made of memory listens on {address}; type `quit` to end it."))?;
    if let Some(serves) = &serves {
        talk.line(format_args!(
            "Modbus: unit {} on {serves}. These registers show; no PLC may run or stop a leg by them.",
            args.unit
        ))?;
        if memory_box.modbus().is_some_and(|at| !at.ip().is_loopback()) {
            talk.line("Other computers reach it too, and Modbus asks nobody who they are.")?;
        }
    }
    if let Some((host, port)) = &args.mqtt {
        talk.line(format_args!(
            "MQTT: {}/status and {0}/online on {host}:{port}. These messages show; nothing may run or stop a leg by them.",
            args.topic
        ))?;
    }
    talk.line(format_args!("Its leg is turned for {seconds} s of its own time, then it stands."))?;
    for line in io::stdin().lock().lines() {
        match line?.trim() {
            "acknowledge" => memory_box.press(Button::Acknowledge),
            "confirm" => memory_box.press(Button::Confirm),
            "reset" => memory_box.press(Button::Reset),
            "boot cleared" => memory_box.press(Button::BootCleared),
            "key on" => memory_box.press(Button::Key(true)),
            "key off" => memory_box.press(Button::Key(false)),
            "halt" => memory_box.press(Button::Halt(true)),
            "go on" => memory_box.press(Button::Halt(false)),
            "quit" => return Ok(()),
            "" => {}
            other => tell(format_args!(
                "`{other}`: write acknowledge, confirm, reset, boot cleared, key on, key off, halt, go on or quit"
            )),
        }
    }
    // Started without a keyboard: it runs until it is stopped.
    loop {
        std::thread::park();
    }
}

fn traced(args: &Args) -> anyhow::Result<(Checked, Vec<Input>)> {
    let loaded = settings::read_or_example(&Disk, args.settings.as_deref())?;
    let mut reader = match &args.trace {
        Some(trace) => open_trace(trace)?,
        None => Reader::from_read(demo::NAME, Cursor::new(demo::trace(&loaded.checked)))?,
    };
    let mut inputs: Vec<Input> = Vec::new();
    let mut batch = Vec::new();
    while reader.read_batch(&mut batch)? {
        inputs.extend_from_slice(&batch);
    }
    check_units(reader.name(), reader.survey(), &loaded.checked.machine)?;
    Ok((loaded.checked, inputs))
}

/// A scenario with a monitor in the loop, as the box will judge it.
fn simulated(path: &Path, own: Option<&Path>) -> anyhow::Result<(Checked, Vec<Input>)> {
    let mut scenario = Scenario::read(&Disk, path)?;
    let own = own.map(|path| settings::read(&Disk, path)).transpose()?;
    if let Some(own) = &own {
        estimate::stand_on(&mut scenario, own)?;
    }
    let own = own.map(|loaded| loaded.checked);
    let commissioned = Commissioned::measure(&scenario.leg);
    let checked = own.map_or_else(|| checked(&scenario.leg, &commissioned), Ok)?;
    let mut inputs = heard(&scenario, &commissioned, &checked)?;
    // Beyond its end nothing turns: somebody pressed stop.
    if let Some(last) = inputs.last() {
        inputs.push(Input::new(last.at.after(Span::from_millis(1)), Signal::DriveRunning(false)));
    }
    Ok((checked, inputs))
}
