//! How well the findings do on runs they were not learned from.

use slackside::conditions::Condition;
use slackside::diagnose::Rubs;
use slackside::input::Place;

use super::super::answer::{
    Answer, NOW_AND_THEN, Sureness, cannot_tell, chances, decided, head_target_gone, hums, offset_of_lagging,
    turns_missed,
};
use super::super::cause::Cause;
use super::super::evidence::{Clue, Raised};
use super::super::model::{Model, Prior, WHOLE};
use super::super::track::Track;
use super::row::Row;
use super::rules;

/// How often something came true.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Share {
    /// So often it did.
    pub right: u32,
    /// Of so many.
    pub of: u32,
}

impl Share {
    /// Count one more.
    pub fn count(&mut self, right: bool) {
        self.right += u32::from(right);
        self.of += 1;
    }

    /// In per cent.
    #[must_use]
    pub fn per_cent(self) -> f64 {
        100.0 * f64::from(self.right) / f64::from(self.of.max(1))
    }

    /// Standard error of [`per_cent`](Self::per_cent), in points.
    #[must_use]
    pub fn error(self) -> f64 {
        let likely = self.per_cent() / 100.0;
        100.0 * (likely * (1.0 - likely) / f64::from(self.of.max(1))).sqrt()
    }
}

/// The same with causes as often as they come: each run weighs as much as its cause is frequent.
#[derive(Clone, Copy, Debug, Default)]
pub struct Weighed {
    /// The weight of those that came true.
    pub right: f64,
    /// The weight of all.
    pub of: f64,
    /// How many they are.
    pub count: u32,
    /// Sums of squared weights: of those that came true, of the others.
    pub squares: [f64; 2],
}

impl Weighed {
    fn count(&mut self, weight: f64, right: bool) {
        self.right += if right { weight } else { 0.0 };
        self.of += weight;
        self.count += 1;
        self.squares[usize::from(!right)] += weight * weight;
    }

    /// Standard error of [`per_cent`](Self::per_cent), in points: of a weighed mean of what is right or not, each weight squared times the
    /// square of how far it is off.
    #[must_use]
    pub fn error(self) -> f64 {
        let likely = self.right / self.of.max(f64::MIN_POSITIVE);
        let [right, wrong] = self.squares;
        let off = right * (1.0 - likely) * (1.0 - likely) + wrong * likely * likely;
        100.0 * off.sqrt() / self.of.max(f64::MIN_POSITIVE)
    }

    /// In per cent.
    #[must_use]
    pub fn per_cent(self) -> f64 {
        100.0 * self.right / self.of.max(f64::MIN_POSITIVE)
    }
}

/// How one set of runs came out.
#[derive(Clone, Debug, Default)]
pub struct Measured {
    /// Runs with an alarm or a stop.
    pub runs: u32,
    /// Runs without.
    pub quiet: u32,
    /// The likeliest cause is right, all causes equally likely beforehand.
    pub first: Share,
    /// One of the two likeliest is.
    pub second: Share,
    /// The same two as the report says it, which weighs causes as often as they come.
    pub reported: [Share; 2],
    /// The likeliest is right, or a cause that the rules would call by the same name.
    pub alike: Share,
    /// The likeliest is right, one of two, one that the rules would call by its name, the rules: causes as often as they come.
    pub common: [Weighed; 4],
    /// The likeliest is right, one of two: causes as often as they come and are then alarmed.
    pub alarmed: [Weighed; 2],
    /// The cause of which one run weighs most where causes are as often as they come, and how many points.
    pub heaviest: Option<(Cause, f64)>,
    /// The likeliest is right, or the answer is a group that holds what is.
    pub grouped: Share,
    /// Answers that are groups.
    pub groups: Share,
    /// The likeliest is right, or the answer is a group that holds what is: causes as often as they come.
    pub common_grouped: Weighed,
    /// What the report has first to look at is right, or stands in the group it gives.
    pub looked: Share,
    /// By the core's rules: first, and among two.
    pub rules: [Share; 2],
    /// Brier's score of all causes, all equally likely beforehand: 0 for a seer, 2 for one who is sure and wrong.
    pub brier_even: f64,
    /// Brier's score of all causes, causes as often as they come: 0 for a seer, 2 for one who is sure and wrong.
    pub brier: f64,
    /// Chances of the likeliest in tenths, causes as often as they come: how often right, and the sum of what was told by weight.
    pub tenths: [(Weighed, f64); 10],
    /// Each word of sureness, as the report says it of any cause, causes as often as they come: how often it came true.
    pub words: [Weighed; 4],
    /// For each cause: how often it was, how often it was named first, among two, by the rules; and what it was taken for.
    pub causes: Vec<OfCause>,
    /// Parted belts that are on the list, and that stand before every sensor.
    pub parted: [Share; 2],
}

