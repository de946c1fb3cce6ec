//! What the list says of a condition, and what the box needs of it.

use crate::input::Shaft;

/// The unit of a condition's value and setpoint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// Parts per million of what the condition is about.
    Ppm,
    /// Milliseconds.
    Milliseconds,
    /// Millionths of a turn.
    Microturns,
    /// Tenths of a degree Celsius.
    DeciCelsius,
    /// A number of things.
    Count,
    /// Just yes (1) or no (0).
    Flag,
}

/// What a condition does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Action {
    /// Tells people.
    Alarm,
    /// Drops the feed permit too, so that the leg empties.
    DropFeed,
    /// Drops both permits: the leg stops.
    Stop,
}

/// How urgent an alarm is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Priority {
    /// At the next round.
    Low,
    /// Soon.
    Medium,
    /// Now.
    High,
}

/// Yes or no, each set in one place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Flag {
    /// The start time was up before the belt was at speed.
    StartFailed,
    /// The shafts turn with the drive off.
    Rollback,
    /// The outlet switch.
    OutletPlugged,
    /// The head signal is not to be trusted.
    HeadDistrust,
    /// The boot signal is not to be trusted.
    BootDistrust,
    /// The head fell silent while the boot turns.
    HeadSilent,
    /// The pattern of the head's targets is not whole.
    HeadTargets,
    /// The pattern of the boot's targets is not whole.
    BootTargets,
    /// A rub contact's line is faulty.
    ContactFault,
    /// The drive contact chatters or contradicts the shafts.
    DriveContact,
    /// The speed reference cannot be relied on.
    Reference,
    /// The plan is damaged, or could not be read.
    Plan,
    /// The reset button has been down for too long.
    ResetHeld,
    /// A bypass runs.
    Bypass,
    /// The leg runs without its permit.
    Unpermitted,
}

impl Flag {
    /// Whether it is plainly so or not so, by a mark or a signal of its own, and seldom so.
    #[must_use]
    pub const fn is_plain(self) -> bool {
        !matches!(self, Self::Rollback | Self::HeadSilent | Self::DriveContact | Self::Reference)
    }
}

/// A number that has an upper limit. [`i32::MIN`] stands for unknown, which changes nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Value {
    /// Head angle since the last boot edge, in 2^-24 turn.
    SinceBoot,
    /// Slip heat, in 2^-30 of its budget.
    Heat,
    /// The worst duty of a rub contact, in ppm.
    Duty,
    /// The hottest rub point, in tenths of a degree.
    Hottest,
    /// How far the ratio seen is from the one accepted, without its sign, in ppm.
    RatioShift,
    /// Edges of one shaft while the leg stands.
    EdgesAtRest,
    /// Starts in the rolling window.
    Starts,
    /// Late inputs in the last minute.
    Lates,
}

/// A window of slip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Window {
    /// One boot turn.
    Short,
    /// Four boot turns.
    Long,
}

/// A moment since which something lasts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Stamp {
    /// The oldest rub that goes on.
    Rubbing,
    /// Slip became unknown.
    SlipUnknown,
}

/// What a condition looks at, and how.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    /// Beyond while the flag is set.
    Flag(Flag),
    /// Beyond from the limit on, within below the clear level.
    Upper(Value),
    /// Beyond above the limit, within below it: what counts is how many more than allowed.
    Over(Value),
    /// The least of a reading against the limit, its most against the clear level.
    RangeAbove(Window),
    /// The same below zero.
    RangeBelow(Window),
    /// A shaft's last pitch, closed or still open: limit and clear level are microseconds a turn, and silence alone can cross the limit.
    Slow(Shaft),
    /// How long something has lasted, against the limit in microseconds.
    Since(Stamp),
    /// Both shafts silent sooner than the leg can stop.
    BothSilent,
}

/// When a condition is judged. "Live" is neither standing, nor running down, nor with the drive known to be off.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Gate {
    /// Always.
    Always,
    /// Live.
    Live,
    /// Live, and suppressed by design while starting or inching.
    LiveOnceStarted,
    /// Live or running down: a head that turns two turns under a standing belt burns it, whatever the contact says.
    LiveOrRunningDown,
    /// Live but not starting, or running down: while starting no shaft has its speed yet.
    StartedOrRunningDown,
    /// Running, and the drive not known to be off.
    Running,
    /// The drive is known to be off.
    DriveOff,
    /// Standing.
    Standstill,
    /// Always, while anything is [flagged](Flag::is_plain): as long as nothing is, these rows need no look. Not for the list: rows get it.
    Flagged,
}

