//! The rules, and what a broken one says.

use core::fmt;

use crate::settings::{Field, FieldUnit, Quantity};
use crate::units::{Ppm, Span};

/// A rule that settings must keep.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Rule {
    /// The leg has a name, printable and not blank.
    LegName,
    /// No targets at all: nothing can be judged.
    NothingFitted,
    /// The head alone cannot see the belt.
    HeadAlone,
    /// With the boot alone, only the drive contact tells a stop from a loss of the belt.
    BootAloneNeedsDrive,
    /// Outside what legs are built like. Left out for bench recordings.
    LegGeometry,
    /// A face must be at least as wide as the belt. Left out for bench recordings.
    FaceNarrowerThanBelt,
    /// Crown below 3 % of the face. Left out for bench recordings.
    CrownTooHigh,
    /// The loop must leave centres between 2 m and 150 m. Left out for bench recordings.
    LoopAgainstCentres,
    /// Outside the range in which the monitor works.
    Range,
    /// The accepted ratio is more than 10 % from geometry. Left out for bench recordings.
    AcceptedFarFromGeometry,
    /// Head and boot normal speed contradict the ratio by more than 10 %.
    SpeedsContradictRatio,
    /// The head's speed unloaded is not 0.5 % to 10 % above its normal speed.
    UnloadedAgainstNormal,
    /// One mark a turn has one pitch, the turn: even.
    OneMarkIsEven,
    /// Pitches of this size cannot add up to one turn.
    PitchesDoNotFit,
    /// The minimum width may be at most a quarter of the closest pitch at top speed.
    MinimumWidthTooLong,
    /// Mains hum on a cut wire would look like a healthy speed.
    HumLooksLikeSpeed,
    /// An underspeed or slip stop beyond the code's 20 %.
    BeyondTheCode,
    /// Setpoint, error, wait and delay together go beyond the code's 20 %. Left out for bench recordings.
    StopsTooLate,
    /// A trip at or below its alarm.
    TripBelowAlarm,
    /// A deadband as large as the setpoint: it would never clear.
    DeadbandSwallowsSetpoint,
    /// A deadband larger than the gap between alarm and trip.
    DeadbandBeyondGap,
    /// May not be switched off.
    MustBeEnabled,
    /// May not do less than stop the leg.
    MustStop,
    /// Must latch.
    MustLatch,
}

/// What would mend a violation, where the bound alone does not say it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Mend {
    /// Keep the bound.
    #[default]
    KeepTheBound,
    /// Any one of these.
    StopSooner {
        /// A setpoint that would do, delay and targets as they are.
        setpoint: Option<Ppm>,
        /// An on-delay that would do, setpoint and targets as they are.
        on_delay: Option<Span>,
        /// Boot targets that would do, evenly spaced, setpoint and delay as they are.
        boot_targets: Option<u8>,
    },
    /// Another number of targets, or a supervised line.
    OtherTargets(Option<u8>),
}

/// A broken rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Violation {
    /// Which rule.
    pub rule: Rule,
    /// Where.
    pub field: Field,
    /// The value found, in [`Violation::unit`].
    pub value: i64,
    /// The bound it breaks, in the same unit. Where there is a lower and an upper bound, the nearer one.
    pub bound: i64,
    /// What would mend it.
    pub mend: Mend,
}

impl Violation {
    /// The unit of value and bound.
    #[must_use]
    pub const fn unit(&self) -> FieldUnit {
        match self.rule {
            Rule::StopsTooLate | Rule::AcceptedFarFromGeometry => FieldUnit::Ppm,
            Rule::HumLooksLikeSpeed | Rule::HeadAlone | Rule::NothingFitted => FieldUnit::Count,
            _ => self.field.unit(),
        }
    }
}

impl fmt::Display for Violation {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(formatter, "{}: {}", self.field, self.reason())
    }
}

/// The text of a violation without the field before it.
#[derive(Clone, Copy, Debug)]
pub struct Reason<'a>(&'a Violation);

impl Violation {
    /// What is wrong and how to mend it, without naming the field: for whoever names fields in another way.
    #[must_use]
    pub const fn reason(&self) -> Reason<'_> {
        Reason(self)
    }
}

