//! Recordings of real wheels through both cores, where they are at hand.
//!
//! Source: unit-test resources of an open engine-control project (crankshaft and camshaft, coupled 2:1).

use slackside_landed::input::{Input, Signal};
use slackside_landed::units::{Micros, Span};
use slackside_oracle::compare::{Outcome, Tolerance};
use slackside_oracle::recordings;
use slackside_oracle::run::{Ticks, both};

#[test]
fn every_recording_gives_the_same_verdicts() {
    for (name, settings) in recordings::all() {
        let Some(inputs) = recordings::read(name) else {
            eprintln!("SKIPPED: recording {name} is not at hand (set SLACKSIDE_RECORDINGS to their folder)");
            continue;
        };
        // As it is, and with a box that was on before and has seen the wheels stand.
        let later = |input: &Input| Input::new(input.at.after(Span::from_millis(20_000)), input.signal);
        let awake = [Input::new(Micros::ZERO, Signal::Tick)];
        let after_rest: Vec<Input> = awake.into_iter().chain(inputs.iter().map(later)).collect();
        for inputs in [inputs, after_rest] {
            for ticks in [Ticks::None, Ticks::Deadlines, Ticks::Any] {
                let (outcome, shifts) = both(&settings, &inputs, &[], ticks, 1, Tolerance::PROMISED);
                assert_eq!(outcome, Outcome::Alike, "{name}");
                assert!(shifts.verdicts > 0, "{name}");
            }
        }
    }
}
