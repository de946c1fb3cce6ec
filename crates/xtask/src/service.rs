//! The service port of the emulated board: somebody there types a key.

use std::io::{Read, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use anyhow::{Result, ensure};
use slackside::input::{Command, Input, Origin, Signal};
use slackside::settings::Checked;
use slackside::units::Micros;

use crate::board::{Pace, Run};
use crate::box_run::CALLED;

/// A key as its file has it.
const KEY: &[u8] = b"000102030405060708090a0b0c0d0e0f\n";
/// When the key switch is turned on: the leg is proven to stand by then.
const SWITCHED_ON: Micros = Micros::new(120_000_000);
/// Only against an emulator that hangs.
const PATIENCE: Duration = Duration::from_secs(300);
const REFUSED: &str = "not set: turn the key switch on\r\n";
const SET: &str = "key set: the box starts anew, without settings\r\n";

/// With the switch off the key is refused, with it on it is set; then the program stops, its permits dropped, and the watchdog ends it.
pub fn type_a_key(image: &Path, settings: &Checked) -> Result<()> {
    let switch = Input::new(SWITCHED_ON, Signal::Command(Origin::Leg, Command::Key(true)));
    let mut emulator = Run::new(image, settings, &[switch], Pace::Hurry).start()?;
    let mut port = emulator.connect_service()?;
    port.set_read_timeout(Some(Duration::from_millis(50)))?;
    let (begun, mut said) = (Instant::now(), String::new());
    while !said.ends_with(SET) {
        ensure!(begun.elapsed() < PATIENCE, "the service port set no key; it said:\n{said}");
        port.write_all(KEY)?;
        // Nothing to read yet is no error.
        let mut answer = [0; 256];
        let count = port.read(&mut answer).unwrap_or(0);
        said.push_str(&String::from_utf8_lossy(&answer[..count]));
    }
    let before = said.trim_end_matches(SET);
    let refusals = before.matches(REFUSED).count();
    ensure!(
        refusals > 0 && before.len() == refusals * REFUSED.len(),
        "with the key switch off the service port said:\n{before}"
    );
    let status = loop {
        if let Some(status) = emulator.ended()? {
            break status;
        }
        ensure!(begun.elapsed() < PATIENCE, "a key was set, and the watchdog did not end the program");
        std::thread::sleep(Duration::from_millis(50));
    };
    let ended = emulator.file("ended.bin");
    ensure!(
        status.code() == Some(CALLED) && ended == [0; 7],
        "after a key was set the board ended otherwise: {status}, {ended:?}"
    );
    println!(
        "The service port refused a key {refusals} times with the switch off, took it with the switch on, and the box began anew."
    );
    Ok(())
}
