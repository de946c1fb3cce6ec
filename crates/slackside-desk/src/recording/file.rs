//! The file.

use std::fmt;
use std::sync::Arc;

use crate::error::{Context, bail, ensure};
use crc::{CRC_32_ISO_HDLC, Crc};
use serde::{Deserialize, Serialize};
use slackside::input::Input;
use slackside::record::{Anchor, End, Header, Reader, Record};
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::Sound;
use slackside::settings::{Checked, Settings};
use slackside::units::Micros;

use crate::monitor::sound;
use crate::settings;

const MAGIC: [u8; 4] = *b"SLrc";
const SEGMENT_MAGIC: [u8; 4] = *b"SLsg";
const VERSION: u8 = 2;
const OLD_VERSION: u8 = 1;
/// More than any about, so that a damaged length does not ask for memory.
const MOST_ABOUT: usize = 1_024;
const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);

/// Where a recording came from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Source {
    /// Fetched from a box.
    Box,
    /// Converted from a trace: its state at the beginning is that of a fresh start.
    #[default]
    Trace,
}

/// What is known of a recording besides what was recorded.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct About {
    /// Where it came from.
    pub source: Source,
    /// Serial number of the box; empty if it was none.
    pub serial: String,
    /// Version of its firmware.
    pub firmware: String,
    /// What the desk said of its time when they met.
    pub anchor: Option<Anchor>,
    /// How many segments there are: a file cut off between two is still told.
    pub segments: u32,
}

/// One segment, as far as it is sound.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// Its header.
    pub header: Header,
    /// The state at its beginning.
    pub keyframe: Vec<u8>,
    /// What was recorded.
    pub records: Vec<Record>,
    /// How it ended; `None` if that is lost.
    pub end: Option<End>,
}

impl Part {
    /// The inputs among what was recorded.
    pub fn inputs(&self) -> impl Iterator<Item = Input> + '_ {
        self.records.iter().filter_map(|record| match record {
            Record::Input(input) => Some(*input),
            _ => None,
        })
    }

    /// Whether this part goes on where `before` ended, with nothing lost in between and the same settings.
    #[must_use]
    pub fn follows(&self, before: &Self) -> bool {
        before.end.is_some()
            && self.header.session == before.header.session
            && self.header.sequence == before.header.sequence.wrapping_add(1)
            && self.header.missed == 0
            && !self.header.plan_changed
            && self.header.plan == before.header.plan
    }
}

/// Parts that follow one another without a gap.
pub type Run<'a> = &'a [Part];

/// What a recording was made under, as far as it is known.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MadeUnder {
    /// The settings file; empty if not known.
    pub settings: String,
    /// The bytes of the plan that the box ran on; empty if not known.
    pub plan: Vec<u8>,
}

impl MadeUnder {
    /// These settings.
    #[must_use]
    pub fn of(settings: &Checked) -> Self {
        Self { settings: settings::write(settings), plan: settings.plan().bytes().to_vec() }
    }

    /// The plan, if it is known and sound.
    #[must_use]
    pub fn plan(&self) -> Option<Sound<Arc<Plan>>> {
        sound(Plan::copy_of(&self.plan).ok()?)
    }
}

/// A recording.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recording {
    /// What messages call it.
    pub name: String,
    /// What is known of it.
    pub about: About,
    /// The settings it was made under.
    pub made_under: MadeUnder,
    /// Its segments.
    pub parts: Vec<Part>,
    /// The bytes of the segments.
    pub segments: Vec<u8>,
    /// What is wrong with it.
    pub damage: Vec<String>,
}

impl Recording {
    /// Whether a file that begins with these bytes is a recording.
    #[must_use]
    pub fn is_one(opening: &[u8]) -> bool {
        opening.starts_with(&MAGIC) || opening.starts_with(&SEGMENT_MAGIC)
    }

    /// Read from memory. What is damaged is told in `damage`, and what can be confirmed is kept.
    ///
    /// # Errors
    /// Nothing in it is a recording.
    pub fn from_bytes(name: &str, bytes: &[u8]) -> crate::error::Result<Self> {
        let mut recording = if bytes.starts_with(&SEGMENT_MAGIC) {
            Self::new(name, About { source: Source::Box, ..About::default() }, MadeUnder::default(), bytes.to_vec())
        } else {
            Self::open(name, bytes)?
        };
        let counted = recording.about.segments as usize;
        if counted > 0 && counted != recording.parts.len() {
            let found = recording.parts.len();
            recording.damage.push(format!("{counted} segments were written, {found} can be read"));
        }
        ensure!(
            !recording.parts.is_empty(),
            "{name}: no segment in it can be read: {}; fetch it again",
            recording.damage.first().map_or("it is empty", String::as_str)
        );
        Ok(recording)
    }

