//! What came over the wires, for the picture: the speed that the bare edges of each shaft tell, and what is on or off.

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{ContactState, Input, LineState, Place, Shaft, Signal};
use slackside::verdict::{Change, Permit, Verdict};

use crate::plant::leg::Leg;

/// Most bars of the monitor's alarms: more could not be read.
const MOST_ALARMS: usize = 6;

/// Something that is on or off, with the stretches in s in which it was on.
#[derive(Clone, Debug, PartialEq)]
pub struct Bar {
    /// What.
    pub name: String,
    /// From when to when.
    pub stretches: Vec<(f64, f64)>,
}

impl Bar {
    /// Short moments.
    #[must_use]
    pub fn of_moments(name: &str, moments: impl Iterator<Item = f64>) -> Self {
        Self { name: name.to_owned(), stretches: moments.map(|at| (at, at)).collect() }
    }

    fn new(name: impl Into<String>) -> Self {
        Self { name: name.into(), stretches: Vec::new() }
    }

    fn set(&mut self, on: bool, at: f64) {
        match (on, self.stretches.last_mut()) {
            (true, last) if last.as_ref().is_none_or(|last| last.1.is_finite()) => {
                self.stretches.push((at, f64::INFINITY));
            }
            (false, Some(last)) if last.1.is_infinite() => last.1 = at,
            _ => {}
        }
    }
}

/// One shaft's wire.
#[derive(Clone, Debug)]
struct Wire {
    targets: f64,
    last_rise_us: Option<u64>,
    /// The fastest and the slowest pitch closed since the last row, in rpm.
    closed: Option<(f64, f64)>,
    told: f64,
    points: Vec<(f64, f64)>,
}

impl Wire {
    fn new(targets: f64) -> Self {
        Self { targets, last_rise_us: None, closed: None, told: 0.0, points: Vec::new() }
    }

    /// The speed that a pitch of so many microseconds stands for.
    fn rpm(&self, pitch_us: u64) -> f64 {
        60e6 / (self.targets * (pitch_us as f64).max(1.0))
    }

    fn rise(&mut self, at_us: u64) {
        if let Some(last) = self.last_rise_us.replace(at_us) {
            let rpm = self.rpm(at_us.saturating_sub(last));
            let (low, high) = self.closed.unwrap_or((rpm, rpm));
            self.closed = Some((low.min(rpm), high.max(rpm)));
            self.told = rpm;
        }
    }

    fn row(&mut self, now_us: u64) {
        let at = now_us as f64 * 1e-6;
        match self.closed.take() {
            Some((low, high)) => {
                self.points.push((at, high));
                if low < high {
                    self.points.push((at, low));
                }
            }
            // In silence it can be no faster than the pitch still open.
            None => {
                let bound = self.last_rise_us.map_or(0.0, |last| self.rpm(now_us.saturating_sub(last)));
                self.points.push((at, self.told.min(bound)));
            }
        }
    }
}

/// All of it.
#[derive(Clone, Debug)]
pub struct Heard {
    head: Option<Wire>,
    boot: Wire,
    drive: Bar,
    /// Rubbing and faulty, by place.
    contacts: Vec<(Place, Bar, Bar)>,
    lines: [(Shaft, Bar); 2],
    outlet: Bar,
    reference: Vec<(f64, f64)>,
}

impl Heard {
    /// Nothing heard yet of this leg.
    #[must_use]
    pub fn of(leg: &Leg) -> Self {
        let contacts = [
            (Place::HeadLeft, "head left"),
            (Place::HeadRight, "head right"),
            (Place::BootLeft, "boot left"),
            (Place::BootRight, "boot right"),
        ];
        Self {
            head: leg.fitted.head.as_ref().map(|targets| Wire::new(f64::from(targets.count))),
            boot: Wire::new(f64::from(leg.fitted.boot.count)),
            drive: Bar::new("drive contact on"),
            contacts: contacts
                .map(|(place, name)| (place, Bar::new(format!("rub {name}")), Bar::new(format!("{name} faulty"))))
                .into(),
            lines: [(Shaft::Head, Bar::new("head wire broken")), (Shaft::Boot, Bar::new("boot wire broken"))],
            outlet: Bar::new("outlet plugged"),
            reference: Vec::new(),
        }
    }

    /// An input came.
    pub fn input(&mut self, input: &Input) {
        let at_us = input.at.get();
        let at = at_us as f64 * 1e-6;
        match input.signal {
            Signal::Edge(Shaft::Head, true) => {
                if let Some(head) = &mut self.head {
                    head.rise(at_us);
                }
            }
            Signal::Edge(Shaft::Boot, true) => self.boot.rise(at_us),
            Signal::DriveRunning(on) => self.drive.set(on, at),
            Signal::SpeedReference(asked) => {
                let asked = f64::from(asked.get()) / 1e4;
                // It stays as it was until it changes.
                if let Some(&(_, before)) = self.reference.last() {
                    self.reference.push((at, before));
                }
                self.reference.push((at, asked));
            }
            Signal::OutletPlugged(plugged) => self.outlet.set(plugged, at),
            Signal::Contact(at_place, state) => {
                for (place, rubbing, faulty) in &mut self.contacts {
                    if *place == at_place {
                        rubbing.set(state == ContactState::Rubbing, at);
                        faulty.set(state == ContactState::Faulty, at);
                    }
                }
            }
            Signal::Line(of, state) => {
                for (shaft, bar) in &mut self.lines {
                    if *shaft == of {
                        bar.set(state != LineState::Sound, at);
                    }
                }
            }
            _ => {}
        }
    }

