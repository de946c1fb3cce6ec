//! The proof that no panic can be reached: the `surface` image calls every public entry point with values the compiler
//! cannot know, and its panic handler calls a symbol that nothing defines. If it links, no panic is left.
//!
//! Optimised for speed, the proof covers what the desk calls besides: recordings read back. Optimised for size, it covers what a box calls.
//!
//! The images that people flash are looked at as they are: what no path leads to, the linker leaves out, so an image without the panic
//! handler and without anything of `core::panicking` cannot panic. What they hold is told; they are not held to none yet.

use anyhow::{Result, bail, ensure};

use crate::image::{Built, Image, Profile, callers_of, panics_in, weigh};
use crate::targets::{board, board_with};

/// The targets the proof is made for: those whose flash is weighed.
const TARGETS: [&str; 4] =
    ["thumbv6m-none-eabi", "thumbv7m-none-eabi", "thumbv7em-none-eabihf", "riscv32imc-unknown-none-elf"];

/// The boxes that people flash.
const BOARDS: [&str; 2] = ["slackside-pico", "slackside-mps2"];

/// An image with the core in it has as many bytes at the least: without it nothing would be proven.
const LEAST_IMAGE: u64 = 16_384;

/// Prove it, then plant a panic and see the proof fail.
pub fn run() -> Result<()> {
    for profile in Profile::ALL {
        let (features, covers) = match profile {
            Profile::Release => ("monitor,record,link,modbus,read", "what a box calls, and recordings read back"),
            Profile::Small => ("monitor,record,link,modbus", "what a box calls"),
        };
        let image = |target| Image { target, bin: "surface", profile, features };
        image(TARGETS[0]).ahead(&TARGETS)?;
        for image in TARGETS.map(image) {
            match image.try_link()? {
                Built::Linked(path) => {
                    let bytes = weigh(&path)?;
                    ensure!(
                        bytes >= LEAST_IMAGE,
                        "{}, {}: the image has {bytes} bytes only: what is to be proven was left out of it",
                        image.target,
                        profile.name()
                    );
                    println!("{}, {}: no panic can be reached from {covers}", image.target, profile.name());
                }
                Built::PanicReachable => {
                    let callers = image.panic_callers()?;
                    bail!("{}, {}: a panic can be reached:\n  {}", image.target, profile.name(), callers.join("\n  "))
                }
            }
        }
    }
    let planted = Image { target: TARGETS[1], bin: "surface", profile: Profile::Release, features: "plant-panic" };
    ensure!(
        matches!(planted.try_link()?, Built::PanicReachable),
        "a planted panic was not found: the proof proves nothing"
    );
    println!("a planted panic is found");
    boards()
}

/// What the images that people flash hold of panics: told, and not yet held to none.
fn boards() -> Result<()> {
    for name in BOARDS {
        let path = board(name)?;
        let bytes = weigh(&path)?;
        ensure!(bytes >= LEAST_IMAGE, "{name}: the image has {bytes} bytes only");
        let found = panics_in(&path)?;
        if found.is_empty() {
            println!("{name}: no panic can be reached in the image that is flashed, {bytes} bytes");
        } else {
            let with_calls = std::fs::read(board_with(name, &["-C", "link-arg=--emit-relocs"], "")?)?;
            let callers = callers_of(&with_calls, &found)?;
            println!("{name}: a panic can be reached in the image that is flashed:\n  {}", callers.join("\n  "));
        }
    }
    Ok(())
}
