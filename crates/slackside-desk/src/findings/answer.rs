//! The answer: which causes to name, in which order to look, how sure each is, and when to say that signals cannot tell.

use slackside::conditions::Condition;
use slackside::diagnose::Lock;
use slackside::input::Place;
use slackside::signals::distrust;

use super::cause::Cause;
use super::evidence::{Clue, Evidence, Raised};
use super::model::{Model, WHOLE};

/// Causes that no signal tells apart, and the one look that does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Group {
    /// At most three.
    pub causes: &'static [Cause],
    /// What parts them.
    pub look: &'static str,
}

/// What signals often cannot tell.
pub const GROUPS: [Group; 8] = [
    Group {
        causes: &[Cause::LaggingGone, Cause::BootBuildup, Cause::WrongDiameters],
        look: "Lock out, look at the head pulley through its door, then measure both pulleys: which differs from the settings?",
    },
    Group {
        causes: &[Cause::LaggingSlick, Cause::TakeUp, Cause::HeadPulleyLoose],
        look: "Lock out, look at the take-up's travel, then chalk a line from hub to shaft at the head: does it part at the next start?",
    },
    Group {
        causes: &[Cause::Choke, Cause::Overload, Cause::BeltCaught],
        look: "Lock out, tag out, prove it dead; then look into the boot: full, or is the belt held above it? Never jog it free.",
    },
    Group {
        causes: &[Cause::BootSensorLost, Cause::BootPulleyLoose, Cause::BootHeld],
        look: "Lock out, then turn the boot shaft by hand: does it turn freely, does the pulley turn with it, does the box count its targets?",
    },
    Group {
        causes: &[Cause::ContactStuck, Cause::OffCentre],
        look: "Lock out, then see whether the belt leans on the contact that is closed.",
    },
    Group {
        causes: &[Cause::BootTargetLoose, Cause::BootTargetMissing, Cause::BootSensorUnsteady],
        look: "Lock out, then take hold of each target on the boot shaft by hand: all there, none loose, each as near to the sensor?",
    },
    Group {
        causes: &[Cause::HeadTargetLoose, Cause::HeadTargetMissing, Cause::HeadSensorUnsteady],
        look: "Lock out, then take hold of each target on the head shaft by hand: all there, none loose, each as near to the sensor?",
    },
    Group {
        causes: &[Cause::HeadBuildup, Cause::WrongDiameters, Cause::SensorsSwapped],
        look: "Lock out, then see which sensor answers which input; then measure both pulleys over what is caked on them.",
    },
];

/// Below this chance of the likeliest cause a group is answered, if one holds enough of the whole.
const UNSURE: u32 = 500_000;
/// What a group must hold together.
const TOGETHER: u32 = 700_000;
/// Causes below this are not named.
const NAMED: u32 = 60_000;
/// A parted belt is named from here on: what is seldom but grave.
const PARTED: u32 = 10_000;
/// The most causes named.
const MOST: usize = 5;
/// Slip after the start of a leg whose settings fit, and the least by which it must have shifted since to speak against them, in ppm.
const FITTED: i32 = 10_000;
/// The least shift of slip that is looked at as lost lagging, in ppm: belts creep up to 2 %, 1 % of it with the load.
const SHIFTED: i32 = 8_000;
/// Of what lost lagging would show, in per cent: creep comes on top.
const OF_LAGGING: core::ops::RangeInclusive<i32> = 90..=130;
/// Of the shift, in per cent, what must have come in one step of three seconds.
const STEPPED: (i32, i32) = (60, 150);
/// How likely a cause is that a rule decides.
const BY_RULE: u32 = 950_000;

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
        let chances = chances(model, evidence);
        let cannot_tell = cannot_tell(&chances);
        let named = |(cause, chance): &(Cause, u32)| {
            *chance >= NAMED
                || (*cause == Cause::BeltParted && *chance >= PARTED)
                || cannot_tell.is_some_and(|group| group.causes.contains(cause))
        };
        let mut findings: Vec<Finding> = chances
            .into_iter()
            .filter(named)
            .map(|(cause, chance)| Finding { cause, place: place(cause, rubs), chance, sureness: Sureness::of(chance) })
            .collect();
        // By what is lost while nobody looks there: its chance times its consequence.
        findings.sort_by_key(|finding| {
            core::cmp::Reverse(u64::from(finding.chance) * u64::from(finding.cause.consequence()))
        });
        findings.truncate(MOST);
        // A belt that may have parted comes before any sensor.
        let parted = findings.iter().position(|finding| finding.cause == Cause::BeltParted);
        let sensor = findings.iter().position(|finding| finding.cause.is_of_sensors());
        if let (Some(parted), Some(sensor)) = (parted, sensor)
            && sensor < parted
        {
            let finding = findings.remove(parted);
            findings.insert(sensor, finding);
        }
        Self { findings, cannot_tell }
    }
}

