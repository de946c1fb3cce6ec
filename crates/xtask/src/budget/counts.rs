//! Instructions for each kind of input, and stack, counted on the emulated board.

use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};

use anyhow::{Context, Result, anyhow, ensure};
use slackside::input::Input;
use slackside::settings::{Checked, CountedEdges, Settings, Spacing, Targets};
use slackside::units::Ppm;

use super::Table;
use crate::emulator;
use crate::image::{FIRMWARE, Image, Profile};
use crate::trace::{desk_stream, leg};

/// The kinds, in the firmware's order.
const KINDS: [&str; 5] = ["edge", "contact", "tick", "deadline settled", "all else"];

/// What the firmware writes: turns of the known loop and its counts; counts and stack of taking settings; stack of taking an
/// input; and for each kind the number of inputs, the sum of counts, the largest.
type Figures = ((u32, u32), (u32, u32), u32, [(u32, u64, u32); KINDS.len()]);

/// One processor and one way of optimising.
struct Build {
    name: &'static str,
    target: &'static str,
    profile: Profile,
}

const BUILDS: [Build; 4] = [
    Build { name: "Cortex-M3, for speed", target: "thumbv7m-none-eabi", profile: Profile::Release },
    Build { name: "Cortex-M3, for size", target: "thumbv7m-none-eabi", profile: Profile::Small },
    // Runs on the same emulated processor: its instructions are a part of the Cortex-M3's.
    Build { name: "thumbv6m, for speed", target: "thumbv6m-none-eabi", profile: Profile::Release },
    Build { name: "thumbv6m, for size", target: "thumbv6m-none-eabi", profile: Profile::Small },
];

impl Build {
    const fn image(&self) -> Image<'static> {
        Image { target: self.target, firmware: FIRMWARE, bin: "measured", profile: self.profile, features: "" }
    }
}

/// The heading of the costs on a healthy leg.
pub const HEALTHY: &str = "Mean instructions an input, healthy leg";
/// The heading of the worst costs.
pub const WORST: &str = "Most instructions an input, of all legs tried";
/// The heading of the stack.
pub const STACK: &str = "Stack, in bytes";

/// Count.
pub fn measure() -> Result<[Table; 3]> {
    let columns: Vec<&str> = BUILDS.iter().map(|build| build.name).collect();
    let legs = legs()?;
    let runs = count_all(&legs)?;
    let mut mean = vec![Vec::new(); KINDS.len()];
    let mut worst = vec![Vec::new(); KINDS.len()];
    let mut settings_cost = Vec::new();
    let (mut observe_stack, mut settings_stack) = (Vec::new(), Vec::new());
    for runs in runs.chunks(legs.len()) {
        let mut most = [0; KINDS.len()];
        let (mut deepest, mut settings_deepest, mut settings_most) = (0, 0, 0);
        for (index, ((turns, known), (configure, configure_stack), stack, kinds)) in runs.iter().copied().enumerate() {
            // Two instructions a turn of the known loop: one count is five instructions.
            let a_count = 2.0 * f64::from(turns) / f64::from(known);
            ensure!((4.9..5.1).contains(&a_count), "the stopwatch runs wrong: {a_count} instructions a count, not 5");
            if index == 0 {
                for (list, (count, total, _)) in mean.iter_mut().zip(kinds) {
                    list.push((count > 0).then(|| (5 * total).div_ceil(u64::from(count.max(1)))));
                }
            }
            for (most, (.., worst)) in most.iter_mut().zip(kinds) {
                *most = (*most).max(5 * u64::from(worst));
            }
            deepest = deepest.max(u64::from(stack));
            settings_deepest = settings_deepest.max(u64::from(configure_stack));
            settings_most = settings_most.max(5 * u64::from(configure));
        }
        for (list, most) in worst.iter_mut().zip(most) {
            list.push(Some(most));
        }
        settings_cost.push(Some(settings_most));
        observe_stack.push(Some(deepest));
        settings_stack.push(Some(settings_deepest));
    }
    let mut healthy = Table::new(HEALTHY, &columns);
    let mut most = Table::new(WORST, &columns);
    for ((kind, mean), worst) in KINDS.iter().zip(mean).zip(worst) {
        healthy.push(kind, mean);
        most.push(kind, worst);
    }
    most.push("settings taken", settings_cost);
    let stack = Table::new(STACK, &columns).row("an input", observe_stack).row("settings taken", settings_stack);
    Ok([healthy, most, stack])
}

/// Every leg on every build: the legs of the first build, then those of the second. As many emulators at a time as there are
/// processors: an emulator counts instructions, not time.
fn count_all(legs: &[Leg]) -> Result<Vec<Figures>> {
    for profile in Profile::ALL {
        let targets: Vec<&str> =
            BUILDS.iter().filter(|build| build.profile == profile).map(|build| build.target).collect();
        Image { target: "", firmware: FIRMWARE, bin: "measured", profile, features: "" }.ahead(&targets)?;
    }
    let images: Vec<PathBuf> = BUILDS.iter().map(|build| build.image().link()).collect::<Result<_>>()?;
    let told: Vec<Vec<u8>> =
        legs.iter().map(|(_, settings, inputs)| desk_stream(settings, inputs)).collect::<Result<_>>()?;
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
            let Some((build, image, (leg, settings, inputs), told)) = jobs.get(position) else { return Ok(done) };
            println!("counting instructions on {}: {leg}", build.name);
            let returned = emulator::run(image, settings, inputs, true)?;
            ensure!(
                returned.verdicts == **told,
                "{leg}: ticking at every deadline changed the verdicts on {}",
                build.name
            );
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

type Leg = (&'static str, Checked, Vec<Input>);

/// The healthy leg first: means are taken from it.
fn legs() -> Result<Vec<Leg>> {
    let example = leg::settings();
    let healthy = leg::running(&example, 300);
    let rough = leg::rough(&example, 300);
    let uneven = uneven()?;
    let many = leg::rough(&uneven, 120);
    Ok(vec![("healthy", example.clone(), healthy), ("rough", example, rough), ("one against many", uneven, many)])
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
    settings.check().map_err(|violations| {
        let told: Vec<_> = violations.iter().map(ToString::to_string).collect();
        anyhow::anyhow!("the leg with one target against 32 is refused: {}", told.join("; "))
    })
}
