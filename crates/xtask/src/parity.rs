//! The desk against the emulated board: the same settings and inputs, and not one byte of difference allowed.

use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use slackside::input::Input;
use slackside::settings::Checked;
use slackside_simulator::trace::Reader;
use slackside_simulator::{demo, settings};

use crate::emulator;
use crate::image::{Image, Profile};
use crate::trace::{desk_stream, leg};

/// The image that plays traces.
fn player() -> Result<PathBuf> {
    Image { target: "thumbv7m-none-eabi", bin: "emulated", profile: Profile::Release, features: "" }.link()
}

/// Play one trace.
pub fn emulate(trace: &Path, settings: &Path, out: Option<&Path>) -> Result<()> {
    let settings = read_settings(settings)?;
    let inputs = read_trace(trace)?;
    let board = compare(&player()?, &trace.display().to_string(), &settings, &inputs)?;
    for verdict in emulator::decode(&board)? {
        println!("{:>14} µs  {:?}", verdict.at.get(), verdict.change);
    }
    if let Some(out) = out {
        std::fs::write(out, &board).with_context(|| format!("writing {}", out.display()))?;
    }
    Ok(())
}

/// Compare on the built-in legs, on the demo, on recordings of real wheels where they are at hand, and on the traces of
/// `folders`.
pub fn run(folders: &[PathBuf]) -> Result<()> {
    let player = player()?;
    let settings = leg::settings();
    compare(&player, "a healthy leg", &settings, &leg::running(&settings, 120))?;
    compare(&player, "a leg with everything wrong", &settings, &leg::rough(&settings, 300))?;
    compare(&player, demo::NAME, &settings, &demo_inputs(&settings)?)?;
    let recordings = slackside_tests::recordings::folder();
    let mut played = 3;
    for folder in folders.iter().chain(&recordings) {
        for trace in traces(folder)? {
            let settings = settings_beside(&trace)?;
            compare(&player, &name_of(&trace), &settings, &read_trace(&trace)?)?;
            played += 1;
        }
    }
    println!("{played} traces, desk and emulated board alike to the last byte");
    Ok(())
}

fn name_of(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().into_owned()
}

/// The traces of a folder, in the order of their names.
fn traces(folder: &Path) -> Result<Vec<PathBuf>> {
    let entries = std::fs::read_dir(folder).with_context(|| format!("reading the folder {}", folder.display()))?;
    let mut traces = Vec::new();
    for entry in entries {
        let path = entry?.path();
        if path.extension().is_some_and(|extension| extension == "csv") {
            traces.push(path);
        }
    }
    traces.sort();
    Ok(traces)
}

/// The settings of a trace: `NAME.toml` beside it, else the folder's `leg.toml`, else the example leg's.
fn settings_beside(trace: &Path) -> Result<Checked> {
    let own = trace.with_extension("toml");
    let common = trace.with_file_name("leg.toml");
    match [own, common].into_iter().find(|path| path.exists()) {
        Some(path) => read_settings(&path),
        None => Ok(leg::settings()),
    }
}

/// The leg and its trace; the example leg and the demo where none is named.
pub fn leg_and_trace(trace: Option<&Path>, settings: Option<&Path>) -> Result<(Checked, Vec<Input>)> {
    let settings = settings.map_or_else(|| Ok(leg::settings()), read_settings)?;
    let inputs = match trace {
        Some(trace) => read_trace(trace)?,
        None => demo_inputs(&settings)?,
    };
    Ok((settings, inputs))
}

fn read_settings(path: &Path) -> Result<Checked> {
    Ok(settings::read(path)?.checked)
}

fn read_trace(path: &Path) -> Result<Vec<Input>> {
    all(Reader::open(path)?)
}

fn demo_inputs(settings: &Checked) -> Result<Vec<Input>> {
    all(Reader::from_read(demo::NAME, std::io::Cursor::new(demo::trace(settings)))?)
}

fn all(mut reader: Reader) -> Result<Vec<Input>> {
    let (mut inputs, mut batch) = (Vec::new(), Vec::new());
    while reader.read_batch(&mut batch)? {
        inputs.append(&mut batch);
    }
    Ok(inputs)
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