/// Every cause with its chance, the likeliest first: the model's, but where a rule decides.
#[must_use]
pub fn chances(model: &Model, evidence: &Evidence) -> Vec<(Cause, u32)> {
    let told = model.chances(evidence);
    let possible = |cause: Cause| if cannot_be(cause, evidence) { 0 } else { told[cause as usize] };
    let left: u64 = Cause::ALL.into_iter().map(|cause| u64::from(possible(cause))).sum();
    let share = |cause: Cause| {
        let whole = u64::from(possible(cause)) * u64::from(WHOLE);
        (cause, whole.checked_div(left).map_or(0, |chance| chance as u32))
    };
    let mut chances: Vec<(Cause, u32)> = Cause::ALL.map(share).to_vec();
    if let Some(cause) = decided(evidence) {
        for (_, chance) in &mut chances {
            *chance = (u64::from(*chance) * u64::from(WHOLE - BY_RULE) / u64::from(WHOLE)) as u32;
        }
        match chances.iter_mut().find(|(known, _)| *known == cause) {
            Some((_, chance)) => *chance += BY_RULE,
            None => chances.push((cause, BY_RULE)),
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

/// What physics rules out: not a matter of points.
fn cannot_be(cause: Cause, evidence: &Evidence) -> bool {
    let of_targets = |targets: Condition, pattern: Clue, long: Clue| {
        let raised = evidence.raised[targets.rank()] != Raised::No;
        !raised
            && evidence.get(pattern).is_none_or(|pattern| pattern == 0)
            && evidence.get(long).is_none_or(|long| long == 0)
    };
    match cause {
        // What is wrong in the settings, or on the wires, was so when the leg was started.
        Cause::WrongDiameters | Cause::SensorsSwapped => {
            let fitted = evidence.get(Clue::SlipEarly).is_some_and(|early| early.abs() <= FITTED);
            fitted && evidence.get(Clue::SlipShift).is_some_and(|shift| shift.abs() >= FITTED)
        }
        // A target too few shows in the edges.
        Cause::HeadTargetMissing => of_targets(Condition::HeadTargets, Clue::HeadPattern, Clue::HeadLong),
        Cause::BootTargetMissing => of_targets(Condition::BootTargets, Clue::BootPattern, Clue::BootLong),
        _ => false,
    }
}

/// What physics decides, or what no drawn run holds.
fn decided(evidence: &Evidence) -> Option<Cause> {
    let first = evidence.first?;
    let line = |clue: Clue| evidence.get(clue).is_some_and(|line| line > 0);
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
        _ if line(Clue::BootLine) && about_boot => Some(Cause::BootSensorLost),
        _ if line(Clue::HeadLine) && about_head => Some(Cause::HeadSensorLost),
        _ if evidence.get(Clue::BootDistrust).is_some_and(|bits| bits & i32::from(distrust::BRIDGED) != 0) => {
            Some(Cause::WiresBridged)
        }
        _ if lagging_stepped_off(evidence) => Some(Cause::LaggingGone),
        _ => None,
    }
}

/// Which group the answer is, if no cause stands out and a group holds most of the whole.
#[must_use]
pub fn cannot_tell(chances: &[(Cause, u32)]) -> Option<Group> {
    let (likeliest, most) = *chances.first()?;
    if most >= UNSURE {
        return None;
    }
    let of = |group: &Group| {
        group
            .causes
            .iter()
            .filter_map(|cause| chances.iter().find(|(known, _)| known == cause))
            .map(|(_, c)| *c)
            .sum::<u32>()
    };
    let group = GROUPS.iter().filter(|group| group.causes.contains(&likeliest)).max_by_key(|group| of(group))?;
    (of(group) >= TOGETHER).then_some(*group)
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
