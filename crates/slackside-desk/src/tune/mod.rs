//! Tuning: from traces to limits an engineer can choose and defend.
//!
//! A trace is measured once ([`store`]), then judged under as many settings as wanted ([`run`]): the same verdicts as judging
//! live, without looking at what cannot matter.

pub mod again;
pub mod choose;
pub mod columns;
pub mod corpus;
mod flips;
mod follow;
mod index;
pub mod knob;
pub mod label;
pub mod page;
pub mod results;
pub mod run;
pub mod score;
pub mod search;
pub mod session;
pub mod settings_out;
pub mod stats;
pub mod store;
pub mod study;
mod walk;
