//! `slackside box`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::thread::sleep;
use std::time::Duration;

use anyhow::{Context as _, bail};
use clap::Subcommand;
use serde_json::{Value, json};
use slackside::conditions::Condition;
use slackside::daily::{Kind, Summary, Work};
use slackside::input::Command as Asked;
use slackside::record::Anchor;
use slackside::wire::{Event, ProofTests, Reason, RecordingInfo, Reply, Request, Window};

use slackside_desk::recording::{About, MadeUnder, Recording, Source};
use slackside_desk::replay::{change_name, condition_of};
use slackside_desk::report::date_and_time;
use slackside_desk::settings;
use slackside_desk::trend::{Day, Table, note_of, work_of, work_word, write_table};

use super::replay::page_of;
use super::talk::{Talk, tell};
use crate::bars;
use crate::box_client::{
    Client, LinkError, NO_DAYS, Port, Time, anchor, fetch, hello_object, kept_days, parse_key, plan_object, read_plan,
    recordings, say_day, say_event, say_mark, say_plan, say_status, say_today, status_object, today, today_object,
    write_settings,
};
use crate::disk::Disk;
use crate::outputs::{create, write_whole};

/// Talk to a sensor box: over a serial device, or over TCP.
///
/// The link is not protected: whoever reaches the wire can read everything and acknowledge alarms. Keep it apart from every
/// other network. Nothing that comes by it can give a permit back, raise a limit or bypass anything; settings are taken
/// only with the key at the box on and the leg at rest.
#[derive(clap::Args)]
pub struct Args {
    /// The serial device (`/dev/ttyUSB0`, `COM3`), or HOST:PORT.
    port: String,
    /// The speed of the serial line, bits a second.
    #[arg(long, default_value_t = 115_200, value_name = "BAUD")]
    baud: u32,
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// Who is the box: its leg, serial number, firmware, settings and time.
    Hello,
    /// How are leg and box now.
    Status,
    /// Live: what changes, as it changes, until interrupted.
    Watch {
        /// Stop after so many seconds.
        #[arg(long, value_name = "SECONDS")]
        seconds: Option<u64>,
    },
    /// What happened since the box was switched on, as far as it remembers.
    Events,
    /// Which recordings it has.
    Recordings,
    /// Fetch a recording, the newest unless a number is given.
    Fetch {
        /// Its number: see `recordings`.
        number: Option<u32>,
        /// The file to write: it appears whole or not at all.
        #[arg(long, short, value_name = "FILE.slk")]
        out: PathBuf,
        /// Write the page of it as well: one file to take apart, to read on a phone or to print.
        #[arg(long, value_name = "FILE.html", requires = "settings")]
        report: Option<PathBuf>,
        /// The settings file that was sent to the box, for the page: the box has no more of it than it needs.
        #[arg(long, value_name = "LEG.toml", requires = "report")]
        settings: Option<PathBuf>,
    },
    /// Acknowledge the alarms: someone has seen them. Resets nothing.
    Acknowledge,
    /// Begin or end a proof test (key on), or tell when the next is due.
    ProofTest {
        /// `begin`, `end` or `due`.
        #[arg(value_parser = ["begin", "end", "due"])]
        which: String,
    },
    /// The days it has kept for wear, and the work marked among them: for `slackside trend`.
    Days {
        /// Write them as a table of days: it appears whole or not at all.
        #[arg(long, short, value_name = "DAYS.csv")]
        out: Option<PathBuf>,
    },
    /// Work was done on the leg today: written down in the box beside its days. Trends begin anew there.
    Mark {
        /// What was done, such as "new lagging": lagging, belt, splice, take-up, sensor or other.
        #[arg(value_parser = work)]
        what: Work,
        /// A few words on it, 19 bytes at most: they stand beside the mark.
        #[arg(long, default_value = "", value_name = "WORDS", value_parser = noted)]
        note: String,
    },
    /// Read or write its settings.
    #[command(subcommand)]
    Settings(SettingsWhat),
}

