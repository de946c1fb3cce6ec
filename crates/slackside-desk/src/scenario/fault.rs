//! Faults: what goes wrong, from when, how badly.
//!
//! Each has a severity from 0 (nothing) to 1 (as bad as it is meant to get), so that it can be swept; [`Kind::meaning`]
//! says what 1 stands for.

use serde::{Deserialize, Serialize};
use slackside::input::Place;

use crate::plant::discharge::GRAVITY;
use crate::plant::leg::Leg;
use crate::plant::upset::Upset;
use crate::sensors::SensorUpset;
use crate::sensors::line::LineUpset;

/// What can go wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Deserialize, Serialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs, reason = "each is described by `meaning`")]
pub enum Kind {
    LaggingWorn,
    LaggingMissing,
    TakeupSlack,
    Overload,
    BootChoke,
    DriveBeltSlipping,
    HeadPulleyLoose,
    BootPulleyLoose,
    BeltParted,
    SpliceLettingGo,
    BeltCaught,
    BootPulleyDragging,
    TakeupJammed,
    BeltStretch,
    HeadBuildup,
    BootBuildup,
    SlipperyFeed,
    WetHead,
    Cold,
    OutletPlugged,
    SharedDrive,
    BackstopFailed,
    HeadOutOfLevel,
    BootEndLoose,
    CasingOutOfPlumb,
    CrownMissing,
    SpliceOutOfSquare,
    BeltEdgeDamaged,
    HeadOutOfRound,
    BearingFailing,
    PeriodicDrag,
    Rocking,
    PowerDip,
    TargetMissing,
    TargetLoose,
    SensorOutOfReach,
    SensorCut,
    SensorCutHumming,
    SensorStuckHigh,
    SensorStuckLow,
    SensorDropout,
    SensorBounce,
    SensorNoise,
    SensorJitter,
    ContactStuckRubbing,
    ContactStuckClear,
    ContactCut,
    ContactBouncing,
    DriveContactChatter,
    DriveContactCut,
}

/// What a fault needs to be told beside its severity.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Where {
    /// Nothing.
    Nowhere,
    /// A side: `left` or `right`.
    Side,
    /// A shaft: `head` or `boot`.
    Shaft,
    /// A place: `head_left` and the like.
    Place,
}

impl Kind {
    /// All of them, in the order of the book.
    pub const ALL: [Self; 50] = [
        Self::LaggingWorn,
        Self::LaggingMissing,
        Self::TakeupSlack,
        Self::Overload,
        Self::BootChoke,
        Self::DriveBeltSlipping,
        Self::HeadPulleyLoose,
        Self::BootPulleyLoose,
        Self::BeltParted,
        Self::SpliceLettingGo,
        Self::BeltCaught,
        Self::BootPulleyDragging,
        Self::TakeupJammed,
        Self::BeltStretch,
        Self::HeadBuildup,
        Self::BootBuildup,
        Self::SlipperyFeed,
        Self::WetHead,
        Self::Cold,
        Self::OutletPlugged,
        Self::SharedDrive,
        Self::BackstopFailed,
        Self::HeadOutOfLevel,
        Self::BootEndLoose,
        Self::CasingOutOfPlumb,
        Self::CrownMissing,
        Self::SpliceOutOfSquare,
        Self::BeltEdgeDamaged,
        Self::HeadOutOfRound,
        Self::BearingFailing,
        Self::PeriodicDrag,
        Self::Rocking,
        Self::PowerDip,
        Self::TargetMissing,
        Self::TargetLoose,
        Self::SensorOutOfReach,
        Self::SensorCut,
        Self::SensorCutHumming,
        Self::SensorStuckHigh,
        Self::SensorStuckLow,
        Self::SensorDropout,
        Self::SensorBounce,
        Self::SensorNoise,
        Self::SensorJitter,
        Self::ContactStuckRubbing,
        Self::ContactStuckClear,
        Self::ContactCut,
        Self::ContactBouncing,
        Self::DriveContactChatter,
        Self::DriveContactCut,
    ];

