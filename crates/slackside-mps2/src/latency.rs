//! How late the edges' interrupt is: from the moment an edge falls due to the moment the interrupt reads the clock.

use core::sync::atomic::{AtomicU32, Ordering};

use slackside_mps2::host;

/// Figures in counts of the free-running clock, 40 ns each.
pub struct Latency {
    taken: AtomicU32,
    least: AtomicU32,
    most: AtomicU32,
    total: AtomicU32,
}

/// Of all edges since the start.
pub static LATENCY: Latency = Latency {
    taken: AtomicU32::new(0),
    least: AtomicU32::new(u32::MAX),
    most: AtomicU32::new(0),
    total: AtomicU32::new(0),
};

impl Latency {
    /// One more edge, so many counts late. Only the edges' interrupt calls it.
    pub fn take(&self, late: u32) {
        self.taken.store(self.taken().wrapping_add(1), Ordering::SeqCst);
        self.least.store(self.least.load(Ordering::SeqCst).min(late), Ordering::SeqCst);
        self.most.store(self.most.load(Ordering::SeqCst).max(late), Ordering::SeqCst);
        self.total.store(self.total.load(Ordering::SeqCst).wrapping_add(late), Ordering::SeqCst);
    }

    /// How many edges there were.
    pub fn taken(&self) -> u32 {
        self.taken.load(Ordering::SeqCst)
    }

    /// Edges, least, most and total counts.
    pub fn figures(&self) -> [u32; 4] {
        [&self.taken, &self.least, &self.most, &self.total].map(|figure| figure.load(Ordering::SeqCst))
    }
}

/// After how many edges the host wants the figures; never where it has not said.
pub fn wanted() -> u32 {
    match *host::read_file(c"edges.bin", &mut [0; 4]) {
        [a, b, c, d] => u32::from_le_bytes([a, b, c, d]),
        _ => u32::MAX,
    }
}

/// The figures to the host, with the bytes that came by the link, and the end.
pub fn report(received: u32) -> ! {
    let [taken, least, most, total] = LATENCY.figures();
    let mut bytes = [0; 20];
    for (slot, byte) in
        bytes.iter_mut().zip([taken, least, most, total, received].into_iter().flat_map(u32::to_le_bytes))
    {
        *slot = byte;
    }
    host::write_file(c"figures.bin", &bytes);
    host::exit(0)
}
