//! What follows from the settings by geometry alone, in integers.
//!
//! A belt bends about a line inside itself that neither stretches nor shortens, taken at mid-thickness. A pulley
//! therefore moves the belt as if it were larger by one belt thickness: effective diameter = bare diameter + twice the
//! lagging + the belt's thickness. The no-slip ratio is the ratio of two effective diameters.
//!
//! All of it is defined for unchecked settings too, where it saturates; the results mean something once
//! [`Settings::check`](super::Settings::check) has passed.

use super::{Checked, Machine, Pulley, Spacing, Targets};
use crate::units::{Micrometres, MicrometresPerSecond, MicroturnsPerSecond, Ppm, Ratio, Span};

/// π in thousand-millionths.
const PI_NANO: i64 = 3_141_592_654;

/// Lengths beyond this (2,147 m) are held at it, so that the sums below stay within their types.
const LONGEST: i64 = 1 << 31;

/// `length`, held between nothing and [`LONGEST`].
const fn held(length: Micrometres) -> i64 {
    let length = length.get();
    if length < 0 {
        0
    } else if length > LONGEST {
        LONGEST
    } else {
        length
    }
}

/// `numerator / denominator` to the nearest whole; 0 where the denominator is 0. Both below 2^62.
const fn rounded(numerator: u64, denominator: u64) -> u64 {
    match numerator.saturating_add(denominator >> 1).checked_div(denominator) {
        Some(quotient) => quotient,
        None => 0,
    }
}

const fn to_u32(value: u64) -> u32 {
    if value > u32::MAX as u64 { u32::MAX } else { value as u32 }
}

impl Pulley {
    /// The diameter with which the pulley moves the belt: bare + 2 × lagging + belt thickness (neutral line mid-belt).
    /// Never below zero.
    #[must_use]
    pub const fn effective_diameter(&self, belt_thickness: Micrometres) -> Micrometres {
        let lagging = held(self.lagging);
        Micrometres::new(
            held(self.bare_diameter)
                .saturating_add(lagging)
                .saturating_add(lagging)
                .saturating_add(held(belt_thickness)),
        )
    }
}

/// The circumference of an effective diameter, to the nearest micrometre.
const fn circumference(diameter: Micrometres) -> Micrometres {
    // At most 2^31 × 2^31.6 < 2^63.
    let scaled = held(diameter).saturating_mul(PI_NANO);
    Micrometres::new(rounded(scaled as u64, 1_000_000_000) as i64)
}

impl Targets {
    /// The smallest pitch between two counted edges, as a share of the turn; rounded down.
    #[must_use]
    pub const fn closest_pitch(&self) -> Ppm {
        match self.spacing {
            Spacing::Uneven { closest, .. } => closest,
            Spacing::Even { tolerance } => {
                self.mean_pitch_times(1_000_000_i64.saturating_sub(tolerance.get() as i64), 0)
            }
        }
    }

    /// The largest pitch between two counted edges, as a share of the turn; rounded up, as it bounds silence.
    #[must_use]
    pub const fn widest_pitch(&self) -> Ppm {
        match self.spacing {
            Spacing::Uneven { widest, .. } => widest,
            Spacing::Even { tolerance } => {
                let round_up = (self.marks() as i64).saturating_sub(1);
                self.mean_pitch_times(1_000_000_i64.saturating_add(tolerance.get() as i64), round_up)
            }
        }
    }

    /// `parts` ppm of the mean pitch, as a share of the turn: a whole turn for one mark, and where there is none.
    const fn mean_pitch_times(&self, parts: i64, round_up: i64) -> Ppm {
        let marks = self.marks() as i64;
        if marks <= 1 {
            // With one mark the pitch is the turn itself, whatever the tolerance.
            return Ppm::ONE;
        }
        match parts.saturating_add(round_up).checked_div(marks) {
            Some(share) if share < 0 => Ppm::ZERO,
            Some(share) if share > 1_000_000 => Ppm::ONE,
            Some(share) => Ppm::new(share as i32),
            None => Ppm::ONE,
        }
    }
}

/// The time of one turn; 0 at no speed, where a turn takes for ever.
#[must_use]
pub const fn turn_time(speed: MicroturnsPerSecond) -> Span {
    Span::new(to_u32(rounded(1_000_000_000_000, speed.get() as u64)))
}

impl Machine {
    /// Effective diameter of the head pulley.
    #[must_use]
    pub const fn head_diameter(&self) -> Micrometres {
        self.head_pulley.effective_diameter(self.belt.thickness)
    }

    /// Effective diameter of the boot pulley.
    #[must_use]
    pub const fn boot_diameter(&self) -> Micrometres {
        self.boot_pulley.effective_diameter(self.belt.thickness)
    }

    /// The no-slip ratio from geometry: boot turns for each head turn. [`Ratio::ZERO`] without a boot pulley.
    #[must_use]
    pub const fn geometric_ratio(&self) -> Ratio {
        // At most 2^34 × 10^6 < 2^54.
        let head = (self.head_diameter().get() as u64).saturating_mul(1_000_000);
        Ratio::new(to_u32(rounded(head, self.boot_diameter().get() as u64)))
    }

