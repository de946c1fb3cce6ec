//! Heat that enters by a face: a slab of layers, heated on one side, that loses heat on both.
//!
//! Rubber lets so little through that its face is hot long before its body is warm. While heat has not reached the back, the
//! face of a body heated with a constant flux `q` rises by `2 q / k sqrt(alpha t / pi)` (H. S. Carslaw and J. C. Jaeger,
//! *Conduction of Heat in Solids*, 2.9; J. P. Holman, *Heat Transfer*, ch. 4). The layers are cut into cells, the first as
//! thin as heat goes in one step, each next one thicker, and stepped implicitly: no step is too long, and what goes in is
//! found again to rounding, as heat held or heat lost.

/// Most cells of a slab.
const CELLS: usize = 40;

/// How much thicker each cell is than the one before.
const GROWTH: f64 = 1.2;

/// What a layer is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Material {
    /// Conductivity in W/(m K).
    pub conductivity: f64,
    /// Heat capacity in J/(m^3 K).
    pub heat_per_m3: f64,
}

impl Material {
    /// Filled rubber of belts and lagging: 0.16 W/(m K), 1,150 kg/m^3, 1.9 kJ/(kg K). Tables of hard rubber, from memory.
    pub const RUBBER: Self = Self { conductivity: 0.16, heat_per_m3: 1_150.0 * 1_900.0 };
    /// Plain steel: 43 W/(m K), 7,801 kg/m^3, 473 J/(kg K). J. P. Holman, *Heat Transfer*, table of metals (1 % carbon), from
    /// memory.
    pub const STEEL: Self = Self { conductivity: 43.0, heat_per_m3: 7_801.0 * 473.0 };

    /// Diffusivity in m^2/s.
    #[must_use]
    pub fn diffusivity(&self) -> f64 {
        self.conductivity / self.heat_per_m3
    }

    /// Effusivity in W s^0.5/(m^2 K): how hard it is to warm the face.
    #[must_use]
    pub fn effusivity(&self) -> f64 {
        (self.conductivity * self.heat_per_m3).sqrt()
    }
}

/// A layer, from the face inward.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Layer {
    /// Thickness in m.
    pub thickness_m: f64,
    /// What it is made of.
    pub material: Material,
}

/// What a slab is besides its layers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slab {
    /// Area of the face in m^2.
    pub area_m2: f64,
    /// Loss from the face in W/K.
    pub face_loss: f64,
    /// Loss from the back in W/K.
    pub back_loss: f64,
    /// Heat capacity in J/K of a body behind the last layer, of one temperature; 0 for none.
    pub behind: f64,
}

/// The slab, with rises in K above the surrounding air.
#[derive(Clone, Debug)]
pub struct Surface {
    cells: usize,
    rise: [f64; CELLS],
    /// What one watt on the face for a step adds to each cell, in K.
    watt: [f64; CELLS],
    /// J/(K s): heat capacity over the step.
    weight: [f64; CELLS],
    /// W/K to the next cell; nothing behind the last.
    link: [f64; CELLS],
    pivot: [f64; CELLS],
    centre: [f64; CELLS],
    /// K/W from the middle of the first cell to the face.
    skin: f64,
    slab: Slab,
    dt: f64,
    /// Power on the face in the last step, in W.
    power: f64,
    /// Heat given to the air since the start, in J.
    pub lost: f64,
}

