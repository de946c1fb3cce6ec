//! The desk as a library: traces through the monitor core, and what a person reads of it.
//!
//! **Not a certified safety device.** What it says helps a person to look in the right place; it replaces neither guards nor
//! lockout/tagout nor dust control. Lock out the drive before anything is opened; never jog a choked leg.
//!
//! It opens no file, starts no thread, shows no progress and asks no clock: whoever uses it hands in where things are read
//! from ([`files::Files`]), where they are written to (any writer), who shares the work ([`crew::Crew`]), and what is to
//! be told of progress. So it runs in a browser as well, and is built for one with everything else (`cargo xtask web`).

pub mod cautions;
pub mod crew;
pub mod demo;
pub mod drawing;
pub mod error;
pub mod files;
pub mod findings;
pub mod import;
pub mod lines;
pub mod monitor;
pub mod plant;
pub mod problem;
pub mod recording;
pub mod reference;
pub mod replay;
pub mod report;
pub mod scenario;
pub mod sensors;
pub mod settings;
pub mod sheet;
pub mod trace;
pub mod trend;
pub mod tune;
