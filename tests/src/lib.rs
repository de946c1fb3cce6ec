//! Helpers shared by the tests in `tests/tests`.

pub mod recordings;
pub mod wheels;
