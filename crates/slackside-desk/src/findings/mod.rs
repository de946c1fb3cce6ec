//! Findings: from the evidence of a trace to what may be wrong, how sure that is, and what to look at first.
//!
//! ```text
//! trace ──► core ──► evidence ──► model ──► answer ──► words
//!                                   ▲
//!             draw ──► play ──► fit ┘  learn: from seeds, by one command
//! ```
//!
//! Nothing is stopped and nothing is decided by any of it. Where physics decides (a line that is open) a rule answers, not the model.

pub mod answer;
pub mod cause;
pub mod evidence;
pub mod learn;
pub mod model;
pub mod track;
