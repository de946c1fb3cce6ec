//! Tuning: from traces to limits an engineer can choose and defend.
//!
//! A trace is measured once ([`store`]), then judged under as many settings as wanted ([`run`]): the same verdicts as judging
//! live, without looking at what cannot matter.

mod index;
pub mod run;
pub mod store;
mod walk;
