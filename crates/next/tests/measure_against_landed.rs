//! The new measure says what the landed one says, input by input, over random legs.

mod oracle;

use oracle::legs::draw;
use oracle::rig::{Comparison, Rig, Tally, new_signal, tells};

/// Run one leg through both; what was compared, or what differs.
fn run<const MARKS: usize>(seed: u64) -> Option<Result<Tally, String>> {
    let leg = draw(seed, MARKS as u8)?;
    let mut landed = slackside::measure::Measure::new();
    landed.configure(&leg.settings);
    let mut rig = Rig::<MARKS>::new(oracle::plan::plan(&leg.settings));
    let mut comparison = Comparison::default();
    let (mut before, mut after) = (Vec::new(), Vec::new());
    for (index, input) in leg.inputs.iter().enumerate() {
        before.clear();
        after.clear();
        tells(&mut landed, *input, &mut before);
        rig.observe(input.at.get(), &new_signal(&input.signal), &mut |at, _, signals| after.push((at, *signals)));
        let times = |times: &[u64]| times.to_vec();
        let (one, other) =
            (before.iter().map(|told| told.0).collect::<Vec<_>>(), after.iter().map(|told| told.0).collect::<Vec<_>>());
        if times(&one) != times(&other) {
            return Some(Err(format!("input {index} {input:?}: told at {one:?}, now at {other:?}")));
        }
        for ((at, motion), (_, signals)) in before.iter().zip(&after) {
            if let Err(what) = comparison.compare(motion, signals, *at) {
                return Some(Err(format!(
                    "input {index} of {} at {at}, {:?} {:?}: {what}",
                    leg.inputs.len(),
                    leg.settings.machine.head_targets,
                    leg.settings.machine.boot_targets
                )));
            }
        }
    }
    Some(Ok(comparison.tally))
}

#[test]
fn both_say_the_same() {
    let legs: u64 = std::env::var("LEGS").ok().and_then(|legs| legs.parse().ok()).unwrap_or(150);
    let mut failed = 0;
    let mut ran = 0;
    for seed in 0..legs {
        match run::<64>(seed) {
            None => {}
            Some(Ok(tally)) => {
                ran += 1;
                if legs < 20 {
                    println!("{seed}: {tally:?}");
                }
            }
            Some(Err(what)) => {
                ran += 1;
                failed += 1;
                println!("{seed}: {what}");
            }
        }
    }
    println!("{failed} of {ran}");
    assert_eq!(failed, 0);
}
