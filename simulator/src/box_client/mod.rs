//! The desk's end of the link to a sensor box.

mod cable;
mod client;
mod clock;
mod days;
mod fetch;
mod memory_box;
mod object;
mod port;
mod say;
mod settings;

pub use cable::{BoxEnd, Cable};
pub use client::{Client, LinkError};
pub use clock::{DRIFT_PPM, Time, anchor};
pub use days::{Kept, NO_DAYS, kept_days, say_day, say_mark, say_today, today, today_object};
pub use fetch::{Fetched, fetch, recordings};
pub use memory_box::{Button, MEMORY_KEY, MemoryBox, Modbus, ModbusPort, Setup};
pub use object::{hello_object, plan_object, status_object};
pub use port::Port;
pub use say::{row, say_difference, say_event, say_plan, say_reason, say_status};
pub use settings::{parse_key, read_plan, write_key, write_settings};
