//! The program: files, the command line, boxes, progress and pictures around the desk library, `slackside_desk`.
//!
//! **Not a certified safety device.** Lock out and tag out the drive before anything is opened; never jog a choked leg.

mod ahead;
pub mod bars;
pub mod box_client;
pub mod cli;
pub mod convert;
pub mod cores;
pub mod disk;
pub mod heard;
pub mod modbus;
pub mod mqtt;
pub mod outputs;
mod parquet_column;
pub mod pictures;
pub mod samples_parquet;
pub mod study_files;