impl Surface {
    /// A slab at the temperature of the air, to be stepped by `dt` seconds. Layers of no thickness count for nothing.
    #[must_use]
    pub fn new(layers: &[Layer], slab: Slab, dt: f64) -> Self {
        let mut surface = Self {
            cells: 0,
            rise: [0.0; CELLS],
            watt: [0.0; CELLS],
            weight: [0.0; CELLS],
            link: [0.0; CELLS],
            pivot: [0.0; CELLS],
            centre: [0.0; CELLS],
            skin: 0.0,
            slab,
            dt,
            power: 0.0,
            lost: 0.0,
        };
        let mut depth = 0.0;
        // K/W from the middle of the last cell to its end.
        let mut to_end = 0.0;
        for layer in layers.iter().filter(|layer| layer.thickness_m > 0.0) {
            let first = (layer.material.diffusivity() * dt).sqrt();
            let wanted = libm::log(1.0 + layer.thickness_m * (GROWTH - 1.0) / first) / libm::log(GROWTH);
            // One cell is kept for the body behind.
            let count = (libm::ceil(wanted) as usize).clamp(2, (CELLS - 1 - surface.cells).max(2));
            let sum: f64 = (0..count).map(|i| libm::pow(GROWTH, i as f64)).sum();
            for i in 0..count.min(CELLS - 1 - surface.cells) {
                let thick = layer.thickness_m * libm::pow(GROWTH, i as f64) / sum;
                let half = 0.5 * thick / (layer.material.conductivity * slab.area_m2);
                let at = surface.cells;
                if at == 0 {
                    surface.skin = half;
                } else {
                    surface.link[at - 1] = 1.0 / (to_end + half);
                }
                surface.weight[at] = thick * slab.area_m2 * layer.material.heat_per_m3 / dt;
                surface.centre[at] = depth + 0.5 * thick;
                depth += thick;
                to_end = half;
                surface.cells += 1;
            }
        }
        if slab.behind > 0.0 || surface.cells == 0 {
            if let Some(before) = surface.cells.checked_sub(1) {
                surface.link[before] = 1.0 / to_end;
            }
            surface.weight[surface.cells] = slab.behind.max(1.0) / dt;
            surface.centre[surface.cells] = depth;
            surface.cells += 1;
        }
        // The matrix never changes: its pivots are found once.
        for i in 0..surface.cells {
            let before = if i > 0 { surface.link[i - 1] } else { 0.0 };
            let mut own = surface.weight[i] + before + surface.link[i];
            own += if i == 0 { slab.face_loss } else { 0.0 };
            own += if i + 1 == surface.cells { slab.back_loss } else { 0.0 };
            surface.pivot[i] = 1.0 / if i > 0 { own - before * before * surface.pivot[i - 1] } else { own };
        }
        surface.watt[0] = 1.0;
        let mut watt = surface.watt;
        surface.eliminate(&mut watt);
        surface.watt = watt;
        surface
    }

    /// Solve for the right-hand side in place.
    fn eliminate(&self, side: &mut [f64; CELLS]) {
        let n = self.cells;
        side[0] *= self.pivot[0];
        for i in 1..n {
            side[i] = (side[i] + self.link[i - 1] * side[i - 1]) * self.pivot[i];
        }
        for i in (0..n - 1).rev() {
            side[i] += self.link[i] * self.pivot[i] * side[i + 1];
        }
    }

    /// Move on by one step without heat on the face; [`heat`](Self::heat) adds what was on it.
    pub fn coast(&mut self) {
        self.power = 0.0;
        if self.rise[0].abs() < 1e-9 && self.rise[self.cells - 1].abs() < 1e-9 {
            // As cold as the air, to a nanokelvin.
            return;
        }
        let mut side = self.rise;
        for (side, weight) in side.iter_mut().zip(self.weight).take(self.cells) {
            *side *= weight;
        }
        self.eliminate(&mut side);
        self.rise = side;
        self.lose(side[0], side[self.cells - 1]);
    }

    fn lose(&mut self, face: f64, back: f64) {
        self.lost += self.dt * (self.slab.face_loss * face + self.slab.back_loss * back);
    }

    /// That power in W was on the face during the step just made by [`coast`](Self::coast).
    pub fn heat(&mut self, power: f64) {
        if power == 0.0 {
            return;
        }
        for (rise, watt) in self.rise.iter_mut().zip(self.watt).take(self.cells) {
            *rise += power * watt;
        }
        self.lose(power * self.watt[0], power * self.watt[self.cells - 1]);
        self.power += power;
    }

