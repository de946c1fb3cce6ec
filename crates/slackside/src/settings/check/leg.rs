//! Rules about the leg itself: pulleys, belt, speeds, drive.

use super::rule::{Rule, Violation};
use super::{Scope, broken, hold_between, hold_in};
use crate::arith::share;
use crate::input::Shaft;
use crate::settings::cross::{RATIO_TOLERANCE, boot_by_ratio};
use crate::settings::{AcceptedRatioPart, BeltPart, DrivePart, Field, LegPart, Machine, PulleyPart, SpeedPart};

/// Belt speeds of legs: 0.5 m/s, where buckets that lie one on the other empty slowly, to 5 m/s.
const BELT_SPEED: (i64, i64) = (500_000, 5_000_000);
/// The head unloaded, of its normal speed: a motor at work falls behind by 1 % to 5 % and a drive belt by 1 % (common practice, no source).
/// Of less than half a per cent the grid's wander would be too large a part.
const LEAST_UNLOADED: i32 = 1_005_000;
const MOST_UNLOADED: i32 = 1_100_000;
/// Twice the centres: 2 m to 150 m.
const TWICE_CENTRES: (i64, i64) = (4_000_000, 300_000_000);

/// It has a name, printable and not blank.
pub(super) fn name(machine: &Machine, tell: &mut dyn FnMut(Violation)) {
    let name = machine.leg.as_str();
    if name.chars().all(char::is_whitespace) || name.chars().any(char::is_control) {
        broken(Rule::LegName, Field::Leg(LegPart::Name), 0, 0, tell);
    }
}

/// Crown, and a face as wide as the belt.
pub(super) fn pulley(machine: &Machine, shaft: Shaft, scope: Scope, tell: &mut dyn FnMut(Violation)) {
    let pulley = match shaft {
        Shaft::Head => &machine.head_pulley,
        Shaft::Boot => &machine.boot_pulley,
    };
    let field = |part| Field::Pulley(shaft, part);
    let (face, crown) = (pulley.face.get(), pulley.crown.get());
    // 3 % of the face, to the micrometre below.
    let highest = face.max(0).saturating_mul(3) / 100;
    if crown < 0 {
        hold_between(Rule::Range, field(PulleyPart::Crown), crown, (0, highest), tell);
    } else if scope == Scope::Leg && crown >= highest.max(1) {
        broken(Rule::CrownTooHigh, field(PulleyPart::Crown), crown, highest, tell);
    }
    let width = machine.belt.width.get();
    if scope == Scope::Leg && face < width {
        broken(Rule::FaceNarrowerThanBelt, field(PulleyPart::Face), face, width, tell);
    }
}

/// The loop fits the pulleys.
pub(super) fn belt(machine: &Machine, scope: Scope, tell: &mut dyn FnMut(Violation)) {
    let (rule, range) = match scope {
        Scope::Leg => {
            // Half a turn of belt on each pulley; both circumferences are below 2^33 µm.
            let on_pulleys = machine.head_circumference().get().saturating_add(machine.boot_circumference().get()) >> 1;
            let (least, most) = TWICE_CENTRES;
            (Rule::LoopAgainstCentres, (on_pulleys.saturating_add(least), on_pulleys.saturating_add(most)))
        }
        Scope::Bench => (Rule::Range, (1_000, 1_000_000_000)),
    };
    hold_between(rule, Field::Belt(BeltPart::Loop), machine.belt.loop_length.get(), range, tell);
}

/// Ratio and speeds agree, and the belt is as fast as legs' belts are.
pub(super) fn speeds(machine: &Machine, scope: Scope, tell: &mut dyn FnMut(Violation)) {
    let ratio = i64::from(machine.geometric_ratio().get());
    hold_in(Rule::Range, Field::Ratio, ratio, scope, tell);
    if scope == Scope::Leg {
        let speed = i64::from(machine.normal_belt_speed().get());
        hold_between(Rule::LegGeometry, Field::BeltSpeed, speed, BELT_SPEED, tell);
    }
    let normal = machine.normal_head.get();
    let (least, most) = boot_by_ratio(normal, machine.ratio_in_force().get());
    let boot = i64::from(machine.normal_boot.get());
    let range = (i64::from(least), i64::from(most));
    hold_between(Rule::SpeedsContradictRatio, Field::Speed(SpeedPart::Boot), boot, range, tell);
    if let Some(unloaded) = machine.unloaded_head {
        let range = (i64::from(share(normal, LEAST_UNLOADED)), i64::from(share(normal, MOST_UNLOADED)));
        let field = Field::Speed(SpeedPart::UnloadedHead);
        hold_between(Rule::UnloadedAgainstNormal, field, i64::from(unloaded.get()), range, tell);
    }
}

/// An accepted ratio lies near geometry.
pub(super) fn accepted(machine: &Machine, scope: Scope, tell: &mut dyn FnMut(Violation)) {
    let Some(accepted) = machine.accepted_ratio else { return };
    let ratio = i64::from(machine.geometric_ratio().get());
    // Both below 2^32, so the product stays below 2^53.
    let apart = i64::from(accepted.ratio.get()).saturating_sub(ratio).saturating_mul(1_000_000);
    let apart = apart.checked_div(ratio).unwrap_or(i64::MAX).saturating_abs();
    if apart > i64::from(RATIO_TOLERANCE) && scope == Scope::Leg {
        let field = Field::AcceptedRatio(AcceptedRatioPart::Ratio);
        broken(Rule::AcceptedFarFromGeometry, field, apart, RATIO_TOLERANCE.into(), tell);
    }
}

/// What is fitted can see the belt.
pub(super) fn fitted(machine: &Machine, tell: &mut dyn FnMut(Violation)) {
    let (rule, field) = match (machine.head_targets.is_some(), machine.boot_targets.is_some()) {
        (_, true) if machine.head_targets.is_some() || machine.drive_contact => return,
        (_, true) => (Rule::BootAloneNeedsDrive, Field::Drive(DrivePart::Contact)),
        (true, false) => (Rule::HeadAlone, Field::Fitted(Shaft::Boot)),
        (false, false) => (Rule::NothingFitted, Field::Fitted(Shaft::Boot)),
    };
    broken(rule, field, 0, 1, tell);
}
