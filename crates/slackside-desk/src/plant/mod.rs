//! The plant: a leg that obeys mechanics.
//!
//! Each law has a file of its own with its source; this one puts them together and moves them on. Two chains of bodies
//! ([`chain`]) are tied by the two strands ([`takeup`]) and stepped with a fixed step, forces from the old stretch, stretch
//! from the new speeds. What changes slowly (load, boot, tracking, heat) moves on every [`Plant::SLOW_US`].
//!
//! Speeds are rim speeds: `drive`, `head` and `belt_head` at the head pulley's effective radius, `belt_boot`, `boot` and
//! `shaft` at the boot's.

pub mod carry;
pub mod chain;
pub mod chance;
pub mod creep;
pub mod crown;
pub mod discharge;
pub mod dust;
pub mod friction;
pub mod heat;
pub mod ledger;
pub mod leg;
pub mod motor;
pub mod parting;
pub mod pit;
pub mod protection;
pub mod ripple;
pub mod slug;
pub mod starter;
mod step;
pub mod surface;
pub mod takeup;
pub mod tracking;
mod truth;
pub mod upset;
pub mod wander;
pub mod warmth;
pub mod wrap;

use core::f64::consts::PI;

use carry::Carry;
use chain::Chain;
use chance::Chance;
use discharge::GRAVITY;
use friction::{Curve, Face};
use ledger::Ledger;
use leg::Leg;
use motor::Motor;
use protection::Protection;
use starter::Feeding;
use takeup::{Hanging, Kind};
use tracking::{Lane, Steering, Tracking};
pub use truth::Truth;
use upset::Upset;
use wander::Wander;
use warmth::{Made, Moving, Warmth};

/// What is done to the plant from outside.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Controls {
    /// The motor contactor is closed.
    pub closed: bool,
    /// Feed rate asked for in kg/s.
    pub feed_kg_per_s: f64,
    /// Speed reference of a variable-speed drive, 1 = normal.
    pub reference: f64,
}

/// Speeds of the shafts that carry targets, before and after a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turning {
    /// Head shaft in turns a second, before and after.
    pub head: [f64; 2],
    /// Boot shaft in turns a second, before and after.
    pub boot: [f64; 2],
}

/// Figures that follow from the leg's.
#[derive(Clone, Copy, Debug)]
struct Fixed {
    dt: f64,
    slow: f64,
    slow_steps: u32,
    head_radius: f64,
    boot_radius: f64,
    stiffness: f64,
    elastic_n: f64,
    damping: f64,
    strand_kg: f64,
    wrap: f64,
    reduction: f64,
    /// Speed at which weight and centrifugal force balance at the head, in m/s of belt.
    balance: f64,
    fall_time: f64,
    spout_kg: f64,
    image_keep: f64,
    /// Coulomb drag in N at the rim of a reducer without load.
    idle_n: f64,
    /// Share of the motor's pull that the reducer loses beside that.
    load_loss: f64,
    lane: Lane,
}

/// What the slow part hands to the fast one.
#[derive(Clone, Copy, Debug, Default)]
struct Held {
    head_radius: f64,
    boot_radius: f64,
    curve: Curve,
    /// What the curve was drawn for.
    faced: Option<(Face, f64)>,
    /// Share of the curve that the contact's temperature leaves.
    warmth: f64,
    head_ratio: f64,
    boot_ratio: f64,
    runout: [f64; 2],
    pickup_n: f64,
    dig_n: f64,
    rub_head_n: f64,
    rub_boot_n: f64,
    /// Tension in N that a gravity take-up would give each strand on the mean, if nothing held it back.
    takeup_n: f64,
    discharge_kg_per_s: f64,
}

