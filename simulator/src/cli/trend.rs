//! `slackside trend`.

use std::collections::{HashMap, HashSet};
use std::fs;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use clap::builder::{PathBufValueParser, TypedValueParser as _};
use slackside::daily::{Kind, Summary};
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside_desk::files::{Files as _, WANTED_TRACE, unreadable};
use slackside_desk::monitor::monitor;
use slackside_desk::recording::{Prepared, Recording, recording_at};
use slackside_desk::settings;
use slackside_desk::trend::{
    Date, Day, OPENING, Table, Wear, Work, days_of_trace, in_order, is_table, object, page, read_table, wear, words,
    work_of, write_table,
};

use super::talk::Talk;
use crate::disk::{Disk, open_trace};
use crate::outputs::{create, html};

/// See wear coming: how slip, ratio, rubbing, warmth and run-down go over months, and when a limit is reached at this rate.
///
/// Each trace or recording is a day, or a shift of one; its date is that of its clock, or stands in its name (`2026-03-14`), or else files
/// count as days in the order of their names. Tables of days are read as well: those that `--save` writes, and those that `slackside box …
/// days --out` makes of a box's own days. Days of several legs are told leg by leg; several boxes of one leg follow each other as named.
#[derive(clap::Args)]
pub struct Args {
    /// Traces, recordings and tables of days, or folders of them.
    #[arg(required = true, value_name = "FOLDER|FILE")]
    from: Vec<PathBuf>,
    /// The settings of the leg: needed for traces, and for the limits.
    #[arg(long, value_name = "LEG.toml")]
    settings: Option<PathBuf>,
    /// Work that was done, and when: the trend begins anew there. Such as `2026-03-14="new lagging"`; lagging, belt, splice, take-up, sensor
    /// or other.
    #[arg(long, value_name = "DAY=WORK", value_parser = mark)]
    mark: Vec<Work>,
    /// Write the days as a table, so that the traces need not be read again.
    #[arg(long, value_name = "DAYS.csv")]
    save: Option<PathBuf>,
    /// Write a page: each figure over the days, its trend, its limit, and where it changed.
    #[arg(long, value_name = "FILE.html", value_parser = PathBufValueParser::new().try_map(html))]
    report: Option<PathBuf>,
}

fn mark(text: &str) -> Result<Work, String> {
    let wanted = "write a day and what was done, such as 2026-03-14=lagging; what: lagging, belt, splice, take-up, sensor or other";
    let (day, what) = text.split_once('=').ok_or(wanted)?;
    let date = Date::read(day.trim()).ok_or(wanted)?;
    Ok(Work { date, what: work_of(what.trim().trim_matches('"')).ok_or(wanted)?, note: String::new() })
}

/// Run the command.
pub fn run(args: &Args, talk: &Talk) -> anyhow::Result<()> {
    let loaded = args.settings.as_deref().map(|path| settings::read(&Disk, path)).transpose()?;
    let given = loaded.as_ref().map(|loaded| &loaded.checked);
    // Opened before the work is done, so that a wrong path is known at once.
    let mut save = args.save.as_deref().map(create).transpose()?;
    let mut report = args.report.as_deref().map(create).transpose()?;
    let mut legs: Vec<Leg> = Vec::new();
    for file in &files(&args.from)? {
        add(&mut legs, days_of(file, given)?, given);
    }
    let names: Vec<&str> = legs.iter().map(|leg| &*leg.name).collect();
    let is_one = names.len() < 2;
    if !is_one && (save.is_some() || report.is_some() || !args.mark.is_empty()) {
        bail!(
            "the days are those of {} legs: {}\n  mend: name the files of one leg for --save, --report and --mark",
            names.len(),
            names.join(", ")
        );
    }
    if let Some(other) = given.map(|given| &*given.machine.leg).filter(|leg| !names.contains(leg)) {
        bail!("the settings are those of {other}, the days of {}\n  mend: name their settings", names.join(", "));
    }
    for leg in legs {
        let given = given.filter(|given| *given.machine.leg == *leg.name);
        let (table, wear) = leg.follow(&args.mark, given)?;
        if let Some(mut file) = save.take() {
            write_table(&table, &mut file).and_then(|()| file.finish()).context("the table could not be written")?;
        }
        if let Some(mut file) = report.take() {
            file.write_all(page(&wear).as_bytes())
                .and_then(|()| file.finish())
                .context("the report could not be written")?;
        }
        if is_one {
            talk.object(|| object(&wear))?;
        } else {
            talk.object_line(|| object(&wear))?;
        }
        talk.words(words(&wear))?;
    }
    Ok(())
}

