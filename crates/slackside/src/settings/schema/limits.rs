//! The limits: what judge holds the motion against.

use super::file_unit::{
    CELSIUS, COUNT, FileUnit, KILOJOULES, MILLISECONDS, MINUTES, MS_IN_MS, PERCENT, SECONDS, SECONDS_IN_MS, TURNS,
};
use super::row::{Numbered, Part, Range, part};
use super::say::FieldUnit;
use crate::conditions::{Action, Condition, Entry, Must, Priority, Starting as StartingLimit, Unit};
use crate::settings::Settings;
use crate::units::{Joules, Ppm, Span};

const SECOND: i64 = 1_000_000;
const MINUTE: i64 = 60 * SECOND;

part! {
    /// One condition's limit.
    struct Limit, LimitPart {
        /// Whether it is judged at all.
        enabled: bool = Enabled {
            key: "enabled",
            kind: Flag,
            given: Starting(1),
            range: Own,
            reason: "What stands between a stopped belt and a fire may not be switched off.",
        }
        /// The value from which it is wrong, in [`Condition::unit`].
        setpoint: i32 = Setpoint {
            key: "setpoint",
            kind: Setpoint,
            given: ByCondition,
            range: OfCondition,
            reason: "See the condition.",
        }
        /// How far back inside the setpoint the value must come before it is right again, in the same unit.
        deadband: i32 = Deadband {
            key: "deadband",
            kind: Setpoint,
            given: ByCondition,
            range: Own,
            reason: "Smaller than the setpoint, and than the gap between an alarm and its stop.",
        }
        /// How long it must be wrong without a break before the alarm comes.
        on_delay: Span = OnDelay {
            key: "on_delay",
            kind: Number(FieldUnit::Microseconds, &[SECONDS, MILLISECONDS]),
            given: ByCondition,
            range: OfCondition,
            reason: "See the condition.",
        }
        /// How long it must be right without a break before the alarm goes.
        off_delay: Span = OffDelay {
            key: "off_delay",
            kind: Number(FieldUnit::Microseconds, &[SECONDS, MILLISECONDS]),
            given: ByCondition,
            range: Works(0, LONGEST_OFF_DELAY),
            reason: "An alarm held for longer than ten minutes says nothing of now.",
        }
        /// Whether the alarm stays until reset.
        latching: bool = Latching {
            key: "latching",
            kind: Flag,
            given: ByCondition,
            range: Own,
            reason: "A stop latches until a person resets it.",
        }
        /// How urgent it is.
        priority: Priority = Priority {
            key: "priority",
            kind: Word(&["low", "medium", "high"]),
            given: ByCondition,
            range: Own,
            reason: "Who must come, and how soon.",
        }
        /// What it does.
        action: Action = Action {
            key: "action",
            kind: Word(&["alarm", "drop_feed", "stop"]),
            given: ByCondition,
            range: Own,
            reason: "What stands between a stopped belt and a fire stops the leg.",
        }
    }
}

/// Ten minutes.
pub(in crate::settings) const LONGEST_OFF_DELAY: i64 = 10 * MINUTE;

impl LimitPart {
    /// The integer unit of its number for a condition, and the units a file may give it in, the one written first.
    #[must_use]
    pub const fn units(self, entry: &Entry) -> (FieldUnit, &'static [FileUnit]) {
        match self.row().kind {
            super::Kind::Number(unit, units) => (unit, units),
            super::Kind::Setpoint => match entry.unit {
                Unit::Ppm => (FieldUnit::Ppm, &[PERCENT]),
                Unit::Milliseconds => (FieldUnit::Milliseconds, &[SECONDS_IN_MS, MS_IN_MS]),
                Unit::Microturns => (FieldUnit::Microturns, &[TURNS]),
                Unit::DeciCelsius => (FieldUnit::DeciCelsius, &[CELSIUS]),
                Unit::Count | Unit::Flag => (FieldUnit::Count, &[COUNT]),
            },
            _ => (FieldUnit::Count, &[]),
        }
    }

