//! Reference pages of the book, made from the core's own lists and rules, so that they cannot say anything else.

mod checks;
mod conditions;
mod range;
mod settings;

pub use checks::first_check;
pub use conditions::conditions;
pub use settings::settings;
