//! Looks on while motion and verdicts pass, and keeps the evidence.

use super::circle::{BeltPhase, Resultant, travelled};
use super::evidence::{Evidence, Lock, Rubs, Silence, SlipShape};
use crate::alarm::AlarmState;
use crate::conditions::ConditionSet;
use crate::input::Place;
use crate::motion::{ContactMotion, Distrust, Motion, ShaftMotion, SlipReading};
use crate::settings::Checked;
use crate::units::{Micrometres, Micros, MicroturnsPerSecond, Ppm, Span, TurnFraction, Turns, Watts};
use crate::verdict::{Change, Phase, Verdict};

/// How far apart slip readings are kept, and how many: sixteen seconds.
const SLIP_STEP: Span = Span::from_millis(500);
const SLIPS: usize = 32;
/// An angle told wraps after so much.
const ANGLE_WRAPS: u64 = 1 << 40;
/// How long after the first-out alarms still belong to it.
const TOGETHER: Span = Span::from_millis(1_000);
/// Rubs needed before a lock is looked for: fewer always look like one place at some length.
const RUBS_FOR_A_LOCK: u32 = 6;
/// The chance below which a lock is believed.
const LOCK_CHANCE: f32 = 0.01;

/// Looks on and keeps the evidence. Costs a few comparisons for most motions.
#[derive(Clone, Debug)]
pub struct Gather {
    circumference: Micrometres,
    normal_head: MicroturnsPerSecond,
    normal_boot: MicroturnsPerSecond,
    rated: Watts,
    lagging_shift: Ppm,
    newest: Motion,
    newest_at: Micros,
    /// How far the boot has turned: what a motion tells of it wraps.
    boot_turned: Turns,
    phase: Phase,
    running_since: Option<Micros>,
    /// A ring: the newest is before `next_slip`.
    slips: [(Micros, Ppm); SLIPS],
    next_slip: usize,
    least_slip: Option<Ppm>,
    boot_speeds: [MicroturnsPerSecond; 4],
    head_speeds: [MicroturnsPerSecond; 4],
    places: [PlaceGather; Place::COUNT],
    power: Option<Watts>,
    raised: ConditionSet,
    frozen: Option<Evidence>,
}

#[derive(Clone, Copy, Debug)]
struct PlaceGather {
    seen: u32,
    rubs: Rubs,
    belt: BeltPhase,
    shaft: Resultant,
}

impl Gather {
    /// Begin, for a leg with these settings.
    #[must_use]
    pub fn new(settings: &Checked) -> Self {
        let machine = &settings.machine;
        let bare = machine.head_diameter().get().saturating_sub(machine.head_pulley.lagging.get().saturating_mul(2));
        let kept = bare.saturating_mul(1_000_000).checked_div(machine.head_diameter().get()).unwrap_or(1_000_000);
        let place = PlaceGather {
            seen: 0,
            rubs: Rubs::default(),
            belt: BeltPhase::new(machine.belt.loop_length),
            shaft: Resultant::NONE,
        };
        Self {
            circumference: machine.boot_circumference(),
            normal_head: machine.normal_head,
            normal_boot: machine.normal_boot,
            rated: machine.rated_power,
            lagging_shift: Ppm::new(i32::try_from(1_000_000_i64.saturating_sub(kept)).unwrap_or(0)),
            newest: Motion::NONE,
            newest_at: Micros::ZERO,
            boot_turned: Turns::ZERO,
            phase: Phase::Unsure,
            running_since: None,
            slips: [(Micros::ZERO, Ppm::ZERO); SLIPS],
            next_slip: 0,
            least_slip: None,
            boot_speeds: [MicroturnsPerSecond::ZERO; 4],
            head_speeds: [MicroturnsPerSecond::ZERO; 4],
            places: [place; Place::COUNT],
            power: None,
            raised: ConditionSet::EMPTY,
            frozen: None,
        }
    }

