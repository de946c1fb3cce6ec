//! The built-in demo: the example leg on the day its lagging is gone.
//!
//! A small generator with honest, simple physics (`leg`) and sensors (`sensor`); its trace is a trace like any other.
//! The monitor runs in the loop: the motor obeys the run permit. The feeder does not obey the feed permit, because on
//! this leg nobody has wired it: that is part of the story.

mod leg;
mod sensor;

use slackside::input::{ContactState, Input, Place, Shaft, Signal};
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit};

use crate::monitor::monitor;
use crate::trace::{HEADER, write_row};
use leg::{Drive, Leg};
use sensor::TargetSensor;

/// What the demo is called where a trace would be named.
pub const NAME: &str = "the built-in demo";

/// What the person watching should know about it, one sentence a line.
pub const STORY: [&str; 4] = [
    "The example leg starts empty, is loaded a little at 12 s, and from 40 s the feed is opened further and further.",
    "What nobody knows: the head pulley lost its 12 mm of rubber lagging, and bare steel grips the belt far less.",
    "The motor obeys the run permit. The feeder is not wired to the feed permit on this leg, so it keeps feeding.",
    "It is a calculation, not a recording.",
];

/// The seed of the sensors' imperfections.
const SEED: u64 = 7;
/// The step of the calculation.
const STEP_US: u64 = 1_000;
/// When the start button is pressed.
const START_US: u64 = 4_000_000;
/// How long the contactor takes to open once the permit is gone.
const CONTACTOR_US: u64 = 60_000;
/// How long the recording goes on after the motor was switched off.
const AFTERWARDS_US: u64 = 12_000_000;
/// The end, should nothing trip.
const END_US: u64 = 120_000_000;
/// When a drifting belt brushes the contact at the head, right side, and for how long; written in by hand.
const RUBS_US: [(u64, u64); 2] = [(82_100_000, 90_000), (85_350_000, 160_000)];

/// The inputs of the demo, in order of time.
#[must_use]
pub fn inputs(settings: &Checked) -> Vec<Input> {
    let mut random = sensor::Random::new(SEED);
    let head = TargetSensor::new(Shaft::Head, &mut random);
    let boot = TargetSensor::new(Shaft::Boot, &mut random);
    let mut leg = Leg::with_lagging_gone();
    let mut monitor = monitor(settings, &Retained::default());

    let mut all = vec![Input::new(Micros::ZERO, Signal::DriveRunning(false))];
    let mut waiting: Vec<Input> = Vec::new();
    for (begin, length) in RUBS_US {
        waiting.push(Input::new(Micros::new(begin), Signal::Contact(Place::HeadRight, ContactState::Rubbing)));
        waiting.push(Input::new(Micros::new(begin + length), Signal::Contact(Place::HeadRight, ContactState::Clear)));
    }
    let mut drive = Drive::Off;
    let mut stop_at: Option<u64> = None;
    let mut end = END_US;
    let mut now = 0;
    while now < end {
        if now == START_US {
            drive = Drive::On { since_us: now };
            waiting.push(Input::new(Micros::new(now), Signal::DriveRunning(true)));
        }
        if stop_at.is_some_and(|at| now >= at) && matches!(drive, Drive::On { .. }) {
            drive = Drive::Off;
            waiting.push(Input::new(Micros::new(now), Signal::DriveRunning(false)));
            end = now + AFTERWARDS_US;
        }
        let before = leg.angles();
        leg.step(now, STEP_US, drive);
        let after = leg.angles();
        head.step(now, STEP_US, before.head, after.head, &mut random, &mut waiting);
        boot.step(now, STEP_US, before.boot, after.boot, &mut random, &mut waiting);
        now += STEP_US;

        // Jitter may move an edge a little past its neighbours: what is older than that is settled.
        let settled = now.saturating_sub(sensor::JITTER_US + 1);
        waiting.sort_by_key(|input| input.at);
        let ready = waiting.partition_point(|input| input.at.get() < settled);
        for input in waiting.drain(..ready) {
            all.push(input);
            monitor.observe(input, &mut |verdict| {
                let dropped = matches!(verdict.change, Change::Permit { permit: Permit::Run, allowed: false, .. });
                if dropped && matches!(drive, Drive::On { .. }) {
                    stop_at.get_or_insert(verdict.at.get() + CONTACTOR_US);
                }
            });
        }
    }
    all.extend(waiting.into_iter().filter(|input| input.at.get() < end));
    all.push(Input::new(Micros::new(end), Signal::Tick));
    all
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
    use slackside::settings::Settings;

    #[test]
    fn the_demo_is_in_order_and_always_the_same() {
        let settings = Settings::example().check().expect("the example is sound");
        let one = inputs(&settings);
        assert!(one.is_sorted_by_key(|input| input.at));
        assert_eq!(one, inputs(&settings));
    }
}
