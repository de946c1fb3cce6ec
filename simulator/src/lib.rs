//! The program: files, the command line, boxes, progress and pictures around the desk library, `slackside_desk`.

pub mod bars;
pub mod box_client;
pub mod cli;
pub mod convert;
pub mod cores;
pub mod disk;
pub mod outputs;
pub mod pictures;
pub mod study_files;
