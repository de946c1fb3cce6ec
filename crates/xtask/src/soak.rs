//! A box's life at random, as long as there is time.

use anyhow::{Result, bail};
use cpu_time::ProcessTime;
use slackside_tests::soak::{Planted, soak};

/// So many hours of box time from a seed, a line for each day; with a fault planted that must be found, where one is named.
pub fn run(seed: u64, hours: u64, planted: Option<&str>) -> Result<()> {
    let begun = ProcessTime::now();
    let planted = planted.map(named).transpose()?;
    let tell = |soaked: &_| println!("{soaked:?}, {:.1} s of processor time", begun.elapsed().as_secs_f64());
    println!("seed {seed}, {hours} h");
    match soak(seed, hours, planted, &mut |soaked| tell(soaked)) {
        Ok(soaked) => tell(&soaked),
        Err(why) => {
            let plant = planted.map(|planted| format!(" --plant {planted:?}")).unwrap_or_default();
            bail!("{why}\n  repeat it: cargo xtask soak --seed {seed} --hours {hours}{plant}");
        }
    }
    Ok(())
}

fn named(name: &str) -> Result<Planted> {
    match Planted::ALL.into_iter().find(|planted| format!("{planted:?}") == name) {
        Some(planted) => Ok(planted),
        None => bail!("--plant is one of {:?}, not {name}", Planted::ALL),
    }
}
