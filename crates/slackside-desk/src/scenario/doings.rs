//! People at work in a run: what they want of motor, feed and speed by now.

use slackside::input::Signal;

use super::Scenario;
use super::timeline::{Act, Button, Drawn};
use crate::plant::Plant;
use crate::sensors::outbox::Outbox;

/// How fast the control room turns the speed reference, of normal speed in a second.
const REFERENCE_RAMP: f64 = 0.05;

/// What people did so far, and will do.
pub(super) struct Doings {
    acts: Vec<Drawn>,
    next: usize,
    /// The motor is wanted on.
    pub wanted: bool,
    /// Feed asked for in kg/s.
    pub feed: f64,
    /// Speed reference, 1 = normal: as it is, on its way to what is wanted.
    pub reference: f64,
    reference_wanted: f64,
    /// Friction of what is fed, of the usual.
    pub friction: f64,
}

impl Doings {
    /// The scenario's acts and those its routine draws, in order of time.
    pub fn new(scenario: &Scenario, seed: u64) -> Self {
        let mut acts: Vec<Drawn> =
            scenario.timeline.iter().map(|act| Drawn { act: act.clone(), friction: 1.0 }).collect();
        if let Some(routine) = &scenario.routine {
            acts.extend(routine.draw(scenario.duration_s, seed));
        }
        acts.sort_by(|a, b| a.act.at_s.total_cmp(&b.act.at_s));
        Self { acts, next: 0, wanted: false, feed: 0.0, reference: 1.0, reference_wanted: 1.0, friction: 1.0 }
    }

    /// Do everything that is due at a slow part of the plant. `capacity`: design flow in kg/s.
    pub fn catch_up(&mut self, seconds: f64, capacity: f64, may_start: bool, now_us: u64, out: &mut Outbox) {
        let turn = REFERENCE_RAMP * f64::from(Plant::SLOW_US) * 1e-6;
        self.reference += (self.reference_wanted - self.reference).clamp(-turn, turn);
        while let Some(Drawn { act, friction }) = self.acts.get(self.next).filter(|due| due.act.at_s <= seconds) {
            let Act { press, feed_pct, speed_pct, command, .. } = *act;
            match press {
                Some(Button::Start) => self.wanted = may_start,
                Some(Button::Stop) => self.wanted = false,
                None => {}
            }
            if let Some(feed) = feed_pct {
                self.feed = feed / 100.0 * capacity;
                self.friction = *friction;
            }
            if let Some(speed) = speed_pct {
                self.reference_wanted = speed / 100.0;
            }
            if let Some(ask) = command {
                let (origin, command) = ask.command();
                out.push(now_us, Signal::Command(origin, command));
            }
            self.next += 1;
        }
    }
}
