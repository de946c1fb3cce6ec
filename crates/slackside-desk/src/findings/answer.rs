//! The answer: which causes to name, in which order to look, how sure each is, and when to say that signals cannot tell.

use slackside::conditions::Condition;
use slackside::diagnose::Lock;
use slackside::input::Place;
use slackside::signals::distrust;

use super::cause::Cause;
use super::evidence::{Clue, Evidence, GRIP_LOST, LAGGING_LOST, Raised};
use super::model::{Model, Prior, WHOLE};

/// Causes that no signal tells apart, and the one look that does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Group {
    /// At most three.
    pub causes: &'static [Cause],
    /// What parts them.
    pub look: &'static str,
    /// Below this chance of the likeliest they are answered together, in millionths.
    pub unsure: u32,
    /// What they must hold together, in millionths.
    pub together: u32,
}

/// What signals often cannot tell.
pub const GROUPS: [Group; 9] = [
    Group {
        causes: &[Cause::LaggingGone, Cause::BootBuildup, Cause::WrongDiameters],
        look: "Lock out, look at the head pulley through its door, then measure both pulleys: which differs from the settings?",
        unsure: UNSURE,
        together: TOGETHER,
    },
    Group {
        causes: &[Cause::LaggingSlick, Cause::TakeUp, Cause::HeadPulleyLoose],
        look: "Lock out, look at the take-up's travel, then chalk a line from hub to shaft at the head: does it part at the next start?",
        unsure: UNSURE,
        together: TOGETHER,
    },
    Group {
        causes: &[Cause::Choke, Cause::Overload, Cause::BeltCaught],
        look: "Lock out, tag out, prove it dead; then look into the boot: full, or is the belt held above it? Never jog it free.",
        unsure: 450_000,
        together: TOGETHER,
    },
    Group {
        causes: &[Cause::BootSensorLost, Cause::BootPulleyLoose, Cause::BootHeld],
        look: "Lock out, then turn the boot shaft by hand: does it turn freely, does the pulley turn with it, does the box count its targets?",
        // A boot pulley can stop between two targets.
        unsure: 650_000,
        together: TOGETHER,
    },
    Group {
        causes: &[Cause::TakeUp, Cause::BootPulleyLoose, Cause::BootHeld],
        look: "Lock out, look how much travel the take-up has left, then turn the boot shaft by hand: does it turn freely, and the pulley with it?",
        unsure: 600_000,
        together: TOGETHER,
    },
    Group {
        causes: &[Cause::ContactStuck, Cause::OffCentre],
        look: "Lock out, then see whether the belt leans on the contact that is closed.",
        unsure: UNSURE,
        together: TOGETHER,
    },
    Group {
        causes: &[Cause::BootTargetLoose, Cause::BootTargetMissing, Cause::BootSensorUnsteady],
        look: "Lock out, then take hold of each target on the boot shaft by hand: all there, none loose, each as near to the sensor?",
        unsure: UNSURE,
        together: TOGETHER,
    },
    Group {
        causes: &[Cause::HeadTargetLoose, Cause::HeadTargetMissing, Cause::HeadSensorUnsteady],
        look: "Lock out, then take hold of each target on the head shaft by hand: all there, none loose, each as near to the sensor?",
        unsure: UNSURE,
        together: TOGETHER,
    },
    Group {
        causes: &[Cause::HeadBuildup, Cause::WrongDiameters, Cause::SensorsSwapped],
        look: "Lock out, then see which sensor answers which input; then measure both pulleys over what is caked on them.",
        unsure: UNSURE,
        together: TOGETHER,
    },
];

