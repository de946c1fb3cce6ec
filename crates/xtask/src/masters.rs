//! The emulated box read by Modbus RTU as a plant reads it: its own code on the board's UART, behind a driver that its pin must switch, by two
//! masters that are not ours.

use std::path::Path;
use std::process::{Command, Stdio};

use anyhow::{Context, Result, ensure};
use serde_json::{Value, json};
use slackside::input::Input;
use slackside::settings::Checked;

use crate::board::{Pace, Run};
use crate::root::root;

/// As the image has it.
pub const ADDRESS: &str = "17";
pub const BITS_A_SECOND: &str = "19200";

/// Read the box by whichever of them is installed.
pub fn read(image: &Path, settings: &Checked, inputs: &[Input]) -> Result<()> {
    // Silence ends a frame: the emulated time must run as the masters' does.
    let emulator = Run { modbus: true, ..Run::new(image, settings, inputs, Pace::Day) }.start()?;
    let line = emulator.modbus()?.to_str().context("a name in UTF-8")?;
    let identity = settings.plan().identity();
    let words = [identity >> 16, identity & 0xFFFF];
    let by_pymodbus = match python() {
        Some(python) => pymodbus(python, line, words)?,
        None => "pymodbus is not installed: not read by it".to_owned(),
    };
    let by_mbpoll = match Command::new("mbpoll").arg("-h").stdout(Stdio::null()).stderr(Stdio::null()).status() {
        Ok(_) => mbpoll(line, words)?,
        Err(_) => "mbpoll is not installed: not read by it".to_owned(),
    };
    println!("Modbus RTU on the board's UART: {by_pymodbus}; {by_mbpoll}");
    Ok(())
}

/// The Python that has pymodbus, if any has.
fn python() -> Option<&'static str> {
    let has = |python: &&str| {
        let script = ["-c", "import pymodbus.client, serial"];
        Command::new(python).args(script).output().is_ok_and(|it| it.status.success())
    };
    ["/usr/bin/python3", "python3"].into_iter().find(has)
}

fn pymodbus(python: &str, line: &str, words: [u32; 2]) -> Result<String> {
    let script = root().join("tests/masters/read.py");
    let ask = |more: &[&str]| -> Result<Value> {
        let output = Command::new(python).arg(&script).args(["rtu", line, ADDRESS]).args(more).output()?;
        let said = String::from_utf8_lossy(&output.stdout);
        let error = String::from_utf8_lossy(&output.stderr);
        serde_json::from_str(said.trim()).with_context(|| format!("pymodbus says {said}{error}"))
    };
    let read = ask(&[])?;
    let registers = read["registers"].as_array().map_or(0, Vec::len);
    ensure!(registers == 144 && read["exceptions"] == json!([0, 0]), "pymodbus reads {read}");
    ensure!(read["holding"] == json!(words), "pymodbus reads other settings than the box was given: {read}");
    let refused = ["beyond", "coils", "another_word", "another_register"].map(|what| read[what].as_u64());
    ensure!(refused == [Some(2), Some(1), Some(3), Some(2)], "pymodbus is not refused what it must be: {read}");
    let acknowledged = ask(&["acknowledge"])?;
    ensure!(acknowledged["exceptions"] == json!([0, 0]), "pymodbus cannot acknowledge: {acknowledged}");
    Ok(format!("pymodbus reads {registers} registers and acknowledges"))
}

fn mbpoll(line: &str, words: [u32; 2]) -> Result<String> {
    let arguments =
        ["-m", "rtu", "-b", BITS_A_SECOND, "-P", "none", "-0", "-r", "48", "-c", "2", "-t", "3", "-1", "-o", "2"];
    let ask = |address| Command::new("mbpoll").args(arguments).args(["-a", address, line]).output();
    let output = ask(ADDRESS)?;
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let value = |row: &str| row.strip_prefix('[')?.split_once(':')?.1.split_whitespace().next()?.parse::<u32>().ok();
    let read: Vec<u32> = said.lines().filter_map(value).collect();
    ensure!(read == words, "mbpoll reads {read:?}, not {words:?}: {said}{}", String::from_utf8_lossy(&output.stderr));
    let other = ask("18")?;
    let silence = String::from_utf8_lossy(&other.stderr).into_owned();
    ensure!(silence.contains("timed out"), "another leg's address is answered: {silence}");
    Ok(format!("mbpoll reads the settings' identity {:04X}{:04X}", words[0], words[1]))
}
