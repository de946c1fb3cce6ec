//! Reading a trace as a stream.

use std::io::{self, Read};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use flate2::read::MultiGzDecoder;
use slackside::input::{Input, Shaft};
use slackside::units::Micros;

use super::channel::{Channel, nearest};
use super::error::{TraceError, Wrong};
use super::quick::edge_row;
use super::row::{HEADER, parse_value};
use super::survey::Survey;
use crate::files::{Files, Opened, WANTED_TRACE, unreadable};

/// Bytes read at once; also the longest line there can be.
const BUFFER: usize = 256 * 1024;
/// Rows a shaft may have in one direction only before that is no accident.
const ONE_WAY_ROWS: u64 = 8;
/// Rows handed out at once.
const BATCH: usize = 4096;

/// Reads a trace row by row, in constant memory.
pub struct Reader {
    name: String,
    source: Box<dyn Read + Send>,
    compressed: bool,
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    at_end: bool,
    line: u64,
    survey: Survey,
    /// The number of each row of the newest batch.
    numbers: Vec<u64>,
    counts_inputs: bool,
    progress: Progress,
    waiting: std::vec::IntoIter<Input>,
    broken: bool,
}

/// How far reading has come, for a progress bar.
#[derive(Clone, Debug, Default)]
pub struct Progress {
    read: Arc<AtomicU64>,
    length: Option<u64>,
}

impl Progress {
    /// Bytes of the file read so far (compressed ones, if compressed).
    #[must_use]
    pub fn read(&self) -> u64 {
        self.read.load(Ordering::Relaxed)
    }

    /// Bytes in the file, if known.
    #[must_use]
    pub const fn length(&self) -> Option<u64> {
        self.length
    }
}

struct Counted<R> {
    inner: R,
    read: Arc<AtomicU64>,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer)?;
        self.read.fetch_add(count as u64, Ordering::Relaxed);
        Ok(count)
    }
}