    /// The ratio slip is measured against: the accepted one, else geometry.
    #[must_use]
    pub const fn ratio_in_force(&self) -> Ratio {
        match self.accepted_ratio {
            Some(accepted) => accepted.ratio,
            None => self.geometric_ratio(),
        }
    }

    /// Belt for each turn of the head pulley, at mid-thickness.
    #[must_use]
    pub const fn head_circumference(&self) -> Micrometres {
        circumference(self.head_diameter())
    }

    /// Belt for each turn of the boot pulley, at mid-thickness.
    #[must_use]
    pub const fn boot_circumference(&self) -> Micrometres {
        circumference(self.boot_diameter())
    }

    /// Belt speed at normal operating speed, from the boot shaft, which the belt turns.
    #[must_use]
    pub const fn normal_belt_speed(&self) -> MicrometresPerSecond {
        self.belt_speed(self.normal_boot)
    }

    /// Belt speed at a speed of the boot shaft. Held at the end of the type (4.3 km/s).
    #[must_use]
    pub const fn belt_speed(&self, boot: MicroturnsPerSecond) -> MicrometresPerSecond {
        // In whole numbers: the circumference is below 2^34, the speed below 2^32: held at 2^63 before dividing.
        let scaled = (self.boot_circumference().get() as u64).saturating_mul(boot.get() as u64);
        MicrometresPerSecond::new(to_u32(rounded(scaled, 1_000_000)))
    }

    /// The time of one head turn at normal operating speed; 0 at no speed.
    #[must_use]
    pub const fn head_turn_time(&self) -> Span {
        turn_time(self.normal_head)
    }

    /// The time of one boot turn at normal operating speed; 0 at no speed.
    #[must_use]
    pub const fn boot_turn_time(&self) -> Span {
        turn_time(self.normal_boot)
    }

    /// The time of one belt loop at normal operating speed; 0 at no speed.
    #[must_use]
    pub const fn loop_time(&self) -> Span {
        let scaled = (held(self.belt.loop_length) as u64).saturating_mul(1_000_000);
        Span::new(to_u32(rounded(scaled, self.normal_belt_speed().get() as u64)))
    }
}

impl Checked {
    /// The ratio slip is measured against: see [`Machine::ratio_in_force`]. Never zero.
    #[must_use]
    pub fn ratio(&self) -> Ratio {
        self.machine.ratio_in_force()
    }

    /// Belt for each turn of the boot pulley: see [`Machine::boot_circumference`].
    #[must_use]
    pub fn boot_circumference(&self) -> Micrometres {
        self.machine.boot_circumference()
    }

    /// Belt for each turn of the head pulley: see [`Machine::head_circumference`].
    #[must_use]
    pub fn head_circumference(&self) -> Micrometres {
        self.machine.head_circumference()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::{CountedEdges, Settings};

    #[test]
    fn the_example_leg_comes_out_as_by_hand() {
        let machine = Settings::example().machine;
        assert_eq!(machine.head_diameter().get(), 632_000);
        assert_eq!(machine.boot_diameter().get(), 608_000);
        // 632 / 608
        assert_eq!(machine.geometric_ratio().get(), 1_039_474);
        // π × 608 mm = 1,910.0883 mm
        assert_eq!(machine.boot_circumference().get(), 1_910_088);
        assert_eq!(machine.head_circumference().get(), 1_985_487);
        // 1.910088 m × 1.361711 /s = 2.600988 m/s
        assert_eq!(machine.normal_belt_speed().get(), 2_600_988);
        assert_eq!(machine.head_turn_time().get(), 763_359);
        assert_eq!(machine.loop_time().get(), 23_817_872);
    }

    #[test]
    fn pitches_bound_what_the_spacing_allows() {
        let mut targets = Targets {
            count: 3,
            edges: CountedEdges::Rising,
            spacing: Spacing::Even { tolerance: Ppm::new(20_000) },
            supervised: false,
        };
        // A third of a turn, 2 % less and more.
        assert_eq!(targets.closest_pitch().get(), 326_666);
        assert_eq!(targets.widest_pitch().get(), 340_000);
        targets.count = 1;
        assert_eq!((targets.closest_pitch(), targets.widest_pitch()), (Ppm::ONE, Ppm::ONE));
    }

    #[test]
    fn nonsense_saturates() {
        let mut machine = Settings::example().machine;
        for nonsense in [i64::MIN, -1, 0, 1, i64::MAX] {
            machine.boot_pulley.bare_diameter = Micrometres::new(nonsense);
            machine.belt.thickness = Micrometres::new(nonsense);
            machine.boot_pulley.lagging = Micrometres::new(nonsense);
            machine.normal_boot = MicroturnsPerSecond::MAX;
            let _ = (machine.geometric_ratio(), machine.normal_belt_speed(), machine.loop_time());
            assert!(machine.boot_circumference().get() >= 0);
        }
    }
}
