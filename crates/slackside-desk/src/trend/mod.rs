//! Wear, seen over months: days in little, the course of their figures, and when a limit is reached at this rate.

pub mod course;
pub mod cusum;
mod date;
mod days;
mod figure;
mod page;
pub mod sen;
mod table;
#[cfg(test)]
mod warmth_tests;
mod wear;
mod words;

pub use date::Date;
pub use days::{Day, days_of_box, days_of_trace, in_order, note_of};
pub use figure::{Figure, Limit, Over};
pub use page::page;
pub use table::{OPENING, Table, is_table, read_table, write_table};
pub use wear::{Course, Restart, Wear, Work, wear, work_of, work_word};
pub use words::{object, words};
