//! What may be the cause.

use crate::input::{Place, Shaft};
use crate::units::Ppm;

/// Something that may be wrong with the leg or with what watches it. What to inspect for each is for the desk to say.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Cause {
    /// The head pulley lost its lagging: the slip that never goes away is that of a smaller pulley.
    LaggingLost,
    /// The settings' diameters or accepted ratio are not those of this leg, or build-up changed a pulley.
    RatioWrong,
    /// Head and boot sensor are on each other's inputs.
    SensorsSwapped,
    /// The normal speed in the settings, the number of targets or the clock is not that of this leg.
    SpeedWrong,
    /// The two sensors' wires are bridged.
    WiresBridged,
    /// The head pulley does not grip as it should: slack take-up, worn or wet lagging.
    GripLost,
    /// More load than the leg is made for.
    Overloaded,
    /// The boot is choked, or the boot pulley is held.
    BootChoked,
    /// The belt parted, or came off the head pulley.
    BeltParted,
    /// The drive runs slow: motor, its supply, or the drive belts between motor and head shaft.
    DriveSlow,
    /// The start was too heavy: a loaded leg, or a motor that is too weak.
    HeavyStart,
    /// A target sensor, its wire or its gap.
    SensorLost(Shaft),
    /// What both sensors share: supply, junction box, the leg's only cable.
    CommonSupply,
    /// Electrical noise on a sensor's wire.
    SensorNoise(Shaft),
    /// A target is missing, loose, or there is one too many.
    Target(Shaft),
    /// The belt runs off centre towards this place.
    OffCentre(Place),
    /// The belt rubs at the head on one side and at the boot on the other: shafts out of parallel or casing out of plumb.
    OutOfLine,
    /// One place on the belt rubs here once a loop: splice, torn edge, a bucket out of line.
    BeltFault(Place),
    /// The rub comes once a turn of the shaft at this place: bent shaft, pulley out of true.
    ShaftFault(Place),
    /// A rub contact, or its wire.
    ContactLost,
    /// The backstop did not hold.
    BackstopFailed,
    /// A sensor chatters at rest: a target at the edge of its range, or vibration.
    SensorChatter,
    /// The way out at the head is plugged.
    OutletPlugged,
    /// The starter's auxiliary contact or its wire.
    DriveContact,
    /// The run permit's contacts do not keep the starter off: bridged, or never wired into it.
    PermitWiring,
    /// The speed reference's wire or its settings.
    SpeedReference,
    /// Somebody jogs the leg.
    Jogging,
    /// A rub point or its bearing is hot.
    HotSpot,
    /// The recording's times are out of order.
    TimeBase,
}

/// How sure a finding is. No finding is proof: look before you act.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Confidence {
    /// One of several; look.
    Possible,
    /// More likely than the rest.
    Likely,
    /// The evidence fits this and little else.
    Strong,
}

/// One cause with how sure it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Finding {
    /// What it may be.
    pub cause: Cause,
    /// How sure.
    pub confidence: Confidence,
    /// The figure it rests on, where there is one: slip, loss, shift, duty.
    pub figure: Option<Ppm>,
}