    /// Whether it is a fault of what measures, not of what moves.
    #[must_use]
    pub const fn is_of_sensors(self) -> bool {
        matches!(
            self,
            Self::TargetMissing
                | Self::TargetLoose
                | Self::SensorOutOfReach
                | Self::SensorCut
                | Self::SensorCutHumming
                | Self::SensorStuckHigh
                | Self::SensorStuckLow
                | Self::SensorDropout
                | Self::SensorBounce
                | Self::SensorNoise
                | Self::SensorJitter
                | Self::ContactStuckRubbing
                | Self::ContactStuckClear
                | Self::ContactCut
                | Self::ContactBouncing
                | Self::DriveContactChatter
                | Self::DriveContactCut
        )
    }

    /// Whether running makes it worse, so that it waits while the leg stands: wear, what works loose, what cakes on.
    #[must_use]
    pub const fn comes_of_running(self) -> bool {
        matches!(
            self,
            Self::LaggingWorn
                | Self::DriveBeltSlipping
                | Self::HeadPulleyLoose
                | Self::BootPulleyLoose
                | Self::SpliceLettingGo
                | Self::BeltStretch
                | Self::HeadBuildup
                | Self::BootBuildup
                | Self::BeltEdgeDamaged
                | Self::HeadOutOfRound
                | Self::BearingFailing
                | Self::TargetLoose
        )
    }

    /// Its name in files.
    #[must_use]
    pub fn name(self) -> String {
        match toml::Value::try_from(self) {
            Ok(toml::Value::String(name)) => name,
            _ => String::new(),
        }
    }

    /// What severity 1 stands for.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::LaggingWorn => "worn smooth, friction down to a fifth, 60 % of the lagging's thickness gone",
            Self::LaggingMissing => {
                "all lagging gone; bare steel at friction 0.25 for severity 0, greasy at 0.06 for 1"
            }
            Self::TakeupSlack => "no tension left from the take-up; only the belt's own weight pulls",
            Self::Overload => "2.5 times the feed rate asked for",
            Self::BootChoke => "grain runs into the boot at three times the design flow, beside the feed",
            Self::DriveBeltSlipping => "the drive belt passes a twentieth of rated torque; 1.5 times at 0",
            Self::HeadPulleyLoose => "the head pulley's hub passes a twentieth of rated torque; 1.5 times at 0",
            Self::BootPulleyLoose => "the boot pulley's hub holds a tenth of its bearings' drag; three times at 0",
            Self::BeltParted => {
                "the belt is parted and heaps up on the boot pulley; near 0 it falls clear and the pulley coasts"
            }
            Self::SpliceLettingGo => "the splice has slipped by 0.4 % of the belt and parts",
            Self::BeltCaught => "the belt is held with 30 kN: frozen in, or caught by a loose bucket",
            Self::BootPulleyDragging => "2 kN m hold the boot pulley: seized bearing, packed, iced",
            Self::TakeupJammed => "a gravity take-up no longer moves (at any severity above 0)",
            Self::BeltStretch => "the belt is 0.6 % longer",
            Self::HeadBuildup => "15 mm of caked material on the head pulley, friction down by 40 %",
            Self::BootBuildup => "15 mm of caked material on the boot pulley",
            Self::SlipperyFeed => "the head's face under a film: fat, molasses, meal paste",
            Self::WetHead => "the head's face is wet",
            Self::Cold => {
                "all drags six times as large, friction down by 30 %; from the start of the run, air of -20 degrees too"
            }
            Self::OutletPlugged => "nothing leaves by the outlet",
            Self::SharedDrive => "another leg like this one on the same drive takes three times rated torque",
            Self::BackstopFailed => "the backstop does not hold (at any severity above 0)",
            Self::HeadOutOfLevel => "head shaft 15 mm out of level for each metre; `side` is the low end",
            Self::BootEndLoose => "boot shaft 15 mm askew for each metre; `side` is the loose end",
            Self::CasingOutOfPlumb => {
                "casing at the head leaning by 1.2 times the clearance; `side` is the wall that comes nearer"
            }
            Self::CrownMissing => "no crown on either pulley",
            Self::SpliceOutOfSquare => "the splice leads the belt aside by 30 mm each time it passes",
            Self::BeltEdgeDamaged => "the right edge stands out by 40 mm over a metre of belt",
            Self::HeadOutOfRound => "the head's face runs out by 6 mm: lagging torn off on one side",
            Self::BearingFailing => "the bearings of that shaft drag forty times as much",
            Self::PeriodicDrag => "a drag of up to half the full load's pull comes and goes every three seconds",
            Self::Rocking => "the belt is rocked with up to 30 % of the take-up's tension, once in two seconds",
            Self::PowerDip => "no voltage; below half of it the contactor lets go",
            Self::TargetMissing => "one target is gone (at any severity above 0)",
            Self::TargetLoose => "one target has moved by 40 % of a pitch",
            Self::SensorOutOfReach => "the sensor sees nothing; below 1 targets look narrower and the farthest vanish",
            Self::SensorCut => "the sensor's wire is cut (at any severity above 0)",
            Self::SensorCutHumming => {
                "the sensor's wire is cut and picks up mains hum, 50 Hz below 0.5 and 60 Hz from there"
            }
            Self::SensorStuckHigh => "the sensor's output stays high (at any severity above 0)",
            Self::SensorStuckLow => "the sensor's output stays low (at any severity above 0)",
            Self::SensorDropout => "no target is seen; at 0.1 every tenth is missed at random",
            Self::SensorBounce => "every edge bounces",
            Self::SensorNoise => "20 bursts of noise a second on the wire",
            Self::SensorJitter => "500 microseconds of jitter",
            Self::ContactStuckRubbing => "the rub contact stays closed (at any severity above 0)",
            Self::ContactStuckClear => "the rub contact stays open (at any severity above 0)",
            Self::ContactCut => "the rub contact's wire is cut (at any severity above 0)",
            Self::ContactBouncing => "the rub contact bounces up to twelve times (at any severity above 0)",
            Self::DriveContactChatter => "the drive contact opens ten times a second for a moment",
            Self::DriveContactCut => "the drive contact's wire is cut: it reads off (at any severity above 0)",
        }
    }

    /// What it needs to be told.
    #[must_use]
    pub const fn needs(self) -> Where {
        match self {
            Self::HeadOutOfLevel | Self::BootEndLoose | Self::CasingOutOfPlumb => Where::Side,
            Self::BearingFailing
            | Self::TargetMissing
            | Self::TargetLoose
            | Self::SensorOutOfReach
            | Self::SensorCut
            | Self::SensorCutHumming
            | Self::SensorStuckHigh
            | Self::SensorStuckLow
            | Self::SensorDropout
            | Self::SensorBounce
            | Self::SensorNoise
            | Self::SensorJitter => Where::Shaft,
            Self::ContactStuckRubbing | Self::ContactStuckClear | Self::ContactCut | Self::ContactBouncing => {
                Where::Place
            }
            _ => Where::Nowhere,
        }
    }
}

