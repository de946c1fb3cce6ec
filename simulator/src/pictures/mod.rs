//! Pictures.

pub mod run;
