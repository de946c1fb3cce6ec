//! Whether a trace's times can be microseconds at all: a logger that writes milliseconds or seconds is caught before anything is
//! judged by it.

use std::fmt;

use slackside::input::Shaft;
use slackside::settings::Machine;

use crate::trace::Survey;

/// Pitches that must be seen before anything is said.
const ENOUGH: u64 = 16;
/// No leg turns so many times faster or slower than normal for half of its edges.
const BEYOND: f64 = 200.0;

/// A trace whose edges come at a rate that no leg of these settings can have.
#[derive(Clone, Debug, PartialEq)]
pub struct WrongUnits {
    /// What messages call the trace.
    pub trace: String,
    /// How many times too fast the edges come; below 1 if too slow.
    pub times: f64,
}

impl fmt::Display for WrongUnits {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { trace, times } = self;
        let near = |wanted: f64| (wanted / 5.0..wanted * 5.0).contains(times);
        let (unit, mend) = match () {
            () if near(1e3) => ("milliseconds", "multiply every time by 1000"),
            () if *times > 1e5 => ("seconds", "multiply every time by 1000000"),
            () if near(1e-3) => ("nanoseconds", "divide every time by 1000"),
            () => ("neither milliseconds nor seconds", "check the logger's clock and the settings of this leg"),
        };
        let rate = if *times > 1.0 {
            format!("{times:.0} times as fast as")
        } else {
            format!("{:.0} times as slow as", 1.0 / times)
        };
        write!(
            out,
            "{trace}: most edges come {rate} they do at normal speed, which no leg of these settings can do; the column time_us \
             must be microseconds, and these look like {unit}\n  mend: {mend}"
        )
    }
}

impl std::error::Error for WrongUnits {}

/// Hold the rate of the edges against what a leg with this machine can do. A shaft with few edges says nothing, and if one shaft
/// comes at a rate that can be, the other's is a fault of its own, not of the clock.
///
/// # Errors
/// [`WrongUnits`].
pub fn check_units(trace: &str, survey: &Survey, machine: &Machine) -> Result<(), WrongUnits> {
    let shafts = [
        (Shaft::Head, machine.head_targets, machine.normal_head),
        (Shaft::Boot, machine.boot_targets, machine.normal_boot),
    ];
    let mut worst: Option<f64> = None;
    for (shaft, targets, normal) in shafts {
        let (Some(targets), pace) = (targets, survey.pitches(shaft)) else { continue };
        let Some(median_us) = pace.filter(|pace| pace.count >= ENOUGH).map(|pace| pace.median_us) else { continue };
        let pitch_us = 1e12 / (f64::from(normal.get()).max(1.0) * f64::from(targets.count.max(1)));
        let times = pitch_us / median_us;
        if (1.0 / BEYOND..=BEYOND).contains(&times) {
            return Ok(());
        }
        worst = Some(worst.map_or(times, |worst| worst.min(times)));
    }
    worst.map_or(Ok(()), |times| Err(WrongUnits { trace: trace.to_owned(), times }))
}