/// The leg in motion.
#[derive(Clone, Debug)]
pub struct Plant {
    leg: Leg,
    motor: Motor,
    fixed: Fixed,
    held: Held,
    /// What is wrong with it now.
    pub upset: Upset,
    feeding: Feeding,
    top: Chain,
    bottom: Chain,
    /// Difference of the strands' stretch, halved, in m.
    shift: f64,
    /// Stretch that both strands have in common, in m. Zero and below: the belt hangs loose.
    stretch: f64,
    /// What hangs in the guides of a gravity take-up.
    hanging: Option<Hanging>,
    belt_longer_seen: f64,
    pull_seen: f64,
    tight: f64,
    slack: f64,
    boot_slack: f64,
    acceleration: [f64; 2],
    head_limit: f64,
    metres: f64,
    steps: u32,
    carry: Carry,
    pile: f64,
    spout: f64,
    falling: f64,
    /// Where the belt runs.
    pub tracking: Tracking,
    /// What is warm.
    pub warmth: Warmth,
    protection: Protection,
    closed: bool,
    /// Square of the rotor's current over rated, summed over the steps of a slow part.
    current: f64,
    /// How far each pulley has turned, in turns.
    turned: [f64; 2],
    /// How far each ripple has gone in its own unit.
    gone: Vec<f64>,
    seconds: f64,
    parted_for: f64,
    slow_parts: u32,
    heat_image: f64,
    image_seen: f64,
    /// Heat of rubbing by place, and all heat handed on to the bodies, in J since the start.
    booked: Made,
    handed_on: Made,
    ran: f64,
    paths: [Wander; 2],
    dig_wobble: Wander,
    chance: Chance,
    /// Where the energy went.
    pub ledger: Ledger,
    stored_at_start: f64,
}

/// The mass in kg at the rim of a pulley, `radius` in m, that a body of `inertia` in kg m^2 counts as when it turns `ratio` times
/// as fast as the pulley: of equal kinetic energy.
#[must_use]
pub fn rim_mass(inertia: f64, ratio: f64, radius: f64) -> f64 {
    inertia * ratio * ratio / (radius * radius)
}

impl Plant {
    /// How often what changes slowly moves on, in microseconds.
    pub const SLOW_US: u32 = 20_000;

    /// How many of those make a step of warmth.
    const WARM_EVERY: u32 = 5;

