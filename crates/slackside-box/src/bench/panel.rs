//! Every wire of a box on the bench.

use super::pins::{Level, Pin, relay};
use crate::contact::{RubContact, Wiring};
use crate::pin::{Input, Output};
use crate::wires::{Inputs, Outputs, Wires};

/// Every wire of a box on the bench. The inputs are on when high.
#[derive(Clone, Debug)]
pub struct Panel {
    /// The lines of the rub contacts, supervised.
    pub contacts: [Level; 4],
    /// The current of the head sensor's line.
    pub head_line: Level,
    /// The current of the boot sensor's line.
    pub boot_line: Level,
    /// The starter's auxiliary contact.
    pub drive: Pin,
    /// The outlet switch.
    pub outlet: Pin,
    /// The acknowledge button.
    pub acknowledge: Pin,
    /// The reset button.
    pub reset: Pin,
    /// The button that reports the boot clear.
    pub boot_cleared: Pin,
    /// The key.
    pub key: Pin,
    /// The inching switch.
    pub inching: Pin,
    /// Supply good.
    pub supply: Pin,
    /// A rub contact's plain wire, for a box wired so.
    pub plain: Pin,
    /// Coils: run permit's first and second relay, feed permit's.
    pub coils: [Pin; 3],
    /// Their read-backs.
    pub backs: [Pin; 3],
    /// The alarm relay.
    pub alarm: Pin,
    /// The heartbeat.
    pub heartbeat: Pin,
}

/// The line of a rub contact that is clear.
pub const CLEAR: u16 = 43_354;
/// The line of a rub contact when the belt rubs.
pub const RUBBING: u16 = 20_480;
/// The current of a sound sensor line.
pub const SOUND: u16 = 3_000;

impl Default for Panel {
    fn default() -> Self {
        Self::new()
    }
}

impl Panel {
    /// Everything off, lines sound, supply good.
    #[must_use]
    pub fn new() -> Self {
        let panel = Self {
            contacts: core::array::from_fn(|_| Level::new(CLEAR)),
            head_line: Level::new(SOUND),
            boot_line: Level::new(SOUND),
            drive: Pin::new(),
            outlet: Pin::new(),
            acknowledge: Pin::new(),
            reset: Pin::new(),
            boot_cleared: Pin::new(),
            key: Pin::new(),
            inching: Pin::new(),
            supply: Pin::new(),
            plain: Pin::new(),
            coils: core::array::from_fn(|_| Pin::new()),
            backs: core::array::from_fn(|_| Pin::new()),
            alarm: Pin::new(),
            heartbeat: Pin::new(),
        };
        panel.supply.set(true);
        panel
    }

    /// The wires, for a box.
    #[must_use]
    pub fn wires(&self) -> Wires<Pin, Pin, Level> {
        let on = |pin: &Pin| Input::on_high(pin.clone());
        let [run_a, run_b, feed] = &self.coils;
        let [back_a, back_b, back_feed] = &self.backs;
        Wires {
            inputs: Inputs {
                contacts: self
                    .contacts
                    .each_ref()
                    .map(|level| Some(RubContact::new(Wiring::Supervised(level.clone())))),
                head_line: Some(self.head_line.clone()),
                boot_line: Some(self.boot_line.clone()),
                drive: Some(on(&self.drive)),
                outlet: Some(on(&self.outlet)),
                acknowledge: on(&self.acknowledge),
                reset: on(&self.reset),
                boot_cleared: on(&self.boot_cleared),
                key: on(&self.key),
                inching: Some(on(&self.inching)),
                supply: Some(on(&self.supply)),
            },
            outputs: Outputs {
                run: [relay(run_a, back_a), relay(run_b, back_b)],
                feed: relay(feed, back_feed),
                alarm: Output::on_high(self.alarm.clone()),
                heartbeat: Output::on_high(self.heartbeat.clone()),
            },
        }
    }

    /// The relays' contacts follow their coils.
    pub fn relays_follow(&self) {
        for (coil, back) in self.coils.iter().zip(&self.backs) {
            back.set(coil.get());
        }
    }

    /// Whether the contacts of the run permit, in series, let the drive run.
    #[must_use]
    pub fn may_run(&self) -> bool {
        let [a, b, _] = &self.backs;
        a.get() && b.get()
    }

    /// Whether the contact of the feed permit lets the leg be fed.
    #[must_use]
    pub fn may_feed(&self) -> bool {
        let [_, _, feed] = &self.backs;
        feed.get()
    }
}
