//! Inputs and settings for the emulated board, and the desk's own verdicts on them.

use anyhow::Result;
use slackside::input::Input;
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside_desk::monitor;

/// The leg of the benchmarks: the same file, so that the figures speak of the same leg.
#[path = "../../slackside/benches/leg/mod.rs"]
pub mod leg;

/// The desk's verdict stream: what the core says on this machine, encoded one after the other.
pub fn desk_stream(settings: &Checked, inputs: &[Input]) -> Result<Vec<u8>> {
    let mut monitor = monitor::monitor(settings, &Retained::default());
    let mut bytes = Vec::new();
    let mut failure = None;
    for input in inputs {
        monitor.observe(*input, &mut |verdict| match postcard::to_extend(verdict, std::mem::take(&mut bytes)) {
            Ok(longer) => bytes = longer,
            Err(error) => failure = Some(error),
        });
    }
    failure.map_or(Ok(bytes), |error| Err(error.into()))
}
