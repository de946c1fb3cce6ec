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
/// From rise to rise on a shaft of four targets at 75 rpm, in the middle of what legs have.
const USUAL_PITCH_US: f64 = 200_000.0;
/// One target at 20 rpm to 32 at 300 rpm, the ends of what settings may say, lie within 32 times of the usual; and no leg
/// turns 20 times faster or slower than that for half of its edges.
const BEYOND_ANY: f64 = 640.0;

/// A trace whose edges come at a rate that no leg of these settings can have.
#[derive(Clone, Debug, PartialEq)]
pub struct WrongUnits {
    /// What messages call the trace.
    pub trace: String,
    /// How many times too fast the edges come; below 1 if too slow.
    pub times: f64,
    /// Where time first runs backwards, if it does so in most rows: then their order is wrong, and no unit.
    pub backwards: Option<u64>,
    /// Whether that is against the settings of the trace's leg, or against a usual leg.
    pub settings_known: bool,
}

impl fmt::Display for WrongUnits {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { trace, times, backwards, settings_known } = self;
        if let Some(line) = backwards {
            return write!(
                out,
                "{trace}, line {line}: here and in most rows time runs backwards\n  mend: sort the rows by time_us; if a counter \
                 began anew in between, make a trace of each part"
            );
        }
        let near = |wanted: f64| (wanted / 5.0..wanted * 5.0).contains(times);
        let (unit, mend) = match () {
            () if near(1e3) => ("milliseconds", "multiply every time by 1000"),
            () if *times > 1e5 => ("seconds", "multiply every time by 1000000"),
            () if near(1e-3) => ("nanoseconds", "divide every time by 1000"),
            () => ("neither milliseconds nor seconds", "check the logger's clock and the settings of its leg"),
        };
        let rate = if *times > 1.0 {
            format!("{times:.0} times as fast as")
        } else {
            format!("{:.0} times as slow as", 1.0 / times)
        };
        let against = if *settings_known {
            "they do at normal speed, which no leg of these settings can do"
        } else {
            "they do on a usual leg, which no leg does"
        };
        write!(
            out,
            "{trace}: most edges come {rate} {against}; the column time_us must be microseconds, and these look like \
             {unit}\n  mend: {mend}"
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
    let pitches = shafts.into_iter().filter_map(|(shaft, targets, normal)| {
        let marks = f64::from(targets?.count.max(1));
        Some((shaft, 1e12 / (f64::from(normal.get()).max(1.0) * marks)))
    });
    hold(trace, survey, too_far(survey, pitches, BEYOND), true)
}

/// The same where nobody said which leg a trace is of: only what no leg at all can do is found.
///
/// # Errors
/// [`WrongUnits`].
pub fn check_units_of_any_leg(trace: &str, survey: &Survey) -> Result<(), WrongUnits> {
    let pitches = [Shaft::Head, Shaft::Boot].into_iter().map(|shaft| (shaft, USUAL_PITCH_US));
    hold(trace, survey, too_far(survey, pitches, BEYOND_ANY), false)
}

fn hold(trace: &str, survey: &Survey, too_far: Option<f64>, settings_known: bool) -> Result<(), WrongUnits> {
    let backwards = (survey.out_of_order > survey.rows / 2).then_some(survey.out_of_order_line);
    if backwards.is_none() && too_far.is_none() {
        return Ok(());
    }
    Err(WrongUnits { trace: trace.to_owned(), times: too_far.unwrap_or(1.0), backwards, settings_known })
}

/// How many times too fast the shaft's edges come that come least too fast, if all of them are too fast or slow by more than
/// `beyond`; `pitches` are from rise to rise at normal speed, in microseconds.
fn too_far(survey: &Survey, pitches: impl Iterator<Item = (Shaft, f64)>, beyond: f64) -> Option<f64> {
    let mut worst: Option<f64> = None;
    for (shaft, pitch_us) in pitches {
        let pace = survey.pitches(shaft).filter(|pace| pace.count >= ENOUGH);
        let Some(times) = pace.map(|pace| pitch_us / pace.median_us) else { continue };
        if (1.0 / beyond..=beyond).contains(&times) {
            return None;
        }
        worst = Some(worst.map_or(times, |worst| worst.min(times)));
    }
    worst
}
