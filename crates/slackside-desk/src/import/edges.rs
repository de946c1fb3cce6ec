//! A trace from series of levels.

use slackside::input::{ContactState, Input, LineState, Signal};
use slackside::units::{DeciCelsius, Micros, Ppm, Watts};

use super::{A_MICROSECOND, Choice, Clock, Femtos, Found, Kind, Role, Series};
use crate::error::{Error, Result};
use crate::trace::Channel;

/// A trace made of a file.
#[derive(Clone, Debug)]
pub struct Imported {
    /// Its inputs, in order, times from the first row on; a tick where the file ends.
    pub inputs: Vec<Input>,
    /// When it began, in microseconds since 1970 UTC, where the file says so.
    pub began_us: Option<i64>,
    /// What a person should know of it.
    pub remarks: Vec<String>,
}

/// No shaft that carries targets gives edges more often or more seldom, a second: 64 targets at 1,000 rpm; one at half a turn a minute.
const EDGES_A_SECOND: (f64, f64) = (0.008, 1_100.0);
/// Levels sampled fewer times than this between two edges lose edges.
const SAMPLES_AN_EDGE: f64 = 4.0;

/// Make a trace of what was found, as the person says.
///
/// # Errors
/// What nobody has said, or what makes no sense.
pub fn inputs(found: &Found, choice: &Choice) -> Result<Imported> {
    let step = choice_step(found, choice)?;
    let roles = choice.roles(found)?;
    let mut remarks = Vec::new();
    let mut inputs = Vec::new();
    let at = |moment: Femtos| {
        Micros::new((((moment - found.span.0) as f64 * step) / A_MICROSECOND as f64).round().max(0.0) as u64)
    };
    for (role, series, inverted) in &roles {
        let Role::Channel(channel) = role else { continue };
        if let Some((line, text)) = &series.not_numbers {
            remarks.push(format!("`{}` says `{text}` in row {line}: there its last value stands", series.name));
        }
        if let Channel::Edge(_) = channel {
            hold_to_reason(found, series, step)?;
        }
        for (moment, value) in &series.changes {
            let value = if *inverted { 1.0 - value } else { *value };
            let signal = signal(*channel, value).ok_or_else(|| {
                Error::said(format!(
                    "`{}` is {value} at {} us, and `{}` cannot be that",
                    series.name,
                    at(*moment).get(),
                    role.name()
                ))
            })?;
            inputs.push(Input::new(at(*moment), signal));
        }
    }
    if !roles.iter().any(|(role, ..)| matches!(role, Role::Channel(Channel::Edge(_)))) {
        return Err(Error::said(
            "no target sensor is among what was chosen, and without edges there is no trace: map head and boot; where the file holds \
             speeds alone, map head_rpm and boot_rpm and leave out --out",
        ));
    }
    inputs.sort_by_key(|input| input.at);
    inputs.push(Input::new(at(found.span.1), Signal::Tick));
    let began_us = match &found.clock {
        Clock::Day { began_us, zoned: true, .. } => Some(*began_us),
        Clock::Day { zoned: false, by, .. } => {
            remarks.push(format!(
                "`{by}` does not say its zone: the trace counts from its first row and knows no time of day"
            ));
            None
        }
        _ => None,
    };
    Ok(Imported { inputs, began_us, remarks })
}

/// Femtoseconds a step, from the file or the person.
pub(super) fn choice_step(found: &Found, choice: &Choice) -> Result<f64> {
    let said =
        |flag: &str| Err(Error::said(format!("the file says itself how its time runs, so {flag} has no place here")));
    match (&found.clock, choice.rate_hz, choice.unit) {
        (Clock::Stated { .. } | Clock::Day { .. } | Clock::Column { .. }, Some(_), _) => said("--rate"),
        (Clock::Stated { .. } | Clock::Day { .. } | Clock::Rows, _, Some(_)) => said("--time-unit"),
        (clock, rate, unit) => clock.step(rate, unit).ok_or_else(|| {
            Error::said(match clock {
                Clock::Rows => {
                    "nothing says how many rows there are in a second: say so with --rate, in hertz".to_owned()
                }
                _ => {
                    "nothing says in what unit its time counts: say so with --time-unit s, ms, us, ns or ps".to_owned()
                }
            })
        }),
    }
}