/// What must be fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Needs {
    /// Nothing but what every leg has.
    Nothing,
    /// Targets on the head shaft.
    Head,
    /// Targets on both shafts.
    BothShafts,
    /// A rub contact.
    Contacts,
    /// A temperature sensor.
    Temperatures,
    /// The outlet switch.
    Outlet,
    /// A speed reference.
    Reference,
    /// The starter's auxiliary contact.
    DriveContact,
    /// The starter's auxiliary contact, or targets on the head shaft.
    DriveContactOrHead,
}

/// How far a condition may be weakened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Must {
    /// It may be switched off.
    Nothing,
    /// It must be an alarm at least, where what it needs is fitted.
    Alarm,
    /// It stops the leg and latches, whatever anyone sets: between a stopped belt and a fire, or where trust is gone.
    Stop,
}

/// Starting values: engineering judgement, each with its reason. Each leg's engineer decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Starting {
    /// The value from which it is wrong, in the condition's unit.
    pub setpoint: i32,
    /// How far back inside it the value must come.
    pub deadband: i32,
    /// On-delay in milliseconds.
    pub on_ms: u32,
    /// Off-delay in milliseconds.
    pub off_ms: u32,
    /// Whether the alarm stays until reset.
    pub latching: bool,
    /// How urgent it is.
    pub priority: Priority,
    /// What it does.
    pub action: Action,
}

/// All that the list says of a condition. The words are for the desk; a box that does not ask for them does not hold them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Its number in files and messages: another than its rank, and never changed or given again.
    pub id: u8,
    /// The name used in files and settings: lower case, words joined by underscores.
    pub name: &'static str,
    /// The unit of value and setpoint.
    pub unit: Unit,
    /// What it looks at.
    pub sense: Sense,
    /// When it is judged.
    pub gate: Gate,
    /// What must be fitted.
    pub needs: Needs,
    /// How far it may be weakened.
    pub must: Must,
    /// Whether it may be bypassed.
    pub bypass: bool,
    /// Whether the boot must be reported clear after it has stopped the leg.
    pub boot_cleared: bool,
    /// The least and the most its setpoint may be.
    pub setpoint: (i32, i32),
    /// The longest on-delay it may have.
    pub longest_on_delay_ms: u32,
    /// Its starting value.
    pub starting: Starting,
    /// One line: what is wrong when it is raised.
    pub summary: &'static str,
    /// One line: why its starting value is what it is.
    pub reason: &'static str,
    /// A few words for people.
    pub title: &'static str,
    /// What it means, for someone new to the trade.
    pub meaning: &'static str,
}

/// What judge needs of a condition: five bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Row {
    /// What it looks at.
    pub sense: Sense,
    /// When it is judged.
    pub gate: Gate,
    /// What must be fitted.
    pub needs: Needs,
    traits: u8,
}

const BYPASS: u8 = 1;
const BOOT_CLEARED: u8 = 2;
const WATCHED: u8 = 4;

impl Row {
    /// The row of an entry.
    #[must_use]
    pub const fn of(entry: &Entry) -> Self {
        let traits = if entry.bypass { BYPASS } else { 0 } | if entry.boot_cleared { BOOT_CLEARED } else { 0 };
        let traits = traits | if entry.sense.follows_motion() { WATCHED } else { 0 };
        let gate = match (entry.gate, entry.sense) {
            (Gate::Always, Sense::Flag(flag)) if flag.is_plain() => Gate::Flagged,
            (gate, _) => gate,
        };
        Self { sense: entry.sense, gate, needs: entry.needs, traits }
    }

    /// Whether it may be bypassed.
    #[must_use]
    pub const fn can_be_bypassed(&self) -> bool {
        self.traits & BYPASS != 0
    }

    /// Whether the boot must be reported clear after it has stopped the leg.
    #[must_use]
    pub const fn needs_boot_cleared(&self) -> bool {
        self.traits & BOOT_CLEARED != 0
    }

