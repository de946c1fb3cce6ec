//! The new measure says what the landed one says, input by input, over random legs.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod oracle;

use oracle::legs::draw;
use oracle::rig::{Comparison, Rig, Tally, new_signal, tells};

/// Run one leg through both; what was compared, or what differs.
fn run<const MARKS: usize>(seed: u64) -> Option<Result<Tally, String>> {
    let leg = draw(seed, MARKS as u8)?;
    let mut landed = slackside_landed::measure::Measure::new();
    landed.configure(&leg.settings);
    let mut rig = Rig::<MARKS>::new(oracle::plan::plan(&leg.settings));
    let mut comparison = Comparison::default();
    let (mut before, mut after) = (Vec::new(), Vec::new());
    for (index, input) in leg.inputs.iter().enumerate() {
        before.clear();
        after.clear();
        tells(&mut landed, *input, &mut before);
        rig.observe(input.at.get(), &new_signal(&input.signal), &mut |at, _, signals| after.push((at, *signals)));
        let times = before.iter().map(|told| told.0).eq(after.iter().map(|told| told.0));
        let mut found = if times { Ok(()) } else { Err(format!("told {} and {} times", before.len(), after.len())) };
        for ((at, motion), (_, signals)) in before.iter().zip(&after) {
            found = found.and_then(|()| comparison.compare(motion, signals, *at));
        }
        comparison.tally.inputs += 1;
        if let Err(what) = found {
            if comparison.apart {
                comparison.tally.parted = 1;
                comparison.tally.left = (leg.inputs.len() - index) as u64;
                if std::env::var("TELL").is_ok() {
                    println!("{seed} parts at {index} {}: {what}", leg.calm);
                }
                break;
            }
            let machine = &leg.settings.machine;
            return Some(Err(format!(
                "seed {seed}, input {index} of {}, {input:?}: {what}\n{:?}\n{:?}",
                leg.inputs.len(),
                machine.head_targets,
                machine.boot_targets
            )));
        }
    }
    comparison.tally.plain = rig.plain;
    Some(Ok(comparison.tally))
}

/// So many legs, or as many as the environment says.
fn legs(usual: u64) -> u64 {
    std::env::var("LEGS").ok().and_then(|legs| legs.parse().ok()).unwrap_or(usual)
}

#[test]
fn both_say_the_same() {
    let (mut all, mut ran) = (Tally::default(), 0);
    let mut failed = Vec::new();
    for seed in 0..legs(300) {
        match run::<64>(seed) {
            None => {}
            Some(Ok(tally)) => {
                ran += 1;
                all.add(&tally);
            }
            Some(Err(what)) => failed.push(what),
        }
    }
    println!("{ran} legs: {all:#?}");
    assert!(failed.is_empty(), "{} of {}: {:#?}", failed.len(), ran, failed);
    // It must have seen what it is to compare.
    assert!(all.parted * 2 < ran && all.left * 2 < all.inputs, "{all:?}");
    assert!(
        all.exact > 10_000 && all.limits > 1_000 && all.retracted > 1_000 && all.duties > 1_000 && all.ratios > 1_000
    );
    assert!(all.distrust.iter().all(|seen| *seen > 0) && all.patterns.iter().all(|seen| *seen > 0), "{all:?}");
}

/// The short way of a plain pitch against the thorough one: the same signals to the last bit.
#[test]
fn the_short_way_says_what_the_thorough_one_says() {
    let mut plain = 0;
    for seed in 1_000_000..1_000_000 + legs(300) {
        let Some(leg) = draw(seed, 64) else { continue };
        let plan = oracle::plan::plan(&leg.settings);
        let (mut short, mut thorough) = (Rig::<64>::new(plan), Rig::<64>::new(plan));
        thorough.thorough = true;
        for (index, input) in leg.inputs.iter().enumerate() {
            let mut told = [Vec::new(), Vec::new()];
            for (rig, told) in [&mut short, &mut thorough].into_iter().zip(&mut told) {
                rig.observe(input.at.get(), &new_signal(&input.signal), &mut |at, bits, signals| {
                    told.push((at, bits, *signals));
                });
            }
            assert_eq!(told[0], told[1], "seed {seed}, input {index}, {input:?}");
        }
        plain += short.plain;
        assert_eq!(thorough.plain, 0);
    }
    println!("{plain} pitches the short way");
    assert!(plain > 10_000, "{plain}");
}