    /// The motion changed.
    pub fn motion(&mut self, at: Micros, motion: &Motion) {
        if motion.boot.edges != self.newest.boot.edges {
            push(&mut self.boot_speeds, motion.boot.speed());
        }
        if motion.head.edges != self.newest.head.edges {
            push(&mut self.head_speeds, motion.head.speed());
        }
        self.slip(at, motion);
        let on = motion.boot.angle.get().wrapping_sub(self.newest.boot.angle.get()) & ANGLE_WRAPS.saturating_sub(1);
        self.boot_turned = Turns::new(self.boot_turned.get().wrapping_add(on));
        for ((place, contact), gather) in Place::ALL.into_iter().zip(&motion.contacts).zip(&mut self.places) {
            gather.take(at, contact, station(place, motion), (self.boot_turned, self.circumference));
        }
        self.newest = *motion;
        self.newest_at = at;
    }

    /// The newest motion it was shown.
    #[must_use]
    pub const fn newest(&self) -> &Motion {
        &self.newest
    }

    /// Power at the head shaft.
    pub fn power(&mut self, power: Watts) {
        self.power = Some(self.power.map_or(power, |most| most.max(power)));
    }

    /// A verdict came.
    pub fn verdict(&mut self, verdict: &Verdict) {
        match verdict.change {
            Change::Alarm { condition, to: AlarmState::Unacknowledged, .. } => {
                self.raised = self.raised.with(condition);
                if let Some(frozen) = &mut self.frozen
                    && frozen.first_out.is_some_and(|(at, _)| verdict.at.since(at) <= TOGETHER)
                {
                    frozen.raised = frozen.raised.with(condition);
                }
            }
            Change::Phase(phase) => {
                self.running_since = if phase == Phase::Running { Some(verdict.at) } else { None };
                // What the leg did at the trip is what counts, not what it does because of it.
                self.phase = phase;
            }
            Change::FirstOut(Some(condition)) if self.frozen.is_none() => {
                let mut evidence = self.at(verdict.at);
                evidence.first_out = Some((verdict.at, condition));
                evidence.raised = evidence.raised.with(condition);
                self.frozen = Some(evidence);
            }
            _ => {}
        }
    }

    /// The evidence: as it stood at the first-out; at the newest moment if nothing tripped. Rubs are of the whole time.
    #[must_use]
    pub fn evidence(&self) -> Evidence {
        let mut evidence = self.frozen.unwrap_or_else(|| self.at(self.newest_at));
        for (rubs, gather) in evidence.rubs.iter_mut().zip(&self.places) {
            *rubs = gather.rubs();
        }
        evidence
    }

    fn slip(&mut self, at: Micros, motion: &Motion) {
        // Only what is not taken back: while the boot is overdue the next edge may say otherwise.
        if let (Some(since), SlipReading::Known(slip)) = (self.running_since, motion.slip_long) {
            // The window must lie wholly in the running: four turns are long over after ten seconds of any leg.
            if at.since(since) > Span::from_millis(10_000) {
                self.least_slip = Some(self.least_slip.map_or(slip, |least| least.min(slip)));
            }
        }
        let SlipReading::Known(slip) = motion.slip_short else { return };
        let newest = self.slips.get(self.next_slip.wrapping_add(SLIPS).wrapping_sub(1) & (SLIPS - 1));
        if newest.is_none_or(|(newest, _)| at.since(*newest) >= SLIP_STEP) {
            if let Some(slot) = self.slips.get_mut(self.next_slip) {
                *slot = (at, slip);
            }
            self.next_slip = self.next_slip.wrapping_add(1) & (SLIPS - 1);
        }
    }

    fn at(&self, at: Micros) -> Evidence {
        let slip = self.newest.slip_short.ppm();
        Evidence {
            first_out: None,
            phase: self.phase,
            raised: self.raised,
            slip,
            shape: slip.map_or(SlipShape::Unknown, |slip| self.shape(at, slip)),
            least_slip: self.least_slip,
            head_loss: loss(&self.newest.head, at, self.normal_head),
            belt_loss: loss(&self.newest.boot, at, self.normal_boot),
            lagging_shift: self.lagging_shift,
            boot: silence(&self.newest.boot, &self.boot_speeds, at),
            head: silence(&self.newest.head, &self.head_speeds, at),
            power: self.power.and_then(|power| share(u64::from(power.get()), u64::from(self.rated.get()))),
            bridged: self.newest.boot.distrust.contains(Distrust::BRIDGED),
            rubs: [Rubs::default(); Place::COUNT],
        }
    }

