//! What a replay found.

use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::diagnose::{Evidence, Gather};
use slackside::judge::Status;
use slackside::motion::{Motion, SlipReading};
use slackside::settings::Checked;
use slackside::units::{Micros, Ppm};
use slackside::verdict::{Change, Permit, Phase, Verdict};

use super::rows::{Row, Rows};
use super::run_up::RunUp;
use super::series::Series;
use super::window::Window;
use super::wired::Wired;
use crate::findings::evidence::Evidence as Asked;
use crate::report::Clock;
use crate::trace::{Survey, Warning};

/// Verdicts kept for people; more are only counted (the events file has them all).
const KEPT: usize = 4_000;

/// The first condition of a trip group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct FirstOut {
    /// When it fell due.
    pub at: Micros,
    /// Which.
    pub condition: Condition,
    /// The value at that moment, where known.
    pub value: Option<i32>,
    /// What it was held against.
    pub setpoint: i32,
    /// The place of a contact or the reasons of distrust.
    pub detail: u8,
}

/// The largest value of something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Peak {
    /// When it was known.
    pub at: Micros,
    /// The value.
    pub value: Ppm,
    /// Whether it is only a lower limit.
    pub at_least: bool,
    /// The row that made it known.
    pub row: Option<Row>,
}

/// How often and when a condition's alarm came.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Raised {
    /// When first.
    pub first: Option<Micros>,
    /// How often.
    pub times: u64,
}

/// Slip that nothing has told anew for longer than this, in microseconds, is not known.
pub(super) const STALE_US: u64 = 1_500_000;

/// What a replay found.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The trace, as messages call it.
    pub trace: String,
    /// The settings it was held against, as messages call them.
    pub settings_name: String,
    /// The settings.
    pub settings: Checked,
    /// What the trace contains.
    pub survey: Survey,
    /// Its rows, for whoever asks where a figure comes from.
    pub rows: Rows,
    /// Whether it is text, so that rows have lines; recordings have none.
    pub is_text: bool,
    /// What spoils the outcome as a whole, such as settings that are not the leg's: said before anything else.
    pub cautions: Vec<String>,
    /// Whether speeds are told in feet a minute, as whoever wrote the settings measures.
    pub feet: bool,
    /// What everybody who reads this must know about the settings.
    pub notes: Vec<String>,
    /// Of a recording: where it came from, and how far this replay is the box's own.
    pub origin: Vec<String>,
    /// Whether part of what was recorded is damaged, so that a stop may be missing here.
    pub part_unread: bool,
    /// What is odd about the trace.
    pub warnings: Vec<Warning>,
    /// The verdicts, oldest first; only the first few thousand.
    pub verdicts: Vec<Verdict>,
    /// The newest row as each of these fell due.
    pub verdict_rows: Vec<Option<Row>>,
    /// How many verdicts there were.
    pub verdicts_in_all: u64,
    /// The first-outs, oldest first; only the first few thousand.
    pub first_outs: Vec<FirstOut>,
    /// Every condition's alarms, in the order of [`Condition::ALL`].
    pub raised: [Raised; Condition::COUNT],
    /// When the run permit was first dropped after it had been given.
    pub run_dropped: Option<Micros>,
    /// How long the motor stayed on after the run permit was dropped, in microseconds, by the drive contact: up to the end of
    /// the trace if it was not switched off. `None` if it was off already, or the permit was not dropped.
    pub ran_on_us: Option<u64>,
    /// Whether the run permit was given at any time.
    pub run_ever_given: bool,
    /// When the feed permit was first dropped by a condition.
    pub feed_dropped: Option<(Micros, Condition)>,
    /// The last seconds before the first first-out.
    pub run_up: RunUp,
    /// The whole trace, for drawing.
    pub series: Series,
    /// The drive contact over the whole trace.
    pub drive: Wired,
    /// The outlet switch over the whole trace.
    pub outlet: Wired,
    /// The inputs around the first trip, or the last ones where nothing tripped.
    pub window: Window,
    /// The largest slip over one boot turn.
    pub peak_short: Option<Peak>,
    /// The largest slip over four boot turns.
    pub peak_long: Option<Peak>,
    /// The most slip heat, as a share of its budget.
    pub peak_heat: Ppm,
    /// How long the leg was running, in microseconds.
    pub running_us: u64,
    /// How much of that slip was known: a reading that nothing tells anew counts for 1.5 s at most.
    pub slip_known_us: u64,
    /// What judge held at the end.
    pub status: Status,
    /// The alarms at the end, in the order of [`Condition::ALL`].
    pub alarms: [AlarmState; Condition::COUNT],
    /// What measure knew at the end.
    pub motion: Motion,
    /// What the core's diagnose goes by.
    pub evidence: Evidence,
    /// What findings go by.
    pub asked: Asked,
    /// Slip over one and over four boot turns while the boot is overdue: its next edge may say otherwise.
    pub(super) open: [Option<Peak>; 2],
    pub(super) run_given: bool,
    pub(super) drive_on: bool,
    pub(super) drive_off_at: Option<Micros>,
    pub(super) phase: Phase,
    pub(super) newest: Micros,
}

