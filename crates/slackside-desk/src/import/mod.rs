//! Files that other loggers wrote, as traces: value change dumps, logic analysers' CSV, wide logger CSV, historians' exports.
//!
//! ```text
//! bytes -> vcd | sheet -> Found: series of changes, what tells their time, and what was seen of both
//!                           │
//!                         words: what the file seems to hold, with the evidence, and what nobody has said
//!                           │
//!     Choice: what the person says of it -> edges: a trace;  speeds: what can be told without edges
//! ```
//! Nothing is taken on a guess: what the file does not state, the person must. What the file seems to say is printed either way.

mod clock;
mod edges;
mod sheet;
mod speeds;
mod text;
mod vcd;
mod words;

pub use clock::{Clock, Unit};
pub use edges::{Imported, inputs};
pub use speeds::{Speeds, speeds};
pub use words::{guess, suggestion};

use crate::error::{Error, Result};
use crate::trace::Channel;

/// A moment in a file, in femtoseconds: the finest a value change dump knows. 5 million years fit.
pub type Femtos = i128;

/// Femtoseconds in a microsecond.
pub const A_MICROSECOND: Femtos = 1_000_000_000;

/// A column, a wire or a tag, as it changes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    /// What the file calls it.
    pub name: String,
    /// Its changes in order: when, in steps of the file's clock, and to what. The first is what it began with.
    pub changes: Vec<(Femtos, f64)>,
    /// Values that are no numbers, and where the first of them stands.
    pub not_numbers: Option<(u64, String)>,
}

impl Series {
    fn push(&mut self, at: Femtos, value: f64) {
        if self.changes.last().is_none_or(|(_, last)| *last != value) {
            self.changes.push((at, value));
        }
    }

    /// Whether it only ever says two things, 0 and 1.
    #[must_use]
    pub fn is_level(&self) -> bool {
        !self.changes.is_empty() && self.changes.iter().all(|(_, value)| *value == 0.0 || *value == 1.0)
    }
}

/// What kind of file it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A value change dump, IEEE 1364.
    Dump,
    /// A column for each wire.
    Wide,
    /// A row for each value, with the tag it is of.
    Long,
}

/// What was found in a file.
#[derive(Clone, Debug)]
pub struct Found {
    /// What kind of file.
    pub kind: Kind,
    /// What changes in it.
    pub series: Vec<Series>,
    /// What tells its time.
    pub clock: Clock,
    /// Moments of the first and the last row, in steps of the clock.
    pub span: (Femtos, Femtos),
    /// Rows, or moments of a dump.
    pub rows: u64,
    /// The shortest time between two rows, in steps of the clock, if they differ at all.
    pub step: Option<Femtos>,
}

impl Found {
    /// The series of that name.
    #[must_use]
    pub fn series(&self, name: &str) -> Option<&Series> {
        self.series.iter().find(|series| series.name == name)
    }
}

/// What a series is to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// A channel of a trace.
    Channel(Channel),
    /// A speed of the head shaft in turns a minute.
    HeadRpm,
    /// A speed of the boot shaft in turns a minute.
    BootRpm,
}

impl Role {
    /// The role of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "head_rpm" => Some(Self::HeadRpm),
            "boot_rpm" => Some(Self::BootRpm),
            _ => Channel::from_name(name).filter(|channel| is_importable(*channel)).map(Self::Channel),
        }
    }

    /// What it is called.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::HeadRpm => "head_rpm",
            Self::BootRpm => "boot_rpm",
            Self::Channel(channel) => channel.name(),
        }
    }
}

/// Whether other loggers' files can hold it.
const fn is_importable(channel: Channel) -> bool {
    !matches!(channel, Channel::Command | Channel::EdgesLost | Channel::Tick)
}

/// One series given its role.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mapped {
    /// What it is to be.
    pub role: Role,
    /// What the file calls it.
    pub series: String,
    /// 1 in the file means 0: an input that is low when a target is before it, say.
    pub inverted: bool,
}

/// What a person says of the file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Choice {
    /// Which series is what; where it is empty, those whose names are those of channels.
    pub map: Vec<Mapped>,
    /// Rows a second, where each row is one sample.
    pub rate_hz: Option<f64>,
    /// The unit of the time column.
    pub unit: Option<Unit>,
}

impl Choice {
    /// `head=D0,boot=!D1`: which series is what; `!` for one whose levels are the other way about.
    ///
    /// # Errors
    /// What cannot be read, and how it is written.
    pub fn read_map(text: &str) -> Result<Vec<Mapped>> {
        let part = |part: &str| {
            let how = "write head=D0,boot=D1, with the file's names on the right and ! before one that is inverted";
            let Some((role, series)) = part.split_once('=') else {
                return Err(Error::said(format!("`{part}`: {how}")));
            };
            let role = Role::from_name(role.trim()).ok_or_else(|| {
                Error::said(format!(
                    "`{}` is no channel that can be imported: {how}; or head_rpm, boot_rpm for speeds",
                    role.trim()
                ))
            })?;
            let series = series.trim();
            let inverted = series.starts_with('!');
            Ok(Mapped { role, series: series.trim_start_matches('!').to_owned(), inverted })
        };
        let map: Vec<Mapped> = text.split(',').map(part).collect::<Result<_>>()?;
        for (index, one) in map.iter().enumerate() {
            if map[..index].iter().any(|other| other.role == one.role) {
                return Err(Error::said(format!("`{}` is mapped twice: once is enough", one.role.name())));
            }
        }
        Ok(map)
    }

    /// Which series is what.
    ///
    /// # Errors
    /// A series that the file does not have, or nothing that can be imported.
    pub fn roles<'f>(&self, found: &'f Found) -> Result<Vec<(Role, &'f Series, bool)>> {
        let names = || found.series.iter().map(|series| format!("`{}`", series.name)).collect::<Vec<_>>().join(", ");
        if self.map.is_empty() {
            let own: Vec<_> = found
                .series
                .iter()
                .filter_map(|series| Some((Role::from_name(&series.name)?, series, false)))
                .collect();
            if own.is_empty() {
                return Err(Error::said(format!(
                    "nothing says which of {} is which sensor: say so with --map head=…,boot=…",
                    names()
                )));
            }
            return Ok(own);
        }
        let one = |mapped: &Mapped| {
            let series = found.series(&mapped.series);
            let series = series
                .ok_or_else(|| Error::said(format!("the file has no `{}`; it has {}", mapped.series, names())))?;
            Ok((mapped.role, series, mapped.inverted))
        };
        self.map.iter().map(one).collect()
    }
}

/// A line of a logic analyser's program about what follows, which it writes into whatever follows.
fn is_meta(line: &str) -> bool {
    line.starts_with("META ")
}

/// Look what a file holds.
///
/// # Errors
/// It is none of the kinds, or breaks off; with the line.
pub fn look(name: &str, bytes: &[u8]) -> Result<Found> {
    let text = &text::text_of(bytes).map_err(|error| Error::said(format!("{name}{error}")))?;
    let is_dump =
        text.lines().find(|line| !is_meta(line) && !line.trim().is_empty()).is_some_and(|line| line.starts_with('$'));
    let found = if is_dump { vcd::read(text) } else { sheet::read(text) };
    let found = found.map_err(|error| {
        let mend =
            if error.contains("mend:") { "" } else { "\n  mend: check that this is the file, and export it again" };
        Error::said(format!("{name}{error}{mend}"))
    })?;
    if found.series.is_empty() {
        return Err(Error::said(format!(
            "{name} holds no columns beside its time: nothing to import\n  mend: export the sensors' columns with it"
        )));
    }
    Ok(found)
}
