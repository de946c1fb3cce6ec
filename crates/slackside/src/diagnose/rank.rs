//! The rules that lead from evidence to causes.

use heapless::Vec;

use super::evidence::{Evidence, Lock, Rubs, Silence, SlipShape};
use super::finding::{Cause, Confidence, Finding};
use crate::conditions::Condition;
use crate::input::{Place, Shaft};
use crate::units::{Ppm, Span};
use crate::verdict::Phase;

/// The most findings there are in one list: more than that helps nobody.
pub const FINDINGS: usize = 8;

/// A slip that never goes away and is larger than this is no creep: belts creep 0.5 to 2 %.
const OFFSET: Ppm = Ppm::from_percent(2);
/// How near it must come to what lost lagging would show.
const OFFSET_MATCH: Ppm = Ppm::new(8_000);
/// A loss from which a shaft counts as slow.
const SLOW: Ppm = Ppm::from_percent(8);
/// Power from which a leg counts as overloaded.
const FULL: Ppm = Ppm::from_percent(105);

/// The causes the evidence speaks for, the surest first; among equals the order of the rules below.
#[must_use]
pub fn findings(evidence: &Evidence) -> Vec<Finding, FINDINGS> {
    let mut list = List(Vec::new());
    sensors(evidence, &mut list);
    // A shift that was there all along explains a loss of grip that grew with the load. It does not explain a boot that fell
    // silent or a drive that slowed: those come first then.
    let grew = evidence.boot == Silence::Turning
        && evidence.shape != SlipShape::Sudden
        && evidence.head_loss.is_none_or(|loss| loss <= SLOW);
    if grew {
        offset(evidence, Confidence::Strong, &mut list);
    }
    belt(evidence, &mut list);
    drive(evidence, &mut list);
    if !grew {
        offset(evidence, Confidence::Likely, &mut list);
    }
    rubs(evidence, &mut list);
    plain(evidence, &mut list);
    list.0
}

struct List(Vec<Finding, FINDINGS>);

impl List {
    /// Keep the list ordered by confidence; the least sure falls off a full one.
    fn add(&mut self, cause: Cause, confidence: Confidence, figure: Option<Ppm>) {
        if self.0.iter().any(|finding| finding.cause == cause) {
            return;
        }
        let place = self.0.iter().position(|finding| finding.confidence < confidence).unwrap_or(self.0.len());
        if self.0.is_full() {
            if place >= self.0.len() {
                return;
            }
            self.0.pop();
        }
        // There is room now.
        let _ = self.0.insert(place, Finding { cause, confidence, figure });
    }
}

fn tripped(evidence: &Evidence) -> Option<Condition> {
    evidence.first_out.map(|(_, condition)| condition)
}

fn sensors(evidence: &Evidence, list: &mut List) {
    let has = |condition| evidence.raised.contains(condition);
    if evidence.bridged {
        list.add(Cause::WiresBridged, Confidence::Strong, None);
    }
    for (shaft, fault, targets) in [
        (Shaft::Head, Condition::HeadSensorFault, Condition::HeadTargets),
        (Shaft::Boot, Condition::BootSensorFault, Condition::BootTargets),
    ] {
        if has(fault) {
            list.add(Cause::SensorNoise(shaft), Confidence::Likely, None);
            list.add(Cause::SensorLost(shaft), Confidence::Likely, None);
        }
        if has(targets) {
            list.add(Cause::Target(shaft), Confidence::Strong, None);
        }
    }
    if has(Condition::BothSilent) {
        list.add(Cause::CommonSupply, Confidence::Strong, None);
    } else if has(Condition::HeadSilent) {
        let confidence = if evidence.head == Silence::Abrupt { Confidence::Strong } else { Confidence::Likely };
        list.add(Cause::SensorLost(Shaft::Head), confidence, None);
    }
    if has(Condition::RatioOrWiring) {
        // What never varies is a ratio: slip, read the wrong way round, would follow the load.
        let steady = has(Condition::RatioShifted);
        let wiring = if steady { Confidence::Possible } else { Confidence::Likely };
        list.add(Cause::SensorsSwapped, wiring, evidence.slip);
        list.add(Cause::RatioWrong, Confidence::Likely, evidence.slip);
    }
    if has(Condition::SlipImpossible) || has(Condition::SlipNegative) {
        list.add(Cause::RatioWrong, Confidence::Possible, evidence.slip);
        // A ratio that has shifted by a little, and stays there, is a pulley: a target too few or too many shifts it by its share of a turn.
        if !has(Condition::RatioShifted) {
            list.add(Cause::Target(Shaft::Boot), Confidence::Possible, None);
            list.add(Cause::Target(Shaft::Head), Confidence::Possible, None);
        }
    }
}

