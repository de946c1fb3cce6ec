//! Rules about the leg itself: pulleys, belt, speeds, drive.

use super::field::{Field, PulleyPart, TargetsPart};
use super::rule::{Rule, Violation};
use super::{Scope, broken, hold_between};
use crate::input::Shaft;
use crate::settings::{Machine, Pulley, Settings};

/// Ranges of what can be built.
struct Ranges {
    rule: Rule,
    bare_diameter: (i64, i64),
    lagging: (i64, i64),
    face: (i64, i64),
    belt_thickness: (i64, i64),
    belt_width: (i64, i64),
    shaft_speed: (i64, i64),
    ratio: (i64, i64),
}

/// What legs in grain and feed plants are built like, from small feed-mill legs to terminal legs (common practice, no
/// source): pulleys 0.2 to 2 m, lagging to 30 mm, belts 2 to 30 mm thick, 20 to 300 rpm.
const LEG: Ranges = Ranges {
    rule: Rule::LegGeometry,
    bare_diameter: (200_000, 2_000_000),
    lagging: (0, 30_000),
    face: (80_000, 2_500_000),
    belt_thickness: (2_000, 30_000),
    belt_width: (60_000, 2_400_000),
    shaft_speed: (333_333, 5_000_000),
    ratio: (500_000, 2_000_000),
};

/// What the arithmetic bears: for bench recordings, 1 to 6,000 rpm.
const BENCH: Ranges = Ranges {
    rule: Rule::Range,
    bare_diameter: (1_000, 10_000_000),
    lagging: (0, 1_000_000),
    face: (0, 10_000_000),
    belt_thickness: (0, 1_000_000),
    belt_width: (0, 10_000_000),
    shaft_speed: (16_667, 100_000_000),
    ratio: (200_000, 5_000_000),
};

/// Belt speeds of legs: 1 to 5 m/s.
const BELT_SPEED: (i64, i64) = (1_000_000, 5_000_000);
/// Twice the centres: 2 m to 150 m.
const TWICE_CENTRES: (i64, i64) = (4_000_000, 300_000_000);
/// How far an accepted ratio may be from geometry, and the normal speeds from the ratio: 10 %. Losing 12 mm of lagging from
/// a 600 mm pulley is 3.8 %.
const RATIO_TOLERANCE: i64 = 100_000;

/// Unicode's white space, as `char::is_whitespace` has it, without the table that it takes.
const fn is_blank(letter: char) -> bool {
    matches!(letter, '\t'..='\r' | ' ' | '\u{85}' | '\u{A0}' | '\u{1680}' | '\u{2000}'..='\u{200A}')
        || matches!(letter, '\u{2028}' | '\u{2029}' | '\u{202F}' | '\u{205F}' | '\u{3000}')
}

pub(super) fn check(settings: &Settings, scope: Scope, tell: &mut dyn FnMut(Violation)) {
    let machine = &settings.machine;
    let name = machine.leg.as_str();
    if name.chars().all(is_blank) || name.chars().any(char::is_control) {
        broken(Rule::LegName, Field::Leg, 0, 0, tell);
    }
    let ranges = match scope {
        Scope::Leg => &LEG,
        Scope::Bench => &BENCH,
    };
    pulley(Shaft::Head, &machine.head_pulley, ranges, tell);
    pulley(Shaft::Boot, &machine.boot_pulley, ranges, tell);
    hold_between(ranges.rule, Field::BeltThickness, machine.belt.thickness.get(), ranges.belt_thickness, tell);
    hold_between(ranges.rule, Field::BeltWidth, machine.belt.width.get(), ranges.belt_width, tell);
    if matches!(scope, Scope::Leg) {
        belt_against_pulleys(machine, tell);
    } else {
        hold_between(Rule::Range, Field::LoopLength, machine.belt.loop_length.get(), (1_000, 1_000_000_000), tell);
    }
    speeds(machine, scope, ranges, tell);
    fitted(machine, tell);
    drive(machine, tell);
}

fn pulley(shaft: Shaft, pulley: &Pulley, ranges: &Ranges, tell: &mut dyn FnMut(Violation)) {
    let field = |part| Field::Pulley(shaft, part);
    hold_between(ranges.rule, field(PulleyPart::BareDiameter), pulley.bare_diameter.get(), ranges.bare_diameter, tell);
    hold_between(ranges.rule, field(PulleyPart::Lagging), pulley.lagging.get(), ranges.lagging, tell);
    hold_between(ranges.rule, field(PulleyPart::Face), pulley.face.get(), ranges.face, tell);
    // 3 % of the face, to the micrometre below.
    let highest = pulley.face.get().max(0).saturating_mul(3) / 100;
    if pulley.crown.get() < 0 {
        hold_between(Rule::Range, field(PulleyPart::Crown), pulley.crown.get(), (0, highest), tell);
    } else if matches!(ranges.rule, Rule::LegGeometry) && pulley.crown.get() >= highest.max(1) {
        broken(Rule::CrownTooHigh, field(PulleyPart::Crown), pulley.crown.get(), highest, tell);
    }
}

