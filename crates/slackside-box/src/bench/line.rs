//! A serial line made of memory.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex};
use std::vec::Vec;

/// A serial line made of memory: what one end writes, the other reads.
#[derive(Clone, Debug)]
pub struct Line {
    inward: Arc<Mutex<VecDeque<u8>>>,
    outward: Arc<Mutex<VecDeque<u8>>>,
    room: usize,
}

impl Line {
    /// Both ends. `room` is how many bytes wait in each direction before the writer must.
    #[must_use]
    pub fn pair(room: usize) -> (Self, Self) {
        let queue = || Arc::new(Mutex::new(VecDeque::new()));
        let (one, other) = (queue(), queue());
        let first = Self { inward: Arc::clone(&one), outward: Arc::clone(&other), room };
        (first, Self { inward: other, outward: one, room })
    }

    fn locked(queue: &Mutex<VecDeque<u8>>) -> std::sync::MutexGuard<'_, VecDeque<u8>> {
        // A thread that panicked has left bytes at worst, and bytes may be anything.
        queue.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    /// Everything that came in.
    #[must_use]
    pub fn take(&self) -> Vec<u8> {
        Self::locked(&self.inward).drain(..).collect()
    }

    /// Let these out as far as there is room: how many.
    pub fn put(&self, bytes: &[u8]) -> usize {
        let mut queue = Self::locked(&self.outward);
        let free = self.room.saturating_sub(queue.len()).min(bytes.len());
        queue.extend(bytes.iter().take(free));
        free
    }
}

impl embedded_io::ErrorType for Line {
    type Error = core::convert::Infallible;
}

impl embedded_io::ReadReady for Line {
    fn read_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(!Self::locked(&self.inward).is_empty())
    }
}

impl embedded_io::Read for Line {
    fn read(&mut self, bytes: &mut [u8]) -> Result<usize, Self::Error> {
        let mut queue = Self::locked(&self.inward);
        let count = queue.len().min(bytes.len());
        Ok(bytes.iter_mut().zip(queue.drain(..count)).map(|(slot, byte)| *slot = byte).count())
    }
}

impl embedded_io::WriteReady for Line {
    fn write_ready(&mut self) -> Result<bool, Self::Error> {
        Ok(Self::locked(&self.outward).len() < self.room)
    }
}

impl embedded_io::Write for Line {
    fn write(&mut self, bytes: &[u8]) -> Result<usize, Self::Error> {
        Ok(self.put(bytes))
    }

    fn flush(&mut self) -> Result<(), Self::Error> {
        Ok(())
    }
}
