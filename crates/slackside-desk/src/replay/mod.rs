//! Replaying a trace through the monitor, in one pass and in constant memory.

mod columns;
mod driver;
mod events_csv;
mod names;
mod outcome;
mod pace;
mod piece;
mod player;
mod rows;
mod run_up;
mod sample;
mod samples_csv;
mod series;
mod units;
mod watch;
mod window;
mod wired;

pub use columns::{Column, Columns, Point, Rub, What};
pub use driver::{Job, replay, replay_from};
pub use events_csv::{EVENTS_HEADER, EventsCsv, condition_of};
pub use names::{action_name, change_name, phase_name, place_name, refusal_name, state_name, write_value};
pub use outcome::{FirstOut, Outcome, Peak};
pub use rows::{Row, Rows};
pub use run_up::{Moment, RunUp};
pub use sample::{ContactSample, Sample};
pub use samples_csv::{SAMPLES_HEADER, SamplesCsv};
pub use series::{Bucket, Range, Series};
pub use units::{WrongUnits, check_units, check_units_of_any_leg};
pub use window::Window;
pub use wired::Wired;