/// How often rules that were written with runs in sight are right of the runs to learn from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Ruled {
    /// Called swapped sensors, and they were.
    pub swapped: Share,
    /// A shift of the lagging's size from the start on, and it was the lagging.
    pub offset: Share,
    /// Too few targets, where one was missed in most turns, and one was gone.
    pub gone: Share,
    /// The same where none was missed in so many.
    pub there: Share,
    /// The belt seemed to outrun a head whose edges were short by one target, and it was gone.
    pub outrun: Share,
    /// Edges went on over an open wire, and the sensor was called unsteady rightly.
    pub hums: Share,
}

impl Ruled {
    /// Of runs.
    #[must_use]
    pub fn of(all: &[Row]) -> Self {
        let mut ruled = Self::default();
        for row in all {
            let is = |cause: Cause| row.cause == cause || row.also == Some(cause);
            let by_rule = decided(&row.evidence);
            if by_rule == Some(Cause::SensorsSwapped) {
                ruled.swapped.count(is(Cause::SensorsSwapped));
            }
            if by_rule.is_none() && offset_of_lagging(&row.evidence) {
                ruled.offset.count(is(Cause::LaggingGone));
            }
            if head_target_gone(&row.evidence) {
                ruled.outrun.count(is(Cause::HeadTargetMissing));
            }
            if let Some(cause) = hums(&row.evidence) {
                ruled.hums.count(is(cause));
            }
            if let Some(turns) = turns_missed(&row.evidence) {
                let share = if turns > NOW_AND_THEN { &mut ruled.gone } else { &mut ruled.there };
                share.count(is(Cause::HeadTargetMissing) || is(Cause::BootTargetMissing));
            }
        }
        ruled
    }
}

/// The boot was full before the first start: a choke by the name of earlier pages.
#[must_use]
pub fn full_before(row: &Row) -> bool {
    row.cause == Cause::FrozenStart && row.means == "boot_choke"
}

/// Of the runs in which a belt off centre was alarmed: for each thing that was out of true, how often each is looked at first.
#[must_use]
pub fn tracks(rows: &[Row]) -> [[u32; 3]; 3] {
    let off_centre = |row: &&Row| row.cause == Cause::OffCentre && row.evidence.first.is_some();
    Track::ALL.map(|is| {
        let of_it = || rows.iter().filter(off_centre).filter(|row| row.means == is.means());
        Track::ALL.map(|told| of_it().filter(|row| Track::of(&row.evidence) == Some(told)).count() as u32)
    })
}

/// How one cause came out.
#[derive(Clone, Debug)]
pub struct OfCause {
    /// Which.
    pub cause: Cause,
    /// Named first.
    pub first: Share,
    /// Named among two.
    pub second: Share,
    /// Named first by itself, or by one that the rules would call by its name.
    pub alike: Share,
    /// Named first by the core's rules.
    pub rules: Share,
    /// Runs in which nothing was alarmed.
    pub quiet: u32,
    /// What it was taken for, the most frequent first.
    pub taken_for: Vec<(Cause, u32)>,
}

/// What is taken away before it is measured, as if it were not fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Without {
    /// Nothing.
    Nothing,
    /// No power meter.
    Power,
    /// No rub contacts and no temperatures.
    Contacts,
    /// Neither.
    Both,
}

