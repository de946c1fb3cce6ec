//! One row: an input as text, and text as an input. Exact both ways.

use slackside::input::{ContactState, Input, LineState, Shaft, Signal};
use slackside::units::{DeciCelsius, Ppm, Watts};

use super::channel::Channel;
use super::command::{parse_command, write_command};
use super::error::Wrong;
use super::number::{parse_decimal, write_decimal};

/// The first line of every trace.
pub const HEADER: &str = "time_us,channel,value";

/// Append the row of `input` with its line end.
pub fn write_row(input: &Input, out: &mut Vec<u8>) {
    let channel = Channel::of(&input.signal);
    write_time(input.at.get(), out);
    out.push(b',');
    out.extend_from_slice(channel.name().as_bytes());
    out.push(b',');
    match input.signal {
        Signal::Edge(_, level) => out.push(flag(level)),
        Signal::Line(_, state) => out.push(match state {
            LineState::Sound => b'0',
            LineState::Open => b'1',
            LineState::Shorted => b'2',
        }),
        Signal::EdgesLost(Shaft::Head) => out.extend_from_slice(b"head"),
        Signal::EdgesLost(Shaft::Boot) => out.extend_from_slice(b"boot"),
        Signal::Contact(_, state) => out.push(match state {
            ContactState::Clear => b'0',
            ContactState::Rubbing => b'1',
            ContactState::Faulty => b'2',
        }),
        Signal::Temperature(_, tenths) => write_decimal(i64::from(tenths.get()), 1, out),
        Signal::DriveRunning(on) | Signal::OutletPlugged(on) => out.push(flag(on)),
        Signal::DrivePower(power) => write_decimal(i64::from(power.get()), 0, out),
        Signal::SpeedReference(reference) => write_decimal(i64::from(reference.get()), 4, out),
        Signal::Command(origin, command) => write_command(origin, command, out),
        Signal::Tick => out.push(b'0'),
    }
    out.push(b'\n');
}

const fn flag(on: bool) -> u8 {
    if on { b'1' } else { b'0' }
}

fn write_time(time: u64, out: &mut Vec<u8>) {
    let mut figures = [b'0'; 20];
    let mut at = figures.len();
    let mut rest = time;
    loop {
        at -= 1;
        // A remainder of ten fits any byte.
        figures[at] = b'0' + (rest % 10) as u8;
        rest /= 10;
        if rest == 0 {
            break;
        }
    }
    out.extend_from_slice(&figures[at..]);
}

/// What `text` says on `channel`.
///
/// # Errors
/// The value is not one that the channel may have.
pub fn parse_value(channel: Channel, text: &str) -> Result<Signal, Wrong> {
    match channel {
        Channel::Edge(shaft) => {
            two(channel, text, "1 for a rise, 0 for a fall").map(|level| Signal::Edge(shaft, level))
        }
        Channel::Line(shaft) => match text {
            "0" => Ok(Signal::Line(shaft, LineState::Sound)),
            "1" => Ok(Signal::Line(shaft, LineState::Open)),
            "2" => Ok(Signal::Line(shaft, LineState::Shorted)),
            _ => Err(no_value(channel, text, "0 for sound, 1 for open, 2 for shorted")),
        },
        Channel::Rub(place) => match text {
            "0" => Ok(Signal::Contact(place, ContactState::Clear)),
            "1" => Ok(Signal::Contact(place, ContactState::Rubbing)),
            "2" => Ok(Signal::Contact(place, ContactState::Faulty)),
            _ => Err(no_value(channel, text, "0 for clear, 1 for rubbing, 2 for faulty")),
        },
        Channel::Temperature(place) => whole(channel, text, 1, "degrees Celsius from -3276.8 to 3276.7, such as 41.5")
            .map(|tenths| Signal::Temperature(place, DeciCelsius::new(tenths))),
        Channel::Drive => two(channel, text, "1 for on, 0 for off").map(Signal::DriveRunning),
        Channel::Power => whole(channel, text, 0, "watts from 0 to 4294967295, such as 18500")
            .map(|watts| Signal::DrivePower(Watts::new(watts))),
        Channel::SpeedReference => {
            whole(channel, text, 4, "per cent of normal operating speed from -214748 to 214748, such as 85")
                .map(|ppm| Signal::SpeedReference(Ppm::new(ppm)))
        }
        Channel::OutletPlugged => two(channel, text, "1 for plugged, 0 for free").map(Signal::OutletPlugged),
        Channel::Command => parse_command(text).map(|(origin, command)| Signal::Command(origin, command)),
        Channel::EdgesLost => match text {
            "head" => Ok(Signal::EdgesLost(Shaft::Head)),
            "boot" => Ok(Signal::EdgesLost(Shaft::Boot)),
            _ => Err(no_value(channel, text, "`head` or `boot`: the shaft whose edges were lost")),
        },
        Channel::Tick => match text {
            "0" => Ok(Signal::Tick),
            _ => Err(no_value(channel, text, "0")),
        },
    }
}

fn two(channel: Channel, text: &str, expected: &str) -> Result<bool, Wrong> {
    match text {
        "0" => Ok(false),
        "1" => Ok(true),
        _ => Err(no_value(channel, text, expected)),
    }
}

fn whole<T: TryFrom<i64>>(channel: Channel, text: &str, places: u32, expected: &str) -> Result<T, Wrong> {
    parse_decimal(text, places)
        .and_then(|value| T::try_from(value).ok())
        .ok_or_else(|| no_value(channel, text, expected))
}

fn no_value(channel: Channel, text: &str, expected: &str) -> Wrong {
    let problem = if text.is_empty() {
        format!("`{}` has no value", channel.name())
    } else {
        format!("`{text}` is no value of `{}`", channel.name())
    };
    Wrong { problem, mend: format!("write {expected}") }
}
