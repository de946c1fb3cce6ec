//! Hands the linker its scripts.

use std::path::PathBuf;
use std::{env, fs};

fn main() {
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    let root = PathBuf::from(env::var_os("CARGO_MANIFEST_DIR").expect("cargo sets CARGO_MANIFEST_DIR"));
    for (from, to) in [("memory.x", "memory.x"), ("link/surface.x", "surface.x")] {
        println!("cargo:rerun-if-changed={from}");
        fs::copy(root.join(from), out.join(to)).expect("the linker script is copied");
    }
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rustc-link-arg-bin=next-surface=-Tsurface.x");
    if env::var("CARGO_CFG_TARGET_ARCH").is_ok_and(|arch| arch == "arm") {
        println!("cargo:rustc-link-arg-bin=next-measured=-Tlink.x");
    }
}
