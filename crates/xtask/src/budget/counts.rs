//! Instructions for each kind of input, and stack, counted on the emulated board.

use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};

use anyhow::{Context, Result, anyhow, ensure};
use slackside::input::Input;
use slackside::settings::{Checked, CountedEdges, Settings, Spacing, Targets};
use slackside::units::Ppm;
use slackside_legs::{Frame, leg as random_leg};

use super::table::Table;
use crate::emulator;
use crate::image::{Image, Profile};
use crate::trace::{desk_stream, leg};

/// The kinds, in the firmware's order.
const KINDS: [&str; 6] = [EDGE, "contact", "tick", DEADLINE, "all else", "the first input"];
/// The rows whose sum is the cost of an edge, at most.
pub const EDGE: &str = "edge";
pub const DEADLINE: &str = "deadline settled";
/// Its mean: not every edge has a deadline.
pub const SETTLED: &str = "an edge and its settling";
/// The row of taking a plan.
pub const TAKEN: &str = "taking a plan";
/// The row of its check.
const CHECKED: &str = "checking a plan";

/// What the firmware writes: turns of the known loop and its counts; counts and stack of checking a plan, and of taking it; stack of
/// taking an input; and for each kind the number of inputs, the sum of counts, the largest.
type Figures = ((u32, u32), (u32, u32), (u32, u32), u32, [(u32, u64, u32); KINDS.len()]);

struct Build {
    name: &'static str,
    target: &'static str,
    profile: Profile,
}

/// The columns of the goals.
pub const M3: &str = "Cortex-M3, for speed";
pub const V6M_SMALL: &str = "thumbv6m, for size";

const BUILDS: [Build; 4] = [
    Build { name: M3, target: "thumbv7m-none-eabi", profile: Profile::Release },
    Build { name: "Cortex-M3, for size", target: "thumbv7m-none-eabi", profile: Profile::Small },
    // Runs on the same emulated processor: its instructions are a part of the Cortex-M3's.
    Build { name: "thumbv6m, for speed", target: "thumbv6m-none-eabi", profile: Profile::Release },
    Build { name: V6M_SMALL, target: "thumbv6m-none-eabi", profile: Profile::Small },
];

impl Build {
    const fn image(&self) -> Image<'static> {
        Image { target: self.target, bin: "measured", profile: self.profile, features: "" }
    }
}

/// The headings.
pub const HEALTHY: &str = "Mean instructions an input, healthy leg";
pub const LEGS: &str = "Most instructions an input, the three legs";
pub const RANDOM: &str = "Most instructions an input, random legs";
pub const STACK: &str = "Stack, in bytes";

/// So many random legs, each so long.
const RANDOM_LEGS: u64 = 24;
const RANDOM_SECONDS: f64 = 90.0;

/// Count.
pub fn measure() -> Result<[Table; 4]> {
    let columns: Vec<&str> = BUILDS.iter().map(|build| build.name).collect();
    let legs = legs()?;
    let named = legs.iter().filter(|leg| !leg.random).count();
    let runs = count_all(&legs)?;
    let sums: Vec<Sum> = runs.chunks(legs.len()).map(|runs| Sum::of(runs, named)).collect::<Result<_>>()?;
    let table = |title: &str, of: &dyn Fn(&Sum, usize) -> Option<u64>| {
        let mut table = Table::new(title, &columns);
        for (kind, name) in KINDS.iter().enumerate() {
            table.push(name, sums.iter().map(|sum| of(sum, kind)).collect());
        }
        table
    };
    let mut healthy = table(HEALTHY, &|sum, kind| sum.mean[kind]);
    healthy.push(SETTLED, sums.iter().map(|sum| sum.settled).collect());
    let mut three = table(LEGS, &|sum, kind| Some(sum.most[0][kind]));
    three.push(CHECKED, sums.iter().map(|sum| Some(sum.plan[0].0)).collect());
    three.push(TAKEN, sums.iter().map(|sum| Some(sum.plan[1].0)).collect());
    let random = table(RANDOM, &|sum, kind| Some(sum.most[1][kind]));
    let stack = Table::new(STACK, &columns)
        .row("an input", sums.iter().map(|sum| Some(sum.stack)).collect())
        .row(CHECKED, sums.iter().map(|sum| Some(sum.plan[0].1)).collect())
        .row(TAKEN, sums.iter().map(|sum| Some(sum.plan[1].1)).collect());
    Ok([healthy, three, random, stack])
}

/// What the runs of one build came to.
#[derive(Clone, Default)]
struct Sum {
    mean: [Option<u64>; KINDS.len()],
    /// All that edges and deadlines took, for each edge.
    settled: Option<u64>,
    /// Of the named legs, and of the random ones.
    most: [[u64; KINDS.len()]; 2],
    /// Checking a plan and taking it: instructions and stack.
    plan: [(u64, u64); 2],
    stack: u64,
}