impl Outcome {
    pub(super) fn begin(trace: &str, settings_name: &str, settings: &Checked, status: &Status) -> Self {
        Self {
            trace: trace.to_owned(),
            settings_name: settings_name.to_owned(),
            settings: settings.clone(),
            survey: Survey::default(),
            rows: Rows::default(),
            is_text: true,
            cautions: Vec::new(),
            feet: false,
            notes: Vec::new(),
            origin: Vec::new(),
            part_unread: false,
            warnings: Vec::new(),
            verdicts: Vec::new(),
            verdict_rows: Vec::new(),
            verdicts_in_all: 0,
            first_outs: Vec::new(),
            raised: [Raised::default(); Condition::COUNT],
            run_dropped: None,
            ran_on_us: None,
            run_ever_given: status.run_permit,
            feed_dropped: None,
            run_up: RunUp::default(),
            series: Series::default(),
            drive: Wired::default(),
            outlet: Wired::default(),
            window: Window::default(),
            peak_short: None,
            peak_long: None,
            peak_heat: Ppm::ZERO,
            running_us: 0,
            slip_known_us: 0,
            status: *status,
            alarms: [AlarmState::Normal; Condition::COUNT],
            motion: Motion::NONE,
            evidence: Gather::new(settings).evidence(),
            asked: Asked::default(),
            open: [None; 2],
            run_given: status.run_permit,
            drive_on: false,
            drive_off_at: None,
            phase: status.phase,
            newest: Micros::ZERO,
        }
    }

    /// How its times are written.
    #[must_use]
    pub fn clock(&self) -> Clock {
        Clock::of(&self.survey)
    }

    /// When the trace begins.
    #[must_use]
    pub fn first(&self) -> Micros {
        self.survey.first.unwrap_or(Micros::ZERO)
    }

    /// When it ends. What would have come later is not known.
    #[must_use]
    pub fn last(&self) -> Micros {
        self.survey.last.unwrap_or(Micros::ZERO)
    }

    /// Whether both shafts have targets, so that slip can be known at all.
    #[must_use]
    pub fn sees_slip(&self) -> bool {
        self.settings.machine.head_targets.is_some() && self.settings.machine.boot_targets.is_some()
    }

    /// The alarms that stand at the end, each with its state.
    pub fn standing(&self) -> impl Iterator<Item = (Condition, AlarmState)> {
        Condition::ALL.into_iter().zip(self.alarms).filter(|(_, state)| {
            !matches!(state, AlarmState::Normal | AlarmState::OutOfService | AlarmState::Suppressed)
        })
    }

    /// The newest row as a verdict of that moment fell due.
    #[must_use]
    pub fn row_of_verdict(&self, at: Micros) -> Option<Row> {
        let found = self.verdicts.iter().zip(&self.verdict_rows).find(|(verdict, _)| verdict.at == at);
        found.and_then(|(_, row)| *row)
    }

