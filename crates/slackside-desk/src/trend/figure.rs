//! The figures of a day that are followed.

use slackside::conditions::Condition;
use slackside::daily::{Kind, Load, LoadBy, Summary};
use slackside::input::Place;
use slackside::settings::{Checked, Limits};
use slackside::units::DeciCelsius;

/// A figure that is followed over the days.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Figure {
    /// Median slip at this load, in per cent.
    Slip(Load),
    /// Median slip where nothing told the load.
    SlipAtAnyLoad,
    /// Shift of the no-slip ratio, in per cent.
    Ratio,
    /// Contact duty at this place, in per cent.
    Duty(Place),
    /// How much hotter the rub point at this place got than what it is held against, in kelvin.
    Warmth(Place, Over),
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

/// What a rub point's warmth is held against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// The hottest of another rub point.
    Place(Place),
    /// The coolest of the day.
    Coolest,
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
/// An hour of running makes a rub point warm: a sound bearing's housing has gained most of its 25 K by then (common practice, no source).
const WARM_LOOKS: u16 = 1_800;

impl Figure {
    /// All that are followed on any leg; the [warmth](Self::warmth) of rub points besides.
    pub const ALL: [Self; 14] = [
        Self::Slip(Load::Full),
        Self::Slip(Load::Part),
        Self::Slip(Load::Unloaded),
        Self::SlipAtAnyLoad,
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

    /// The warmth of each rub point that is known on any of these days, each over what is best to hold it against: the other side of its
    /// shaft, which has the same air, load and belt; else a rub point at the other end; else the day's coolest. That one must be known on
    /// half of the days at the least.
    #[must_use]
    pub fn warmth<'a>(days: impl Iterator<Item = &'a Summary> + Clone) -> Vec<Self> {
        let known = |of: &[Place]| {
            days.clone().filter(|day| of.iter().all(|place| day.hottest[place.index()].is_some())).count()
        };
        let over = |place: Place| {
            let others = against(place).into_iter().find(|other| 2 * known(&[place, *other]) >= known(&[place]));
            others.map_or(Over::Coolest, Over::Place)
        };
        let told = Place::ALL.into_iter().filter(|place| known(&[*place]) > 0);
        told.map(|place| Self::Warmth(place, over(place))).collect()
    }