fn work(text: &str) -> Result<Work, String> {
    work_of(text).ok_or_else(|| {
        "say what was done, such as \"new lagging\": lagging, belt, splice, take-up, sensor or other".to_owned()
    })
}

fn noted(text: &str) -> Result<String, String> {
    let text = text.trim();
    if text.len() > Summary::NOTE || text.contains([',', '\n']) {
        return Err(format!("{} bytes at most, without commas; it has {}", Summary::NOTE, text.len()));
    }
    Ok(text.to_owned())
}

#[derive(Subcommand)]
enum SettingsWhat {
    /// Tell the settings in force. The box has no more of them than it needs: keep the file that was sent to it.
    Read {
        /// A settings file, to find out whether it is the one in force.
        #[arg(long, value_name = "LEG.toml")]
        against: Option<PathBuf>,
    },
    /// Check a settings file, send it and put it in force: with the key at the box on, the leg at rest, and a person there who holds
    /// acknowledge for 4 to 10 s to confirm it.
    Write {
        /// The settings file.
        file: PathBuf,
        /// The file with the box's key, as `slackside new-key` has written it.
        #[arg(long, value_name = "BOX.key")]
        key_file: PathBuf,
    },
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    // Before the box is troubled: the file must be sound.
    let new = match &args.what {
        What::Settings(SettingsWhat::Write { file, key_file }) => {
            let settings = settings::read(&Disk, file)?;
            let key = std::fs::read_to_string(key_file).map_err(anyhow::Error::from).and_then(|text| parse_key(&text));
            let key = key.with_context(|| format!("{} cannot be used as a key file", key_file.display()))?;
            Some((settings, key))
        }
        What::Fetch { settings: Some(file), .. } => {
            settings::read(&Disk, file)?;
            None
        }
        _ => None,
    };
    let mut client = Client::new(Port::open(&args.port, args.baud)?);
    let anchored = anchor(&mut client)?;
    match &args.what {
        What::Hello => hello(&mut client, anchored, talk),
        What::Status => status(&mut client, anchored, talk),
        What::Watch { seconds } => watch(&mut client, anchored, *seconds, talk),
        What::Events => {
            tell_events(&mut client, anchored, 0, talk)?;
            Ok(())
        }
        What::Recordings => list(&mut client, talk),
        What::Fetch { number, out, report, settings } => {
            let page = report.as_deref().map(create).transpose()?;
            fetch_one(&mut client, *number, out, talk)?;
            let (Some(mut page), Some(settings)) = (page, settings) else { return Ok(()) };
            let text = page_of(out, settings)?;
            page.write_all(text.as_bytes()).and_then(|()| page.finish()).context("the report could not be written")?;
            let name = report.as_deref().unwrap_or(Path::new("")).display();
            talk.line(format_args!("Wrote {name}: open it in a browser."))
        }
        What::Acknowledge => {
            client.demand(&Request::Command(Asked::Acknowledge))?;
            told(talk, "acknowledge")?;
            talk.line("Whatever is latched waits for a reset at the leg.")
        }
        What::ProofTest { which } if which == "due" => proof_test_due(&mut client, talk),
        What::ProofTest { which } => {
            client.demand(&Request::Command(Asked::ProofTest(which == "begin")))?;
            told(talk, &format!("proof test {which}"))
        }
        What::Days { out } => days(&mut client, out.as_deref(), talk),
        What::Mark { what, note } => mark(&mut client, *what, note, talk),
        What::Settings(SettingsWhat::Read { against }) => read(&mut client, against.as_deref(), talk),
        What::Settings(SettingsWhat::Write { file, .. }) => {
            let Some((new, key)) = new else { bail!("{}: not read", file.display()) };
            let before = write_settings(&mut client, &new.checked, &key, &mut || {
                tell(format_args!(
                    "The box waits, its alarm output blinks: someone there holds acknowledge for 4 to 10 s within a minute."
                ));
            })?;
            let identity = new.checked.plan().identity();
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
            talk.line("What was latched stays latched, and the box says that its settings are new: acknowledge and reset at the leg.")
        }
    }
}

