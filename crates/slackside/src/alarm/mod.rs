//! Alarms apart from what they are about: sets of ranks, and the states of IEC 62682 told from a byte of bits.

mod set;
mod state;

pub use set::Set;
pub use state::{AlarmState, bits};
