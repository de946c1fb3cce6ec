//! What measure says, from the levels and the contacts that it was told of.

use slackside::input::{Shaft, Signal};
use slackside::settings::plan::Plan;
use slackside::signals::Signals;

use crate::contact::Contacts;
use crate::gate::{Gate, Twins};
use crate::slip::Slip;

/// A plain measure.
pub struct Measure {
    marks: u8,
    head: Gate,
    boot: Gate,
    twins: Twins,
    contacts: Contacts,
    pub slip: Slip,
    both: bool,
}

impl Measure {
    pub fn new(plan: &Plan, now: u64) -> Self {
        Self {
            marks: plan.head.marks.max(plan.boot.marks),
            head: Gate::new(plan, Shaft::Head, now),
            boot: Gate::new(plan, Shaft::Boot, now),
            twins: Twins::default(),
            contacts: Contacts::new(plan),
            slip: Slip::new(plan),
            both: plan.head.is_fitted() && plan.boot.is_fitted(),
        }
    }

    fn gate(&mut self, shaft: Shaft) -> &mut Gate {
        match shaft {
            Shaft::Head => &mut self.head,
            Shaft::Boot => &mut self.boot,
        }
    }

    /// What falls due at this moment; `signals` are those of the core after it. What is wrong with them, if anything is.
    pub fn settle(&mut self, now: u64, signals: &Signals) -> Option<String> {
        let rejected = (self.head.rejected, self.boot.rejected);
        let mut wrong = None;
        if let Some(at) = self.head.settle(now) {
            let bridged = self.twins.edge(at, self.boot.newest, self.marks);
            self.boot.bridged(bridged);
            if self.both {
                wrong = self.slip.head_edge(at, signals);
            }
        }
        if let Some(at) = self.boot.settle(now) {
            let bridged = self.twins.edge(at, self.head.newest, self.marks);
            self.boot.bridged(bridged);
            self.slip.boot_edge(at, signals);
            if self.boot.pitch > 0 {
                self.contacts.belt_moves(signals.boot.pitch_angle, self.boot.pitch, at);
            }
        }
        self.contacts.settle(now);
        if rejected != (self.head.rejected, self.boot.rejected) {
            self.slip.forget();
        }
        wrong
    }

    /// An input came.
    pub fn take(&mut self, signal: &Signal, now: u64) {
        match *signal {
            Signal::Edge(shaft, level) => self.gate(shaft).raw(level, now),
            Signal::Line(shaft, state) => self.gate(shaft).line(state),
            Signal::EdgesLost(shaft) => {
                self.gate(shaft).lost(now);
                self.slip.forget();
            }
            Signal::Contact(place, state) => self.contacts.change(place, state, now),
            _ => {}
        }
    }

    /// What differs from what the core's says.
    pub fn differs(&self, signals: &Signals) -> Option<String> {
        for (gate, shaft) in [(&self.head, &signals.head), (&self.boot, &signals.boot)] {
            if gate.says() != Gate::said(shaft) {
                return Some(format!("core {:?}\n plain {:?}", Gate::said(shaft), gate.says()));
            }
        }
        let contacts = self.contacts.says();
        let mut told = signals.contacts;
        for contact in told.iter_mut().filter(|contact| contact.rubs == 0) {
            // Means nothing then.
            contact.since = 0;
        }
        (contacts != told).then(|| format!("core {told:?}\n plain {contacts:?}"))
    }
}
