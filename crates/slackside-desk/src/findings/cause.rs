//! What may be wrong with a leg or with what watches it: the causes that a report can name.

/// A cause. What to do about each, [`inspection`](crate::report::inspection) says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "each is described by its name and its words")]
pub enum Cause {
    BeltParted,
    LaggingGone,
    LaggingSlick,
    TakeUp,
    HeadPulleyLoose,
    BootPulleyLoose,
    Overload,
    Choke,
    BootHeld,
    BeltCaught,
    FrozenStart,
    HeadBuildup,
    BootBuildup,
    WrongDiameters,
    Jogging,
    OutletPlugged,
    DriveSlow,
    PowerDip,
    Rollback,
    OffCentre,
    OnePlace,
    Runout,
    HeadSensorLost,
    HeadSensorUnsteady,
    HeadTargetLoose,
    HeadTargetMissing,
    BootSensorLost,
    BootSensorUnsteady,
    BootTargetLoose,
    BootTargetMissing,
    BothSensors,
    WiresBridged,
    SensorsSwapped,
    ContactStuck,
    ContactBouncing,
    ContactCut,
    DriveContact,
    SpeedReference,
    WrongSpeed,
    Nothing,
    HotSpot,
    PermitWiring,
    SensorChatter,
    TimeBase,
}

impl Cause {
    /// Those that the plant can make and the model knows, in the order of its tables; the last is "nothing wrong".
    pub const ALL: [Self; 40] = [
        Self::BeltParted,
        Self::LaggingGone,
        Self::LaggingSlick,
        Self::TakeUp,
        Self::HeadPulleyLoose,
        Self::BootPulleyLoose,
        Self::Overload,
        Self::Choke,
        Self::BootHeld,
        Self::BeltCaught,
        Self::FrozenStart,
        Self::HeadBuildup,
        Self::BootBuildup,
        Self::WrongDiameters,
        Self::Jogging,
        Self::OutletPlugged,
        Self::DriveSlow,
        Self::PowerDip,
        Self::Rollback,
        Self::OffCentre,
        Self::OnePlace,
        Self::Runout,
        Self::HeadSensorLost,
        Self::HeadSensorUnsteady,
        Self::HeadTargetLoose,
        Self::HeadTargetMissing,
        Self::BootSensorLost,
        Self::BootSensorUnsteady,
        Self::BootTargetLoose,
        Self::BootTargetMissing,
        Self::BothSensors,
        Self::WiresBridged,
        Self::SensorsSwapped,
        Self::ContactStuck,
        Self::ContactBouncing,
        Self::ContactCut,
        Self::DriveContact,
        Self::SpeedReference,
        Self::WrongSpeed,
        Self::Nothing,
    ];

    /// Those that only a rule names: the plant cannot make them.
    pub const BY_RULE: [Self; 4] = [Self::HotSpot, Self::PermitWiring, Self::SensorChatter, Self::TimeBase];

    /// All of them.
    pub fn every() -> impl Iterator<Item = Self> {
        Self::ALL.into_iter().chain(Self::BY_RULE)
    }

