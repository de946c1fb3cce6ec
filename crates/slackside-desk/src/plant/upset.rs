//! What is wrong with the machine at one moment: how the leg differs from its figures.

use super::friction::Face;

/// Everything a fault can change. [`Upset::NONE`] is a sound leg.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Upset {
    /// Friction at the head, as a share of what the face would have.
    pub head_friction: f64,
    /// What the head's face is like.
    pub face: Face,
    /// Lagging lost from the head pulley in mm.
    pub lagging_lost_mm: f64,
    /// Build-up on the head pulley in mm of radius.
    pub head_buildup_mm: f64,
    /// Build-up on the boot pulley in mm of radius.
    pub boot_buildup_mm: f64,
    /// Mean stretch taken from the belt, as strain: slack, new-belt stretch.
    pub belt_longer: f64,
    /// The take-up's pull, as a share of the sound figure.
    pub takeup_pull: f64,
    /// The gravity take-up is jammed or at its end.
    pub takeup_jammed: bool,
    /// Grain running into the boot beside the feed, in kg/s.
    pub inflow_kg_per_s: f64,
    /// Share of the feed rate asked for on top of it: 0.3 is 30 % too much.
    pub overfeed: f64,
    /// What the joint between drive and head pulley can pass on, in N m at the head: drive belt, key.
    pub drive_joint_n_m: f64,
    /// Whether the head sensor is on the drive's side of that joint: a loose pulley, not a slipping drive belt.
    pub joint_at_pulley: bool,
    /// What holds the boot pulley on its shaft, in N m.
    pub boot_joint_n_m: f64,
    /// The belt is parted.
    pub belt_parted: bool,
    /// Share of the fallen belt that comes to lie on the boot pulley and brakes it; the rest falls clear.
    pub heap: f64,
    /// Drag in N where the belt is caught or frozen.
    pub belt_held_n: f64,
    /// Drag in N m on the boot pulley: seized, packed, iced.
    pub boot_pulley_n_m: f64,
    /// Bearings, bending and reducer: drag as a multiple of the sound figure.
    pub losses: f64,
    /// Drag of the bearings at head and boot, as multiples of the sound figure.
    pub bearing: [f64; 2],
    /// Amplitude in N of what rocks the standing belt, once in two seconds: wind in an outdoor casing, a neighbour's shaking.
    pub rocking_n: f64,
    /// Drag in N that a rough feed adds to the belt in the boot, once in three seconds.
    pub surge_n: f64,
    /// Share of the outlet that is blocked.
    pub outlet_blocked: f64,
    /// The backstop does not hold.
    pub backstop_failed: bool,
    /// Torque in N m at the head that another leg on the same drive takes.
    pub shared_n_m: f64,
    /// Head shaft tilt in mm for each metre, positive with the right end low.
    pub head_tilt_mm_per_m: f64,
    /// Boot shaft tilt in mm for each metre, positive with the right end loose.
    pub boot_tilt_mm_per_m: f64,
    /// Casing leaning at the head in mm.
    pub lean_mm: f64,
    /// Crown, as a share of the sound figure.
    pub crown: f64,
    /// How far the head's face is out of round, beside the leg's own figure, in mm.
    pub runout_mm: f64,
    /// Camber of the splice in mm for each metre.
    pub splice_mm_per_m: f64,
    /// Bump on the belt's edge in mm.
    pub edge_mm: f64,
    /// Supply voltage, of nominal.
    pub supply: f64,
}

impl Upset {
    /// Nothing is wrong.
    pub const NONE: Self = Self {
        head_friction: 1.0,
        face: Face { bare: false, wet: 0.0, filmed: 0.0, polished: 0.0 },
        lagging_lost_mm: 0.0,
        head_buildup_mm: 0.0,
        boot_buildup_mm: 0.0,
        belt_longer: 0.0,
        takeup_pull: 1.0,
        takeup_jammed: false,
        inflow_kg_per_s: 0.0,
        overfeed: 0.0,
        drive_joint_n_m: f64::INFINITY,
        joint_at_pulley: false,
        boot_joint_n_m: f64::INFINITY,
        belt_parted: false,
        heap: 0.0,
        belt_held_n: 0.0,
        boot_pulley_n_m: 0.0,
        losses: 1.0,
        bearing: [1.0; 2],
        rocking_n: 0.0,
        surge_n: 0.0,
        outlet_blocked: 0.0,
        backstop_failed: false,
        shared_n_m: 0.0,
        head_tilt_mm_per_m: 0.0,
        boot_tilt_mm_per_m: 0.0,
        lean_mm: 0.0,
        crown: 1.0,
        runout_mm: 0.0,
        splice_mm_per_m: 0.0,
        edge_mm: 0.0,
        supply: 1.0,
    };
}

impl Default for Upset {
    fn default() -> Self {
        Self::NONE
    }
}
