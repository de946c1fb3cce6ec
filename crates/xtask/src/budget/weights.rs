//! Flash and RAM of the core, by target and by part.

use anyhow::Result;

use super::table::Table;
use crate::image::{Built, Image, Parts, Profile, monitor_sizes, shares, weigh};

pub const TARGETS: [&str; 4] =
    ["thumbv6m-none-eabi", "thumbv7m-none-eabi", "thumbv7em-none-eabihf", "riscv32imc-unknown-none-elf"];

/// The heading of flash and RAM.
pub const TITLE: &str = "Flash and RAM, in bytes";
/// The column of what the goal is for.
pub const WHOLE: &str = "monitor, plan check, recorder, link";
/// The columns of RAM.
pub const EIGHT: &str = "RAM, 8 marks";
pub const ALL: &str = "RAM, 64 marks";
/// The heading of Modbus.
pub const MODBUS_TITLE: &str = "Modbus beside them, for size, in bytes";
/// The heading of the parts.
pub const PARTS_TITLE: &str = "Where the flash goes: thumbv6m, for size, in bytes";

/// Which features of the image, and what they are called.
const IMAGES: [(&str, &str); 4] = [
    ("plan check alone", "check"),
    ("monitor, plan check", "monitor"),
    ("with recorder", "monitor,record"),
    (WHOLE, "monitor,record,link"),
];

const PARTS: &Parts = &[
    ("measure", &["slackside::measure"]),
    (
        "judge: phase, rest, reference, heat, operator",
        &[
            "judge::phase",
            "judge::rest",
            "judge::reference",
            "judge::heat",
            "judge::operator",
            "judge::leg",
            "judge::recent",
            "judge::speed",
        ],
    ),
    ("judge: engine and all else", &["slackside::judge", "slackside::alarm", "slackside::conditions"]),
    // Not whatever has a plan in its name.
    (
        "plan check",
        &["settings::plan_check", "settings::derived", "settings::cross", "<slackside::settings::plan::Plan>"],
    ),
    ("recorder", &["slackside::record", "codec::fold", "codec::varint", "codec::crc"]),
    ("link", &["slackside::wire", "codec::message", "surface::Line"]),
    ("retained state", &["slackside::retained"]),
    (
        "arithmetic, and the compiler's arithmetic and copying",
        &["slackside::arith", "compiler_builtins", "__aeabi", "mem::", "__udiv", "__div", "__mul", "__clz", "memcmp"],
    ),
    (
        "words and numbers written out, which only a panic does",
        &["core::fmt", "_fmt", "do_count_chars", "core::panicking"],
    ),
    ("monitor, with what is inlined into it", &["slackside::monitor", "slackside"]),
];

/// The heading of the whole box.
const BOX_TITLE: &str = "Where the flash of a whole box goes: Raspberry Pi Pico, thumbv6m, for speed, in bytes";

/// What the box has beside the core; looked for first.
const BOX_PARTS: &Parts = &[
    (
        "box: store",
        &[
            "slackside_box::store",
            "slackside_box::filing",
            "slackside_box::shelf",
            "sensor_box::memory",
            "sensor_box::heat",
        ],
    ),
    ("box: the tag of a plan to be armed", &["slackside_box::arming", "ascon", "subtle::"]),
    ("box: arming a plan", &["sensor_box::armed", "::arm"]),
    ("box: loop, wires, permits, faults, its end of the link", &["slackside_box"]),
];

fn image<'a>(target: &'a str, features: &'a str, profile: Profile) -> Image<'a> {
    Image { target, bin: "surface", profile, features }
}

/// Weigh on the smallest processor only: for whoever wants to know while writing.
pub fn quick() -> Result<Vec<Table>> {
    let mut table = Table::new("thumbv6m, for size, in bytes", &["flash"]);
    for (name, features) in IMAGES {
        table.push(name, vec![Some(weigh(&image(TARGETS[0], features, Profile::Small).link_as_it_is()?)?)]);
    }
    let whole = image(TARGETS[0], IMAGES[3].1, Profile::Small);
    if let Built::PanicReachable = whole.try_link()? {
        println!("A panic can be reached:");
        whole.panic_callers()?.iter().for_each(|chain| println!("  {chain}"));
    }
    let whole = whole.link_as_it_is()?;
    let [four, eight, all] = monitor_sizes(&whole)?;
    let ram = Table::new("RAM, in bytes", &["4 marks", "8 marks", "64 marks"])
        .row("monitor", vec![Some(four), Some(eight), Some(all)]);
    Ok(vec![table, parts()?, ram])
}

/// What Modbus adds: the table without its words, the server, RTU; not the loop around a serial line.
pub fn modbus() -> Result<Table> {
    println!("weighing Modbus");
    let features = [IMAGES[3].1, "monitor,record,link,modbus"];
    let mut table = Table::new(MODBUS_TITLE, &["flash"]);
    for target in TARGETS {
        // One after the other: both lie in the same place.
        let mut flash = [0; 2];
        for (bytes, features) in flash.iter_mut().zip(features) {
            *bytes = weigh(&image(target, features, Profile::Small).link_as_it_is()?)?;
        }
        let [without, with] = flash;
        table.push(target, vec![Some(with.saturating_sub(without))]);
    }
    Ok(table)
}

/// What the whole of it consists of.
pub fn parts() -> Result<Table> {
    let path = image(TARGETS[0], IMAGES[3].1, Profile::Small).link_as_it_is()?;
    let mut table = Table::new(PARTS_TITLE, &["bytes"]);
    for (part, bytes) in shares(&path, PARTS, ("the entry, with what is inlined into it", "initial values"))? {
        table.push(part, vec![Some(bytes)]);
    }
    Ok(table)
}

/// What a whole box consists of, on a board.
pub fn whole_box() -> Result<Table> {
    println!("weighing the box on the Raspberry Pi Pico");
    let path = crate::targets::board("slackside-pico")?;
    let parts: Vec<_> = BOX_PARTS.iter().chain(PARTS).copied().collect();
    let mut table = Table::new(BOX_TITLE, &["bytes"]);
    for (part, bytes) in shares(&path, &parts, ("board, with what is inlined into its loop", "initial values"))? {
        table.push(part, vec![Some(bytes)]);
    }
    table.push("all of it", vec![Some(weigh(&path)?)]);
    Ok(table)
}

/// Weigh every image on every target.
pub fn measure() -> Result<Table> {
    let mut columns: Vec<&str> = IMAGES.iter().map(|(name, _)| *name).collect();
    columns.extend(["monitor, for speed", "RAM, 4 marks", EIGHT, ALL]);
    let mut table = Table::new(TITLE, &columns);
    for (_, features) in IMAGES {
        image(TARGETS[0], features, Profile::Small).ahead(&TARGETS)?;
    }
    image(TARGETS[0], "monitor", Profile::Release).ahead(&TARGETS)?;
    for target in TARGETS {
        println!("weighing the core on {target}");
        let mut row = Vec::new();
        for (_, features) in IMAGES {
            row.push(Some(weigh(&image(target, features, Profile::Small).link_as_it_is()?)?));
        }
        let path = image(target, "monitor", Profile::Release).link_as_it_is()?;
        row.push(Some(weigh(&path)?));
        row.extend(monitor_sizes(&path)?.map(Some));
        table.push(target, row);
    }
    Ok(table)
}