impl Without {
    fn take(self, row: &mut Row) {
        let (power, contacts) = match self {
            Self::Nothing => (false, false),
            Self::Power => (true, false),
            Self::Contacts => (false, true),
            Self::Both => (true, true),
        };
        for clue in Clue::ALL {
            let name = clue.entry().name;
            let of_contacts = name.starts_with("rub_") || name.starts_with("contact_") || name.starts_with("hottest");
            if power && name.starts_with("power") || contacts && of_contacts {
                row.evidence.set(clue, None);
            }
        }
        if contacts {
            for condition in OF_CONTACTS {
                row.evidence.raised[condition.rank()] = Raised::No;
            }
        }
    }
}

/// Conditions that only a rub contact raises.
const OF_CONTACTS: [Condition; 5] = [
    Condition::Mistracking,
    Condition::MistrackingDuty,
    Condition::MistrackingSustained,
    Condition::RubAtOnePlace,
    Condition::ContactFault,
];

/// Measure runs.
#[must_use]
pub fn measure(model: &Model, all: &[Row], without: Without) -> Measured {
    let mut measured = Measured::default();
    let mut causes: Vec<OfCause> = Cause::ALL
        .into_iter()
        .map(|cause| OfCause {
            cause,
            first: Share::default(),
            second: Share::default(),
            alike: Share::default(),
            rules: Share::default(),
            quiet: 0,
            taken_for: Vec::new(),
        })
        .collect();
    let told = |row: &&Row| {
        row.evidence.first.is_some_and(|first| without == Without::Nothing || !OF_CONTACTS.contains(&first))
    };
    let (mut alarmed, mut drawn) = ([0_u32; Cause::ALL.len()], [0_u32; Cause::ALL.len()]);
    for row in all {
        drawn[row.cause as usize] += 1;
        alarmed[row.cause as usize] += u32::from(told(&row));
    }
    // So much that a run weighs 1 on the mean.
    let often = |cause: &Cause| if alarmed[*cause as usize] > 0 { f64::from(cause.often()) } else { 0.0 };
    let runs: u32 = alarmed.iter().sum();
    let all_often = Cause::ALL.iter().map(often).sum::<f64>().max(1.0);
    let share = f64::from(runs) / all_often;
    let points = |cause: Cause| 100.0 * often(&cause) / all_often / f64::from(alarmed[cause as usize].max(1));
    measured.heaviest =
        Cause::ALL.into_iter().map(|cause| (cause, points(cause))).max_by(|(_, one), (_, other)| one.total_cmp(other));
    for row in all {
        let of = &mut causes[row.cause as usize];
        if row.evidence.first.is_none() {
            measured.quiet += 1;
            of.quiet += 1;
            continue;
        }
        if !told(&row) {
            continue;
        }
        let weight = share * often(&row.cause) / f64::from(alarmed[row.cause as usize].max(1));
        let of_drawn = often(&row.cause) / f64::from(drawn[row.cause as usize].max(1));
        let mut row = row.clone();
        without.take(&mut row);
        measured.take(model, &row, [weight, of_drawn], of);
    }
    measured.brier /= f64::from(measured.runs.max(1));
    measured.brier_even /= f64::from(measured.runs.max(1));
    for of in &mut causes {
        of.taken_for.sort_by_key(|(cause, times)| (core::cmp::Reverse(*times), *cause));
    }
    measured.causes = causes;
    measured
}

/// Brier's score of one answer; what else would be right to name counts as right where it is likeliest.
fn brier(told: &[(Cause, u32)], is: Cause, first: bool) -> f64 {
    let likeliest = told.first().map(|(cause, _)| *cause).filter(|_| first);
    let off = |(cause, chance): &(Cause, u32)| {
        let right = likeliest.unwrap_or(is) == *cause;
        let off = part(*chance) - f64::from(u8::from(right));
        off * off
    };
    told.iter().map(off).sum()
}

fn part(chance: u32) -> f64 {
    f64::from(chance) / f64::from(WHOLE)
}

