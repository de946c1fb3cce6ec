//! The limits that a study varies: each on a ladder of values someone would write down.

use slackside::conditions::{Action, Condition, Unit};
use slackside::settings::Settings;
use slackside::units::{Joules, Span};

/// What a knob turns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part {
    Setpoint(Condition),
    Deadband(Condition),
    OnDelay(Condition),
    OffDelay(Condition),
    HeatBudget,
    HeatTimeConstant,
}

/// One limit to vary.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Knob {
    /// Its name, as in a settings file: `slip_high.setpoint_pct`.
    pub key: String,
    part: Part,
    /// How many of the core's units are one of the file's.
    scale: i64,
    from: i64,
    step: i64,
    levels: u16,
}

/// In place of a rung: the limit as it stands.
pub const STANDS: u16 = u16::MAX;

/// The most values a ladder may have.
pub const MOST_LEVELS: i64 = 2_000;

fn named(key: &str) -> Option<(Part, i64)> {
    match key {
        "slip_heat.budget_kj" => return Some((Part::HeatBudget, 1_000)),
        "slip_heat.time_constant_min" => return Some((Part::HeatTimeConstant, 60_000_000)),
        _ => {}
    }
    let (condition, part) = key.split_once('.')?;
    let condition = Condition::from_name(condition)?;
    let (suffix, scale) = match condition.unit() {
        Unit::Ppm => ("_pct", 10_000),
        Unit::Milliseconds => ("_s", 1_000),
        Unit::Microturns => ("_turns", 1_000_000),
        Unit::DeciCelsius => ("_c", 10),
        Unit::Count => ("", 1),
        Unit::Flag => ("-", 1),
    };
    match part {
        "on_delay_s" => Some((Part::OnDelay(condition), 1_000_000)),
        "off_delay_s" => Some((Part::OffDelay(condition), 1_000_000)),
        _ if part.strip_prefix("setpoint") == Some(suffix) => Some((Part::Setpoint(condition), scale)),
        _ if part.strip_prefix("deadband") == Some(suffix) => Some((Part::Deadband(condition), scale)),
        _ => None,
    }
}

/// All names a knob may have.
pub fn names() -> Vec<String> {
    let mut names = vec!["slip_heat.budget_kj".to_owned(), "slip_heat.time_constant_min".to_owned()];
    for condition in Condition::ALL {
        for part in [
            "setpoint_pct",
            "setpoint_s",
            "setpoint_turns",
            "setpoint_c",
            "setpoint",
            "deadband_pct",
            "deadband_s",
            "deadband_c",
            "on_delay_s",
            "off_delay_s",
        ] {
            let key = format!("{}.{part}", condition.name());
            if named(&key).is_some() {
                names.push(key);
            }
        }
    }
    names
}

