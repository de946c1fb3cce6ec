//! `slackside box … settings`.

use std::path::Path;

use anyhow::bail;
use serde_json::json;
use slackside::settings::Checked;
use slackside_box::arming::BoxKey;
use slackside_desk::settings;

use super::says::shape;
use crate::box_client::{Client, plan_object, read_plan, say_difference, say_plan, write_settings};
use crate::cli::talk::{Talk, tell};
use crate::disk::Disk;

/// Tell what the box runs on, and whether that is the settings file, if one is given.
pub(super) fn read(client: &mut Client, file: Option<&Path>, talk: &Talk) -> anyhow::Result<()> {
    let other = file.map(|path| settings::read(&Disk, path)).transpose()?.map(|loaded| loaded.checked.plan());
    let plan = read_plan(client)?;
    let same = other.map(|other| other.identity() == plan.identity());
    talk.object(|| {
        let mut object = plan_object(&plan);
        object["against"] = json!(file);
        object["same"] = json!(same);
        shape("plan", object)
    })?;
    talk.words(say_plan(&plan))?;
    match (file.map(Path::display), same) {
        (Some(name), Some(true)) => talk.line(format_args!("{name} is what the box runs on.")),
        (Some(name), _) => {
            let differ = other.map(|other| say_difference(&plan, &other)).unwrap_or_default();
            bail!(
                "{name}: the box runs on other settings:{}\n  mend: find the file that was sent to it, or send this one with `settings write`",
                differ.iter().map(|line| format!("\n  {line}")).collect::<String>()
            )
        }
        (None, _) => Ok(()),
    }
}

/// Send settings, have them armed, and tell what came of it.
pub(super) fn write(client: &mut Client, new: &Checked, key: &BoxKey, talk: &Talk) -> anyhow::Result<()> {
    let before = write_settings(client, new, key, &mut || {
        tell(format_args!(
            "The box waits, its alarm output blinks: someone there holds acknowledge for 4 to 10 s within a minute."
        ));
    })?;
    let identity = new.plan().identity();
    talk.object(|| {
        let before = before.map(|before| format!("{before:08X}"));
        shape("settings-armed", json!({"identity": format!("{identity:08X}"), "before": before}))
    })?;
    match before {
        Some(before) => {
            let both = "The box has recorded both.";
            talk.line(format_args!("In force: {identity:08X}, in place of {before:08X}. {both}"))?;
        }
        None => talk.line(format_args!("In force: {identity:08X}. The box had none before."))?,
    }
    talk.line(
        "What was latched stays latched, and the box says that its settings are new: acknowledge and reset at the leg.",
    )
}