    /// How far it may be set for a condition.
    #[must_use]
    pub const fn range(self, entry: &Entry) -> Range {
        match self {
            Self::Setpoint => Range::Works(entry.setpoint.0 as i64, entry.setpoint.1 as i64),
            Self::OnDelay => Range::Works(0, (entry.longest_on_delay_ms as i64).saturating_mul(1_000)),
            _ => self.row().range,
        }
    }

    /// Its starting value for a condition.
    #[must_use]
    pub fn starting(self, entry: &Entry) -> i64 {
        let limit = Limit::starting(&entry.starting);
        match self {
            Self::Enabled => limit.enabled.number(),
            Self::Setpoint => limit.setpoint.number(),
            Self::Deadband => limit.deadband.number(),
            Self::OnDelay => limit.on_delay.number(),
            Self::OffDelay => limit.off_delay.number(),
            Self::Latching => limit.latching.number(),
            Self::Priority => limit.priority.number(),
            Self::Action => limit.action.number(),
        }
    }
}

part! {
    /// Start supervision and start counting.
    struct Starts, StartsPart {
        /// A shaft proven slower than this share of its normal speed stands.
        standstill_below: Ppm = Standstill {
            key: "standstill_below",
            kind: Number(FieldUnit::Ppm, &[PERCENT]),
            given: Starting(100_000),
            range: Works(20_000, 300_000),
            reason: "A tenth of normal speed: below it nothing on a leg is worth judging, and it is proven within ten pitches.",
        }
        /// The shortest time the leg takes to run down, if known; zero if not. Silence sooner is not a stop.
        shortest_coast_down: Span = CoastDown {
            key: "shortest_coast_down",
            kind: Number(FieldUnit::Microseconds, &[SECONDS]),
            given: Starting(0),
            range: Works(0, 2 * MINUTE),
            reason: "Time one; 0 if not known.",
        }
        /// The rolling window in which starts are counted. At most 71 minutes.
        window: Span = Window {
            key: "window",
            kind: Number(FieldUnit::Microseconds, &[MINUTES, SECONDS]),
            given: Starting(30 * MINUTE),
            range: Works(MINUTE, 71 * MINUTE),
            reason: "71 minutes is what a span holds.",
        }
        /// The longest inching may last.
        inching_time: Span = InchingTime {
            key: "inching_time",
            kind: Number(FieldUnit::Microseconds, &[MINUTES, SECONDS]),
            given: Starting(5 * MINUTE),
            range: Works(SECOND, 10 * MINUTE),
            reason: "A look at the belt takes a few minutes.",
        }
        /// The longest a bypass may last.
        bypass_time: Span = BypassTime {
            key: "bypass_time",
            kind: Number(FieldUnit::Microseconds, &[MINUTES, SECONDS]),
            given: Starting(30 * MINUTE),
            range: Works(SECOND, 60 * MINUTE),
            reason: "A bypassed leg is attended, and nobody attends for hours.",
        }
    }
}

part! {
    /// The thermal image of pulley and belt.
    struct SlipHeat, SlipHeatPart {
        /// The heat that stops the leg.
        budget: Joules = Budget {
            key: "budget",
            instead: "mass_kg, heat_capacity_j_kgk and rise_k",
            kind: Number(FieldUnit::Joules, &[KILOJOULES]),
            given: Starting(900_000),
            range: Works(10_000, 50_000_000),
            reason: "25 kg of rim and lagging that take part, 0.9 kJ/(kg K), 40 K of rise; 50 MJ is a terminal leg's pulley by 50 K.",
        }
        /// The time constant with which the heat goes away.
        time_constant: Span = TimeConstant {
            key: "time_constant",
            kind: Number(FieldUnit::Microseconds, &[MINUTES, SECONDS]),
            given: Starting(30 * MINUTE),
            range: Works(MINUTE, 71 * MINUTE),
            reason: "A pulley in a closed casing loses its heat over half an hour.",
        }
    }
}

