//! Helpers shared by the tests in `tests/tests`.