/// A side of the leg.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// Left.
    Left,
    /// Right.
    Right,
}

/// A shaft with targets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum End {
    /// The head shaft.
    Head,
    /// The boot shaft.
    Boot,
}

/// A rub contact's place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs, reason = "the names say it")]
pub enum Contact {
    HeadLeft,
    HeadRight,
    BootLeft,
    BootRight,
}

impl Side {
    /// Both.
    pub const ALL: [Self; 2] = [Self::Left, Self::Right];
}

impl Contact {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::HeadLeft, Self::HeadRight, Self::BootLeft, Self::BootRight];

    const fn place(self) -> Place {
        match self {
            Self::HeadLeft => Place::HeadLeft,
            Self::HeadRight => Place::HeadRight,
            Self::BootLeft => Place::BootLeft,
            Self::BootRight => Place::BootRight,
        }
    }
}

/// One fault of a scenario.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Fault {
    /// What.
    pub kind: Kind,
    /// From when, in s.
    pub from_s: f64,
    /// How long it takes to grow to its severity, in s.
    #[serde(default)]
    pub ramp_s: f64,
    /// Until when, in s. Left out: to the end.
    pub until_s: Option<f64>,
    /// How bad, 0 to 1.
    pub severity: f64,
    /// The side, where it has one.
    pub side: Option<Side>,
    /// The shaft, where it has one.
    pub shaft: Option<End>,
    /// The place, where it has one.
    pub place: Option<Contact>,
    /// Its force or torque, as a share of what the severity stands for: other than 1 on a leg of another size than the scenario's.
    #[serde(skip, default = "Fault::as_told")]
    pub force: f64,
}

impl Fault {
    /// The share of its force that a fault has on the scenario's own leg.
    #[must_use]
    pub const fn as_told() -> f64 {
        1.0
    }

