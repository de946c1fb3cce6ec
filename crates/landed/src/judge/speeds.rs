//! Speed limits, in the domain of time: how long a turn takes at the limit. One definition of a shaft's speed: its last
//! pitch, closed or still open. Nothing is divided when an edge comes.

use super::cell::{NEVER, Sense};
use super::condition::Condition;
use super::limits::{InForce, Limit};
use crate::math::divide;
use crate::motion::{Pitch, ShaftMotion};
use crate::settings::{Machine, Targets};
use crate::units::{Micros, MicroturnsPerSecond, Ppm, TurnFraction};

/// Microseconds a turn; the longest stands for never.
pub(super) type TurnTime = u32;

/// How long a turn takes at `share` of `normal`. At least 1 µs; the longest the type holds where it would never end.
pub(super) const fn turn_time(normal: MicroturnsPerSecond, share: i32) -> TurnTime {
    let share = if share < 0 { 0 } else { share as u64 };
    // Below 2^32 · 2^31.
    match divide(1_000_000_000_000_000_000, (normal.get() as u64).wrapping_mul(share)) {
        Some(time) if time < 1 => 1,
        Some(time) if time <= u32::MAX as u64 => time as u32,
        _ => u32::MAX,
    }
}

/// How long `angle` takes when a turn takes `turn`.
pub(super) const fn pitch_time(angle: TurnFraction, turn: TurnTime) -> u64 {
    (angle.get() as u64).wrapping_mul(turn as u64) >> 32
}

/// A limit on speed: beyond it is too slow, at `clear` it is fast enough again.
#[derive(Clone, Copy, Debug)]
pub(super) struct SpeedLimit {
    pub limit: TurnTime,
    pub clear: TurnTime,
}

impl SpeedLimit {
    const NEW: Self = Self { limit: u32::MAX, clear: 1 };

    const fn new(normal: MicroturnsPerSecond, limit: &Limit) -> Self {
        let slowest = 1_000_000_i32.saturating_sub(limit.setpoint);
        Self { limit: turn_time(normal, slowest), clear: turn_time(normal, slowest.saturating_add(limit.deadband)) }
    }
}

/// The limits that both shafts have.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    /// Normal speed, scaled by the reference.
    pub normal: MicroturnsPerSecond,
    /// At 80 % of normal.
    pub brisk: TurnTime,
    /// At 1/1.6 of normal: from 80 % or more, no shaft falls below that within one pitch.
    pub sudden: TurnTime,
    /// At the share of nameplate speed below which it stands.
    pub standing: TurnTime,
    /// The first of all these limits to be crossed in silence.
    pub first: TurnTime,
}

/// All limits on speed, worked out anew whenever the speed reference changes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Speeds {
    pub head: Pace,
    pub boot: Pace,
    pub deep: SpeedLimit,
    pub under: SpeedLimit,
    pub still: SpeedLimit,
    pub head_under: SpeedLimit,
    /// The deep limit at the head.
    pub head_deep: TurnTime,
    /// Three times a head pitch at half speed: a sixth of normal.
    pub head_silent: TurnTime,
    /// The boot at a third of normal.
    pub boot_turns: TurnTime,
}

impl Speeds {
    pub(super) const NEW: Self = {
        const PACE: Pace =
            Pace { normal: MicroturnsPerSecond::ZERO, brisk: 1, sudden: 1, standing: u32::MAX, first: 1 };
        Self {
            head: PACE,
            boot: PACE,
            deep: SpeedLimit::NEW,
            under: SpeedLimit::NEW,
            still: SpeedLimit::NEW,
            head_under: SpeedLimit::NEW,
            head_deep: u32::MAX,
            head_silent: u32::MAX,
            boot_turns: 1,
        }
    };

