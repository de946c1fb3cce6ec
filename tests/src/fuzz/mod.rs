//! What the fuzz targets do with their bytes. Each body takes any bytes at all and panics if what must always hold does not.

mod plan;
mod operations;
mod text;

pub use plan::plan;
pub use operations::monitor;
pub use text::{settings_text, trace};