/// Refuse levels that no shaft gives: at another rate or unit they would be another leg's.
fn hold_to_reason(found: &Found, series: &Series, step: f64) -> Result<()> {
    if !series.is_level() {
        return Err(Error::said(format!(
            "`{}` is no level: it says {} different things, not 0 and 1. A speed goes to head_rpm or boot_rpm",
            series.name,
            distinct(series)
        )));
    }
    let Some(gap) = median_gap(series) else {
        return Err(Error::said(format!("`{}` never changes: there is no edge in it", series.name)));
    };
    let a_second = 1e15 / (gap as f64 * step);
    let (least, most) = EDGES_A_SECOND;
    if !(least..=most).contains(&a_second) {
        return Err(Error::said(format!(
            "`{}` would have {} edges a second, where a shaft has {least} to {most}: the rate or the unit of time is not what was said",
            series.name,
            if a_second < 0.001 { format!("{a_second:.1e}") } else { rounded(a_second) }
        )));
    }
    if let Some(sample) = found.step
        && (gap as f64) < SAMPLES_AN_EDGE * sample as f64
        && found.rows as f64 > 2.0 * series.changes.len() as f64 / SAMPLES_AN_EDGE
        && is_sampled(found)
    {
        return Err(Error::said(format!(
            "`{}` changes every {} rows or so: rows this far apart lose edges. Record more often, or on change",
            series.name,
            rounded(gap as f64 / sample as f64)
        )));
    }
    Ok(())
}

/// Whether rows come at even distances whether anything changes or not, as samples do: not on change.
pub(super) fn is_sampled(found: &Found) -> bool {
    let length = (found.span.1 - found.span.0) as f64;
    let even = found.step.is_some_and(|step| found.rows.saturating_sub(1) as f64 * step as f64 > 0.9 * length);
    let mut moved: Vec<Femtos> = found.series.iter().flat_map(|series| series.changes.iter().map(|it| it.0)).collect();
    moved.sort_unstable();
    moved.dedup();
    even && found.kind != Kind::Dump && found.rows.saturating_sub(moved.len() as u64) > found.rows / 100
}

pub(super) fn rounded(value: f64) -> String {
    if value >= 100.0 {
        format!("{value:.0}")
    } else {
        format!("{value:.3}").trim_end_matches('0').trim_end_matches('.').to_owned()
    }
}

pub(super) fn distinct(series: &Series) -> usize {
    let mut values: Vec<u64> = series.changes.iter().map(|(_, value)| value.to_bits()).collect();
    values.sort_unstable();
    values.dedup();
    values.len()
}

pub(super) fn median_gap(series: &Series) -> Option<Femtos> {
    let mut gaps: Vec<Femtos> = series.changes.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    gaps.sort_unstable();
    gaps.get(gaps.len() / 2).copied()
}

/// A value of a channel as an input; `None` for what it cannot be.
fn signal(channel: Channel, value: f64) -> Option<Signal> {
    let whole = |most: f64| (value >= 0.0 && value <= most && value.fract() == 0.0).then_some(value as u8);
    let yes = || whole(1.0).map(|value| value == 1);
    Some(match channel {
        Channel::Edge(shaft) => Signal::Edge(shaft, yes()?),
        Channel::Line(shaft) => {
            Signal::Line(shaft, [LineState::Sound, LineState::Open, LineState::Shorted][usize::from(whole(2.0)?)])
        }
        Channel::Rub(place) => Signal::Contact(
            place,
            [ContactState::Clear, ContactState::Rubbing, ContactState::Faulty][usize::from(whole(2.0)?)],
        ),
        Channel::Temperature(place) => (-100.0..=400.0)
            .contains(&value)
            .then(|| Signal::Temperature(place, DeciCelsius::new((value * 10.0).round() as i16)))?,
        Channel::Drive => Signal::DriveRunning(yes()?),
        Channel::Power => (0.0..=1e7).contains(&value).then(|| Signal::DrivePower(Watts::new(value.round() as u32)))?,
        Channel::SpeedReference => {
            (0.0..=200.0).contains(&value).then(|| Signal::SpeedReference(Ppm::new((value * 1e4).round() as i32)))?
        }
        Channel::OutletPlugged => Signal::OutletPlugged(yes()?),
        Channel::Command | Channel::EdgesLost | Channel::Tick => return None,
    })
}
