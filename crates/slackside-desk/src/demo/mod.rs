//! The built-in demo: the example leg on the day its lagging is gone. A scenario like any other (`lagging-gone.toml`), run through the
//! same plant, with the monitor in the loop: the motor obeys the run permit, the feeder is not wired to the feed permit.

use std::io;
use std::path::Path;

use slackside::input::Input;
use slackside::settings::Checked;

use crate::problem::Refused;
use crate::scenario::Scenario;
use crate::scenario::guard::Guard;
use crate::scenario::run::{Obeys, Permits, Watch, run};
use crate::scenario::settings::Commissioned;
use crate::scenario::truth::Row;
use crate::trace::{HEADER, write_row};

/// What the demo is called where a trace would be named.
pub const NAME: &str = "the built-in demo";

/// What the person watching should know about it, one sentence a line.
pub const STORY: [&str; 4] = [
    "The example leg starts empty, is half loaded at 12 s, and from 40 s the feed is opened further and further.",
    "What nobody knows: the head pulley lost its 12 mm of rubber lagging, and bare steel grips the belt far less.",
    "The motor obeys the run permit. The feeder is not wired to the feed permit on this leg, so it keeps feeding.",
    "It is a calculation, not a recording.",
];

/// The demo as a scenario file.
pub const TEXT: &str = include_str!("lagging-gone.toml");

/// The demo as a scenario.
///
/// # Errors
/// None: a test holds that it is sound.
pub fn scenario() -> Result<Scenario, Refused> {
    Scenario::parse(TEXT, Path::new("lagging-gone.toml"))
}

/// The monitor in the loop, and all that it was told.
struct Recorder {
    guard: Guard,
    inputs: Vec<Input>,
}

impl Watch for Recorder {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        self.inputs.push(*input);
        self.guard.input(input)
    }

    fn truth(&mut self, row: &Row) -> io::Result<()> {
        self.guard.truth(row)
    }

    fn permits(&mut self, now_us: u64) -> Permits {
        self.guard.permits(now_us)
    }
}

/// The inputs of the demo, in order of time, with a monitor of these settings in the loop.
///
/// # Panics
/// Never: the scenario is built in and sound, and nothing is written that could fail.
#[must_use]
pub fn inputs(settings: &Checked) -> Vec<Input> {
    let scenario = scenario().expect("the built-in scenario is sound");
    let mut recorder = Recorder { guard: Guard::new(settings), inputs: Vec::new() };
    let commissioned = Commissioned::measure(&scenario.leg);
    run(&scenario, &commissioned, scenario.seed, Obeys::Permits, &mut recorder).expect("a list takes all");
    recorder.inputs
}

/// The demo as the bytes of a trace file.
#[must_use]
pub fn trace(settings: &Checked) -> Vec<u8> {
    let mut bytes = format!("{HEADER}\n").into_bytes();
    for input in inputs(settings) {
        write_row(&input, &mut bytes);
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::settings::settings_for;
    use slackside::settings::Settings;

    #[test]
    fn the_demo_is_in_order_and_always_the_same() {
        let settings = Settings::example().check().expect("the example is sound");
        let one = inputs(&settings);
        assert!(one.is_sorted_by_key(|input| input.at));
        assert_eq!(one, inputs(&settings));
    }

    /// The settings it is replayed with are those of the leg it runs on, up to what is measured when a leg is handed over.
    #[test]
    fn the_demo_runs_on_the_example_leg() {
        let scenario = scenario().expect("sound");
        let theirs = settings_for(&scenario.leg, &Commissioned::measure(&scenario.leg)).machine;
        let example = Settings::example().machine;
        assert_eq!((theirs.head_pulley, theirs.boot_pulley), (example.head_pulley, example.boot_pulley));
        assert_eq!((theirs.belt.width, theirs.belt.thickness), (example.belt.width, example.belt.thickness));
        let loops = (theirs.belt.loop_length.get() - example.belt.loop_length.get()).abs();
        assert!(loops < 100_000, "{loops} µm apart");
        let counts = |machine: &slackside::settings::Machine| {
            [machine.head_targets, machine.boot_targets].map(|targets| targets.map(|targets| targets.count))
        };
        assert_eq!(counts(&theirs), counts(&example));
        assert_eq!(theirs.contacts, example.contacts);
        assert_eq!((theirs.temperatures, theirs.outlet_switch), (example.temperatures, example.outlet_switch));
        let speed = f64::from(theirs.normal_head.get()) / f64::from(example.normal_head.get());
        assert!((speed - 1.0).abs() < 0.02, "{speed}");
    }
}
