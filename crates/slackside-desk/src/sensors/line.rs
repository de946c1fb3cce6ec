//! A proximity sensor with its wire: what becomes of the disc's edges before they are logged.

use slackside::input::{LineState, Shaft, Signal};

use super::disc::{Disc, DiscUpset};
use super::outbox::Outbox;
use crate::plant::chance::Chance;
use crate::plant::leg::Targets;

/// What is wrong with a sensor and its wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LineUpset {
    /// The targets and the gap.
    pub disc: DiscUpset,
    /// The wire is cut: the input reads low.
    pub cut: bool,
    /// Mains hum on the cut wire, in Hz; 0 for none.
    pub hum_hz: f64,
    /// The output is stuck at this level.
    pub stuck: Option<bool>,
    /// Share of targets not seen, at random.
    pub dropout: f64,
    /// Share of edges that bounce.
    pub bounce: f64,
    /// Noise bursts a second.
    pub noise_per_s: f64,
    /// Extra jitter, standard deviation in microseconds.
    pub jitter_us: f64,
}

impl LineUpset {
    /// Nothing is wrong.
    pub const NONE: Self = Self {
        disc: DiscUpset { missing: false, moved: 0.0, out_of_reach: 0.0 },
        cut: false,
        hum_hz: 0.0,
        stuck: None,
        dropout: 0.0,
        bounce: 0.0,
        noise_per_s: 0.0,
        jitter_us: 0.0,
    };
}

/// One shaft's sensor.
#[derive(Clone, Debug)]
pub struct Line {
    shaft: Shaft,
    disc: Disc,
    jitter_us: f64,
    supervised: bool,
    chance: Chance,
    upset: LineUpset,
    dropping: bool,
    next_noise_us: f64,
    next_hum_us: f64,
    hum_level: bool,
}

impl Line {
    /// A sound sensor on a disc of its own.
    #[must_use]
    pub fn new(shaft: Shaft, targets: &Targets, seed: u64) -> Self {
        let mut chance = Chance::new(seed, if shaft == Shaft::Head { 11 } else { 12 });
        Self {
            shaft,
            disc: Disc::new(targets, &mut chance),
            jitter_us: targets.jitter_us,
            supervised: targets.supervised,
            chance,
            upset: LineUpset::NONE,
            dropping: false,
            next_noise_us: f64::INFINITY,
            next_hum_us: f64::INFINITY,
            hum_level: false,
        }
    }

    fn blind(&self) -> bool {
        self.upset.cut || self.upset.stuck.is_some()
    }

    /// Change what is wrong, from `now_us`.
    pub fn set_upset(&mut self, upset: LineUpset, now_us: u64, out: &mut Outbox) {
        if upset == self.upset {
            return;
        }
        let was = self.upset;
        self.upset = upset;
        self.disc.set_upset(upset.disc);
        if upset.noise_per_s != was.noise_per_s {
            self.next_noise_us = if upset.noise_per_s > 0.0 {
                now_us as f64 + 1e6 * self.chance.waiting(1.0 / upset.noise_per_s)
            } else {
                f64::INFINITY
            };
        }
        self.next_hum_us = if upset.cut && upset.hum_hz > 0.0 { now_us as f64 } else { f64::INFINITY };
        if upset.cut != was.cut && self.supervised {
            out.push(now_us, Signal::Line(self.shaft, if upset.cut { LineState::Open } else { LineState::Sound }));
        }
        out.push(now_us, Signal::Edge(self.shaft, self.resting_level()));
    }

    fn resting_level(&self) -> bool {
        if self.upset.cut { false } else { self.upset.stuck.unwrap_or_else(|| self.disc.level()) }
    }

    /// The level to begin a trace with.
    pub fn begin(&self, now_us: u64, out: &mut Outbox) {
        out.push(now_us, Signal::Edge(self.shaft, self.resting_level()));
    }

    /// A step of `dt` seconds from `start_us` on, between two speeds in turns a second.
    pub fn step(&mut self, start_us: u64, speeds: [f64; 2], dt: f64, out: &mut Outbox) {
        let blind = self.blind();
        let Self { disc, chance, upset, dropping, shaft, jitter_us, .. } = self;
        if speeds != [0.0; 2] {
            disc.turn(speeds[0], speeds[1], dt, |after, level| {
                if blind {
                    return;
                }
                if level {
                    *dropping = chance.happens(upset.dropout);
                }
                if *dropping {
                    return;
                }
                let jitter = *jitter_us + upset.jitter_us;
                let jitter = if jitter > 0.0 { jitter * chance.normal() } else { 0.0 };
                let at = start_us as f64 + after * 1e6 + jitter.clamp(-1_500.0, 1_500.0);
                out.push(at.max(0.0) as u64, Signal::Edge(*shaft, level));
                if chance.happens(upset.bounce) {
                    let mut bounce = at;
                    for _ in 0..1 + (chance.uniform() * 3.0) as u32 {
                        bounce += chance.between(5.0, 150.0);
                        out.push(bounce.max(0.0) as u64, Signal::Edge(*shaft, !level));
                        bounce += chance.between(5.0, 150.0);
                        out.push(bounce.max(0.0) as u64, Signal::Edge(*shaft, level));
                    }
                }
            });
        }
        let end_us = start_us as f64 + dt * 1e6;
        if self.next_noise_us < end_us {
            self.noise(end_us, out);
        }
        while self.next_hum_us < end_us {
            self.hum_level = !self.hum_level;
            out.push(self.next_hum_us as u64, Signal::Edge(self.shaft, self.hum_level));
            self.next_hum_us += 0.5e6 / self.upset.hum_hz;
        }
    }

    fn noise(&mut self, end_us: f64, out: &mut Outbox) {
        let level = self.resting_level();
        while self.next_noise_us < end_us {
            let mut at = self.next_noise_us;
            for _ in 0..1 + (self.chance.uniform() * 8.0) as u32 {
                let width = self.chance.between(0.3, 40.0);
                out.push(at as u64, Signal::Edge(self.shaft, !level));
                out.push((at + width) as u64, Signal::Edge(self.shaft, level));
                at += width + self.chance.between(1.0, 100.0);
            }
            self.next_noise_us += 1e6 * self.chance.waiting(1.0 / self.upset.noise_per_s);
        }
    }
}
