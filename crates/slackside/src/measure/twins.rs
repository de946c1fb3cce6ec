//! Two sensors that say the same: their wires are bridged, or one of them sees the other's targets.
//!
//! An edge of one shaft that comes within [`TOGETHER`] of one of the other's is one of a pair. On two shafts that turn, pairs are chance.
//! Each disc stands on its shaft as it was clamped, and each target on its disc as it was fixed: a tenth of a millimetre at a radius of
//! 100 mm, at 80 turns a minute, is 120 µs already. And the shafts wander: a belt creeps by a tenth of a per cent at least, which at that
//! speed is 700 µs in every turn; even where ratio and creep happened to make up for each other, what is left must be below 15 parts in
//! a million for edges to stay together over [`TURNS`]. So that many pairs in a row, with no edge of either shaft between them, are one
//! signal on two inputs.

use zerocopy::{FromBytes, Immutable, IntoBytes, KnownLayout};

use crate::signals::ShaftSignals;
use crate::time::age;

/// Edges so close are a pair, in microseconds: a pulse seen by two inputs differs by the filters before them and by how they are stamped.
const TOGETHER: u32 = 20;
/// So many turns, and so many pairs at the least.
const TURNS: u16 = 4;
/// See [`TURNS`].
const LEAST: u16 = 16;

/// Pairs in a row.
#[derive(Clone, Copy, Debug, Default, FromBytes, IntoBytes, Immutable, KnownLayout)]
#[repr(C)]
pub struct Twins {
    pairs: u16,
    /// Whether the newest edge has no other beside it yet, 0 or 1.
    single: u8,
    spare: u8,
}

impl Twins {
    /// An edge of one shaft counts at `at`. Whether both say the same, given how many marks the disc with more of them has.
    pub fn edge(&mut self, at: u32, other: &ShaftSignals, marks: u8) -> bool {
        let (after, before) = (age(at, other.last_edge), age(other.last_edge, at));
        if other.is_seen() && (after <= TOGETHER || before <= TOGETHER) {
            self.single = 0;
            self.pairs = self.pairs.saturating_add(1);
        } else {
            if self.single != 0 {
                self.pairs = 0;
            }
            self.single = 1;
        }
        self.pairs >= u16::from(marks).saturating_mul(TURNS).max(LEAST)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// After how many head edges both are held to say the same, where each boot edge comes so much after the head's.
    fn found(marks: u8, lag: impl Fn(u32) -> i32) -> Option<u32> {
        let (mut twins, mut head, mut boot) =
            (Twins::default(), ShaftSignals::default(), ShaftSignals { seen: 1, ..ShaftSignals::default() });
        (1..4_000_u32).find(|edge| {
            head.last_edge = 190_000 * edge;
            head.seen = 1;
            let found = twins.edge(head.last_edge, &boot, marks);
            boot.last_edge = head.last_edge.wrapping_add_signed(lag(*edge));
            twins.edge(boot.last_edge, &head, marks) || found
        })
    }

    #[test]
    fn one_signal_on_two_inputs_is_found_within_four_turns() {
        assert_eq!(found(4, |_| 3), Some(16));
        assert_eq!(found(1, |edge| if edge % 2 == 0 { 20 } else { -20 }), Some(16));
        assert_eq!(found(16, |_| 0), Some(64));
    }

    #[test]
    fn shafts_that_wander_are_two() {
        assert_eq!(found(4, |_| 21), None);
        // One target of four stands a hair off.
        assert_eq!(found(4, |edge| if edge % 4 == 0 { 25 } else { 0 }), None);
        // Through a whole pitch to and fro at 20 parts in a million of a turn.
        assert_eq!(found(4, |edge| (edge as i32 - 2_000) * 4), None);
    }
}