/// What is told of one leg.
#[derive(Default)]
struct Leg {
    name: String,
    days: Vec<Day>,
    /// The settings that came with its newest recording.
    recorded: Option<Checked>,
    /// Those of each file.
    identities: HashMap<String, u32>,
    /// The box whose days were added last.
    kept_by: Option<String>,
}

/// Put what a file holds to the leg that it is of. What does not say is of the leg of the settings, or of the first.
fn add(legs: &mut Vec<Leg>, (mut table, recorded): (Table, Option<Checked>), given: Option<&Checked>) {
    let settings = recorded.as_ref().or(given);
    let name = table.leg.take().or_else(|| settings.map(|settings| settings.machine.leg.to_string()));
    let at = match &name {
        Some(name) => legs.iter().position(|leg| leg.name == *name || leg.name.is_empty()),
        None => (!legs.is_empty()).then_some(0),
    };
    let at = at.unwrap_or_else(|| {
        legs.push(Leg::default());
        legs.len() - 1
    });
    let leg = &mut legs[at];
    if leg.name.is_empty() {
        leg.name = name.unwrap_or_default();
    }
    // Another box began to count anew.
    if table.kept_by.is_some() && leg.kept_by.is_some() && table.kept_by != leg.kept_by {
        let before = leg.days.iter().map(|day| day.date.number()).max().unwrap_or(0);
        for day in table.days.iter_mut().filter(|day| !day.date.is_calendar()) {
            day.date = day.date.alike(before + day.date.number());
        }
    }
    leg.kept_by = table.kept_by.or(leg.kept_by.take());
    if let (Some(day), Some(its)) = (table.days.first(), &recorded) {
        leg.identities.insert(day.source.clone(), its.plan().identity());
    }
    leg.days.extend(table.days);
    leg.recorded = recorded.or(leg.recorded.take());
}

impl Leg {
    /// Its days in order with the marks among them, and what they say.
    fn follow(self, marks: &[Work], given: Option<&Checked>) -> anyhow::Result<(Table, Wear)> {
        let (mut days, counted) = in_order(self.days);
        let all = days.len();
        days.dedup_by(|one, before| {
            one.date == before.date && one.summary == before.summary && one.source != before.source
        });
        let copies = all - days.len();
        mark_other_settings(&mut days, &self.identities);
        if let Some(mark) = marks.iter().find(|mark| mark.date.is_calendar() == counted) {
            bail!(
                "--mark {}: the days are told {}\n  mend: name the day of the mark the same way",
                mark.date,
                if counted { "by number, such as 17" } else { "by date, such as 2026-03-14" }
            );
        }
        // Marks are days of their own kind, so that a saved table keeps them.
        let marked = marks.iter().map(|work| Day {
            date: work.date,
            source: "--mark".to_owned(),
            summary: Summary::empty(0, Kind::Done(work.what)),
        });
        days.extend(marked);
        days.sort_by_key(|day| day.date);
        let table = Table { leg: Some(self.name).filter(|name| !name.is_empty()), kept_by: None, days };
        let settings = given.or(self.recorded.as_ref());
        let mut wear = wear(table.days.clone(), settings);
        if let Some(name) = &table.leg {
            wear.leg.clone_from(name);
        }
        if copies > 0 {
            let days = if copies == 1 { "1 day stands".to_owned() } else { format!("{copies} days stand") };
            wear.notes.push(format!("{days} in two of the files: counted once."));
        }
        if counted {
            wear.notes.push(
                "Days are counted, not dated: no clock of the day came with every file, and no date in its name."
                    .to_owned(),
            );
        }
        if settings.is_none() {
            wear.notes.push(
                "No settings were named, so no limits are known: name the leg's with --settings LEG.toml.".to_owned(),
            );
        }
        Ok((table, wear))
    }
}