    /// Whether every motion may change it.
    #[must_use]
    pub const fn is_watched(&self) -> bool {
        self.traits & WATCHED != 0
    }
}

/// A number of the list in two bytes: itself, or how many thousands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Short(u16);

const THOUSANDS: u16 = 1 << 15;

impl Short {
    /// Not for numbers that it cannot hold: as a constant they do not compile.
    const fn new(value: u32) -> Self {
        if value < THOUSANDS as u32 {
            return Self(value as u16);
        }
        let thousands = value / 1_000;
        assert!(thousands < THOUSANDS as u32 && thousands.wrapping_mul(1_000) == value, "no whole thousands");
        Self(thousands as u16 | THOUSANDS)
    }

    const fn get(self) -> u32 {
        let number = (self.0 & !THOUSANDS) as u32;
        if self.0 & THOUSANDS != 0 { number.wrapping_mul(1_000) } else { number }
    }
}

/// What judge compares a value with, made of a setpoint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Compared {
    /// The setpoint itself.
    Itself,
    /// The setpoint itself, up to as many as are counted.
    Counted,
    /// Milliseconds as microseconds.
    Time,
    /// Millionths of a turn in 2^-24 turn.
    Angle,
    /// Millionths of the heat budget in 2^-30.
    Heat,
    /// A loss of the head's normal speed as the time of a turn.
    HeadTurn,
    /// A loss of the boot's normal speed as the time of a turn.
    BootTurn,
}

impl Compared {
    /// How a sense compares a setpoint in this unit.
    #[must_use]
    pub const fn of(sense: Sense, unit: Unit) -> Self {
        match (sense, unit) {
            (Sense::Slow(Shaft::Head), _) => Self::HeadTurn,
            (Sense::Slow(Shaft::Boot), _) => Self::BootTurn,
            (Sense::Upper(Value::SinceBoot), _) => Self::Angle,
            (Sense::Upper(Value::Heat), _) => Self::Heat,
            (Sense::Upper(Value::Lates), _) => Self::Counted,
            (_, Unit::Milliseconds) => Self::Time,
            _ => Self::Itself,
        }
    }
}

impl Sense {
    /// Whether every motion may change what it says.
    #[must_use]
    pub const fn follows_motion(self) -> bool {
        matches!(
            self,
            Self::RangeAbove(_)
                | Self::RangeBelow(_)
                | Self::Slow(_)
                | Self::BothSilent
                | Self::Since(Stamp::Rubbing)
                | Self::Upper(Value::SinceBoot | Value::Duty)
                | Self::Flag(Flag::HeadSilent | Flag::Reference)
        )
    }

    /// Whether there is a band between beyond and within: not for what is only counted, nor for yes or no.
    #[must_use]
    pub const fn has_band(self) -> bool {
        !matches!(
            self,
            Self::Flag(_) | Self::Over(_) | Self::Upper(Value::EdgesAtRest | Value::Lates) | Self::BothSilent
        )
    }
}

/// What the box's own check of a plan needs of a condition: ten bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    least: Short,
    most: Short,
    longest_on_delay_ms: Short,
    /// How far it may be weakened.
    pub must: Must,
    /// What must be fitted.
    pub needs: Needs,
    /// How the limit follows from the setpoint.
    pub compared: Compared,
    /// Whether there is a band between beyond and within.
    pub has_band: bool,
}

impl Rule {
    /// The rule of an entry.
    #[must_use]
    pub const fn of(entry: &Entry) -> Self {
        let (least, most) = entry.setpoint;
        assert!(0 <= least && least <= most, "setpoints are not negative");
        Self {
            least: Short::new(least as u32),
            most: Short::new(most as u32),
            longest_on_delay_ms: Short::new(entry.longest_on_delay_ms),
            must: entry.must,
            needs: entry.needs,
            compared: Compared::of(entry.sense, entry.unit),
            has_band: entry.sense.has_band(),
        }
    }

    /// The least and the most its setpoint may be, in its unit.
    #[must_use]
    pub const fn setpoint(&self) -> (i32, i32) {
        (self.least.get() as i32, self.most.get() as i32)
    }

    /// The longest on-delay it may have, in milliseconds.
    #[must_use]
    pub const fn longest_on_delay_ms(&self) -> u32 {
        self.longest_on_delay_ms.get()
    }
}