    pub(super) fn take(&mut self, verdict: &Verdict) {
        self.verdicts_in_all += 1;
        if self.verdicts.len() < KEPT {
            self.verdicts.push(*verdict);
            self.verdict_rows.push(self.rows.behind(verdict.at));
        }
        match verdict.change {
            Change::Alarm { condition, to: AlarmState::Unacknowledged, value, setpoint, detail, .. } => {
                let raised = &mut self.raised[condition.rank()];
                raised.first.get_or_insert(verdict.at);
                raised.times += 1;
                // The alarm may come just before or just after the first-out it belongs to.
                if let Some(newest) = self.first_outs.last_mut()
                    && newest.condition == condition
                    && newest.at == verdict.at
                {
                    *newest = FirstOut { value, setpoint, detail, ..*newest };
                }
            }
            Change::FirstOut(Some(condition)) if self.first_outs.len() < KEPT => {
                let raising =
                    self.verdicts.iter().rev().take_while(|earlier| earlier.at == verdict.at).find_map(|earlier| {
                        match earlier.change {
                            Change::Alarm {
                                condition: its,
                                to: AlarmState::Unacknowledged,
                                value,
                                setpoint,
                                detail,
                                ..
                            } if its == condition => Some((value, setpoint, detail)),
                            _ => None,
                        }
                    });
                let (value, setpoint, detail) =
                    raising.unwrap_or((None, self.settings.limits.of(condition).setpoint, 0));
                self.first_outs.push(FirstOut { at: verdict.at, condition, value, setpoint, detail });
            }
            Change::Permit { permit: Permit::Run, allowed, .. } => {
                if self.run_given && !allowed && self.run_dropped.is_none() {
                    self.run_dropped = Some(verdict.at);
                    // What the leg was stopped by counts, whatever comes after.
                    self.keep_open_peaks();
                    self.ran_on_us = self.drive_on.then_some(0);
                }
                self.run_given = allowed;
                self.run_ever_given |= allowed;
            }
            Change::Permit { permit: Permit::Feed, allowed: false, because: Some(condition) } => {
                self.feed_dropped.get_or_insert((verdict.at, condition));
            }
            Change::Phase(phase) => self.phase = phase,
            _ => {}
        }
    }

    /// Take the drive contact.
    pub(super) fn drive(&mut self, at: Micros, on: bool) {
        self.drive_on = on;
        self.drive.take(at, on);
        if !on && self.run_dropped.is_some() {
            self.drive_off_at.get_or_insert(at);
        }
    }

    /// Take slip, whenever the motion changes. The times count as known what was known before.
    pub(super) fn slip(&mut self, at: Micros, before: &Motion, motion: &Motion) {
        let gap = at.get().saturating_sub(self.newest.get());
        if self.phase == Phase::Running && self.newest > Micros::ZERO {
            self.running_us += gap;
            if before.slip_long.ppm().is_some() || before.slip_short.ppm().is_some() {
                self.slip_known_us += gap.min(STALE_US);
            }
        }
        self.newest = self.newest.max(at);
        let (short, long) = (motion.slip_short, motion.slip_long);
        if short != before.slip_short || long != before.slip_long {
            self.series.slip(at, short.ppm(), long.ppm());
            let row = self.rows.behind(at);
            let peaks = [(short, &mut self.peak_short), (long, &mut self.peak_long)];
            for ((reading, peak), open) in peaks.into_iter().zip(&mut self.open) {
                match reading {
                    SlipReading::AtLeast(value) => *open = Some(Peak { at, value, at_least: true, row }),
                    SlipReading::Known(value) | SlipReading::Between(value, _) => {
                        *open = None;
                        raise(peak, Peak { at, value, at_least: reading.is_limit(), row });
                    }
                    SlipReading::Retracted => *open = None,
                    SlipReading::Unknown => {}
                }
            }
        }
    }

    /// Slip that nothing has taken back counts.
    pub(super) fn keep_open_peaks(&mut self) {
        let [short, long] = core::mem::take(&mut self.open);
        for (open, peak) in [(short, &mut self.peak_short), (long, &mut self.peak_long)] {
            if let Some(open) = open {
                raise(peak, open);
            }
        }
    }
}

fn raise(peak: &mut Option<Peak>, other: Peak) {
    if peak.is_none_or(|peak| other.value > peak.value) {
        *peak = Some(other);
    }
}
