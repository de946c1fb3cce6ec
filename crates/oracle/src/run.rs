//! One leg into both cores.

use slackside_landed::input::Input;
use slackside_landed::settings::Checked;
use slackside_landed::units::Micros;
use slackside_landed::verdict::Verdict;

use crate::compare::{Outcome, Shifts, Tolerance, compare};
use crate::cores::{Anew, Core, Landed};
use crate::legs::{Frame, Leg, leg};
use crate::random::Random;

/// Who looks between the inputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ticks {
    /// Nobody.
    None,
    /// Whoever runs the box, at each deadline that its core names: one named late shows.
    Deadlines,
    /// Somebody, at any time.
    Any,
}

/// More deadlines than this between two inputs: looking does not settle them.
const MOST_DEADLINES: usize = 1_000_000;

/// All verdicts of a core.
///
/// # Errors
/// If looking at its deadline does not settle it, or if it gives a verdict before the deadline it named.
pub fn verdicts(
    core: &mut impl Core,
    inputs: &[Input],
    power_cuts: &[usize],
    ticks: Ticks,
    random: &mut Random,
) -> Result<Vec<Verdict>, String> {
    let mut all = Vec::new();
    let mut newest = Micros::ZERO;
    let mut began = false;
    let mut cuts = power_cuts.iter().peekable();
    for (index, input) in inputs.iter().enumerate() {
        while cuts.next_if(|cut| **cut <= index).is_some() {
            core.power_cycle();
            began = false;
        }
        match ticks {
            Ticks::Deadlines if began => {
                let mut settled = 0;
                while let Some(due) = core.next_deadline().filter(|due| *due <= input.at) {
                    settled += 1;
                    if settled > MOST_DEADLINES {
                        return Err(format!("looking at {} µs does not settle what is due then", due.get()));
                    }
                    let before = all.len();
                    core.settle(due, &mut all);
                    newest = newest.max(due);
                    if let Some(early) = all[before..].iter().find(|verdict| verdict.at != due) {
                        return Err(format!("due at {} µs by its own word: {early:?}", due.get()));
                    }
                }
            }
            Ticks::Any if began && random.chance(0.1) && input.at > newest => {
                let gap = input.at.get() - newest.get();
                core.settle(Micros::new(newest.get() + random.next_u64() % (gap + 1)), &mut all);
            }
            _ => {}
        }
        core.feed(input, &mut all);
        newest = newest.max(input.at);
        began = true;
    }
    Ok(all)
}

/// The new core against the landed one on these inputs.
#[must_use]
pub fn both(
    settings: &Checked,
    inputs: &[Input],
    power_cuts: &[usize],
    ticks: Ticks,
    seed: u64,
    within: Tolerance,
) -> (Outcome, Shifts) {
    let expected = verdicts(&mut Landed::new(settings), inputs, power_cuts, Ticks::None, &mut Random(seed));
    let found =
        Anew::new(settings).and_then(|mut anew| verdicts(&mut anew, inputs, power_cuts, ticks, &mut Random(seed)));
    match (expected, found) {
        (Ok(expected), Ok(found)) => compare(&expected, &found, within),
        (Err(why), _) => (Outcome::Differ(format!("the landed core: {why}")), Shifts::default()),
        (_, Err(why)) => (Outcome::Differ(why), Shifts::default()),
    }
}

/// The leg of a seed through both.
#[must_use]
pub fn one(seed: u64, frame: Frame, within: Tolerance) -> (Leg, Outcome, Shifts) {
    let leg = leg(seed, frame);
    let ticks = [Ticks::None, Ticks::Deadlines, Ticks::Any][(seed % 3) as usize];
    let (outcome, shifts) = both(&leg.make.settings, &leg.inputs, &leg.power_cuts, ticks, seed, within);
    (leg, outcome, shifts)
}

/// What many legs came to.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Legs tried.
    pub legs: usize,
    /// Inputs fed.
    pub inputs: usize,
    /// The largest shifts.
    pub shifts: Shifts,
    /// Legs on which a verdict that may be moved was moved past one that it decides on.
    pub overtaken: Vec<(u64, String)>,
    /// Legs that differ: seed and first difference.
    pub differ: Vec<(u64, String)>,
}

impl Tally {
    /// Add a leg.
    pub fn add(&mut self, seed: u64, inputs: usize, outcome: Outcome, shifts: &Shifts) {
        self.legs += 1;
        self.inputs += inputs;
        self.shifts.take(shifts);
        match outcome {
            Outcome::Alike => {}
            Outcome::Overtaken(why) => self.overtaken.push((seed, why)),
            Outcome::Differ(why) => self.differ.push((seed, why)),
        }
    }

    /// Two tallies in one.
    #[must_use]
    pub fn and(mut self, other: Self) -> Self {
        self.legs += other.legs;
        self.inputs += other.inputs;
        self.shifts.take(&other.shifts);
        self.overtaken.extend(other.overtaken);
        self.differ.extend(other.differ);
        self.differ.sort();
        self
    }

    /// In a few lines.
    #[must_use]
    pub fn summary(&self) -> String {
        let Shifts { verdicts, tight_us, slow_us, heat_early_us, value, heat_value, duty_value } = self.shifts;
        format!(
            "{} legs, {} inputs, {verdicts} verdicts: {} differ, {} overtaken\n\
             largest shifts: any {tight_us} µs, slow {slow_us} µs, heat early {heat_early_us} µs; values {value}, heat {heat_value}, duty {duty_value} ppm",
            self.legs,
            self.inputs,
            self.differ.len(),
            self.overtaken.len(),
        )
    }
}

/// The legs of these seeds, on every processor.
#[must_use]
pub fn many(seeds: std::ops::Range<u64>, frame: Frame, within: Tolerance) -> Tally {
    let next = std::sync::atomic::AtomicU64::new(seeds.start);
    let work = || {
        let mut tally = Tally::default();
        loop {
            let seed = next.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            if seed >= seeds.end {
                return tally;
            }
            let (leg, outcome, shifts) = one(seed, frame, within);
            tally.add(seed, leg.inputs.len(), outcome, &shifts);
        }
    };
    std::thread::scope(|scope| {
        let count = std::thread::available_parallelism().map_or(1, usize::from);
        let workers: Vec<_> = (0..count).map(|_| scope.spawn(work)).collect();
        workers.into_iter().map(|worker| worker.join().expect("a leg panicked")).fold(Tally::default(), Tally::and)
    })
}