impl Measured {
    fn take(&mut self, model: &Model, row: &Row, [weight, of_drawn]: [f64; 2], of: &mut OfCause) {
        let truth: Vec<Cause> = core::iter::once(row.cause).chain(row.also).collect();
        let even = chances(model, &row.evidence, Prior::Even);
        let right =
            |told: &[(Cause, u32)], among: usize| told.iter().take(among).any(|(cause, _)| truth.contains(cause));
        self.first.count(right(&even, 1));
        self.second.count(right(&even, 2));
        self.brier_even += brier(&even, row.cause, truth.contains(&even[0].0));
        let told = chances(model, &row.evidence, Prior::Usual);
        let (likeliest, most) = told[0];
        let (first, second) = (right(&told, 1), right(&told, 2));
        for (share, right) in self.reported.iter_mut().zip([first, second]) {
            share.count(right);
        }
        let group = cannot_tell(&told);
        let in_group = group.is_some_and(|group| group.causes.iter().any(|cause| truth.contains(cause)));
        self.runs += 1;
        let alike = truth.iter().any(|cause| rules::alike(*cause, likeliest));
        let by_rules = rules::right(&row.rules, &truth, 1);
        self.alike.count(alike);
        for (share, right) in self.common.iter_mut().zip([first, second, alike, by_rules]) {
            share.count(weight, right);
        }
        for (share, right) in self.alarmed.iter_mut().zip([first, second]) {
            share.count(of_drawn, right);
        }
        self.grouped.count(first || in_group);
        self.common_grouped.count(weight, first || in_group);
        self.groups.count(group.is_some());
        for (share, among) in self.rules.iter_mut().zip([1, 2]) {
            share.count(rules::right(&row.rules, &truth, among));
        }
        let part = |chance: u32| f64::from(chance) / f64::from(WHOLE);
        self.brier += brier(&told, row.cause, first) * weight;
        let tenth = &mut self.tenths[((most / 100_000) as usize).min(9)];
        tenth.0.count(weight, first);
        tenth.1 += weight * part(most);

        let answer = Answer::with(model, &row.evidence, &[Rubs::default(); Place::COUNT]);
        for finding in &answer.findings {
            let word = Sureness::ALL.iter().position(|word| *word == finding.sureness).unwrap_or(0);
            self.words[word].count(weight, truth.contains(&finding.cause));
        }
        let top = answer.findings.first().is_some_and(|finding| truth.contains(&finding.cause));
        self.looked.count(top || in_group);
        if row.cause == Cause::BeltParted {
            let place = answer.findings.iter().position(|finding| finding.cause == Cause::BeltParted);
            self.parted[0].count(place.is_some());
            let sensor = answer.findings.iter().position(|finding| finding.cause.is_of_sensors());
            self.parted[1].count(place.is_some_and(|place| sensor.is_none_or(|sensor| place < sensor)));
        }

        of.first.count(first);
        of.second.count(second);
        of.alike.count(alike);
        of.rules.count(by_rules);
        if !first {
            match of.taken_for.iter_mut().find(|(cause, _)| *cause == likeliest) {
                Some((_, times)) => *times += 1,
                None => of.taken_for.push((likeliest, 1)),
            }
        }
    }
}

/// Healthy hours, and how often something was said to be wrong in them.
#[derive(Clone, Copy, Debug, Default)]
pub struct Healthy {
    /// Hours with the motor on.
    pub hours: f64,
    /// Records with an alarm or a stop.
    pub alarmed: u32,
    /// Of them those whose likeliest cause is that something is wrong with the machine.
    pub machine: u32,
    /// Of them those whose likeliest cause is that something is wrong with what measures.
    pub sensors: u32,
}

/// Count what is named in `hours` healthy ones; `all`: at least those shifts of them in which something was alarmed.
#[must_use]
pub fn healthy(model: &Model, all: &[Row], hours: f64) -> Healthy {
    let mut healthy = Healthy { hours, ..Healthy::default() };
    for row in all {
        if row.evidence.first.is_none() || row.cause != Cause::Nothing {
            continue;
        }
        healthy.alarmed += 1;
        let (likeliest, _) = chances(model, &row.evidence, Prior::Usual)[0];
        if likeliest.is_of_sensors() {
            healthy.sensors += 1;
        } else if likeliest != Cause::Nothing {
            healthy.machine += 1;
        }
    }
    healthy
}

#[cfg(test)]
mod tests {
    use super::super::super::evidence::Evidence;
    use super::*;

