//! Where friction heat goes: into faces, from there into what lies behind, and to the air.
//!
//! Seven kinds of body: the face of the head pulley (lagging over rim, or bare), the belt as it comes round, the piece of belt
//! under the head while it stands, the boot pulley, the piece of the boot pulley under the belt while *it* stands, the casing where
//! the belt's edge rubs with the edges themselves, and the bearings. Heat made between two of them parts by [`super::parting`]; all of it
//! is held or lost, and the sums say so.

use core::f64::consts::PI;

use super::heat::Lump;
use super::leg::{Leg, Pulley};
use super::parting::{Parted, part, pass_resistance};
use super::surface::{Layer, Material, Slab, Surface};

/// Heat made since the last step, in J.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Made {
    /// Between belt and head pulley.
    pub head: f64,
    /// Between belt and boot pulley.
    pub boot: f64,
    /// Between belt and casing: head left, head right, boot left, boot right.
    pub rub: [f64; 4],
    /// In the bearings of head and boot.
    pub bearing: [f64; 2],
}

/// How things move, in m/s at the rim.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moving {
    /// Head pulley.
    pub head: f64,
    /// Belt.
    pub belt: f64,
    /// Boot pulley.
    pub boot: f64,
    /// How far the belt moved since the last step, in m.
    pub metres: f64,
}

/// Loss to the air of the casing from what moves or stands in it, in W/(m^2 K): engineering judgement, within what books print
/// for free and gently forced air (J. P. Holman, *Heat Transfer*, table 1-2: 6.5 to 15 for free air along metal, 180 for 35 m/s).
const TO_AIR: f64 = 12.0;

/// Length in m and height in m of the place where a belt's edge rubs on the casing (engineering judgement).
const RUB_LENGTH: f64 = 0.5;
const RUB_HEIGHT: f64 = 0.012;

/// Thickness of the casing's sheet in m: common practice, no source.
const CASING: f64 = 0.003;

/// Below this share of the other's speed a body counts as standing.
const STANDS: f64 = 0.02;

/// Rise of a sound bearing's housing at full speed in K, and its time constant in s: common practice, no source.
const BEARING_RISE: f64 = 25.0;
const BEARING_TIME: f64 = 1_800.0;

/// Where two bodies touch, hottest first, as rises in K.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Faces {
    /// Head pulley and belt, mean over the contact.
    pub head: f64,
    /// The belt: the piece under the head that stood there, or what comes off the head.
    pub belt: f64,
    /// Boot pulley.
    pub boot: f64,
    /// The hottest rub.
    pub rub: f64,
}

/// All of it.
#[derive(Clone, Debug)]
pub struct Warmth {
    dt: f64,
    head: Surface,
    belt: Surface,
    patch: Surface,
    boot: Surface,
    boot_patch: Surface,
    walls: [Lump; 4],
    /// Where the belt rubs on each wall, over the wall.
    spots: [Lump; 4],
    edges: [Lump; 2],
    bearings: [Lump; 2],
    /// Contact area in m^2 at head and boot, and contact length in m.
    area: [f64; 2],
    arc: [f64; 2],
    turn_share: f64,
    head_effusivity: f64,
    edge_area: f64,
    /// How far the belt ran since its piece was last heated in standing, in m.
    patch_away: f64,
    contact: Parted,
    boot_contact: f64,
    rubs: [f64; 4],
    /// Heat taken in since the start, in J.
    pub taken: f64,
    lost: f64,
}

fn pulley(pulley: &Pulley, radius: f64, kj_per_k: f64, time_constant: f64, dt: f64) -> Surface {
    let area = 2.0 * PI * radius * pulley.face_mm / 1_000.0;
    let heat = kj_per_k * 1_000.0;
    let loss = heat / time_constant;
    // Half of it goes from the uncovered part of the face, the rest from rim, discs and shaft.
    let face_loss = (0.5 * TO_AIR * area).min(0.5 * loss);
    let slab = Slab { area_m2: area, face_loss, back_loss: loss - face_loss, behind: 0.0 };
    let rubber = Layer { thickness_m: pulley.lagging_mm / 1_000.0, material: Material::RUBBER };
    let steel = heat / (area * Material::STEEL.heat_per_m3);
    Surface::new(&[rubber, Layer { thickness_m: steel, material: Material::STEEL }], slab, dt)
}

