//! The core under RTIC and under Embassy, on the emulated board: the demo turns the leg, each input at its moment, and the verdicts must be
//! the desk's to the byte.

use std::path::Path;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail, ensure};
use slackside::input::Input;
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::verdict::{Change, Permit};

use crate::board::{Emulator, Pace, Run, build};
use crate::emulator::decode;
use crate::parity::{difference, leg_and_trace};
use crate::trace::desk_stream;

/// Each with its feature.
const IMAGES: [(&str, &str); 2] = [("leg-rtic", "rtic"), ("leg-embassy", "embassy")];
/// Only against an emulator that hangs.
const PATIENCE: Duration = Duration::from_secs(300);
/// The relay falls in the round that hears the verdict: the images serve their relays every 5 ms and at each deadline.
const PROMPT_US: u64 = 5_000;

/// Build both, and hold what they did against the desk.
pub fn run() -> Result<()> {
    let (settings, inputs) = leg_and_trace(None, None)?;
    for (image, features) in IMAGES {
        hold(&build(image, features)?, &settings, &inputs).with_context(|| image.to_owned())?;
    }
    Ok(())
}

fn hold(image: &Path, settings: &Checked, inputs: &[Input]) -> Result<()> {
    let begun = Instant::now();
    let mut emulator = Run::new(image, settings, inputs, Pace::Slow).start()?;
    ends_well(&mut emulator)?;
    let (desk, board) = (desk_stream(settings, inputs)?, emulator.file("verdicts.bin"));
    ensure!(board == desk, "{}", difference(&desk, &board));
    let verdicts = decode(&board)?;
    let dropped = verdicts.iter().rev().find_map(|verdict| match verdict.change {
        Change::Permit { permit: Permit::Run, allowed: false, because } => Some((verdict.at.get(), because)),
        _ => None,
    });
    let (at, because) = dropped.context("the demo does not stop the leg")?;
    let fell = emulator.file("fell.bin").try_into().map(u64::from_le_bytes);
    let fell = fell.ok().context("the board does not tell when its run relay fell")?;
    ensure!(
        (at..=at + PROMPT_US).contains(&fell),
        "the run permit was dropped at {at} µs, and the relay fell at {fell} µs"
    );
    let kept = Retained::from_image(&emulator.file("kept.bin"));
    ensure!(kept.is_ok_and(|kept| kept.first_out() == because), "what is to outlive power does not know of the trip");
    println!(
        "{}: {} inputs, {} verdicts, all the desk's; the run relay falls {} µs after the verdict ({because:?}), in {:.1} s",
        image.file_name().unwrap_or_default().display(),
        inputs.len(),
        verdicts.len(),
        fell - at,
        begun.elapsed().as_secs_f64()
    );
    Ok(())
}

fn ends_well(emulator: &mut Emulator) -> Result<()> {
    let begun = Instant::now();
    while begun.elapsed() < PATIENCE {
        match emulator.ended()? {
            Some(status) if status.success() => return Ok(()),
            Some(status) => {
                bail!("it ended badly: {status} (3: the watchdog, 4: a fault, 5: an interrupt nobody answers)")
            }
            None => std::thread::sleep(Duration::from_millis(20)),
        }
    }
    bail!("it did not end within {} s", PATIENCE.as_secs())
}