/// Below this chance of the likeliest cause a group is answered, if one holds enough of the whole. Where it differs, it was chosen on runs
/// to learn from that were kept back, so that no more than one answer in ten is a group.
const UNSURE: u32 = 500_000;
/// What a group must hold together.
const TOGETHER: u32 = 700_000;
/// From here on a cause of a group is possible.
const OPEN: u32 = 5_000;
/// Causes below this are not named.
const NAMED: u32 = 60_000;
/// A parted belt is named from here on: what is seldom but grave.
const PARTED: u32 = 10_000;
/// The most causes named, and how many of them are looked at first.
const MOST: usize = 5;
const FIRST_LOOKS: usize = 3;
/// Slip after the start of a leg whose settings fit, and the least by which it must have shifted since to speak against them, in ppm.
const FITTED: i32 = 10_000;
/// The least shift of slip that is looked at as lost lagging, in ppm: belts creep up to 2 %, 1 % of it with the load.
const SHIFTED: i32 = 8_000;
/// Of what lost lagging would show, in per cent: creep comes on top.
const OF_LAGGING: core::ops::RangeInclusive<i32> = 90..=130;
/// Of the shift, in per cent, what must have come in one step of three seconds.
const STEPPED: (i32, i32) = (60, 150);
/// How near to what swapped sensors show slip must be, in ppm, and by how much it must move with the head's speed, per mille.
const SWAPPED: i32 = 2_000;
const AS_SWAPPED: i32 = 50;
/// What the box calls targets too few.
const MISSING: i32 = 1;
/// A target that is missed in no more of the turns than this, in per cent, is there.
pub(super) const NOW_AND_THEN: i32 = 60;
/// How many targets a turn are not seen where one is gone, in hundredths of a target.
const ONE_GONE: core::ops::RangeInclusive<i32> = 97..=103;
/// By how much the boot targets of a sound leg seem to lie off their places, at most, since pulleys are not quite round and a belt's swing
/// makes more of it: per mille of a turn. In 9,135 hours of sound simulated legs, of three pages of scores, it was 7.3 at the most.
const ROUND_ENOUGH: i32 = 8;
/// By how much a sound leg's boot runs faster and slower with each turn of its head, at most, in ppm: no pulley is quite round, and a belt
/// that swings makes up to nine times as much of it. Of 390 sound simulated legs whose boot targets were alarmed the most came to 31,500.
const SWINGS: i32 = 35_000;
/// Targets that are seen for no more than this, per mille, of how long they were seen at first lie farther from their sensor.
const FADED: i32 = 600;
/// By how much a boot outruns its head if it is not by chance, in ppm, and how far none turns on by itself, in hundredths of a turn.
const OUTRUN: i32 = 20_000;
const TURNED_ON: i32 = 1_500;
/// How often an offset of the lagging's size was the lagging, about: the page of findings counts it.
const BY_OFFSET: u32 = 500_000;
/// How likely a cause is that a rule decides.
const BY_RULE: u32 = 950_000;

/// The consequence of what drops belt or load, or burns.
const DROPS_OR_BURNS: u32 = 20;

/// How sure a cause is, in words that the page of findings holds against what came true.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sureness {
    /// Below one in five.
    Possible,
    /// Below a half.
    MayWellBe,
    /// Below nine in ten.
    Likely,
    /// From nine in ten.
    AlmostCertain,
}

impl Sureness {
    /// All of them, the surest first.
    pub const ALL: [Self; 4] = [Self::AlmostCertain, Self::Likely, Self::MayWellBe, Self::Possible];

    /// Of a chance.
    #[must_use]
    pub const fn of(chance: u32) -> Self {
        match chance {
            900_000.. => Self::AlmostCertain,
            500_000.. => Self::Likely,
            200_000.. => Self::MayWellBe,
            _ => Self::Possible,
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::AlmostCertain => "almost certain",
            Self::Likely => "likely",
            Self::MayWellBe => "may well be",
            Self::Possible => "possible",
        }
    }
}

/// One cause of an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Finding {
    /// What it may be.
    pub cause: Cause,
    /// Where, where it has a place.
    pub place: Option<Place>,
    /// How likely it is, in millionths.
    pub chance: u32,
    /// In words.
    pub sureness: Sureness,
}

impl Finding {
    /// What it is worth to look there first: its chance times what is lost while nobody does. What is no more than possible is looked at
    /// by its chance alone, however much hangs on it.
    fn worth(&self) -> u64 {
        let counts = self.sureness > Sureness::Possible;
        u64::from(self.chance) * if counts { u64::from(self.cause.consequence()) } else { 1 }
    }
}

/// What may be wrong.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Answer {
    /// The causes, in the order in which to look.
    pub findings: Vec<Finding>,
    /// Causes among them that the signals do not tell apart.
    pub cannot_tell: Option<Group>,
}

impl Answer {
    /// To a replay's evidence; nothing is answered where nothing was alarmed.
    #[must_use]
    pub fn to(evidence: &Evidence, rubs: &[slackside::diagnose::Rubs; Place::COUNT]) -> Self {
        Self::with(Model::learned(), evidence, rubs)
    }

