//! Flash and RAM of the core, by target.

use anyhow::Result;

use super::Table;
use crate::image::{FIRMWARE, Image, Profile, monitor_sizes, shares, weigh};

const TARGETS: [&str; 4] =
    ["thumbv6m-none-eabi", "thumbv7m-none-eabi", "thumbv7em-none-eabihf", "riscv32imc-unknown-none-elf"];

/// The heading.
pub const TITLE: &str = "Flash and RAM, in bytes";
/// The column of the size-optimised flash.
pub const SMALL: &str = "flash, for size";
/// The column of the size-optimised flash with recorder and link.
pub const WHOLE: &str = "with recorder and link, for size";
/// The column of a monitor with room for eight marks.
pub const EIGHT: &str = "monitor, 8 marks";
/// The column of a monitor with room for every machine.
pub const ALL: &str = "monitor, 64 marks";

/// What the smallest image consists of.
pub fn breakdown() -> Result<Vec<(&'static str, u64)>> {
    let [target, ..] = TARGETS;
    shares(&Image { target, firmware: FIRMWARE, bin: "surface", profile: Profile::Small, features: "box-only" }.link()?)
}

/// Weigh the image that calls what a box calls.
pub fn measure() -> Result<Table> {
    let mut table = Table::new(TITLE, &[SMALL, WHOLE, "flash, for speed", "monitor, 4 marks", EIGHT, ALL]);
    let whole = |target| Image {
        target,
        firmware: FIRMWARE,
        bin: "surface",
        profile: Profile::Small,
        features: "box-only,record-and-wire",
    };
    for profile in Profile::ALL {
        Image { target: TARGETS[0], firmware: FIRMWARE, bin: "surface", profile, features: "box-only" }
            .ahead(&TARGETS)?;
    }
    let mut wholes = Vec::new();
    whole(TARGETS[0]).ahead(&TARGETS)?;
    for target in TARGETS {
        // Where size counts the compiler does not see that postcard's writer of numbers stays within its bounds: see `no_panic`.
        wholes.push(weigh(&whole(target).link_as_it_is()?)?);
    }
    for (target, whole) in TARGETS.into_iter().zip(wholes) {
        println!("weighing the core on {target}");
        let mut flash = Vec::new();
        let mut sizes = [0; 3];
        for profile in [Profile::Small, Profile::Release] {
            let path = Image { target, firmware: FIRMWARE, bin: "surface", profile, features: "box-only" }.link()?;
            flash.push(Some(weigh(&path)?));
            sizes = monitor_sizes(&path)?;
        }
        flash.insert(1, Some(whole));
        table.push(target, flash.into_iter().chain(sizes.map(Some)).collect());
    }
    Ok(table)
}
