//! `slackside completions` and `slackside manual`: from the same source as the command line itself.

use std::io::Write as _;
use std::path::PathBuf;

use anyhow::{Context as _, bail};
use clap::CommandFactory as _;
use clap_complete::Shell;
use serde_json::json;

use super::Cli;
use super::talk::Talk;
use crate::outputs::write_whole;

/// Print the completions for a shell, to be sourced or put where it looks for them.
#[derive(clap::Args)]
pub struct Completions {
    /// The shell.
    shell: Shell,
}

/// Write the manual pages, one for each command.
#[derive(clap::Args)]
pub struct Manual {
    /// The directory to write them to; it is made if it is not there.
    #[arg(value_name = "DIRECTORY")]
    directory: PathBuf,
}

/// Run `completions`.
pub fn completions(args: &Completions, talk: &Talk) -> anyhow::Result<()> {
    let mut bytes = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "slackside", &mut bytes);
    let text = String::from_utf8(bytes).context("the completions are not text")?;
    talk.object(|| json!({"format": "slackside-completions", "format_version": 1, "script": text}))?;
    talk.words(&text)
}

/// Run `manual`.
pub fn manual(args: &Manual, talk: &Talk) -> anyhow::Result<()> {
    let directory = args.directory.display();
    if args.directory.is_file() {
        bail!("{directory} is a file: name a directory for the manual pages, which is made if it is not there");
    }
    std::fs::create_dir_all(&args.directory).with_context(|| format!("{directory} cannot be made"))?;
    let mut all = Cli::command();
    all.build();
    let mut written = Vec::new();
    let pages = std::iter::once(all.clone()).chain(all.get_subcommands().cloned());
    for page in pages {
        let name = match page.get_name() {
            "slackside" => "slackside".to_owned(),
            name => format!("slackside-{name}"),
        };
        let path = args.directory.join(format!("{name}.1"));
        let mut bytes = Vec::new();
        clap_mangen::Man::new(page).title(name).render(&mut bytes).context("a manual page cannot be made")?;
        write_whole(&path, |file| Ok(file.write_all(&bytes)?))?;
        talk.line(path.display())?;
        written.push(path);
    }
    talk.object(|| json!({"format": "slackside-manual", "format_version": 1, "written": written}))
}
