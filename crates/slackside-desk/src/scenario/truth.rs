//! The truth file: what the plant knows and no sensor tells.

use std::io::{self, Write};

use super::due::Why;
use crate::plant::Truth;

/// One row of truth.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// When, in microseconds.
    pub time_us: u64,
    /// What is true.
    pub truth: Truth,
    /// Whether the motor is on.
    pub drive: bool,
    /// Belt speed over normal belt speed, in per cent.
    pub belt_pct: f64,
    /// Which faults are at work, a bit for each of the scenario's.
    pub active: u64,
    /// What calls for a stop now, if anything does.
    pub called: Option<Why>,
}

/// The first line of a truth file.
pub const HEADER: &str = "time_us,head_rpm,boot_rpm,belt_m_per_s,belt_pct,slip_pct,creep_pct,tight_n,slack_n,pull_n,\
friction_limit_n,head_offset_mm,boot_offset_mm,power_w,heat_j,friction,head_face_c,head_rim_c,\
belt_face_c,boot_face_c,rub_face_c,rub_wall_c,head_bearing_c,boot_bearing_c,choke,\
pile_kg,load_kg,discharge_kg_per_s,drive,label,stop_called_for,called_by";

/// Write one row. `names` are the scenario's faults, in order.
///
/// # Errors
/// The file cannot be written.
pub fn write_row(row: &Row, names: &[&str], out: &mut impl Write) -> io::Result<()> {
    let t = &row.truth;
    write!(
        out,
        "{},{:.4},{:.4},{:.5},{:.3},{:.4},{:.4},{:.1},{:.1},{:.1},{:.1},{:.3},{:.3},{:.0},{:.0},{:.4},{:.2},{:.2},{:.2},{:.2},{:.2},{:.2},{:.2},{:.2},{:.4},{:.2},{:.2},{:.3},{},",
        row.time_us,
        plain(t.head_rpm),
        plain(t.boot_rpm),
        plain(t.belt_m_per_s),
        plain(row.belt_pct),
        plain(t.slip_pct),
        plain(t.creep_pct),
        t.tight_n,
        t.slack_n,
        plain(t.pull_n),
        t.limit_n,
        plain(t.head_offset_mm),
        plain(t.boot_offset_mm),
        plain(t.power_w),
        t.heat_j,
        t.friction,
        t.head_face_c,
        t.head_rim_c,
        t.belt_face_c,
        t.boot_face_c,
        t.rub_face_c,
        t.rub_wall_c,
        t.head_bearing_c,
        t.boot_bearing_c,
        t.choke,
        t.pile_kg,
        t.load_kg,
        t.discharge_kg_per_s,
        u8::from(row.drive),
    )?;
    let mut first = true;
    for (i, name) in names.iter().enumerate().take(64) {
        if row.active >> i & 1 == 1 {
            write!(out, "{}{name}", if first { "" } else { "+" })?;
            first = false;
        }
    }
    writeln!(out, ",{},{}", u8::from(row.called.is_some()), row.called.map_or("", Why::name))
}

/// No minus in front of a zero: the same text on every run.
fn plain(value: f64) -> f64 {
    if value.abs() < 5e-5 { 0.0 } else { value }
}
