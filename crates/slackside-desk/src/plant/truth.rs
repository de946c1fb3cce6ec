//! What the plant knows and no sensor tells.

use super::{Plant, creep};

/// What is true at one moment.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Truth {
    /// Head shaft speed in rpm.
    pub head_rpm: f64,
    /// Boot shaft speed in rpm.
    pub boot_rpm: f64,
    /// Belt speed in m/s, where it enters the boot.
    pub belt_m_per_s: f64,
    /// Sliding between head rim and belt, of the rim's speed, in per cent. Creep is not part of it.
    pub slip_pct: f64,
    /// Creep in per cent.
    pub creep_pct: f64,
    /// Tension in N where the carrying strand meets the head pulley.
    pub tight_n: f64,
    /// Tension in N where the returning strand leaves the head pulley.
    pub slack_n: f64,
    /// Pull of the head pulley on the belt in N.
    pub pull_n: f64,
    /// The largest pull in N that friction allows.
    pub limit_n: f64,
    /// Offset of the belt at the head in mm, positive to the right.
    pub head_offset_mm: f64,
    /// Offset at the boot in mm.
    pub boot_offset_mm: f64,
    /// Power at the head shaft in W.
    pub power_w: f64,
    /// Slip heat held in rim and lagging in J, with its cooling.
    pub heat_j: f64,
    /// Temperature of the head's face where the belt lies on it, in degrees Celsius.
    pub head_face_c: f64,
    /// Temperature of the rim behind the lagging in degrees Celsius.
    pub head_rim_c: f64,
    /// Hottest face of the belt, standing or moving, in degrees Celsius.
    pub belt_face_c: f64,
    /// Temperature of the boot pulley's face in degrees Celsius.
    pub boot_face_c: f64,
    /// Temperature where the belt rubs hottest, in degrees Celsius.
    pub rub_face_c: f64,
    /// Temperature of the casing there, as a sensor has it, in degrees Celsius.
    pub rub_wall_c: f64,
    /// Temperature of the bearings at the head in degrees Celsius.
    pub head_bearing_c: f64,
    /// Temperature of the bearings at the boot in degrees Celsius.
    pub boot_bearing_c: f64,
    /// Friction at the head as it is now.
    pub friction: f64,
    /// How far the boot is choked, 0 to 1.
    pub choke: f64,
    /// Grain in the boot in kg.
    pub pile_kg: f64,
    /// Grain on the carrying strand in kg.
    pub load_kg: f64,
    /// Flow over the head into the spout in kg/s.
    pub discharge_kg_per_s: f64,
}

impl Plant {
    /// What is true now.
    #[must_use]
    pub fn truth(&self) -> Truth {
        let [head, boot] = self.turning();
        let creep = creep::lead(self.tight, self.boot_slack, self.fixed.elastic_n).clamp(-0.05, 0.05);
        let (ambient, faces) = (self.leg.heat.ambient_c, self.warmth.faces());
        let rim = self.top.speed[1];
        let slip = if rim.abs() > 1e-3 { 1.0 - self.top.speed[2] * (1.0 + creep) / rim } else { 0.0 };
        Truth {
            head_rpm: head * 60.0,
            boot_rpm: boot * 60.0,
            belt_m_per_s: self.bottom.speed[0],
            slip_pct: 100.0 * slip,
            creep_pct: 100.0 * creep / (1.0 + creep),
            tight_n: self.tight,
            slack_n: self.slack,
            pull_n: self.top.joint[1],
            limit_n: self.head_limit,
            head_offset_mm: self.tracking.head * 1_000.0,
            boot_offset_mm: self.tracking.boot * 1_000.0,
            power_w: self.shaft_power(),
            heat_j: self.heat_image,
            head_face_c: ambient + faces.head,
            head_rim_c: ambient + self.warmth.rim(),
            belt_face_c: ambient + faces.belt,
            boot_face_c: ambient + faces.boot,
            rub_face_c: ambient + faces.rub,
            rub_wall_c: ambient + self.warmth.walls().into_iter().fold(0.0, f64::max),
            head_bearing_c: ambient + self.warmth.bearings()[0],
            boot_bearing_c: ambient + self.warmth.bearings()[1],
            friction: self.held.warmth * self.held.curve.at(slip * rim),
            choke: self.leg.pit.choke(self.pile),
            pile_kg: self.pile,
            load_kg: self.carry.lower + self.carry.upper,
            discharge_kg_per_s: self.held.discharge_kg_per_s,
        }
    }
}
