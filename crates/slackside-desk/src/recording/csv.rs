//! A recording as a trace that any program can read, with comments that keep what rows cannot say: keyframes, ends, anchors.
//!
//! ```text
//! time_us,channel,value
//! #slackside recording 1: the lines beginning with # keep what rows cannot say; leave them for converting back
//! #about 00…
//! #settings 5B…
//! #plan 53…
//! #segment 53…
//! 5181733,head,1
//! #anchor 5181800 1700000000000000 900
//! #end 5206112 8FC32D6A
//! ```

use crate::error::{Context, bail, ensure};
use slackside::record::{Anchor, End, Header, Reader as Segments, Record, SegmentWriter};
use slackside::units::{Micros, Span};

use super::file::{About, MadeUnder, Part, Recording};
use crate::trace::{HEADER, Reader, write_row};

const OPENING: &str = "#slackside recording 1";
/// Larger than any segment.
const ROOM_BESIDE: usize = 4_096;
/// The most bytes an input or an anchor takes, with its share of the checks.
const MOST_RECORD: usize = 40;

/// Whether this is a trace with the comments of a recording.
#[must_use]
pub fn is_recording_csv(bytes: &[u8]) -> bool {
    let mut lines = bytes.split(|byte| *byte == b'\n').take(2);
    lines.next().is_some_and(|line| line.trim_ascii() == HEADER.as_bytes())
        && lines.next().is_some_and(|line| line.starts_with(OPENING.as_bytes()))
}

fn hex(bytes: &[u8], out: &mut Vec<u8>) {
    const FIGURES: &[u8; 16] = b"0123456789ABCDEF";
    for byte in bytes {
        out.push(FIGURES[usize::from(byte >> 4)]);
        out.push(FIGURES[usize::from(byte & 15)]);
    }
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    let figures = text.as_bytes();
    let pairs = figures.chunks_exact(2);
    if !pairs.remainder().is_empty() {
        return None;
    }
    pairs
        .map(|pair| {
            let pair =
                str::from_utf8(pair).ok().filter(|pair| pair.bytes().all(|figure| figure.is_ascii_hexdigit()))?;
            u8::from_str_radix(pair, 16).ok()
        })
        .collect()
}

/// The recording as a trace.
///
/// # Errors
/// It has parts whose end is lost: they cannot be written back as they are.
pub fn to_csv(recording: &Recording) -> crate::error::Result<Vec<u8>> {
    let mut out = format!(
        "{HEADER}\n{OPENING}: the lines beginning with # keep what rows cannot say; leave them for converting back\n"
    )
    .into_bytes();
    let mut room = [0; 1_024];
    let about =
        postcard::to_slice(&recording.about, &mut room).ok().context("serial number or firmware version too long")?;
    out.extend(b"#about ");
    hex(about, &mut out);
    out.extend(b"\n#settings ");
    hex(recording.made_under.settings.as_bytes(), &mut out);
    out.extend(b"\n#plan ");
    hex(&recording.made_under.plan, &mut out);
    out.push(b'\n');
    for part in &recording.parts {
        out.extend(b"#segment ");
        // The header's bytes are what a segment begins with.
        let (bytes, begin) = assemble(part, &[])?;
        hex(&bytes[..begin], &mut out);
        out.push(b'\n');
        for record in &part.records {
            match record {
                Record::Input(input) => write_row(input, &mut out),
                Record::Anchor(Anchor { at, desk_us, uncertainty }) => {
                    out.extend(format!("#anchor {} {desk_us} {}\n", at.get(), uncertainty.get()).bytes());
                }
                _ => bail!("{}: it holds records that this program does not know", recording.name),
            }
        }
        match part.end {
            Some(End { newest, state, .. }) => out.extend(format!("#end {} {state:08X}\n", newest.get()).bytes()),
            None => out.extend(b"#end lost\n"),
        }
    }
    Ok(out)
}