    /// A fault that comes at once and stays, with nothing else to be told.
    #[must_use]
    pub const fn plain(kind: Kind, from_s: f64, severity: f64) -> Self {
        Self {
            kind,
            from_s,
            ramp_s: 0.0,
            until_s: None,
            severity,
            side: None,
            shaft: None,
            place: None,
            force: Self::as_told(),
        }
    }

    /// Severity at a time in s, of which the leg has stood for `stood_s` since the fault began.
    #[must_use]
    pub fn severity_at(&self, now: f64, stood_s: f64) -> f64 {
        if now < self.from_s || self.until_s.is_some_and(|until| now >= until) {
            return 0.0;
        }
        let stood_s = if self.kind.comes_of_running() { stood_s } else { 0.0 };
        if self.ramp_s > 0.0 {
            self.severity * ((now - self.from_s - stood_s) / self.ramp_s).min(1.0)
        } else {
            self.severity
        }
    }

    /// Add what it does at severity `s` above 0.
    pub fn apply(&self, s: f64, leg: &Leg, plant: &mut Upset, sensors: &mut SensorUpset) {
        let sign = if self.side == Some(Side::Left) { -1.0 } else { 1.0 };
        let rated_n_m = rated_at_head(leg);
        match self.kind {
            Kind::LaggingWorn => {
                plant.face.polished = plant.face.polished.max(s);
                plant.head_friction *= 1.0 - 0.55 * s;
                plant.lagging_lost_mm += 0.6 * s * leg.head.lagging_mm;
            }
            Kind::LaggingMissing => {
                plant.face.bare = true;
                plant.face.filmed = plant.face.filmed.max(0.9 * s);
                plant.head_friction *= 0.25 / leg.head.friction;
                plant.lagging_lost_mm = leg.head.lagging_mm;
            }
            Kind::TakeupSlack => plant.takeup_pull *= 1.0 - s,
            Kind::Overload => plant.overfeed += 1.5 * s,
            Kind::BootChoke => plant.inflow_kg_per_s += 3.0 * s * leg.capacity_kg_per_s(),
            Kind::DriveBeltSlipping => plant.drive_joint_n_m = rated_n_m * (1.5 - 1.45 * s),
            Kind::HeadPulleyLoose => {
                plant.drive_joint_n_m = rated_n_m * (1.5 - 1.45 * s);
                plant.joint_at_pulley = true;
            }
            Kind::BootPulleyLoose => plant.boot_joint_n_m = leg.boot.bearing_n_m * (3.0 - 2.9 * s),
            Kind::BeltParted => {
                plant.belt_parted = true;
                plant.heap = s;
            }
            Kind::SpliceLettingGo => {
                plant.belt_longer += 0.004 * s.min(1.0);
                if s >= 0.999 {
                    plant.belt_parted = true;
                    plant.heap = 0.3;
                }
            }
            Kind::BeltCaught => plant.belt_held_n += 30_000.0 * s * self.force,
            Kind::BootPulleyDragging => plant.boot_pulley_n_m += 2_000.0 * s * self.force,
            Kind::TakeupJammed => plant.takeup_jammed = true,
            Kind::BeltStretch => plant.belt_longer += 0.006 * s,
            Kind::HeadBuildup => {
                plant.head_buildup_mm += 15.0 * s;
                plant.head_friction *= 1.0 - 0.4 * s;
            }
            Kind::BootBuildup => plant.boot_buildup_mm += 15.0 * s,
            Kind::SlipperyFeed => plant.face.filmed = plant.face.filmed.max(s),
            Kind::WetHead => plant.face.wet = plant.face.wet.max(s),
            Kind::Cold => {
                plant.losses += 5.0 * s;
                plant.head_friction *= 1.0 - 0.3 * s;
            }
            Kind::OutletPlugged => plant.outlet_blocked = s.min(1.0),
            Kind::SharedDrive => plant.shared_n_m += 3.0 * s * rated_n_m,
            Kind::BackstopFailed => plant.backstop_failed = true,
            Kind::HeadOutOfLevel => plant.head_tilt_mm_per_m += 15.0 * s * sign,
            Kind::BootEndLoose => plant.boot_tilt_mm_per_m += 15.0 * s * sign,
            Kind::CasingOutOfPlumb => plant.lean_mm += 1.2 * s * sign * leg.lateral.clearance_mm,
            Kind::CrownMissing => plant.crown *= 1.0 - s.min(1.0),
            Kind::SpliceOutOfSquare => plant.splice_mm_per_m += 30.0 * s,
            Kind::BeltEdgeDamaged => plant.edge_mm += 40.0 * s,
            Kind::HeadOutOfRound => plant.runout_mm += 6.0 * s,
            Kind::BearingFailing => {
                let end = usize::from(self.shaft == Some(End::Boot));
                plant.bearing[end] *= 1.0 + 39.0 * s;
            }
            Kind::PeriodicDrag => plant.surge_n += 0.5 * s * full_pull(leg),
            Kind::Rocking => plant.rocking_n += s * GUST_PA * leg.lift_m * leg.belt.width_mm / 1_000.0,
            Kind::PowerDip => plant.supply *= 1.0 - s.min(1.0),
            Kind::DriveContactChatter => sensors.drive_chatter_per_s += 10.0 * s,
            Kind::DriveContactCut => sensors.drive_cut = true,
            Kind::ContactStuckRubbing | Kind::ContactStuckClear | Kind::ContactCut | Kind::ContactBouncing => {
                let Some(contact) = self.place.and_then(|at| sensors.contacts.get_mut(at.place().index())) else {
                    return;
                };
                match self.kind {
                    Kind::ContactStuckRubbing => contact.stuck = Some(true),
                    Kind::ContactStuckClear => contact.stuck = Some(false),
                    Kind::ContactCut => contact.cut = true,
                    _ => contact.bouncing = true,
                }
            }
            _ => {
                let line = if self.shaft == Some(End::Head) { &mut sensors.head } else { &mut sensors.boot };
                self.apply_to_line(s, line);
            }
        }
    }

