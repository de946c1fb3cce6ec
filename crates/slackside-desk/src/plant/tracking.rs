//! Where the belt runs: sideways motion at head and boot.
//!
//! A belt that meets a pulley at an angle moves sideways by that angle for each metre run. The angle is the sum of the
//! shaft's tilt, the way the strand comes from the other pulley, what wanders, the splice's camber while it passes, less
//! what the crown takes back. Offsets are in metres, positive to the right of a person on the up-strand side who looks the
//! way the head discharges.
//!
//! Common practice, no source: at a head shaft out of level the belt runs to the low end, at a boot shaft to the loose end.
//! So positive tilt is "right end low" at the head and "right end loose" at the boot.

/// What acts on the belt's path.
#[derive(Clone, Copy, Debug, Default)]
pub struct Steering {
    /// Tilt of the head shaft in rad, positive with the right end low.
    pub head_tilt: f64,
    /// Tilt of the boot shaft in rad, positive with the right end loose.
    pub boot_tilt: f64,
    /// Crown steering of the head pulley in 1/m.
    pub head_crown: f64,
    /// Crown steering of the boot pulley in 1/m.
    pub boot_crown: f64,
    /// Camber of the splice in rad.
    pub splice_camber: f64,
    /// Bump on the belt's right edge in m, at one place of the loop.
    pub edge_bump: f64,
    /// How far the casing leans to the left at the head in m: the right wall comes nearer.
    pub lean: f64,
}

/// The geometry that does not change.
#[derive(Clone, Copy, Debug)]
pub struct Lane {
    /// Distance between the shafts in m.
    pub centres: f64,
    /// Length of the loop in m.
    pub loop_length: f64,
    /// Side clearance in m.
    pub clearance: f64,
    /// Side force in N for each radian that a wall holds the belt back.
    pub stiffness: f64,
}

/// How long the splice and a damaged edge are, in m.
const SPLICE_LENGTH: f64 = 1.0;

/// The belt's path.
#[derive(Clone, Copy, Debug, Default)]
pub struct Tracking {
    /// Offset at the head in m.
    pub head: f64,
    /// Offset at the boot in m.
    pub boot: f64,
    /// The loop's position in m: how far the splice is past the head.
    pub phase: f64,
    /// Side force in N at head left, head right, boot left, boot right.
    pub side_force: [f64; 4],
    /// Whether the belt touches there.
    pub touches: [bool; 4],
}

impl Tracking {
    /// The belt ran `metres`, forward or back.
    pub fn run(&mut self, metres: f64, steering: &Steering, lane: &Lane, wander: [f64; 2]) {
        self.phase += metres;
        if self.phase >= lane.loop_length {
            self.phase -= lane.loop_length;
        } else if self.phase < 0.0 {
            self.phase += lane.loop_length;
        }
        // The splice passes the boot half a loop later.
        let boot_phase = if self.phase >= 0.5 * lane.loop_length {
            self.phase - 0.5 * lane.loop_length
        } else {
            self.phase + 0.5 * lane.loop_length
        };
        let way = (self.boot - self.head) / lane.centres;
        let camber = |phase: f64| if phase < SPLICE_LENGTH { steering.splice_camber } else { 0.0 };
        let head_angle = steering.head_tilt + wander[0] + way + camber(self.phase) - steering.head_crown * self.head;
        let boot_angle = steering.boot_tilt + wander[1] - way + camber(boot_phase) - steering.boot_crown * self.boot;
        let bump = |phase: f64| if phase < SPLICE_LENGTH { steering.edge_bump } else { 0.0 };
        let moving = metres != 0.0;
        let (left, right) = (lane.clearance + steering.lean, lane.clearance - steering.lean);
        let head = Side { angle: head_angle, bump: bump(self.phase), left, right };
        let boot = Side { angle: boot_angle, bump: bump(boot_phase), left: lane.clearance, right: lane.clearance };
        let mut forces = [[0.0; 2]; 2];
        let mut touches = [[false; 2]; 2];
        for (i, (offset, side)) in [(&mut self.head, head), (&mut self.boot, boot)].into_iter().enumerate() {
            *offset += metres * side.angle;
            (forces[i], touches[i]) = side.hold(offset, lane.stiffness, moving);
        }
        self.side_force = [forces[0][0], forces[0][1], forces[1][0], forces[1][1]];
        self.touches = [touches[0][0], touches[0][1], touches[1][0], touches[1][1]];
    }
}

