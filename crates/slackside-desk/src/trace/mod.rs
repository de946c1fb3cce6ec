//! Trace files: plain CSV that any logger can write, one input a row, rows in order of time.
//!
//! ```text
//! time_us,channel,value
//! 5000000,drive,1
//! 5181733,head,1
//! 5206112,head,0
//! ```
//!
//! `time_us` counts microseconds from any beginning. [`Channel`] lists the channels and what each may say.
//! Reading streams, so a trace may be larger than memory; gzip is recognised by its content.

mod channel;
mod command;
mod dump;
mod error;
mod number;
mod quick;
mod reader;
mod row;
mod survey;
mod writer;

pub use channel::Channel;
pub use command::write_command;
pub use dump::{Dump, dump};
pub use error::TraceError;
pub use number::{write_decimal, write_fixed, write_unsigned};
pub(crate) use reader::foreign;
pub use reader::{Progress, Reader};
pub use row::{HEADER, parse_value, write_row};
pub use survey::{Survey, Warning};
pub use writer::Writer;

#[cfg(test)]
mod tests;
