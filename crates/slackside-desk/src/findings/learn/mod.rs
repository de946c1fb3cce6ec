//! Where the model comes from, and how well it does: runs drawn by chance, played with the monitor in the loop.

pub mod draw;
pub mod fit;
pub mod legs;
pub mod measure;
pub mod page;
pub mod play;
pub mod row;
pub mod rules;
pub mod written;
