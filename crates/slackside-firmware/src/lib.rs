//! What the images of the emulated board share.
#![no_std]
#![deny(missing_docs)]

#[cfg(target_arch = "arm")]
pub mod host;
#[cfg(all(target_arch = "arm", feature = "log"))]
pub mod log;
#[cfg(target_arch = "arm")]
pub mod paint;
#[cfg(target_arch = "arm")]
pub mod play;
