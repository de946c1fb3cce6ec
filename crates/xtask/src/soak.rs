//! A box's life at random, as long as there is time.

use std::time::Instant;

use anyhow::{Result, bail};
use slackside_tests::soak::soak;

/// So many hours of box time from a seed.
pub fn run(seed: u64, hours: u64) -> Result<()> {
    let began = Instant::now();
    match soak(seed, hours) {
        Ok(soaked) => println!("seed {seed}: {soaked:?}, {} s", began.elapsed().as_secs()),
        Err(why) => bail!("{why}\n  repeat it: cargo xtask soak --seed {seed} --hours {hours}"),
    }
    Ok(())
}