    /// As [`to`](Self::to), by another model.
    #[must_use]
    pub fn with(model: &Model, evidence: &Evidence, rubs: &[slackside::diagnose::Rubs; Place::COUNT]) -> Self {
        if evidence.is_quiet() {
            return Self::default();
        }
        let chances = chances(model, evidence, Prior::Usual);
        let cannot_tell = cannot_tell(&chances);
        let grip_lost = evidence.get(Clue::RulesFirst) == Some(GRIP_LOST);
        let named = |(cause, chance): &(Cause, u32)| {
            *chance >= NAMED
                || (*cause == Cause::BeltParted && *chance >= PARTED)
                || ran_back(*cause, evidence)
                || (*cause == Cause::LaggingSlick && grip_lost)
                || cannot_tell.is_some_and(|group| group.causes.contains(cause))
        };
        let mut findings: Vec<Finding> = chances
            .into_iter()
            .filter(named)
            .map(|(cause, chance)| Finding { cause, place: place(cause, rubs), chance, sureness: Sureness::of(chance) })
            .collect();
        in_order(&mut findings);
        // Where the belt slips under load with the head at speed, so that physics says lost grip before all else, worn lagging is as a rule
        // behind it (common practice, no source), and seen through the head's door: among the first three, whatever is likelier.
        if let Some(at) = findings.iter().position(|finding| finding.cause == Cause::LaggingSlick)
            && grip_lost
            && at >= FIRST_LOOKS
        {
            let finding = findings.remove(at);
            findings.insert(FIRST_LOOKS - 1, finding);
        }
        findings.truncate(MOST);
        Self { findings, cannot_tell }
    }
}

/// The order in which to look: by worth; but what may drop belt or load, or burns, comes before whatever moves or holds nothing, however
/// unlikely it is.
fn in_order(findings: &mut Vec<Finding>) {
    findings.sort_by_key(|finding| core::cmp::Reverse(finding.worth()));
    let harmless = findings.iter().position(|finding| !finding.cause.is_grave()).unwrap_or(findings.len());
    let (before, mut after): (Vec<Finding>, Vec<Finding>) =
        (findings[..harmless].to_vec(), findings[harmless..].to_vec());
    let drops = |finding: &Finding| finding.cause.consequence() >= DROPS_OR_BURNS;
    *findings = before;
    findings.extend(after.extract_if(.., |finding| drops(finding)));
    findings.extend(after);
}

/// The leg was told to run back: whoever comes near it must think of that, however likely a contact is that never closed.
fn ran_back(cause: Cause, evidence: &Evidence) -> bool {
    cause == Cause::Rollback && evidence.first == Some(Condition::Rollback)
}

/// Every cause with its chance, the likeliest first: the model's, but where a rule decides.
#[must_use]
pub fn chances(model: &Model, evidence: &Evidence, prior: Prior) -> Vec<(Cause, u32)> {
    let told = model.chances(evidence, prior);
    let possible = |cause: Cause| if cannot_be(cause, evidence) { 0 } else { told[cause as usize] };
    let left: u64 = Cause::ALL.into_iter().map(|cause| u64::from(possible(cause))).sum();
    let share = |cause: Cause| {
        let whole = u64::from(possible(cause)) * u64::from(WHOLE);
        (cause, whole.checked_div(left).map_or(0, |chance| chance as u32))
    };
    let mut chances: Vec<(Cause, u32)> = Cause::ALL.map(share).to_vec();
    if round_enough(evidence) {
        part(&mut chances, [Cause::Nothing, Cause::Runout], prior);
    }
    let by_rule = decided(evidence).map(|cause| (cause, BY_RULE));
    if let Some((cause, most)) =
        by_rule.or_else(|| offset_of_lagging(evidence).then_some((Cause::LaggingGone, BY_OFFSET)))
    {
        for (_, chance) in &mut chances {
            *chance = (u64::from(*chance) * u64::from(WHOLE - most) / u64::from(WHOLE)) as u32;
        }
        match chances.iter_mut().find(|(known, _)| *known == cause) {
            Some((_, chance)) => *chance += most,
            None => chances.push((cause, most)),
        }
    }
    chances.sort_by_key(|(_, chance)| core::cmp::Reverse(*chance));
    chances
}

