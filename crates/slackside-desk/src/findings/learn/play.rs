//! Play a run with the monitor in the loop, and take the evidence as a replay of its trace would.

use std::cell::RefCell;
use std::io;

use slackside::diagnose::{self, Gather};
use slackside::input::{Input, Shaft, Signal};
use slackside::monitor::{Tap, Told};
use slackside::motion::Motion;
use slackside::retained::Retained;
use slackside::settings::Checked;
use slackside::settings::plan::Plan;
use slackside::signals::Signals;
use slackside::units::{Micros, Ppm};
use slackside::verdict::{Change, Verdict};

use super::super::cause::Cause;
use super::super::evidence::{Evidence, Witness};
use super::draw::{Drawn, Wires};
use crate::monitor::{Monitor, monitor};
use crate::scenario::fault::{End, Kind};
use crate::scenario::run::{Permits, Summary, Watch, run};
use crate::scenario::truth::Row;
use crate::sensors::disc::narrower;

/// How long a run goes on after the leg was stopped, in microseconds.
const ON_AFTER_STOP_US: u64 = 35_000_000;
/// How long it goes on after the first alarm where nothing stops, in microseconds.
const ON_AFTER_ALARM_US: u64 = 150_000_000;

/// A belt that never came to this share of its speed, in per cent, was held before it was started.
const RAN_PCT: f64 = 50.0;

/// What came of a run.
pub struct Played {
    /// What was wrong when the alarm came.
    pub cause: Cause,
    /// What else would be right to name.
    pub also: Option<Cause>,
    /// What the monitor and the desk know of it.
    pub evidence: Evidence,
    /// What the core's own rules go by.
    pub looked: diagnose::Evidence,
    /// When the first alarm came, in s, if one came.
    pub first_s: Option<f64>,
    /// Hours with the motor on.
    pub hours: f64,
}

/// Everything that looks on.
struct Looks {
    gather: Gather,
    witness: Witness,
    first: Option<Micros>,
    stopped: Option<Micros>,
}

struct Between<'a>(&'a RefCell<Looks>);

impl Tap for Between<'_> {
    fn tells(&mut self, now: Micros, told: Told<'_>, signals: &Signals, plan: &Plan) {
        let looks = &mut *self.0.borrow_mut();
        match told {
            Told::Moved(_) => {
                let motion = Motion::of(signals, plan, now);
                looks.gather.motion(now, &motion);
                looks.witness.motion(now.get(), &motion);
            }
            Told::Signal(Signal::DrivePower(power)) => looks.gather.power(*power),
            Told::Signal(_) | Told::Late => {}
        }
    }
}

impl Looks {
    fn verdict(&mut self, verdict: &Verdict) {
        match verdict.change {
            Change::Alarm { to: slackside::alarm::AlarmState::Unacknowledged, .. } => {
                self.first.get_or_insert(verdict.at);
            }
            Change::FirstOut(Some(_)) => {
                self.first.get_or_insert(verdict.at);
                self.stopped.get_or_insert(verdict.at);
            }
            _ => {}
        }
        self.gather.verdict(verdict);
        self.witness.verdict(verdict);
    }
}

struct Loop<'a> {
    settings: &'a Checked,
    monitor: Box<Monitor>,
    looks: RefCell<Looks>,
    wires: Wires,
    /// To its end, as a trace is, however long nothing more is to be learned.
    whole: bool,
    now_us: u64,
    /// When the belt first ran at half its speed, in microseconds.
    ran_us: Option<u64>,
}

impl Loop<'_> {
    fn take(&mut self, input: Input) {
        let Self { monitor, looks, .. } = self;
        looks.borrow_mut().witness.input(&input);
        monitor.observe_with(input, &mut Between(looks), &mut |verdict| looks.borrow_mut().verdict(verdict));
    }
}

impl Watch for Loop<'_> {
    fn input(&mut self, input: &Input) -> io::Result<()> {
        let seconds = input.at.get() as f64 * 1e-6;
        let other = |shaft| if shaft == Shaft::Head { Shaft::Boot } else { Shaft::Head };
        let mut input = *input;
        match (self.wires, input.signal) {
            (Wires::Swapped, Signal::Edge(shaft, rising)) => input.signal = Signal::Edge(other(shaft), rising),
            (Wires::Swapped, Signal::Line(shaft, line)) => input.signal = Signal::Line(other(shaft), line),
            (Wires::Bridged(from_s), Signal::Edge(shaft, rising)) if seconds >= from_s => {
                if shaft == Shaft::Boot {
                    return Ok(());
                }
                self.take(input);
                input.signal = Signal::Edge(Shaft::Boot, rising);
            }
            (Wires::Reference(from_s, times), Signal::SpeedReference(reference)) if seconds >= from_s => {
                input.signal = Signal::SpeedReference(Ppm::new((f64::from(reference.get()) * times) as i32));
            }
            _ => {}
        }
        // What the settings do not fit is not wired.
        let machine = &self.settings.machine;
        let wired = match input.signal {
            Signal::Edge(Shaft::Head, _) | Signal::Line(Shaft::Head, _) => machine.head_targets.is_some(),
            Signal::DriveRunning(_) => machine.drive_contact,
            Signal::DrivePower(_) => machine.power_meter,
            Signal::Contact(place, _) => machine.contacts[place.index()].is_some(),
            _ => true,
        };
        if wired {
            self.take(input);
        }
        Ok(())
    }

    fn truth(&mut self, row: &Row) -> io::Result<()> {
        if row.belt_pct > RAN_PCT {
            self.ran_us.get_or_insert(row.time_us);
        }
        Ok(())
    }

    fn permits(&mut self, now_us: u64) -> Permits {
        self.now_us = now_us;
        self.take(Input::new(Micros::new(now_us), Signal::Tick));
        let status = self.monitor.status();
        Permits { run: status.run_permit, feed: status.feed_permit }
    }

    fn enough(&self) -> bool {
        let looks = self.looks.borrow();
        let past = |at: Option<Micros>, by: u64| at.is_some_and(|at| self.now_us > at.get() + by);
        !self.whole && (past(looks.stopped, ON_AFTER_STOP_US) || past(looks.first, ON_AFTER_ALARM_US))
    }
}

