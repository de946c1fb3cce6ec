//! What the registers are taken from, and each quantity as a register.

use slackside::alarm::AlarmState;
use slackside::arith::{divide, mul_div};
use slackside::conditions::Condition;
use slackside::input::Shaft;
use slackside::record::CoreVersion;
use slackside::settings::plan::{Plan, ShaftPlan};
use slackside::signals::{ContactSignals, Reading, ShaftSignals, rub, speed};
use slackside::time::{Now, age};
use slackside::units::Micros;
use slackside::verdict::Phase;
use slackside::wire::{BoxStatus, LinkStatus, flags};

use embedded_hal::digital::{InputPin, OutputPin};
use embedded_storage::nor_flash::NorFlash;
use slackside_box::SensorBox;
use slackside_box::line::Analogue;

use crate::words::{UNKNOWN, counted, hundredths_down, hundredths_up, known, signed, tenths_up, word_of};

/// A box at one moment.
#[derive(Clone, Copy, Debug)]
pub struct View<'a> {
    /// How the leg is.
    pub status: LinkStatus,
    /// How the box itself is.
    pub own: BoxStatus,
    /// What it runs on; `None` for a box without settings.
    pub plan: Option<&'a Plan>,
    /// How often it was switched on.
    pub session: u32,
    /// Up to when the leg has been judged; without a plan, when the main loop last came round.
    pub judged_until: Micros,
}

/// Alarm states, a bit for each by its number.
#[derive(Clone, Copy)]
pub(crate) struct States(u16);

impl States {
    /// Alarms that nobody has acknowledged.
    pub(crate) const TO_ACKNOWLEDGE: Self =
        Self::of(&[AlarmState::Unacknowledged, AlarmState::ReturnedUnacknowledged, AlarmState::LatchedUnacknowledged])
            .or_newer();
    /// Conditions wrong now, acknowledged or not.
    pub(crate) const WRONG: Self = Self::of(&[AlarmState::Unacknowledged, AlarmState::Acknowledged]).or_newer();
    /// Conditions latched, no longer wrong.
    pub(crate) const LATCHED: Self = Self::of(&[AlarmState::LatchedUnacknowledged, AlarmState::LatchedAcknowledged]);
    /// Conditions bypassed.
    pub(crate) const BYPASSED: Self = Self::of(&[AlarmState::Shelved]);
    /// All that somebody should look at.
    const TO_LOOK_AT: Self = Self(Self::TO_ACKNOWLEDGE.0 | Self::WRONG.0 | Self::LATCHED.0 | Self::BYPASSED.0);

    const fn of(states: &[AlarmState]) -> Self {
        let (mut bits, mut rest) = (0_u16, states);
        while let [state, others @ ..] = rest {
            bits |= 1_u16.wrapping_shl(*state as u32);
            rest = others;
        }
        Self(bits)
    }

    /// And whatever a newer program may say of an alarm: that is not "nothing", somebody must look.
    const fn or_newer(self) -> Self {
        Self(self.0 | u16::MAX.wrapping_shl((AlarmState::OutOfService as u32).wrapping_add(1)))
    }

    fn hold(self, state: u8) -> bool {
        self.0.wrapping_shr(state.min(15).into()) & 1 != 0
    }
}

/// The numbers that conditions have, a bit each.
const NUMBERS: u64 = {
    let (mut bits, mut rest) = (0, Condition::ALL.as_slice());
    while let [condition, others @ ..] = rest {
        bits |= 1_u64.wrapping_shl(condition.id() as u32);
        rest = others;
    }
    bits
};

/// What a set of conditions is told as while nothing is judged: unknown counts as wrong.
const ALL_WRONG: u16 = 0xFFFF;
/// There is none: told apart from number 0, which is a condition.
const NONE: i32 = -1;

impl<'a> View<'a> {
    /// A box at `now`, the time of its own clock.
    pub fn of<I, O, A, F, const MARKS: usize>(sensor_box: &'a SensorBox<'_, I, O, A, F, MARKS>, now: Micros) -> Self
    where
        I: InputPin,
        O: OutputPin,
        A: Analogue,
        F: NorFlash,
    {
        let monitor = sensor_box.monitor();
        let polled = sensor_box.polled().unwrap_or(Micros::ZERO);
        Self {
            status: LinkStatus::of(monitor, now, sensor_box.key_is_on(), sensor_box.verdicts().newest()),
            own: sensor_box.box_status(),
            plan: monitor.plan(),
            session: sensor_box.session(),
            // With a plan the main loop alone is not enough: it must have asked judge.
            judged_until: if monitor.plan().is_some() { monitor.newest().min(polled) } else { polled },
        }
    }

