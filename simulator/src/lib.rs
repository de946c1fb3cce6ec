//! The desk: traces through the monitor core, and what a person reads of it.

pub mod box_client;
pub mod cautions;
pub mod cli;
pub mod demo;
pub mod outputs;
pub mod plant;
pub mod recording;
pub mod replay;
pub mod report;
pub mod scenario;
pub mod sensors;
pub mod settings;
pub mod sheet;
pub mod trace;
pub mod tune;
