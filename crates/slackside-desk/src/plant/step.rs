//! One fast step: what pulls and brakes each end, how fast everything is after it, and where the energy went.

use core::f64::consts::PI;

use super::discharge::GRAVITY;
use super::ripple::{At, Beat, wave};
use super::{Plant, creep, wrap};

/// What both ends have in common through a step, as it was before it.
struct Pull {
    /// Pull of the carrying and of the returning strand where the ends meet, in N.
    carrying: f64,
    returning: f64,
    /// What centrifugal force takes off the grip on a pulley, in N.
    centrifugal: f64,
    /// What brakes a belt that has parted, in N for each kg: it falls.
    parted: f64,
    /// What bending the belt around one pulley takes, in N.
    bending: f64,
    /// How far each rim runs ahead of what its shaft's speed says, as a share.
    ahead: [f64; 2],
    /// Periodic drags in N at drive and boot.
    ripple: [f64; 2],
}

/// A step of the head end, as the ledger wants it.
struct HeadStep {
    /// Speeds before it.
    before: [f64; 3],
    /// Pull of the motor at the rim in N.
    motor_n: f64,
    /// What the motor's own damping added to the mass, in kg.
    implicit: f64,
    /// How much faster than the belt the pulley runs by elastic creep, as a share.
    creep: f64,
}

/// A step of the boot end, as the ledger wants it.
struct BootStep {
    /// Speeds before it.
    before: [f64; 3],
    /// What the belt catches on, in N.
    caught: f64,
    /// Push of wind on a standing belt, in N.
    rocking: f64,
}

impl Plant {
    /// Move everything fast on by one step.
    pub(super) fn fast_part(&mut self) {
        let pull = self.pull();
        let head = self.move_head(&pull);
        let boot = self.move_boot(&pull);
        self.move_strands(&pull, &head, &boot);
        self.book(&pull, &head, &boot);
    }

    fn pull(&mut self) -> Pull {
        let [carrying, returning] = self.strands();
        let speed_squared = self.top.speed[2] * self.top.speed[2];
        let ahead = |runout: f64, turned: f64| if runout > 0.0 { runout * wave(turned) } else { 0.0 };
        let [runout, turned] = [self.held.runout, self.turned];
        Pull {
            carrying,
            returning,
            centrifugal: self.leg.belt.mass_kg_per_m * speed_squared,
            parted: if self.upset.belt_parted { GRAVITY } else { 0.0 },
            bending: 0.5 * self.leg.belt.bending_n * self.upset.losses,
            ahead: [ahead(runout[0], turned[0]), ahead(runout[1], turned[1])],
            ripple: self.ripple(),
        }
    }

    fn strands(&self) -> [f64; 2] {
        if self.upset.belt_parted {
            return [0.0; 2];
        }
        let rate = self.top.speed[2] - self.bottom.speed[0];
        let sinking = self.sinking();
        let pull = |stretch: f64, rate: f64| {
            if stretch <= 0.0 { 0.0 } else { (self.fixed.stiffness * stretch + self.fixed.damping * rate).max(0.0) }
        };
        [pull(self.stretch + self.shift, sinking + rate), pull(self.stretch - self.shift, sinking - rate)]
    }

    /// How fast the boot sinks with a gravity take-up, in m/s.
    fn sinking(&self) -> f64 {
        self.hanging.map_or(0.0, |hanging| hanging.speed)
    }

    fn move_head(&mut self, pull: &Pull) -> HeadStep {
        let (dt, up, held) = (self.fixed.dt, self.upset, &self.held);
        let before = self.top.speed;
        let to_rim = self.fixed.reduction / held.head_radius;
        let motor_speed = before[0] * to_rim;
        let (torque, damping) = self.feeding.torque(&self.leg.drive.starter, &self.motor, motor_speed, up.supply);
        let motor_n = torque * to_rim;
        if self.closed {
            self.current += self.feeding.current_squared(&self.leg.drive.starter, &self.motor, motor_speed, torque);
        }
        // The motor's own damping is stiff: take it at the end of the step, which is to add it to the mass.
        let implicit = (damping * to_rim * to_rim).max(0.0) * dt;
        let creep = creep::lead(self.tight, self.boot_slack, self.fixed.elastic_n).clamp(-0.05, 0.05);
        let sliding = before[1] - before[2] * (1.0 + creep);
        let ratio = if sliding.abs() < 1e-4 {
            held.head_ratio
        } else {
            wrap::tension_ratio(held.warmth * held.curve.at(sliding), self.fixed.wrap)
        };
        self.head_limit = wrap::largest_pull(self.slack, pull.centrifugal, ratio);
        let back_limit = wrap::largest_pull(self.tight, pull.centrifugal, ratio);
        let drive_brake = up.losses * (self.fixed.load_loss * motor_n.abs() + self.fixed.idle_n)
            + up.shared_n_m / held.head_radius
            + pull.ripple[0];
        let head_brake = self.leg.head.bearing_n_m * up.losses * up.bearing[0] / held.head_radius;
        let belt_brake = pull.bending + held.rub_head_n + pull.parted * self.top.mass[2];
        let drive_joint = up.drive_joint_n_m / held.head_radius;
        self.top.force = [motor_n, 0.0, pull.returning - pull.carrying - GRAVITY * self.carry.upper];
        self.top.brake = [drive_brake, head_brake, belt_brake];
        self.top.backstop = self.leg.drive.backstop && !up.backstop_failed;
        self.top.limit = [[-drive_joint, drive_joint], [-back_limit, self.head_limit]];
        // Where the radius is larger, the rim runs ahead of what the shaft's speed says, and the belt with it.
        self.top.lead = [0.0, (creep - pull.ahead[0]) * before[2]];
        self.top.mass[0] += implicit;
        self.top.solve(dt);
        self.top.mass[0] -= implicit;
        HeadStep { before, motor_n, implicit, creep }
    }

