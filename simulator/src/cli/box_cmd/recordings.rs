//! `slackside box … recordings` and `fetch`.

use std::io::Write as _;
use std::path::Path;

use anyhow::bail;
use serde_json::{Value, json};
use slackside::conditions::Condition;
use slackside::record::Anchor;
use slackside::wire::{RecordingInfo, Reply, Request};
use slackside_desk::lines::fill;
use slackside_desk::recording::{About, MadeUnder, Recording, Source};

use super::says::shape;
use crate::bars;
use crate::box_client::{Client, Time, fetch, read_plan, recordings};
use crate::cli::talk::Talk;
use crate::outputs::write_whole;

/// The columns before what goes on from the line above.
const BEHIND: usize = 8;

/// The time of day, where the box tells it: of what happened since it was powered up last.
struct Day {
    session: u32,
    anchor: Option<Anchor>,
}

impl Day {
    fn ask(client: &mut Client, anchor: Option<Anchor>) -> anyhow::Result<Self> {
        let session = client.ask(&Request::Hello, |reply| match reply {
            Reply::Hello(hello) => Some(hello.session),
            _ => None,
        })?;
        Ok(Self { session, anchor })
    }

    fn of(&self, info: &RecordingInfo) -> Time {
        // An anchor says nothing of another session's time.
        Time { at: info.tripped_at, anchor: self.anchor.filter(|_| info.session == self.session) }
    }

    fn about(&self, info: &RecordingInfo) -> String {
        let why = info.first_out.map_or("no trip", |condition| condition.entry().title);
        let session = if info.session == self.session { "since power came last" } else { "before power came last" };
        let says =
            format!("{why}, {session} (session {}), {} bytes, settings {:08X}", info.session, info.length, info.plan);
        fill(&format!("{:>6}  {}  ", info.number, self.of(info)), &" ".repeat(BEHIND), &says)
    }

    fn object(&self, info: &RecordingInfo) -> Value {
        json!({
            "number": info.number,
            "session": info.session,
            "tripped_at_us": info.tripped_at.get(),
            "tripped_at": self.of(info).of_day(),
            "first_out": info.first_out.map(Condition::name),
            "bytes": info.length,
            "settings": format!("{:08X}", info.plan),
        })
    }
}

/// Which it has.
pub(super) fn list(client: &mut Client, anchored: Option<Anchor>, talk: &Talk) -> anyhow::Result<()> {
    let all = recordings(client)?;
    let day = Day::ask(client, anchored)?;
    let objects = || all.iter().map(|info| day.object(info)).collect::<Vec<_>>();
    talk.object(|| shape("recordings", json!({"recordings": objects()})))?;
    if all.is_empty() {
        talk.line(
            "The box has no recordings. One is stored some seconds after the leg has come\nto rest after a trip.",
        )?;
    }
    for info in &all {
        talk.line(day.about(info))?;
    }
    Ok(())
}

/// Fetch one, the newest where no number is given, and write it down.
pub(super) fn fetch_one(
    client: &mut Client,
    anchored: Option<Anchor>,
    number: Option<u32>,
    out: &Path,
    talk: &Talk,
) -> anyhow::Result<()> {
    let all = recordings(client)?;
    let day = Day::ask(client, anchored)?;
    let info = match number {
        Some(number) => all.iter().find(|info| info.number == number),
        None => all.first(),
    };
    let Some(info) = info else {
        match number {
            Some(number) => bail!("the box has no recording {number}: see `recordings`"),
            None => {
                bail!("the box has no recordings yet: one is stored some seconds after the leg stands after a trip")
            }
        }
    };
    let bar = bars::bytes(u64::from(info.length));
    let fetched = fetch(client, *info, &mut |there| bar.set_position(there))?;
    bar.finish_and_clear();
    let (serial, firmware, newest) = client.ask(&Request::Hello, |reply| match reply {
        Reply::Hello(hello) => {
            // An anchor says nothing of another session's time.
            let newest = hello.anchor.filter(|_| hello.session == info.session);
            Some((hello.serial.to_owned(), hello.firmware.to_owned(), newest))
        }
        _ => None,
    })?;
    // Of other settings than it has now a box knows only the identity.
    let plan = read_plan(client).ok().filter(|plan| plan.identity() == info.plan);
    let known = plan.is_some();
    let made_under =
        MadeUnder { plan: plan.map_or_else(Vec::new, |plan| plan.bytes().to_vec()), ..MadeUnder::default() };
    let about_it = About { source: Source::Box, serial, firmware, anchor: newest, segments: 0 };
    let name = out.display().to_string();
    let recording = Recording::new(&name, about_it, made_under, fetched.bytes);
    let bytes = recording.to_bytes()?;
    write_whole(out, |file| Ok(file.write_all(&bytes)?))?;
    talk.object(|| {
        let says = json!({"file": out, "whole": fetched.whole, "settings_known": known, "recording": day.object(info)});
        shape("fetched", says)
    })?;
    talk.line(day.about(info))?;
    let segments =
        if fetched.segments == 1 { "1 segment".to_owned() } else { format!("{} segments", fetched.segments) };
    talk.line(format_args!("Wrote {name}: {segments}{}.", if fetched.whole { ", whole" } else { "" }))?;
    if !fetched.whole {
        talk.line("Part of it is damaged; what its own checks confirm can be replayed.")?;
    }
    talk.line(format_args!(
        "Replay it with: slackside replay {name} --settings LEG.toml, the file that was sent to this box."
    ))?;
    if known { Ok(()) } else { talk.line("The box has other settings now than it was recorded under.") }
}
