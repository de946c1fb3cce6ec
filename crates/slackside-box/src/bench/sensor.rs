//! A shaft that turns under a target sensor, and what the box's input gets of it.

use slackside::input::Shaft;
use slackside::units::Micros;

use crate::edges::Catcher;

/// What an input of the box gets of the leg's two target sensors.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tap {
    /// Its own shaft's targets.
    #[default]
    Own,
    /// The other shaft's: the plugs are swapped, or the wires are bridged.
    Other,
    /// Nothing any more.
    Nothing,
    /// Every target twice: a reflection, a bolt head, a ring of targets of another count.
    Twice,
    /// One target of the wheel is gone.
    OneLess,
    /// Its own shaft's, but nothing for the last so many microseconds of each so many: a loose plug.
    Loose {
        /// The time from one loss to the next.
        every: u64,
        /// How long each lasts.
        lost: u64,
    },
    /// Each target lets go with so many microseconds of bounce.
    Bounces(u64),
    /// Edges that come of no target, so many microseconds apart: hum, noise, a sensor that trembles. They begin where the next edge
    /// of such a train would have been.
    Trembles(u64),
}

/// Steps of a wheel in one pitch: the places where a sound sensor, or one that sees each target twice, changes its level.
pub(super) const STEPS: u64 = 4;

/// A shaft with targets of half a pitch each.
pub(super) struct Turning {
    /// From step to step, in microseconds; `None` while it stands.
    step: Option<u64>,
    next: u64,
    /// Steps made.
    steps: u64,
    /// By how many per mille each pitch of a turn is wider than the mean one; none where all are even.
    wider: &'static [i64],
}

impl Turning {
    pub(super) const fn standing() -> Self {
        Self { step: None, next: 0, steps: 0, wider: &[] }
    }

    /// The pitches of a turn are so many per mille wider than the mean one: together they are a turn.
    pub(super) fn space(&mut self, wider: &'static [i64]) {
        assert_eq!(wider.iter().sum::<i64>(), 0, "a turn is a turn");
        self.wider = wider;
    }

    /// From now on a step takes so long; `None` stops it.
    pub(super) fn turn(&mut self, step: Option<u64>, now: u64) {
        if self.step.is_none() {
            self.next = now + step.unwrap_or(0);
        }
        self.step = step;
    }

    /// The next step up to `until`: when, and its number.
    pub(super) fn step_on(&mut self, until: u64) -> Option<(u64, u64)> {
        let step = self.step.filter(|_| self.next <= until)?;
        let made = (self.next, self.steps);
        let wider = match self.wider.len() as u64 {
            0 => 0,
            pitches => self.wider[(self.steps / STEPS % pitches) as usize],
        };
        self.next += step.saturating_add_signed(step as i64 * wider / 1_000);
        self.steps += 1;
        Some(made)
    }
}

/// An input of the box, with what is before it.
pub(super) struct Sensor {
    pub(super) shaft: Shaft,
    pub(super) catcher: Catcher<'static>,
    tap: Tap,
    high: bool,
    /// When the level changed last, and when it trembles next.
    last: u64,
    next: u64,
}

impl Sensor {
    pub(super) const fn new(shaft: Shaft, catcher: Catcher<'static>) -> Self {
        Self { shaft, catcher, tap: Tap::Own, high: false, last: 0, next: 0 }
    }

    pub(super) fn put(&mut self, tap: Tap, now: u64) {
        self.tap = tap;
        if let Tap::Trembles(apart) = tap {
            self.next = now.max(self.last + apart);
        }
    }

    pub(super) const fn swing_away(&mut self) {
        if !matches!(self.tap, Tap::Trembles(_)) {
            self.tap = Tap::Nothing;
        }
    }

    fn level(&mut self, high: bool, at: u64, clock: &impl Fn(u64) -> u64) {
        if self.high != high {
            (self.high, self.last) = (high, at);
            self.catcher.catch(Micros::new(clock(at)), high);
        }
    }

    /// A wheel of so many targets on `shaft` has made this step.
    pub(super) fn sees(&mut self, shaft: Shaft, step: u64, targets: u64, at: u64, clock: &impl Fn(u64) -> u64) {
        let own = self.shaft == shaft;
        let before_target = step % STEPS < STEPS / 2;
        match self.tap {
            Tap::Nothing | Tap::Trembles(_) => {}
            Tap::Other if !own => self.level(before_target, at, clock),
            Tap::Own if own => self.level(before_target, at, clock),
            Tap::Twice if own => self.level(step.is_multiple_of(2), at, clock),
            Tap::OneLess if own => self.level(before_target && !(step / STEPS).is_multiple_of(targets), at, clock),
            Tap::Loose { every, lost } if own && at % every < every - lost => self.level(before_target, at, clock),
            Tap::Bounces(long) if own => {
                let lets_go = self.high && !before_target;
                self.level(before_target, at, clock);
                for bounce in 1..=u64::from(lets_go) * 4 {
                    let flank = at + bounce * long / 5;
                    self.level(true, flank, clock);
                    self.level(false, flank + long / 10, clock);
                }
            }
            _ => {}
        }
    }

    /// What comes by itself until now.
    pub(super) fn tremble(&mut self, until: u64, clock: &impl Fn(u64) -> u64) {
        let Tap::Trembles(apart) = self.tap else { return };
        while self.next <= until {
            self.level(!self.high, self.next, clock);
            self.next += apart;
        }
    }
}