/// What a file is that begins like this and is not plain text, and how to mend that.
pub(crate) const fn foreign(opening: &[u8]) -> Option<(&'static str, &'static str)> {
    Some(match opening {
        [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => ("text in UTF-16", "save it as UTF-8"),
        [b'P', b'K', 3, 4, ..] => ("a ZIP archive or a spreadsheet", "unpack it, or export the sheet as CSV"),
        [0x28, 0xb5, 0x2f, 0xfd, ..] => ("packed with zstd", "unpack it; gzip is read as it is"),
        [0xfd, b'7', b'z', b'X', ..] => ("packed with xz", "unpack it; gzip is read as it is"),
        [b'B', b'Z', b'h', ..] => ("packed with bzip2", "unpack it; gzip is read as it is"),
        _ => return None,
    })
}

impl Reader {
    /// Open a trace file.
    ///
    /// # Errors
    /// The file cannot be opened, or does not begin as a trace does.
    pub fn open(files: &dyn Files, path: &Path) -> Result<Self, TraceError> {
        let opened = files.open(path).map_err(|error| {
            let said = unreadable(&error, WANTED_TRACE);
            let (problem, mend) = said.split_once("\n  mend: ").unwrap_or((&said, WANTED_TRACE));
            let (problem, mend) = (problem.to_owned(), mend.to_owned());
            TraceError { name: path.display().to_string(), line: 0, column: 0, problem, mend }
        })?;
        Self::of(files, opened)
    }

    /// Read a trace that was opened.
    ///
    /// # Errors
    /// It does not begin as a trace does.
    pub fn of(files: &dyn Files, opened: Opened) -> Result<Self, TraceError> {
        Self::start(opened.name, opened.source, opened.length, |unpacking| files.ahead(unpacking))
    }

    /// Read a trace from anything; `name` is what messages call it.
    ///
    /// # Errors
    /// It does not begin as a trace does.
    pub fn from_read(name: &str, source: impl Read + Send + 'static) -> Result<Self, TraceError> {
        Self::start(name.to_owned(), source, None, |unpacking| unpacking)
    }

    fn start(
        name: String,
        source: impl Read + Send + 'static,
        length: Option<u64>,
        ahead: impl FnOnce(Box<dyn Read + Send>) -> Box<dyn Read + Send>,
    ) -> Result<Self, TraceError> {
        let progress = Progress { read: Arc::default(), length };
        let mut source = Counted { inner: source, read: Arc::clone(&progress.read) };
        let mut reader = Self {
            name,
            source: Box::new(io::empty()),
            compressed: false,
            buffer: vec![0; BUFFER],
            start: 0,
            end: 0,
            at_end: false,
            line: 0,
            survey: Survey::default(),
            numbers: Vec::new(),
            counts_inputs: false,
            progress,
            waiting: Vec::new().into_iter(),
            broken: false,
        };
        let mut opening = [0; 4];
        let got = fill(&mut source, &mut opening).map_err(|error| reader.failed(&error))?;
        let opening = &opening[..got];
        reader.refuse_foreign(opening)?;
        let whole = io::Cursor::new(opening.to_vec()).chain(source);
        reader.compressed = opening.starts_with(&[0x1f, 0x8b]);
        reader.source = if reader.compressed { ahead(Box::new(MultiGzDecoder::new(whole))) } else { Box::new(whole) };
        reader.header()?;
        Ok(reader)
    }

    /// Number the rows by themselves and not by the lines they are on: for inputs that come from no text.
    #[must_use]
    pub fn counting_inputs(mut self) -> Self {
        self.counts_inputs = true;
        self
    }

    /// The number of each row of the newest batch: its line in the file.
    #[must_use]
    pub fn numbers(&self) -> &[u64] {
        &self.numbers
    }

    /// What messages call the trace.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How far reading has come.
    #[must_use]
    pub fn progress(&self) -> Progress {
        self.progress.clone()
    }

    /// What was found so far.
    #[must_use]
    pub const fn survey(&self) -> &Survey {
        &self.survey
    }

    /// Replace what is in `batch` by the next rows. `false`: there are no more, and the trace as a whole is in order.
    ///
    /// # Errors
    /// A row that cannot be read, or at the end a trace that cannot be judged as a whole. Nothing more is read after it.
    pub fn read_batch(&mut self, batch: &mut Vec<Input>) -> Result<bool, TraceError> {
        batch.clear();
        self.numbers.clear();
        if self.broken {
            return Ok(false);
        }
        let outcome = self.fill_batch(batch);
        self.broken = outcome.is_err();
        outcome
    }

    fn fill_batch(&mut self, batch: &mut Vec<Input>) -> Result<bool, TraceError> {
        while batch.len() < BATCH {
            if let Some((input, length)) = edge_row(&self.buffer[self.start..self.end]) {
                self.start += length;
                self.line += 1;
                self.take(input, batch);
                continue;
            }
            let Some(line) = self.next_line()? else { break };
            if let Some(input) = self.careful(line)? {
                self.take(input, batch);
            } else {
                self.survey.comment(&self.buffer[line.0..line.1]);
            }
        }
        self.check_one_way(ONE_WAY_ROWS)?;
        if batch.is_empty() {
            self.check_whole()?;
            return Ok(false);
        }
        Ok(true)
    }

    fn take(&mut self, input: Input, batch: &mut Vec<Input>) {
        self.survey.take(&input, self.line);
        self.numbers.push(if self.counts_inputs { self.survey.rows } else { self.line });
        batch.push(input);
    }

    /// The bounds of the next line in the buffer without its line end, and past it.
    fn next_line(&mut self) -> Result<Option<(usize, usize)>, TraceError> {
        let mut searched = self.start;
        loop {
            if let Some(found) = memchr::memchr(b'\n', &self.buffer[searched..self.end]) {
                let line = (self.start, searched + found);
                self.start = line.1 + 1;
                self.line += 1;
                return Ok(Some(line));
            }
            if self.at_end {
                if self.start == self.end {
                    return Ok(None);
                }
                let line = (self.start, self.end);
                self.start = self.end;
                self.line += 1;
                return Ok(Some(line));
            }
            if self.start > 0 {
                self.buffer.copy_within(self.start..self.end, 0);
                self.end -= self.start;
                self.start = 0;
            }
            searched = self.end;
            if self.end == self.buffer.len() {
                return Err(self.wrong(
                    self.line + 1,
                    1,
                    "this line does not end: it is longer than any trace row".to_owned(),
                    "check that the file is a CSV trace with a line for each input",
                ));
            }
            let free = &mut self.buffer[self.end..];
            match fill(&mut self.source, free) {
                Ok(0) => self.at_end = true,
                Ok(count) => self.end += count,
                Err(error) => return Err(self.failed(&error)),
            }
        }
    }

    fn header(&mut self) -> Result<(), TraceError> {
        let line = loop {
            let Some((from, to)) = self.next_line()? else {
                return Err(self.wrong(
                    0,
                    0,
                    "the trace is empty".to_owned(),
                    "record something; the first line must be `time_us,channel,value`",
                ));
            };
            let bytes = self.buffer[from..to].strip_prefix(b"\xef\xbb\xbf").unwrap_or(&self.buffer[from..to]);
            if !bytes.trim_ascii().is_empty() {
                break bytes.to_vec();
            }
        };
        let Ok(text) = str::from_utf8(&line) else { return Err(self.not_utf8(&line)) };
        let fields: Vec<&str> = text.split(',').map(bare).collect();
        if fields == ["time_us", "channel", "value"] {
            return Ok(());
        }
        let mend = if text.contains(';') || text.contains('\t') {
            format!("separate the fields by commas: `{HEADER}`")
        } else if text.starts_with(['#', '[']) || text.contains(" = ") {
            "this looks like settings, a scenario or a study; name the trace here, and its leg with --settings"
                .to_owned()
        } else if let Some(unit) = ["time_s", "time_ms", "time_ns"].into_iter().find(|name| fields.contains(name)) {
            let change = match unit {
                "time_s" => "multiply every time by 1000000",
                "time_ms" => "multiply every time by 1000",
                _ => "divide every time by 1000",
            };
            format!("times are whole microseconds: {change}, round, and name the columns `{HEADER}`")
        } else if ["time_us", "channel", "value"].iter().all(|name| fields.contains(name)) {
            format!("put the columns in this order, each row's too, and leave others out: `{HEADER}`")
        } else if text.trim_start().starts_with(|first: char| first.is_ascii_digit()) {
            format!("the header is missing: put `{HEADER}` before this line")
        } else {
            format!("name the columns, in this order, `{HEADER}`")
        };
        Err(self.wrong(self.line, 1, format!("the header `{HEADER}` was expected, not `{}`", short(text)), &mend))
    }

    fn careful(&self, (from, to): (usize, usize)) -> Result<Option<Input>, TraceError> {
        let bytes = &self.buffer[from..to];
        // Comments keep what rows cannot say, such as the keyframes of a recording.
        if bytes.trim_ascii().is_empty() || bytes.starts_with(b"#") {
            return Ok(None);
        }
        let Ok(text) = str::from_utf8(bytes) else { return Err(self.not_utf8(bytes)) };
        let text = text.trim_end_matches('\r');
        let fields: Vec<&str> = text.split(',').collect();
        let [time, name, value] = fields[..] else {
            let problem =
                format!("three fields were expected, time_us, channel and value, but there are {}", fields.len());
            let mend = if text.contains(';') || text.contains('\t') {
                "separate the fields by commas"
            } else if self.at_end && self.start == self.end {
                "the last row looks cut off: remove it, or record again"
            } else {
                "write a row for each input, such as `5181733,head,1`"
            };
            return Err(self.wrong(self.line, 1, problem, mend));
        };
        let column = |field: &str| field.as_ptr() as u64 - text.as_ptr() as u64 + 1;
        let at = self.time(bare(time), column(time))?;
        let channel = Channel::from_name(bare(name)).ok_or_else(|| self.unknown_channel(bare(name), column(name)))?;
        let signal = parse_value(channel, bare(value))
            .map_err(|Wrong { problem, mend }| self.wrong(self.line, column(value), problem, &mend))?;
        Ok(Some(Input::new(at, signal)))
    }

    fn time(&self, text: &str, column: u64) -> Result<Micros, TraceError> {
        // `parse` alone would take a plus sign.
        if text.bytes().all(|byte| byte.is_ascii_digit()) && !text.is_empty() {
            return match text.parse() {
                Ok(micros) => Ok(Micros::new(micros)),
                Err(_) => Err(self.wrong(
                    self.line,
                    column,
                    format!("`{}` is too large a time", short(text)),
                    "write microseconds from 0 to 18446744073709551615",
                )),
            };
        }
        let mend = if text == "time_us" {
            "this is a second header: remove it where traces were joined"
        } else if text.starts_with('-') {
            "times count from the beginning of the trace: add the same amount to all, so that none is negative"
        } else if text.contains('.') {
            "times are whole microseconds: multiply seconds by 1000000 and round"
        } else {
            "write whole microseconds, such as 5181733"
        };
        Err(self.wrong(self.line, column, format!("`{}` is no time in microseconds", short(text)), mend))
    }

    fn unknown_channel(&self, name: &str, column: u64) -> TraceError {
        let mend = match nearest(name, Channel::ALL.into_iter().map(Channel::name)) {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!(
                "use one of {}, or leave the row out",
                Channel::ALL.into_iter().map(Channel::name).collect::<Vec<_>>().join(", ")
            ),
        };
        self.wrong(self.line, column, format!("`{}` is no channel", short(name)), &mend)
    }

    fn check_one_way(&self, enough: u64) -> Result<(), TraceError> {
        let Some((shaft, rises)) = self.survey.one_way(enough) else { return Ok(()) };
        let channel = Channel::Edge(shaft);
        let (only, other) = if rises { ("rises (1)", "falls (0)") } else { ("falls (0)", "rises (1)") };
        Err(self.wrong(
            self.survey.first_line(channel),
            0,
            format!(
                "`{}` has only {only} from here on: without the {other} the width of a pulse is not known, and noise \
                 cannot be told from a target",
                channel.name()
            ),
            &format!("record both levels of the sensor: set the logger to both edges, and write {other} too"),
        ))
    }

    fn check_whole(&self) -> Result<(), TraceError> {
        if self.survey.rows == 0 {
            return Err(self.wrong(
                0,
                0,
                "the trace has a header and no rows".to_owned(),
                "record something, then replay it",
            ));
        }
        let edges = self.survey.count(Channel::Edge(Shaft::Head)) + self.survey.count(Channel::Edge(Shaft::Boot));
        if edges == 0 {
            return Err(self.wrong(
                0,
                0,
                "the trace has no row on `boot` or `head`: there is no motion to judge".to_owned(),
                "record at least the boot shaft's target sensor, channel `boot`",
            ));
        }
        self.check_one_way(2)
    }

    fn refuse_foreign(&self, opening: &[u8]) -> Result<(), TraceError> {
        let Some((what, mend)) = foreign(opening) else { return Ok(()) };
        Err(self.wrong(0, 0, format!("this is {what}, not a CSV trace"), mend))
    }

    fn not_utf8(&self, line: &[u8]) -> TraceError {
        let good = str::from_utf8(line).map_or_else(|error| error.valid_up_to(), str::len);
        self.wrong(
            self.line,
            good as u64 + 1,
            "these bytes are not UTF-8 text".to_owned(),
            "save the file as UTF-8; if this is no text at all, check that it is the right file",
        )
    }

    fn failed(&self, error: &io::Error) -> TraceError {
        let line = if self.line == 0 { 0 } else { self.line + 1 };
        if self.compressed && error.kind() == io::ErrorKind::UnexpectedEof {
            return self.wrong(
                line,
                0,
                "the gzip data breaks off: the file is not whole".to_owned(),
                "copy it again; or unpack what is there and replay that",
            );
        }
        if self.compressed {
            return self.wrong(
                line,
                0,
                format!("the gzip data is damaged: {error}"),
                "copy it again, or pack it again from the original",
            );
        }
        self.wrong(line, 0, format!("cannot be read: {error}"), "check the disk or the network, then try again")
    }

    fn wrong(&self, line: u64, column: u64, problem: String, mend: &str) -> TraceError {
        TraceError { name: self.name.clone(), line, column, problem, mend: mend.to_owned() }
    }
}

impl Iterator for Reader {
    type Item = Result<Input, TraceError>;

    fn next(&mut self) -> Option<Self::Item> {
        if let Some(input) = self.waiting.next() {
            return Some(Ok(input));
        }
        let mut batch = Vec::new();
        match self.read_batch(&mut batch) {
            Ok(true) => {
                self.waiting = batch.into_iter();
                self.waiting.next().map(Ok)
            }
            Ok(false) => {
                self.broken = true;
                None
            }
            Err(error) => Some(Err(error)),
        }
    }
}

/// Read until `buffer` is full or the source ends.
fn fill(source: &mut impl Read, buffer: &mut [u8]) -> io::Result<usize> {
    let mut got = 0;
    while got < buffer.len() {
        match source.read(&mut buffer[got..]) {
            Ok(0) => break,
            Ok(count) => got += count,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
    Ok(got)
}

/// A field without the spaces and the pair of quotes that some loggers put around it.
fn bare(field: &str) -> &str {
    let field = field.trim();
    field.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')).unwrap_or(field)
}

/// At most 40 characters of what was found, without control characters.
fn short(text: &str) -> String {
    let mut out: String = text.chars().take(40).map(|letter| if letter.is_control() { '?' } else { letter }).collect();
    if text.chars().count() > 40 {
        out.push('…');
    }
    out
}