    /// The leg at rest and empty. `step_us` is held to a divisor of [`Plant::SLOW_US`].
    #[must_use]
    pub fn new(leg: &Leg, step_us: u32, seed: u64) -> Self {
        let slow_steps = (Self::SLOW_US / step_us.clamp(1, Self::SLOW_US)).max(1);
        let slow = f64::from(Self::SLOW_US) * 1e-6;
        let dt = slow / f64::from(slow_steps);
        let (head_radius, boot_radius) = (leg.head_radius(), leg.boot_radius());
        let stiffness = leg.strand_stiffness();
        let strand_kg = leg.belt.mass_kg_per_m * leg.lift_m;
        let motor = Motor::new(&leg.drive.motor);
        let efficiency = leg.drive.efficiency;
        let rated_n = leg.drive.motor.rated_torque() * leg.drive.reduction / head_radius;
        let fixed = Fixed {
            dt,
            slow,
            slow_steps,
            head_radius,
            boot_radius,
            stiffness,
            elastic_n: leg.belt.stiffness_kn * 1_000.0,
            damping: leg.belt.damping * 2.0 * (stiffness * strand_kg).sqrt(),
            strand_kg,
            wrap: leg.wrap_deg / 180.0 * PI,
            reduction: leg.drive.reduction,
            balance: (GRAVITY * head_radius).sqrt(),
            fall_time: (2.0 * leg.lift_m / GRAVITY).sqrt(),
            // The spout holds some two seconds of design flow before it backs up.
            spout_kg: 2.0 * leg.capacity_kg_per_s(),
            image_keep: libm::exp(-slow / leg.heat.time_constant_s),
            idle_n: (1.0 - efficiency) * leg.drive.idle_share * rated_n,
            load_loss: (1.0 - efficiency) * (1.0 - leg.drive.idle_share),
            lane: Lane {
                centres: leg.lift_m,
                loop_length: leg.loop_length(),
                clearance: leg.lateral.clearance_mm / 1_000.0,
                stiffness: leg.lateral.stiffness_kn_per_rad * 1_000.0,
            },
        };
        let mean = leg.takeup.tension_n + 0.5 * leg.strand_weight();
        let path = Wander::new(leg.lateral.wander_mm_per_m / 1_000.0, leg.lateral.wander_time_s, slow);
        let mut plant = Self {
            motor,
            fixed,
            held: Held {
                head_radius,
                boot_radius,
                warmth: leg.grip.warmth_at(leg.heat.ambient_c),
                boot_ratio: wrap::tension_ratio(leg.boot.friction, PI),
                runout: [leg.head.runout_mm / 1_000.0 / head_radius, leg.boot.runout_mm / 1_000.0 / boot_radius],
                ..Held::default()
            },
            upset: Upset::NONE,
            feeding: Feeding::default(),
            top: Chain::new([1.0; 3]),
            bottom: Chain::new([1.0; 3]),
            shift: 0.0,
            stretch: mean / stiffness,
            hanging: leg.takeup.hanging(strand_kg),
            belt_longer_seen: 0.0,
            pull_seen: 1.0,
            tight: mean + 0.5 * leg.strand_weight(),
            slack: mean + 0.5 * leg.strand_weight(),
            boot_slack: leg.takeup.tension_n,
            acceleration: [0.0; 2],
            head_limit: 0.0,
            metres: 0.0,
            steps: 0,
            carry: Carry::new(leg.lift_m),
            pile: 0.0,
            spout: 0.0,
            falling: 0.0,
            tracking: Tracking::default(),
            warmth: Warmth::new(leg, slow * f64::from(Self::WARM_EVERY)),
            protection: Protection::new(leg.drive.overload_class),
            closed: false,
            current: 0.0,
            turned: [0.0; 2],
            gone: vec![0.0; leg.ripple.len()],
            seconds: 0.0,
            parted_for: 0.0,
            slow_parts: 0,
            heat_image: 0.0,
            image_seen: 0.0,
            booked: Made::default(),
            handed_on: Made::default(),
            ran: 0.0,
            paths: [path.clone(), path],
            dig_wobble: Wander::new(0.1, 1.5, slow),
            chance: Chance::new(seed, 1),
            ledger: Ledger::default(),
            stored_at_start: 0.0,
            leg: leg.clone(),
        };
        plant.slow_part(0.0);
        plant.set_masses();
        plant.stored_at_start = plant.stored();
        plant
    }

    /// Length of a step in microseconds.
    #[must_use]
    pub fn step_us(&self) -> u32 {
        Self::SLOW_US / self.fixed.slow_steps
    }

    /// The leg's figures.
    #[must_use]
    pub const fn leg(&self) -> &Leg {
        &self.leg
    }

    /// Move on by one step.
    pub fn step(&mut self, controls: &Controls) -> Turning {
        let before = self.turning();
        if self.steps == 0 {
            self.slow_part(controls.feed_kg_per_s);
            let current = protection::line_current_squared(self.current / f64::from(self.fixed.slow_steps));
            let current = if self.closed { current } else { 0.0 };
            self.current = 0.0;
            self.closed = self.protection.step(controls.closed, current, self.upset.supply, self.fixed.slow);
        }
        self.feeding.step(&self.leg.drive.starter, self.closed, controls.reference, self.fixed.dt);
        // A leg at rest with the motor off is looked at once a slow part: nothing else can set it going.
        let asleep = !self.closed
            && self.steps != 0
            && self.upset.rocking_n == 0.0
            && self.top.speed == [0.0; 3]
            && self.bottom.speed == [0.0; 3]
            && self.hanging.is_none_or(|hanging| hanging.stands());
        if !asleep {
            self.fast_part();
        }
        self.steps = (self.steps + 1) % self.fixed.slow_steps;
        let after = self.turning();
        Turning { head: [before[0], after[0]], boot: [before[1], after[1]] }
    }

    /// Whether a slow part was just finished: truth and contacts are worth reading.
    #[must_use]
    pub const fn at_slow_part(&self) -> bool {
        self.steps == 0
    }