/// The version of an object's shape. The first of these were the words by their names.
fn version(what: &str) -> u32 {
    match what {
        "status" => 3,
        "hello" | "plan" => 2,
        _ => 1,
    }
}

/// An object of this command: what it is, its version, and what it says.
fn shape(what: &str, says: Value) -> Value {
    let mut object = json!({"format": format!("slackside-box-{what}"), "format_version": version(what)});
    if let (Value::Object(object), Value::Object(says)) = (&mut object, says) {
        object.extend(says);
    }
    object
}

fn told(talk: &Talk, what: &str) -> anyhow::Result<()> {
    talk.object(|| shape("told", json!({"told": what})))?;
    talk.line("Told the box; see `events` for what came of it.")
}

/// How many of the newest days are told.
const TOLD_DAYS: usize = 14;

/// The days it has kept.
fn days(client: &mut Client, out: Option<&Path>, talk: &Talk) -> anyhow::Result<()> {
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
        (Some(first), Some(last)) => {
            talk.line(format_args!("{} days are kept, from {} to {}.", told.len(), first.date, last.date))?;
        }
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
fn mark(client: &mut Client, what: Work, note: &str, talk: &Talk) -> anyhow::Result<()> {
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
        talk.line("The settings are those from before. The box cannot learn by itself: measure the no-slip")?;
        talk.line("ratio anew, look at the targets' spacing, and write the settings; until then `status`")?;
        talk.line("says so.")?;
    }
    Ok(())
}

/// The letters of a date, as in 2026-11-26.
const DAY: usize = 10;

/// When the stop was proven last, and when it is to be proven again.
fn proof_test_due(client: &mut Client, talk: &Talk) -> anyhow::Result<()> {
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

fn hello(client: &mut Client, anchored: Option<Anchor>, talk: &Talk) -> anyhow::Result<()> {
    let (text, object) = client.ask(&Request::Hello, |reply| {
        let Reply::Hello(hello) = reply else { return None };
        let leg = String::from_utf8_lossy(hello.leg);
        let leg = if leg.is_empty() { "(no settings yet)" } else { &*leg };
        let settings = if hello.plan == 0 { "none".to_owned() } else { format!("{:08X}", hello.plan) };
        let (major, minor, patch) = (hello.core.major, hello.core.minor, hello.core.patch);
        let now = Time { at: hello.now, anchor: anchored };
        let text = format!(
            "leg       {leg}\nserial    {}\nfirmware  {}\ncore      {major}.{minor}.{patch}\nsettings  {settings}\n\
             session   {} (times it was switched on)\ntime      {now}",
            hello.serial, hello.firmware, hello.session
        );
        Some((text, hello_object(&hello, &now)))
    })?;
    talk.object(|| shape("hello", object))?;
    talk.line(text)
}

/// How the box is, in words and as an object, and the number of its newest event.
fn state(client: &mut Client, anchored: Option<Anchor>) -> anyhow::Result<(String, Value, u32)> {
    let status = client.ask(&Request::Status, |reply| match reply {
        Reply::Status(status) => Some(status),
        _ => None,
    })?;
    let own = client.ask(&Request::Box, |reply| match reply {
        Reply::Box(own) => Some(own),
        _ => None,
    })?;
    let time = Time { at: status.at(), anchor: anchored };
    let today = today(client)?;
    let mut object = status_object(&status, &own, &time);
    object["day"] = today.as_ref().map_or(Value::Null, today_object);
    let today = today.as_ref().map_or_else(String::new, say_today);
    Ok((format!("time         {time}\n{}{today}", say_status(&status, &own)), object, status.newest_event))
}

fn status(client: &mut Client, anchored: Option<Anchor>, talk: &Talk) -> anyhow::Result<()> {
    let (text, object, _) = state(client, anchored)?;
    talk.object(|| shape("status", object))?;
    talk.words(text)
}

/// Print the events after `number`; the number of the last.
fn tell_events(client: &mut Client, anchored: Option<Anchor>, mut after: u32, talk: &Talk) -> anyhow::Result<u32> {
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
            let (time, says) = (Time { at: verdict.at, anchor: anchored }, say_event(&verdict.change));
            talk.object_line(|| {
                let condition = condition_of(&verdict.change).map(Condition::name);
                let change = change_name(&verdict.change);
                let day = time.of_day();
                let says = json!({
                    "number": number, "time_us": verdict.at.get(), "time": day, "change": change, "condition": condition, "says": says
                });
                shape("event", says)
            })?;
            talk.line(format_args!("{time}  {says}"))?;
        }
    }
}

