//! The plant's scenarios: what its sensors and people tell, with the landed core in the loop.

use std::io;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result};
use slackside::input::Input;
use slackside::settings::Checked;
use slackside_simulator::scenario::Scenario;
use slackside_simulator::scenario::guard::Guard;
use slackside_simulator::scenario::run::{Permits, Watch, run};
use slackside_simulator::scenario::score::checked;
use slackside_simulator::scenario::settings::Commissioned;
use slackside_simulator::scenario::truth::Row;

/// The files of the scenarios of the checkout, by name.
///
/// # Errors
/// If the folder cannot be read.
pub fn scenarios() -> Result<Vec<PathBuf>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../scenarios");
    let entries = std::fs::read_dir(&folder).with_context(|| format!("reading {}", folder.display()))?;
    let mut files: Vec<PathBuf> = entries.map(|entry| Ok(entry?.path())).collect::<io::Result<_>>()?;
    files.retain(|path| path.extension().is_some_and(|extension| extension == "toml"));
    files.sort();
    Ok(files)
}

/// Its leg's settings as commissioned, and all that its sensors and people tell.
///
/// # Errors
/// If the scenario is not sound.
pub fn inputs(path: &Path) -> Result<(Checked, Vec<Input>)> {
    let scenario = Scenario::read(path)?;
    let commissioned = Commissioned::measure(&scenario.leg);
    let settings = checked(&scenario.leg, &commissioned)?;
    let mut taken = Taken { guard: Guard::new(&settings), inputs: Vec::new() };
    run(&scenario, &commissioned, scenario.seed, scenario.obey_permits.unwrap_or(true), &mut taken)?;
    Ok((settings, taken.inputs))
}

struct Taken {
    guard: Guard,
    inputs: Vec<Input>,
}

impl Watch for Taken {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        self.guard.take(input);
        self.inputs.push(*input);
        Ok(())
    }

    fn truth(&mut self, _: &Row) -> io::Result<()> {
        Ok(())
    }

    fn permits(&mut self, now_us: u64) -> Permits {
        self.guard.allows(now_us)
    }
}
