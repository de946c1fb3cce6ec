//! Everything that is wired to a box, and the looks at it that become signals.

use embedded_hal::digital::{InputPin, OutputPin};
use slackside::input::{Command, LineState, Origin, Place, Shaft, Signal};
use slackside::settings::plan::{Plan, fitted};
use slackside::units::{Micros, Span};

use crate::contact::RubContact;
use crate::line::{Analogue, Patience, SensorCurrent};
use crate::pin::{Input, Look, Output, Steady};
use crate::relay::Relay;

/// Buttons and the key bounce for less than this.
const BUTTON: Span = Span::from_millis(20);
/// Auxiliary contacts bounce for less than this.
const AUXILIARY: Span = Span::from_millis(10);

/// The wires of a box. `I` and `O` are the pin types: where a board gives every pin a type of its own, erase it with the
/// HAL's means or use `&mut dyn InputPin<Error = _>`. `A` is the analogue input's type, [`NoAnalogue`](crate::line::NoAnalogue)
/// where there is none.
#[derive(Debug)]
pub struct Wires<I, O, A> {
    /// What the box looks at.
    pub inputs: Inputs<I, A>,
    /// What it switches.
    pub outputs: Outputs<O, I>,
}

/// What the box looks at.
#[derive(Debug)]
pub struct Inputs<I, A> {
    /// The rub contacts, in the order of [`Place::ALL`].
    pub contacts: [Option<RubContact<I, A>>; Place::COUNT],
    /// The current of the head sensor's line, where it is measured.
    pub head_line: Option<A>,
    /// The current of the boot sensor's line, where it is measured.
    pub boot_line: Option<A>,
    /// The starter's auxiliary contact, on while the motor is on.
    pub drive: Option<Input<I>>,
    /// The outlet switch, on when plugged.
    pub outlet: Option<Input<I>>,
    /// The acknowledge button.
    pub acknowledge: Input<I>,
    /// The reset button.
    pub reset: Input<I>,
    /// The button that reports the boot clear.
    pub boot_cleared: Input<I>,
    /// The key.
    pub key: Input<I>,
    /// The inching switch, where fitted.
    pub inching: Option<Input<I>>,
    /// On while the supply is good, where that is watched.
    pub supply: Option<Input<I>>,
}

/// What the box switches. A contact's "on" is closed, and closed allows.
#[derive(Debug)]
pub struct Outputs<O, I> {
    /// The run permit's two relays, contacts in series.
    pub run: [Relay<O, I>; 2],
    /// The feed permit's relay.
    pub feed: Relay<O, I>,
    /// The alarm relay: on while nothing is wrong.
    pub alarm: Output<O>,
    /// The heartbeat for the external watchdog.
    pub heartbeat: Output<O>,
}

/// A supervised sensor line.
#[derive(Debug)]
struct Line<A> {
    level: A,
    patience: Patience,
    state: Option<LineState>,
}

impl<A: Analogue> Line<A> {
    fn new(level: A) -> Self {
        Self { level, patience: Patience::default(), state: None }
    }

    fn look(&mut self, now: Micros) -> Option<LineState> {
        // What cannot be measured may be cut.
        let seen = self.level.read().map_or(LineState::Open, |microamps| SensorCurrent::of(microamps).line());
        let believed = self.patience.believes(seen != LineState::Sound, now);
        if self.state == Some(seen) || (!believed && self.state.is_some()) {
            return None;
        }
        self.state = Some(seen);
        Some(seen)
    }
}

/// A press of a button as the box itself sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Press {
    /// Of proper length.
    Proper,
    /// Too short or too long.
    Improper,
}

/// A press of the reset button counts from here, and to there.
const PRESS: core::ops::RangeInclusive<Span> = Span::from_millis(100)..=Span::from_millis(3_000);