impl fmt::Display for Reason<'_> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let violation = self.0;
        let value = Quantity::new(violation.value, violation.unit());
        let bound = Quantity::new(violation.bound, violation.unit());
        let side = if violation.value < violation.bound { "at least" } else { "at most" };
        match violation.rule {
            Rule::LegName => out.write_str("the leg needs a printable name, so that boxes can be told apart; give it one"),
            Rule::NothingFitted => out.write_str("no targets are fitted, so nothing can be judged; fit them on the boot shaft"),
            Rule::HeadAlone => out.write_str(
                "the head alone is refused: a head that turns says nothing of the belt; fit targets on the boot shaft, \
                 which the belt turns",
            ),
            Rule::BootAloneNeedsDrive => out.write_str(
                "with the boot alone, only the drive contact tells an ordinary stop from a lost belt; wire the starter's \
                 auxiliary contact, or fit head targets too",
            ),
            Rule::LegGeometry => write!(out, "{value} is not what legs are built like; {side} {bound}"),
            Rule::FaceNarrowerThanBelt => write!(out, "a face of {value} is narrower than the belt; at least {bound}"),
            Rule::CrownTooHigh => write!(
                out,
                "a crown of {value} is 3 % of the face or more (the common rule is about 1 %); crown is the difference in \
                 diameter, middle less edge; below {bound}",
            ),
            Rule::LoopAgainstCentres => {
                write!(out, "a loop of {value} does not fit pulleys 2 m to 150 m apart; {side} {bound}")
            }
            Rule::Range => write!(out, "{value} is outside the range; {side} {bound}"),
            Rule::AcceptedFarFromGeometry => write!(
                out,
                "the accepted ratio is {value} away from what the pulleys give, more than {bound}: diameters, lagging or \
                 target counts are wrong; put those right and learn again",
            ),
            Rule::SpeedsContradictRatio => write!(
                out,
                "{value} contradicts the head's normal speed times the no-slip ratio by more than 10 %: one of the speeds, \
                 a diameter or the lagging is wrong; {side} {bound}",
            ),
            Rule::UnloadedAgainstNormal => write!(
                out,
                "{value} unloaded is not 0.5 % to 10 % above the head's normal speed, as a motor makes it that falls behind \
                 with load: measure both on this leg, normal speed at design flow, or leave it out; {side} {bound}",
            ),
            Rule::OneMarkIsEven => {
                out.write_str("one counted edge a turn has one pitch, the whole turn; give it as evenly spaced")
            }
            Rule::PitchesDoNotFit => write!(
                out,
                "pitches of {value} of the turn cannot add up to one turn with that many counted edges; {side} {bound}",
            ),
            Rule::MinimumWidthTooLong => write!(
                out,
                "{value} is more than a quarter of the closest pitch at top speed and would swallow true targets; at most \
                 {bound}",
            ),
            Rule::HumLooksLikeSpeed => {
                write!(
                    out,
                    "hum of {bound} edges a second on a cut wire would look like a healthy speed ({value} edges a second \
                     at normal speed); have the line supervised",
                )?;
                match violation.mend {
                    Mend::OtherTargets(Some(count)) => write!(out, ", or use {count} targets"),
                    _ => Ok(()),
                }
            }
            Rule::BeyondTheCode => write!(
                out,
                "a stop at {value} is refused: 29 CFR 1910.272(q)(5) has the leg shut down before belt speed falls by more \
                 than {bound} of normal",
            ),
            Rule::StopsTooLate => {
                // To the tenth of a per cent above: more digits would only pretend.
                let tenths = violation.value.saturating_add(999) / 1_000;
                let value = Quantity::new(tenths.saturating_mul(1_000), FieldUnit::Ppm);
                write!(
                    out,
                    "setpoint, measuring error, wait for edges and on-delay at a loss of 5 % a second come to {value}; 29 \
                     CFR 1910.272(q)(5) allows {bound}",
                )?;
                sooner(out, violation.mend)
            }
            Rule::TripBelowAlarm => {
                write!(out, "the stop at {value} must lie above its alarm at {bound}; raise it or lower the alarm")
            }
            Rule::DeadbandSwallowsSetpoint => {
                write!(out, "a deadband of {value} against a setpoint of {bound} would never clear; make it smaller")
            }
            Rule::DeadbandBeyondGap => write!(
                out,
                "a deadband of {value} is more than the {bound} between alarm and stop, so that one would hold the other; \
                 at most {bound}",
            ),
            Rule::MustBeEnabled => out.write_str("may not be switched off with what is fitted here; enable it"),
            Rule::MustStop => out.write_str("may not do less than stop the leg; set its action to stop"),
            Rule::MustLatch => {
                out.write_str("a stop must latch until a person resets it; set latching, or a weaker action where allowed")
            }
        }
    }
}

fn sooner(out: &mut fmt::Formatter<'_>, mend: Mend) -> fmt::Result {
    let Mend::StopSooner { setpoint, on_delay, boot_targets } = mend else {
        return Ok(());
    };
    let mut before = "; mend:";
    if let Some(setpoint) = setpoint {
        write!(out, "{before} setpoint at most {}", Quantity::new(i64::from(setpoint.get()), FieldUnit::Ppm))?;
        before = ", or";
    }
    if let Some(on_delay) = on_delay {
        let on_delay = Quantity::new(i64::from(on_delay.get()), FieldUnit::Microseconds);
        write!(out, "{before} on-delay at most {on_delay}")?;
        before = ", or";
    }
    if let Some(count) = boot_targets {
        write!(out, "{before} {count} evenly spaced boot targets")?;
        before = ", or";
    }
    if before == ", or" {
        return Ok(());
    }
    out.write_str("; mend: lower setpoint, on-delay and add targets together, or see whether the speed is right")
}
