//! Both measures side by side.

use slackside::input::{ContactState, LineState, Place, Shaft, Signal};
use slackside::measure::Measure;
use slackside::settings::plan::Plan;
use slackside::signals::{Reading, ShaftSignals, Signals, moved, pattern, unknown};
use slackside::time::{FAR, Now, SWEEP};
use slackside::units::Micros;
use slackside_landed::input as old;
use slackside_landed::motion::{Distrust, Motion, ShaftMotion, Slip, SlipReading, TargetPattern};
use slackside_landed::sight::Sight;

/// The new measure with as much of a monitor as it needs.
#[derive(Clone)]
pub struct Rig<const MARKS: usize> {
    pub plan: Plan,
    pub measure: Measure<MARKS>,
    now: u64,
    swept: u64,
    begun: bool,
    /// Take every pitch the thorough way.
    pub thorough: bool,
    pub plain: u64,
}

impl<const MARKS: usize> Rig<MARKS> {
    pub fn new(plan: Plan) -> Self {
        assert!(Measure::<MARKS>::has_room(&plan));
        Self { plan, measure: Measure::new(), now: 0, swept: 0, begun: false, thorough: false, plain: 0 }
    }

    /// Take one input at its time or the newest; tell each change with its time.
    pub fn observe(&mut self, at: u64, signal: &Signal, tell: &mut dyn FnMut(u64, u8, &Signals)) {
        let at = at.max(self.now);
        if !std::mem::replace(&mut self.begun, true) {
            (self.now, self.swept) = (at, at);
            self.measure.begin(&self.plan, now(at));
        }
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
    /// Legs whose comparison ended where the two had not learned the same, and the inputs that were left.
    pub parted: u64,
    pub inputs: u64,
    pub left: u64,
    pub plain: u64,
    /// Comparisons while the head's angles lay within 50 ppm of a turn.
    pub tight: u64,
    pub exact: u64,
    pub limits: u64,
    /// Limits that one told and the other did not, at the border of telling.
    pub borders: u64,
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

impl Tally {
    /// With what another leg has shown.
    pub fn add(&mut self, other: &Self) {
        let Self {
            told, parted, inputs, left, plain, tight, exact, limits, borders, retracted, ratios, duties, ..
        } = other;
        self.told += told;
        self.parted += parted;
        self.inputs += inputs;
        self.left += left;
        self.plain += plain;
        self.tight += tight;
        self.exact += exact;
        self.limits += limits;
        self.borders += borders;
        self.retracted += retracted;
        self.ratios += ratios;
        self.duties += duties;
        self.distrust.iter_mut().zip(other.distrust).for_each(|(sum, more)| *sum += more);
        self.patterns.iter_mut().zip(other.patterns).for_each(|(sum, more)| *sum += more);
        self.reading = self.reading.max(other.reading);
        self.share = self.share.max(other.share);
        self.duty = self.duty.max(other.duty);
        self.ratio = self.ratio.max(other.ratio);
        self.slipped = self.slipped.max(other.slipped);
    }
}

/// What one leg has shown so far.
#[derive(Debug, Default)]
pub struct Comparison {
    pub tally: Tally,
    /// Since when the two have not learned the same: at different times, or shares that differ by more than 1/2^10 of themselves.
    /// The landed one averages two turns at each pitch and the new one eight at once, so where the speed changes while they learn
    /// both are wrong by as much, but not alike.
    pub apart: bool,
    /// How far the head's angles have gone apart, the one way and the other, in 2^-24 turn.
    head_off: (i32, i32),
    /// The largest difference of a head pitch's angle, in 2^-24 turn.
    share_off: u32,
    /// The largest head pitch, in 2^-24 turn.
    pitch: u32,
    /// Both as one number.
    angle: u32,
}

fn low(micros: slackside_landed::units::Micros) -> u32 {
    micros.get() as u32
}

/// A stamp is the low half of its time, if that is not too long ago.
fn stamp(name: &str, old: slackside_landed::units::Micros, new: u32, at: u64) -> Result<(), String> {
    if at - old.get() < u64::from(FAR) && low(old) != new {
        return Err(format!("{name}: {} became {new}", low(old)));
    }
    Ok(())
}

fn same<T: PartialEq + std::fmt::Debug>(name: &str, old: T, new: T) -> Result<(), String> {
    if old == new { Ok(()) } else { Err(format!("{name}: {old:?} became {new:?}")) }
}

/// Shares that differ by more than this part of themselves (1/2^10) were not learned alike.
const SHARE_SHIFT: u32 = 10;
/// Readings may differ by so many ppm where the head's angles are the same. Where they are not, by six times what that makes of a turn:
/// at both ends of a window, which may read -200 %.
const READING: i32 = 3;

impl Comparison {
    pub fn compare(&mut self, motion: &Motion, signals: &Signals, at: u64) -> Result<(), String> {
        self.tally.told += 1;
        self.learned(&motion.head, &signals.head);
        if let Some(pitch) = motion.head.pitch {
            self.pitch = self.pitch.max(pitch.angle.get() >> 8);
            self.share_off = self.share_off.max(pitch.angle.get().abs_diff(signals.head.pitch_angle) >> 8);
        }
        self.learned(&motion.boot, &signals.boot);
        let off = ((motion.head.angle.get() >> 8) as u32).wrapping_sub(signals.head.angle) as i32;
        self.head_off = (self.head_off.0.min(off), self.head_off.1.max(off));
        self.angle = self.head_off.1.abs_diff(self.head_off.0) + self.share_off;
        let ppm = ((u64::from(self.angle) * 1_000_000) >> 24) as u32;
        self.tally.tight += u64::from(ppm < 50);
        self.shaft("head", &motion.head, &signals.head, at)?;
        self.shaft("boot", &motion.boot, &signals.boot, at)?;
        self.slip("short", &motion.slip_short, &signals.short, signals.unknown, at)?;
        self.slip("long", &motion.slip_long, &signals.long, signals.unknown, at)?;
        let since = (motion.head_since_boot.get() >> 8).min(u64::from(u32::MAX)) as u32;
        let off = since.abs_diff(signals.since_boot);
        if off > 300 + 2 * self.angle {
            self.border(off)?;
        }
        let slipped = motion.slipped.get().clamp(i64::from(i32::MIN), i64::from(i32::MAX));
        let off = slipped.abs_diff(i64::from(signals.slipped));
        // Micrometres: of a boot rim of up to 3.3 m, for each mark that was placed.
        if off > 100 + u64::from(ppm) * 10 + slipped.unsigned_abs() / 1_000 {
            // 2^-24 turn of such a rim is a fifth of a micrometre.
            self.border((off * 5) as u32).map_err(|_| format!("slipped: {slipped} became {}", signals.slipped))?;
        } else if ppm < 50 {
            self.tally.slipped = self.tally.slipped.max(off as i64);
        }
        if let Some(seen) = motion.seen_ratio {
            self.tally.ratios += 1;
            same("ratio seen", true, signals.ratio_blocks > 0)?;
            stamp("ratio at", seen.at, signals.ratio_at, at)?;
            let off = seen.ratio.get().abs_diff(signals.ratio);
            if ppm < 50 {
                self.tally.ratio = self.tally.ratio.max(off);
            }
            let most = 5 + 6 * ppm;
            if off > most || seen.spread.get().abs_diff(signals.ratio_spread) > 2 * most {
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
            // Bins are twice as long: at either end, and where the belt stood.
            if off > 3 * 1_000_000 / 32 {
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
        // What has moved is decided as a table is learned.
        self.apart |= shape.min(new.pattern) == pattern::WHOLE && shape.max(new.pattern) == pattern::MOVED;
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
        if let Some(pitch) = old.pitch
            && !self.apart
        {
            let off = pitch.angle.get().abs_diff(new.pitch_angle);
            self.tally.share = self.tally.share.max(f64::from(off) / f64::from(pitch.angle.get()));
            let speed = old.speed().map_or(0, |speed| speed.get());
            let now = new.speed().map_or(0, |speed| speed.get());
            if speed.abs_diff(now) > (speed >> SHARE_SHIFT) + 1 {
                return Err(format!("{name} speed: {speed} became {now}"));
            }
        }
        Ok(())
    }

    /// Whether both have learned the same, as far as the newest pitch and the next show it.
    fn learned(&mut self, old: &ShaftMotion, new: &ShaftSignals) {
        let Some(pitch) = old.pitch else { return };
        for (old, new) in [
            (pitch.angle.get(), new.pitch_angle),
            (pitch.largest.get(), new.pitch_largest),
            (old.next_largest.get(), new.next_largest),
        ] {
            self.apart |= old.abs_diff(new) > old >> SHARE_SHIFT;
        }
    }

    fn slip(&mut self, name: &str, old: &Slip, new: &slackside::signals::Slip, why: u8, at: u64) -> Result<(), String> {
        // From rest both forget, and an edge lost or extra is told by its cause: what else one forgets it forgets for a new spacing.
        let forgot = |unknown: bool, retracted: bool| unknown && !retracted;
        self.apart |= forgot(old.reading == SlipReading::Unknown, false)
            != forgot(!new.reading.is_known(), why == unknown::RETRACTED);
        let (ppm, kind) = match old.reading {
            SlipReading::Unknown | SlipReading::Retracted => {
                self.tally.retracted += u64::from(old.reading == SlipReading::Retracted);
                let wrong = old.reading == SlipReading::Retracted;
                same(&format!("{name} why"), wrong, why == unknown::RETRACTED)?;
                return same(&format!("{name} {:?}", old.reading), Reading::UNKNOWN, new.reading);
            }
            SlipReading::Known(ppm) => (ppm.get(), true),
            SlipReading::AtLeast(ppm) => (ppm.get(), false),
        };
        same(&format!("{name} {:?} {:?} is known", old.reading, new.reading), true, new.reading.is_known())?;
        let apart = ((u64::from(self.angle) * 1_000_000) >> 24) as i32;
        // A limit is told if it lies above the last reading by 1/2^10 of what is kept: at that very border either may be.
        let border = (1_000_000 - ppm.min(new.reading.least)) / 1_024;
        if kind != new.reading.is_exact() && (ppm.abs_diff(new.reading.least) as i32 - border).abs() < 60 + 6 * apart {
            self.tally.borders += 1;
            return Ok(());
        }
        same(&format!("{name} {:?} {:?} is exact", old.reading, new.reading), kind, new.reading.is_exact())?;
        stamp(&format!("{name} at"), old.at, new.at, at)?;
        stamp(&format!("{name} known at"), old.known_at, new.known_at, at)?;
        if kind {
            self.tally.exact += 1;
        } else {
            self.tally.limits += 1;
        }
        let off = (ppm - new.reading.least).abs();
        if off > READING + ppm.abs() / 40_000 + 6 * apart {
            // At both ends of a window that may hold a third of a turn.
            let angle = (u64::from(off as u32) << 24) / 6_000_000;
            if self.border(angle as u32).is_ok() {
                return Ok(());
            }
            return Err(format!("{name}: {:?} became {:?}", old.reading, new.reading));
        }
        if apart < 50 {
            self.tally.reading = self.tally.reading.max(off);
        }
        Ok(())
    }

    /// A bend of the head's pitch counts from 1/2^7 on, which moves the angle at its middle by 1/2^9 of the pitch: at that very border
    /// one may count it and the other not.
    fn border(&mut self, angle: u32) -> Result<(), String> {
        self.tally.borders += 1;
        if angle <= self.pitch / 500 + 300 + 2 * self.angle {
            Ok(())
        } else {
            Err(format!("head angle off by {angle}"))
        }
    }
}

/// Tells of the landed measure.
pub fn tells(measure: &mut slackside_landed::measure::Measure, input: old::Input, told: &mut Vec<(u64, Motion)>) {
    measure.observe(input, |seen| {
        if let Sight::Motion(motion) = seen.sight {
            told.push((seen.at.get(), *motion));
        }
    });
}