    fn open(name: &str, bytes: &[u8]) -> crate::error::Result<Self> {
        let Some(rest) = bytes.strip_prefix(&MAGIC) else {
            bail!("{name}: not a recording: it does not begin with the letters SLrc");
        };
        let version = match rest.first() {
            Some(version @ &(VERSION | OLD_VERSION)) => *version,
            Some(version) => bail!(
                "{name}: a recording of file version {version}, this program reads version {VERSION}: use a newer slackside"
            ),
            None => bail!("{name}: cut off after four bytes; fetch it again"),
        };
        let mut damage = Vec::new();
        let covered = match bytes.split_last_chunk::<4>() {
            Some((covered, crc)) if CRC.checksum(covered) == u32::from_le_bytes(*crc) => covered,
            _ => {
                damage.push("the file is damaged or cut off; what its segments confirm is still read".to_owned());
                bytes
            }
        };
        let mut rest = covered.get(8..).unwrap_or(&[]);
        let about = part(&mut rest).filter(|about| about.len() <= MOST_ABOUT);
        let about = about.and_then(|about| postcard::from_bytes(about).ok());
        if about.is_none() {
            damage.push("what was known of the recording cannot be read".to_owned());
        }
        let before = part(&mut rest).unwrap_or(&[]);
        // A file cut off has less than it says.
        let length = rest.split_off(..4.min(rest.len())).and_then(|length| <[u8; 4]>::try_from(length).ok());
        let length = length.map_or(0, |length| u32::from_le_bytes(length) as usize);
        let (segments, mut rest) = rest.split_at_checked(length).unwrap_or((rest, &[]));
        let made_under = if version == OLD_VERSION {
            let settings = Settings::from_image(before).map_or_else(|_| String::new(), |found| settings::write(&found));
            MadeUnder { settings, plan: Vec::new() }
        } else {
            let settings = String::from_utf8_lossy(part(&mut rest).unwrap_or(&[])).into_owned();
            MadeUnder { settings, plan: before.to_vec() }
        };
        let mut recording = Self::new(name, about.unwrap_or_default(), made_under, segments.to_vec());
        recording.damage.splice(0..0, damage);
        Ok(recording)
    }

    /// A recording of these segments.
    #[must_use]
    pub fn new(name: &str, about: About, made_under: MadeUnder, segments: Vec<u8>) -> Self {
        let mut parts = Vec::new();
        let mut damage = Vec::new();
        for (segment, wrong) in Reader::new(&segments) {
            if let Some((at, wrong)) = wrong {
                damage.push(format!("byte {at} of the segments: {wrong}"));
            }
            if let Some(segment) = segment {
                parts.push(Part {
                    header: segment.header,
                    keyframe: segment.keyframe.to_vec(),
                    records: segment.records().collect(),
                    end: segment.end,
                });
            }
        }
        Self { name: name.to_owned(), about, made_under, parts, segments, damage }
    }

    /// The file.
    ///
    /// # Errors
    /// It is larger than a file of this format can be.
    pub fn to_bytes(&self) -> crate::error::Result<Vec<u8>> {
        let about = About {
            segments: u32::try_from(self.parts.len()).ok().context("too many segments")?,
            ..self.about.clone()
        };
        let mut room = [0; MOST_ABOUT];
        let about = postcard::to_slice(&about, &mut room).ok().context("serial number or firmware version too long")?;
        let mut bytes = MAGIC.to_vec();
        bytes.extend([VERSION, 0, 0, 0]);
        let MadeUnder { settings, plan } = &self.made_under;
        for part in [&*about, plan, &self.segments, settings.as_bytes()] {
            bytes.extend(u32::try_from(part.len()).ok().context("larger than 4 GiB")?.to_le_bytes());
            bytes.extend_from_slice(part);
        }
        bytes.extend(CRC.checksum(&bytes).to_le_bytes());
        Ok(bytes)
    }

    /// The settings it was made under, if they came with it.
    ///
    /// # Errors
    /// They are damaged or break a rule.
    pub fn settings(&self) -> crate::error::Result<Option<Checked>> {
        let text = &self.made_under.settings;
        if text.is_empty() {
            return Ok(None);
        }
        let name = format!("the settings in {}", self.name);
        // Recordings of test benches are recordings too.
        let loaded =
            settings::parse(text, &name).or_else(|refused| settings::parse_for_bench(text, &name).map_err(|_| refused));
        Ok(Some(loaded.context("name others with --settings")?.checked))
    }

    /// The stretches without a gap, oldest first.
    pub fn runs(&self) -> impl Iterator<Item = Run<'_>> {
        self.parts.chunk_by(|before, after| after.follows(before))
    }

    /// The newest anchor told in it, or the one of the fetching.
    #[must_use]
    pub fn anchor(&self) -> Option<Anchor> {
        let mut told = self.parts.iter().flat_map(|part| &part.records).filter_map(|record| match record {
            Record::Anchor(anchor) => Some(*anchor),
            _ => None,
        });
        told.next_back().or(self.about.anchor)
    }
}

/// Take a part with its length before it.
fn part<'a>(rest: &mut &'a [u8]) -> Option<&'a [u8]> {
    let (length, after) = rest.split_first_chunk::<4>()?;
    let length = u32::from_le_bytes(*length) as usize;
    let (part, after) = after.split_at_checked(length)?;
    *rest = after;
    Some(part)
}

/// A moment of running time in words: seconds to the microsecond.
pub(super) struct Seconds(pub Micros);

impl fmt::Display for Seconds {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let micros = self.0.get();
        write!(out, "{}.{:06} s", micros / 1_000_000, micros % 1_000_000)
    }
}