    fn move_boot(&mut self, pull: &Pull) -> BootStep {
        let (up, held) = (self.upset, &self.held);
        let before = self.bottom.speed;
        let half_strand = 0.5 * self.fixed.strand_kg;
        let boot_carry = pull.carrying - (half_strand + self.carry.lower) * (GRAVITY + self.acceleration[1]);
        let boot_limit = wrap::largest_pull(boot_carry.min(self.boot_slack), pull.centrifugal, held.boot_ratio);
        // A parted belt hangs on nothing and turns nothing.
        let boot_limit = if up.belt_parted { 0.0 } else { boot_limit };
        let boot_joint = up.boot_joint_n_m / held.boot_radius;
        let caught = held.dig_n + up.belt_held_n + pull.ripple[1] + pull.parted * self.bottom.mass[0];
        let rocking = if up.rocking_n > 0.0 && !self.closed { up.rocking_n * wave(0.5 * self.seconds) } else { 0.0 };
        self.bottom.force =
            [pull.carrying - pull.returning - GRAVITY * self.carry.lower - held.pickup_n + rocking, 0.0, 0.0];
        self.bottom.lead = [pull.ahead[1] * before[1], 0.0];
        self.bottom.brake = [
            caught + pull.bending + held.rub_boot_n,
            // What of a parted belt comes down on the boot pulley brakes it, once it has fallen so far (engineering judgement).
            up.boot_pulley_n_m / held.boot_radius + 0.3 * pull.parted * self.heap() * self.fixed.strand_kg,
            self.leg.boot.bearing_n_m * up.losses * up.bearing[1] / held.boot_radius,
        ];
        self.bottom.limit = [[-boot_limit, boot_limit], [-boot_joint, boot_joint]];
        self.bottom.solve(self.fixed.dt);
        BootStep { before, caught, rocking }
    }

    /// How far everything went, and the tensions where the strands meet the pulleys.
    fn move_strands(&mut self, pull: &Pull, head: &HeadStep, boot: &BootStep) {
        let dt = self.fixed.dt;
        let half_strand = 0.5 * self.fixed.strand_kg;
        let [head_now, boot_now] = [self.top.speed[2], self.bottom.speed[0]];
        self.shift += dt * (head_now - boot_now);
        self.move_takeup(pull);
        self.metres += dt * 0.5 * (boot_now + boot.before[0]);
        self.seconds += dt;
        self.turned[0] += dt * self.top.speed[1] / (2.0 * PI * self.held.head_radius);
        self.turned[1] += dt * self.bottom.speed[1] / (2.0 * PI * self.held.boot_radius);
        let smooth = (dt / 0.02).min(1.0);
        self.acceleration[0] += smooth * ((head_now - head.before[2]) / dt - self.acceleration[0]);
        self.acceleration[1] += smooth * ((boot_now - boot.before[0]) / dt - self.acceleration[1]);
        let [head_pull, boot_pull] = self.acceleration;
        self.tight = (pull.carrying + (half_strand + self.carry.upper) * (GRAVITY + head_pull)).max(0.0);
        self.slack = (pull.returning + half_strand * (GRAVITY - head_pull)).max(0.0);
        self.boot_slack = (pull.returning - half_strand * (GRAVITY - boot_pull)).max(0.0);
        if self.upset.belt_parted {
            (self.tight, self.slack, self.boot_slack) = (0.0, 0.0, 0.0);
        }
    }

