//! Rules about targets, sensors and the conditioning of what they say.

use super::rule::{Mend, Rule, Violation};
use super::{broken, hold_between};
use crate::input::Shaft;
use crate::settings::cross::{feigning_hum, longest_width};
use crate::settings::derive;
use crate::settings::{ConditioningPart, CountedEdges, Field, Machine, Settings, Spacing, Targets, TargetsPart};

fn targets_of(machine: &Machine, shaft: Shaft) -> Option<&Targets> {
    match shaft {
        Shaft::Head => machine.head_targets.as_ref(),
        Shaft::Boot => machine.boot_targets.as_ref(),
    }
}

pub(super) fn targets(machine: &Machine, shaft: Shaft, tell: &mut dyn FnMut(Violation)) {
    if let Some(targets) = targets_of(machine, shaft) {
        if targets.edges == CountedEdges::Both {
            let field = Field::Targets(shaft, TargetsPart::Count);
            // Beyond the range of the count itself that has been told already.
            hold_between(Rule::Range, field, i64::from(targets.count.min(64)), (0, 32), tell);
        }
        spacing(shaft, targets, tell);
        hum(machine, shaft, targets, tell);
    }
}

fn spacing(shaft: Shaft, targets: &Targets, tell: &mut dyn FnMut(Violation)) {
    let field = |part| Field::Targets(shaft, part);
    let Spacing::Uneven { closest, widest } = targets.spacing else { return };
    let (closest, widest) = (i64::from(closest.get()), i64::from(widest.get()));
    if targets.marks() <= 1 {
        return broken(Rule::OneMarkIsEven, field(TargetsPart::Closest), closest, 1_000_000, tell);
    }
    // All pitches add up to one turn, so the closest is no more than the mean. One part in a million of rounding is let pass.
    let marks = i64::from(targets.marks());
    let mean = 1_000_000_i64.checked_div(marks).unwrap_or(0);
    let others = marks.saturating_sub(1);
    let fit = Rule::PitchesDoNotFit;
    hold_between(fit, field(TargetsPart::Closest), closest, (1_000, mean.saturating_add(1)), tell);
    // With the closest pitch where it must be, the others share the rest: one of them at least its mean, and at most all that the
    // rest at their closest leave.
    let closest = closest.clamp(0, mean);
    let least = 1_000_000_i64.saturating_sub(closest).checked_div(others).unwrap_or(0).saturating_sub(1);
    let most = 1_000_001_i64.saturating_sub(closest.saturating_mul(others));
    hold_between(fit, field(TargetsPart::Widest), widest, (least, most), tell);
}

/// The hum, in edges a second, that would pass for a healthy speed with so many targets; 0 if none would.
fn feigning(machine: &Machine, shaft: Shaft, count: u8, edges: CountedEdges) -> u32 {
    let normal = match shaft {
        Shaft::Head => machine.normal_head,
        Shaft::Boot => machine.normal_boot,
    };
    let edges_a_period = match edges {
        CountedEdges::Rising | CountedEdges::Falling => 1,
        CountedEdges::Both => 2,
    };
    let marks = u32::from(count).saturating_mul(edges_a_period);
    let minimum = machine.speed_reference.map_or(1_000_000, |reference| reference.minimum.get().clamp(0, 1_000_000));
    feigning_hum(shaft, normal.get(), marks, edges_a_period, minimum.unsigned_abs())
}

fn hum(machine: &Machine, shaft: Shaft, targets: &Targets, tell: &mut dyn FnMut(Violation)) {
    let hum = feigning(machine, shaft, targets.count, targets.edges);
    if targets.supervised || hum == 0 {
        return;
    }
    let other = (1..=32_u8)
        .filter(|count| feigning(machine, shaft, *count, targets.edges) == 0)
        .min_by_key(|count| count.abs_diff(targets.count));
    let normal = match shaft {
        Shaft::Head => machine.normal_head,
        Shaft::Boot => machine.normal_boot,
    };
    tell(Violation {
        rule: Rule::HumLooksLikeSpeed,
        field: Field::Targets(shaft, TargetsPart::Supervised),
        value: i64::from(normal.get()).saturating_mul(i64::from(targets.marks())) / 1_000_000,
        bound: hum.into(),
        mend: Mend::OtherTargets(other),
    });
}

/// One width for both shafts, so the tighter of the two bounds it.
pub(super) fn width(settings: &Settings, tell: &mut dyn FnMut(Violation)) {
    let longest = [Shaft::Head, Shaft::Boot]
        .into_iter()
        .filter(|shaft| targets_of(&settings.machine, *shaft).is_some())
        .map(|shaft| longest_width(&derive::shaft(settings, shaft)))
        .min();
    let width = settings.machine.conditioning.minimum_width.get();
    if let Some(longest) = longest
        && width > longest
    {
        let field = Field::Conditioning(ConditioningPart::MinimumWidth);
        broken(Rule::MinimumWidthTooLong, field, width.into(), longest.into(), tell);
    }
}