/// Play a run until nothing more is to be learned from it.
///
/// # Errors
/// Never for want of disk: nothing is written.
pub fn play(drawn: &Drawn) -> crate::error::Result<Played> {
    play_to(drawn, false)
}

/// Play a run to its end.
///
/// # Errors
/// As [`play`].
pub fn play_whole(drawn: &Drawn) -> crate::error::Result<Played> {
    play_to(drawn, true)
}

/// What was wrong at the moment that counts, in s; at the end if nothing was said.
fn wrong(drawn: &Drawn, summary: &Summary, counts_s: Option<f64>) -> Cause {
    let Some(at_s) = counts_s else { return drawn.cause };
    if at_s < drawn.from_s {
        // What slows the belt before anything is broken is what it is fed: an overload, whatever the run was meant to be. Of a sound leg
        // only a slug that calls for a stop is. Else the alarm came with nothing wrong.
        let by = |us: u64| us as f64 * 1e-6 <= at_s;
        let overloaded = if drawn.slugs {
            summary.call.is_some() || summary.lapsed > 0
        } else {
            summary.call.as_ref().is_some_and(|call| by(call.from_us)) || summary.slow_us.is_some_and(by)
        };
        return if overloaded { Cause::Overload } else { Cause::Nothing };
    }
    if drawn.parts_s.is_some_and(|parts_s| at_s >= parts_s) {
        return Cause::BeltParted;
    }
    // Where two causes are right in any case, as in a written scenario, both stay.
    if drawn.also.is_some() { drawn.cause } else { out_of_reach(drawn, at_s).unwrap_or(drawn.cause) }
}

/// Grain ran into the boot before anything was started.
fn full_before(drawn: &Drawn) -> bool {
    drawn.scenario.faults.iter().any(|fault| fault.kind == Kind::BootChoke && fault.from_s <= 0.0)
}

/// A sensor that is farther and farther off sees ever fewer targets, then none: which it is at a time, in s, is what is wrong then.
fn out_of_reach(drawn: &Drawn, at_s: f64) -> Option<Cause> {
    let fault = drawn.scenario.faults.iter().find(|fault| fault.kind == Kind::SensorOutOfReach)?;
    let fitted = &drawn.scenario.leg.fitted;
    let (targets, [missing, lost]) = match fault.shaft? {
        End::Head => (fitted.head.as_ref()?, [Cause::HeadTargetMissing, Cause::HeadSensorLost]),
        End::Boot => (&fitted.boot, [Cause::BootTargetMissing, Cause::BootSensorLost]),
    };
    // The nearest target looks this much wider than the middling one.
    let nearest = targets.width_pct / 100.0 * (1.0 + targets.runout_pct / 100.0);
    Some(if narrower(fault.severity_at(at_s, 0.0)) < nearest { missing } else { lost })
}

fn play_to(drawn: &Drawn, whole: bool) -> crate::error::Result<Played> {
    let Drawn { scenario, commissioned, settings, wires, .. } = drawn;
    let looks = Looks { gather: Gather::new(settings), witness: Witness::new(settings), first: None, stopped: None };
    let mut all = Loop {
        settings,
        monitor: monitor(settings, &Retained::default()),
        looks: RefCell::new(looks),
        wires: *wires,
        whole,
        now_us: 0,
        ran_us: None,
    };
    let summary = run(scenario, commissioned, scenario.seed, scenario.obeys(), &mut all)?;
    let ran_us = all.ran_us;
    let looks = all.looks.into_inner();
    let looked = looks.gather.evidence();
    let counts_s = looks.stopped.or(looks.first).map(|at| at.get() as f64 * 1e-6);
    let ran = counts_s.is_none_or(|at_s| ran_us.is_some_and(|ran_us| ran_us as f64 * 1e-6 <= at_s));
    let cause = match wrong(drawn, &summary, counts_s) {
        // A boot that was full before the first start holds the belt as ice does: it is frozen in, by settled grain.
        Cause::Choke if !ran && full_before(drawn) => Cause::FrozenStart,
        cause => cause,
    };
    Ok(Played {
        cause,
        also: drawn.also,
        evidence: looks.witness.evidence(&looked),
        looked,
        first_s: looks.first.map(|at| at.get() as f64 * 1e-6),
        hours: summary.drive_s / 3_600.0,
    })
}
