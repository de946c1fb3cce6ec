//! Both measures side by side.

use slackside::input as old;
use slackside::motion::{Distrust, Motion, ShaftMotion, Slip, SlipReading, TargetPattern};
use slackside::sight::Sight;
use slackside_next::input::{ContactState, LineState, Place, Shaft, Signal};
use slackside_next::measure::Measure;
use slackside_next::settings::plan::Plan;
use slackside_next::signals::{Reading, ShaftSignals, Signals, moved, pattern, unknown};
use slackside_next::time::{FAR, Now, SWEEP};
use slackside_next::units::Micros;

/// The new measure with as much of a monitor as it needs.
pub struct Rig<const MARKS: usize> {
    pub plan: Plan,
    pub measure: Measure<MARKS>,
    now: u64,
    swept: u64,
    /// Take every pitch the thorough way.
    pub thorough: bool,
    pub plain: u64,
}

impl<const MARKS: usize> Rig<MARKS> {
    pub fn new(plan: Plan) -> Self {
        let mut measure = Measure::new();
        assert!(Measure::<MARKS>::has_room(&plan));
        measure.begin(&plan, now(0));
        Self { plan, measure, now: 0, swept: 0, thorough: false, plain: 0 }
    }

    /// Take one input at its time or the newest; tell each change with its time.
    pub fn observe(&mut self, at: u64, signal: &Signal, tell: &mut dyn FnMut(u64, u8, &Signals)) {
        let at = at.max(self.now);
        loop {
            let wait = self.measure.wait(&self.plan, now(self.now).us());
            assert!(wait <= SWEEP);
            let due = if wait == SWEEP { u64::MAX } else { self.now + u64::from(wait) };
            let sweep = self.swept + u64::from(SWEEP);
            if due.min(sweep) > at {
                break;
            }
            if self.thorough {
                self.measure.take_thoroughly();
            }
            self.now = due.min(sweep);
            if due <= sweep {
                self.plain += u64::from(self.measure.is_plain().0) + u64::from(self.measure.is_plain().1);
                let bits = self.measure.settle(&self.plan, now(self.now));
                if bits != 0 {
                    tell(self.now, bits, self.measure.signals());
                }
            } else {
                self.swept = sweep;
                self.measure.sweep(now(self.now).us());
            }
        }
        self.now = at;
        let bits = self.measure.take(&self.plan, now(at), signal);
        assert!(bits & !moved::OTHER == 0);
        if bits != 0 {
            tell(at, bits, self.measure.signals());
        }
    }
}

fn now(at: u64) -> Now {
    Now::new(Micros::new(at))
}

/// The same input for the new core.
pub fn new_signal(signal: &old::Signal) -> Signal {
    let shaft = |shaft: &old::Shaft| match shaft {
        old::Shaft::Head => Shaft::Head,
        old::Shaft::Boot => Shaft::Boot,
    };
    match signal {
        old::Signal::Edge(which, level) => Signal::Edge(shaft(which), *level),
        old::Signal::Line(which, state) => Signal::Line(
            shaft(which),
            match state {
                old::LineState::Sound => LineState::Sound,
                old::LineState::Open => LineState::Open,
                old::LineState::Shorted => LineState::Shorted,
            },
        ),
        old::Signal::EdgesLost(which) => Signal::EdgesLost(shaft(which)),
        old::Signal::Contact(place, state) => Signal::Contact(
            Place::ALL[place.index()],
            match state {
                old::ContactState::Clear => ContactState::Clear,
                old::ContactState::Rubbing => ContactState::Rubbing,
                old::ContactState::Faulty => ContactState::Faulty,
            },
        ),
        _ => Signal::Tick,
    }
}

/// What was compared, so that a test can see that it compared something.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    pub told: u64,
    pub exact: u64,
    pub limits: u64,
    pub retracted: u64,
    pub ratios: u64,
    pub duties: u64,
    pub distrust: [u64; 7],
    pub patterns: [u64; 4],
    /// Largest differences found, in ppm of the value or of one whole.
    pub reading: i32,
    pub share: f64,
    pub duty: i32,
    pub ratio: u32,
    pub slipped: i64,
}

