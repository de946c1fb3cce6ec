//! `slackside sheet`.

use std::io::Write as _;
use std::path::PathBuf;

use serde_json::json;
use slackside_desk::settings;
use slackside_desk::sheet::{object, proof_record, sheet};

use super::talk::Talk;
use crate::disk::Disk;
use crate::outputs::write_whole;

/// Print the commissioning sheet of a leg.
#[derive(clap::Args)]
#[command(group = clap::ArgGroup::new("written").multiple(false))]
pub struct Args {
    /// The leg's settings (TOML); the built-in example leg without it
    #[arg(long, value_name = "LEG.toml")]
    settings: Option<PathBuf>,
    /// Write these settings out in full, every value with its unit and its reason: a start for your own leg
    #[arg(long, value_name = "FILE.toml", group = "written")]
    write_settings: Option<PathBuf>,
    /// Write the plan that a box runs on, made of these settings: for firmware that has it linked in
    #[arg(long, value_name = "LEG.plan", group = "written")]
    write_plan: Option<PathBuf>,
    /// Write the record of a proof test to this file: what each step must show, to sign and to file
    #[arg(long, value_name = "FILE.txt", group = "written")]
    proof_record: Option<PathBuf>,
    /// Write the sheet to this file, plain text that prints on any paper
    #[arg(long, value_name = "FILE.txt", group = "written")]
    out: Option<PathBuf>,
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    let loaded = settings::read_or_example(&Disk, args.settings.as_deref())?;
    if let Some(path) = &args.write_settings {
        write_whole(path, |file| Ok(file.write_all(settings::write_for(&loaded.checked, loaded.feet).as_bytes())?))?;
        talk.object(|| json!({"format": "slackside-settings-written", "format_version": 1, "file": path}))?;
        return talk.line(format_args!(
            "Wrote {}: change what is not your leg's, and read it with --settings.",
            path.display()
        ));
    }
    if let Some(path) = &args.write_plan {
        let plan = loaded.checked.plan();
        write_whole(path, |file| Ok(file.write_all(plan.bytes())?))?;
        talk.object(|| json!({"format": "slackside-plan-written", "format_version": 1, "file": path, "identity": plan.identity()}))?;
        return talk.line(format_args!("Wrote {}, identity {:08X}.", path.display(), plan.identity()));
    }
    if let Some(path) = &args.proof_record {
        write_whole(path, |file| Ok(file.write_all(proof_record(&loaded).as_bytes())?))?;
        talk.line(format_args!("Wrote {}.", path.display()))?;
        return talk.object(|| object(&loaded));
    }
    if let Some(path) = &args.out {
        write_whole(path, |file| Ok(file.write_all(sheet(&loaded).as_bytes())?))?;
        talk.line(format_args!("Wrote {}.", path.display()))?;
        return talk.object(|| object(&loaded));
    }
    talk.object(|| object(&loaded))?;
    talk.words(sheet(&loaded))
}