/// Slip that never goes away, at any load.
fn offset(evidence: &Evidence, confidence: Confidence, list: &mut List) {
    let Some(least) = evidence.least_slip else { return };
    if least < OFFSET && least > Ppm::ZERO.saturating_sub(OFFSET) {
        return;
    }
    let from_lagging = Ppm::new(least.saturating_sub(evidence.lagging_shift).get().saturating_abs());
    if evidence.lagging_shift >= OFFSET && from_lagging <= OFFSET_MATCH {
        list.add(Cause::LaggingLost, confidence, Some(least));
        list.add(Cause::RatioWrong, Confidence::Possible, Some(least));
    } else {
        list.add(Cause::RatioWrong, Confidence::Likely, Some(least));
        if least > Ppm::ZERO && evidence.lagging_shift > Ppm::ZERO {
            list.add(Cause::LaggingLost, Confidence::Possible, Some(least));
        }
    }
}

/// The belt slower than the head.
fn belt(evidence: &Evidence, list: &mut List) {
    let by_slip = matches!(
        tripped(evidence),
        Some(
            Condition::BeltNotFollowing
                | Condition::SlipVeryHigh
                | Condition::SlipHigh
                | Condition::SlipHeat
                | Condition::DeepUnderspeed
                | Condition::NoMotion
        )
    ) || evidence.raised.contains(Condition::SlipHigh)
        || evidence.raised.contains(Condition::SlipMean);
    let head_slow = evidence.head_loss.is_some_and(|loss| loss > SLOW);
    if !by_slip || head_slow && evidence.slip.is_none_or(|slip| slip < Ppm::from_percent(5)) {
        return;
    }
    match evidence.boot {
        Silence::Abrupt => {
            list.add(Cause::SensorLost(Shaft::Boot), Confidence::Strong, None);
            list.add(Cause::BootChoked, Confidence::Possible, evidence.slip);
            return;
        }
        Silence::Stretching => {
            list.add(Cause::BootChoked, Confidence::Likely, evidence.slip);
            list.add(Cause::BeltParted, Confidence::Possible, None);
        }
        Silence::Turning => {}
    }
    if evidence.power.is_some_and(|power| power > FULL) {
        list.add(Cause::Overloaded, Confidence::Likely, evidence.power);
    }
    match evidence.shape {
        SlipShape::Sudden => {
            list.add(Cause::BootChoked, Confidence::Likely, evidence.slip);
            list.add(Cause::GripLost, Confidence::Possible, evidence.slip);
            list.add(Cause::BeltParted, Confidence::Possible, None);
        }
        SlipShape::Growing { .. } => {
            list.add(Cause::GripLost, Confidence::Likely, evidence.slip);
            list.add(Cause::Overloaded, Confidence::Possible, evidence.power);
            list.add(Cause::BootChoked, Confidence::Possible, evidence.slip);
        }
        SlipShape::Steady | SlipShape::Unknown => {
            list.add(Cause::GripLost, Confidence::Possible, evidence.slip);
            list.add(Cause::BootChoked, Confidence::Possible, evidence.slip);
        }
    }
}

