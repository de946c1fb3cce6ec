//! What the images without a box switch, and what they leave for whoever looks: see `cargo xtask frameworks`.

use embedded_hal::digital::OutputPin;
use slackside::Monitor;
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside::verdict::Verdict;

use crate::memory::Pin;
use crate::pins::{COILS, HEARTBEAT, pin};
use crate::{clock, host, watchdog};

/// The relays and the watchdog are served at least so often.
pub const ROUND: Span = Span::from_millis(5);

/// Energised to allow: a board without power, or whose program stands still, stops the leg.
pub struct Outputs {
    run: Pin,
    feed: Pin,
    heartbeat: Pin,
    beat: bool,
    /// What must outlive power; on a board of one's own it lies in flash.
    kept: Option<[u8; Retained::IMAGE]>,
    /// When the run relay fell last.
    fell: Micros,
    runs: bool,
    verdicts: [u8; 16 * 1024],
    told: usize,
}

impl Outputs {
    pub const fn new() -> Self {
        Self {
            run: pin(COILS[0]),
            feed: pin(COILS[2]),
            heartbeat: pin(HEARTBEAT),
            beat: false,
            kept: None,
            fell: Micros::ZERO,
            runs: false,
            verdicts: [0; 16 * 1024],
            told: 0,
        }
    }

    // ANCHOR: switch
    /// Once a round, after the monitor was asked: from here, and from nowhere else, the relays and the watchdog are served.
    pub fn switch(&mut self, monitor: &Monitor<&'static Plan>) {
        let status = monitor.status();
        let _ = self.run.set_state(status.run_permit.into());
        let _ = self.feed.set_state((status.run_permit && status.feed_permit).into());
        if self.runs && !status.run_permit {
            self.fell = clock::now();
        }
        self.runs = status.run_permit;
        self.kept = monitor.retained().map(|retained| retained.to_image());
        self.beat = !self.beat;
        let _ = self.heartbeat.set_state(self.beat.into());
        watchdog::feed();
    }
    // ANCHOR_END: switch

    /// Keep a verdict for the host.
    pub fn tell(&mut self, verdict: &Verdict) {
        let room = self.verdicts.get_mut(self.told..).unwrap_or_default();
        match postcard::to_slice(verdict, room) {
            Ok(used) => self.told += used.len(),
            Err(_) => host::exit(6),
        }
    }

    /// Hand everything over to the host, and end.
    pub fn end(&self) -> ! {
        host::write_file(c"verdicts.bin", &self.verdicts[..self.told]);
        host::write_file(c"fell.bin", &self.fell.get().to_le_bytes());
        host::write_file(c"kept.bin", self.kept.as_ref().map_or(&[], |kept| kept));
        host::exit(0)
    }
}