impl Sum {
    /// The first run is of the healthy leg.
    fn of(runs: &[Figures], named: usize) -> Result<Self> {
        let mut sum = Self::default();
        for (index, ((turns, known), checked, taken, stack, kinds)) in runs.iter().copied().enumerate() {
            // Two instructions a turn of the known loop: one count is five instructions.
            let a_count = 2.0 * f64::from(turns) / f64::from(known);
            ensure!((4.9..5.1).contains(&a_count), "the stopwatch runs wrong: {a_count} instructions a count, not 5");
            if index == 0 {
                let of = |name| {
                    KINDS
                        .into_iter()
                        .zip(kinds)
                        .find(|(kind, _)| *kind == name)
                        .map_or((0, 0), |(_, (count, total, _))| (count, total))
                };
                let ((edges, taken), (_, later)) = (of(EDGE), of(DEADLINE));
                sum.settled = mean(taken + later, edges);
            }
            for (kind, (count, total, worst)) in kinds.into_iter().enumerate() {
                if index == 0 {
                    sum.mean[kind] = mean(total, count);
                }
                let most = &mut sum.most[usize::from(index >= named)][kind];
                *most = (*most).max(5 * u64::from(worst));
            }
            for (sum, (count, stack)) in sum.plan.iter_mut().zip([checked, taken]) {
                *sum = (sum.0.max(5 * u64::from(count)), sum.1.max(u64::from(stack)));
            }
            sum.stack = sum.stack.max(u64::from(stack));
        }
        Ok(sum)
    }
}

/// Instructions each, from counts of five.
fn mean(total: u64, count: u32) -> Option<u64> {
    (count > 0).then(|| (5 * total).div_ceil(u64::from(count.max(1))))
}

/// Every leg on every build, as many emulators at a time as there are processors.
fn count_all(legs: &[Leg]) -> Result<Vec<Figures>> {
    for profile in Profile::ALL {
        let targets: Vec<&str> =
            BUILDS.iter().filter(|build| build.profile == profile).map(|build| build.target).collect();
        Image { profile, ..BUILDS[0].image() }.ahead(&targets)?;
    }
    let images: Vec<PathBuf> = BUILDS.iter().map(|build| build.image().link_as_it_is()).collect::<Result<_>>()?;
    let told: Vec<Vec<u8>> = legs.iter().map(|leg| desk_stream(&leg.settings, &leg.inputs)).collect::<Result<_>>()?;
    let jobs: Vec<_> = BUILDS
        .iter()
        .zip(&images)
        .flat_map(|(build, image)| legs.iter().zip(&told).map(move |(leg, told)| (build, image, leg, told)))
        .collect();
    let next = AtomicUsize::new(0);
    let work = || -> Result<Vec<(usize, Figures)>> {
        let mut done = Vec::new();
        loop {
            let position = next.fetch_add(1, Ordering::SeqCst);
            let Some((build, image, leg, told)) = jobs.get(position) else { return Ok(done) };
            println!("counting instructions on {}: {}", build.name, leg.name);
            let returned = emulator::run(image, &leg.settings.plan(), &leg.inputs, true)?;
            ensure!(returned.verdicts == **told, "{}: other verdicts on {} than on the desk", leg.name, build.name);
            let bytes = returned.figures.context("the board wrote no figures")?;
            done.push((position, postcard::from_bytes(&bytes)?));
        }
    };
    let mut figures = std::thread::scope(|scope| {
        let count = std::thread::available_parallelism().map_or(1, usize::from);
        let workers: Vec<_> = (0..count).map(|_| scope.spawn(work)).collect();
        let done = workers.into_iter().map(|worker| worker.join().map_err(|_| anyhow!("a count panicked"))?);
        done.collect::<Result<Vec<_>>>()
    })?
    .concat();
    figures.sort_by_key(|(position, _)| *position);
    Ok(figures.into_iter().map(|(_, figures)| figures).collect())
}

struct Leg {
    name: String,
    random: bool,
    settings: Checked,
    inputs: Vec<Input>,
}

impl Leg {
    fn new(name: &str, settings: &Checked, inputs: Vec<Input>) -> Self {
        Self { name: name.to_owned(), random: false, settings: settings.clone(), inputs }
    }
}

/// The healthy leg first: means are taken from it.
fn legs() -> Result<Vec<Leg>> {
    let example = leg::settings();
    let uneven = uneven()?;
    let mut legs = vec![
        Leg::new("healthy", &example, leg::running(&example, 300)),
        Leg::new("rough", &example, leg::rough(&example, 300)),
        Leg::new("one against many", &uneven, leg::rough(&uneven, 120)),
    ];
    let frame = Frame { begin_us: Some(0), seconds: Some(RANDOM_SECONDS) };
    let mut seed = 0;
    while legs.len() < 3 + RANDOM_LEGS as usize {
        let made = random_leg(seed, frame);
        // A bench is no leg for a box.
        if made.make.is_leg {
            let name = format!("random leg {seed}");
            legs.push(Leg { random: true, ..Leg::new(&name, &made.make.settings, made.inputs) });
        }
        seed += 1;
    }
    Ok(legs)
}

/// One target at the head and 32 at the boot: many windows close on one head edge.
fn uneven() -> Result<Checked> {
    let mut settings = Settings::example();
    let targets = |count| Targets {
        count,
        edges: CountedEdges::Rising,
        spacing: Spacing::Even { tolerance: Ppm::new(20_000) },
        supervised: false,
    };
    settings.machine.head_targets = Some(targets(1));
    settings.machine.boot_targets = Some(targets(32));
    settings.check().map_err(|violations| anyhow!("the leg with one target against 32 is refused: {violations:?}"))
}
