//! The events file: one row for each verdict.

use std::io::{self, Write};
use std::path::Path;

use slackside::judge::{AlarmState, Condition};
use slackside::settings::Limits;
use slackside::verdict::{Change, Verdict};

use super::names::{action_name, change_name, write_value};
use crate::outputs::Whole;

/// The first line of every events file.
pub const EVENTS_HEADER: &str = "time_us,condition,change,value,setpoint,action";

/// Writes the events file, all or nothing.
pub struct EventsCsv {
    file: Whole,
    row: Vec<u8>,
    limits: Limits,
}

impl EventsCsv {
    /// Begin the file at `path`.
    ///
    /// # Errors
    /// The directory cannot be written to.
    pub fn create(path: &Path, limits: &Limits) -> io::Result<Self> {
        let mut file = Whole::create(path)?;
        file.write_all(EVENTS_HEADER.as_bytes())?;
        file.write_all(b"\n")?;
        Ok(Self { file, row: Vec::with_capacity(128), limits: limits.clone() })
    }

    /// Append a row.
    ///
    /// # Errors
    /// The disk is full or gone.
    pub fn write(&mut self, verdict: &Verdict) -> io::Result<()> {
        self.row.clear();
        write_event(verdict, &self.limits, &mut self.row)?;
        self.file.write_all(&self.row)
    }

    /// Put the finished file in its place.
    ///
    /// # Errors
    /// The disk is full or gone.
    pub fn finish(self) -> io::Result<()> {
        self.file.finish()
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
