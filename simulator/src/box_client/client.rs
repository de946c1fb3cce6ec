//! Questions and answers.

use std::fmt;
use std::time::{Duration, Instant};

use slackside::wire::{Decoder, FrameError, MOST_FRAME, PROTOCOL_VERSION, Reason, Reply, Request, Window, encode};

use super::port::Port;
use super::say::say_reason;

/// How long one answer may take. A box that erases a block of flash is silent for up to a second.
const PATIENCE: Duration = Duration::from_millis(1_500);
/// How often a question is asked.
const TRIES: usize = 3;

/// Why a question got no good answer.
#[derive(Debug)]
#[non_exhaustive]
pub enum LinkError {
    /// The line is gone.
    Line(std::io::Error),
    /// Nothing, or nothing whole, came back.
    NoAnswer {
        /// What came instead, last.
        last: Option<FrameError>,
    },
    /// The box speaks another version of the protocol.
    Version(u8),
    /// The box said no.
    Refused(Reason),
    /// The box answered something else than was asked.
    OtherAnswer,
}

impl fmt::Display for LinkError {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line(error) => write!(out, "the line to the box is gone: {error}"),
            Self::NoAnswer { last: None } => write!(
                out,
                "no answer from the box in {TRIES} tries: is it on, does no other program hold its link (`watch` does), is the \
                 line crossed over (transmit to receive), is the baud rate the same at both ends, and is its firmware of this \
                 program's version or newer?",
            ),
            Self::NoAnswer { last: Some(_) } => write!(
                out,
                "only garbled answers from the box in {TRIES} tries: check the baud rate, the ground wire and the \
                 shield of the line",
            ),
            Self::Version(version) => write!(
                out,
                "the box speaks version {version} of the link, this program version {PROTOCOL_VERSION}: use the desk program \
                 that belongs to its firmware",
            ),
            Self::Refused(reason) => write!(out, "the box refuses: {}", say_reason(*reason)),
            Self::OtherAnswer => {
                out.write_str("the box answered something else than was asked: is another desk talking to it?")
            }
        }
    }
}

impl std::error::Error for LinkError {}

/// A desk at a box.
pub struct Client {
    port: Port,
    decoder: Decoder,
    number: u8,
}

impl Client {
    /// Talk over `port`.
    #[must_use]
    pub const fn new(port: Port) -> Self {
        Self { port, decoder: Decoder::new(), number: 0 }
    }

    /// Ask; `take` makes something of the answer, `None` where it is not the kind expected.
    ///
    /// # Errors
    /// [`LinkError`]. Asking again is up to the caller only after a refusal; silence was met with tries already.
    pub fn ask<T>(
        &mut self,
        request: &Request<'_>,
        mut take: impl FnMut(Reply<'_>) -> Option<T>,
    ) -> Result<T, LinkError> {
        let mut last = None;
        for _ in 0..TRIES {
            self.number = self.number.wrapping_add(1);
            let mut frame = [0; MOST_FRAME];
            let frame = encode(self.number, request, &mut frame).ok_or(LinkError::OtherAnswer)?;
            // A zero first: whatever noise came before ends there.
            self.port.write_all(&[0]).and_then(|()| self.port.write_all(frame)).map_err(LinkError::Line)?;
            match self.wait(&mut take) {
                Err(LinkError::NoAnswer { last: error }) => last = error.or(last),
                answer => return answer,
            }
        }
        Err(LinkError::NoAnswer { last })
    }

    fn wait<T>(&mut self, take: &mut impl FnMut(Reply<'_>) -> Option<T>) -> Result<T, LinkError> {
        let begun = Instant::now();
        let mut last = None;
        while begun.elapsed() < PATIENCE {
            let mut buffer = [0; 256];
            let count = self.port.read_some(&mut buffer).map_err(LinkError::Line)?;
            for byte in &buffer[..count] {
                match self.decoder.feed(*byte) {
                    None => {}
                    Some(Err(FrameError::Version(version))) => return Err(LinkError::Version(version)),
                    Some(Err(error)) => last = Some(error),
                    // Said before anything was asked, so under no number of ours.
                    Some(Ok(frame)) if matches!(frame.message(), Some(Reply::Refused(Reason::OtherDesk))) => {
                        return Err(LinkError::Refused(Reason::OtherDesk));
                    }
                    // An answer to a question given up before.
                    Some(Ok(frame)) if frame.number != self.number => {}
                    Some(Ok(frame)) => {
                        return match frame.message() {
                            Some(Reply::Refused(reason)) => Err(LinkError::Refused(reason)),
                            Some(reply) => take(reply).ok_or(LinkError::OtherAnswer),
                            None => Err(LinkError::OtherAnswer),
                        };
                    }
                }
            }
        }
        Err(LinkError::NoAnswer { last })
    }

    /// Read what a window shows, up to `most` bytes; `progress` is told how many bytes are there.
    ///
    /// # Errors
    /// [`LinkError`].
    pub fn read(&mut self, window: Window, most: u32, progress: &mut dyn FnMut(u64)) -> Result<Vec<u8>, LinkError> {
        let mut all = Vec::new();
        while (all.len() as u64) < u64::from(most) {
            let offset = u32::try_from(all.len()).unwrap_or(u32::MAX);
            let piece = self.ask(&Request::Read { window, offset }, |reply| match reply {
                Reply::Piece { offset: at, bytes } if at == offset => Some(bytes.to_vec()),
                _ => None,
            })?;
            if piece.is_empty() {
                break;
            }
            all.extend(piece);
            progress(all.len() as u64);
        }
        Ok(all)
    }

    /// Ask for something to be done.
    ///
    /// # Errors
    /// [`LinkError`].
    pub fn demand(&mut self, request: &Request<'_>) -> Result<(), LinkError> {
        self.ask(request, |reply| matches!(reply, Reply::Done).then_some(()))
    }
}
