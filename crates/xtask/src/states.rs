//! The state space, walked as far as there is time.

use std::time::Instant;

use anyhow::{Result, bail};
use slackside_tests::states::{Reach, settings, walk};

/// Walk the leg at rest to its end, and the turning leg up to so many, of each that looks the same so many that differ within.
pub fn run(each: usize, most: usize) -> Result<()> {
    for (reach, most) in [(Reach::AtRest, usize::MAX), (Reach::Turning, most)] {
        let began = Instant::now();
        let walk = walk(&settings(), reach, each, most);
        println!(
            "{reach:?}: {} states, {} taken further, by {} steps, {} events deep, {} not taken further, {} s; moves never made: {:?}",
            walk.states,
            walk.taken - walk.left,
            walk.steps,
            walk.depth,
            walk.left,
            began.elapsed().as_secs(),
            walk.moves.missing()
        );
        if let Some(broken) = walk.broken {
            bail!("{broken}");
        }
    }
    Ok(())
}
