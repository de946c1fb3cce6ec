//! `slackside new-leg`.

use std::io::{IsTerminal as _, Write as _, stderr, stdin};
use std::path::PathBuf;

use anyhow::{Context as _, bail};
use serde_json::json;
use slackside_desk::settings::{QUESTIONS, new_leg, parse};
use slackside_desk::sheet::stops_by_a_lost_edge;

use super::talk::{Talk, tell};
use crate::outputs::{is_free, write_whole};

/// Write the settings of a new leg from answers that someone with a tape measure can give.
///
/// Answers take their unit behind them: `24 in`, `600 mm`, `98 ft 6 in`. They may also come through a pipe, one a line, in the
/// order they are asked. Lock out and tag out the drive before anything is measured inside the casing.
#[derive(clap::Args)]
pub struct Args {
    /// The file to write: it appears whole or not at all.
    #[arg(value_name = "LEG.toml")]
    file: PathBuf,
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    let path = args.file.display();
    is_free(&args.file).map_err(|error| anyhow::anyhow!("{path} is not written: {error}"))?;
    let asks = stdin().is_terminal();
    if asks {
        tell(format_args!("Lock out and tag out the drive before anything is measured inside the casing."));
    }
    let mut answers = Vec::new();
    for question in QUESTIONS {
        loop {
            if asks {
                let hint = if question.hint.is_empty() { String::new() } else { format!(" ({})", question.hint) };
                let otherwise =
                    if question.otherwise.is_empty() { String::new() } else { format!(" [{}]", question.otherwise) };
                // Without standard error there is nobody to ask.
                write!(stderr(), "{}{hint}{otherwise} ", question.asks).context("nobody can be asked")?;
            }
            let mut line = String::new();
            if stdin().read_line(&mut line).context("the answers cannot be read")? == 0 && question.otherwise.is_empty()
            {
                bail!("the answers ended before \"{}\": give all of them, one a line", question.asks);
            }
            match question.lines(&line) {
                Ok(_) => {
                    answers.push(line.trim().to_owned());
                    break;
                }
                Err(wrong) if asks => tell(format_args!("  {wrong}")),
                Err(wrong) => bail!("\"{}\" was answered `{}`: {wrong}", question.asks, line.trim()),
            }
        }
    }
    let text = new_leg(&answers).map_err(|(_, wrong)| anyhow::anyhow!("{wrong}"))?;
    let leg = parse(&text, &path.to_string()).with_context(|| {
        // Nobody should have to type them all again.
        let given: String = answers.iter().map(|answer| format!("\n  {answer}")).collect();
        format!(
            "these answers go against a rule, and nothing is written; put them into a file, mend what is named and give them again \
             with `slackside new-leg {path} < ANSWERS.txt`:{given}\n"
        )
    })?;
    write_whole(&args.file, |file| Ok(file.write_all(text.as_bytes())?))?;
    talk.object(|| json!({"format": "slackside-new-leg", "format_version": 1, "file": args.file}))?;
    if let Some(warning) = stops_by_a_lost_edge(&leg.checked) {
        talk.words(format!("{warning}\n"))?;
    }
    talk.words(format!(
        "Wrote {path}. Next:\n  slackside sheet --settings {path}            what these settings amount to, and the checklist\n  \
         slackside replay TRACE.csv --settings {path} what happened in a trace of this leg\n"
    ))
}