struct Side {
    angle: f64,
    bump: f64,
    left: f64,
    right: f64,
}

impl Side {
    /// Keep the belt between the walls; what they must hold is the force that the rest of the angle makes.
    fn hold(&self, offset: &mut f64, stiffness: f64, moving: bool) -> ([f64; 2], [bool; 2]) {
        let (mut force, mut touch) = ([0.0; 2], [false; 2]);
        if *offset <= -self.left {
            *offset = -self.left;
            touch[0] = true;
            force[0] = stiffness * (-self.angle).max(0.0);
        }
        if *offset >= self.right {
            *offset = self.right;
            touch[1] = true;
            force[1] = stiffness * self.angle.max(0.0);
        } else if self.bump > 0.0 && *offset + self.bump >= self.right {
            // A frayed or swollen edge gives: it presses as if the belt were turned by the overlap over a metre.
            touch[1] = true;
            force[1] = stiffness * 0.2 * (*offset + self.bump - self.right);
        }
        if !moving {
            force = [0.0; 2];
        }
        (force, touch)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LANE: Lane = Lane { centres: 30.0, loop_length: 62.0, clearance: 0.03, stiffness: 30_000.0 };

    fn run(tracking: &mut Tracking, steering: &Steering, metres: f64) {
        for _ in 0..(metres / 0.05) as u32 {
            tracking.run(0.05, steering, &LANE, [0.0; 2]);
        }
    }

    #[test]
    fn without_a_crown_it_does_not_come_back_and_with_one_it_does() {
        let start = Tracking { head: 0.01, boot: 0.01, ..Tracking::default() };
        let mut flat = start;
        run(&mut flat, &Steering::default(), 500.0);
        assert!((flat.head - 0.01).abs() < 1e-12 && (flat.boot - 0.01).abs() < 1e-12);
        let mut crowned = start;
        run(&mut crowned, &Steering { head_crown: 0.12, boot_crown: 0.12, ..Steering::default() }, 500.0);
        assert!(crowned.head.abs() < 1e-9 && crowned.boot.abs() < 1e-9);
    }

    #[test]
    fn a_tilt_of_one_millimetre_a_metre_starts_at_one_millimetre_a_metre_and_ends_at_the_wall() {
        let mut tracking = Tracking::default();
        let steering = Steering { head_tilt: 0.001, boot_tilt: 0.001, ..Steering::default() };
        run(&mut tracking, &steering, 1.0);
        assert!((tracking.head - 0.001).abs() < 1e-9, "{}", tracking.head);
        run(&mut tracking, &steering, 100.0);
        assert_eq!(tracking.head, LANE.clearance);
        assert!(tracking.touches[1] && tracking.side_force[1] > 0.0 && !tracking.touches[0]);
    }

    #[test]
    fn a_crown_holds_a_small_tilt_at_tilt_over_steering() {
        let mut tracking = Tracking::default();
        let steering =
            Steering { head_tilt: 0.001, boot_tilt: 0.001, head_crown: 0.1, boot_crown: 0.1, ..Steering::default() };
        run(&mut tracking, &steering, 500.0);
        assert!((tracking.head - 0.01).abs() < 1e-6, "{}", tracking.head);
    }

    #[test]
    fn a_splice_out_of_square_kicks_once_a_loop() {
        let mut tracking = Tracking::default();
        let steering = Steering { splice_camber: 0.005, head_crown: 0.12, boot_crown: 0.12, ..Steering::default() };
        run(&mut tracking, &steering, 62.0 * 10.0);
        let mut highest = (0.0, 0.0);
        for _ in 0..1_240 {
            tracking.run(0.05, &steering, &LANE, [0.0; 2]);
            if tracking.head > highest.0 {
                highest = (tracking.head, tracking.phase);
            }
        }
        assert!(highest.0 > 0.003 && (0.9..1.2).contains(&highest.1), "{highest:?}");
    }
}