/// The looks at the inputs.
#[derive(Debug)]
pub(crate) struct Senses<I, A> {
    contacts: [Option<RubContact<I, A>>; Place::COUNT],
    head_line: Option<Line<A>>,
    boot_line: Option<Line<A>>,
    drive: Option<Steady<I>>,
    outlet: Option<Steady<I>>,
    acknowledge: Steady<I>,
    reset: Steady<I>,
    boot_cleared: Steady<I>,
    key: Steady<I>,
    inching: Option<Steady<I>>,
    supply: Option<Input<I>>,
    reset_pressed: Option<Micros>,
    /// Since when the reset button is down that was down at the first look of all.
    reset_stuck: Option<Micros>,
}

/// What one round of looks brought, apart from signals.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Round {
    /// Some pin could not be read.
    pub pin_fault: bool,
    /// Whether the supply is low, where that is watched.
    pub supply_low: Option<bool>,
    /// The reset button was let go.
    pub press: Option<Press>,
    /// Acknowledge went down or up.
    pub acknowledge: Option<bool>,
    /// The reset button has been down since the first look for longer than any press.
    pub reset_stuck: bool,
}

impl<I: InputPin, A: Analogue> Senses<I, A> {
    pub(crate) fn new(inputs: Inputs<I, A>) -> Self {
        let steady = |input: Option<Input<I>>, hold| input.map(|input| Steady::new(input, hold));
        Self {
            contacts: inputs.contacts,
            head_line: inputs.head_line.map(Line::new),
            boot_line: inputs.boot_line.map(Line::new),
            drive: steady(inputs.drive, AUXILIARY),
            outlet: steady(inputs.outlet, AUXILIARY),
            acknowledge: Steady::new(inputs.acknowledge, BUTTON),
            reset: Steady::new(inputs.reset, BUTTON),
            boot_cleared: Steady::new(inputs.boot_cleared, BUTTON),
            key: Steady::new(inputs.key, BUTTON),
            inching: steady(inputs.inching, BUTTON),
            supply: inputs.supply,
            reset_pressed: None,
            reset_stuck: None,
        }
    }

    /// Whether everything that the plan names is wired.
    pub(crate) fn serve(&self, plan: &Plan, head_sensor: bool) -> bool {
        let head = !plan.head.is_fitted() || head_sensor;
        let lines = (!plan.has(fitted::HEAD_SUPERVISED) || self.head_line.is_some())
            && (!plan.has(fitted::BOOT_SUPERVISED) || self.boot_line.is_some());
        let mut places = Place::ALL.into_iter().zip(&self.contacts);
        let contacts = places.all(|(place, wired)| !plan.has_contact(place) || wired.is_some());
        let drive = !plan.has(fitted::DRIVE_CONTACT) || self.drive.is_some();
        let outlet = !plan.has(fitted::OUTLET) || self.outlet.is_some();
        head && lines && contacts && drive && outlet
    }

    pub(crate) fn key_is_on(&self) -> bool {
        self.key.state() == Some(true)
    }

    /// Whether the drive is known to be on.
    pub(crate) fn drive_is_on(&self) -> bool {
        self.drive.as_ref().is_some_and(|drive| drive.state() == Some(true))
    }

    /// Whether the drive is known to be off.
    pub(crate) fn drive_is_off(&self) -> bool {
        self.drive.as_ref().is_none_or(|drive| drive.state() == Some(false))
    }

    /// Which rub contacts would show a cut wire.
    pub(crate) fn supervised_contacts(&self) -> [bool; Place::COUNT] {
        self.contacts.each_ref().map(|contact| contact.as_ref().is_some_and(RubContact::is_supervised))
    }

    /// Whether the sensor line of a shaft would show a cut wire.
    pub(crate) const fn is_supervised(&self, shaft: Shaft) -> bool {
        match shaft {
            Shaft::Head => self.head_line.is_some(),
            Shaft::Boot => self.boot_line.is_some(),
        }
    }