    /// A gravity take-up follows what its weight has over the tensions.
    fn move_takeup(&mut self, pull: &Pull) {
        let Some(hanging) = &mut self.hanging else { return };
        if self.upset.takeup_jammed || self.upset.belt_parted {
            hanging.hold();
            return;
        }
        let dt = self.fixed.dt;
        let tensions = pull.carrying + pull.returning;
        hanging.step(2.0 * self.held.takeup_n - tensions, dt);
        self.stretch += dt * hanging.speed;
        self.ledger.takeup += dt * hanging.speed * tensions;
    }

    /// Where the energy went: force times the mean of the speeds before and after.
    fn book(&mut self, pull: &Pull, head: &HeadStep, boot: &BootStep) {
        let (dt, held) = (self.fixed.dt, &self.held);
        let mid = |before: [f64; 3], after: [f64; 3]| {
            [0.5 * (before[0] + after[0]), 0.5 * (before[1] + after[1]), 0.5 * (before[2] + after[2])]
        };
        let (t, b) = (mid(head.before, self.top.speed), mid(boot.before, self.bottom.speed));
        let used = head.motor_n - (self.top.speed[0] - head.before[0]) * head.implicit / dt;
        let [j0, j1] = self.top.joint;
        let creeping = j1 * head.creep * t[2];
        let wobbling = -j1 * pull.ahead[0] * t[2];
        let boot_wobbling = self.bottom.joint[0] * pull.ahead[1] * b[1];
        let (top_belt, bottom_belt) = (self.top.braking[2] * t[2], self.bottom.braking[0] * b[0]);
        let share = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.0 };
        let rub_top = share(held.rub_head_n, self.top.brake[2]);
        let rub_bottom = share(held.rub_boot_n, self.bottom.brake[0]);
        let dig = share(boot.caught, self.bottom.brake[0]);
        let sinking = self.sinking();
        let ledger = &mut self.ledger;
        ledger.motor += dt * used * t[0];
        ledger.losses -= dt
            * (self.top.braking[0] * t[0]
                + (1.0 - rub_top) * top_belt
                + (1.0 - rub_bottom - dig) * bottom_belt
                + self.bottom.braking[1] * b[1]
                - boot.rocking * b[0]);
        ledger.bearings[0] -= dt * self.top.braking[1] * t[1];
        ledger.bearings[1] -= dt * self.bottom.braking[2] * b[2];
        ledger.runout += dt * (wobbling + boot_wobbling);
        ledger.rub -= dt * (rub_top * top_belt + rub_bottom * bottom_belt);
        ledger.digging -= dt * dig * bottom_belt;
        ledger.joint_slip += dt * (j0 * (t[0] - t[1]) + self.bottom.joint[1] * (b[1] - b[2]));
        ledger.creep += dt * creeping;
        ledger.head_slip += dt * (j1 * (t[1] - t[2]) - creeping - wobbling);
        ledger.boot_slip += dt * (self.bottom.joint[0] * (b[0] - b[1]) - boot_wobbling);
        ledger.lift += dt * GRAVITY * (self.carry.upper * t[2] + self.carry.lower * b[0]);
        ledger.acceleration += dt * held.pickup_n * b[0];
        // The strands' damping: what they pulled beyond their spring, at the stretch in the middle of the step.
        let spring = |stretch: f64| self.fixed.stiffness * stretch.max(0.0);
        let shift = self.shift - 0.5 * dt * (self.top.speed[2] - self.bottom.speed[0]);
        let stretch = self.stretch - 0.5 * dt * sinking;
        let (up, down) = (spring(stretch + shift), spring(stretch - shift));
        let apart = t[2] - b[0];
        ledger.strand += dt * ((pull.carrying - up) * (sinking + apart) + (pull.returning - down) * (sinking - apart));
    }

    /// Periodic drags in N at drive and boot, and how far they have gone.
    fn ripple(&mut self) -> [f64; 2] {
        let mut drags = [0.0, 0.0];
        if self.upset.surge_n > 0.0 {
            drags[1] += 0.5 * self.upset.surge_n * (1.0 + wave(self.seconds / 3.0));
        }
        let dt = self.fixed.dt;
        for (ripple, gone) in self.leg.ripple.iter().zip(&mut self.gone) {
            *gone += dt
                * match ripple.beat {
                    Beat::Second => 1.0,
                    Beat::Metre => self.bottom.speed[0],
                    Beat::HeadTurn => self.top.speed[1] / (2.0 * PI * self.held.head_radius),
                };
            drags[usize::from(ripple.at == At::Boot)] += ripple.drag(*gone);
        }
        drags
    }

    /// How much of the heap lies on the boot pulley: it comes down within the time a thing takes to fall from the head.
    fn heap(&self) -> f64 {
        self.upset.heap * (self.parted_for / self.fixed.fall_time).min(1.0)
    }
}