/// Head and boot slow together.
fn drive(evidence: &Evidence, list: &mut List) {
    let speed_alarm = [
        Condition::HeadUnderspeed,
        Condition::Underspeed,
        Condition::DeepUnderspeed,
        Condition::NoMotion,
        Condition::StartFailed,
    ]
    .into_iter()
    .any(|condition| evidence.raised.contains(condition));
    if !speed_alarm {
        return;
    }
    let little_slip = evidence.slip.is_some_and(|slip| slip < Ppm::from_percent(5));
    let head_slow = evidence.head_loss.is_some_and(|loss| loss > SLOW);
    if evidence.raised.contains(Condition::StartFailed) || evidence.phase == Phase::Starting && head_slow {
        list.add(Cause::HeavyStart, Confidence::Likely, evidence.belt_loss);
        list.add(Cause::DriveSlow, Confidence::Possible, evidence.head_loss);
    } else if head_slow && little_slip {
        list.add(Cause::DriveSlow, Confidence::Strong, evidence.head_loss);
        list.add(Cause::Overloaded, Confidence::Possible, evidence.power);
    } else if evidence.head_loss.is_none() {
        // The boot alone: a slow belt may be slip, choke or drive, and nothing here can tell.
        list.add(Cause::GripLost, Confidence::Possible, evidence.belt_loss);
        list.add(Cause::BootChoked, Confidence::Possible, evidence.belt_loss);
        list.add(Cause::DriveSlow, Confidence::Possible, evidence.belt_loss);
    }
}

fn rubs(evidence: &Evidence, list: &mut List) {
    let off = |rubs: &Rubs| rubs.longest >= Span::from_millis(500) || rubs.duty >= Ppm::from_percent(10);
    for (place, rubs) in Place::ALL.into_iter().zip(&evidence.rubs) {
        match rubs.lock {
            Lock::Belt { .. } => list.add(Cause::BeltFault(place), Confidence::Strong, Some(rubs.duty)),
            Lock::Shaft { .. } => list.add(Cause::ShaftFault(place), Confidence::Likely, Some(rubs.duty)),
            Lock::None if off(rubs) => list.add(Cause::OffCentre(place), Confidence::Likely, Some(rubs.duty)),
            Lock::None => {}
        }
    }
    let [head_left, head_right, boot_left, boot_right] = &evidence.rubs;
    if off(head_left) && off(boot_right) || off(head_right) && off(boot_left) {
        list.add(Cause::OutOfLine, Confidence::Likely, None);
    }
}