    fn turning(&self) -> [f64; 2] {
        let head = if self.upset.joint_at_pulley { self.top.speed[0] } else { self.top.speed[1] };
        [head / (2.0 * PI * self.held.head_radius), self.bottom.speed[2] / (2.0 * PI * self.held.boot_radius)]
    }

    fn set_masses(&mut self) {
        let (leg, fixed, held) = (&self.leg, &self.fixed, &self.held);
        let around = |radius: f64| leg.belt.mass_kg_per_m * PI * radius;
        self.top.mass = [
            rim_mass(leg.drive.inertia_kg_m2, fixed.reduction, held.head_radius),
            rim_mass(leg.head.inertia_kg_m2, 1.0, held.head_radius),
            fixed.strand_kg + self.carry.upper + around(held.head_radius),
        ];
        self.bottom.mass = [
            fixed.strand_kg + self.carry.lower + around(held.boot_radius),
            rim_mass(0.95 * leg.boot.inertia_kg_m2, 1.0, held.boot_radius),
            rim_mass(0.05 * leg.boot.inertia_kg_m2, 1.0, held.boot_radius),
        ];
    }

    fn slow_part(&mut self, feed: f64) {
        let metres = core::mem::take(&mut self.metres);
        let up = self.upset;
        let h = self.fixed.slow;
        self.set_masses();
        let kinetic_before = self.kinetic();
        self.move_load(feed, metres);
        self.set_masses();
        // What joined the belt brought none of its speed along and what left took its own: the step above booked the
        // force that gave it; the part still on the belt is stored, not spent.
        self.ledger.acceleration -= self.kinetic() - kinetic_before;

        let longer = self.fixed.lane.centres * (up.belt_longer - self.belt_longer_seen)
            + if self.leg.takeup.kind == Kind::Screw {
                self.leg.takeup.tension_n * (self.pull_seen - up.takeup_pull) / self.fixed.stiffness
            } else {
                0.0
            };
        (self.belt_longer_seen, self.pull_seen) = (up.belt_longer, up.takeup_pull);
        self.held.takeup_n =
            self.leg.takeup.tension_n * up.takeup_pull + 0.5 * GRAVITY * (self.fixed.strand_kg + self.carry.lower);
        let spring_before = self.elastic();
        self.stretch -= longer;
        if longer != 0.0 && !up.belt_parted {
            self.ledger.takeup += self.elastic() - spring_before;
        }

        let head_radius = self.fixed.head_radius + (up.head_buildup_mm - up.lagging_lost_mm) / 1_000.0;
        let boot_radius = self.fixed.boot_radius + up.boot_buildup_mm / 1_000.0;
        if head_radius != self.held.head_radius {
            let change = head_radius / self.held.head_radius;
            self.top.speed[0] *= change;
            self.top.speed[1] *= change;
            self.held.head_radius = head_radius;
        }
        if boot_radius != self.held.boot_radius {
            let change = boot_radius / self.held.boot_radius;
            self.bottom.speed[1] *= change;
            self.bottom.speed[2] *= change;
            self.held.boot_radius = boot_radius;
        }
        self.held.runout[0] = (self.leg.head.runout_mm + up.runout_mm) / 1_000.0 / self.held.head_radius;
        self.set_masses();
        self.parted_for = if up.belt_parted { self.parted_for + h } else { 0.0 };
        if self.held.faced != Some((up.face, up.head_friction)) {
            self.held.faced = Some((up.face, up.head_friction));
            let curve = self.leg.grip.curve(&up.face, self.leg.head.friction * up.head_friction);
            self.held.curve = curve;
            self.held.head_ratio = wrap::tension_ratio(self.held.warmth * curve.at_rest(), self.fixed.wrap);
        }
        self.track(metres);
        self.ran += metres;
        self.keep_image();
        self.slow_parts = (self.slow_parts + 1) % Self::WARM_EVERY;
        if self.slow_parts == 0 {
            self.warm();
        }
    }

