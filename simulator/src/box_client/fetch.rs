//! Recordings from a box.

use slackside::record::Reader;
use slackside::wire::{Reason, RecordingInfo, Reply, Request, Window};

use super::client::{Client, LinkError};

/// A recording with what is known of it.
pub struct Fetched {
    /// What the box says of it.
    pub info: RecordingInfo,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Whole segments in it.
    pub segments: usize,
    /// Whether every byte belongs to a whole segment.
    pub whole: bool,
}

/// What the box has, newest first.
///
/// # Errors
/// [`LinkError`].
pub fn recordings(client: &mut Client) -> Result<Vec<RecordingInfo>, LinkError> {
    let mut all = Vec::new();
    for position in 0..=u8::MAX {
        let info = client.ask(&Request::Recording { position }, |reply| match reply {
            Reply::Recording(info) => Some(info),
            _ => None,
        });
        match info {
            Ok(info) => all.push(info),
            Err(LinkError::Refused(Reason::NoSuchRecording)) => break,
            Err(error) => return Err(error),
        }
    }
    Ok(all)
}

/// Fetch a recording; `progress` is told how many bytes are there.
///
/// # Errors
/// [`LinkError`].
pub fn fetch(client: &mut Client, info: RecordingInfo, progress: &mut dyn FnMut(u64)) -> Result<Fetched, LinkError> {
    let bytes = client.read(Window::Recording(info.number), info.length, progress)?;
    let (mut segments, mut whole) = (0, true);
    for (segment, damage) in Reader::new(&bytes) {
        segments += usize::from(segment.is_some());
        whole &= damage.is_none();
    }
    Ok(Fetched { info, bytes, segments, whole })
}