/// What one leg has shown so far.
#[derive(Debug, Default)]
pub struct Comparison {
    pub tally: Tally,
    /// The two have learned a spacing at different times: since then shares may differ for as many boot turns.
    pub apart: bool,
}

fn low(micros: slackside::units::Micros) -> u32 {
    micros.get() as u32
}

/// A stamp is the low half of its time, if that is not too long ago.
fn stamp(name: &str, old: slackside::units::Micros, new: u32, at: u64) -> Result<(), String> {
    if at - old.get() < u64::from(FAR) && low(old) != new {
        return Err(format!("{name}: {} became {new}", low(old)));
    }
    Ok(())
}

fn same<T: PartialEq + std::fmt::Debug>(name: &str, old: T, new: T) -> Result<(), String> {
    if old == new { Ok(()) } else { Err(format!("{name}: {old:?} became {new:?}")) }
}

/// Shares may differ by this part once learned: 1/2^8 of themselves.
const SHARE_SHIFT: u32 = 8;
/// Readings may differ by so many ppm, and in a span of head angle where a learned share enters, by 0.1 % of it.
const READING: i32 = 3;

impl Comparison {
    pub fn compare(&mut self, motion: &Motion, signals: &Signals, at: u64) -> Result<(), String> {
        self.tally.told += 1;
        self.shaft("head", &motion.head, &signals.head, at)?;
        self.shaft("boot", &motion.boot, &signals.boot, at)?;
        self.slip("short", &motion.slip_short, &signals.short, signals.unknown, at)?;
        self.slip("long", &motion.slip_long, &signals.long, signals.unknown, at)?;
        let since = (motion.head_since_boot.get() >> 8).min(u64::from(u32::MAX)) as u32;
        if since.abs_diff(signals.since_boot) > 1 << 16 {
            return Err(format!("since boot: {since} became {}", signals.since_boot));
        }
        let slipped = motion.slipped.get().clamp(i64::from(i32::MIN), i64::from(i32::MAX));
        let off = (slipped - i64::from(signals.slipped)).abs();
        self.tally.slipped = self.tally.slipped.max(off);
        if off > 2_000 + slipped.abs() / 500 {
            return Err(format!("slipped: {slipped} became {}", signals.slipped));
        }
        if let Some(seen) = motion.seen_ratio {
            self.tally.ratios += 1;
            same("ratio seen", true, signals.ratio_blocks > 0)?;
            stamp("ratio at", seen.at, signals.ratio_at, at)?;
            let off = seen.ratio.get().abs_diff(signals.ratio);
            self.tally.ratio = self.tally.ratio.max(off);
            if off > 100 || (seen.spread.get() - signals.ratio_spread).abs() > 400 {
                return Err(format!("ratio: {seen:?} became {} {}", signals.ratio, signals.ratio_spread));
            }
        } else {
            same("ratio seen", 0, signals.ratio_blocks)?;
        }
        for (old, new) in motion.contacts.iter().zip(&signals.contacts) {
            same("rub", old.state as u8, new.state)?;
            same("rubs", old.rubbing_since.is_some(), new.rubs != 0)?;
            same("bridged", old.bridged_until.map(low), (new.bridged != 0).then_some(new.bridged_until))?;
            same("rubs counted", old.count, new.count)?;
            if let Some(since) = old.rubbing_since {
                stamp("rubbing since", since, new.since, at)?;
            }
            let off = (old.duty.get() - new.duty).abs();
            self.tally.duty = self.tally.duty.max(off);
            self.tally.duties += u64::from(new.duty > 0);
            // A bin at each end, one of each size.
            if off > 1_000_000 / 32 + 1_000_000 / 64 + 4_000 {
                return Err(format!("duty: {} became {}", old.duty.get(), new.duty));
            }
        }
        Ok(())
    }

