//! `slackside box`.

mod days;
mod events;
mod proof;
mod recordings;
mod says;
mod settings;

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, anyhow, bail};
use clap::Subcommand;
use serde_json::{Value, json};
use slackside::daily::{Summary, Work};
use slackside::input::Command as Asked;
use slackside::record::Anchor;
use slackside::verdict::Refusal;
use slackside::wire::{Reason, Reply, Request};
use slackside_desk::settings::read as read_settings;
use slackside_desk::trend::work_of;

use self::days::{days, mark};
use self::events::{tell_events, watch};
use self::proof::proof_test_due;
use self::recordings::{fetch_one, list};
use self::says::shape;
use super::replay::page_of;
use super::talk::Talk;
use crate::box_client::{
    Client, LinkError, Port, Time, anchor, hello_object, parse_key, row, say_status, say_today, status_object, today,
    today_object,
};
use crate::disk::Disk;
use crate::outputs::create;

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
            let settings = read_settings(&Disk, file)?;
            let text = std::fs::read_to_string(key_file)
                .map_err(|error| anyhow!("{error}\n  mend: name the file with the key that was set in the box"));
            let key = text.and_then(|text| parse_key(&text));
            let key = key.with_context(|| format!("{} cannot be used as a key file", key_file.display()))?;
            Some((settings, key))
        }
        What::Fetch { settings: Some(file), .. } => {
            read_settings(&Disk, file)?;
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
        What::Recordings => list(&mut client, anchored, talk),
        What::Fetch { number, out, report, settings } => {
            let page = report.as_deref().map(create).transpose()?;
            fetch_one(&mut client, anchored, *number, out, talk)?;
            let (Some(mut page), Some(settings)) = (page, settings) else { return Ok(()) };
            let text = page_of(out, settings)?;
            page.write_all(text.as_bytes()).and_then(|()| page.finish()).context("the report could not be written")?;
            let name = report.as_deref().unwrap_or(Path::new("")).display();
            talk.line(format_args!("Wrote {name}: open it in a browser."))
        }
        What::Acknowledge => {
            demand(&mut client, Asked::Acknowledge, "no alarm waits to be acknowledged")?;
            told(talk, "acknowledge")?;
            talk.line("Whatever is latched waits for a reset at the leg.")
        }
        What::ProofTest { which } if which == "due" => proof_test_due(&mut client, talk),
        What::ProofTest { which } => {
            let begins = which == "begin";
            demand(
                &mut client,
                Asked::ProofTest(begins),
                if begins { "a proof test runs already" } else { "no proof test runs" },
            )?;
            told(talk, &format!("proof test {which}"))
        }
        What::Days { out } => days(&mut client, out.as_deref(), talk),
        What::Mark { what, note } => mark(&mut client, *what, note, talk),
        What::Settings(SettingsWhat::Read { against }) => settings::read(&mut client, against.as_deref(), talk),
        What::Settings(SettingsWhat::Write { file, .. }) => {
            let Some((new, key)) = new else { bail!("{}: not read", file.display()) };
            settings::write(&mut client, &new.checked, &key, talk)
        }
    }
}

/// Have a command carried out; `idle` is why there may be nothing to do.
fn demand(client: &mut Client, asked: Asked, idle: &str) -> anyhow::Result<()> {
    match client.demand(&Request::Command(asked)) {
        Err(LinkError::Refused(Reason::Monitor(Refusal::NothingToDo))) => {
            bail!("the box refuses: {idle}\n  mend: look with `status`")
        }
        done => Ok(done?),
    }
}

fn told(talk: &Talk, what: &str) -> anyhow::Result<()> {
    talk.object(|| shape("told", json!({"told": what})))?;
    talk.line("Told the box; see `events` for what came of it.")
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
    let mut text = String::new();
    row(&mut text, "time", &time);
    text.push_str(&say_status(&status, &own));
    Ok((text + &today, object, status.newest_event))
}

fn status(client: &mut Client, anchored: Option<Anchor>, talk: &Talk) -> anyhow::Result<()> {
    let (text, object, _) = state(client, anchored)?;
    talk.object(|| shape("status", object))?;
    talk.words(text)
}
