//! The events file: one row for each verdict.

use std::io::{self, Write};

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::settings::Limits;
use slackside::verdict::{Change, Verdict};

use super::names::{action_name, change_name, write_value};

/// The first line of every events file.
pub const EVENTS_HEADER: &str = "time_us,condition,change,value,setpoint,action";

/// Writes the rows of an events file.
pub struct EventsCsv<'a> {
    out: &'a mut dyn Write,
    row: Vec<u8>,
    limits: Limits,
}

impl<'a> EventsCsv<'a> {
    /// Begin with the header.
    ///
    /// # Errors
    /// `out` takes nothing.
    pub fn begin(out: &'a mut dyn Write, limits: &Limits) -> io::Result<Self> {
        out.write_all(EVENTS_HEADER.as_bytes())?;
        out.write_all(b"\n")?;
        Ok(Self { out, row: Vec::with_capacity(128), limits: limits.clone() })
    }

    /// Append a row.
    ///
    /// # Errors
    /// It takes no more.
    pub fn write(&mut self, verdict: &Verdict) -> io::Result<()> {
        self.row.clear();
        write_event(verdict, &self.limits, &mut self.row)?;
        self.out.write_all(&self.row)
    }
}

/// The condition a change is about, if one.
pub fn condition_of(change: &Change) -> Option<Condition> {
    match change {
        Change::Alarm { condition, .. } => Some(*condition),
        Change::Permit { because, .. } => *because,
        Change::FirstOut(condition) => *condition,
        _ => None,
    }
}

fn write_event(verdict: &Verdict, limits: &Limits, row: &mut Vec<u8>) -> io::Result<()> {
    let condition = condition_of(&verdict.change);
    write!(row, "{},{},{}", verdict.at.get(), condition.map_or("", Condition::name), change_name(&verdict.change))?;
    if let Change::Alarm { condition, to, value, setpoint, .. } = verdict.change {
        row.push(b',');
        if let Some(value) = value {
            write_value(condition.unit(), value, row);
        }
        row.push(b',');
        write_value(condition.unit(), setpoint, row);
        row.push(b',');
        if to == AlarmState::Unacknowledged {
            row.extend_from_slice(action_name(limits.of(condition).action).as_bytes());
        }
    } else {
        row.extend_from_slice(b",,,");
    }
    row.push(b'\n');
    Ok(())
}
