//! The example leg's box on the bench.
#![allow(dead_code, reason = "not every test uses all of it")]

use slackside::settings::Settings;
use slackside::settings::plan::Plan;
pub use slackside_box::bench::{Chip, Rig};
use slackside_box::store::{Layout, set_key};

pub fn layout() -> Layout {
    Rig::layout()
}

pub fn settings() -> Settings {
    Settings::example()
}

pub fn plan(settings: &Settings) -> Plan {
    settings.clone().check().expect("sound").plan()
}

/// The key of the box on the bench.
pub const KEY: [u8; 16] = *b"the bench's key.";

/// Flash of a new box with its key.
pub fn new_box() -> Chip {
    let mut chip = Rig::blank();
    set_key(&layout(), &mut chip, &KEY).expect("set");
    chip
}

/// Flash with its key and the example leg's plan in it, and nothing else.
pub fn set_up() -> Chip {
    Rig::set_up(&KEY, &plan(&settings()))
}
