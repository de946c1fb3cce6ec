//! One shaft with its targets and its sensor: how it turns, either way, and what can be wrong with the sensor.

use slackside::input::{Shaft, Signal};

use crate::random::Random;

/// A shaft on its way.
pub struct Turning {
    shaft: Shaft,
    changes: Vec<(f64, bool)>,
    /// Turns so far.
    angle: f64,
    /// The level change passed next when turning forward, counted over all turns.
    next: i64,
    level: bool,
    /// Edges come early or late by up to so much.
    jitter_us: f64,
    /// Until when, and with which probability a target is not seen.
    pub lost: (u64, f64),
    /// Until when the sensor says nothing.
    pub silent_until: u64,
    /// Until when each edge bounces.
    pub chatter_until: u64,
    skip: bool,
}

impl Turning {
    /// A shaft at rest at a random angle.
    pub fn new(shaft: Shaft, changes: Vec<(f64, bool)>, random: &mut Random) -> Self {
        let angle = random.unit();
        let next = changes.iter().filter(|(at, _)| *at <= angle).count() as i64;
        let jitter_us = random.one_of(&[0.0, 3.0, 20.0, 200.0]);
        Self {
            shaft,
            changes,
            angle,
            next,
            level: false,
            jitter_us,
            lost: (0, 0.0),
            silent_until: 0,
            chatter_until: 0,
            skip: false,
        }
    }

    /// Whether there is a sensor.
    pub const fn is_fitted(&self) -> bool {
        !self.changes.is_empty()
    }

    /// Turn by `turns` evenly within `span_us` from `from_us`; every level change goes to `tell` with its time.
    pub fn turn(
        &mut self,
        turns: f64,
        from_us: u64,
        span_us: u64,
        random: &mut Random,
        tell: &mut dyn FnMut(u64, Signal),
    ) {
        let begin = self.angle;
        self.angle += turns;
        if !self.is_fitted() || turns == 0.0 {
            return;
        }
        loop {
            let index = if turns > 0.0 { self.next } else { self.next - 1 };
            let count = self.changes.len() as i64;
            let (share, level) = self.changes[index.rem_euclid(count) as usize];
            let at = index.div_euclid(count) as f64 + share;
            let passed = if turns > 0.0 { at <= self.angle } else { at > self.angle };
            if !passed {
                return;
            }
            self.next += if turns > 0.0 { 1 } else { -1 };
            // Backwards over its beginning a target ends.
            let level = if turns > 0.0 { level } else { !level };
            let within = ((at - begin) / turns).clamp(0.0, 1.0);
            let now = from_us as f64 + within * span_us as f64 + self.jitter_us * random.unit();
            self.change(now as u64, level, random, tell);
        }
    }

    fn change(&mut self, now: u64, level: bool, random: &mut Random, tell: &mut dyn FnMut(u64, Signal)) {
        if level {
            self.skip = now < self.lost.0 && random.chance(self.lost.1);
        }
        if self.skip || now < self.silent_until {
            return;
        }
        self.say(now, level, tell);
        if now < self.chatter_until {
            let mut at = now;
            for _ in 0..random.whole(1, 4) {
                at += random.whole(10, 500) as u64;
                self.say(at, !level, tell);
                at += random.whole(10, 500) as u64;
                self.say(at, level, tell);
            }
        }
    }

    fn say(&mut self, now: u64, level: bool, tell: &mut dyn FnMut(u64, Signal)) {
        self.level = level;
        tell(now, Signal::Edge(self.shaft, level));
    }

    /// A pulse that is no target, so wide.
    pub fn pulse(&self, now: u64, width_us: u64, tell: &mut dyn FnMut(u64, Signal)) {
        if self.is_fitted() {
            tell(now, Signal::Edge(self.shaft, !self.level));
            tell(now + width_us, Signal::Edge(self.shaft, self.level));
        }
    }
}
