//! Tuning: from traces to limits an engineer can choose and defend.
//!
//! A trace is measured once ([`store`]), then judged under as many settings as wanted ([`run`]): the same verdicts as judging
//! live, without looking at what cannot matter.

pub mod again;
pub mod answer;
pub mod choose;
pub mod columns;
pub mod corpus;
pub mod course;
mod delays;
mod ending;
pub mod expected;
mod flips;
pub mod heat;
mod index;
pub mod knob;
pub mod label;
pub mod listen;
mod moment;
pub mod page;
mod pictures;
mod proof;
mod reckoned;
pub mod results;
pub mod run;
pub mod score;
pub mod search;
pub mod session;
pub mod settings_out;
mod speeds;
pub mod stats;
mod steady;
pub mod store;
pub mod study;
pub mod summary;
mod swings;
mod turning;
mod walk;