    /// Rise of the face in K.
    #[must_use]
    pub fn face(&self) -> f64 {
        self.rise[0] + self.power * self.skin
    }

    /// How much a watt on the face for a step raises the face, in K.
    #[must_use]
    pub fn response(&self) -> f64 {
        self.watt[0] + self.skin
    }

    /// Rise of what lies behind in K.
    #[must_use]
    pub fn back(&self) -> f64 {
        self.rise[self.cells - 1]
    }

    /// Rise in K at a depth in m: between the middles of two cells.
    #[must_use]
    pub fn at_depth(&self, depth: f64) -> f64 {
        let above = (1..self.cells).find(|&i| self.centre[i] >= depth).unwrap_or(self.cells - 1);
        let (x0, x1) = (self.centre[above - 1], self.centre[above]);
        let part = ((depth - x0) / (x1 - x0)).clamp(-1.0, 1.0);
        self.rise[above - 1] + part * (self.rise[above] - self.rise[above - 1])
    }

    /// Heat held in J.
    #[must_use]
    pub fn stored(&self) -> f64 {
        (0..self.cells).map(|i| self.weight[i] * self.rise[i]).sum::<f64>() * self.dt
    }

    /// Heat capacity in J/K.
    #[must_use]
    pub fn capacity(&self) -> f64 {
        self.weight.iter().sum::<f64>() * self.dt
    }

    /// Hand all its heat over, in J.
    pub fn hand_over(&mut self) -> f64 {
        let held = self.stored();
        self.rise = [0.0; CELLS];
        self.power = 0.0;
        held
    }

    /// Take heat in J, spread evenly.
    pub fn spread(&mut self, heat: f64) {
        let rise = heat / self.capacity();
        for cell in self.rise.iter_mut().take(self.cells) {
            *cell += rise;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slab(behind: f64, loss: f64) -> Slab {
        Slab { area_m2: 0.5, face_loss: loss, back_loss: loss, behind }
    }

    #[test]
    fn what_goes_in_is_held_or_lost() {
        let layers = [
            Layer { thickness_m: 0.012, material: Material::RUBBER },
            Layer { thickness_m: 0.008, material: Material::STEEL },
        ];
        let mut surface = Surface::new(&layers, slab(20_000.0, 6.0), 0.1);
        let mut given = 0.0;
        for step in 0..20_000 {
            surface.coast();
            let power = if step % 700 < 300 { 900.0 } else { -20.0 };
            surface.heat(power);
            given += power * 0.1;
        }
        assert!((given - surface.stored() - surface.lost).abs() < 1e-6 * given, "{given}");
        assert!(surface.lost > 0.2 * given);
    }

    #[test]
    fn steady_flux_drops_by_thickness_over_conductivity() {
        let layers = [Layer { thickness_m: 0.01, material: Material::RUBBER }];
        let mut surface = Surface::new(&layers, Slab { face_loss: 0.0, ..slab(0.0, 5.0) }, 1.0);
        for _ in 0..50_000 {
            surface.coast();
            surface.heat(100.0);
        }
        // 100 W through 5 W/K behind it; and 200 W/m^2 through 10 mm of rubber, less the half cell at the back.
        assert!((surface.back() - 20.0).abs() < 1e-6, "{}", surface.back());
        let drop = surface.face() - surface.back();
        assert!((drop - 200.0 * 0.01 / 0.16).abs() < 0.15 * drop, "{drop}");
    }

    #[test]
    fn heat_handed_over_is_heat_taken() {
        let layers = [Layer { thickness_m: 0.01, material: Material::RUBBER }];
        let mut one = Surface::new(&layers, slab(0.0, 5.0), 0.1);
        let mut other = Surface::new(&layers, slab(9_000.0, 5.0), 0.1);
        one.coast();
        one.heat(5_000.0);
        let held = one.stored();
        other.spread(one.hand_over());
        assert_eq!(one.stored(), 0.0);
        assert!((other.stored() - held).abs() < 1e-9);
    }
}
