//! What a person reads of a replay: words on the terminal, a page, an object for other programs.

mod causes;
mod chart;
mod clock;
pub(crate) mod escape;
mod figures;
mod html;
mod json;
mod story;
mod terminal;

pub use causes::{Inspection, inspection};
pub use clock::{Clock, DRIFT_PPM, date_and_time};
pub use html::page;
pub use json::object;
pub use story::{Because, Event, Importance, RunUpRow, Story, capital, event_words, lower, phase_words, state_words};
pub use terminal::{WIDTH, words};
