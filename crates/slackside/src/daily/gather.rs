//! A day under way.

use super::head_load::{self, HeadLoad};
use super::summary::in_tens;
use super::thinned::Thinned;
use super::warmth::Warmth;
use super::{Coarse, Kind, Load, LoadBy, Summary};
use crate::arith::divide;
use crate::input::{Input, Place, Signal};
use crate::judge::View;
use crate::judge::sense::ratio_shift;
use crate::settings::plan::{Plan, fitted};
use crate::signals::{Signals, rub, unknown};
use crate::time::Now;
use crate::units::{Micros, Ppm, Span};
use crate::verdict::Phase;

/// It looks so often.
pub const LOOK: Span = Span::from_millis(2_000);
/// So many looks are a day.
pub const LOOKS_A_DAY: u16 = 43_200;

/// Power older than this, in looks, is not known any more: a minute, as for slip heat.
const POWER_STALE: u8 = 30;
/// The share of the assumed power, in 64ths, below which a leg counts as unloaded, and above which as fully loaded.
const UNLOADED_BELOW: u64 = 19;
const FULL_FROM: u64 = 45;
/// A temperature that does not move though the leg runs for so many looks, an hour, is none.
const RAN_LONG: u16 = LOOKS_A_DAY / 24;

/// Gathers a day. It takes what the monitor knows and gives nothing back to it.
#[derive(Clone, Debug)]
pub struct Gatherer {
    /// When the next look is due, in the low half of time; means nothing before the first.
    next: u32,
    begun: bool,
    looks: u16,
    running: u16,
    slip: [Thinned<64>; Load::COUNT],
    ratio: Thinned<32>,
    blocks: u16,
    /// Duty in 2^8 ppm, added up, and looks in which it was known.
    duty: [(u32, u16); Place::COUNT],
    /// The counters of the shafts at the last look, and rejects since the day began.
    counters: [u32; 2],
    rejects: [u32; 2],
    losses: u32,
    was_retracted: bool,
    starts: u8,
    phase: Phase,
    /// When the drive went off, in the low half of time.
    coasts_from: u32,
    coast: Option<Span>,
    power: u32,
    power_age: u8,
    head_load: HeadLoad,
    load: Option<Load>,
    warmth: Warmth<{ Place::COUNT }>,
}

