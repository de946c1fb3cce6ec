//! What may be read and written of a leg: nothing old, one word, and that not too often.

use slackside::units::{Micros, Span};

use crate::registers::{self, ACKNOWLEDGE, ACKNOWLEDGE_WORD};
use crate::server::{Exception, Registers};
use crate::view::View;

/// Values of a leg that nobody has judged for so long are no longer told.
pub const OLD_AFTER: Span = Span::from_millis(2_000);
/// Acknowledgements are taken no closer together.
pub const BETWEEN_ACKNOWLEDGEMENTS: Span = Span::from_millis(1_000);

/// When an acknowledgement may come again.
#[derive(Clone, Copy, Debug, Default)]
pub struct Pace {
    last: Option<Micros>,
}

impl Pace {
    /// None came yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { last: None }
    }

    /// Whether one may come now; if so, the next must wait.
    pub fn may(&mut self, now: Micros) -> bool {
        let may = self.last.is_none_or(|last| now.since(last) >= BETWEEN_ACKNOWLEDGEMENTS);
        if may {
            self.last = Some(now);
        }
        may
    }
}

/// Hold a write against what may be written.
///
/// # Errors
/// [`Exception::Address`] for any other register, [`Exception::Value`] for any other word.
pub const fn may_write(register: u16, value: u16) -> Result<(), Exception> {
    match (register, value) {
        (ACKNOWLEDGE, ACKNOWLEDGE_WORD) => Ok(()),
        (ACKNOWLEDGE, _) => Err(Exception::Value),
        _ => Err(Exception::Address),
    }
}

/// A leg's registers as its own box serves them.
pub struct Leg<'v> {
    view: &'v View<'v>,
    pace: &'v mut Pace,
    /// Somebody has seen the alarms: the box is to be told.
    pub acknowledged: bool,
}

impl<'v> Leg<'v> {
    /// As it is in `view`.
    pub const fn new(view: &'v View<'v>, pace: &'v mut Pace) -> Self {
        Self { view, pace, acknowledged: false }
    }

    fn fresh(&self) -> Result<(), Exception> {
        let age = self.view.status.at().since(self.view.judged_until);
        if age.get() > OLD_AFTER.get() { Err(Exception::Failed) } else { Ok(()) }
    }
}

impl Registers for Leg<'_> {
    fn read(&mut self, register: u16) -> Result<u16, Exception> {
        let value = registers::read(self.view, register).ok_or(Exception::Address)?;
        self.fresh().map(|()| value)
    }

    fn write(&mut self, register: u16, value: u16) -> Result<(), Exception> {
        may_write(register, value)?;
        self.fresh()?;
        if !self.pace.may(self.view.status.at()) {
            return Err(Exception::Busy);
        }
        self.acknowledged = true;
        Ok(())
    }
}