    /// The limits at `scale` of nameplate speed.
    pub(super) fn new(names: &Nameplate, limits: &InForce, scale: Ppm) -> Self {
        let head = scaled(names.normal_head, scale);
        let boot = scaled(names.normal_boot, scale);
        let deep = SpeedLimit::new(boot, limits.of(Condition::DeepUnderspeed));
        let under = SpeedLimit::new(boot, limits.of(Condition::Underspeed));
        let still = SpeedLimit::new(boot, limits.of(Condition::NoMotion));
        let head_under = SpeedLimit::new(head, limits.of(Condition::HeadUnderspeed));
        let head_deep = SpeedLimit::new(head, limits.of(Condition::DeepUnderspeed)).limit;
        let standing = limits.starts.standstill_below.get();
        let pace = |normal, name, others: TurnTime| {
            let sudden = turn_time(normal, 625_000);
            let standing = turn_time(name, standing);
            Pace {
                normal,
                brisk: turn_time(normal, 800_000),
                sudden,
                standing,
                first: others.min(sudden).min(standing),
            }
        };
        Self {
            head: pace(head, names.normal_head, head_under.limit.min(head_deep)),
            boot: pace(boot, names.normal_boot, deep.limit.min(under.limit).min(still.limit)),
            deep,
            under,
            still,
            head_under,
            head_deep,
            head_silent: turn_time(head, 166_667),
            boot_turns: turn_time(boot, 333_333),
        }
    }
}

fn scaled(normal: MicroturnsPerSecond, scale: Ppm) -> MicroturnsPerSecond {
    let scale = u64::from(scale.get().unsigned_abs());
    let speed = divide(u64::from(normal.get()).wrapping_mul(scale), 1_000_000).unwrap_or(0);
    MicroturnsPerSecond::new(u32::try_from(speed).unwrap_or(u32::MAX))
}

/// What the speed limits need of the machine.
#[derive(Clone, Copy, Debug)]
pub(super) struct Nameplate {
    pub normal_head: MicroturnsPerSecond,
    pub normal_boot: MicroturnsPerSecond,
    /// The largest pitch of each shaft, for as long as measure has seen no edge.
    pub head_largest: TurnFraction,
    pub boot_largest: TurnFraction,
}

impl Nameplate {
    pub(super) const NEW: Self = Self {
        normal_head: MicroturnsPerSecond::ZERO,
        normal_boot: MicroturnsPerSecond::ZERO,
        head_largest: TurnFraction::MAX,
        boot_largest: TurnFraction::MAX,
    };

    pub(super) fn new(machine: &Machine) -> Self {
        Self {
            normal_head: machine.normal_head,
            normal_boot: machine.normal_boot,
            head_largest: largest_pitch(machine.head_targets.as_ref()),
            boot_largest: largest_pitch(machine.boot_targets.as_ref()),
        }
    }
}

/// The largest angle between two marks that the settings allow.
fn largest_pitch(targets: Option<&Targets>) -> TurnFraction {
    let ppm = targets.map_or(1_000_000, |targets| u64::from(targets.widest_pitch().get().unsigned_abs()));
    TurnFraction::new(u32::try_from((ppm << 32) / 1_000_000).unwrap_or(u32::MAX))
}

/// The pitch that has not ended: since when it counts, and the largest angle it can have.
#[derive(Clone, Copy, Debug)]
pub(super) struct Open {
    pub since: Micros,
    pub largest: TurnFraction,
}

impl Open {
    /// The open pitch of a shaft. Before the first edge after a start it counts from the opening of that start; `None`
    /// if there is neither.
    pub(super) fn of(shaft: &ShaftMotion, opened: Option<Micros>, unseen: TurnFraction) -> Option<Self> {
        let since = match (shaft.last_edge, opened) {
            (Some(edge), Some(opened)) => edge.max(opened),
            (one, other) => one.or(other)?,
        };
        let known = shaft.last_edge.is_some() && shaft.next_largest > TurnFraction::ZERO;
        Some(Self { since, largest: if known { shaft.next_largest } else { unseen } })
    }

    /// The first moment at which it is too long for the limit.
    pub(super) const fn crossing(&self, limit: TurnTime) -> Micros {
        Micros::new(self.since.get().saturating_add(pitch_time(self.largest, limit)).saturating_add(1))
    }
}

