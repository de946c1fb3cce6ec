//! A trace as a value change dump (IEEE 1364 clause 18), for programs that draw waveforms: written by the library `vcd`.
//!
//! A channel that says two things is a wire, any other a real number with the value that a trace has. What happened at a moment without
//! lasting, commands and lost edges, has no place in a dump; ticks tell nothing there.

use std::io;

use slackside::input::{ContactState, Input, LineState, Signal};
use vcd::{IdCode, TimescaleUnit, VarType, Writer};

use super::channel::Channel;

/// A dump, and how many inputs have no place in it.
#[derive(Clone, Debug)]
pub struct Dump {
    /// The file.
    pub bytes: Vec<u8>,
    /// Commands and lost edges.
    pub left_out: usize,
}

/// What a channel says from now on.
enum Says {
    Level(bool),
    Number(f64),
}

/// Dump inputs in the order of time.
///
/// # Errors
/// None that memory does not make.
pub fn dump(inputs: &[Input]) -> io::Result<Dump> {
    let mut bytes = Vec::new();
    let mut writer = Writer::new(&mut bytes);
    writer.version("slackside")?;
    writer.timescale(1, TimescaleUnit::US)?;
    writer.add_module("leg")?;
    let mut codes: [Option<IdCode>; Channel::COUNT] = [None; Channel::COUNT];
    for input in inputs {
        let channel = Channel::of(&input.signal);
        let (Some(says), code @ None) = (says(&input.signal), &mut codes[channel.index()]) else { continue };
        *code = Some(match says {
            Says::Level(_) => writer.add_wire(1, channel.name())?,
            Says::Number(_) => writer.add_var(VarType::Real, 64, channel.name(), None)?,
        });
    }
    writer.upscope()?;
    writer.enddefinitions()?;
    let (mut left_out, mut newest) = (0, None);
    for input in inputs {
        if newest != Some(input.at) {
            writer.timestamp(input.at.get())?;
            newest = Some(input.at);
        }
        match (says(&input.signal), codes[Channel::of(&input.signal).index()]) {
            (Some(Says::Level(high)), Some(code)) => writer.change_scalar(code, high)?,
            (Some(Says::Number(value)), Some(code)) => writer.change_real(code, value)?,
            _ => left_out += usize::from(input.signal != Signal::Tick),
        }
    }
    Ok(Dump { bytes, left_out })
}

fn says(signal: &Signal) -> Option<Says> {
    Some(match *signal {
        Signal::Edge(_, level) => Says::Level(level),
        Signal::DriveRunning(on) => Says::Level(on),
        Signal::OutletPlugged(plugged) => Says::Level(plugged),
        Signal::Line(_, state) => Says::Number(match state {
            LineState::Sound => 0.0,
            LineState::Open => 1.0,
            LineState::Shorted => 2.0,
        }),
        Signal::Contact(_, state) => Says::Number(match state {
            ContactState::Clear => 0.0,
            ContactState::Rubbing => 1.0,
            ContactState::Faulty => 2.0,
        }),
        Signal::Temperature(_, temperature) => Says::Number(f64::from(temperature.get()) / 10.0),
        Signal::DrivePower(power) => Says::Number(power.get().into()),
        Signal::SpeedReference(reference) => Says::Number(f64::from(reference.get()) / 1e4),
        Signal::EdgesLost(_) | Signal::Command(..) | Signal::Tick => return None,
    })
}