impl Gatherer {
    /// A day that has just begun.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            next: 0,
            begun: false,
            looks: 0,
            running: 0,
            slip: [Thinned::NEW; Load::COUNT],
            ratio: Thinned::NEW,
            blocks: 0,
            duty: [(0, 0); Place::COUNT],
            counters: [0; 2],
            rejects: [0; 2],
            losses: 0,
            was_retracted: false,
            starts: 0,
            phase: Phase::Unsure,
            coasts_from: 0,
            coast: None,
            power: 0,
            power_age: u8::MAX,
            head_load: HeadLoad::NEW,
            load: None,
            warmth: Warmth::NEW,
        }
    }

    /// Hear an input that the monitor is given.
    pub fn hear(&mut self, input: &Input) {
        match input.signal {
            Signal::DrivePower(power) => (self.power, self.power_age) = (power.get(), 0),
            Signal::Temperature(place, temperature) => self.warmth.hear(place.index(), temperature),
            Signal::EdgesLost(_) => self.losses = self.losses.saturating_add(1),
            _ => {}
        }
    }

    /// See what the monitor knows at `now`: to be called after each round, and at least once each [`LOOK`]. Whether a day's looks are full.
    pub fn look(&mut self, now: Micros, phase: Phase, signals: &Signals, plan: &Plan) -> bool {
        let at = now.get() as u32;
        self.follow(at, phase, signals, plan);
        if !self.begun {
            self.begin(at, signals);
        }
        // Within half of the low half's range, which any box looks within.
        if at.wrapping_sub(self.next) < 1 << 31 {
            self.next = at.wrapping_add(LOOK.get());
            self.looks = self.looks.saturating_add(1);
            self.count(signals);
            self.warmth.look();
            if phase == Phase::Running {
                self.run(now, signals, plan);
            } else {
                (self.head_load, self.load) = (HeadLoad::NEW, None);
            }
            self.power_age = self.power_age.saturating_add(1);
        }
        self.looks >= LOOKS_A_DAY
    }

    /// Looks so far.
    #[must_use]
    pub const fn looks(&self) -> u16 {
        self.looks
    }

    /// Looks in which the leg ran, so far.
    #[must_use]
    pub const fn running(&self) -> u16 {
        self.running
    }

    /// How heavily the leg was loaded at the newest look, if it ran and that is known. Where nothing tells the load it says unloaded.
    #[must_use]
    pub const fn load(&self) -> Option<Load> {
        self.load
    }

    /// What the day was, so far.
    #[must_use]
    pub fn summary(&self, day: u16, plan: &Plan) -> Summary {
        let kind = if self.looks >= LOOKS_A_DAY { Kind::Day } else { Kind::PartOfDay };
        let (hottest, coolest) = self.warmth.of_the_day(plan.contacts.temperatures, self.running >= RAN_LONG);
        let median = |median: Option<i16>| median.map(|tens| Ppm::new(i32::from(tens).wrapping_mul(10)));
        Summary {
            load_by: load_by(plan),
            running: self.running,
            slip: self.slip.each_ref().map(|slip| median(slip.median())),
            ratio_shift: median(self.ratio.median()),
            // Of at most 3,906 a look, so that it is at most the whole.
            duty: self.duty.map(|(sum, looks)| {
                (looks > 0).then(|| Ppm::new(divide(u64::from(sum) << 8, looks.into()).min(1_000_000) as i32))
            }),
            rejects: self.rejects.map(Coarse::of),
            losses: Coarse::of(self.losses),
            starts: self.starts,
            coast: self.coast,
            hottest,
            coolest,
            ..Summary::empty(day, kind)
        }
    }

    /// The day is over, and the next one begins: what goes on, goes on.
    pub fn next_day(&mut self) {
        self.warmth.next_day();
        let Self { next, begun, blocks, counters, was_retracted, phase, coasts_from, .. } = *self;
        let Self { power, power_age, head_load, warmth, .. } = *self;
        *self = Self {
            next,
            begun,
            blocks,
            counters,
            was_retracted,
            phase,
            coasts_from,
            power,
            power_age,
            head_load,
            warmth,
            ..Self::new()
        };
    }

    fn begin(&mut self, at: u32, signals: &Signals) {
        self.begun = true;
        self.next = at;
        self.counters = [signals.head.rejected, signals.boot.rejected];
        self.blocks = signals.ratio_blocks;
    }

    /// Starts and run-downs, which lie between looks.
    fn follow(&mut self, at: u32, phase: Phase, signals: &Signals, plan: &Plan) {
        let before = core::mem::replace(&mut self.phase, phase);
        if before == phase {
            return;
        }
        match (before, phase) {
            (Phase::Standstill, Phase::Starting | Phase::Running) => self.starts = self.starts.saturating_add(1),
            (Phase::Running | Phase::Starting, Phase::CoastDown) => self.coasts_from = at,
            (Phase::CoastDown, Phase::Standstill) => {
                let last = if plan.head.is_fitted() { signals.head.last_edge } else { signals.boot.last_edge };
                let coasted = last.wrapping_sub(self.coasts_from);
                // An edge before the drive went off is half the range away.
                if coasted < 1 << 31 {
                    let longest = self.coast.map_or(0, Span::get);
                    self.coast = Some(Span::new(longest.max(coasted)));
                }
            }
            _ => {}
        }
    }

    fn count(&mut self, signals: &Signals) {
        let now = [signals.head.rejected, signals.boot.rejected];
        for ((before, now), rejects) in self.counters.iter_mut().zip(now).zip(&mut self.rejects) {
            let more = now.wrapping_sub(core::mem::replace(before, now));
            // Counters begin anew with new settings.
            *rejects = rejects.saturating_add(if more > 1 << 20 { now } else { more });
        }
        let retracted = signals.unknown == unknown::RETRACTED;
        if retracted && !self.was_retracted {
            self.losses = self.losses.saturating_add(1);
        }
        self.was_retracted = retracted;
    }

    fn run(&mut self, now: Micros, signals: &Signals, plan: &Plan) {
        self.running = self.running.saturating_add(1);
        for (contact, (sum, looks)) in
            signals.contacts.iter().zip(&mut self.duty).enumerate().filter_map(|(at, both)| {
                let fitted = plan.contacts.fitted >> at & 1 != 0;
                (fitted && both.0.state != rub::FAULTY).then_some(both)
            })
        {
            *sum = sum.saturating_add(contact.duty.max(0) as u32 >> 8);
            *looks = looks.saturating_add(1);
        }
        let slip = signals.long;
        self.load = self.weigh(signals, plan);
        if slip.is_known()
            && !slip.is_open()
            && let Some(load) = self.load
            && let Some(kept) = self.slip.get_mut(load as usize)
        {
            // Between both: exact where both are one.
            let middle = (i64::from(slip.least).wrapping_add(slip.most.into()) >> 1) as i32;
            kept.push(in_tens(Ppm::new(middle)));
        }
        if core::mem::replace(&mut self.blocks, signals.ratio_blocks) != signals.ratio_blocks
            && let Some(shift) = ratio_shift(&View { plan, signals, now: Now::new(now) })
        {
            self.ratio.push(in_tens(Ppm::new(shift)));
        }
    }

    /// Where the leg's load is not known, nothing is; where nothing tells it, all loads are one.
    fn weigh(&mut self, signals: &Signals, plan: &Plan) -> Option<Load> {
        match load_by(plan) {
            LoadBy::Unknown => return Some(Load::Unloaded),
            LoadBy::HeadSpeed => return self.head_load.look(&signals.head, plan),
            LoadBy::Power => {}
        }
        if self.power_age >= POWER_STALE {
            return None;
        }
        let (share, whole) = (u64::from(self.power) << 6, u64::from(plan.drive.assumed_power));
        Some(if share < whole.wrapping_mul(UNLOADED_BELOW) {
            Load::Unloaded
        } else if share < whole.wrapping_mul(FULL_FROM) {
            Load::Part
        } else {
            Load::Full
        })
    }
}

/// What tells the load of this leg: a meter is better than the head's speed.
const fn load_by(plan: &Plan) -> LoadBy {
    if plan.fitted & fitted::POWER_METER != 0 {
        LoadBy::Power
    } else if head_load::is_fitted(plan) {
        LoadBy::HeadSpeed
    } else {
        LoadBy::Unknown
    }
}

impl Default for Gatherer {
    fn default() -> Self {
        Self::new()
    }
}
