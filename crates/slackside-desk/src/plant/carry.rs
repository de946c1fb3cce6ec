//! The load on the carrying strand: what the buckets took up at the boot arrives at the head one lift later.
//!
//! A ring of cells that moves with the belt. The bottom cell is being filled, the top cell is being emptied; everything
//! between only rides. The belt may run back: then the bottom cell spills into the boot.

/// How many cells the lift is cut into.
const CELLS: usize = 64;

/// The carried load.
#[derive(Clone, Debug)]
pub struct Carry {
    /// kg/m, from the bottom up, starting at `first`.
    line: [f64; CELLS],
    first: usize,
    cell_m: f64,
    /// How far the ring has moved into the next cell, 0 to `cell_m`.
    into: f64,
    /// kg/m now going into the bottom.
    filling: f64,
    /// Mass on the lower half in kg.
    pub lower: f64,
    /// Mass on the upper half in kg.
    pub upper: f64,
}

/// What one move gave.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moved {
    /// Mass that went over the head in kg.
    pub discharged: f64,
    /// Mass that fell back into the boot at the bottom in kg.
    pub spilled: f64,
}

impl Carry {
    /// An empty strand of that lift in m.
    #[must_use]
    pub const fn new(lift_m: f64) -> Self {
        Self {
            line: [0.0; CELLS],
            first: 0,
            cell_m: lift_m / CELLS as f64,
            into: 0.0,
            filling: 0.0,
            lower: 0.0,
            upper: 0.0,
        }
    }

    fn at(&self, index: usize) -> f64 {
        self.line[(self.first + index) % CELLS]
    }

    fn weigh(&mut self) {
        let half = CELLS / 2;
        self.lower = (0..half).map(|i| self.at(i)).sum::<f64>() * self.cell_m;
        self.upper = (half..CELLS).map(|i| self.at(i)).sum::<f64>() * self.cell_m;
    }

    /// The belt moved by `metres`, taking up `mass` kg on the way (forward only).
    pub fn advance(&mut self, metres: f64, mass: f64) -> Moved {
        let mut moved = Moved::default();
        if metres > 0.0 {
            let for_each_metre = mass / metres;
            let mut left = metres;
            loop {
                // Up to the end of the cell, or less: what is taken up is spread evenly over the way.
                let run = left.min(self.cell_m - self.into);
                let (half, top) = (self.at(CELLS / 2 - 1), self.at(CELLS - 1));
                self.filling += for_each_metre * run;
                self.into += run;
                moved.discharged += top * run;
                self.lower += (for_each_metre - half) * run;
                self.upper += (half - top) * run;
                left -= run;
                if left <= 0.0 {
                    break;
                }
                // The top cell is empty now; it becomes the bottom cell, with what was filled meanwhile.
                self.into = 0.0;
                self.first = (self.first + CELLS - 1) % CELLS;
                self.line[self.first] = self.filling / self.cell_m;
                self.filling = 0.0;
                self.weigh();
            }
        } else if metres < 0.0 {
            let top = (self.first + CELLS - 1) % CELLS;
            if self.filling > 0.0 || self.line[top] > 0.0 {
                // Turning back: what is half filled falls out at once, and the top cell keeps what it still had.
                moved.spilled += self.filling;
                self.filling = 0.0;
                self.line[top] *= 1.0 - self.into / self.cell_m;
                self.into = 0.0;
                self.weigh();
            }
            self.into += metres;
            while self.into < 0.0 {
                moved.spilled += self.at(0) * self.cell_m;
                self.line[self.first] = 0.0;
                self.first = (self.first + 1) % CELLS;
                self.into += self.cell_m;
                // The cell that comes back over the head was emptied there.
                self.weigh();
                let (half, top) = (self.at(CELLS / 2 - 1), self.at(CELLS - 1));
                self.lower -= half * self.into;
                self.upper += half * self.into - top * self.into;
            }
        }
        moved
    }

    /// All of it falls off.
    pub fn drop_all(&mut self) -> f64 {
        let mass = self.lower + self.upper;
        *self = Self::new(self.cell_m * CELLS as f64);
        mass
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_goes_in_comes_out_one_lift_later() {
        let mut carry = Carry::new(32.0);
        let (mut given, mut taken) = (0.0, 0.0);
        let mut first_out = None;
        for step in 0..2_000_u32 {
            let mass = if step < 500 { 0.5 } else { 0.0 };
            given += mass;
            let moved = carry.advance(0.05, mass);
            taken += moved.discharged;
            if moved.discharged > 1e-9 && first_out.is_none() {
                first_out = Some(f64::from(step) * 0.05);
            }
            assert!((given - taken - carry.lower - carry.upper).abs() < 1e-6, "at {step}");
        }
        assert!((given - taken).abs() < 1e-6);
        // One lift, to a cell.
        assert!((first_out.unwrap_or_default() - 32.0).abs() <= 1.0, "{first_out:?}");
    }

    #[test]
    fn running_back_spills_into_the_boot() {
        let mut carry = Carry::new(10.0);
        for _ in 0..400 {
            carry.advance(0.05, 0.5);
        }
        let full = carry.lower + carry.upper;
        assert!((full - 100.0).abs() < 2.0, "{full}");
        let mut spilled = 0.0;
        for _ in 0..400 {
            spilled += carry.advance(-0.05, 0.0).spilled;
        }
        assert!((spilled - full).abs() < 2.0, "{spilled} of {full}");
    }
}
