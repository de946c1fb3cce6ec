//! What the images of the core built anew share: the host by semihosting, the painted stack, and what is played.
#![no_std]
#![deny(missing_docs)]

#[cfg(target_arch = "arm")]
#[path = "../../slackside-firmware/src/host.rs"]
pub mod host;
#[cfg(target_arch = "arm")]
#[path = "../../slackside-firmware/src/paint.rs"]
pub mod paint;
#[cfg(target_arch = "arm")]
pub mod play;
