//! Shafts that turn to and fro: levels of target sensors from angles, as a sensor gives them whichever way a shaft turns.
#![allow(dead_code, reason = "each test uses a part")]

use slackside::conditions::Condition;
use slackside::input::{Input, Shaft, Signal};
use slackside::settings::Settings;
use slackside::settings::plan_check::Sound;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit, Verdict};

use crate::leg::{observed, plan_of};

/// Levels are looked at so often, and a change between two looks is found to the microsecond.
const STEP_S: f64 = 0.001;

/// Even targets, each filling this share of its pitch, the first beginning at this share of a turn.
#[derive(Clone, Copy, Debug)]
pub struct Disc {
    pub targets: u8,
    pub filled: f64,
    pub offset: f64,
}

impl Disc {
    /// A third of each pitch filled.
    pub fn of(targets: u8) -> Self {
        Self { targets, filled: 1.0 / 3.0, offset: 0.003 }
    }

    fn level(&self, turns: f64) -> bool {
        let pitches = (turns - self.offset) * f64::from(self.targets);
        pitches - pitches.floor() < self.filled
    }
}

/// The levels of one sensor while its shaft stands at `turns`, by time in seconds.
pub fn levels(shaft: Shaft, disc: Disc, turns: &dyn Fn(f64) -> f64, seconds: f64) -> Vec<Input> {
    let mut inputs = Vec::new();
    let mut was = disc.level(turns(0.0));
    for step in 0..(seconds / STEP_S) as u64 {
        let (mut from, mut to) = (step as f64 * STEP_S, (step + 1) as f64 * STEP_S);
        let is = disc.level(turns(to));
        if is == was {
            continue;
        }
        while to - from > 5e-7 {
            let middle = (from + to) / 2.0;
            if disc.level(turns(middle)) == is { to = middle } else { from = middle }
        }
        inputs.push(at(to, Signal::Edge(shaft, is)));
        was = is;
    }
    inputs
}

/// The angle of a shaft by time, summed from its speed.
pub fn angle(speed: impl Fn(f64) -> f64, seconds: f64) -> impl Fn(f64) -> f64 {
    let step = 0.001;
    let mut turned = vec![0.0];
    for n in 0..(seconds / step) as usize + 2 {
        let time = n as f64 * step;
        turned.push(turned[n] + step * (speed(time) + speed(time + step)) / 2.0);
    }
    move |time: f64| {
        let at = time / step;
        let n = at as usize;
        turned[n] + (turned[n + 1] - turned[n]) * at.fract()
    }
}

/// A signal at a time in seconds.
pub fn at(seconds: f64, signal: Signal) -> Input {
    Input::new(Micros::new((seconds * 1e6).round() as u64), signal)
}

/// What the monitor says of it all, with a tick at the end.
pub fn verdicts(settings: &Settings, mut inputs: Vec<Input>, seconds: f64) -> Vec<Verdict> {
    inputs.sort_by_key(|input| input.at);
    inputs.push(at(seconds, Signal::Tick));
    let sound = Sound::for_bench(plan_of(settings.clone())).expect("it keeps every rule");
    observed(sound, &inputs).1
}

/// When a condition was raised, in seconds.
pub fn raised(verdicts: &[Verdict], condition: Condition) -> Vec<f64> {
    use slackside::alarm::AlarmState;
    let of = |verdict: &Verdict| match verdict.change {
        Change::Alarm { condition: which, to: AlarmState::Unacknowledged, .. } if which == condition => {
            Some(verdict.at.get() as f64 / 1e6)
        }
        _ => None,
    };
    verdicts.iter().filter_map(of).collect()
}

/// Everything that was raised.
pub fn all_raised(verdicts: &[Verdict]) -> Vec<Condition> {
    Condition::ALL.into_iter().filter(|condition| !raised(verdicts, *condition).is_empty()).collect()
}

/// When a permit was given (true) and dropped, in seconds.
pub fn permits(verdicts: &[Verdict], which: Permit) -> Vec<(f64, bool)> {
    let of = |verdict: &Verdict| match verdict.change {
        Change::Permit { permit, allowed, .. } if permit == which => Some((verdict.at.get() as f64 / 1e6, allowed)),
        _ => None,
    };
    verdicts.iter().filter_map(of).collect()
}