    /// With a plan; unknown without.
    fn judged(&self, value: impl FnOnce(&Plan) -> u16) -> u16 {
        self.plan.map_or(UNKNOWN, value)
    }

    pub(crate) const fn heartbeat(&self) -> u16 {
        // 65,536 µs each: the count needs no division.
        (self.judged_until.get() >> 16) as u16
    }

    pub(crate) fn health(&self) -> u16 {
        let status = &self.status;
        if self.plan.is_none() {
            4
        } else if !(status.is(flags::RUN_PERMIT) && self.own.run_given) {
            3
        } else if self.own.faults != 0
            || self.number_of(States::TO_LOOK_AT) != 0
            || status.phase() == Phase::Unsure
            || self.distrusted()
        {
            2
        } else {
            1
        }
    }

    fn distrusted(&self) -> bool {
        self.status.signals.head.distrust != 0 || self.status.signals.boot.distrust != 0
    }

    pub(crate) fn phase(&self) -> u16 {
        let number = match self.status.phase() {
            Phase::Unsure => None,
            Phase::Standstill => Some(1),
            Phase::Starting => Some(2),
            Phase::Running => Some(3),
            Phase::CoastDown => Some(4),
            Phase::Inching => Some(5),
        };
        self.judged(|_| known(number))
    }

    pub(crate) fn permits(&self) -> u16 {
        let bit = |place: u16, is: bool| if is { 1_u16 << (place & 15) } else { 0 };
        bit(0, self.own.run_given)
            | bit(1, self.own.feed_given)
            | bit(2, self.status.is(flags::RUN_PERMIT))
            | bit(3, self.status.is(flags::FEED_PERMIT))
            | bit(4, self.status.is(flags::KEY_ON))
            | bit(5, self.status.is(flags::BOOT_CLEARED_NEEDED))
    }

    pub(crate) fn first_out(&self) -> u16 {
        self.judged(|_| signed(self.status.first_out_number().map_or(NONE, i32::from)))
    }

    pub(crate) fn count(&self, of: States) -> u16 {
        self.judged(|_| self.number_of(of))
    }

    /// How many alarms are in one of these states.
    pub(crate) fn number_of(&self, of: States) -> u16 {
        self.status.states().iter().filter(|state| of.hold(**state)).count() as u16
    }

    /// The conditions whose alarms are in one of these states, by their numbers, sixteen a word, the lowest in bit 0 of the first.
    pub(crate) fn bits(&self, of: States, word: u16) -> u16 {
        if self.plan.is_none() {
            return ALL_WRONG;
        }
        let here = self.status.states().iter().skip(usize::from(word).wrapping_mul(16));
        here.zip(0_u16..16).fold(0, |bits, (state, place)| bits | u16::from(of.hold(*state)) << (place & 15))
    }

    pub(crate) fn alarm(&self, number: u16) -> u16 {
        let state = self.status.states().get(usize::from(number)).filter(|_| NUMBERS >> (number & 63) & 1 != 0);
        self.judged(|_| state.map_or(UNKNOWN, |state| u16::from(*state)))
    }

    const fn shaft(&self, shaft: Shaft) -> &ShaftSignals {
        match shaft {
            Shaft::Head => &self.status.signals.head,
            Shaft::Boot => &self.status.signals.boot,
        }
    }

    /// A shaft's speed, at most, in microturns a second; 0 only where it is proven to stand.
    fn speed(&self, shaft: Shaft) -> Option<(u32, &ShaftPlan)> {
        let plan = self.plan?.shaft(shaft);
        let signals = self.shaft(shaft);
        if !plan.is_fitted() || signals.distrust != 0 || signals.is_in_doubt() {
            return None;
        }
        if self.status.phase() == Phase::Standstill {
            return Some((0, plan));
        }
        let measured = signals.speed()?;
        let waited = age(Now::new(self.status.at()).us(), signals.last_edge);
        let most = if waited == 0 { measured } else { measured.min(speed(signals.next_largest, waited)) };
        Some((most.get(), plan))
    }

    /// In tenths of a turn a minute.
    pub(crate) fn rpm(&self, shaft: Shaft) -> u16 {
        // 10 * 60 / 1e6
        self.speed(shaft).map_or(UNKNOWN, |(speed, _)| counted(mul_div(speed, 3, 5_000)))
    }

    /// In tenths of a per cent of normal.
    pub(crate) fn of_normal(&self, shaft: Shaft) -> u16 {
        let share = |(speed, plan): (u32, &ShaftPlan)| (plan.normal != 0).then(|| mul_div(speed, 1_000, plan.normal));
        self.speed(shaft).and_then(share).map_or(UNKNOWN, counted)
    }