    fn move_load(&mut self, feed: f64, metres: f64) {
        let up = self.upset;
        let h = self.fixed.slow;
        self.dig_wobble.step(&mut self.chance);
        let speed = metres / h;
        if up.belt_parted {
            self.pile += self.carry.drop_all();
        }
        let room = self.pile < self.leg.pit.full_kg;
        let back = self.falling * (h / self.fixed.fall_time).min(1.0);
        self.falling -= back;
        self.pile += back + if room { h * (feed * (1.0 + up.overfeed) + up.inflow_kg_per_s) } else { 0.0 };
        let taken = if up.belt_parted {
            0.0
        } else {
            self.leg.pit.taken_up(self.pile, speed, self.leg.belt.buckets_kg_per_m, h)
        };
        self.pile -= taken;
        let moved = self.carry.advance(metres, taken);
        self.pile += moved.spilled;
        let mut over = moved.discharged;
        if over > 0.0 {
            let thrown_back = over * discharge::backlegging_share(speed / self.fixed.balance);
            self.falling += thrown_back;
            over -= thrown_back;
        }
        if up.outlet_blocked > 0.0 {
            let kept = over * up.outlet_blocked;
            self.spout += kept;
            over -= kept;
            let too_much = (self.spout - self.fixed.spout_kg).max(0.0);
            self.spout -= too_much;
            self.falling += too_much;
        } else {
            let run_out = self.spout.min(2.0 * self.leg.capacity_kg_per_s() * h);
            self.spout -= run_out;
            over += run_out;
        }
        self.held.discharge_kg_per_s = over / h;
        self.held.pickup_n = taken / h * speed.max(0.0);
        let line = if metres > 0.0 { taken / metres } else { 0.0 };
        let wobble = (1.0 + self.dig_wobble.value).max(0.2);
        let dig = line * GRAVITY * self.leg.pit.digging_height_m;
        self.held.dig_n = (dig + self.leg.pit.choke_drag(self.pile)) * wobble;
    }

    fn track(&mut self, metres: f64) {
        let up = &self.upset;
        let leg = &self.leg;
        let steering = Steering {
            head_tilt: up.head_tilt_mm_per_m / 1_000.0,
            boot_tilt: up.boot_tilt_mm_per_m / 1_000.0,
            head_crown: up.crown * leg.crown_steering(&leg.head, self.held.head_radius),
            boot_crown: up.crown * leg.crown_steering(&leg.boot, self.held.boot_radius),
            splice_camber: up.splice_mm_per_m / 1_000.0,
            edge_bump: up.edge_mm / 1_000.0,
            lean: up.lean_mm / 1_000.0,
        };
        if metres != 0.0 && !up.belt_parted {
            for path in &mut self.paths {
                path.step(&mut self.chance);
            }
            self.tracking.run(metres, &steering, &self.fixed.lane, [self.paths[0].value, self.paths[1].value]);
        } else {
            self.tracking.side_force = [0.0; 4];
        }
        let [hl, hr, bl, br] = self.tracking.side_force.map(|force| force * leg.lateral.rub_friction);
        self.held.rub_head_n = hl + hr;
        self.held.rub_boot_n = bl + br;
        // What was rubbed off since is booked where it rubs.
        let rubbed = (self.ledger.rub - self.booked.rub.iter().sum::<f64>()).max(0.0);
        let all = hl + hr + bl + br;
        if all > 0.0 {
            for (booked, force) in self.booked.rub.iter_mut().zip([hl, hr, bl, br]) {
                *booked += rubbed * force / all;
            }
        }
    }

    /// The monitor's own idea of slip heat, from the truth: sliding alone, in one lump, with the leg's time constant.
    fn keep_image(&mut self) {
        let slid = (self.ledger.head_slip - self.image_seen).max(0.0) / self.fixed.slow;
        self.image_seen = self.ledger.head_slip;
        let keep = self.fixed.image_keep;
        self.heat_image = self.heat_image * keep + slid * self.leg.heat.time_constant_s * (1.0 - keep);
    }

