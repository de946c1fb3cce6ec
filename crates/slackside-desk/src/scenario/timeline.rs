//! What people do: starts, stops, feed, speed, commands.

use serde::Deserialize;
use slackside::input::{Command, Origin};

use crate::plant::chance::Chance;

/// Start or stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Button {
    /// Start pressed.
    Start,
    /// Stop pressed.
    Stop,
}

/// What a person may ask the monitor for in a scenario.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ask {
    /// Alarms seen.
    Acknowledge,
    /// Reset at the leg.
    Reset,
    /// The boot was opened and found clear.
    BootCleared,
}

impl Ask {
    /// As the core has it.
    #[must_use]
    pub const fn command(self) -> (Origin, Command) {
        let command = match self {
            Self::Acknowledge => Command::Acknowledge,
            Self::Reset => Command::Reset,
            Self::BootCleared => Command::BootCleared,
        };
        (Origin::Leg, command)
    }
}

/// One thing done, at one time. At least one of the last four is given.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Act {
    /// When, in s.
    pub at_s: f64,
    /// The drive's button.
    pub press: Option<Button>,
    /// Feed, in per cent of design flow.
    pub feed_pct: Option<f64>,
    /// Speed reference in per cent, for a variable-speed drive.
    pub speed_pct: Option<f64>,
    /// A command to the monitor.
    pub command: Option<Ask>,
}

impl Act {
    /// A button of the drive, pressed.
    #[must_use]
    pub fn press(at_s: f64, button: Button) -> Self {
        Self { at_s, press: Some(button), ..Self::default() }
    }

    /// Feed, in per cent of design flow.
    #[must_use]
    pub fn feed(at_s: f64, pct: f64) -> Self {
        Self { at_s, feed_pct: Some(pct), ..Self::default() }
    }
}

/// Ordinary running, drawn by chance: runs and rests, feed that changes, now and then wet grain.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Routine {
    /// Mean length of a run in s, never shorter than half of it.
    pub run_s: f64,
    /// Mean length of a rest in s, never shorter than half of it.
    pub rest_s: f64,
    /// Mean time in s between changes of feed.
    pub feed_change_s: f64,
    /// Lowest feed in per cent.
    pub feed_min_pct: f64,
    /// Highest feed in per cent.
    pub feed_max_pct: f64,
    /// Share of feeds that are wet grain.
    pub wet_share: f64,
    /// Lowest friction of wet grain, of dry.
    pub wet_friction: f64,
}

/// What a routine does at one time.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// The act.
    pub act: Act,
    /// Friction from then on, of dry.
    pub friction: f64,
}

impl Routine {
    /// The acts of `duration_s` seconds.
    #[must_use]
    pub fn draw(&self, duration_s: f64, seed: u64) -> Vec<Drawn> {
        let mut chance = Chance::new(seed, 3);
        let mut drawn = Vec::new();
        let mut push = |at_s: f64, press, feed_pct, friction: f64| {
            drawn.push(Drawn { act: Act { at_s, press, feed_pct, ..Act::default() }, friction });
        };
        let mut now = 10.0;
        while now < duration_s {
            push(now, Some(Button::Start), None, 1.0);
            let end = now + (0.5 * self.run_s + chance.waiting(0.5 * self.run_s)).max(40.0);
            now += chance.between(8.0, 20.0);
            // The leg is emptied before it is stopped, as a person would.
            while now < end - 30.0 {
                let wet = chance.happens(self.wet_share);
                let friction = if wet { chance.between(self.wet_friction, 1.0) } else { 1.0 };
                push(now, None, Some(chance.between(self.feed_min_pct, self.feed_max_pct)), friction);
                now +=
                    (0.2 * self.feed_change_s + chance.waiting(0.8 * self.feed_change_s)).min(end - 30.0 - now + 1.0);
            }
            now = now.max(end - 30.0);
            push(now, None, Some(0.0), 1.0);
            now += 30.0;
            push(now, Some(Button::Stop), None, 1.0);
            now += 0.5 * self.rest_s + chance.waiting(0.5 * self.rest_s);
        }
        drawn
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn acts_come_in_order_and_repeat_with_the_seed() {
        let routine = Routine {
            run_s: 900.0,
            rest_s: 200.0,
            feed_change_s: 90.0,
            feed_min_pct: 20.0,
            feed_max_pct: 100.0,
            wet_share: 0.2,
            wet_friction: 0.8,
        };
        let acts = routine.draw(36_000.0, 4);
        assert!(acts.len() > 100);
        assert!(acts.windows(2).all(|pair| pair[0].act.at_s <= pair[1].act.at_s));
        assert_eq!(acts, routine.draw(36_000.0, 4));
        assert_ne!(acts, routine.draw(36_000.0, 5));
    }
}
