//! The plant's scenarios: what its sensors and people tell, with the new core in the loop.

use std::io;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, anyhow};
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::guard::Guard;
use slackside_desk::scenario::run::{Permits, Watch, run};
use slackside_desk::scenario::score::checked;
use slackside_desk::scenario::settings::Commissioned;
use slackside_desk::scenario::truth::Row;
use slackside_landed::input::Input;
use slackside_landed::settings::Checked;

use crate::translate::back;

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
    let text = std::fs::read_to_string(path).with_context(|| format!("reading {}", path.display()))?;
    let scenario = Scenario::parse(&text, path).map_err(|refused| anyhow!("{refused}"))?;
    let commissioned = Commissioned::measure(&scenario.leg);
    let settings = checked(&scenario.leg, &commissioned)?;
    let mut taken = Taken { guard: Guard::new(&settings), inputs: Vec::new() };
    run(&scenario, &commissioned, scenario.seed, scenario.obey_permits.unwrap_or(true), &mut taken)?;
    Ok((landed(&settings)?, taken.inputs.iter().map(back::input).collect()))
}

/// The built-in demo.
///
/// # Errors
/// If the landed core refuses the settings of the example.
pub fn demo() -> Result<(Checked, Vec<Input>)> {
    let settings = slackside::settings::Settings::example().check().map_err(|_| anyhow!("the example is refused"))?;
    let inputs = slackside_desk::demo::inputs(&settings);
    Ok((landed(&settings)?, inputs.iter().map(back::input).collect()))
}

fn landed(settings: &slackside::settings::Checked) -> Result<Checked> {
    back::settings(settings).check().map_err(|violations| anyhow!("the landed core refuses: {violations:?}"))
}

struct Taken {
    guard: Guard,
    inputs: Vec<slackside::input::Input>,
}

impl Watch for Taken {
    fn input(&mut self, input: &slackside::input::Input) -> io::Result<()> {
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