/// Slip that stepped, once and within seconds, by what the head pulley loses with its lagging: build-up grows, wear creeps, and a belt
/// that lets go does not stop at that figure.
fn lagging_stepped_off(evidence: &Evidence) -> bool {
    let (Some(settled), Some(step), Some(share)) =
        (evidence.get(Clue::SlipSettled), evidence.get(Clue::SlipStep), evidence.get(Clue::SettledAgainstLagging))
    else {
        return false;
    };
    let (least, most) = STEPPED;
    settled >= SHIFTED && OF_LAGGING.contains(&share) && (settled / 100 * least..settled / 100 * most).contains(&step)
}

/// Slip that never went away and is just that of a head pulley without its lagging: so the core's rules say before all else. Settings of
/// another leg can look so too; swapped sensors do, and are told by [`swapped`] before.
pub(super) fn offset_of_lagging(evidence: &Evidence) -> bool {
    evidence.get(Clue::RulesFirst) == Some(LAGGING_LOST)
}

/// Slip soon after the start is just what swapped sensors show, the ratio coming in twice, and it falls as load slows the head, or load has
/// not told yet. Belts creep more under load: in a leg whose settings are another's, slip rises with it.
fn swapped(evidence: &Evidence) -> bool {
    evidence.get(Clue::SlipEarly).is_some()
        && evidence.get(Clue::EarlyAgainstSwap).is_some_and(|off| off.abs() <= SWAPPED)
        && evidence.get(Clue::SlipBySpeed).is_none_or(|slope| slope >= AS_SWAPPED)
}

/// What physics rules out: not a matter of points.
fn cannot_be(cause: Cause, evidence: &Evidence) -> bool {
    let about_ratio = matches!(
        evidence.first,
        Some(Condition::RatioShifted | Condition::RatioOrWiring | Condition::SlipNegative | Condition::SlipImpossible)
    );
    let unseen = |targets: Condition, pattern: Clue, long: Clue| {
        let none = |clue: Clue| evidence.get(clue).is_none_or(|answer| answer == 0);
        about_ratio && evidence.raised[targets.rank()] == Raised::No && none(pattern) && none(long)
    };
    let now_and_then = |turns: Clue| evidence.get(turns).is_some_and(|turns| turns <= NOW_AND_THEN);
    let faded = |seen: Clue| evidence.get(seen).is_some_and(|seen| seen <= FADED);
    match cause {
        // A boot without its belt is driven by nothing: it neither outruns the head nor turns on.
        Cause::BeltParted => {
            let beyond = |clue: Clue, most: i32| evidence.get(clue).is_some_and(|answer| answer >= most);
            evidence.get(Clue::SlipAt).is_some_and(|slip| slip <= -OUTRUN)
                || beyond(Clue::FollowAfter, 100 + OUTRUN / 1_000)
                || beyond(Clue::BootAfter, TURNED_ON)
        }
        // What is wrong in the settings, or on the wires, was so when the leg was started.
        Cause::WrongDiameters | Cause::SensorsSwapped => {
            let fitted = evidence.get(Clue::SlipEarly).is_some_and(|early| early.abs() <= FITTED);
            let shifted = |clue: Clue| evidence.get(clue).is_some_and(|shift| shift.abs() >= FITTED);
            fitted && (shifted(Clue::SlipShift) || shifted(Clue::SlipSettled))
        }
        // A target too few shows in the edges: a ratio that has shifted without that is no target. And what is gone is missed in every turn.
        Cause::HeadTargetMissing => {
            unseen(Condition::HeadTargets, Clue::HeadPattern, Clue::HeadLong) || now_and_then(Clue::HeadMissedTurns)
        }
        Cause::BootTargetMissing => {
            unseen(Condition::BootTargets, Clue::BootPattern, Clue::BootLong) || now_and_then(Clue::BootMissedTurns)
        }
        // A contact that is stuck closes once and does not open again, for no moment.
        Cause::ContactStuck => {
            let any = |clue: Clue, most: i32| evidence.get(clue).is_some_and(|answer| answer > most);
            any(Clue::RubCount, 1) || any(Clue::RubOpened, 0)
        }
        // Noise and misses make no target narrower: a gap that grows does.
        Cause::HeadSensorUnsteady => faded(Clue::HeadSeen),
        Cause::BootSensorUnsteady => faded(Clue::BootSeen),
        _ => false,
    }
}

/// The boot's targets seem to lie off their places by no more than they do on a sound leg, and the head drives the belt as evenly as one
/// does: that a pulley runs out and that nothing is wrong look alike then.
fn round_enough(evidence: &Evidence) -> bool {
    let off = evidence.get(Clue::BootPlace).zip(evidence.get(Clue::BootPerTurn));
    evidence.first == Some(Condition::BootTargets)
        && off.is_some_and(|(off, targets)| off < ROUND_ENOUGH.saturating_mul(targets))
        && evidence.get(Clue::BootWithHead).is_none_or(|swing| swing <= SWINGS)
}

