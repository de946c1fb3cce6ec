//! What the images of the emulated board share.
//!
//! **Not a certified safety device.** Lock out and tag out the drive before anything is opened; never jog a choked leg.
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
