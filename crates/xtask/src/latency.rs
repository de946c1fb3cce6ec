//! How late edges are stamped on the emulated box, with the link quiet and with the link flooded: it must make no difference.
//!
//! A timer of the board rings when an edge falls due; the interrupt reads a free-running clock first of all. The emulator counts
//! instructions, 16 ns each, so the figures are the same on every computer. It does not imitate the pipeline: what is shown is
//! that no work on the link ever holds the edges' interrupt up, not how many cycles a processor needs to enter it.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail, ensure};
use slackside::wire::{MOST_FRAME, Request, Window, encode};

use crate::board::{BOX, Emulator, LOG, Pace, Run, build};
use crate::log::Words;
use crate::trace::leg;

/// Edges of a run: some 27 s of the example leg, its start among them. An emulator under a flood is slow: it takes every byte by itself.
const EDGES: u32 = 100;
/// Seconds of the trace: more than the edges need.
const SECONDS: u64 = 60;
/// Only against an emulator that hangs: a slow computer needs minutes.
const PATIENCE: Duration = Duration::from_secs(1_200);
/// One count of the board's clock, ns.
const COUNT_NS: f64 = 40.0;

/// What goes down the link.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Flood {
    Quiet,
    Garbage,
    Requests,
}

/// What came of a run.
#[derive(Clone, Copy)]
struct Figures {
    edges: u32,
    least: u32,
    most: u32,
    total: u32,
    received: u32,
    /// By the box's own clock.
    seconds: f64,
}

/// Measure, compare, and see a planted mask found.
pub fn run() -> Result<()> {
    let image = build(BOX, "")?;
    let words = Words::of(&image)?;
    let mut quiet = None;
    println!("link        edges  least ns  mean ns  most ns  bytes received  bytes a second");
    for flood in [Flood::Quiet, Flood::Garbage, Flood::Requests] {
        let figures = measure(&image, &words, flood)?;
        print(&format!("{flood:?}"), &figures);
        let quiet = *quiet.get_or_insert(figures);
        compare(flood, &quiet, &figures)?;
    }
    let planted = build(BOX, "plant-mask")?;
    let figures = measure(&planted, &Words::of(&planted)?, Flood::Requests)?;
    print("planted", &figures);
    let Some(quiet) = quiet else { bail!("nothing was measured") };
    ensure!(
        compare(Flood::Requests, &quiet, &figures).is_err(),
        "a main loop that takes its turn with interrupts off was not found: the measurement proves nothing"
    );
    println!(
        "A flood of the link changes the edges' latency by nothing; a planted mask ({} ns) is found.",
        ns(figures.most)
    );
    Ok(())
}

fn ns(counts: u32) -> f64 {
    f64::from(counts) * COUNT_NS
}

fn print(flood: &str, figures: &Figures) {
    let Figures { edges, least, most, total, received, seconds } = *figures;
    println!(
        "{flood:<10} {edges:>6}  {:>8.0}  {:>7.0}  {:>7.0}  {received:>14}  {:>14.0}",
        ns(least),
        ns(total) / f64::from(edges.max(1)),
        ns(most),
        f64::from(received) / seconds
    );
}

fn compare(flood: Flood, quiet: &Figures, figures: &Figures) -> Result<()> {
    // How much gets through is up to the computer that emulates; that it is enough to show something, the planted mask shows.
    ensure!(flood == Flood::Quiet || figures.received > 0, "{flood:?}: nothing reached the box");
    ensure!(
        figures.most == quiet.most,
        "{flood:?}: an edge was stamped {:.0} ns late, with the link quiet {:.0} ns at most",
        ns(figures.most),
        ns(quiet.most)
    );
    Ok(())
}

fn measure(image: &std::path::Path, words: &Words, flood: Flood) -> Result<Figures> {
    let settings = leg::settings();
    let inputs = leg::running(&settings, SECONDS);
    let mut emulator = Run { edges: Some(EDGES), ..Run::new(image, &settings, &inputs, Pace::Dense) }.start()?;
    let line = connect(&emulator)?;
    let begun = Instant::now();
    let sent = std::thread::scope(|scope| -> Result<()> {
        if flood != Flood::Quiet {
            // Ended by the end of the connection.
            scope.spawn(|| pour(flood, &line));
            scope.spawn(|| swallow(&line));
        }
        let ended = loop {
            if let Some(status) = emulator.ended()? {
                break Ok(status);
            }
            if begun.elapsed() > PATIENCE {
                break Err(anyhow::anyhow!("{flood:?}: no end within {} s", PATIENCE.as_secs()));
            }
            std::thread::sleep(Duration::from_millis(20));
        };
        let _ = line.shutdown(std::net::Shutdown::Both);
        ensure!(ended?.success(), "{flood:?}: the emulated box stopped: {:?}", words.tell(&emulator.file(LOG))?.last());
        Ok(())
    });
    sent?;
    let bytes = emulator.file("figures.bin");
    let numbers: Vec<u32> =
        bytes.chunks_exact(4).filter_map(|four| Some(u32::from_le_bytes(four.try_into().ok()?))).collect();
    let [edges, least, most, total, received] = numbers[..] else { bail!("the box left no figures") };
    ensure!(edges >= EDGES, "only {edges} edges were measured");
    // When its last edge came: the trace says.
    let last = inputs
        .iter()
        .filter(|input| matches!(input.signal, slackside::input::Signal::Edge(..)))
        .nth(edges as usize)
        .context("the trace is too short")?;
    Ok(Figures { edges, least, most, total, received, seconds: last.at.get() as f64 / 1e6 })
}

fn connect(emulator: &Emulator) -> Result<TcpStream> {
    let begun = Instant::now();
    loop {
        match TcpStream::connect(("127.0.0.1", emulator.port)) {
            Ok(line) => return Ok(line),
            Err(error) if begun.elapsed() > Duration::from_secs(20) => return Err(error.into()),
            Err(_) => std::thread::sleep(Duration::from_millis(50)),
        }
    }
}

/// Send without a pause until the other end is gone.
fn pour(flood: Flood, mut line: &TcpStream) {
    let bytes = match flood {
        Flood::Requests => requests(),
        _ => garbage(),
    };
    while line.write_all(&bytes).is_ok() {}
}

/// Take the answers, so that none of them blocks.
fn swallow(mut line: &TcpStream) {
    let mut buffer = [0; 4096];
    while line.read(&mut buffer).is_ok_and(|count| count > 0) {}
}

/// Noise with a zero now and then, so that frames end and are looked at.
fn garbage() -> Vec<u8> {
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    (0..4096)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            if state & 0x3F00 == 0 { 0 } else { state as u8 }
        })
        .collect()
}

/// Requests that make the box work: status, events, recordings, the plan.
fn requests() -> Vec<u8> {
    let asked = [
        Request::Status,
        Request::Box,
        Request::Events { after: 0 },
        Request::Recording { position: 0 },
        Request::Read { window: Window::Plan, offset: 0 },
        Request::Hello,
    ];
    let mut bytes = Vec::new();
    for (number, request) in (0..).zip(&asked) {
        let mut room = [0; MOST_FRAME];
        bytes.extend_from_slice(encode(number, request, &mut room).unwrap_or(&[]));
    }
    bytes
}