    /// Whether it is a measure of wear, so that its slope says something; of the others only changes are told.
    #[must_use]
    pub const fn wears(self) -> bool {
        matches!(
            self,
            Self::Slip(_) | Self::SlipAtAnyLoad | Self::Ratio | Self::Duty(_) | Self::Warmth(..) | Self::Coast
        )
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
            Self::Slip(load) => day.slip[load as usize].map(percent).filter(|_| ran && day.load_by != LoadBy::Unknown),
            Self::SlipAtAnyLoad => day.slip[0].map(percent).filter(|_| ran && day.load_by == LoadBy::Unknown),
            Self::Ratio => day.ratio_shift.map(percent).filter(|_| ran),
            Self::Duty(place) => day.duty[place.index()].map(percent).filter(|_| ran),
            Self::Warmth(place, over) => {
                let above = degrees(day.hottest[place.index()])? - over.of(day)?;
                // Of two sides the cooler one is held to nothing: else what warms the one would seem to cool the other.
                (day.running >= WARM_LOOKS).then_some(above.max(0.0))
            }
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
            Self::Slip(_) | Self::SlipAtAnyLoad | Self::Ratio => 0.005,
            Self::Duty(_) => 0.02,
            Self::Coast => 0.1,
            Self::Warmth(..) | Self::HeadRejects | Self::BootRejects | Self::Losses | Self::Starts => 0.5,
        }
    }

    /// What it is called.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Slip(Load::Full) => "slip at full load",
            Self::Slip(Load::Part) => "slip at part load",
            Self::Slip(Load::Unloaded) => "slip unloaded",
            Self::SlipAtAnyLoad => "slip (load not known)",
            Self::Ratio => "the no-slip ratio",
            Self::Duty(Place::HeadLeft) => "rubbing at the head, left",
            Self::Duty(Place::HeadRight) => "rubbing at the head, right",
            Self::Duty(Place::BootLeft) => "rubbing at the boot, left",
            Self::Duty(Place::BootRight) => "rubbing at the boot, right",
            Self::Warmth(Place::HeadLeft, _) => "warmth at the head, left",
            Self::Warmth(Place::HeadRight, _) => "warmth at the head, right",
            Self::Warmth(Place::BootLeft, _) => "warmth at the boot, left",
            Self::Warmth(Place::BootRight, _) => "warmth at the boot, right",
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
            Self::Slip(_) | Self::SlipAtAnyLoad | Self::Ratio => "lagging",
            Self::Warmth(..) => "bearing or belt edge",
            Self::Duty(_) => "belt",
            _ => "leg",
        }
    }

    /// Its unit.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Slip(_) | Self::SlipAtAnyLoad | Self::Ratio | Self::Duty(_) => "%",
            Self::Warmth(..) => "K",
            Self::Coast => "s",
            Self::HeadRejects | Self::BootRejects | Self::Losses | Self::Starts => "a day",
        }
    }

    /// With its unit.
    #[must_use]
    pub fn say(self, value: f64) -> String {
        match self {
            Self::Slip(_) | Self::SlipAtAnyLoad | Self::Ratio | Self::Duty(_) => format!("{} %", figures(value)),
            Self::Warmth(..) => format!("{} K", figures(value)),
            Self::Coast => format!("{value:.1} s"),
            counted => format!("{value:.0} {}", counted.unit()),
        }
    }

    /// The limit that its value `now` goes towards, on this leg; of warmth, on a day as hot as the hottest of these.
    #[must_use]
    pub fn limit<'a>(self, settings: &Checked, now: f64, days: impl Iterator<Item = &'a Summary>) -> Option<Limit> {
        let setpoint = |limits: &Limits, condition: Condition| {
            let limit = limits.of(condition);
            limit.enabled.then(|| Limit { condition, value: f64::from(limit.setpoint) / 10_000.0 })
        };
        let limits = &settings.limits;
        match self {
            Self::Slip(_) | Self::SlipAtAnyLoad => [Condition::SlipMean, Condition::SlipHigh]
                .into_iter()
                .filter_map(|condition| setpoint(limits, condition))
                .min_by(|one, other| one.value.total_cmp(&other.value)),
            Self::Ratio => setpoint(limits, Condition::RatioShifted)
                .map(|limit| Limit { value: limit.value.copysign(now), ..limit }),
            Self::Duty(_) => setpoint(limits, Condition::MistrackingDuty),
            Self::Warmth(_, over) => {
                let hot = limits.of(Condition::RubHot);
                let hottest = days.filter_map(|day| over.of(day)).fold(f64::NEG_INFINITY, f64::max);
                let value = f64::from(hot.setpoint) / 10.0 - hottest;
                (hot.enabled && value > 0.0 && value.is_finite())
                    .then_some(Limit { condition: Condition::RubHot, value })
            }
            _ => None,
        }
    }
}

impl Over {
    /// How hot it got on a day, in degrees Celsius.
    #[must_use]
    pub fn of(self, day: &Summary) -> Option<f64> {
        match self {
            Self::Place(place) => degrees(day.hottest[place.index()]),
            Self::Coolest => degrees(day.coolest),
        }
    }

    /// Whether that is the other side of the shaft of `place`.
    #[must_use]
    pub fn is_other_side_of(self, place: Place) -> bool {
        against(place).first().is_some_and(|other| self == Self::Place(*other))
    }
}

fn degrees(temperature: Option<DeciCelsius>) -> Option<f64> {
    Some(f64::from(temperature?.get()) / 10.0)
}

/// What a rub point can be held against, best first: the other side of its shaft, then the other end's.
const fn against(place: Place) -> [Place; 3] {
    match place {
        Place::HeadLeft => [Place::HeadRight, Place::BootLeft, Place::BootRight],
        Place::HeadRight => [Place::HeadLeft, Place::BootRight, Place::BootLeft],
        Place::BootLeft => [Place::BootRight, Place::HeadLeft, Place::HeadRight],
        Place::BootRight => [Place::BootLeft, Place::HeadRight, Place::HeadLeft],
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