    fn shape(&self, at: Micros, slip: Ppm) -> SlipShape {
        let known = || {
            self.slips.iter().filter(|(when, _)| *when > Micros::ZERO && at.since(*when) < Span::from_millis(16_000))
        };
        let Some((_, before)) = known().min_by_key(|(when, _)| *when) else { return SlipShape::Unknown };
        let rise = slip.saturating_sub(*before);
        if rise < Ppm::from_percent(1) {
            return SlipShape::Steady;
        }
        let foot = before.saturating_add(Ppm::new(rise.get() / 10));
        let last_below = known().filter(|(_, ppm)| *ppm <= foot).map(|(when, _)| *when).max();
        let over = last_below.map_or(Span::ZERO, |when| at.since(when));
        if over > Span::from_millis(1_500) { SlipShape::Growing { over } } else { SlipShape::Sudden }
    }
}

impl PlaceGather {
    fn take(
        &mut self,
        at: Micros,
        contact: &ContactMotion,
        shaft: &ShaftMotion,
        (boot_turned, circumference): (Turns, Micrometres),
    ) {
        if !contact.fitted {
            return;
        }
        if let Some(since) = contact.rubbing_since {
            self.rubs.longest = self.rubs.longest.max(at.since(since));
        }
        self.rubs.duty = self.rubs.duty.max(contact.duty);
        if contact.count != self.seen {
            self.seen = contact.count;
            self.rubs.count = self.rubs.count.saturating_add(1);
            self.belt.add(travelled(boot_turned, circumference));
            if shaft.fitted {
                // The angle within the turn is the lower half.
                self.shaft.add(TurnFraction::new(shaft.angle.get() as u32));
            }
        }
    }

    fn rubs(&self) -> Rubs {
        let mut rubs = self.rubs;
        if self.belt.count() >= RUBS_FOR_A_LOCK {
            let (on_belt, loop_length) = self.belt.chance();
            let on_shaft = self.shaft.chance();
            rubs.lock = if on_belt < LOCK_CHANCE && on_belt <= on_shaft {
                Lock::Belt { chance: on_belt, loop_length }
            } else if on_shaft < LOCK_CHANCE {
                Lock::Shaft { chance: on_shaft }
            } else {
                Lock::None
            };
        }
        rubs
    }
}

const fn station(place: Place, motion: &Motion) -> &ShaftMotion {
    match place {
        Place::HeadLeft | Place::HeadRight => &motion.head,
        Place::BootLeft | Place::BootRight => &motion.boot,
    }
}

fn push(speeds: &mut [MicroturnsPerSecond; 4], speed: Option<MicroturnsPerSecond>) {
    let [_, second, third, fourth] = *speeds;
    *speeds = [second, third, fourth, speed.unwrap_or(MicroturnsPerSecond::ZERO)];
}

fn share(part: u64, whole: u64) -> Option<Ppm> {
    let ppm = part.saturating_mul(1_000_000).checked_div(whole)?;
    Some(Ppm::new(i32::try_from(ppm).unwrap_or(i32::MAX)))
}

fn loss(shaft: &ShaftMotion, at: Micros, normal: MicroturnsPerSecond) -> Option<Ppm> {
    if !shaft.fitted {
        return None;
    }
    let kept = share(u64::from(shaft.speed_at_most(at)?.get()), u64::from(normal.get()))?;
    Some(Ppm::ONE.saturating_sub(kept))
}

/// Silent is a shaft whose next edge is overdue by half; it slowed if its newest pitch was slower than one of the three
/// before by an eighth.
fn silence(shaft: &ShaftMotion, speeds: &[MicroturnsPerSecond; 4], at: Micros) -> Silence {
    let (Some(last), Some(most)) = (shaft.speed(), shaft.speed_at_most(at)) else { return Silence::Turning };
    if u64::from(most.get()).saturating_mul(3) > u64::from(last.get()).saturating_mul(2) {
        return Silence::Turning;
    }
    let fastest = speeds.iter().map(|speed| speed.get()).max().unwrap_or(0);
    if u64::from(last.get()).saturating_mul(8) < u64::from(fastest).saturating_mul(7) {
        Silence::Stretching
    } else {
        Silence::Abrupt
    }
}
