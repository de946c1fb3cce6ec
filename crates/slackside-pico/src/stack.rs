//! The stack: painted before anything else, and held to a bound that lies well above its end.

#[path = "../../slackside-mps2/src/stack.rs"]
#[allow(dead_code, reason = "no log to tell its depth to")]
mod painted;

pub use painted::paint;

/// Where `memory.x` has its end.
const BOTTOM: u32 = 0x2000_0000;
/// What must stay free: an eighth.
const RESERVE: u32 = painted::LENGTH / 8;
/// So much of it is looked at, at its upper end: no frame is larger without writing into its own.
const LOOKED_AT: u32 = 1_024;

/// Whether it never went into its reserve. A few microseconds.
pub fn is_within_bound() -> bool {
    let words = (BOTTOM + RESERVE - LOOKED_AT..BOTTOM + RESERVE).step_by(4);
    // SAFETY: it is the stack's memory, below what is in use.
    words.map(|at| unsafe { (at as *const u32).read_volatile() }).all(|word| word == painted::PAINT)
}