impl Warmth {
    /// Everything as cold as the air, to be stepped by `dt` seconds.
    #[must_use]
    pub fn new(leg: &Leg, dt: f64) -> Self {
        let (head_radius, boot_radius) = (leg.head_radius(), leg.boot_radius());
        let width = leg.belt.width_mm / 1_000.0;
        let wrap = leg.wrap_deg.to_radians();
        let arc = [wrap * head_radius, PI * boot_radius];
        let area = arc.map(|arc| arc * width);
        let belt_layer = [Layer { thickness_m: leg.belt.thickness_mm / 1_000.0, material: Material::RUBBER }];
        let piece = |area: f64| Slab { area_m2: area, face_loss: TO_AIR * area, back_loss: TO_AIR * area, behind: 0.0 };
        let under_head = Slab { face_loss: 0.0, ..piece(area[0]) };
        let boot_share = 0.7 * leg.heat.head_kj_per_k;
        let steel = [Layer { thickness_m: 0.012, material: Material::STEEL }];
        let rub = Lump::new(leg.heat.rub_kj_per_k * 1_000.0, leg.heat.rub_w_per_k);
        // Mean rise of a patch of a half-space under even flux: 8 / (3 pi^2 k a), `a` the radius of a circle of its area
        // (H. S. Carslaw and J. C. Jaeger, 8.2).
        let patch = RUB_LENGTH * RUB_HEIGHT;
        let constriction = 8.0 / (3.0 * PI * PI * Material::STEEL.conductivity * (patch / PI).sqrt());
        let spot = Lump::new(patch * CASING * Material::STEEL.heat_per_m3, 1.0 / constriction);
        let edge_area = leg.loop_length() * RUB_HEIGHT;
        let edge = Lump::new(edge_area * 0.010 * Material::RUBBER.heat_per_m3, 2.0 * edge_area * TO_AIR);
        let speed = leg.rated_belt_speed();
        let bearing = |pulley: &Pulley, radius: f64| {
            let power = (pulley.bearing_n_m * speed / radius).max(1.0);
            let loss = power / BEARING_RISE;
            Lump::new(loss * BEARING_TIME, loss)
        };
        Self {
            dt,
            head: pulley(&leg.head, head_radius, leg.heat.head_kj_per_k, leg.heat.time_constant_s, dt),
            belt: Surface::new(&belt_layer, piece(leg.loop_length() * width), dt),
            patch: Surface::new(&belt_layer, under_head, dt),
            boot: pulley(&leg.boot, boot_radius, boot_share, leg.heat.time_constant_s, dt),
            boot_patch: Surface::new(&steel, Slab { face_loss: 0.0, ..piece(area[1]) }, dt),
            walls: [rub; 4],
            spots: [spot; 4],
            edges: [edge; 2],
            bearings: [bearing(&leg.head, head_radius), bearing(&leg.boot, boot_radius)],
            area,
            arc,
            turn_share: wrap / (2.0 * PI),
            head_effusivity: if leg.head.lagging_mm > 0.0 { Material::RUBBER } else { Material::STEEL }.effusivity(),
            edge_area: RUB_LENGTH * RUB_HEIGHT,
            patch_away: 0.0,
            contact: Parted::default(),
            boot_contact: 0.0,
            rubs: [0.0; 4],
            taken: 0.0,
            lost: 0.0,
        }
    }

    /// Move on by one step.
    pub fn step(&mut self, made: &Made, moving: &Moving) {
        self.taken += made.head + made.boot + made.rub.iter().sum::<f64>() + made.bearing.iter().sum::<f64>();
        for body in [&mut self.head, &mut self.belt, &mut self.patch, &mut self.boot, &mut self.boot_patch] {
            body.coast();
        }
        self.at_head(made.head / self.dt, moving);
        self.at_boot(made.boot / self.dt, moving);
        self.at_walls(&made.rub, moving.belt.abs());
        for (bearing, made) in self.bearings.iter_mut().zip(made.bearing) {
            self.lost += bearing.step_by(made / self.dt, self.dt);
        }
    }

    fn at_head(&mut self, power: f64, moving: &Moving) {
        self.patch_away += moving.metres.abs();
        let rim = moving.head.abs();
        if rim < 0.01 && moving.belt.abs() < 0.01 {
            // Both stand: what is held goes on parting by itself, too slowly to matter here. What power there is goes to the head.
            self.head.heat(power);
            self.contact = Parted { into: [power, 0.0], contact: self.head.face() };
            return;
        }
        let pass = |speed: f64, effusivity: f64, share: f64| {
            pass_resistance(effusivity, self.area[0], self.arc[0] / speed.max(0.01), share)
        };
        let of_head = pass(rim, self.head_effusivity, self.turn_share) + self.head.response();
        let stands = moving.belt.abs() < STANDS * rim;
        if stands && self.patch_away > self.arc[0] {
            // Another piece lies there now. What the last one held has gone round with the belt.
            self.belt.spread(self.patch.hand_over());
            self.patch_away = 0.0;
        }
        let belt = if stands { &mut self.patch } else { &mut self.belt };
        let of_belt =
            belt.response() + if stands { 0.0 } else { pass(moving.belt.abs(), Material::RUBBER.effusivity(), 0.0) };
        self.contact = part(power, [self.head.face(), belt.face()], [of_head, of_belt]);
        let [into_head, into_belt] = self.contact.into;
        belt.heat(into_belt);
        self.head.heat(into_head);
    }