fn belt_against_pulleys(machine: &Machine, tell: &mut dyn FnMut(Violation)) {
    for (shaft, pulley) in [(Shaft::Head, &machine.head_pulley), (Shaft::Boot, &machine.boot_pulley)] {
        if pulley.face < machine.belt.width {
            broken(
                Rule::FaceNarrowerThanBelt,
                Field::Pulley(shaft, PulleyPart::Face),
                pulley.face.get(),
                machine.belt.width.get(),
                tell,
            );
        }
    }
    // Half a turn of belt on each pulley; both circumferences are below 2^33 µm.
    let on_pulleys = machine.head_circumference().get().saturating_add(machine.boot_circumference().get()) >> 1;
    let (least, most) = TWICE_CENTRES;
    let range = (on_pulleys.saturating_add(least), on_pulleys.saturating_add(most));
    hold_between(Rule::LoopAgainstCentres, Field::LoopLength, machine.belt.loop_length.get(), range, tell);
}

fn speeds(machine: &Machine, scope: Scope, ranges: &Ranges, tell: &mut dyn FnMut(Violation)) {
    let ratio = i64::from(machine.geometric_ratio().get());
    hold_between(ranges.rule, Field::Ratio, ratio, ranges.ratio, tell);
    for (shaft, speed) in [(Shaft::Head, machine.normal_head), (Shaft::Boot, machine.normal_boot)] {
        hold_between(ranges.rule, Field::NormalSpeed(shaft), i64::from(speed.get()), ranges.shaft_speed, tell);
    }
    if matches!(scope, Scope::Leg) {
        hold_between(
            Rule::LegGeometry,
            Field::BeltSpeed,
            i64::from(machine.normal_belt_speed().get()),
            BELT_SPEED,
            tell,
        );
    }
    if let Some(accepted) = machine.accepted_ratio {
        hold_between(ranges.rule, Field::AcceptedRatio, i64::from(accepted.ratio.get()), ranges.ratio, tell);
        // Both below 2^32, so the product stays below 2^53.
        let apart = i64::from(accepted.ratio.get()).saturating_sub(ratio).saturating_mul(1_000_000);
        let apart = apart.checked_div(ratio).unwrap_or(i64::MAX).saturating_abs();
        if apart > RATIO_TOLERANCE && matches!(scope, Scope::Leg) {
            broken(Rule::AcceptedFarFromGeometry, Field::AcceptedRatio, apart, RATIO_TOLERANCE, tell);
        }
        hold_between(Rule::Range, Field::AcceptedSpread, i64::from(accepted.spread.get()), (0, 50_000), tell);
    }
    let expected = i64::from(machine.normal_head.get())
        .saturating_mul(i64::from(machine.ratio_in_force().get()))
        .saturating_div(1_000_000);
    let tenth = expected / 10;
    let range = (expected.saturating_sub(tenth), expected.saturating_add(tenth));
    let boot = i64::from(machine.normal_boot.get());
    hold_between(Rule::SpeedsContradictRatio, Field::NormalSpeed(Shaft::Boot), boot, range, tell);
}

fn fitted(machine: &Machine, tell: &mut dyn FnMut(Violation)) {
    let (rule, field) = match (machine.head_targets.is_some(), machine.boot_targets.is_some()) {
        (_, true) if machine.head_targets.is_some() || machine.drive_contact => return,
        (_, true) => (Rule::BootAloneNeedsDrive, Field::DriveContact),
        (true, false) => (Rule::HeadAlone, Field::Targets(Shaft::Boot, TargetsPart::Fitted)),
        (false, false) => (Rule::NothingFitted, Field::Targets(Shaft::Boot, TargetsPart::Fitted)),
    };
    broken(rule, field, 0, 1, tell);
}

fn drive(machine: &Machine, tell: &mut dyn FnMut(Violation)) {
    // The largest legs take a few hundred kilowatts.
    hold_between(Rule::Range, Field::RatedPower, i64::from(machine.rated_power.get()), (100, 1_000_000), tell);
    hold_between(
        Rule::Range,
        Field::ServiceFactor,
        i64::from(machine.service_factor.get()),
        (500_000, 2_000_000),
        tell,
    );
    if let Some(reference) = machine.speed_reference {
        hold_between(
            Rule::Range,
            Field::ReferenceMinimum,
            i64::from(reference.minimum.get()),
            (100_000, 1_000_000),
            tell,
        );
        // 0.1 %/s to 200 %/s of normal speed.
        hold_between(
            Rule::Range,
            Field::ReferenceRamp,
            i64::from(reference.ramp_per_second.get()),
            (1_000, 2_000_000),
            tell,
        );
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn white_space_is_unicodes() {
        for letter in '\0'..=char::MAX {
            assert_eq!(super::is_blank(letter), letter.is_whitespace(), "{letter:?}");
        }
    }
}