    const fn apply_to_line(&self, s: f64, line: &mut LineUpset) {
        match self.kind {
            Kind::TargetMissing => line.disc.missing = true,
            Kind::TargetLoose => line.disc.moved = 0.4 * s,
            Kind::SensorOutOfReach => line.disc.out_of_reach = s,
            Kind::SensorCut => line.cut = true,
            Kind::SensorCutHumming => {
                line.cut = true;
                line.hum_hz = if s < 0.5 { 50.0 } else { 60.0 };
            }
            Kind::SensorStuckHigh => line.stuck = Some(true),
            Kind::SensorStuckLow => line.stuck = Some(false),
            Kind::SensorDropout => line.dropout = s,
            Kind::SensorBounce => line.bounce = s,
            Kind::SensorNoise => line.noise_per_s = 20.0 * s,
            Kind::SensorJitter => line.jitter_us = 500.0 * s,
            _ => {}
        }
    }
}

/// The pull in N that the head must give a leg running full: lift and digging.
#[must_use]
pub fn full_pull(leg: &Leg) -> f64 {
    leg.capacity_kg_per_s() / leg.rated_belt_speed() * GRAVITY * (leg.lift_m + leg.pit.digging_height_m)
}

/// What a gust of 9 m/s presses with: half the density of air, 1.2 kg/m^3, times its square. That it lies on the whole face of a strand is
/// engineering judgement.
const GUST_PA: f64 = 0.5 * 1.2 * 9.0 * 9.0;

fn rated_at_head(leg: &Leg) -> f64 {
    leg.drive.motor.rated_torque() * leg.drive.reduction
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(kind: Kind) -> Fault {
        toml::from_str(&format!("kind = \"{}\"\nfrom_s = 100.0\nramp_s = 200.0\nseverity = 0.8", kind.name())).unwrap()
    }

    #[test]
    fn wear_waits_while_the_leg_stands_and_a_choke_does_not() {
        for (kind, grown) in [(Kind::SpliceLettingGo, 0.2), (Kind::BootChoke, 0.4)] {
            let fault = fault(kind);
            assert_eq!(fault.severity_at(99.0, 0.0), 0.0);
            assert!((fault.severity_at(200.0, 50.0) - grown).abs() < 1e-12, "{kind:?}");
            assert!((fault.severity_at(900.0, 50.0) - 0.8).abs() < 1e-12, "{kind:?}");
        }
    }
}
