//! The serial line of a box that stands behind this computer, on a TCP port: one desk at a time, and a second one is told why.

use std::io::{ErrorKind, Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::time::{Duration, Instant};

use slackside::wire::{MOST_FRAME, Reason, Reply, encode};
use slackside_box::bench::Line;

/// A desk that has said nothing for so long may be gone without a word: another takes its place.
const GONE: Duration = Duration::from_secs(3);
/// So many pieces of what a desk sent are taken in one round, so that what it sent in vain is soon gone.
const PIECES_A_ROUND: usize = 64;

/// The box's end of the cable.
pub trait BoxEnd {
    /// What a desk said. What does not fit is lost, as on any serial line; the desk asks again.
    fn put(&mut self, bytes: &[u8]);

    /// What the box has said since.
    fn take(&mut self) -> Vec<u8>;
}

impl BoxEnd for Line {
    fn put(&mut self, bytes: &[u8]) {
        Line::put(self, bytes);
    }

    fn take(&mut self) -> Vec<u8> {
        Line::take(self)
    }
}

/// The cable.
pub struct Cable<'l, B> {
    listener: &'l TcpListener,
    stream: Option<TcpStream>,
    /// When the desk last said something.
    heard: Instant,
    line: B,
}

impl<'l, B: BoxEnd> Cable<'l, B> {
    /// From the box's end to whoever comes to `listener`, which does not block.
    pub fn new(listener: &'l TcpListener, line: B) -> Self {
        Self { listener, stream: None, heard: Instant::now(), line }
    }

    /// Carry what there is, both ways. Call it every few milliseconds.
    pub fn pump(&mut self) {
        let came = self.listener.accept();
        // Now it is known whether the desk before was gone when this one came.
        self.carry();
        if let Ok((stream, _)) = came {
            if self.stream.is_some() && self.heard.elapsed() < GONE {
                turn_away(stream);
            } else if stream.set_nonblocking(true).is_ok() && stream.set_nodelay(true).is_ok() {
                self.stream = Some(stream);
                self.heard = Instant::now();
            }
        }
    }

    fn carry(&mut self) {
        let answer = self.line.take();
        let Some(stream) = &mut self.stream else { return };
        let mut alive = true;
        for _ in 0..PIECES_A_ROUND {
            let mut buffer = [0; 4_096];
            match stream.read(&mut buffer) {
                Ok(0) => alive = false,
                Ok(count) => {
                    self.line.put(&buffer[..count]);
                    self.heard = Instant::now();
                    continue;
                }
                Err(error) => alive = matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted),
            }
            break;
        }
        if !alive || (!answer.is_empty() && stream.write_all(&answer).is_err()) {
            self.stream = None;
        }
    }
}

/// Tell a second desk why it is turned away.
fn turn_away(mut stream: TcpStream) {
    let mut frame = [0; MOST_FRAME];
    if let Some(frame) = encode(0, &Reply::Refused(Reason::OtherDesk), &mut frame) {
        // It may be gone already.
        let _ = stream.write_all(frame);
        let _ = stream.shutdown(Shutdown::Write);
    }
    // What it asks meanwhile is read, so that the answer is not lost with the connection.
    let _ = stream.set_read_timeout(Some(Duration::from_millis(50)));
    let _ = stream.read(&mut [0; 256]);
}
