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

impl Row {
    /// The row of an entry.
    #[must_use]
    pub const fn of(entry: &Entry) -> Self {
        let traits = if entry.bypass { BYPASS } else { 0 } | if entry.boot_cleared { BOOT_CLEARED } else { 0 };
        Self { sense: entry.sense, gate: entry.gate, needs: entry.needs, traits }
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
}

/// What the box's own check of a plan needs of a condition.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rule {
    /// The least and the most its setpoint may be, in its unit.
    pub setpoint: (i32, i32),
    /// The longest on-delay it may have, in milliseconds.
    pub longest_on_delay_ms: u32,
    /// How far it may be weakened.
    pub must: Must,
    /// The unit, which says how the limit follows from the setpoint.
    pub unit: Unit,
}

impl Rule {
    /// The rule of an entry.
    #[must_use]
    pub const fn of(entry: &Entry) -> Self {
        Self {
            setpoint: entry.setpoint,
            longest_on_delay_ms: entry.longest_on_delay_ms,
            must: entry.must,
            unit: entry.unit,
        }
    }
}