/// What two causes have together, parted as often as they come.
fn part(chances: &mut [(Cause, u32)], causes: [Cause; 2], prior: Prior) {
    let of = |cause: Cause| chances.iter().position(|(known, _)| *known == cause);
    let [Some(one), Some(other)] = causes.map(of) else { return };
    let [often, rest] = causes.map(|cause| u64::from(prior.of(cause)));
    let both = chances[one].1 + chances[other].1;
    chances[one].1 = (u64::from(both) * often / (often + rest)) as u32;
    chances[other].1 = both - chances[one].1;
}

/// The belt seems to outrun its head, which no belt can, and the head's edges are short of the boot's by just one target a turn.
pub(super) fn head_target_gone(evidence: &Evidence) -> bool {
    evidence.first == Some(Condition::SlipImpossible)
        && evidence.get(Clue::SlipAt).is_some_and(|slip| slip <= -OUTRUN)
        && evidence.get(Clue::HeadGone).is_some_and(|gone| ONE_GONE.contains(&gone))
}

/// A target was called too few, and in how many of the turns the worst was missed, in per cent.
pub(super) fn turns_missed(evidence: &Evidence) -> Option<i32> {
    let (pattern, turns) = match evidence.first? {
        Condition::HeadTargets => (Clue::HeadPattern, Clue::HeadMissedTurns),
        Condition::BootTargets => (Clue::BootPattern, Clue::BootMissedTurns),
        _ => return None,
    };
    (evidence.get(pattern) == Some(MISSING)).then(|| evidence.get(turns)).flatten()
}

/// A wire is open, and edges go on for longer than a shaft turns on by itself: what is cut tells nothing, or hums.
pub(super) fn hums(evidence: &Evidence) -> Option<Cause> {
    let hums = |line: Clue, after: Clue| {
        evidence.get(line).is_some_and(|line| line > 0) && evidence.get(after).is_some_and(|turned| turned >= TURNED_ON)
    };
    match evidence.first? {
        Condition::BootSensorFault if hums(Clue::BootLine, Clue::BootAfter) => Some(Cause::BootSensorUnsteady),
        Condition::HeadSensorFault if hums(Clue::HeadLine, Clue::HeadAfter) => Some(Cause::HeadSensorUnsteady),
        _ => None,
    }
}

/// What physics decides, or what no drawn run holds.
pub(super) fn decided(evidence: &Evidence) -> Option<Cause> {
    let first = evidence.first?;
    let line = |clue: Clue| evidence.get(clue).is_some_and(|line| line > 0);
    let now_and_then = turns_missed(evidence).is_some_and(|turns| turns <= NOW_AND_THEN);
    let about_boot = matches!(
        first,
        Condition::BootSensorFault | Condition::BeltNotFollowing | Condition::NoMotion | Condition::DeepUnderspeed
    );
    let about_head = matches!(first, Condition::HeadSensorFault | Condition::HeadSilent);
    match first {
        Condition::RubHot => Some(Cause::HotSpot),
        Condition::PermitBypassed => Some(Cause::PermitWiring),
        Condition::EdgesAtRest => Some(Cause::SensorChatter),
        Condition::TimeBaseFault => Some(Cause::TimeBase),
        _ if line(Clue::BootLine) && line(Clue::HeadLine) => Some(Cause::BothSensors),
        _ if line(Clue::BootLine) && about_boot => hums(evidence).or(Some(Cause::BootSensorLost)),
        _ if line(Clue::HeadLine) && about_head => hums(evidence).or(Some(Cause::HeadSensorLost)),
        _ if evidence.get(Clue::BootDistrust).is_some_and(|bits| bits & i32::from(distrust::BRIDGED) != 0) => {
            Some(Cause::WiresBridged)
        }
        // Targets that are missed now and then are there: it is the sensor that misses them.
        Condition::HeadTargets if now_and_then => Some(Cause::HeadSensorUnsteady),
        Condition::BootTargets if now_and_then => Some(Cause::BootSensorUnsteady),
        _ if head_target_gone(evidence) => Some(Cause::HeadTargetMissing),
        _ if swapped(evidence) => Some(Cause::SensorsSwapped),
        _ if lagging_stepped_off(evidence) => Some(Cause::LaggingGone),
        _ => None,
    }
}

