//! The whole box on the emulated board, its link on a TCP port of this computer, its log decoded.

use std::path::Path;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail, ensure};
use slackside::settings::Checked;
use slackside::verdict::{Change, Permit};
use slackside_desk::monitor::plan_of;
use slackside_desk::recording::{About, MadeUnder, Recording, prove};
use slackside_simulator::box_client::{Client, anchor, fetch, read_plan, recordings};

use crate::board::{BOX, LOG, PLANT, Pace, Run, build};
use crate::log::Words;
use crate::masters::{self, ADDRESS, BITS_A_SECOND};
use crate::{parity, service};

/// The share of its memory that the board's stack may use. It is deepest while the box is built, 54 % of it, and goes no deeper after that.
const MOST_STACK: f64 = 0.6;
/// What the board ends with when its watchdog calls for help.
pub const CALLED: i32 = 3;
/// A fault planted in the program.
struct Planted {
    /// How to ask for it.
    plant: u8,
    what: &'static str,
    /// What the board says it was ended by.
    told: u8,
    /// Whether the coils were still on as that was called.
    found_on: bool,
    /// How the coils came off.
    off: &'static str,
}

const PLANTED: [Planted; 9] = {
    const fn ended(plant: u8, what: &'static str, told: u8) -> Planted {
        Planted { plant, what, told, found_on: false, off: "before the watchdog called" }
    }
    const fn clocks(plant: u8, what: &'static str) -> Planted {
        Planted { plant, what, told: 5, found_on: true, off: "by the box, which goes on" }
    }
    [
        Planted { plant: b'l', what: "a main loop that stands still", told: 0, found_on: true, off: "by the watchdog" },
        ended(b'p', "a panic", 1),
        ended(b'f', "a fault of the processor", 2),
        ended(b'o', "a stack that outgrows its memory", 2),
        ended(b'd', "a stack that goes into its reserve", 3),
        clocks(b's', "a second clock that is 28 % slow"),
        clocks(b'q', "a second clock that is 28 % fast"),
        clocks(b'h', "a second clock that stands"),
        Planted {
            plant: b'w',
            what: "a watchdog outside that stays closed",
            told: 5,
            found_on: false,
            off: "from the beginning: the box proves it before a start",
        },
    ]
};
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
    service::type_a_key(&image, settings)?;
    planted(settings, inputs)
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

/// Whatever the program does, the coils are off: by whatever was called first, and by the watchdog where nothing was.
fn planted(settings: &Checked, inputs: &[slackside::input::Input]) -> Result<()> {
    let image = build(BOX, PLANT)?;
    for Planted { plant, what, told: by, found_on, off } in PLANTED {
        let mut emulator = Run { plant: Some(plant), ..Run::new(&image, settings, inputs, Pace::Hurry) }.start()?;
        let begun = Instant::now();
        let status = loop {
            if let Some(status) = emulator.ended()? {
                break status;
            }
            ensure!(begun.elapsed() < PATIENCE, "{what} was not ended by the watchdog");
            std::thread::sleep(Duration::from_millis(100));
        };
        ensure!(status.code() == Some(CALLED), "{what} ended the board otherwise: {status}");
        let ended = emulator.file("ended.bin");
        let &[told, a, b, c, ref left @ ..] = &ended[..] else { bail!("{what}: the board told {ended:?}") };
        let found = [a, b, c];
        ensure!(told == by, "{what}: the board was ended by {told}, not by {by}");
        ensure!(left == [0; 3], "{what}: the coils were left at {left:?}");
        // All three were on at that time where nothing was wrong before, as the loop that stands still shows.
        let on = [u8::from(found_on); 3];
        ensure!(found == on, "{what}: the coils were found at {found:?}, not {on:?}");
        println!("Planted: {what}; the coils were off {off}.");
    }
    Ok(())
}
