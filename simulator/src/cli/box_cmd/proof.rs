//! `slackside box … proof-test due`.

use anyhow::Context as _;
use serde_json::json;
use slackside::wire::{ProofTests, Window};
use slackside_desk::report::date_and_time;

use super::says::shape;
use crate::box_client::Client;
use crate::cli::talk::Talk;

/// The letters of a date, as in 2026-11-26.
const DAY: usize = 10;

/// When the stop was proven last, and when it is to be proven again.
pub(super) fn proof_test_due(client: &mut Client, talk: &Talk) -> anyhow::Result<()> {
    let bytes = client.read(Window::ProofTests, 8, &mut |_| {})?;
    let bytes = bytes.first_chunk::<8>().context("the box tells less of its proof tests than is agreed")?;
    let ProofTests { passed_min, every_days } = ProofTests::from_bytes(*bytes);
    let day = |minutes: u32| date_and_time(i64::from(minutes) * 60_000_000).chars().take(DAY).collect::<String>();
    let known = passed_min.filter(|minutes| *minutes > 0);
    let due = known.map(|minutes| minutes.saturating_add(every_days * 24 * 60));
    talk.object(|| {
        let object = json!({"passed": known.map(day), "ever_passed": passed_min.is_some(), "due": due.map(day)});
        shape("proof-test", object)
    })?;
    match (passed_min, due) {
        (None, _) => talk.line("No proof test has passed on this box yet: one is due now.")?,
        (Some(minutes), Some(due)) => {
            talk.line(format_args!(
                "The last proof test passed on {}; the next is due on {}.",
                day(minutes),
                day(due)
            ))?;
        }
        (Some(_), None) => {
            talk.line("A proof test has passed, on a day that no desk had told the box: one is due now.")?
        }
    }
    talk.line(
        "What to do in each step, to sign and to file: slackside sheet --settings LEG.toml --proof-record FILE.txt",
    )
}
