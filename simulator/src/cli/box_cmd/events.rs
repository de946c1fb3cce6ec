//! `slackside box … events` and `watch`.

use std::thread::sleep;
use std::time::{Duration, Instant};

use serde_json::json;
use slackside::conditions::Condition;
use slackside::record::Anchor;
use slackside::wire::{Event, Reply, Request};
use slackside_desk::lines::fill;
use slackside_desk::replay::{change_name, condition_of};

use super::says::shape;
use super::state;
use crate::box_client::{Client, Time, say_event};
use crate::cli::talk::Talk;

/// The columns before what goes on from the line above.
const BEHIND: usize = 4;

/// Print the events after `number`; the number of the last.
pub(super) fn tell_events(
    client: &mut Client,
    anchored: Option<Anchor>,
    mut after: u32,
    talk: &Talk,
) -> anyhow::Result<u32> {
    loop {
        let (lost, events) = client.ask(&Request::Events { after }, |reply| match reply {
            Reply::Events { lost, events } => Some((lost, events)),
            _ => None,
        })?;
        if lost > 0 {
            talk.object_line(|| shape("events-lost", json!({"lost": lost})))?;
            talk.line(format_args!("({lost} earlier events are no longer in the box's memory)"))?;
        }
        let Some(last) = events.last() else { return Ok(after) };
        after = last.number;
        for Event { number, verdict } in &events {
            let (time, says) = (Time { at: verdict.at, anchor: anchored }, say_event(verdict));
            talk.object_line(|| {
                let condition = condition_of(&verdict.change).map(Condition::name);
                let change = change_name(&verdict.change);
                let day = time.of_day();
                let says = json!({
                    "number": number, "time_us": verdict.at.get(), "time": day, "change": change, "condition": condition, "says": says
                });
                shape("event", says)
            })?;
            talk.line(fill(&format!("{time}  "), &" ".repeat(BEHIND), &says))?;
        }
    }
}

/// The state, then what happens as it happens.
pub(super) fn watch(
    client: &mut Client,
    anchored: Option<Anchor>,
    seconds: Option<u64>,
    talk: &Talk,
) -> anyhow::Result<()> {
    let (text, object, mut seen) = state(client, anchored)?;
    talk.object_line(|| shape("status", object))?;
    talk.words(&text)?;
    talk.line("Watching; interrupt to end.")?;
    let begun = Instant::now();
    while seconds.is_none_or(|seconds| begun.elapsed() < Duration::from_secs(seconds)) {
        seen = tell_events(client, anchored, seen, talk)?;
        sleep(Duration::from_millis(100));
    }
    Ok(())
}