    /// Its name in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::BeltParted => "belt parted",
            Self::LaggingGone => "lagging gone",
            Self::LaggingSlick => "lagging worn or filmed",
            Self::TakeUp => "take-up slack or jammed",
            Self::HeadPulleyLoose => "head pulley loose",
            Self::BootPulleyLoose => "boot pulley loose",
            Self::Overload => "overload",
            Self::Choke => "choke",
            Self::BootHeld => "boot pulley held",
            Self::BeltCaught => "belt caught",
            Self::FrozenStart => "frozen start",
            Self::HeadBuildup => "build-up at head",
            Self::BootBuildup => "build-up at boot",
            Self::WrongDiameters => "wrong diameters",
            Self::Jogging => "jogging",
            Self::OutletPlugged => "outlet plugged",
            Self::DriveSlow => "drive slow",
            Self::PowerDip => "power dip",
            Self::Rollback => "rollback",
            Self::OffCentre => "belt off centre",
            Self::OnePlace => "one place on the belt",
            Self::Runout => "runout",
            Self::HeadSensorLost => "head sensor lost",
            Self::HeadSensorUnsteady => "head sensor unsteady",
            Self::HeadTargetLoose => "head target loose",
            Self::HeadTargetMissing => "head target missing",
            Self::BootSensorLost => "boot sensor lost",
            Self::BootSensorUnsteady => "boot sensor unsteady",
            Self::BootTargetLoose => "boot target loose",
            Self::BootTargetMissing => "boot target missing",
            Self::BothSensors => "both sensors lost",
            Self::WiresBridged => "wires bridged",
            Self::SensorsSwapped => "sensors swapped",
            Self::ContactStuck => "rub contact stuck",
            Self::ContactBouncing => "rub contact bouncing",
            Self::ContactCut => "rub contact cut",
            Self::DriveContact => "drive contact",
            Self::SpeedReference => "speed reference",
            Self::WrongSpeed => "wrong normal speed",
            Self::Nothing => "nothing wrong",
            Self::HotSpot => "rub point hot",
            Self::PermitWiring => "permit bypassed in the wiring",
            Self::SensorChatter => "sensor chatters at rest",
            Self::TimeBase => "times out of order",
        }
    }

    /// The cause of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::every().find(|cause| cause.name() == name)
    }

    /// How often it is what is behind an alarm, against the others. Common practice, no source: grain legs choke, run off centre, are fed
    /// too much and slip on worn lagging or a slack belt far more often than a pulley comes loose on its shaft. Without such a weight a
    /// rare cause that looks the same would be named as often as the everyday one.
    #[must_use]
    pub const fn often(self) -> u32 {
        match self {
            Self::Choke | Self::OffCentre => 10,
            Self::LaggingSlick | Self::TakeUp | Self::Overload => 8,
            Self::OutletPlugged | Self::BootSensorLost | Self::Nothing => 6,
            Self::BootSensorUnsteady => 5,
            Self::BootHeld
            | Self::DriveSlow
            | Self::PowerDip
            | Self::OnePlace
            | Self::HeadSensorLost
            | Self::HeadSensorUnsteady
            | Self::LaggingGone => 4,
            Self::BeltParted
            | Self::BeltCaught
            | Self::FrozenStart
            | Self::HeadBuildup
            | Self::BootBuildup
            | Self::WrongDiameters
            | Self::Jogging
            | Self::Runout
            | Self::HeadTargetMissing
            | Self::BootTargetMissing
            | Self::BootTargetLoose
            | Self::ContactStuck
            | Self::ContactCut
            | Self::DriveContact => 3,
            Self::BootPulleyLoose | Self::WiresBridged => 1,
            _ => 2,
        }
    }

    /// How much looking here first is worth if it is this, against looking at a sensor: what harm it does while nobody looks. Engineering
    /// judgement, no source.
    #[must_use]
    pub const fn consequence(self) -> u32 {
        match self {
            Self::BeltParted | Self::Rollback | Self::HotSpot => 20,
            Self::Choke | Self::BeltCaught | Self::FrozenStart | Self::BootHeld | Self::OutletPlugged => 6,
            Self::LaggingGone
            | Self::LaggingSlick
            | Self::TakeUp
            | Self::HeadPulleyLoose
            | Self::BootPulleyLoose
            | Self::Overload
            | Self::OffCentre
            | Self::OnePlace
            | Self::Runout
            | Self::HeadBuildup
            | Self::BootBuildup
            | Self::DriveSlow
            | Self::Jogging
            | Self::PermitWiring => 3,
            _ => 1,
        }
    }

    /// Whether looking elsewhere first may cost more than time: what moves or holds the belt.
    #[must_use]
    pub const fn is_grave(self) -> bool {
        self.consequence() > 1
    }

    /// Whether it is of what measures, not of what moves: looked at after a belt that may have parted.
    #[must_use]
    pub const fn is_of_sensors(self) -> bool {
        matches!(
            self,
            Self::HeadSensorLost
                | Self::HeadSensorUnsteady
                | Self::HeadTargetLoose
                | Self::HeadTargetMissing
                | Self::BootSensorLost
                | Self::BootSensorUnsteady
                | Self::BootTargetLoose
                | Self::BootTargetMissing
                | Self::BothSensors
                | Self::WiresBridged
                | Self::SensorsSwapped
                | Self::ContactStuck
                | Self::ContactBouncing
                | Self::ContactCut
                | Self::DriveContact
                | Self::SpeedReference
                | Self::SensorChatter
                | Self::TimeBase
        )
    }
}
