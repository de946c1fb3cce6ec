//! The desk against the emulated board: the same settings and inputs, and not one byte of difference allowed.

use std::path::{Path, PathBuf};

use anyhow::{Result, bail};
use slackside::input::Input;
use slackside::settings::Checked;

use crate::emulator;
use crate::image::{Image, Profile};
use crate::trace::{desk_stream, leg};

/// The image that plays traces.
fn player() -> Result<PathBuf> {
    Image { target: "thumbv7m-none-eabi", bin: "emulated", profile: Profile::Release, features: "" }.link()
}

/// Play one trace.
pub fn emulate(trace: &Path, settings: &Path, out: Option<&Path>) -> Result<()> {
    let _ = (trace, settings, out);
    bail!("the trace reader is not merged yet")
}

/// Compare on the built-in legs and on the traces of `folders`.
pub fn run(folders: &[PathBuf]) -> Result<()> {
    anyhow::ensure!(folders.is_empty(), "the trace reader is not merged yet");
    let player = player()?;
    let settings = leg::settings();
    compare(&player, "a healthy leg", &settings, &leg::running(&settings, 120))?;
    compare(&player, "a leg with everything wrong", &settings, &leg::rough(&settings, 300))?;
    Ok(())
}

/// Both streams of one trace; an error at the first difference.
fn compare(player: &Path, name: &str, settings: &Checked, inputs: &[Input]) -> Result<Vec<u8>> {
    let board = emulator::run(player, settings, inputs, false)?.verdicts;
    let desk = desk_stream(settings, inputs)?;
    if board != desk {
        bail!("{name}: {}", difference(&desk, &board));
    }
    let verdicts = emulator::decode(&board)?.len();
    println!("{name}: {} inputs, {verdicts} verdicts, {} bytes, all alike", inputs.len(), board.len());
    Ok(board)
}

/// Where two streams part, in words.
fn difference(desk: &[u8], board: &[u8]) -> String {
    let (Ok(desk), Ok(board)) = (emulator::decode(desk), emulator::decode(board)) else {
        return "a stream cannot be decoded".to_owned();
    };
    let at = desk.iter().zip(&board).position(|(one, other)| one != other).unwrap_or(desk.len().min(board.len()));
    format!(
        "the streams differ at verdict {at} (desk {}, board {}):\n  desk:  {:?}\n  board: {:?}",
        desk.len(),
        board.len(),
        desk.get(at),
        board.get(at)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_byte_of_difference_is_told() {
        let settings = leg::settings();
        let verdict = |at| slackside::verdict::Verdict {
            at: slackside::units::Micros::new(at),
            change: slackside::verdict::Change::FirstOut(None),
        };
        let stream = |at| postcard::to_stdvec(&verdict(at)).unwrap();
        assert!(difference(&stream(1), &stream(2)).contains("differ at verdict 0"));
        assert!(desk_stream(&settings, &[]).unwrap().is_empty());
    }
}
