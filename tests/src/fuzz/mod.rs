//! What the fuzz targets do with their bytes. Each body takes any bytes at all and panics if what must always hold does not.

mod image;
mod link;
mod operations;
mod plan;
mod text;

pub use image::settings_image;
pub use link::link;
pub use operations::monitor;
pub use plan::plan;
pub use text::{settings_text, trace};
