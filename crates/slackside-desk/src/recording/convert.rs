//! Converting between recordings and traces, by what is in the file.

use std::io::Cursor;

use crate::error::Context;
use slackside::input::Input;
use slackside::record::{Opening, SegmentWriter};
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::units::Micros;

use super::csv::{from_csv, is_recording_csv, to_csv};
use super::file::{About, MadeUnder, Recording, Source};
use crate::monitor::monitor;
use crate::replay::check_units;
use crate::trace::{Dump, Reader, dump};

/// Bytes of a segment of a recording made at the desk.
const SEGMENT: usize = 64 * 1_024;

/// What a file is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A recording.
    Recording,
    /// A trace with the comments of a recording.
    RecordingAsTrace,
    /// Anything else: a trace, or nothing known.
    Trace,
}

/// What these bytes are.
#[must_use]
pub fn kind_of(bytes: &[u8]) -> Kind {
    if Recording::is_one(bytes) {
        Kind::Recording
    } else if is_recording_csv(bytes) {
        Kind::RecordingAsTrace
    } else {
        Kind::Trace
    }
}

/// Make a recording of inputs: as a box would that was configured afresh just before the first.
///
/// # Errors
/// A segment has no room for its keyframe.
pub fn record(
    name: &str,
    settings: &Checked,
    inputs: impl IntoIterator<Item = Input>,
) -> crate::error::Result<Recording> {
    let no_room = "a segment has no room for it";
    let mut monitor = monitor(settings, &Retained::default());
    let mut opening = Opening::first(0);
    let mut memory = vec![0; SEGMENT];
    let mut inputs = inputs.into_iter().peekable();
    let mut newest = inputs.peek().map_or(Micros::ZERO, |first| first.at);
    let mut segments = Vec::new();
    let mut writer = SegmentWriter::open(&mut memory, &opening, newest, &monitor).ok().context(no_room)?;
    for input in inputs {
        if !writer.has_room(&memory) {
            let length = writer.close(&mut memory, newest, monitor.state_crc());
            segments.extend_from_slice(&memory[..length]);
            opening = opening.next();
            writer = SegmentWriter::open(&mut memory, &opening, newest, &monitor).ok().context(no_room)?;
        }
        writer.push(&mut memory, &input).ok().context(no_room)?;
        newest = newest.max(input.at);
        monitor.observe(input, &mut |_| {});
    }
    let length = writer.close(&mut memory, newest, monitor.state_crc());
    segments.extend_from_slice(&memory[..length]);
    let about = About { source: Source::Trace, ..About::default() };
    Ok(Recording::new(name, about, MadeUnder::of(settings), segments))
}

/// Convert a recording into a trace, or a trace into a recording. A trace made from a recording becomes the same
/// recording again; any other needs `settings`. The bytes it becomes, and what was done, in words.
///
/// # Errors
/// It cannot be read, its times cannot be microseconds, or the settings are missing.
pub fn convert(name: &str, bytes: Vec<u8>, settings: Option<&Checked>) -> crate::error::Result<(Vec<u8>, String)> {
    Ok(match kind_of(&bytes) {
        Kind::Recording => {
            let recording = Recording::from_bytes(name, &bytes)?;
            let csv = to_csv(&recording)?;
            (csv, said("trace", &recording))
        }
        Kind::RecordingAsTrace => {
            let recording = from_csv(name, bytes)?;
            (recording.to_bytes()?, said("recording, the same again", &recording))
        }
        Kind::Trace => {
            let mut reader = Reader::from_read(name, Cursor::new(bytes))?;
            let settings = settings.with_context(|| {
                format!(
                    "{name} is a trace: name the settings of its leg with --settings LEG.toml to make a recording of it"
                )
            })?;
            let inputs = read(&mut reader)?;
            check_units(name, reader.survey(), &settings.machine)?;
            let mut recording = record(name, settings, inputs)?;
            recording.about.anchor = reader.survey().anchor;
            (recording.to_bytes()?, said("recording", &recording))
        }
    })
}

/// Make a value change dump of a recording or a trace. The bytes it becomes, and what was done, in words.
///
/// # Errors
/// It cannot be read.
pub fn to_dump(name: &str, bytes: Vec<u8>) -> crate::error::Result<(Vec<u8>, String)> {
    let of_recording = |recording: &Recording| recording.parts.iter().flat_map(|part| part.inputs()).collect();
    let inputs: Vec<Input> = match kind_of(&bytes) {
        Kind::Recording => of_recording(&Recording::from_bytes(name, &bytes)?),
        Kind::RecordingAsTrace => of_recording(&from_csv(name, bytes)?),
        Kind::Trace => read(&mut Reader::from_read(name, Cursor::new(bytes))?)?,
    };
    let Dump { bytes, left_out } = dump(&inputs)?;
    let mut said = format!("value change dump: {} inputs", inputs.len() - left_out);
    if left_out > 0 {
        said.push_str(&format!("; {left_out} commands and lost edges have no place in it"));
    }
    Ok((bytes, said))
}

fn read(reader: &mut Reader) -> crate::error::Result<Vec<Input>> {
    let (mut inputs, mut batch) = (Vec::new(), Vec::new());
    while reader.read_batch(&mut batch)? {
        inputs.append(&mut batch);
    }
    Ok(inputs)
}

fn said(what: &str, recording: &Recording) -> String {
    let inputs: usize = recording.parts.iter().map(|part| part.inputs().count()).sum();
    let segments = recording.parts.len();
    let plural = if segments == 1 { "" } else { "s" };
    let mut text = format!("{what}: {inputs} inputs in {segments} segment{plural}");
    for damage in &recording.damage {
        text.push_str("\nwarning: ");
        text.push_str(damage);
    }
    text
}
