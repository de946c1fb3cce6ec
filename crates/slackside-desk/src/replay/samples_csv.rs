//! The samples file: one row for each change of the motion.

use std::io::{self, Write};

use slackside::input::Place;
use slackside::motion::SlipReading;
use slackside::settings::Checked;
use slackside::units::{MicroturnsPerSecond, Ppm, Span};

use super::pace::Every;
use super::sample::{ContactSample, Sample};
use crate::trace::{write_fixed, write_unsigned};

/// The first line of every samples file. An empty cell is "not known", never zero.
pub const SAMPLES_HEADER: &str = "time_us,head_rpm,boot_rpm,belt_speed_mps,slip_short_pct,slip_long_pct,\
underspeed_pct,slip_heat_pct,head_left_dwell_s,head_left_duty_pct,head_right_dwell_s,head_right_duty_pct,\
boot_left_dwell_s,boot_left_duty_pct,boot_right_dwell_s,boot_right_duty_pct,slip_short_at_least,slip_long_at_least";

/// Writes the rows of a samples file.
pub struct SamplesCsv<'a> {
    out: &'a mut dyn Write,
    row: Vec<u8>,
    /// The contacts as they were written last, and how.
    contacts: Option<[ContactSample; Place::COUNT]>,
    of_contacts: Vec<u8>,
    every: Span,
    heat_known: bool,
}

impl<'a> SamplesCsv<'a> {
    /// Begin with the header; then a row at most `every` so often (zero: every change).
    ///
    /// # Errors
    /// `out` takes nothing.
    pub fn begin(out: &'a mut dyn Write, every: Span, settings: &Checked) -> io::Result<Self> {
        out.write_all(SAMPLES_HEADER.as_bytes())?;
        out.write_all(b"\n")?;
        let heat_known = settings.machine.head_targets.is_some();
        Ok(Self { out, row: Vec::with_capacity(256), contacts: None, of_contacts: Vec::new(), every, heat_known })
    }

    /// How often a row is wanted.
    pub(super) const fn every(&self) -> Every {
        Every::new(self.every)
    }

    /// Append a row.
    ///
    /// # Errors
    /// It takes no more.
    pub fn write(&mut self, sample: &Sample) -> io::Result<()> {
        let row = &mut self.row;
        row.clear();
        write_unsigned(sample.at.get(), 0, row);
        cell(row, sample.head.map(rpm_milli), 3);
        cell(row, sample.boot.map(rpm_milli), 3);
        cell(row, sample.belt.map(|speed| i64::from(speed.get()) / 100), 4);
        cell(row, slip(sample.slip_short), 4);
        cell(row, slip(sample.slip_long), 4);
        cell(row, sample.underspeed.map(percent), 4);
        cell(row, self.heat_known.then(|| percent(sample.slip_heat)), 4);
        // Contacts seldom move: their half of the row is written anew only then.
        if self.contacts != Some(sample.contacts) {
            self.contacts = Some(sample.contacts);
            self.of_contacts.clear();
            for contact in &sample.contacts {
                cell(&mut self.of_contacts, contact.dwell.map(|dwell| i64::from(dwell.get())), 6);
                cell(&mut self.of_contacts, contact.duty.map(percent), 4);
            }
        }
        row.extend_from_slice(&self.of_contacts);
        for reading in [sample.slip_short, sample.slip_long] {
            let bound = reading.ppm().map(|_| i64::from(reading.is_limit()));
            cell(row, bound, 0);
        }
        row.push(b'\n');
        self.out.write_all(row)
    }
}

fn cell(row: &mut Vec<u8>, value: Option<i64>, places: u32) {
    row.push(b',');
    if let Some(value) = value {
        write_fixed(value, places, row);
    }
}

/// Thousandths of a turn a minute, to the nearest.
fn rpm_milli(speed: MicroturnsPerSecond) -> i64 {
    (i64::from(speed.get()) * 60 + 500) / 1_000
}

/// Per cent in units of 10^-4: parts per million.
fn percent(ppm: Ppm) -> i64 {
    i64::from(ppm.get())
}

fn slip(reading: SlipReading) -> Option<i64> {
    reading.ppm().map(percent)
}
