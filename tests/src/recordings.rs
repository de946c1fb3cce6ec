//! Real recordings of coupled toothed wheels, where they are at hand. They are not part of this project.

use std::path::PathBuf;

use slackside::input::{Input, Shaft, Signal};
use slackside::units::Micros;

/// The folder with the recordings: `SLACKSIDE_RECORDINGS`, or `shared/real-traces` beside the checkout.
/// `None`, with a message, where there is none.
pub fn folder() -> Option<PathBuf> {
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../shared/real-traces");
    let folder = std::env::var_os("SLACKSIDE_RECORDINGS").map_or(beside, PathBuf::from);
    if folder.is_dir() {
        Some(folder)
    } else {
        eprintln!("SKIPPED: no recordings of real wheels at hand (set SLACKSIDE_RECORDINGS to their folder)");
        None
    }
}

/// Read one recording. `None`, with a message, where it is not at hand.
pub fn read(name: &str) -> Option<Vec<Input>> {
    let path = folder()?.join(name);
    let Ok(text) = std::fs::read_to_string(&path) else {
        eprintln!("SKIPPED: recording {name} is not at hand");
        return None;
    };
    let rows = text.lines().skip(1).map(|line| {
        let mut fields = line.split(',');
        let mut field = || fields.next().unwrap_or_else(|| panic!("{name}: short row {line:?}"));
        let at = field().parse().unwrap_or_else(|error| panic!("{name}: {line:?}: {error}"));
        let shaft = match field() {
            "head" => Shaft::Head,
            "boot" => Shaft::Boot,
            other => panic!("{name}: channel {other}"),
        };
        Input::new(Micros::new(at), Signal::Edge(shaft, field() == "1"))
    });
    Some(rows.collect())
}