    /// Hand the heat that friction made to the bodies it warms.
    fn warm(&mut self) {
        let made = Made {
            head: self.ledger.head_slip + self.ledger.creep,
            boot: self.ledger.boot_slip,
            rub: self.booked.rub,
            bearing: self.ledger.bearings,
        };
        // A sum may go back by a little where a joint lets go; what it lacks is made up before more is handed on.
        let since = |now: f64, given: &mut f64| {
            let new = (now - *given).max(0.0);
            *given += new;
            new
        };
        let booked = &mut self.handed_on;
        let mut new = Made {
            head: since(made.head, &mut booked.head),
            boot: since(made.boot, &mut booked.boot),
            ..Made::default()
        };
        for i in 0..4 {
            new.rub[i] = since(made.rub[i], &mut booked.rub[i]);
        }
        for i in 0..2 {
            new.bearing[i] = since(made.bearing[i], &mut booked.bearing[i]);
        }
        let moving = Moving {
            head: self.top.speed[1],
            belt: self.top.speed[2],
            boot: self.bottom.speed[1],
            metres: core::mem::take(&mut self.ran),
        };
        self.warmth.step(&new, &moving);
        let contact = self.leg.heat.ambient_c + self.warmth.faces().head;
        self.held.warmth = self.leg.grip.warmth_at(contact);
        self.held.head_ratio = wrap::tension_ratio(self.held.warmth * self.held.curve.at_rest(), self.fixed.wrap);
    }

    /// Heat made, less heat held and heat lost to the air, in J since the start: what the bodies cannot account for.
    #[must_use]
    pub fn heat_missing(&self) -> f64 {
        self.warmth.taken - self.warmth.held() - self.warmth.lost()
    }

    fn kinetic(&self) -> f64 {
        let of = |chain: &Chain| {
            chain.mass.iter().zip(chain.speed).map(|(mass, speed)| 0.5 * mass * speed * speed).sum::<f64>()
        };
        of(&self.top) + of(&self.bottom)
    }

    fn elastic(&self) -> f64 {
        let of = |stretch: f64| 0.5 * self.fixed.stiffness * stretch.max(0.0) * stretch.max(0.0);
        of(self.stretch + self.shift) + of(self.stretch - self.shift)
    }

    fn stored(&self) -> f64 {
        self.kinetic() + self.elastic()
    }

    /// What the ledger cannot account for, in J since the start.
    #[must_use]
    pub fn energy_missing(&self) -> f64 {
        self.ledger.missing(self.stored() - self.stored_at_start)
    }

    /// Whether the belt touches at head left, head right, boot left, boot right.
    #[must_use]
    pub const fn touches(&self) -> [bool; 4] {
        self.tracking.touches
    }

    /// Temperature of each rub point in degrees Celsius.
    #[must_use]
    pub fn rub_temperatures(&self) -> [f64; 4] {
        self.warmth.walls().map(|rise| self.leg.heat.ambient_c + rise)
    }

    /// Power at the head shaft in W, as a meter would have it: what passes the joint between drive and head.
    #[must_use]
    pub fn shaft_power(&self) -> f64 {
        self.top.joint[0] * self.top.speed[1]
    }

    /// How full the spout is, 0 to 1.
    #[must_use]
    pub fn spout_fill(&self) -> f64 {
        self.spout / self.fixed.spout_kg
    }

    /// Belt speed in m/s where it enters the boot.
    #[must_use]
    pub const fn belt_speed(&self) -> f64 {
        self.bottom.speed[0]
    }

    /// Rim speed of the head pulley in m/s.
    #[must_use]
    pub const fn rim_speed(&self) -> f64 {
        self.top.speed[1]
    }

    /// Voltage or frequency that the starter gives, of nominal.
    #[must_use]
    pub const fn feed_level(&self) -> f64 {
        self.feeding.level
    }

    /// Whether the contactor is closed.
    #[must_use]
    pub const fn contactor(&self) -> bool {
        self.closed
    }

    /// Slip heat held in J.
    #[must_use]
    pub const fn slip_heat(&self) -> f64 {
        self.heat_image
    }
}
