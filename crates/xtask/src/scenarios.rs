//! The plant's scenarios as traces: what its sensors tell, with the monitor in the loop.

use std::path::{Path, PathBuf};

use anyhow::{Result, ensure};
use slackside::input::Input;
use slackside::settings::Checked;
use slackside_desk::scenario::Scenario;
use slackside_desk::scenario::score::checked;
use slackside_desk::scenario::settings::Commissioned;
use slackside_simulator::disk::Disk;
use slackside_simulator::heard::heard;

use crate::parity::files;

/// The scenarios of a folder, the longest first.
pub fn longest_first(folder: &Path) -> Result<Vec<PathBuf>> {
    let mut found = Vec::new();
    for path in files(folder, "toml")? {
        found.push((Scenario::read(&Disk, &path)?.duration_s, path));
    }
    ensure!(!found.is_empty(), "there is no scenario in {}", folder.display());
    found.sort_by(|(one, _), (other, _)| other.total_cmp(one));
    Ok(found.into_iter().map(|(_, path)| path).collect())
}

/// Its leg's settings as commissioned, and all that its sensors and people tell.
pub fn inputs(path: &Path) -> Result<(Checked, Vec<Input>)> {
    let scenario = Scenario::read(&Disk, path)?;
    let commissioned = Commissioned::measure(&scenario.leg);
    let settings = checked(&scenario.leg, &commissioned)?;
    let inputs = heard(&scenario, &commissioned, &settings)?;
    Ok((settings, inputs))
}