    /// Tell everything again at the next look, as after new settings.
    pub(crate) fn forget(&mut self) {
        for contact in self.contacts.iter_mut().flatten() {
            contact.forget();
        }
        for line in [&mut self.head_line, &mut self.boot_line].into_iter().flatten() {
            line.state = None;
        }
        let always = [&mut self.acknowledge, &mut self.reset, &mut self.boot_cleared, &mut self.key];
        let fitted = [&mut self.drive, &mut self.outlet, &mut self.inching].into_iter().flatten();
        always.into_iter().chain(fitted).for_each(Steady::forget);
        self.reset_pressed = None;
    }

    /// Look at everything; `out` gets what changed, and everything at the first look.
    pub(crate) fn look(&mut self, now: Micros, out: &mut dyn FnMut(Signal)) -> Round {
        let mut round = Round::default();
        for (shaft, line) in [(Shaft::Head, &mut self.head_line), (Shaft::Boot, &mut self.boot_line)] {
            if let Some(state) = line.as_mut().and_then(|line| line.look(now)) {
                out(Signal::Line(shaft, state));
            }
        }
        for (place, contact) in Place::ALL.into_iter().zip(&mut self.contacts) {
            if let Some(state) = contact.as_mut().and_then(|contact| contact.look(now)) {
                out(Signal::Contact(place, state));
            }
        }
        let mut look = |steady: &mut Steady<I>| match steady.look(now) {
            Look::Same => None,
            Look::Changed(on) => Some(on),
            Look::Unreadable => {
                round.pin_fault = true;
                None
            }
        };
        let leg = |command| Signal::Command(Origin::Leg, command);
        if let Some(on) = look(&mut self.key) {
            out(leg(Command::Key(on)));
        }
        if let Some(on) = self.drive.as_mut().and_then(&mut look) {
            out(Signal::DriveRunning(on));
        }
        if let Some(on) = self.outlet.as_mut().and_then(&mut look) {
            out(Signal::OutletPlugged(on));
        }
        let first = self.inching.as_ref().is_some_and(|inching| inching.state().is_none());
        if let Some(on) = self.inching.as_mut().and_then(&mut look)
            && (on || !first)
        {
            out(leg(Command::Inch(on)));
        }
        // A button that is down when power comes is no press.
        let first = self.acknowledge.state().is_none();
        round.acknowledge = look(&mut self.acknowledge).filter(|_| !first);
        if round.acknowledge == Some(true) {
            out(leg(Command::Acknowledge));
        }
        let first = self.boot_cleared.state().is_none();
        if look(&mut self.boot_cleared) == Some(true) && !first {
            out(leg(Command::BootCleared));
        }
        let first = self.reset.state().is_none();
        let down = look(&mut self.reset);
        if let Some(down) = down {
            self.reset_stuck = (down && first).then_some(now);
        }
        if down == Some(true) && !first {
            self.reset_pressed = Some(now);
            out(leg(Command::ResetButton(true)));
        }
        if down == Some(false)
            && let Some(pressed) = self.reset_pressed.take()
        {
            let proper = PRESS.contains(&now.since(pressed));
            round.press = Some(if proper { Press::Proper } else { Press::Improper });
            out(leg(Command::ResetButton(false)));
        }
        round.reset_stuck = self.reset_stuck.is_some_and(|since| now.since(since) > *PRESS.end());
        if let Some(supply) = &mut self.supply {
            // What cannot be read is not good.
            round.supply_low = Some(supply.read() != Some(true));
        }
        round
    }
}

/// Makes outputs safe at once: for the fault handler, and before anything else at start-up.
pub(crate) fn drop_all<O: OutputPin, I: InputPin>(outputs: &mut Outputs<O, I>) -> bool {
    let [a, b] = &mut outputs.run;
    let written = [a.drive(false), b.drive(false), outputs.feed.drive(false), outputs.alarm.write(false)];
    written.into_iter().all(|written| written)
}
