//! The figures of a day that are followed.

use slackside::conditions::Condition;
use slackside::daily::{Kind, Load, Summary};
use slackside::input::Place;
use slackside::settings::{Checked, Limits};

/// A figure that is followed over the days.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    /// Median slip at this load, in per cent.
    Slip(Load),
    /// Shift of the no-slip ratio, in per cent.
    Ratio,
    /// Contact duty at this place, in per cent.
    Duty(Place),
    /// The longest run-down, in seconds.
    Coast,
    /// Rejected edges of the head.
    HeadRejects,
    /// Rejected edges of the boot.
    BootRejects,
    /// Losses of edges.
    Losses,
    /// Starts.
    Starts,
}

/// What a figure must not reach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// The condition that it belongs to.
    pub condition: Condition,
    /// In the figure's unit.
    pub value: f64,
}

/// So many seconds of running make a day worth hearing: less is a start and little more.
const ENOUGH_LOOKS: u16 = 150;

impl Figure {
    /// All that are followed.
    pub const ALL: [Self; 13] = [
        Self::Slip(Load::Full),
        Self::Slip(Load::Part),
        Self::Slip(Load::Unloaded),
        Self::Ratio,
        Self::Duty(Place::HeadLeft),
        Self::Duty(Place::HeadRight),
        Self::Duty(Place::BootLeft),
        Self::Duty(Place::BootRight),
        Self::Coast,
        Self::HeadRejects,
        Self::BootRejects,
        Self::Losses,
        Self::Starts,
    ];

    /// Whether it is a measure of wear, so that its slope says something; of the others only changes are told.
    #[must_use]
    pub const fn wears(self) -> bool {
        matches!(self, Self::Slip(_) | Self::Ratio | Self::Duty(_) | Self::Coast)
    }

    /// The figure of a day; `None` if not known, or if the leg ran too little on it.
    #[must_use]
    pub fn of(self, day: &Summary) -> Option<f64> {
        if matches!(day.kind, Kind::Done(_)) {
            return None;
        }
        let percent = |ppm: slackside::units::Ppm| f64::from(ppm.get()) / 10_000.0;
        let count = |coarse: slackside::daily::Coarse| coarse.get().map(f64::from);
        let ran = day.running >= ENOUGH_LOOKS;
        match self {
            Self::Slip(load) => day.slip[load as usize].map(percent).filter(|_| ran),
            Self::Ratio => day.ratio_shift.map(percent).filter(|_| ran),
            Self::Duty(place) => day.duty[place.index()].map(percent).filter(|_| ran),
            Self::Coast => day.coast.map(|coast| f64::from(coast.get()) / 1e6),
            Self::HeadRejects => count(day.rejects[0]),
            Self::BootRejects => count(day.rejects[1]),
            Self::Losses => count(day.losses),
            Self::Starts => Some(f64::from(day.starts)),
        }
    }

    /// As it is looked at for changes: counts by their square root, whose scatter does not grow with them.
    #[must_use]
    pub fn even(self, value: f64) -> f64 {
        if self.wears() { value } else { value.max(0.0).sqrt() }
    }

    /// The smallest deviation that counts, as it is looked at.
    #[must_use]
    pub const fn grain(self) -> f64 {
        match self {
            Self::Slip(_) | Self::Ratio => 0.005,
            Self::Duty(_) => 0.02,
            Self::Coast => 0.1,
            Self::HeadRejects | Self::BootRejects | Self::Losses | Self::Starts => 0.5,
        }
    }

    /// What it is called. `by_load`: slip is told by load.
    #[must_use]
    pub const fn name(self, by_load: bool) -> &'static str {
        match self {
            Self::Slip(Load::Full) => "slip at full load",
            Self::Slip(Load::Part) => "slip at part load",
            Self::Slip(Load::Unloaded) if by_load => "slip unloaded",
            Self::Slip(Load::Unloaded) => "slip (load not known)",
            Self::Ratio => "the no-slip ratio",
            Self::Duty(Place::HeadLeft) => "rubbing at the head, left",
            Self::Duty(Place::HeadRight) => "rubbing at the head, right",
            Self::Duty(Place::BootLeft) => "rubbing at the boot, left",
            Self::Duty(Place::BootRight) => "rubbing at the boot, right",
            Self::Coast => "the longest run-down",
            Self::HeadRejects => "rejected edges of the head",
            Self::BootRejects => "rejected edges of the boot",
            Self::Losses => "losses of edges",
            Self::Starts => "starts",
        }
    }

    /// What wears where it goes one way.
    #[must_use]
    pub const fn part(self) -> &'static str {
        match self {
            Self::Slip(_) | Self::Ratio => "lagging",
            Self::Duty(_) => "belt",
            _ => "leg",
        }
    }

    /// Its unit.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Slip(_) | Self::Ratio | Self::Duty(_) => "%",
            Self::Coast => "s",
            Self::HeadRejects | Self::BootRejects | Self::Losses | Self::Starts => "a day",
        }
    }

    /// With its unit.
    #[must_use]
    pub fn say(self, value: f64) -> String {
        match self {
            Self::Slip(_) | Self::Ratio | Self::Duty(_) => format!("{} %", figures(value)),
            Self::Coast => format!("{value:.1} s"),
            counted => format!("{value:.0} {}", counted.unit()),
        }
    }

    /// The limit that its value `now` goes towards, on this leg.
    #[must_use]
    pub fn limit(self, settings: &Checked, now: f64) -> Option<Limit> {
        let setpoint = |limits: &Limits, condition: Condition| {
            let limit = limits.of(condition);
            limit.enabled.then(|| Limit { condition, value: f64::from(limit.setpoint) / 10_000.0 })
        };
        let limits = &settings.limits;
        match self {
            Self::Slip(_) => [Condition::SlipMean, Condition::SlipHigh]
                .into_iter()
                .filter_map(|condition| setpoint(limits, condition))
                .min_by(|one, other| one.value.total_cmp(&other.value)),
            Self::Ratio => setpoint(limits, Condition::RatioShifted)
                .map(|limit| Limit { value: limit.value.copysign(now), ..limit }),
            Self::Duty(_) => setpoint(limits, Condition::MistrackingDuty),
            _ => None,
        }
    }
}

/// Three figures that count, and no more than four after the point.
pub(super) fn figures(value: f64) -> String {
    let places = match value.abs() {
        value if value >= 100.0 => 0,
        value if value >= 10.0 => 1,
        value if value >= 1.0 => 2,
        value if value >= 0.1 => 3,
        _ => 4,
    };
    let text = format!("{value:.places$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}