/// The bytes of a segment with these records, closed if its end is known; and where its records begin.
fn assemble(part: &Part, records: &[Record]) -> crate::error::Result<(Vec<u8>, usize)> {
    let mut memory = vec![0; ROOM_BESIDE + part.keyframe.len() + records.len() * MOST_RECORD];
    let no_room = "its keyframe is not the one its header names";
    let mut writer = SegmentWriter::again(&mut memory, &part.header, &part.keyframe).ok().context(no_room)?;
    let begin = writer.length();
    for record in records {
        let pushed = match record {
            Record::Input(input) => writer.push(&mut memory, input),
            Record::Anchor(anchor) => writer.push_anchor(&mut memory, anchor),
            _ => bail!("it holds records that this program does not know"),
        };
        pushed.ok().context("a segment larger than any")?;
    }
    let length = match part.end {
        Some(end) => writer.close(&mut memory, end.newest, end.state),
        None => writer.cut(&mut memory),
    };
    memory.truncate(length);
    Ok((memory, begin))
}

/// Back from a trace with the comments of a recording.
///
/// # Errors
/// A row or a comment cannot be read: the line is named.
pub fn from_csv(name: &str, bytes: Vec<u8>) -> crate::error::Result<Recording> {
    let text = String::from_utf8(bytes).ok().with_context(|| format!("{name}: not text"))?;
    let mut inputs = Vec::new();
    let mut reader = Reader::from_read(name, std::io::Cursor::new(text.clone().into_bytes()))?;
    let mut batch = Vec::new();
    while reader.read_batch(&mut batch)? {
        inputs.append(&mut batch);
    }
    let mut inputs = inputs.into_iter();
    let mut about = About::default();
    let mut made_under = MadeUnder::default();
    let mut segments = Vec::new();
    let mut open: Option<Part> = None;
    for (index, line) in text.lines().enumerate().skip(1) {
        let line = line.trim();
        let place = || {
            format!(
                "{name}, line {}: this comment cannot be read: it was changed; convert the recording again",
                index + 1
            )
        };
        let Some(comment) = line.strip_prefix('#') else {
            if !line.is_empty() {
                let input = inputs.next().with_context(place)?;
                let part = open.as_mut().with_context(|| {
                    format!(
                        "{name}, line {}: a row outside any segment: remove the comments to convert the rows alone",
                        index + 1
                    )
                })?;
                part.records.push(Record::Input(input));
            }
            continue;
        };
        let mut words = comment.split_ascii_whitespace();
        match words.next() {
            Some("about") => {
                let bytes = unhex(words.next().unwrap_or("")).with_context(place)?;
                about = postcard::from_bytes(&bytes).ok().with_context(place)?;
            }
            Some("settings") => {
                let text = unhex(words.next().unwrap_or("")).and_then(|bytes| String::from_utf8(bytes).ok());
                made_under.settings = text.with_context(place)?;
            }
            Some("plan") => made_under.plan = unhex(words.next().unwrap_or("")).with_context(place)?,
            Some("segment") => {
                ensure!(open.is_none(), "{}", place());
                let bytes = unhex(words.next().unwrap_or("")).with_context(place)?;
                let (header, keyframe) = opening(&bytes).with_context(place)?;
                open = Some(Part { header, keyframe, records: Vec::new(), end: None });
            }
            Some("anchor") => {
                let mut number = || words.next().and_then(|word| word.parse::<i64>().ok()).with_context(place);
                let (at, desk_us, doubt) = (number()?, number()?, number()?);
                let anchor = Anchor {
                    at: Micros::new(u64::try_from(at).ok().with_context(place)?),
                    desk_us,
                    uncertainty: Span::new(u32::try_from(doubt).ok().with_context(place)?),
                };
                open.as_mut().with_context(place)?.records.push(Record::Anchor(anchor));
            }
            Some("end") => {
                let mut part = open.take().with_context(place)?;
                let words: Vec<&str> = words.collect();
                part.end = match words[..] {
                    ["lost"] => None,
                    [newest, state] => Some(End {
                        newest: Micros::new(newest.parse().ok().with_context(place)?),
                        state: u32::from_str_radix(state, 16).ok().with_context(place)?,
                    }),
                    _ => bail!("{}", place()),
                };
                let records = std::mem::take(&mut part.records);
                segments.extend(assemble(&part, &records)?.0);
            }
            _ => {}
        }
    }
    ensure!(open.is_none(), "{name}: the last segment has no end: the file is cut off");
    Ok(Recording::new(name, about, made_under, segments))
}

/// Header and keyframe from the bytes a segment begins with.
fn opening(bytes: &[u8]) -> Option<(Header, Vec<u8>)> {
    let (segment, _) = Segments::new(bytes).next()?;
    let segment = segment?;
    Some((segment.header, segment.keyframe.to_vec()))
}
