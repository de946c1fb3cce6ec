//! Days of a box's life at random.

use slackside_tests::soak::soak;

/// A seed of its own for each; `cargo xtask soak --seed SEED --hours HOURS` repeats one, or goes on for a month.
#[test]
fn a_box_lives_for_days_at_random() {
    for seed in 1..=4 {
        let soaked = soak(seed, 24).unwrap_or_else(|why| panic!("cargo xtask soak --seed {seed} --hours 24\n  {why}"));
        println!("seed {seed}: {soaked:?}");
        assert!(soaked.hours >= 24 && soaked.belt_stops > 0);
    }
}
