//! A plan and inputs from the host's files, verdicts back to one.

use core::cell::UnsafeCell;

use postcard::{take_from_bytes, to_slice};
use slackside::input::Input;
use slackside::settings::plan::Plan;
use slackside::verdict::Verdict;
use zerocopy::FromBytes;

use crate::host::{Failure, File};

/// More than the longest encoded input: a bypass command with its times.
const LONGEST_INPUT: usize = 64;

/// Where the plan lies, as it would in flash.
#[repr(align(8))]
struct Place(UnsafeCell<[u8; MOST_PLAN]>);

// SAFETY: one thread, no interrupts.
unsafe impl Sync for Place {}

/// As much as a plan takes.
const MOST_PLAN: usize = Plan::LENGTH;

static PLAN: Place = Place(UnsafeCell::new([0; MOST_PLAN]));

/// The plan in `plan.bin`.
///
/// # Errors
/// If the file or what is in it is no good.
#[inline(never)]
pub fn plan() -> Result<&'static Plan, Failure> {
    // SAFETY: one thread, and this is called once.
    let bytes: &'static mut [u8] = unsafe { &mut *PLAN.0.get() };
    let length = File::open(c"plan.bin")?.read(bytes)?;
    let bytes: &'static [u8] = bytes.get(..length).ok_or(Failure::Read)?;
    Plan::ref_from_bytes(bytes).map_err(|_| Failure::Settings)
}

/// The inputs in `inputs.bin`, one after the other.
pub struct Inputs {
    file: File,
    buffer: [u8; 4096],
    from: usize,
    to: usize,
}

impl Inputs {
    /// Open the file.
    ///
    /// # Errors
    /// If it cannot be opened.
    pub fn open() -> Result<Self, Failure> {
        Ok(Self { file: File::open(c"inputs.bin")?, buffer: [0; 4096], from: 0, to: 0 })
    }

    /// The next input; `None` at the end.
    ///
    /// # Errors
    /// If the file cannot be read or holds no input there.
    #[expect(clippy::should_implement_trait, reason = "an iterator of results would hide the end behind a failure")]
    pub fn next(&mut self) -> Result<Option<Input>, Failure> {
        if self.to - self.from < LONGEST_INPUT {
            self.buffer.copy_within(self.from..self.to, 0);
            self.to -= self.from;
            self.from = 0;
            self.to += self.file.read(&mut self.buffer[self.to..])?;
        }
        let bytes = &self.buffer[self.from..self.to];
        if bytes.is_empty() {
            return Ok(None);
        }
        let (input, rest) = take_from_bytes(bytes).map_err(|_| Failure::Input)?;
        self.from = self.to - rest.len();
        Ok(Some(input))
    }
}

/// The verdicts in `verdicts.bin`.
pub struct Verdicts {
    file: File,
    buffer: [u8; 1024],
    length: usize,
    failure: Option<Failure>,
}

impl Verdicts {
    /// Create the file.
    ///
    /// # Errors
    /// If it cannot be created.
    pub fn create() -> Result<Self, Failure> {
        Ok(Self { file: File::create(c"verdicts.bin")?, buffer: [0; 1024], length: 0, failure: None })
    }

    /// Add one verdict. What fails is told at [`finish`](Self::finish).
    pub fn push(&mut self, verdict: &Verdict) {
        if let Err(failure) = self.try_push(verdict) {
            self.failure.get_or_insert(failure);
        }
    }

    fn try_push(&mut self, verdict: &Verdict) -> Result<(), Failure> {
        if self.buffer.len() - self.length < LONGEST_INPUT {
            self.flush()?;
        }
        let used = to_slice(verdict, &mut self.buffer[self.length..]).map_err(|_| Failure::Verdict)?.len();
        self.length += used;
        Ok(())
    }

    fn flush(&mut self) -> Result<(), Failure> {
        let bytes = &self.buffer[..self.length];
        self.length = 0;
        if bytes.is_empty() { Ok(()) } else { self.file.write(bytes) }
    }

    /// Write what is left.
    ///
    /// # Errors
    /// The first failure since the file was created.
    pub fn finish(mut self) -> Result<(), Failure> {
        self.flush()?;
        self.failure.map_or(Ok(()), Err)
    }
}
