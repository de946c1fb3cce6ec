//! Supervised lines: what a level on a wire says of the wire itself.

use slackside::input::{ContactState, LineState};
use slackside::units::{Micros, Span};

/// An analogue input.
///
/// embedded-hal 1.0 has no trait for one, so this is the whole of what a box asks of it.
pub trait Analogue {
    /// The newest reading, or `None` if it cannot be read. For a target sensor's line: its current in microamperes. For a
    /// rub contact's line: the level as a share of its supply, 0 to 65,535.
    fn read(&mut self) -> Option<u16>;
}

/// For boards without analogue inputs: a type with no values.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoAnalogue {}

impl Analogue for NoAnalogue {
    fn read(&mut self) -> Option<u16> {
        match *self {}
    }
}

/// What the current of a target sensor after IEC 60947-5-6 says. The numbers are from memory: a sound sensor draws less than
/// 1.2 mA or more than 2.1 mA; a cut wire shows as 0.05 to 0.35 mA or less; a short draws more than 6 mA.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SensorCurrent {
    /// Below [`OPEN_BELOW`]: the wire is cut, or the sensor is off.
    Open,
    /// Below [`LOW_BELOW`]: a target is before the sensor (for the usual make of sensor).
    Low,
    /// Within the switching range: neither.
    Between,
    /// Above [`HIGH_ABOVE`]: no target.
    High,
    /// Above [`SHORT_ABOVE`]: the wires touch.
    Shorted,
}

/// Below this current, in µA, the line is open: the upper end of what the standard allows for it.
pub const OPEN_BELOW: u16 = 350;
/// Below this current, in µA, a target is seen.
pub const LOW_BELOW: u16 = 1_200;
/// Above this current, in µA, none is.
pub const HIGH_ABOVE: u16 = 2_100;
/// Above this current, in µA, the line is shorted.
pub const SHORT_ABOVE: u16 = 6_000;

impl SensorCurrent {
    /// What `microamps` say.
    #[must_use]
    pub const fn of(microamps: u16) -> Self {
        match microamps {
            0..OPEN_BELOW => Self::Open,
            OPEN_BELOW..LOW_BELOW => Self::Low,
            LOW_BELOW..=HIGH_ABOVE => Self::Between,
            _ if microamps <= SHORT_ABOVE => Self::High,
            _ => Self::Shorted,
        }
    }

    /// The state of the line.
    #[must_use]
    pub const fn line(self) -> LineState {
        match self {
            Self::Open => LineState::Open,
            Self::Low | Self::Between | Self::High => LineState::Sound,
            Self::Shorted => LineState::Shorted,
        }
    }
}

/// What the level of a rub contact's line says.
///
/// The line has 2.2 kΩ to its supply at the box; at the far end 1 kΩ in series, then the contact with 3.3 kΩ across it. A
/// contact that closes when the belt rubs gives 1/(1 + 2.2) = 0.31 of the supply closed and 4.3/(4.3 + 2.2) = 0.66 open; a
/// short gives 0, a cut wire 1. Each bound lies halfway between its neighbours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ContactLevel {
    /// Below [`SHORTED_BELOW`].
    Shorted,
    /// Below [`RUBBING_BELOW`].
    Rubbing,
    /// Below [`CLEAR_BELOW`].
    Clear,
    /// The rest.
    Open,
}

/// Below this share of the supply (of 65,535) a contact's line is shorted.
pub const SHORTED_BELOW: u16 = 10_239;
/// Below this share the contact is closed: the belt rubs.
pub const RUBBING_BELOW: u16 = 31_914;
/// Below this share the contact is open: the belt is clear. From here on the wire is cut.
pub const CLEAR_BELOW: u16 = 54_442;

impl ContactLevel {
    /// What a share of the supply says.
    #[must_use]
    pub const fn of(share: u16) -> Self {
        match share {
            0..SHORTED_BELOW => Self::Shorted,
            SHORTED_BELOW..RUBBING_BELOW => Self::Rubbing,
            RUBBING_BELOW..CLEAR_BELOW => Self::Clear,
            CLEAR_BELOW.. => Self::Open,
        }
    }

