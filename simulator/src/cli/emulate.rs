//! `slackside emulate`.

use std::io::{BufRead, Cursor};
use std::path::PathBuf;

use serde_json::json;
use slackside::input::Input;

use slackside_desk::demo;
use slackside_desk::replay::check_units;
use slackside_desk::settings;
use slackside_desk::trace::Reader;

use super::talk::{Talk, tell};
use crate::box_client::{Button, MemoryBox, Setup};
use crate::disk::{Disk, open_trace};

/// Run a sensor box made of memory on this computer, and let a trace turn its leg.
///
/// It is the code of the firmware, with pins, flash and sensor lines in memory, and its link on a TCP port. Talk to it from
/// another window: `slackside box 127.0.0.1:7002 watch`. Lines typed here are what a person does at the box: `acknowledge`,
/// `confirm` (acknowledge held for 5 s), `reset`, `boot cleared`, `key on`, `key off`, `quit`.
#[derive(clap::Args)]
pub struct Args {
    /// The trace. Without it the built-in demo is played.
    trace: Option<PathBuf>,
    /// The settings in the box's flash. Without them those of the example leg.
    #[arg(long, value_name = "LEG.toml")]
    settings: Option<PathBuf>,
    /// A box as it comes: without settings.
    #[arg(long, conflicts_with = "settings")]
    new: bool,
    /// Where it listens; this computer only, since the link is not protected.
    #[arg(long, default_value = "127.0.0.1:7002", value_name = "HOST:PORT")]
    listen: String,
    /// How many times faster than the day the trace is played; 0 for as fast as the computer can.
    #[arg(long, default_value_t = 1.0, value_name = "TIMES", value_parser = pace)]
    pace: f64,
}

fn pace(text: &str) -> Result<f64, String> {
    let pace: f64 = text.parse().map_err(|_| "write a number, such as 10".to_owned())?;
    if (0.0..=1e6).contains(&pace) { Ok(pace) } else { Err("write 0 to 1000000".to_owned()) }
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
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
    let setup = Setup {
        settings: (!args.new).then(|| loaded.checked.clone()),
        inputs,
        listen: args.listen.clone(),
        pace: (args.pace > 0.0).then_some(args.pace),
    };
    let memory_box = MemoryBox::start(setup)?;
    let address = memory_box.address().to_string();
    talk.object_line(|| json!({"format": "slackside-emulate", "format_version": 1, "listens": address}))?;
    talk.line(format_args!("A box made of memory listens on {address}; type `quit` to end it."))?;
    for line in std::io::stdin().lock().lines() {
        match line?.trim() {
            "acknowledge" => memory_box.press(Button::Acknowledge),
            "confirm" => memory_box.press(Button::Confirm),
            "reset" => memory_box.press(Button::Reset),
            "boot cleared" => memory_box.press(Button::BootCleared),
            "key on" => memory_box.press(Button::Key(true)),
            "key off" => memory_box.press(Button::Key(false)),
            "quit" => return Ok(()),
            "" => {}
            other => tell(format_args!(
                "`{other}`: write acknowledge, confirm, reset, boot cleared, key on, key off or quit"
            )),
        }
    }
    // Started without a keyboard: it runs until it is stopped.
    loop {
        std::thread::park();
    }
}