    fn row(cause: Cause, first: Condition, answers: &[(Clue, i32)]) -> Row {
        let mut evidence = Evidence::default();
        evidence.first = Some(first);
        for (clue, answer) in answers {
            evidence.set(*clue, Some(*answer));
        }
        Row { index: 0, cause, also: None, means: String::new(), hours: 1.0, evidence, rules: String::new() }
    }

    #[test]
    fn one_run_of_a_cause_that_is_seldom_alarmed_weighs_as_much_as_many_of_another() {
        let of = |cause: Cause| row(cause, Condition::DeepUnderspeed, &[]);
        let all: Vec<Row> = core::iter::once(of(Cause::Nothing)).chain((0..10).map(|_| of(Cause::BootHeld))).collect();
        let measured = measure(&Model::default(), &all, Without::Nothing);
        // 6 to 4: six tenths of the whole for one run.
        assert!(
            measured.heaviest.is_some_and(|(cause, points)| cause == Cause::Nothing && (points - 60.0).abs() < 1e-9)
        );
        // Nothing is right: no scatter to tell of.
        assert_eq!((measured.common[0].per_cent(), measured.common[0].error()), (0.0, 0.0));
        let half = measure(&Model::default(), &[of(Cause::Choke), of(Cause::BootPulleyLoose)], Without::Nothing);
        // Choke is always named: right with ten elevenths of the weight; sqrt((10/11)^2 (1/11)^2 + (1/11)^2 (10/11)^2).
        let error = half.common[0].error();
        assert!((error - 100.0 * libm::sqrt(200.0) / 121.0).abs() < 1e-9, "{error}");
        // One of two alike: 50 points over the root of two.
        assert!((half.reported[0].error() - 50.0 / libm::sqrt(2.0)).abs() < 1e-9, "{:?}", half.reported);
    }

    #[test]
    fn a_cause_that_is_seldom_alarmed_stands_behind_few_of_the_alarms() {
        let of = |cause: Cause| row(cause, Condition::DeepUnderspeed, &[]);
        let quiet = |cause: Cause| {
            let mut row = of(cause);
            row.evidence.first = None;
            row
        };
        // Choke, which is always named, comes ten times as often as a loose boot pulley; but of five chokes one is alarmed.
        let seldom: Vec<Row> = [of(Cause::Choke), of(Cause::BootPulleyLoose)]
            .into_iter()
            .chain((0..4).map(|_| quiet(Cause::Choke)))
            .collect();
        let measured = measure(&Model::default(), &seldom, Without::Nothing);
        assert!((measured.common[0].per_cent() - 1_000.0 / 11.0).abs() < 1e-9, "{:?}", measured.common);
        assert!((measured.alarmed[0].per_cent() - 200.0 / 3.0).abs() < 1e-9, "{:?}", measured.alarmed);
    }

    #[test]
    fn rules_are_counted_where_they_spoke_and_right_where_it_was_so() {
        let too_few = |turns: i32| [(Clue::HeadPattern, 1), (Clue::HeadMissedTurns, turns)];
        let as_swapped = [(Clue::SlipEarly, 36_000), (Clue::EarlyAgainstSwap, 400)];
        let ruled = Ruled::of(&[
            row(Cause::HeadTargetMissing, Condition::HeadTargets, &too_few(100)),
            row(Cause::HeadSensorUnsteady, Condition::HeadTargets, &too_few(61)),
            row(Cause::HeadSensorUnsteady, Condition::HeadTargets, &too_few(60)),
            // Another alarm, and a pattern that is whole.
            row(Cause::HeadTargetMissing, Condition::BootTargets, &too_few(100)),
            row(Cause::HeadTargetMissing, Condition::HeadTargets, &[(Clue::HeadPattern, 0)]),
            row(Cause::SensorsSwapped, Condition::RatioShifted, &as_swapped),
            row(Cause::WrongDiameters, Condition::RatioShifted, &as_swapped),
        ]);
        assert_eq!(ruled.gone, Share { right: 1, of: 2 });
        assert_eq!(ruled.there, Share { right: 0, of: 1 });
        assert_eq!(ruled.swapped, Share { right: 1, of: 2 });
        assert_eq!(ruled.offset, Share::default());
    }
}