    /// The contact's state.
    #[must_use]
    pub const fn state(self) -> ContactState {
        match self {
            Self::Shorted | Self::Open => ContactState::Faulty,
            Self::Rubbing => ContactState::Rubbing,
            Self::Clear => ContactState::Clear,
        }
    }
}

/// How long a wire must look faulty before it is called so: a changeover contact is open on both sides for a few
/// milliseconds, and a reading taken in a flank means nothing.
pub const FAULT_AFTER: Span = Span::from_millis(20);

/// Holds back a fault until it has lasted for [`FAULT_AFTER`]. Everything else passes at once.
#[derive(Clone, Copy, Debug, Default)]
pub struct Patience {
    since: Option<Micros>,
}

impl Patience {
    /// Whether what is seen now is to be believed.
    pub fn believes(&mut self, faulty: bool, now: Micros) -> bool {
        if !faulty {
            self.since = None;
            return true;
        }
        now.since(*self.since.get_or_insert(now)) >= FAULT_AFTER
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bounds after IEC 60947-5-6, from memory; each met from both sides by one microampere.
    #[test]
    fn sensor_currents_fall_into_their_classes() {
        use SensorCurrent::{Between, High, Low, Open, Shorted};
        let table = [
            (0, Open),
            (50, Open),
            (349, Open),
            (350, Low),
            (1_199, Low),
            (1_200, Between),
            (2_100, Between),
            (2_101, High),
            (6_000, High),
            (6_001, Shorted),
            (u16::MAX, Shorted),
        ];
        for (microamps, class) in table {
            assert_eq!(SensorCurrent::of(microamps), class, "{microamps} µA");
        }
    }

    #[test]
    fn open_and_shorted_lines_are_never_sound() {
        for microamps in 0..=u16::MAX {
            let sound = SensorCurrent::of(microamps).line() == LineState::Sound;
            assert_eq!(sound, (350..=6_000).contains(&microamps), "{microamps} µA");
        }
    }

    #[test]
    fn contact_levels_fall_into_their_classes() {
        use ContactLevel::{Clear, Open, Rubbing, Shorted};
        let table = [
            (0, Shorted),
            (10_238, Shorted),
            (10_239, Rubbing),
            (31_913, Rubbing),
            (31_914, Clear),
            (54_441, Clear),
            (54_442, Open),
            (u16::MAX, Open),
        ];
        for (share, class) in table {
            assert_eq!(ContactLevel::of(share), class, "{share}");
        }
    }

    /// The voltage divider itself, with every resistor off by 5 % in the worst direction and 50 Ω of line.
    #[test]
    fn five_per_cent_resistors_do_not_change_the_class() {
        let share = |far: i64, near: i64| u16::try_from(65_535 * far / (far + near)).unwrap_or(u16::MAX);
        for (near, series, across) in
            [95, 105].iter().flat_map(|a| [95, 105].map(|b| (a, b))).flat_map(|(a, b)| [95, 105].map(|c| (a, b, c)))
        {
            let (near, series, across) = (2_200 * near / 100, 1_000 * series / 100, 3_300 * across / 100);
            for line in [0, 50] {
                assert_eq!(ContactLevel::of(share(series + line, near)), ContactLevel::Rubbing);
                assert_eq!(ContactLevel::of(share(series + across + line, near)), ContactLevel::Clear);
                assert_eq!(ContactLevel::of(share(line, near)), ContactLevel::Shorted);
            }
        }
    }

    #[test]
    fn a_fault_is_believed_once_it_lasts() {
        let mut patience = Patience::default();
        assert!(!patience.believes(true, Micros::new(1_000)));
        assert!(!patience.believes(true, Micros::new(20_999)));
        assert!(patience.believes(true, Micros::new(21_000)));
        assert!(patience.believes(false, Micros::new(21_001)));
        assert!(!patience.believes(true, Micros::new(21_002)));
    }
}
