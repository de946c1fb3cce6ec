//! Plays a trace to the monitor, a batch at a time, and hands on what happens.

use std::cell::RefCell;

use slackside::input::{Input, Signal};
use slackside::judge::Judge;
use slackside::monitor::{Tap, Told};
use slackside::settings::plan::Plan;
use slackside::signals::Signals;
use slackside::units::Micros;
use slackside::verdict::Change;

use super::pace::{Every, Pace};
use super::piece::{Batch, Event, Judged, Piece};
use super::rows::Row;
use super::window::{Keeper, Window};
use crate::monitor::Monitor;

/// Silence longer than this is drawn as what it proves, not as the last speed.
const SILENCE_US: u64 = 100_000;

/// The monitor, and what is kept of the inputs.
pub(super) struct Player {
    monitor: Box<Monitor>,
    keeper: Keeper,
    paces: Paces,
    /// How far silence is drawn.
    drawn: Micros,
}

/// When what is judged is wanted.
struct Paces {
    series: Pace,
    file: Option<Every>,
    /// When something moved last.
    moved: Micros,
}

impl Player {
    /// At the beginning of a trace. `file` says how often a samples file wants rows, if there is one.
    pub fn new(monitor: Box<Monitor>, file: Option<Every>) -> Self {
        let paces = Paces { series: Pace::default(), file, moved: Micros::ZERO };
        Self { monitor, keeper: Keeper::new(), paces, drawn: Micros::ZERO }
    }

    /// Play a batch of the trace into `piece`.
    pub fn play(&mut self, batch: &Batch, piece: &mut Piece) {
        piece.clear();
        let piece = RefCell::new(piece);
        for (input, number) in batch.inputs.iter().zip(&batch.numbers) {
            let row = Row { number: *number, input: *input };
            self.keeper.take(&self.monitor, row);
            self.draw_silence(&piece, input.at);
            piece.borrow_mut().events.push(Event::Row(row));
            self.observe(&piece, *input);
        }
        if let Some(last) = batch.ends {
            // What is due up to the last row is settled; what would come later is not known.
            self.draw_silence(&piece, last);
            piece.borrow_mut().events.push(Event::End(last));
            self.observe(&piece, Input::new(last, Signal::Tick));
        }
    }

    /// The monitor at the end, and the inputs that were kept.
    pub fn finish(self) -> (Box<Monitor>, Window) {
        (self.monitor, self.keeper.finish())
    }

    /// Have the monitor take one input, everything handed on that it says.
    fn observe(&mut self, piece: &RefCell<&mut Piece>, input: Input) {
        let mut first_out = None;
        let mut handing = Handing { piece, paces: &mut self.paces };
        self.monitor.observe_with(input, &mut handing, &mut |verdict| {
            let piece = &mut *piece.borrow_mut();
            piece.events.push(Event::Verdict);
            piece.verdicts.push(*verdict);
            if matches!(verdict.change, Change::FirstOut(Some(_))) {
                first_out.get_or_insert(verdict.at);
            }
        });
        if let Some(at) = first_out {
            self.keeper.hold();
            piece.borrow_mut().events.push(Event::HeatAtFirstOut(self.monitor.slip_heat_at(at)));
        }
    }

    /// Draw what silence since the last motion proves of the speeds, up to `until`. Ticks on the way change no verdict.
    fn draw_silence(&mut self, piece: &RefCell<&mut Piece>, until: Micros) {
        while until.get().saturating_sub(self.paces.moved.get()) >= SILENCE_US && self.paces.moved > Micros::ZERO {
            let at = self.drawn.max(Micros::new(self.paces.moved.get().saturating_add(SILENCE_US / 2)));
            if at >= until {
                return;
            }
            // The stretches of the series grow as time goes on, so that even a jump to the end of time takes few steps.
            let step = (SILENCE_US / 2).max(self.paces.series.width_us());
            self.drawn = Micros::new(at.get().saturating_add(step));
            if self.paces.series.wants(at) {
                if at > self.monitor.newest() {
                    self.observe(piece, Input::new(at, Signal::Tick));
                }
                let judged = Judged { heat: self.monitor.slip_heat_at(at), knows_slip: self.monitor.knows_slip(at) };
                self.paces.series.took(at);
                piece.borrow_mut().events.push(Event::Silent(at, judged));
            }
        }
    }
}

/// Hands on what goes from measure to judge.
struct Handing<'p, 'b> {
    piece: &'p RefCell<&'b mut Piece>,
    paces: &'p mut Paces,
}

impl Tap for Handing<'_, '_> {
    fn tells(&mut self, now: Micros, told: Told<'_>, signals: &Signals, _plan: &Plan) {
        let event = match told {
            Told::Moved(_) => Event::Moved(now),
            Told::Signal(
                signal @ (Signal::SpeedReference(_)
                | Signal::DrivePower(_)
                | Signal::Temperature(..)
                | Signal::DriveRunning(_)
                | Signal::OutletPlugged(_)),
            ) => Event::Signal(now, *signal),
            Told::Signal(_) | Told::Late => return,
        };
        let piece = &mut *self.piece.borrow_mut();
        piece.events.push(event);
        if let Told::Moved(_) = told {
            piece.signals.push(*signals);
            self.paces.moved = self.paces.moved.max(now);
        }
    }

    fn told(&mut self, at: Micros, told: Told<'_>, signals: &Signals, judge: &Judge, plan: &Plan) {
        let Told::Moved(_) = told else { return };
        let to_series = self.paces.series.wants(at);
        let to_file = self.paces.file.is_some_and(|file| file.wants(at));
        if !to_series && !to_file {
            return;
        }
        if to_series {
            self.paces.series.took(at);
        }
        if let (true, Some(file)) = (to_file, &mut self.paces.file) {
            file.took(at);
        }
        let judged = Judged { heat: judge.slip_heat_at(plan, at), knows_slip: judge.knows_slip(signals, plan, at) };
        self.piece.borrow_mut().events.push(Event::Judged { at, judged, to_series, to_file });
    }
}
