//! Reading ahead: on a thread of its own, while what was read is used.

use std::io::{self, Read};
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread;

/// Bytes read at once.
const BLOCK: usize = 256 * 1024;
/// Blocks read ahead.
const BLOCKS: usize = 4;

/// What another thread reads, in the same order and to the same end or error.
pub struct Ahead {
    blocks: Receiver<io::Result<Vec<u8>>>,
    block: io::Cursor<Vec<u8>>,
}

impl Ahead {
    /// Begin to read ahead. It ends with the source, with an error of it, or when nobody wants more.
    pub fn of(mut source: impl Read + Send + 'static) -> Self {
        let (found, blocks) = sync_channel(BLOCKS);
        thread::spawn(move || {
            loop {
                let mut block = Vec::with_capacity(BLOCK);
                let read = source.by_ref().take(BLOCK as u64).read_to_end(&mut block);
                let ends = block.is_empty() || read.is_err();
                // What came before an error counts. Nobody listens any more: then there is nothing to do.
                let heard = block.is_empty() || found.send(Ok(block)).is_ok();
                let heard = heard && read.map_or_else(|error| found.send(Err(error)).is_ok(), |_| true);
                if ends || !heard {
                    return;
                }
            }
        });
        Self { blocks, block: io::Cursor::default() }
    }
}

impl Read for Ahead {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            let count = self.block.read(buffer)?;
            if count > 0 || buffer.is_empty() {
                return Ok(count);
            }
            match self.blocks.recv() {
                Ok(block) => self.block = io::Cursor::new(block?),
                // The thread is done.
                Err(_) => return Ok(0),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gives so many bytes, then fails.
    struct Breaks(usize);

    impl Read for Breaks {
        fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
            if self.0 == 0 {
                return Err(io::Error::from(io::ErrorKind::UnexpectedEof));
            }
            let count = buffer.len().min(self.0);
            buffer[..count].fill(7);
            self.0 -= count;
            Ok(count)
        }
    }

    #[test]
    fn all_comes_in_order_and_then_the_end() {
        let bytes: Vec<u8> = (0..BLOCK * 6 + 5).map(|number| (number % 251) as u8).collect();
        let mut read = Vec::new();
        Ahead::of(io::Cursor::new(bytes.clone())).read_to_end(&mut read).unwrap();
        assert!(read == bytes);
    }

    #[test]
    fn an_error_comes_after_what_was_read_before_it() {
        let mut read = Vec::new();
        let error = Ahead::of(Breaks(BLOCK + 3)).read_to_end(&mut read).unwrap_err();
        assert_eq!((read.len(), error.kind()), (BLOCK + 3, io::ErrorKind::UnexpectedEof));
    }

    #[test]
    fn nobody_need_read_to_the_end() {
        let mut some = [0; 10];
        Ahead::of(io::repeat(1)).read_exact(&mut some).unwrap();
        assert_eq!(some, [1; 10]);
    }
}
