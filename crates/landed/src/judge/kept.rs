//! Judge as bytes.
//!
//! What follows from the settings is not kept. Conditions at rest take no room, and neither does the motion that judge saw last
//! while it is the one that measure has.

use super::cell::Cell;
use super::speeds::Speeds;
use super::{AlarmState, Condition, ConditionSet, Judge, Status};
use crate::motion::Motion;
use crate::record::keep::{Keep, Page, Pen, Unreadable, keep_one_of};
use crate::verdict::Phase;

keep_one_of!(AlarmState:
    AlarmState::Normal,
    AlarmState::Unacknowledged,
    AlarmState::Acknowledged,
    AlarmState::ReturnedUnacknowledged,
    AlarmState::LatchedUnacknowledged,
    AlarmState::LatchedAcknowledged,
    AlarmState::Shelved,
    AlarmState::Suppressed,
    AlarmState::OutOfService,
);
keep_one_of!(Phase:
    Phase::Unsure,
    Phase::Standstill,
    Phase::Starting,
    Phase::Running,
    Phase::CoastDown,
    Phase::Inching,
);

impl Keep for Option<Condition> {
    fn keep(&self, pen: &mut Pen<'_>) {
        // 0 stands for none.
        pen.varint(self.map_or(0, |condition| (condition.index() as u64).wrapping_add(1)));
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        *self = match page.varint()?.checked_sub(1) {
            None => None,
            Some(index) => {
                let index = usize::try_from(index).unwrap_or(usize::MAX);
                Some(Condition::ALL.get(index).copied().ok_or(Unreadable)?)
            }
        };
        Ok(())
    }
}

const BEYOND: u8 = 1;
const ACTIVE: u8 = 2;
const LATCHES: u8 = 4;

impl Keep for Cell {
    fn keep(&self, pen: &mut Pen<'_>) {
        let flag = |is: bool, bit: u8| if is { bit } else { 0 };
        pen.byte(flag(self.beyond, BEYOND) | flag(self.active, ACTIVE) | flag(self.latches, LATCHES));
        self.due.keep(pen);
    }

    fn fetch(&mut self, page: &mut Page<'_>) -> Result<(), Unreadable> {
        let flags = page.byte()?;
        self.beyond = flags & BEYOND != 0;
        self.active = flags & ACTIVE != 0;
        self.latches = flags & LATCHES != 0;
        self.due.fetch(page)
    }
}

/// The parts that are simply kept one after the other, each by the method named.
macro_rules! each_part {
    ($judge:ident, $method:ident($stream:ident) $($try:tt)?) => {
        $judge.begun.$method($stream) $($try)?;
        $judge.base.$method($stream) $($try)?;
        $judge.newest.$method($stream) $($try)?;
        $judge.scale.$method($stream) $($try)?;
        $judge.status.run_permit.$method($stream) $($try)?;
        $judge.status.feed_permit.$method($stream) $($try)?;
        $judge.status.phase.$method($stream) $($try)?;
        $judge.status.first_out.$method($stream) $($try)?;
        $judge.status.boot_cleared_needed.$method($stream) $($try)?;
        $judge.course.$method($stream) $($try)?;
        $judge.rest.$method($stream) $($try)?;
        $judge.starts.$method($stream) $($try)?;
        $judge.start_ages.$method($stream) $($try)?;
        $judge.contact_changes.$method($stream) $($try)?;
        $judge.lates.$method($stream) $($try)?;
        $judge.heat.$method($stream) $($try)?;
        $judge.heat_slip.$method($stream) $($try)?;
        $judge.power.$method($stream) $($try)?;
        $judge.reference.$method($stream) $($try)?;
        $judge.temperatures.$method($stream) $($try)?;
        $judge.outlet.$method($stream) $($try)?;
        $judge.unknown_since.$method($stream) $($try)?;
        $judge.people.$method($stream) $($try)?;
        $judge.raised.$method($stream) $($try)?;
        $judge.bands.$method($stream) $($try)?;
        $judge.silence.$method($stream) $($try)?;
        $judge.other.$method($stream) $($try)?;
    };
}

impl Judge {
    /// The state an alarm is in while nothing has happened to it.
    fn idle(&self, condition: Condition) -> AlarmState {
        if self.out_of_service.contains(condition) { AlarmState::OutOfService } else { AlarmState::Normal }
    }

    /// Keep the state, beside the motion that measure has.
    pub(crate) fn keep_beside(&self, motion: &Motion, pen: &mut Pen<'_>) {
        // A field that is neither kept nor follows from the settings does not compile.
        let Self {
            status: Status { run_permit: _, feed_permit: _, phase: _, first_out: _, boot_cleared_needed: _, alarms: _ },
            configured: _,
            begun: _,
            base: _,
            newest: _,
            limits: _,
            fitted: _,
            out_of_service: _,
            stopping: _,
            dropping_feed: _,
            holding: _,
            names: _,
            speeds: _,
            scale: _,
            expected_ratio: _,
            assumed_power: _,
            cells: _,
            motion: _,
            course: _,
            rest: _,
            starts: _,
            start_ages: _,
            contact_changes: _,
            lates: _,
            heat: _,
            heat_slip: _,
            power: _,
            reference: _,
            temperatures: _,
            outlet: _,
            unknown_since: _,
            people: _,
            raised: _,
            bands: _,
            silence: _,
            other: _,
            due: _,
        } = self;
        each_part!(self, keep(pen));
        let mut busy = ConditionSet::EMPTY;
        for condition in Condition::ALL {
            if self.cell(condition) != Cell::NEW || self.state(condition) != self.idle(condition) {
                busy = busy.with(condition);
            }
        }
        pen.varint(busy.bits());
        for condition in busy.iter() {
            self.cell(condition).keep(pen);
            self.state(condition).keep(pen);
        }
        let same = self.motion == *motion;
        same.keep(pen);
        if !same {
            self.motion.keep(pen);
        }
    }

    /// Fetch it back, over a judge configured by the same settings.
    pub(crate) fn fetch_beside(&mut self, motion: &Motion, page: &mut Page<'_>) -> Result<(), Unreadable> {
        each_part!(self, fetch(page)?);
        self.find_due();
        self.speeds = Speeds::new(&self.names, &self.limits, self.scale);
        let busy = ConditionSet::from_bits(page.varint()?).ok_or(Unreadable)?;
        for condition in Condition::ALL {
            let (mut cell, mut state) = (Cell::NEW, self.idle(condition));
            if busy.contains(condition) {
                cell.fetch(page)?;
                state.fetch(page)?;
            }
            self.with_cell(condition, |slot| *slot = cell);
            self.set_state(condition, state);
        }
        let mut same = false;
        same.fetch(page)?;
        self.motion = *motion;
        if !same {
            self.motion.fetch(page)?;
        }
        self.draw_again();
        Ok(())
    }
}