impl Knob {
    /// A ladder from `from` to `to` in steps, in the unit that the key names. What is wrong with it otherwise: the field and why.
    pub fn new(key: &str, from: f64, to: f64, step: f64) -> Result<Self, (&'static str, String)> {
        let Some((part, scale)) = named(key) else {
            let names = names();
            let near = names
                .iter()
                .map(|name| (strsim::jaro_winkler(key, name), name))
                .filter(|(likeness, _)| *likeness > 0.85)
                .max_by(|one, other| one.0.total_cmp(&other.0))
                .map(|(_, name)| format!("did you mean \"{name}\"?"));
            let mend = near.unwrap_or_else(|| {
                "write condition and part as in a settings file, such as \"slip_high.setpoint_pct\" or \"underspeed.on_delay_s\"; \
                 a machine's speeds and sizes are measured, not tuned"
                    .to_owned()
            });
            return Err(("key", format!("\"{key}\" is no limit that can be varied: {mend}")));
        };
        let whole = |field: &'static str, value: f64| {
            let scaled = value * scale as f64;
            if scaled.is_finite() && scaled.abs() < 4e9 && (scaled - scaled.round()).abs() < 1e-3 {
                Ok(scaled.round() as i64)
            } else {
                Err((field, format!("is {value}, which is no multiple of {}: round it", 1.0 / scale as f64)))
            }
        };
        let (low, high, step) = (whole("from", from)?, whole("to", to)?, whole("step", step)?);
        if step <= 0 {
            return Err((
                "step",
                format!("is {step}, expected above 0: it says how far apart the values tried shall be"),
            ));
        }
        if high < low {
            return Err(("to", format!("is {to} and below from = {from}: the range is empty; swap them")));
        }
        let levels = (high - low) / step + 1;
        if levels == 1 {
            let mend =
                "widen the range or make the step smaller, or remove this [[limit]] and set it in the settings file";
            return Err((
                "step",
                format!("is {} and leaves one value only, {from}: {mend}", step as f64 / scale as f64),
            ));
        }
        if levels > MOST_LEVELS {
            return Err(("step", format!("makes {levels} values, more than {MOST_LEVELS}: make the step larger")));
        }
        Ok(Self { key: key.to_owned(), part, scale, from: low, step, levels: levels as u16 })
    }

    /// How many values it has.
    #[must_use]
    pub const fn levels(&self) -> u16 {
        self.levels
    }

    fn raw(&self, level: u16) -> i64 {
        self.from + i64::from(level) * self.step
    }

    /// The value in the unit of the key, as text.
    #[must_use]
    pub fn text(&self, level: u16) -> String {
        self.write(self.raw(level))
    }

    fn write(&self, raw: i64) -> String {
        let value = raw as f64 / self.scale as f64;
        let text = format!("{value:.4}");
        let text = text.trim_end_matches('0').trim_end_matches('.');
        if text.is_empty() { "0".to_owned() } else { text.to_owned() }
    }

    /// The value in the unit of the key.
    #[must_use]
    pub fn value(&self, level: u16) -> f64 {
        self.raw(level) as f64 / self.scale as f64
    }

    /// The unit, for people.
    #[must_use]
    pub fn unit(&self) -> &'static str {
        let suffix = self.key.rsplit('_').next().unwrap_or_default();
        match suffix {
            "pct" => "%",
            "s" => "s",
            "min" => "min",
            "kj" => "kJ",
            "turns" => "turns",
            "c" => "°C",
            _ => "",
        }
    }

    /// The name without its unit, in words.
    #[must_use]
    pub fn words(&self) -> String {
        let (condition, part) = self.key.split_once('.').unwrap_or((&self.key, ""));
        let part = ["_pct", "_s", "_min", "_kj", "_turns", "_c"]
            .iter()
            .find_map(|suffix| part.strip_suffix(suffix))
            .unwrap_or(part);
        format!("{} {}", condition, part).replace('_', " ")
    }

    /// Set it; [`STANDS`] leaves it.
    pub fn turn(&self, settings: &mut Settings, level: u16) {
        if level != STANDS {
            self.set(settings, self.raw(level));
        }
    }

    /// The level at which it stands as these settings have it: a rung, or [`STANDS`] between rungs. Slip heat is each leg's own.
    #[must_use]
    pub fn standing(&self, settings: &Settings) -> u16 {
        if matches!(self.part, Part::HeatBudget | Part::HeatTimeConstant) {
            return STANDS;
        }
        (0..self.levels).find(|level| self.raw(*level) == self.get(settings)).unwrap_or(STANDS)
    }

    /// The rungs next below and above a level.
    #[must_use]
    pub fn beside(&self, settings: &Settings, level: u16) -> [Option<u16>; 2] {
        if level != STANDS {
            return [level.checked_sub(1), Some(level + 1).filter(|next| *next < self.levels)];
        }
        let now = self.get(settings);
        let below = (0..self.levels).rev().find(|rung| self.raw(*rung) < now);
        [below, (0..self.levels).find(|rung| self.raw(*rung) > now)]
    }

    /// The value at a level, as text; as it stands in these settings where the level says so.
    #[must_use]
    pub fn text_at(&self, settings: &Settings, level: u16) -> String {
        if level == STANDS { self.present(settings) } else { self.text(level) }
    }

    /// Whether a level lets a stop come later or more seldom than these settings do.
    #[must_use]
    pub fn loosens_a_stop(&self, settings: &Settings, level: u16) -> bool {
        let (condition, loose_is_more) = match self.part {
            Part::Setpoint(condition) | Part::OnDelay(condition) => (condition, true),
            // A condition that clears sooner holds a stop for less long.
            Part::Deadband(condition) | Part::OffDelay(condition) => (condition, false),
            Part::HeatBudget => (Condition::SlipHeat, true),
            // Heat that is thought to cool sooner stops later.
            Part::HeatTimeConstant => (Condition::SlipHeat, false),
        };
        let steps = self.steps_from(settings, level);
        settings.limits.of(condition).action == Action::Stop && if loose_is_more { steps > 0.0 } else { steps < 0.0 }
    }

    fn set(&self, settings: &mut Settings, raw: i64) {
        let limits = &mut settings.limits;
        let small = i32::try_from(raw).unwrap_or(i32::MAX);
        let span = Span::new(u32::try_from(raw).unwrap_or(u32::MAX));
        match self.part {
            Part::Setpoint(condition) => limits.change(condition, |limit| limit.setpoint = small),
            Part::Deadband(condition) => limits.change(condition, |limit| limit.deadband = small),
            Part::OnDelay(condition) => limits.change(condition, |limit| limit.on_delay = span),
            Part::OffDelay(condition) => limits.change(condition, |limit| limit.off_delay = span),
            Part::HeatBudget => limits.slip_heat.budget = Joules::new(u32::try_from(raw).unwrap_or(u32::MAX)),
            Part::HeatTimeConstant => limits.slip_heat.time_constant = span,
        }
    }

    /// The value that these settings have, as text.
    #[must_use]
    pub fn present(&self, settings: &Settings) -> String {
        self.write(self.get(settings))
    }

    fn get(&self, settings: &Settings) -> i64 {
        let limits = &settings.limits;
        match self.part {
            Part::Setpoint(condition) => limits.of(condition).setpoint.into(),
            Part::Deadband(condition) => limits.of(condition).deadband.into(),
            Part::OnDelay(condition) => limits.of(condition).on_delay.get().into(),
            Part::OffDelay(condition) => limits.of(condition).off_delay.get().into(),
            Part::HeatBudget => limits.slip_heat.budget.get().into(),
            Part::HeatTimeConstant => limits.slip_heat.time_constant.get().into(),
        }
    }

    /// How many steps a level lies from what the settings have.
    #[must_use]
    pub fn steps_from(&self, settings: &Settings, level: u16) -> f64 {
        if level == STANDS {
            return 0.0;
        }
        (self.raw(level) - self.get(settings)) as f64 / self.step as f64
    }

    /// Whether it changes the slip heat's time constant, on which the heat tables depend.
    #[must_use]
    pub fn is_time_constant(&self) -> bool {
        self.part == Part::HeatTimeConstant
    }

    /// Whether it changes what the slip heat is held against, on which they depend too.
    #[must_use]
    pub fn is_heat_limit(&self) -> bool {
        matches!(self.part, Part::HeatBudget | Part::Setpoint(Condition::SlipHeat))
    }

    /// The section and key in a settings file.
    #[must_use]
    pub fn place(&self) -> (String, &str) {
        let (section, key) = self.key.split_once('.').unwrap_or(("", &self.key));
        let section = if section == "slip_heat" && (key == "budget_kj" || key == "time_constant_min") {
            section.to_owned()
        } else {
            format!("limits.{section}")
        };
        (section, key)
    }
}
