//! Days of a box's life at random.

use slackside_tests::soak::{Planted, soak};

/// A seed of its own for each; `cargo xtask soak --seed SEED --hours HOURS` repeats one, or goes on for a month.
#[test]
fn a_box_lives_for_days_at_random() {
    for seed in 1..=2 {
        let soaked = soak(seed, 24, None, &mut |_| {})
            .unwrap_or_else(|why| panic!("cargo xtask soak --seed {seed} --hours 24\n  {why}"));
        println!("seed {seed}: {soaked:?}");
        assert!(soaked.hours >= 24 && soaked.belt_stops > 0);
    }
}

/// What is planted on the second day is found within the next three.
#[test]
fn a_soak_finds_what_is_planted() {
    for (planted, says) in [
        (Planted::BridgedStarter, "the motor runs three seconds after the belt stood"),
        (Planted::Forgets, "after a loss of power"),
        (Planted::DrivenUnasked, "the run permit is driven"),
        (Planted::Rots, "are sound"),
        (Planted::Panics, "a panic: planted"),
    ] {
        let mut days = 0;
        let found = soak(1, 96, Some(planted), &mut |_| days += 1).expect_err("nothing was found");
        assert!(days >= 1 && found.contains(says), "{planted:?} was found as: {found}");
    }
}
