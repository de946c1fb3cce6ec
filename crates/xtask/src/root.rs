//! Where things are.

use std::path::PathBuf;

/// The root of the checkout.
pub fn root() -> PathBuf {
    let here = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).map_or(here.clone(), PathBuf::from)
}

/// Where builds for microcontrollers go: apart from the desk's, so that neither waits for the other.
pub fn chips() -> PathBuf {
    root().join("target/chips")
}

/// The firmware's own workspace.
pub fn firmware() -> PathBuf {
    root().join("crates/slackside-firmware")
}