/// Which group the answer is, if no cause stands out and a group holds most of the whole.
#[must_use]
pub fn cannot_tell(chances: &[(Cause, u32)]) -> Option<Group> {
    let (likeliest, most) = *chances.first()?;
    let of = |group: &Group| {
        group
            .causes
            .iter()
            .filter_map(|cause| chances.iter().find(|(known, _)| known == cause))
            .map(|(_, c)| *c)
            .sum::<u32>()
    };
    let unsure = |group: &&Group| most < group.unsure && group.causes.contains(&likeliest);
    // Of what cannot be, nothing needs to be told apart.
    let open = |group: &&Group| {
        let possible = |cause: &&Cause| chances.iter().any(|(known, chance)| known == *cause && *chance >= OPEN);
        group.causes.iter().filter(possible).count() > 1
    };
    let group = GROUPS.iter().filter(unsure).filter(open).max_by_key(|group| of(group))?;
    (of(group) >= group.together).then_some(*group)
}

/// Where the contacts say it is.
fn place(cause: Cause, rubs: &[slackside::diagnose::Rubs; Place::COUNT]) -> Option<Place> {
    let locked = |rub: &slackside::diagnose::Rubs| match (cause, rub.lock) {
        (Cause::OnePlace, Lock::Belt { .. }) | (Cause::Runout, Lock::Shaft { .. }) => 1,
        _ => 0,
    };
    if !matches!(cause, Cause::OffCentre | Cause::OnePlace | Cause::Runout | Cause::ContactStuck) {
        return None;
    }
    let rubbed = Place::ALL.into_iter().zip(rubs).filter(|(_, rub)| rub.count > 0);
    rubbed.max_by_key(|(_, rub)| (locked(rub), rub.duty, rub.longest)).map(|(place, _)| place)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A leg whose first alarm was this, with these answers.
    fn evidence(first: Condition, answers: &[(Clue, i32)]) -> Evidence {
        let mut evidence = Evidence::default();
        evidence.first = Some(first);
        evidence.raised[first.rank()] = Raised::With;
        for (clue, answer) in answers {
            evidence.set(*clue, Some(*answer));
        }
        evidence
    }

    fn chance(evidence: &Evidence, cause: Cause) -> u32 {
        let all = chances(Model::learned(), evidence, Prior::Usual);
        all.into_iter().find(|(known, _)| *known == cause).map_or(0, |(_, chance)| chance)
    }

    #[test]
    fn slip_that_steps_by_the_lagging_is_the_lagging() {
        let stepped = [(Clue::SlipSettled, 39_000), (Clue::SettledAgainstLagging, 103), (Clue::SlipStep, 35_000)];
        let at_once = evidence(Condition::RatioShifted, &stepped);
        assert!(chance(&at_once, Cause::LaggingGone) >= BY_RULE);
        // As much, but grown: by the points alone.
        let grown = evidence(Condition::RatioShifted, &[stepped[0], stepped[1], (Clue::SlipStep, 3_000)]);
        assert!(chance(&grown, Cause::LaggingGone) < BY_RULE);
        // At once, but not by the lagging.
        let other = evidence(Condition::RatioShifted, &[stepped[0], (Clue::SettledAgainstLagging, 60), stepped[2]]);
        assert!(chance(&other, Cause::LaggingGone) < BY_RULE);
    }

    #[test]
    fn swapped_sensors_are_told_where_slip_is_just_theirs_and_falls_with_the_load() {
        let leg = |off: i32, slope: Option<i32>| {
            let mut leg =
                evidence(Condition::RatioShifted, &[(Clue::SlipEarly, 36_000), (Clue::EarlyAgainstSwap, off)]);
            leg.set(Clue::SlipBySpeed, slope);
            leg.set(Clue::RulesFirst, Some(LAGGING_LOST));
            chance(&leg, Cause::SensorsSwapped)
        };
        assert!(leg(400, Some(200)) >= BY_RULE && leg(-1_900, None) >= BY_RULE);
        // Not where slip is another leg's, nor where it grows with the load, as belts creep.
        assert!(leg(5_000, Some(200)) < BY_RULE && leg(400, Some(-200)) < BY_RULE);
    }

    #[test]
    fn a_ratio_that_fitted_for_minutes_is_neither_the_settings_nor_a_target() {
        let shift = [(Clue::SlipEarly, 1_000), (Clue::SlipShift, -42_000), (Clue::SlipSettled, -43_000)];
        let late = evidence(Condition::RatioShifted, &shift);
        for cause in [Cause::WrongDiameters, Cause::SensorsSwapped, Cause::HeadTargetMissing, Cause::BootTargetMissing]
        {
            assert_eq!(chance(&late, cause), 0, "{cause:?}");
        }
        // There from the start it may well be the settings, and a target that is called missing may be.
        let mut early = evidence(Condition::RatioShifted, &[(Clue::SlipEarly, -42_000), (Clue::SlipShift, 0)]);
        early.raised[Condition::BootTargets.rank()] = Raised::With;
        assert!(chance(&early, Cause::WrongDiameters) > 0 && chance(&early, Cause::BootTargetMissing) > 0);
    }

    /// With the drive contact's wire cut too, which the points find likelier by far.
    #[test]
    fn a_leg_that_ran_back_is_told_so_before_any_contact() {
        let ran_back = evidence(Condition::Rollback, &[]);
        let answer = Answer::to(&ran_back, &Default::default());
        let at = |cause: Cause| answer.findings.iter().position(|finding| finding.cause == cause);
        let rollback = at(Cause::Rollback).expect("it is on the list");
        assert!(
            Cause::every().filter(|cause| cause.is_of_sensors()).all(|cause| at(cause).is_none_or(|at| at > rollback))
        );
    }

    #[test]
    fn a_belt_that_may_have_parted_comes_before_all_that_holds_nothing_and_after_a_choke_that_is_likely() {
        let found = |cause: Cause, chance: u32| Finding { cause, place: None, chance, sureness: Sureness::of(chance) };
        let order = |found: &[Finding]| {
            let mut found = found.to_vec();
            in_order(&mut found);
            found.iter().map(|finding| finding.cause).collect::<Vec<_>>()
        };
        let [parted, choke, lost] =
            [found(Cause::BeltParted, 60_000), found(Cause::Choke, 550_000), found(Cause::BootSensorLost, 380_000)];
        assert_eq!(order(&[choke, lost, parted]), [Cause::Choke, Cause::BeltParted, Cause::BootSensorLost]);
        assert_eq!(order(&[lost, parted]), [Cause::BeltParted, Cause::BootSensorLost]);
        // Settings that may be wrong move nothing either.
        assert_eq!(order(&[found(Cause::WrongSpeed, 800_000), parted]), [Cause::BeltParted, Cause::WrongSpeed]);
        // From one in five on it goes by consequence.
        assert_eq!(order(&[choke, found(Cause::BeltParted, 250_000)])[0], Cause::BeltParted);
    }

    #[test]
    fn a_wire_that_is_open_is_told_by_the_line_and_all_chances_are_one() {
        let cut = evidence(Condition::BootSensorFault, &[(Clue::BootLine, 1)]);
        assert!(chance(&cut, Cause::BootSensorLost) >= BY_RULE);
        for evidence in
            [cut, evidence(Condition::DeepUnderspeed, &[]), evidence(Condition::RatioShifted, &[(Clue::SlipEarly, 0)])]
        {
            let all: u32 =
                chances(Model::learned(), &evidence, Prior::Usual).into_iter().map(|(_, chance)| chance).sum();
            assert!((WHOLE - 200..=WHOLE).contains(&all), "{all}");
        }
    }

    #[test]
    fn an_open_wire_on_which_edges_go_on_hums() {
        let cut =
            |line: Clue, first: Condition, after: Clue, turned: i32| evidence(first, &[(line, 1), (after, turned)]);
        let boot = |turned: i32| cut(Clue::BootLine, Condition::BootSensorFault, Clue::BootAfter, turned);
        let head = |turned: i32| cut(Clue::HeadLine, Condition::HeadSensorFault, Clue::HeadAfter, turned);
        assert!(
            chance(&boot(0), Cause::BootSensorLost) >= BY_RULE && chance(&head(0), Cause::HeadSensorLost) >= BY_RULE
        );
        for (hums, cause) in [(boot(6_000), Cause::BootSensorUnsteady), (head(6_000), Cause::HeadSensorUnsteady)] {
            assert!(chance(&hums, cause) >= BY_RULE, "{cause:?}");
        }
    }

    #[test]
    fn a_target_missed_now_and_then_is_there_and_one_missed_in_every_turn_may_be_gone() {
        let missed = |turns: i32| {
            evidence(Condition::BootTargets, &[(Clue::BootPattern, MISSING), (Clue::BootMissedTurns, turns)])
        };
        assert!(chance(&missed(12), Cause::BootSensorUnsteady) >= BY_RULE);
        assert_eq!(chance(&missed(12), Cause::BootTargetMissing), 0);
        assert!(chance(&missed(100), Cause::BootSensorUnsteady) < BY_RULE);
        assert!(chance(&missed(100), Cause::BootTargetMissing) > 0);
    }

    #[test]
    fn a_head_that_the_belt_seems_to_outrun_by_just_one_target_lacks_it() {
        let short = |slip: i32, gone: i32| {
            let answers = [(Clue::SlipAt, slip), (Clue::HeadGone, gone)];
            chance(&evidence(Condition::SlipImpossible, &answers), Cause::HeadTargetMissing)
        };
        assert!(short(-1_000_000, 100) >= BY_RULE && short(-330_000, 98) >= BY_RULE);
        // Not by part of a target, and not where the boot does not outrun it.
        assert!(short(-1_000_000, 80) < BY_RULE && short(10_000, 100) < BY_RULE);
    }

    #[test]
    fn a_pulley_as_round_as_sound_ones_are_may_be_one_and_nothing_wrong_comes_first() {
        let swinging = |first: Condition, off: i32, swing: i32| {
            let targets = [(Clue::BootPlace, off), (Clue::BootPerTurn, 4), (Clue::BootPlaceNext, 95)];
            let leg = evidence(first, &[&targets[..], &[(Clue::BootWithHead, swing)]].concat());
            [Cause::Runout, Cause::Nothing].map(|cause| chance(&leg, cause))
        };
        // As often as they come: nothing wrong twice as often.
        let [runout, nothing] = swinging(Condition::BootTargets, 31, 35_000);
        assert!(runout > 0 && nothing.abs_diff(2 * runout) <= 2, "{runout} {nothing}");
        // Nor do they look alike where a head drives the belt less evenly than any sound one, however well the boot's targets lie.
        for (first, off, swing) in [
            (Condition::BootTargets, 32, 35_000),
            (Condition::RubAtOnePlace, 31, 35_000),
            (Condition::BootTargets, 31, 35_001),
        ] {
            let [runout, nothing] = swinging(first, off, swing);
            assert!(nothing.abs_diff(2 * runout) > 2, "{first:?} {off} {swing}");
        }
    }

    #[test]
    fn targets_seen_ever_shorter_are_no_noise() {
        let faded = |seen: i32| {
            chance(&evidence(Condition::DeepUnderspeed, &[(Clue::BootSeen, seen)]), Cause::BootSensorUnsteady)
        };
        assert_eq!(faded(300), 0);
        assert!(faded(990) > 0);
    }

    #[test]
    fn a_belt_that_still_drives_the_boot_has_not_parted() {
        let parted = |clue: Clue, answer: i32| {
            chance(&evidence(Condition::DeepUnderspeed, &[(clue, answer)]), Cause::BeltParted)
        };
        for (clue, parts, drives) in
            [(Clue::SlipAt, 300_000, -30_000), (Clue::FollowAfter, 40, 150), (Clue::BootAfter, 300, 2_000)]
        {
            assert!(parted(clue, parts) > 0 && parted(clue, drives) == 0, "{clue:?}");
        }
    }

    #[test]
    fn a_contact_that_closed_once_is_stuck_or_leaned_on_and_one_that_opened_again_is_leaned_on() {
        let told = |rubs: i32, opened: i32| {
            let answers = [(Clue::RubCount, rubs), (Clue::RubSteady, 99), (Clue::RubOpened, opened)];
            let closed = evidence(Condition::Mistracking, &answers);
            let pair = [(Cause::OffCentre, 480_000), (Cause::ContactStuck, 450_000)];
            let left =
                pair.into_iter().map(|(cause, chance)| (cause, if cannot_be(cause, &closed) { 0 } else { chance }));
            cannot_tell(&left.collect::<Vec<_>>())
        };
        assert!(told(1, 0).is_some_and(|group| group.causes == [Cause::ContactStuck, Cause::OffCentre]));
        assert_eq!(told(4, 3), None);
        // One rub, from which buckets lifted the belt off for moments.
        assert_eq!(told(1, 12), None);
    }
}
