//! The permits' outputs. The run permit goes through two relays in series, so that one welded contact cannot keep a leg
//! running; the feed permit through one.
//!
//! ```text
//!             wanted, and every                 every contact
//!             contact proved open               reads closed
//!  ┌─────────┐ ─────────────────► ┌─────────┐ ─────────────► ┌──────┐
//!  │ Proving │                    │ Closing │                │ Shut │
//!  └─────────┘ ◄───────────────── └─────────┘                └──────┘
//!       ▲        no longer wanted, or a new proof is due         │
//!       └────────────────────────────────────────────────────────┘
//! ```
//!
//! Before every start each contact must be seen open. A permit that stays given while the leg stands would never be
//! proved, so a new proof is made each time the leg comes to a proven standstill: both relays drop for a moment.

use embedded_hal::digital::{InputPin, OutputPin};
use slackside::units::Micros;

use crate::fault::{Fault, Faults};
use crate::relay::{Answer, Relay};

/// Relays whose contacts are in series, switched and proved together.
#[derive(Debug)]
pub struct Permit<O, I, const RELAYS: usize> {
    relays: [Relay<O, I>; RELAYS],
    /// For each relay: the fault if it does not open, and if it does not close.
    faults: [(Fault, Fault); RELAYS],
    stage: Stage,
}

/// Where the proof stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Off, and not every contact has been seen open since.
    Proving,
    /// Off, and every contact was seen open.
    Proved,
    /// On, and not every contact has been seen closed yet.
    Closing,
    /// On, and every contact is closed.
    Shut,
}

impl<O: OutputPin, I: InputPin, const RELAYS: usize> Permit<O, I, RELAYS> {
    /// The relays with their faults, each "does not open" and "does not close".
    pub const fn new(relays: [Relay<O, I>; RELAYS], faults: [(Fault, Fault); RELAYS]) -> Self {
        Self { relays, faults, stage: Stage::Proving }
    }

    /// Where the proof stands.
    #[must_use]
    pub const fn stage(&self) -> Stage {
        self.stage
    }

    /// Whether the leg may rely on it: driven, and every contact seen closed.
    #[must_use]
    pub fn given(&self) -> bool {
        self.stage == Stage::Shut
    }

    /// Whether its coils are on.
    #[must_use]
    pub const fn is_driven(&self) -> bool {
        matches!(self.stage, Stage::Closing | Stage::Shut)
    }

    /// Ask for a new proof: the relays drop and close again once seen open.
    pub fn prove_again(&mut self) {
        self.stage = Stage::Proving;
    }

    /// Drop at once, whatever the read-backs say.
    #[must_use]
    pub fn drop_now(&mut self) -> Faults {
        self.stage = Stage::Proving;
        self.drive(false)
    }

    fn drive(&mut self, on: bool) -> Faults {
        let mut faults = Faults::NONE;
        for relay in &mut self.relays {
            // Every relay is written, even if one before cannot be.
            if !relay.drive(on) {
                faults = faults.with(Fault::Pin);
            }
        }
        faults
    }

    /// Drive the first relay alone, whose coil should be without supply now: its contact must stay open, and those of the others. Each was seen
    /// open before; a new proof is due after this.
    pub fn look_for_supply(&mut self) -> Faults {
        self.stage = Stage::Proving;
        let mut faults = Faults::NONE;
        for (number, (relay, (welded, _))) in self.relays.iter_mut().zip(&self.faults).enumerate() {
            faults = match (relay.drive(number == 0), relay.contact()) {
                (true, Some(false)) => faults,
                (true, Some(true)) if number == 0 => faults.with(Fault::WatchdogShut),
                (true, Some(true)) => faults.with(*welded),
                _ => faults.with(Fault::Pin),
            };
        }
        if faults.is_empty() { faults } else { faults.and(self.drop_now()) }
    }

    /// Bring the outputs to what is wanted, as far as the proof allows. The faults seen now.
    pub fn step(&mut self, wanted: bool, now: Micros) -> Faults {
        if !wanted && self.is_driven() {
            self.stage = Stage::Proving;
        }
        if wanted && self.stage == Stage::Proved {
            self.stage = Stage::Closing;
        }
        let mut faults = self.drive(self.is_driven());
        let mut agree = true;
        for (relay, (welded, open)) in self.relays.iter_mut().zip(&self.faults) {
            let answer = relay.answer(now);
            agree &= answer == Answer::Agrees;
            faults = match answer {
                Answer::Agrees | Answer::Settling => faults,
                Answer::Welded => faults.with(*welded),
                Answer::Open => faults.with(*open),
                Answer::Pin => faults.with(Fault::Pin),
            };
        }
        if !faults.is_empty() {
            return faults.and(self.drop_now());
        }
        self.stage = match (self.stage, agree) {
            (Stage::Proving | Stage::Proved, true) => Stage::Proved,
            (Stage::Proving | Stage::Proved, false) => Stage::Proving,
            (Stage::Closing, true) => Stage::Shut,
            (stage, _) => stage,
        };
        faults
    }