/// Recordings bring their settings: the first day under others says so.
fn mark_other_settings(days: &mut [Day], identities: &HashMap<String, u32>) {
    let mut before = None;
    for day in days {
        let its = identities.get(&day.source);
        day.summary.settings_changed |= before.is_some() && its.is_some() && before != its;
        before = its.or(before);
    }
}

/// The files named, and those in the folders named, in the order of their names; each once.
fn files(from: &[PathBuf]) -> anyhow::Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for path in from {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        let listed = fs::read_dir(path).with_context(|| format!("{} cannot be listed", path.display()))?;
        let mut within = Vec::new();
        for entry in listed {
            let file = entry.with_context(|| format!("{} cannot be listed", path.display()))?.path();
            if file.is_file() && holds_days(&file) {
                within.push(file);
            }
        }
        if within.is_empty() {
            bail!("{}: there is no trace, recording or table of days in it\n  mend: {WANTED_TRACE}", path.display());
        }
        within.sort();
        files.extend(within);
    }
    let mut seen = HashSet::new();
    for file in &files {
        // What cannot be found is told when it is to be read.
        if !seen.insert(fs::canonicalize(file).unwrap_or_else(|_| file.clone())) {
            bail!("{} is named twice\n  mend: name it once", file.display());
        }
    }
    Ok(files)
}

/// Whether a file of a folder may hold days, by its name: settings, pages and hidden files do not.
fn holds_days(file: &Path) -> bool {
    let name = file.file_name().and_then(|name| name.to_str()).unwrap_or(".");
    !name.starts_with('.')
        && ![".toml", ".html", ".md", ".txt", ".json", ".svg"].iter().any(|ending| name.ends_with(ending))
}

fn days_of(file: &Path, given: Option<&Checked>) -> anyhow::Result<(Table, Option<Checked>)> {
    let of_days = |days| Table { days, ..Table::default() };
    if let Some(recording) = recording_at(&Disk, file)? {
        let its = recording.settings()?;
        let Some(settings) = its.as_ref().or(given) else {
            bail!(
                "{}: the recording came without its settings\n  mend: name those of its leg with --settings LEG.toml",
                file.display()
            )
        };
        return Ok((of_days(of_recording(&recording, settings)?), its.clone()));
    }
    let mut opening = Vec::new();
    let opened =
        Disk.open(file).map_err(|error| anyhow::anyhow!("{} {}", file.display(), unreadable(&error, WANTED_TRACE)))?;
    let mut begins = opened.source.take(OPENING as u64);
    begins.read_to_end(&mut opening).with_context(|| format!("{} cannot be read", file.display()))?;
    if is_table(&opening) {
        let text = Disk
            .text(file)
            .map_err(|error| anyhow::anyhow!("{} {}", file.display(), unreadable(&error, WANTED_TRACE)))?;
        return Ok((read_table(&file.display().to_string(), &text)?, None));
    }
    // Whether it is a trace at all comes before the question whose.
    let reader = open_trace(file)?;
    let Some(settings) = given else {
        bail!(
            "{}: a trace says nothing of its leg\n  mend: name the leg's settings with --settings LEG.toml",
            file.display()
        )
    };
    Ok((of_days(days_of_trace(reader, settings, monitor(settings, &Retained::default()))?), None))
}

fn of_recording(recording: &Recording, settings: &Checked) -> anyhow::Result<Vec<Day>> {
    let prepared = Prepared::new(recording, settings);
    Ok(days_of_trace(prepared.reader()?, settings, prepared.monitor())?)
}