/// All limits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limits {
    list: [Limit; Condition::COUNT],
    /// Starts, standstill, inching and bypass.
    pub starts: Starts,
    /// Slip heat.
    pub slip_heat: SlipHeat,
}

impl Limits {
    /// The starting values, each with its reason in its row or in the list of conditions.
    pub const STARTING: Self = Self {
        list: all_starting(&Condition::TABLE),
        starts: Starts {
            standstill_below: Ppm::new(StartsPart::Standstill.row().starting() as i32),
            shortest_coast_down: Span::new(StartsPart::CoastDown.row().starting() as u32),
            window: Span::new(StartsPart::Window.row().starting() as u32),
            inching_time: Span::new(StartsPart::InchingTime.row().starting() as u32),
            bypass_time: Span::new(StartsPart::BypassTime.row().starting() as u32),
        },
        slip_heat: SlipHeat {
            budget: Joules::new(SlipHeatPart::Budget.row().starting() as u32),
            time_constant: Span::new(SlipHeatPart::TimeConstant.row().starting() as u32),
        },
    };

    /// The limit of one condition.
    #[must_use]
    pub fn of(&self, condition: Condition) -> &Limit {
        // The list has an entry for every condition: the first is only there to satisfy `get`.
        let [first, ..] = &self.list;
        self.list.get(condition.rank()).unwrap_or(first)
    }

    /// Change the limit of one condition.
    pub fn change(&mut self, condition: Condition, change: impl FnOnce(&mut Limit)) {
        if let Some(limit) = self.list.get_mut(condition.rank()) {
            change(limit);
        }
    }
}

impl Default for Limits {
    fn default() -> Self {
        Self::STARTING
    }
}

impl Limit {
    /// The starting value of a condition.
    #[must_use]
    pub const fn starting(starting: &StartingLimit) -> Self {
        Self {
            enabled: true,
            setpoint: starting.setpoint,
            deadband: starting.deadband,
            on_delay: Span::from_millis(starting.on_ms),
            off_delay: Span::from_millis(starting.off_ms),
            latching: starting.latching,
            priority: starting.priority,
            action: starting.action,
        }
    }
}

/// The starting limits of a list of conditions.
pub(crate) const fn all_starting<const COUNT: usize>(entries: &[Entry; COUNT]) -> [Limit; COUNT] {
    let [first, ..] = Condition::TABLE;
    let mut list = [Limit::starting(&first.starting); COUNT];
    let (mut limits, mut rest): (&mut [Limit], &[Entry]) = (&mut list, entries);
    while let ([limit, more @ ..], [entry, others @ ..]) = (limits, rest) {
        *limit = Limit::starting(&entry.starting);
        limits = more;
        rest = others;
    }
    list
}

impl Entry {
    /// Whether it stops the leg whatever anyone sets.
    pub(in crate::settings) const fn must_stop(&self) -> bool {
        matches!(self.must, Must::Stop)
    }
}

impl Part for Limit {
    fn of(settings: &Settings, at: usize) -> Option<&Self> {
        settings.limits.list.get(at)
    }

    fn of_mut(settings: &mut Settings, at: usize) -> &mut Self {
        let limits = &mut settings.limits.list;
        let last = limits.len().saturating_sub(1);
        let (rest, others) = limits.split_at_mut(at.min(last));
        // There is always one: the list is not empty, and `at` lies within it.
        match (others, rest) {
            ([limit, ..], _) | (_, [limit, ..]) => limit,
            _ => unreachable!(),
        }
    }
}

impl Part for Starts {
    fn of(settings: &Settings, _at: usize) -> Option<&Self> {
        Some(&settings.limits.starts)
    }

    fn of_mut(settings: &mut Settings, _at: usize) -> &mut Self {
        &mut settings.limits.starts
    }
}

impl Part for SlipHeat {
    fn of(settings: &Settings, _at: usize) -> Option<&Self> {
        Some(&settings.limits.slip_heat)
    }

    fn of_mut(settings: &mut Settings, _at: usize) -> &mut Self {
        &mut settings.limits.slip_heat
    }
}
