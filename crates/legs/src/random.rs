//! A small generator of random numbers, the same everywhere: SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number
//! generators", 2014).

/// The generator: its seed is its state.
#[derive(Clone, Debug)]
pub struct Random(pub u64);

impl Random {
    /// A generator of its own for one purpose, so that what one part draws does not move what another gets.
    #[must_use]
    pub fn split(&mut self) -> Self {
        Self(self.next_u64())
    }

    /// The next 64 bits.
    pub fn next_u64(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// Evenly from 0 up to 1, which is not reached.
    pub fn unit(&mut self) -> f64 {
        (self.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Roughly normal, of standard deviation 1 (sum of twelve).
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }

    /// Evenly between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Between two positive numbers, each power of ten as likely as the next.
    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        (low.ln() + (high.ln() - low.ln()) * self.unit()).exp()
    }

    /// Evenly from `low` to `high`, both included.
    pub fn whole(&mut self, low: i64, high: i64) -> i64 {
        let count = (high - low).unsigned_abs() + 1;
        low + (self.next_u64() % count) as i64
    }

    /// Evenly from 0 to below `end`, which is not zero.
    pub fn below(&mut self, end: u64) -> u64 {
        self.next_u64() % end
    }

    /// With this probability.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// One of these.
    pub fn one_of<T: Copy>(&mut self, list: &[T]) -> T {
        list[(self.next_u64() % list.len() as u64) as usize]
    }
}