/// The last whole pitch, if it began after `opened`: what was measured while running down says nothing of the start.
pub(super) fn closed(shaft: &ShaftMotion, opened: Option<Micros>) -> Option<Pitch> {
    let pitch = shaft.pitch?;
    let began = shaft.last_edge?.get().checked_sub(u64::from(pitch.time.get()))?;
    (began >= opened.unwrap_or(Micros::ZERO).get()).then_some(pitch)
}

/// Whether a whole pitch is surely slower than the limit.
pub(super) const fn too_slow(pitch: &Pitch, limit: TurnTime) -> bool {
    pitch.time.get() as u64 > pitch_time(pitch.largest, limit)
}

/// Whether a whole pitch, by its best estimate, is at least as fast as the limit.
pub(super) const fn fast_enough(pitch: &Pitch, limit: TurnTime) -> bool {
    pitch.time.get() as u64 <= pitch_time(pitch.angle, limit)
}

/// What the two pitches say of a limit at `now`, and when silence may change it.
pub(super) fn sense(open: Option<Open>, closed: Option<Pitch>, limit: SpeedLimit, now: Micros) -> (Sense, Micros) {
    let crossing = open.map_or(NEVER, |open| open.crossing(limit.limit));
    if now >= crossing {
        return (Sense::Beyond, NEVER);
    }
    let sense = match closed {
        Some(pitch) if too_slow(&pitch, limit.limit) => Sense::Beyond,
        Some(pitch) if fast_enough(&pitch, limit.clear) => Sense::Within,
        _ => Sense::Hold,
    };
    (sense, crossing)
}

/// Loss of speed in ppm of normal at `now`; `None` where neither pitch says anything. For people, not for decisions.
pub(super) fn loss(open: Option<Open>, closed: Option<Pitch>, normal: MicroturnsPerSecond, now: Micros) -> Option<i32> {
    let bound = open.and_then(|open| {
        let waited = now.since(open.since);
        (waited.get() > 0).then(|| crate::motion::speed(open.largest, waited))
    });
    let speed = match (closed.map(|pitch| pitch.speed()), bound) {
        (Some(measured), Some(bound)) => measured.min(bound),
        (one, other) => one.or(other)?,
    };
    let share = divide(u64::from(speed.get()).wrapping_mul(1_000_000), u64::from(normal.get()))?;
    Some(1_000_000_i32.saturating_sub(i32::try_from(share).unwrap_or(i32::MAX)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Span;

    #[test]
    fn turn_times() {
        // 60 rpm is one turn a second; at 85 % of it a turn takes 1/0.85 s.
        let rpm60 = MicroturnsPerSecond::new(1_000_000);
        assert_eq!(turn_time(rpm60, 1_000_000), 1_000_000);
        assert_eq!(turn_time(rpm60, 850_000), 1_176_470);
        assert_eq!(turn_time(rpm60, 0), u32::MAX);
        assert_eq!(turn_time(rpm60, -5), u32::MAX);
        assert_eq!(turn_time(MicroturnsPerSecond::MAX, i32::MAX), 1);
    }

    #[test]
    fn silence_crosses_one_microsecond_after_the_longest_pitch() {
        let open = Open { since: Micros::new(1_000), largest: TurnFraction::new(1 << 30) };
        let limit = SpeedLimit { limit: 1_176_470, clear: 1_150_000 };
        let longest = 294_117;
        assert_eq!(open.crossing(limit.limit), Micros::new(1_000 + longest + 1));
        let before = Micros::new(1_000 + longest);
        assert_eq!(sense(Some(open), None, limit, before).0, Sense::Hold);
        assert_eq!(sense(Some(open), None, limit, Micros::new(1_000 + longest + 1)).0, Sense::Beyond);
        // An edge at the very last moment closes a pitch that is just fast enough, one later one that is not.
        let pitch = |time| Pitch { time: Span::new(time), angle: open.largest, largest: open.largest };
        assert!(!too_slow(&pitch(294_117), limit.limit));
        assert!(too_slow(&pitch(294_118), limit.limit));
    }
}
