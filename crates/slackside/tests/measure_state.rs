//! What measure takes of memory, and that no bytes as its state make it panic or run on.
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

use oracle::legs::{Dice, draw};
use oracle::rig::{Rig, new_signal};
use slackside::measure::Measure;
use slackside::signals::Signals;

#[test]
fn it_is_small() {
    let (eight, all) = (size_of::<Measure<8>>(), size_of::<Measure<64>>());
    println!("{eight} bytes with 8 marks, {all} with 64, of which signals {}", size_of::<Signals>());
    assert!(eight <= 1_020 && all <= 2_360, "{eight}, {all}");
    // One mark is twelve bytes.
    assert_eq!(all - eight, 2 * 56 * 12);
}

#[test]
fn its_bytes_are_its_state() {
    let leg = (0..).find_map(|seed| draw(seed, 8)).unwrap();
    let plan = oracle::plan::plan(&leg.settings);
    let (half, rest) = leg.inputs.split_at(leg.inputs.len() / 2);
    let mut first = Rig::<8>::new(plan);
    for input in half {
        first.observe(input.at.get(), &new_signal(&input.signal), &mut |_, _, _| {});
    }
    let mut bytes = Vec::new();
    first.measure.parts(&mut |part| bytes.extend_from_slice(part));
    assert_eq!(bytes.len(), size_of::<Measure<8>>());
    let mut second = first.clone();
    second.measure = Measure::new();
    let mut left = &bytes[..];
    second.measure.parts_mut(&mut |part| {
        let (head, tail) = left.split_at(part.len());
        part.copy_from_slice(head);
        left = tail;
    });
    let mut told = [Vec::new(), Vec::new()];
    for input in rest {
        for (rig, told) in [&mut first, &mut second].into_iter().zip(&mut told) {
            rig.observe(input.at.get(), &new_signal(&input.signal), &mut |at, bits, signals| {
                told.push((at, bits, *signals));
            });
        }
    }
    assert!(told[0].len() > 100);
    assert_eq!(told[0], told[1]);
}

#[test]
fn any_bytes_do() {
    let dice = &mut Dice(5);
    for seed in 0..60 {
        let Some(leg) = draw(seed, 8) else { continue };
        let mut rig = Rig::<8>::new(oracle::plan::plan(&leg.settings));
        for (index, input) in leg.inputs.iter().take(3_000).enumerate() {
            if index % 50 == 0 {
                rig.measure.parts_mut(&mut |part| part.iter_mut().for_each(|byte| *byte = dice.next() as u8));
            }
            rig.observe(input.at.get(), &new_signal(&input.signal), &mut |_, _, _| {});
        }
    }
}