    fn at_boot(&mut self, power: f64, moving: &Moving) {
        let (rim, belt) = (moving.boot.abs(), moving.belt.abs());
        if rim < 0.01 && belt < 0.01 {
            self.boot.heat(power);
            self.boot_contact = self.boot.face();
            return;
        }
        let stands = rim < STANDS * belt;
        if !stands && self.boot_patch.face() != 0.0 {
            self.boot.spread(self.boot_patch.hand_over());
        }
        let body = if stands { &mut self.boot_patch } else { &mut self.boot };
        let pass = |speed: f64, effusivity: f64, share: f64| {
            pass_resistance(effusivity, self.area[1], self.arc[1] / speed.max(0.01), share)
        };
        let of_boot = body.response() + if stands { 0.0 } else { pass(rim, Material::STEEL.effusivity(), 0.5) };
        let of_belt = self.belt.response() + pass(belt, Material::RUBBER.effusivity(), 0.0);
        let parted = part(power, [body.face(), self.belt.face()], [of_boot, of_belt]);
        body.heat(parted.into[0]);
        self.belt.heat(parted.into[1]);
        self.boot_contact = parted.contact;
    }

    fn at_walls(&mut self, made: &[f64; 4], belt: f64) {
        let mut edges = [0.0; 2];
        let of_edge = pass_resistance(Material::RUBBER.effusivity(), self.edge_area, RUB_LENGTH / belt.max(0.01), 0.0);
        for (i, made) in made.iter().enumerate() {
            let (power, spot) = (made / self.dt, &mut self.spots[i]);
            let face = self.walls[i].rise + spot.rise;
            let into_wall = if power > 0.0 {
                let parted = part(power, [face, self.edges[i % 2].rise], [spot.response(self.dt), of_edge]);
                edges[i % 2] += parted.into[1];
                parted.into[0]
            } else {
                0.0
            };
            let passed_on = spot.step_by(into_wall, self.dt);
            self.lost += self.walls[i].step_by(passed_on / self.dt, self.dt);
            self.rubs[i] = self.walls[i].rise + spot.rise;
        }
        for (edge, power) in self.edges.iter_mut().zip(edges) {
            self.lost += edge.step_by(power, self.dt);
        }
    }

    /// Rises in K where things touch.
    #[must_use]
    pub fn faces(&self) -> Faces {
        Faces {
            head: self.contact.contact.max(self.head.face()),
            belt: self.patch.face().max(self.belt.face()).max(self.contact.contact),
            boot: self.boot_contact.max(self.boot.face()).max(self.boot_patch.face()),
            rub: self.rubs.iter().copied().fold(0.0, f64::max),
        }
    }

    /// Rise in K of the rim behind the lagging.
    #[must_use]
    pub fn rim(&self) -> f64 {
        self.head.back()
    }

    /// Rise in K of the piece of belt that last stood under the head.
    #[must_use]
    pub fn patch(&self) -> f64 {
        self.patch.face()
    }

    /// Rises in K of the casing where the belt rubs: what a sensor there tells.
    #[must_use]
    pub fn walls(&self) -> [f64; 4] {
        self.walls.map(|wall| wall.rise)
    }

    /// Rises in K of the bearings at head and boot.
    #[must_use]
    pub fn bearings(&self) -> [f64; 2] {
        self.bearings.map(|bearing| bearing.rise)
    }

    /// Shares of the heat made between head and belt that went into each in the last step, in W.
    #[must_use]
    pub const fn head_parted(&self) -> [f64; 2] {
        self.contact.into
    }

    /// Heat held in all bodies, in J.
    #[must_use]
    pub fn held(&self) -> f64 {
        let slabs = [&self.head, &self.belt, &self.patch, &self.boot, &self.boot_patch];
        let lumps = self.walls.iter().chain(&self.spots).chain(&self.edges).chain(&self.bearings);
        slabs.iter().map(|slab| slab.stored()).sum::<f64>() + lumps.map(Lump::stored).sum::<f64>()
    }

    /// Heat given to the air, in J.
    #[must_use]
    pub fn lost(&self) -> f64 {
        let slabs = [&self.head, &self.belt, &self.patch, &self.boot, &self.boot_patch];
        self.lost + slabs.iter().map(|slab| slab.lost).sum::<f64>()
    }
}
