//! `slackside box … days` and `mark`.

use std::path::Path;

use anyhow::{Context as _, bail};
use serde_json::{Value, json};
use slackside::daily::{Kind, Work};
use slackside::wire::{Reason, Reply, Request};
use slackside_desk::trend::{Day, Table, note_of, work_word, write_table};

use super::says::shape;
use crate::box_client::{Client, LinkError, NO_DAYS, kept_days, say_day, say_mark, say_today, today, today_object};
use crate::cli::talk::Talk;
use crate::outputs::write_whole;

/// How many of the newest days are told.
const TOLD_DAYS: usize = 14;

/// The days it has kept.
pub(super) fn days(client: &mut Client, out: Option<&Path>, talk: &Talk) -> anyhow::Result<()> {
    let (leg, serial) = client.ask(&Request::Hello, |reply| match reply {
        Reply::Hello(hello) => Some((String::from_utf8_lossy(hello.leg).into_owned(), hello.serial.to_owned())),
        _ => None,
    })?;
    let Some(kept) = kept_days(client, &serial)? else { bail!("the box keeps no days: {NO_DAYS}") };
    let marks: Vec<_> = kept.days.iter().filter(|day| matches!(day.summary.kind, Kind::Done(_))).cloned().collect();
    let told: Vec<_> = kept.days.iter().filter(|day| !matches!(day.summary.kind, Kind::Done(_))).cloned().collect();
    if let Some(out) = out {
        let leg = Some(leg).filter(|leg| !leg.is_empty());
        let table = Table { leg, kept_by: Some(serial), days: kept.days };
        write_whole(out, |file| Ok(write_table(&table, file)?))?;
    }
    talk.object(|| {
        let work = |day: &Day| {
            let Kind::Done(work) = day.summary.kind else { return Value::Null };
            json!({"day": day.date.number(), "what": work_word(work), "note": note_of(&day.summary)})
        };
        let number = |day: Option<&Day>| day.map(|day| day.date.number());
        let says = json!({
            "file": out, "days": told.len(), "first": number(told.first()), "last": number(told.last()),
            "marks": marks.iter().map(work).collect::<Vec<_>>(), "under_way": today_object(&kept.today),
        });
        shape("days", says)
    })?;
    talk.line(say_today(&kept.today).trim_end())?;
    for mark in &marks {
        if let Kind::Done(work) = mark.summary.kind {
            talk.line(say_mark(mark.date.number(), work, &note_of(&mark.summary)))?;
        }
    }
    match (told.first(), told.last()) {
        (Some(first), Some(last)) => match told.len() {
            1 => talk.line(format_args!("One day is kept: {}.", first.date))?,
            several => talk.line(format_args!("{several} days are kept, from {} to {}.", first.date, last.date))?,
        },
        _ => talk.line("No day is over yet: the first one is kept after 24 hours of power.")?,
    }
    let Some(name) = out.map(Path::display) else {
        for day in &told[told.len().saturating_sub(TOLD_DAYS)..] {
            talk.line(say_day(&day.summary))?;
        }
        return talk.line("All of them, for `slackside trend`: days --out DAYS.csv");
    };
    talk.line(format_args!("Wrote {name}: see wear with `slackside trend {name} --settings LEG.toml`."))
}

/// Mark work.
pub(super) fn mark(client: &mut Client, what: Work, note: &str, talk: &Talk) -> anyhow::Result<()> {
    match client.demand(&Request::Mark { work: what, note: note.as_bytes() }) {
        Err(LinkError::Refused(Reason::TooOften)) => bail!(
            "the box refuses: it takes {} marks in 14 days, so that no days are lost to them\n  mend: give this one to \
             `slackside trend` with --mark DAY=WORK",
            Work::ALL.len()
        ),
        marked => marked?,
    }
    let today = today(client)?.context("the box marks work and tells no day: use the desk program of its firmware")?;
    let learn_anew = today.doubt.is_some_and(|doubt| doubt.kind == Kind::Done(what));
    talk.object(|| {
        let says = json!({"day": today.day, "what": work_word(what), "note": note, "learn_anew": learn_anew});
        shape("marked", says)
    })?;
    talk.line(format_args!("{} The trend begins anew there.", say_mark(today.day.into(), what, note)))?;
    if learn_anew {
        talk.line("The settings are those from before. The box cannot learn by itself: measure the")?;
        talk.line("no-slip ratio anew, look at the targets' spacing, and write the settings; until")?;
        talk.line("then `status` says so.")?;
    }
    Ok(())
}
