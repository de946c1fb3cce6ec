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

/// The workspace of a crate of firmware.
pub fn firmware(name: &str) -> PathBuf {
    root().join("crates").join(name)
}
