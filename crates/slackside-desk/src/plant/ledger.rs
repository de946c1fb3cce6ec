//! Where the energy went: every joule the motor gives must be found again.

/// Sums in J since the start.
#[derive(Clone, Copy, Debug, Default)]
pub struct Ledger {
    /// Work of the motor on its shaft.
    pub motor: f64,
    /// Work of the take-up on the belt.
    pub takeup: f64,
    /// Work against gravity on the load.
    pub lift: f64,
    /// Bringing grain to belt speed; half of it is lost in the impact, half leaves with the grain.
    pub acceleration: f64,
    /// Reducer, bending, another leg on the drive.
    pub losses: f64,
    /// Bearings at head and boot.
    pub bearings: [f64; 2],
    /// Digging, choke and whatever holds the belt.
    pub digging: f64,
    /// Slip between belt and head pulley, creep apart.
    pub head_slip: f64,
    /// Creep.
    pub creep: f64,
    /// Slip between belt and boot pulley.
    pub boot_slip: f64,
    /// Slip of the drive belt or of a loose pulley.
    pub joint_slip: f64,
    /// Damping in the strands.
    pub strand: f64,
    /// Rubbing on the casing.
    pub rub: f64,
    /// What pulleys out of round take and give back: nothing over a turn.
    pub runout: f64,
}

impl Ledger {
    /// What came in less what is accounted for, given the kinetic and elastic energy gained since the start.
    #[must_use]
    pub fn missing(&self, stored: f64) -> f64 {
        self.motor + self.takeup
            - (self.lift
                + self.acceleration
                + self.losses
                + self.bearings[0]
                + self.bearings[1]
                + self.runout
                + self.digging
                + self.head_slip
                + self.creep
                + self.boot_slip
                + self.joint_slip
                + self.strand
                + self.rub
                + stored)
    }
}