/// What needs no telling apart.
fn plain(evidence: &Evidence, list: &mut List) {
    for (condition, cause) in [
        (Condition::FasterThanNormal, Cause::SpeedWrong),
        (Condition::OutletPlugged, Cause::OutletPlugged),
        (Condition::Rollback, Cause::BackstopFailed),
        (Condition::EdgesAtRest, Cause::SensorChatter),
        (Condition::TooManyStarts, Cause::Jogging),
        (Condition::PermitBypassed, Cause::PermitWiring),
        (Condition::DriveContactFault, Cause::DriveContact),
        (Condition::ReferenceFault, Cause::SpeedReference),
        (Condition::ContactFault, Cause::ContactLost),
        (Condition::TimeBaseFault, Cause::TimeBase),
        (Condition::RubHot, Cause::HotSpot),
    ] {
        if evidence.raised.contains(condition) {
            list.add(cause, Confidence::Likely, None);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conditions::ConditionSet;
    use crate::units::Micros;

    fn evidence(condition: Condition) -> Evidence {
        Evidence {
            first_out: Some((Micros::new(9_000_000), condition)),
            phase: Phase::Running,
            raised: ConditionSet::EMPTY.with(condition),
            slip: None,
            shape: SlipShape::Unknown,
            least_slip: None,
            head_loss: Some(Ppm::ZERO),
            belt_loss: None,
            lagging_shift: Ppm::new(37_975),
            boot: Silence::Turning,
            head: Silence::Turning,
            power: None,
            bridged: false,
            rubs: [Rubs::default(); Place::COUNT],
        }
    }

    fn first(evidence: &Evidence) -> Option<(Cause, Confidence)> {
        findings(evidence).first().map(|finding| (finding.cause, finding.confidence))
    }

    #[test]
    fn a_cut_wire_is_told_from_a_choke_by_how_the_edges_end() {
        let cut = Evidence { boot: Silence::Abrupt, ..evidence(Condition::BeltNotFollowing) };
        assert_eq!(first(&cut), Some((Cause::SensorLost(Shaft::Boot), Confidence::Strong)));
        let choke =
            Evidence { boot: Silence::Stretching, shape: SlipShape::Sudden, ..evidence(Condition::BeltNotFollowing) };
        assert_eq!(first(&choke), Some((Cause::BootChoked, Confidence::Likely)));
    }

    #[test]
    fn wires_are_looked_at_before_the_belt() {
        let bridged = Evidence { bridged: true, ..evidence(Condition::BootSensorFault) };
        assert_eq!(first(&bridged), Some((Cause::WiresBridged, Confidence::Strong)));
        let swapped = Evidence { slip: Some(Ppm::new(-99_000)), ..evidence(Condition::RatioOrWiring) };
        assert_eq!(first(&swapped), Some((Cause::SensorsSwapped, Confidence::Likely)));
        let built_up = Evidence { raised: swapped.raised.with(Condition::RatioShifted), ..swapped };
        assert_eq!(first(&built_up), Some((Cause::RatioWrong, Confidence::Likely)));
        let below = evidence(Condition::SlipNegative);
        let targets =
            |evidence: &Evidence| findings(evidence).iter().any(|found| matches!(found.cause, Cause::Target(_)));
        assert!(targets(&below), "nothing tells a wrong count of targets from a wrong ratio");
        let shifted = Evidence { raised: below.raised.with(Condition::RatioShifted), ..below };
        assert!(!targets(&shifted), "a ratio that shifted by a little is no target");
        let fast = evidence(Condition::FasterThanNormal);
        assert_eq!(first(&fast), Some((Cause::SpeedWrong, Confidence::Likely)));
    }

    #[test]
    fn a_shift_of_the_size_of_the_lagging_is_the_lagging() {
        let lost = Evidence {
            slip: Some(Ppm::from_percent(16)),
            shape: SlipShape::Growing { over: Span::from_millis(6_000) },
            least_slip: Some(Ppm::new(39_000)),
            ..evidence(Condition::SlipVeryHigh)
        };
        assert_eq!(first(&lost), Some((Cause::LaggingLost, Confidence::Strong)));
        let geometry = Evidence { least_slip: Some(Ppm::new(80_000)), ..lost };
        assert!(first(&geometry).is_some_and(|(cause, _)| cause != Cause::LaggingLost));
    }

    #[test]
    fn what_was_there_all_along_comes_after_what_just_happened() {
        let shifted = Evidence { least_slip: Some(Ppm::new(39_000)), ..evidence(Condition::BeltNotFollowing) };
        let cut = Evidence { boot: Silence::Abrupt, ..shifted };
        assert_eq!(first(&cut), Some((Cause::SensorLost(Shaft::Boot), Confidence::Strong)));
        let choke = Evidence { boot: Silence::Stretching, shape: SlipShape::Sudden, ..shifted };
        assert_eq!(first(&choke), Some((Cause::BootChoked, Confidence::Likely)));
        assert!(findings(&choke).iter().any(|finding| finding.cause == Cause::LaggingLost));
    }

    #[test]
    fn head_and_boot_slow_together_is_the_drive() {
        let drive = Evidence {
            slip: Some(Ppm::from_percent(1)),
            head_loss: Some(Ppm::from_percent(17)),
            belt_loss: Some(Ppm::from_percent(17)),
            ..evidence(Condition::DeepUnderspeed)
        };
        assert_eq!(first(&drive), Some((Cause::DriveSlow, Confidence::Strong)));
    }

    #[test]
    fn opposite_corners_are_out_of_line() {
        let mut crossed = evidence(Condition::Mistracking);
        let off = Rubs { count: 3, longest: Span::from_millis(900), ..Rubs::default() };
        crossed.rubs = [off, Rubs::default(), Rubs::default(), off];
        assert!(findings(&crossed).iter().any(|finding| finding.cause == Cause::OutOfLine));
    }

    #[test]
    fn the_list_is_ordered_and_never_too_long() {
        let mut everything = evidence(Condition::BeltNotFollowing);
        for condition in Condition::ALL {
            everything.raised = everything.raised.with(condition);
        }
        everything.boot = Silence::Stretching;
        everything.least_slip = Some(Ppm::from_percent(9));
        let list = findings(&everything);
        assert!(list.is_full());
        assert!(list.windows(2).all(|pair| matches!(pair, [one, other] if one.confidence >= other.confidence)));
    }

    #[test]
    fn nothing_wrong_gives_nothing() {
        let mut healthy = evidence(Condition::SlipHigh);
        healthy.first_out = None;
        healthy.raised = ConditionSet::EMPTY;
        assert!(findings(&healthy).is_empty());
    }
}
