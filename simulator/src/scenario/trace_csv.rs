//! The trace as CSV: `time_us,channel,value`.

use std::io::{self, Write};

use slackside::input::{Command, ContactState, Input, LineState, Place, Shaft, Signal};

/// The first line.
pub const HEADER: &str = "time_us,channel,value";

const RUB: [&str; Place::COUNT] = ["rub_head_left", "rub_head_right", "rub_boot_left", "rub_boot_right"];
const TEMP: [&str; Place::COUNT] = ["temp_head_left_c", "temp_head_right_c", "temp_boot_left_c", "temp_boot_right_c"];

/// Write one input.
///
/// # Errors
/// The file cannot be written.
pub fn write_row(input: &Input, out: &mut impl Write) -> io::Result<()> {
    let at = input.at.get();
    let shaft = |shaft| if shaft == Shaft::Head { "head" } else { "boot" };
    match input.signal {
        Signal::Edge(which, level) => writeln!(out, "{at},{},{}", shaft(which), u8::from(level)),
        Signal::Line(which, state) => {
            let code = match state {
                LineState::Sound => 0,
                LineState::Open => 1,
                LineState::Shorted => 2,
            };
            writeln!(out, "{at},{}_line,{code}", shaft(which))
        }
        Signal::Contact(place, state) => {
            let code = match state {
                ContactState::Clear => 0,
                ContactState::Rubbing => 1,
                ContactState::Faulty => 2,
            };
            writeln!(out, "{at},{},{code}", RUB[place.index()])
        }
        Signal::Temperature(place, tenths) => {
            let sign = if tenths.get() < 0 { "-" } else { "" };
            let size = tenths.get().unsigned_abs();
            writeln!(out, "{at},{},{sign}{}.{}", TEMP[place.index()], size / 10, size % 10)
        }
        Signal::DriveRunning(on) => writeln!(out, "{at},drive,{}", u8::from(on)),
        Signal::DrivePower(power) => writeln!(out, "{at},power_w,{}", power.get()),
        Signal::SpeedReference(ppm) => {
            writeln!(out, "{at},speed_reference_pct,{}.{:04}", ppm.get() / 10_000, ppm.get().unsigned_abs() % 10_000)
        }
        Signal::OutletPlugged(plugged) => writeln!(out, "{at},outlet_plugged,{}", u8::from(plugged)),
        Signal::Command(_, Command::Acknowledge) => writeln!(out, "{at},command,acknowledge"),
        Signal::Command(_, Command::Reset) => writeln!(out, "{at},command,reset"),
        Signal::Command(_, Command::BootCleared) => writeln!(out, "{at},command,boot_cleared"),
        // The simulator gives nothing else.
        Signal::Command(..) | Signal::EdgesLost(_) | Signal::Tick => Ok(()),
    }
}
