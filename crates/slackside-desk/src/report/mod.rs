//! What a person reads of a replay: words on the terminal, a page, an object for other programs.

mod because;
mod belt;
pub mod bench;
mod causes;
mod chart;
mod clock;
mod embed;
pub(crate) mod escape;
mod figures;
mod html;
mod json;
mod leg;
mod pair;
mod sources;
mod story;
mod terminal;

pub use because::Because;
pub use causes::{Inspection, inspection};
pub use clock::{Clock, DRIFT_PPM, date_and_time};
pub use html::page;
pub use json::object;
pub use pair::pair;
pub use sources::{Sources, Told};
pub use story::{Event, Importance, RunUpRow, Story, capital, event_words, lower, phase_words, state_words};
pub use terminal::words;

/// What tells settings from others, as people and boxes write it everywhere: eight letters of hexadecimal, `AA7A3575`.
#[must_use]
pub fn identity(identity: u32) -> String {
    format!("{identity:08X}")
}
