//! What may be read and written of a leg: nothing old, and one word. How often the word is taken is the box's affair, which holds every link
//! to few commands at a time.

use slackside::units::Span;

use crate::registers::{self, ACKNOWLEDGE, ACKNOWLEDGE_WORD};
use crate::server::{Exception, Registers};
use crate::view::{States, View};

/// Values of a leg that nobody has judged for so long are no longer told.
pub const OLD_AFTER: Span = Span::from_millis(2_000);
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
    /// Somebody has seen the alarms, and there are some: the box is to be told.
    pub acknowledged: bool,
}

impl<'v> Leg<'v> {
    /// As it is in `view`.
    pub const fn new(view: &'v View<'v>) -> Self {
        Self { view, acknowledged: false }
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
        // Where there is nothing to acknowledge it is done already.
        self.acknowledged = self.view.number_of(States::TO_ACKNOWLEDGE) != 0;
        Ok(())
    }
}