    /// The belt's speed by the boot's rim, in millimetres a second.
    pub(crate) fn belt(&self) -> u16 {
        let Some(((speed, _), plan)) = self.speed(Shaft::Boot).zip(self.plan) else { return UNKNOWN };
        // Micrometres a turn times millionths of a turn a second.
        let product = u64::from(speed).wrapping_mul(plan.slip.boot_circumference.into());
        if plan.slip.boot_circumference == 0 { UNKNOWN } else { counted(divide(product, 1_000_000_000)) }
    }

    pub(crate) fn slip_least(&self, reading: Reading) -> u16 {
        self.judged(|_| known(reading.is_known().then(|| hundredths_down(reading.least))))
    }

    pub(crate) fn slip_most(&self, reading: Reading) -> u16 {
        // While the boot is overdue there is no upper end: the largest number of the type says so.
        self.judged(|_| known(reading.is_known().then(|| hundredths_up(reading.most))))
    }

    /// Mean slip, from the head's first motion since rest on.
    pub(crate) fn slip_mean(&self) -> u16 {
        let both = self.status.is(flags::HEAD_FITTED) && self.status.is(flags::BOOT_FITTED);
        let known_now = both && !self.distrusted() && self.status.signals.long.is_known();
        self.judged(|_| known(known_now.then(|| hundredths_up(self.status.signals.slip_mean))))
    }

    pub(crate) fn heat(&self) -> u16 {
        self.judged(|plan| {
            known((plan.head.is_fitted() && plan.boot.is_fitted()).then(|| tenths_up(self.status.slip_heat)))
        })
    }

    /// Boot turns for each head turn over a long stretch, in ten-thousandths.
    pub(crate) fn ratio(&self) -> u16 {
        let ratio = self.status.signals.ratio;
        self.judged(|_| if ratio == 0 { UNKNOWN } else { counted(ratio / 100) })
    }

    fn contact(&self, place: u16) -> Option<&ContactSignals> {
        self.plan?;
        let fitted = self.status.contacts.wrapping_shr(place.into()) & 1 != 0;
        self.status.signals.contacts.get(usize::from(place)).filter(|_| fitted)
    }

    pub(crate) fn rub(&self, place: u16) -> u16 {
        self.contact(place).map_or(UNKNOWN, |contact| match contact.state {
            rub::CLEAR => 1,
            rub::RUBBING => 2,
            _ => 3,
        })
    }

    pub(crate) fn rub_share(&self, place: u16) -> u16 {
        let seen = self.contact(place).filter(|contact| contact.state != rub::FAULTY);
        known(seen.map(|contact| tenths_up(contact.duty)))
    }

    pub(crate) fn distrust(&self, shaft: Shaft) -> u16 {
        self.fitted(shaft, |signals| signals.distrust.into())
    }

    pub(crate) fn pattern(&self, shaft: Shaft) -> u16 {
        self.fitted(shaft, |signals| signals.pattern.into())
    }

    pub(crate) fn rejected(&self, shaft: Shaft) -> u16 {
        // Fifteen bits: it wraps, and the unknown stays apart.
        self.fitted(shaft, |signals| (signals.rejected & 0x7FFF) as u16)
    }

    fn fitted(&self, shaft: Shaft, value: impl FnOnce(&ShaftSignals) -> u16) -> u16 {
        self.judged(|plan| if plan.shaft(shaft).is_fitted() { value(self.shaft(shaft)) } else { UNKNOWN })
    }

    /// Which lines would show a cut wire.
    pub(crate) fn supervised(&self) -> u16 {
        let ([head, boot], [a, b, c, d]) = (self.own.supervised_shafts, self.own.supervised_contacts);
        let lines = [head, boot, a, b, c, d];
        lines.into_iter().rev().fold(0, |bits, is| bits << 1 | u16::from(is))
    }

    pub(crate) fn faults(&self, word: u16) -> u16 {
        word_of(self.own.faults, word)
    }

    pub(crate) fn identity(&self, word: u16) -> u16 {
        word_of(self.plan.map_or(0, Plan::identity), word)
    }

    pub(crate) fn number(&self, word: u16) -> u16 {
        word_of(self.plan.map_or(0, |plan| plan.number), word)
    }

    pub(crate) const fn core(word: u16) -> u16 {
        let CoreVersion { major, minor, patch, layout } = CoreVersion::THIS;
        if word == 0 { (major as u16) << 8 | minor as u16 } else { (patch as u16) << 8 | layout as u16 }
    }

    /// Two bytes of the leg's name, the first one above.
    pub(crate) fn name(&self, word: u16) -> u16 {
        let at = usize::from(word).saturating_mul(2);
        let byte = |at: usize| self.plan.and_then(|plan| plan.leg.get(at)).map_or(0, |byte| u16::from(*byte));
        byte(at) << 8 | byte(at.saturating_add(1))
    }
}