    fn shaft(&mut self, name: &str, old: &ShaftMotion, new: &ShaftSignals, at: u64) -> Result<(), String> {
        same(&format!("{name} edges"), old.edges, new.edges)?;
        same(&format!("{name} rejected"), old.rejected, new.rejected)?;
        same(&format!("{name} distrust"), old.distrust.bits(), new.distrust)?;
        same(&format!("{name} line"), old.line as u8, new.line)?;
        let shape = match old.pattern {
            TargetPattern::Whole => pattern::WHOLE,
            TargetPattern::Missing => pattern::MISSING,
            TargetPattern::Extra => pattern::EXTRA,
            TargetPattern::Moved => pattern::MOVED,
        };
        same(&format!("{name} pattern"), shape, new.pattern)?;
        for (bit, seen) in self.tally.distrust.iter_mut().enumerate() {
            *seen += u64::from(new.distrust >> bit & 1);
        }
        assert_eq!(Distrust::from_bits(new.distrust), Some(old.distrust));
        self.tally.patterns[usize::from(new.pattern)] += 1;
        same(&format!("{name} seen"), old.last_edge.is_some(), new.is_seen())?;
        if let Some(edge) = old.last_edge {
            stamp(&format!("{name} last edge"), edge, new.last_edge, at)?;
        }
        same(&format!("{name} pitch"), old.pitch.map_or(0, |pitch| pitch.time.get()), new.pitch)?;
        if let Some(pitch) = old.pitch {
            self.share(name, "angle", pitch.angle.get(), new.pitch_angle)?;
            self.share(name, "largest", pitch.largest.get(), new.pitch_largest)?;
            self.share(name, "next largest", old.next_largest.get(), new.next_largest)?;
            let speed = old.speed().map_or(0, |speed| speed.get());
            let now = new.speed().map_or(0, |speed| speed.get());
            if speed.abs_diff(now) > (speed >> SHARE_SHIFT) + 1 {
                return Err(format!("{name} speed: {speed} became {now}"));
            }
        }
        Ok(())
    }

    fn share(&mut self, name: &str, what: &str, old: u32, new: u32) -> Result<(), String> {
        let off = old.abs_diff(new);
        self.tally.share = self.tally.share.max(f64::from(off) / f64::from(old));
        if off > old >> SHARE_SHIFT {
            return Err(format!(
                "{name} {what}: {old} became {new}, {} ppm",
                u64::from(off) * 1_000_000 / u64::from(old)
            ));
        }
        Ok(())
    }

    fn slip(
        &mut self,
        name: &str,
        old: &Slip,
        new: &slackside_next::signals::Slip,
        why: u8,
        at: u64,
    ) -> Result<(), String> {
        let (ppm, kind) = match old.reading {
            SlipReading::Unknown | SlipReading::Retracted => {
                self.tally.retracted += u64::from(old.reading == SlipReading::Retracted);
                let wrong = old.reading == SlipReading::Retracted;
                same(&format!("{name} why"), wrong, why == unknown::RETRACTED)?;
                return same(name, Reading::UNKNOWN, new.reading);
            }
            SlipReading::Known(ppm) => (ppm.get(), true),
            SlipReading::AtLeast(ppm) => (ppm.get(), false),
        };
        same(&format!("{name} {:?} {:?} is known", old.reading, new.reading), true, new.reading.is_known())?;
        same(&format!("{name} is exact"), kind, new.reading.is_exact())?;
        stamp(&format!("{name} at"), old.at, new.at, at)?;
        stamp(&format!("{name} known at"), old.known_at, new.known_at, at)?;
        if kind {
            self.tally.exact += 1;
        } else {
            self.tally.limits += 1;
        }
        let off = (ppm - new.reading.least).abs();
        self.tally.reading = self.tally.reading.max(off);
        if off > READING + 400 {
            return Err(format!("{name}: {:?} became {:?}", old.reading, new.reading));
        }
        Ok(())
    }
}

/// Tells of the landed measure.
pub fn tells(measure: &mut slackside::measure::Measure, input: old::Input, told: &mut Vec<(u64, Motion)>) {
    measure.observe(input, |seen| {
        if let Sight::Motion(motion) = seen.sight {
            told.push((seen.at.get(), *motion));
        }
    });
}
