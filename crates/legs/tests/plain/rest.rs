//! What the shafts do with the drive off: settle, stand, roll back or chatter.

use slackside::settings::plan::Plan;
use slackside::signals::{ShaftSignals, Signals};

use crate::speed::{Speed, ratio};

/// So long after it came to rest a belt may still swing.
const SETTLING: u64 = 6_000_000;
/// So long without an edge, edges at rest are forgotten.
const QUIET: u64 = 10_000_000;
/// A whole turn, a quarter and five sixteenths, in 2^-24 turn, the first two less a 4096th of a turn for what is not known of pitches.
const TURN: u32 = (1 << 24) - (1 << 12);
const QUARTER: u32 = (1 << 22) - (1 << 12);
const FIVE_SIXTEENTHS: u32 = QUARTER + (1 << 20);

/// One shaft since the drive went off, or since the leg came to rest or settled.
#[derive(Clone, Copy, Debug, Default)]
pub struct Runner {
    /// Its edges and its angle then.
    edges: u32,
    angle: u32,
    /// Pitches since, as the time of a turn: the slowest, and the newest.
    slowest: u64,
    newest: u64,
    /// Of those in a row that were half as fast again as the slowest: how many, through which angle; and of those of them that gain speed, the
    /// first, and through which angle.
    faster: u32,
    turned: u32,
    first: u64,
    gained: u32,
    /// Pitches that might be a running shaft's.
    chatter: u32,
}

impl Runner {
    fn from(shaft: &ShaftSignals, slowest: u64) -> Self {
        Self { edges: shaft.edges, angle: shaft.angle, slowest, ..Self::default() }
    }

    fn edge(&mut self, speed: &Speed<'_>, brisk: u32, chatters: u32) {
        let shaft = speed.shaft;
        if shaft.pitch == 0 {
            // It stood until now: it has been as slow as can be.
            *self = Self { slowest: u32::MAX.into(), faster: 0, turned: 0, gained: 0, ..*self };
            return;
        }
        if !speed.closed {
            return;
        }
        let is_fast = |turn| u64::from(shaft.pitch) <= crate::speed::share(shaft.pitch_angle, turn);
        self.chatter += u32::from(is_fast(chatters));
        let turn = ratio(shaft.pitch.into(), u32::MAX.into(), shaft.pitch_angle.into());
        let before = std::mem::replace(&mut self.newest, turn);
        if turn >= self.slowest - self.slowest / 3 || !is_fast(brisk) {
            *self = Self { slowest: self.slowest.max(turn), faster: 0, turned: 0, gained: 0, ..*self };
            return;
        }
        if self.gained == 0 || turn > before + before / 8 {
            (self.first, self.gained) = (turn, 0);
        }
        let angle = shaft.pitch_angle >> 8;
        self.faster += 1;
        self.turned = self.turned.saturating_add(angle);
        self.gained = self.gained.saturating_add(angle);
    }

    pub fn since(&self, shaft: &ShaftSignals) -> u32 {
        shaft.edges.wrapping_sub(self.edges)
    }

    fn has_rolled(&self, shaft: &ShaftSignals) -> bool {
        self.since(shaft) >= 2 && shaft.angle.wrapping_sub(self.angle) >= QUARTER
    }

    pub fn runs_away(&self) -> bool {
        let gains = self.gained >= FIVE_SIXTEENTHS && self.newest < self.first - self.first / 5;
        self.faster >= 2 && (gains || self.turned >= TURN)
    }
}

#[derive(Clone, Copy, Debug, Default)]
pub struct Rest {
    pub head: Runner,
    pub boot: Runner,
    /// When edges at rest are forgotten, or the leg has settled.
    forget: Option<u64>,
    pub settles: bool,
}

impl Rest {
    /// The drive went off, or the leg has settled.
    pub fn begin(&mut self, signals: &Signals) {
        *self = Self {
            head: Runner::from(&signals.head, 0),
            boot: Runner::from(&signals.boot, 0),
            forget: None,
            settles: false,
        };
    }

    /// The leg came to rest.
    pub fn came_to_rest(&mut self, signals: &Signals, now: u64) {
        let stood = u32::MAX.into();
        *self = Self {
            head: Runner::from(&signals.head, stood),
            boot: Runner::from(&signals.boot, stood),
            forget: Some(now + SETTLING),
            settles: true,
        };
    }

    pub fn head_edge(&mut self, speed: &Speed<'_>, brisk: u32, chatters: u32) {
        self.head.edge(speed, brisk, chatters);
    }

    pub fn boot_edge(&mut self, speed: &Speed<'_>, brisk: u32, chatters: u32) {
        self.boot.edge(speed, brisk, chatters);
    }

    /// Something moved while the leg stands; the newest edge of all came at `newest`.
    pub fn stands(&mut self, signals: &Signals, newest: u64) {
        let edges = self.head.since(&signals.head) > 0 || self.boot.since(&signals.boot) > 0;
        if !self.settles && edges {
            self.forget = Some(newest + QUIET);
        }
    }

    pub fn settle(&mut self, signals: &Signals, now: u64) {
        if self.forget.is_some_and(|at| at <= now) {
            self.begin(signals);
        }
    }

    pub fn speeds_up(&self, plan: &Plan) -> bool {
        let of = |fitted: bool, runner: &Runner| !fitted || runner.runs_away();
        (plan.head.is_fitted() || plan.boot.is_fitted())
            && of(plan.head.is_fitted(), &self.head)
            && of(plan.boot.is_fitted(), &self.boot)
    }

    pub fn rolls_back(&self, plan: &Plan, signals: &Signals) -> bool {
        if self.settles {
            return self.speeds_up(plan);
        }
        let both = plan.head.is_fitted() && plan.boot.is_fitted();
        both && self.head.has_rolled(&signals.head) && self.boot.has_rolled(&signals.boot)
    }

    /// Edges of the one shaft that gives some while the other stands.
    pub fn edges_of_one(&self, signals: &Signals) -> u32 {
        let both = self.head.since(&signals.head) >= 2 && self.boot.since(&signals.boot) >= 2;
        match self.head.chatter.max(self.boot.chatter) {
            _ if self.settles || both => 0,
            0 => 0,
            // Of the first edge there is no pitch.
            pitches => pitches.min(255) + 1,
        }
    }
}
