//! The whole box on the emulated board, its link on a TCP port of this computer, its log decoded.

use std::path::Path;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail, ensure};
use slackside::settings::Checked;
use slackside::verdict::{Change, Permit};
use slackside_desk::monitor::plan_of;
use slackside_desk::recording::{About, MadeUnder, Recording, prove};
use slackside_simulator::box_client::{Client, anchor, fetch, read_plan, recordings};

use crate::board::{BOX, LOG, Pace, Run, build};
use crate::log::Words;
use crate::masters::{self, ADDRESS, BITS_A_SECOND};
use crate::parity;

/// The share of its memory that the board's stack may use. It is deepest while the box is built, 54 % of it, and goes no deeper after that.
const MOST_STACK: f64 = 0.6;
/// What the board ends with when its watchdog calls for help.
const STALLED: i32 = 3;
/// How long the check may wait for the recording.
const PATIENCE: Duration = Duration::from_secs(300);

/// Start the box and leave it running until interrupted, or check that the same microsecond is on both sides.
pub fn run(trace: Option<&Path>, settings: Option<&Path>, port: u16, check: bool) -> Result<()> {
    let (settings, inputs) = parity::leg_and_trace(trace, settings)?;
    if check {
        return same_microsecond(&settings, &inputs);
    }
    let image = build(BOX, "")?;
    let words = Words::of(&image)?;
    let mut emulator = Run { modbus: true, ..Run::new(&image, &settings, &inputs, Pace::Day) }.start()?;
    emulator.serve_link(port)?;
    println!("The emulated box's link is on 127.0.0.1:{port}; interrupt to end it.");
    println!(
        "Modbus RTU: unit {ADDRESS} on {}, {BITS_A_SECOND} bits a second. These registers show; no PLC may run or stop a leg by them.",
        emulator.modbus()?.display()
    );
    println!("Its log:");
    let mut told = 0;
    loop {
        let lines = words.tell(&emulator.file(LOG))?;
        lines.iter().skip(told).for_each(|line| println!("{line}"));
        told = lines.len();
        if let Some(status) = emulator.ended()? {
            ensure!(status.success(), "QEMU ended: {status}");
            return Ok(());
        }
        std::thread::sleep(Duration::from_millis(300));
    }
}

fn same_microsecond(settings: &Checked, inputs: &[slackside::input::Input]) -> Result<()> {
    let image = build(BOX, "")?;
    let words = Words::of(&image)?;
    let emulator = Run::new(&image, settings, inputs, Pace::Hurry).start()?;
    let begun = Instant::now();
    let mut client = Client::new(emulator.connect()?);
    anchor(&mut client)?;
    let info = loop {
        if let Some(info) = recordings(&mut client)?.first() {
            break *info;
        }
        ensure!(
            begun.elapsed() < PATIENCE,
            "no recording within {} s: did the trace trip the leg?",
            PATIENCE.as_secs()
        );
        std::thread::sleep(Duration::from_millis(100));
    };
    let fetched = fetch(&mut client, info, &mut |_| {})?;
    ensure!(fetched.whole, "the recording came through damaged");
    let recording = Recording::new("fetched", About::default(), MadeUnder::default(), fetched.bytes);
    let under = read_plan(&mut client)?;
    ensure!(under == settings.plan(), "the box has another plan than it was given");
    let run = recording.runs().last().context("nothing to replay")?;
    let proof = prove(run, &plan_of(settings));
    println!("{proof}");
    ensure!(
        proof.disagreed.is_none() && proof.no_claim.is_none() && proof.agreed > 0,
        "the desk disagrees with the box"
    );
    let tripped = proof.verdicts.iter().find_map(|verdict| match verdict.change {
        Change::Permit { permit: Permit::Run, allowed: false, because } => Some((verdict.at, because)),
        _ => None,
    });
    let Some((at, because)) = tripped else { bail!("the replay does not trip") };
    let board = (info.tripped_at, info.first_out);
    ensure!((at, because) == board, "the desk trips at {at:?} ({because:?}), the box at {board:?}");
    let lines = words.tell(&emulator.file(LOG))?;
    let known = format!("run permit dropped, first out {because:?}");
    ensure!(
        lines.iter().any(|line| line.ends_with(&known)),
        "the box's log does not say \"{known}\" when decoded; it says:\n{}",
        lines.join("\n")
    );
    lines.iter().for_each(|line| println!("log: {line}"));
    bounded_stack(&lines)?;
    println!("Box and desk trip at the same microsecond: {} ({because:?})", at.get());
    // The emulator has ended with its link.
    drop((client, emulator));
    masters::read(&image, settings, inputs)?;
    stalled_loop(settings, inputs)
}

/// The stack's depth, as the log tells it, against its memory.
fn bounded_stack(lines: &[String]) -> Result<()> {
    let told = lines.iter().filter_map(|line| line.split_once("stack ")?.1.strip_suffix(" bytes")?.split_once(" of "));
    let mut depths = told.filter_map(|(used, room)| Some((used.parse::<f64>().ok()?, room.parse::<f64>().ok()?)));
    let (used, room) = depths.next_back().context("the log does not tell how deep the stack went")?;
    println!("The board's stack went {used} bytes deep, of {room}.");
    ensure!(used <= room * MOST_STACK, "the stack went {used} bytes deep, more than {MOST_STACK} of its {room}");
    Ok(())
}

/// A main loop that stands still is ended by the watchdog, its coils off.
fn stalled_loop(settings: &Checked, inputs: &[slackside::input::Input]) -> Result<()> {
    let image = build(BOX, "plant-stall")?;
    let mut emulator = Run::new(&image, settings, inputs, Pace::Hurry).start()?;
    let begun = Instant::now();
    let status = loop {
        if let Some(status) = emulator.ended()? {
            break status;
        }
        ensure!(begun.elapsed() < PATIENCE, "a main loop that stands still was not ended by the watchdog");
        std::thread::sleep(Duration::from_millis(100));
    };
    let coils = emulator.file("stalled.bin");
    ensure!(status.code() == Some(STALLED), "the planted stall ended the board otherwise: {status}");
    ensure!(coils == [0; 3], "the coils were not off when the watchdog called for help: {coils:?}");
    println!("A planted stall of the main loop is ended by the watchdog, its coils off.");
    Ok(())
}