    /// Whether a look is due soon even if nothing else happens: something is under way.
    #[must_use]
    pub const fn is_under_way(&self) -> bool {
        matches!(self.stage, Stage::Proving | Stage::Closing)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Pin, relay};

    fn run_permit(backs: [&Pin; 2], coils: [&Pin; 2]) -> Permit<Pin, Pin, 2> {
        let [a, b] = [0, 1].map(|n: usize| relay(coils.get(n).copied().unwrap(), backs.get(n).copied().unwrap()));
        Permit::new([a, b], [(Fault::RunAWelded, Fault::RunAOpen), (Fault::RunBWelded, Fault::RunBOpen)])
    }

    struct Bench {
        coils: [Pin; 2],
        backs: [Pin; 2],
        permit: Permit<Pin, Pin, 2>,
        now: u64,
    }

    impl Bench {
        fn new() -> Self {
            let (coils, backs) = ([Pin::new(), Pin::new()], [Pin::new(), Pin::new()]);
            let permit = run_permit([&backs[0], &backs[1]], [&coils[0], &coils[1]]);
            Self { coils, backs, permit, now: 0 }
        }

        /// Ten milliseconds later; contacts follow their coils, but those `stuck` in a state.
        fn step(&mut self, wanted: bool, stuck: [Option<bool>; 2]) -> Faults {
            self.now += 10_000;
            for ((back, coil), stuck) in self.backs.iter().zip(&self.coils).zip(stuck) {
                back.set(stuck.unwrap_or(coil.get()));
            }
            self.permit.step(wanted, Micros::new(self.now))
        }

        fn steps(&mut self, count: usize, wanted: bool, stuck: [Option<bool>; 2]) -> Faults {
            (0..count).fold(Faults::NONE, |faults, _| faults.and(self.step(wanted, stuck)))
        }
    }

    const FREE: [Option<bool>; 2] = [None, None];

    #[test]
    fn it_closes_only_after_each_contact_was_seen_open() {
        let mut bench = Bench::new();
        // The second contact is stuck closed: neither coil is ever driven.
        for _ in 0..30 {
            bench.step(true, [None, Some(true)]);
            assert!(!bench.coils[0].get() && !bench.coils[1].get());
        }
        assert!(bench.steps(1, true, [None, Some(true)]).contains(Fault::RunBWelded));
        assert!(!bench.steps(1, true, [None, Some(true)]).contains(Fault::RunAWelded));
        // Mended: it closes, and is given once both are seen closed.
        assert_eq!(bench.steps(4, true, FREE), Faults::NONE);
        assert!(bench.permit.given() && bench.coils[0].get() && bench.coils[1].get());
    }

    #[test]
    fn a_contact_that_falls_open_drops_the_other() {
        let mut bench = Bench::new();
        bench.steps(5, true, FREE);
        assert!(bench.permit.given());
        let faults = bench.steps(12, true, [Some(false), None]);
        assert!(faults.contains(Fault::RunAOpen) && !faults.contains(Fault::RunBOpen));
        assert!(!bench.coils[0].get() && !bench.coils[1].get());
    }

    #[test]
    fn a_welded_contact_is_found_at_the_next_drop() {
        let mut bench = Bench::new();
        bench.steps(5, true, FREE);
        let faults = bench.steps(12, false, [Some(true), None]);
        assert!(faults.contains(Fault::RunAWelded));
        assert!(!bench.coils[1].get());
        // And found without any wish to drop, when a proof is due.
        let mut bench = Bench::new();
        bench.steps(5, true, FREE);
        assert_eq!(bench.steps(20, true, FREE), Faults::NONE);
        bench.permit.prove_again();
        assert!(bench.steps(12, true, [None, Some(true)]).contains(Fault::RunBWelded));
    }

    #[test]
    fn a_proof_opens_both_and_closes_again() {
        let mut bench = Bench::new();
        bench.steps(5, true, FREE);
        bench.permit.prove_again();
        bench.step(true, FREE);
        assert!(!bench.coils[0].get() && !bench.coils[1].get());
        bench.steps(5, true, FREE);
        assert!(bench.permit.given());
    }
}
