//! What comes in: edges up to the watermark, contacts, buttons and lines, and what was handed in since the last round.

use embedded_hal::digital::InputPin;
use slackside::input::{Command, Input, Origin, Place, Signal};
use slackside::units::{DeciCelsius, Micros, Ppm, Span, Watts};

use crate::edges::Merger;
use crate::line::Analogue;
use crate::wires::{Round, Senses};

/// After a dip of the supply the permits stay dropped for so long.
const SUPPLY_RECOVERY: Span = Span::from_millis(1_000);

/// The inputs.
pub(super) struct Inputs<'a, I, A> {
    pub(super) edges: Merger<'a>,
    pub(super) senses: Senses<I, A>,
    pub(super) readings: Readings,
    has_head_sensor: bool,
    /// How long an edge may be on its way from its capture into its queue.
    pub(super) capture_latency: Span,
    supply_good_since: Option<Micros>,
}

/// Readings handed in since the last round: the newest of each counts.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Readings {
    pub(super) temperatures: [Option<DeciCelsius>; Place::COUNT],
    pub(super) power: Option<Watts>,
    pub(super) reference: Option<Ppm>,
    pub(super) command: Option<(Origin, Command)>,
}

impl<'a, I: InputPin, A: Analogue> Inputs<'a, I, A> {
    pub(super) fn new(edges: Merger<'a>, senses: Senses<I, A>, capture_latency: Span) -> Self {
        Self {
            has_head_sensor: edges.has_head(),
            edges,
            senses,
            readings: Readings::default(),
            capture_latency,
            supply_good_since: None,
        }
    }

    pub(super) const fn has_head_sensor(&self) -> bool {
        self.has_head_sensor
    }

    /// Take everything that came until now, in order of time; what the round of looks brought, and whether edges were lost.
    pub(super) fn take(&mut self, now: Micros, observe: &mut dyn FnMut(Input)) -> (Round, bool) {
        let watermark = Micros::new(now.get().saturating_sub(u64::from(self.capture_latency.get())));
        let lost = self.edges.move_on(watermark, &mut *observe);
        while let Some(edge) = self.edges.next() {
            observe(edge);
        }
        // Looks are stamped with the watermark, not with now: an edge before now may still be on its way.
        let at = self.edges.watermark();
        let round = self.senses.look(now, &mut |signal| observe(Input::new(at, signal)));
        let taken = core::mem::take(&mut self.readings);
        let temperatures = Place::ALL.into_iter().zip(taken.temperatures);
        let temperatures = temperatures.filter_map(|(place, value)| Some(Signal::Temperature(place, value?)));
        let others = [
            taken.power.map(Signal::DrivePower),
            taken.reference.map(Signal::SpeedReference),
            taken.command.map(|(origin, command)| Signal::Command(origin, command)),
        ];
        for signal in temperatures.chain(others.into_iter().flatten()) {
            observe(Input::new(at, signal));
        }
        observe(Input::new(at, Signal::Tick));
        (round, lost)
    }

    /// Whether the supply counts as low at `now`, where it reads so or not.
    pub(super) fn is_supply_low(&mut self, low: bool, now: Micros) -> bool {
        if low {
            self.supply_good_since = None;
        }
        let good_for = self.supply_good_since.map(|since| now.since(since));
        if !low && self.supply_good_since.is_none() {
            self.supply_good_since = Some(now);
        }
        // At start-up the supply has just come.
        good_for.is_none_or(|span| span < SUPPLY_RECOVERY)
    }
}