fn watch(client: &mut Client, anchored: Option<Anchor>, seconds: Option<u64>, talk: &Talk) -> anyhow::Result<()> {
    let (text, object, mut seen) = state(client, anchored)?;
    talk.object_line(|| shape("status", object))?;
    talk.words(&text)?;
    talk.line("Watching; interrupt to end.")?;
    let begun = std::time::Instant::now();
    while seconds.is_none_or(|seconds| begun.elapsed() < Duration::from_secs(seconds)) {
        seen = tell_events(client, anchored, seen, talk)?;
        sleep(Duration::from_millis(100));
    }
    Ok(())
}

fn about(info: &RecordingInfo) -> String {
    let why = info.first_out.map_or("no trip", |condition| condition.entry().title);
    let at = Time { at: info.tripped_at, anchor: None };
    format!(
        "{:>6}  session {:>4}  {at}  {why}  {} bytes  settings {:08X}",
        info.number, info.session, info.length, info.plan
    )
}

fn recording_object(info: &RecordingInfo) -> Value {
    json!({
        "number": info.number,
        "session": info.session,
        "tripped_at_us": info.tripped_at.get(),
        "first_out": info.first_out.map(Condition::name),
        "bytes": info.length,
        "settings": format!("{:08X}", info.plan),
    })
}

fn list(client: &mut Client, talk: &Talk) -> anyhow::Result<()> {
    let all = recordings(client)?;
    talk.object(|| shape("recordings", json!({"recordings": all.iter().map(recording_object).collect::<Vec<_>>()})))?;
    if all.is_empty() {
        talk.line("The box has no recordings. One is stored once the leg stands after a trip.")?;
    }
    for info in &all {
        talk.line(about(info))?;
    }
    Ok(())
}

fn fetch_one(client: &mut Client, number: Option<u32>, out: &Path, talk: &Talk) -> anyhow::Result<()> {
    let all = recordings(client)?;
    let info = match number {
        Some(number) => all.iter().find(|info| info.number == number),
        None => all.first(),
    };
    let Some(info) = info else {
        match number {
            Some(number) => bail!("the box has no recording {number}: see `recordings`"),
            None => bail!("the box has no recordings yet: one is stored once the leg stands after a trip"),
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
        let says =
            json!({"file": out, "whole": fetched.whole, "settings_known": known, "recording": recording_object(info)});
        shape("fetched", says)
    })?;
    talk.line(about(info))?;
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

/// Tell what the box runs on, and whether that is the settings file, if one is given.
fn read(client: &mut Client, file: Option<&Path>, talk: &Talk) -> anyhow::Result<()> {
    let plan = read_plan(client)?;
    let same = match file {
        Some(path) => Some(settings::read(&Disk, path)?.checked.plan().identity() == plan.identity()),
        None => None,
    };
    talk.object(|| {
        let mut object = plan_object(&plan);
        object["against"] = json!(file);
        object["same"] = json!(same);
        shape("plan", object)
    })?;
    talk.words(say_plan(&plan))?;
    match (file.map(Path::display), same) {
        (Some(name), Some(true)) => talk.line(format_args!("{name} is what the box runs on.")),
        (Some(name), _) => bail!("{name}: the box runs on other settings"),
        (None, _) => Ok(()),
    }
}