    /// A row of truth is due.
    pub fn row(&mut self, now_us: u64) {
        if let Some(head) = &mut self.head {
            head.row(now_us);
        }
        self.boot.row(now_us);
    }

    /// What the head's wire tells, as time in s and rpm.
    #[must_use]
    pub fn head(&self) -> &[(f64, f64)] {
        self.head.as_ref().map_or(&[], |wire| &wire.points)
    }

    /// What the boot's wire tells.
    #[must_use]
    pub fn boot(&self) -> &[(f64, f64)] {
        &self.boot.points
    }

    /// The speed asked of a variable-speed drive, as time in s and per cent of normal; empty if none was.
    #[must_use]
    pub fn reference(&self) -> &[(f64, f64)] {
        &self.reference
    }

    /// What was on and off: the drive contact, and what came at all.
    #[must_use]
    pub fn bars(&self) -> Vec<Bar> {
        let rest = self
            .contacts
            .iter()
            .flat_map(|(_, rubbing, faulty)| [rubbing, faulty])
            .chain(self.lines.iter().map(|(_, bar)| bar))
            .chain([&self.outlet]);
        core::iter::once(&self.drive).chain(rest.filter(|bar| !bar.stretches.is_empty())).cloned().collect()
    }
}

/// What the monitor said, as bars: its permits, then the alarms in the order in which they came, each for as long as its condition held.
#[must_use]
pub fn monitor(verdicts: &[Verdict]) -> Vec<Bar> {
    let mut permits = [Bar::new("run permit"), Bar::new("feed permit")];
    let mut alarms: Vec<(Condition, Bar)> = Vec::new();
    for verdict in verdicts {
        let at = verdict.at.get() as f64 * 1e-6;
        match verdict.change {
            Change::Permit { permit, allowed, .. } => {
                permits[usize::from(permit == Permit::Feed)].set(allowed, at);
            }
            Change::Alarm { condition, to, .. } => {
                let on = matches!(to, AlarmState::Unacknowledged | AlarmState::Acknowledged);
                let known = alarms.iter().any(|(of, _)| *of == condition);
                if on && !known && alarms.len() < MOST_ALARMS {
                    alarms.push((condition, Bar::new(condition.entry().title.to_lowercase())));
                }
                if let Some((_, bar)) = alarms.iter_mut().find(|(of, _)| *of == condition) {
                    bar.set(on, at);
                }
            }
            _ => {}
        }
    }
    permits.into_iter().chain(alarms.into_iter().map(|(_, bar)| bar)).collect()
}

#[cfg(test)]
mod tests {
    use slackside::units::Micros;

    use super::*;

    #[test]
    fn the_wires_tell_the_speed_of_their_pitches_and_fall_in_silence() {
        let mut wire = Wire::new(4.0);
        // Four targets, a rise every 250 ms: 60 rpm.
        for rise in 0..8 {
            wire.rise(rise * 250_000);
        }
        wire.row(2_000_000);
        wire.row(3_750_000);
        assert_eq!(wire.points, [(2.0, 60.0), (3.75, 7.5)]);
        // A burst of noise shows as what it would be as a speed.
        wire.rise(4_000_000);
        wire.rise(4_001_000);
        wire.row(4_100_000);
        assert!(wire.points[2].1 > 10_000.0 && wire.points[3].1 < 8.0, "{:?}", wire.points);
    }

    #[test]
    fn bars_open_and_close_once() {
        let mut bar = Bar::new("x");
        for (on, at) in [(false, 0.0), (true, 1.0), (true, 2.0), (false, 3.0), (false, 4.0), (true, 5.0)] {
            bar.set(on, at);
        }
        assert_eq!(bar.stretches, [(1.0, 3.0), (5.0, f64::INFINITY)]);
    }

    #[test]
    fn an_alarm_is_shown_while_its_condition_holds() {
        let alarm = |at, to| Verdict {
            at: Micros::new(at),
            change: Change::Alarm {
                condition: Condition::SlipHigh,
                from: AlarmState::Normal,
                to,
                value: None,
                setpoint: 0,
                detail: 0,
            },
        };
        let bars = monitor(&[
            alarm(1_000_000, AlarmState::Suppressed),
            alarm(2_000_000, AlarmState::Unacknowledged),
            alarm(3_000_000, AlarmState::Acknowledged),
            alarm(4_000_000, AlarmState::Normal),
        ]);
        assert_eq!(bars.len(), 3);
        assert_eq!(bars[2], Bar { name: "slip high".to_owned(), stretches: vec![(2.0, 4.0)] });
    }
}
