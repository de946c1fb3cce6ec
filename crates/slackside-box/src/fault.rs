//! What can be wrong with the box itself, apart from the leg.

use serde::{Deserialize, Serialize};

/// A fault of the box.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
#[non_exhaustive]
pub enum Fault {
    /// There are no settings in memory: the box is new.
    NoSettings,
    /// There are settings in memory, but they are damaged or of a version this program does not know.
    SettingsUnreadable,
    /// The settings in memory break a rule.
    SettingsRefused,
    /// The settings are for a machine with more marks a turn than this box has room for.
    NoRoom,
    /// The settings say that something is fitted which is not wired to this box.
    NotWired,
    /// What should have survived the loss of power is missing or damaged: it counts as latched.
    StateUnreadable,
    /// What must survive a loss of power could not be stored.
    StateNotStored,
    /// A recording or a day could not be stored.
    RecordingNotStored,
    /// The first output of the run permit was switched off, but its contact stays closed: welded, or the read-back is wrong.
    RunAWelded,
    /// The second output's contact stays closed.
    RunBWelded,
    /// The feed permit's contact stays closed.
    FeedWelded,
    /// The first output of the run permit was switched on, but its contact stays open or fell open.
    RunAOpen,
    /// The second output's contact stays open or fell open.
    RunBOpen,
    /// The feed permit's contact stays open or fell open.
    FeedOpen,
    /// A pin could not be read or written.
    Pin,
    /// The main loop came back too late.
    Stalled,
    /// A queue overflowed: edges were lost.
    EdgesLost,
    /// The supply is low.
    SupplyLow,
    /// Settings were written but not to the end: which of the two count after the next power-up is not known.
    SettingsInDoubt,
    /// The slip heat before power went is not known: it counts as full.
    HeatUnknown,
    /// The reset button has been down since the box was switched on: no reset is possible.
    ResetStuck,
    /// The key has been on for a quarter of an hour with neither a bypass nor inching running.
    KeyLeftOn,
    /// A plan was armed by a link, and nobody has reset that yet.
    PlanArmed,
    /// The run permit is dropped, and the starter's auxiliary contact says that the motor runs on.
    MotorRunsOn,
    /// The stop was proven more than a year ago.
    ProofTestDue,
    /// The clock that stamps the edges and the second clock went on at different rates, or one of them stood.
    ClocksDiffer,
    /// The heart stood still for as long as the watchdog outside needs to open, and a coil had supply all the same.
    WatchdogShut,
    /// A rub point's temperature has not moved by a tenth of a degree, or has not come, for a day in which the leg ran.
    TemperatureStill,
}

impl Fault {
    /// All of them.
    pub const ALL: [Self; 28] = [
        Self::NoSettings,
        Self::SettingsUnreadable,
        Self::SettingsRefused,
        Self::NoRoom,
        Self::NotWired,
        Self::StateUnreadable,
        Self::StateNotStored,
        Self::RecordingNotStored,
        Self::RunAWelded,
        Self::RunBWelded,
        Self::FeedWelded,
        Self::RunAOpen,
        Self::RunBOpen,
        Self::FeedOpen,
        Self::Pin,
        Self::Stalled,
        Self::EdgesLost,
        Self::SupplyLow,
        Self::SettingsInDoubt,
        Self::HeatUnknown,
        Self::ResetStuck,
        Self::KeyLeftOn,
        Self::PlanArmed,
        Self::MotorRunsOn,
        Self::ProofTestDue,
        Self::ClocksDiffer,
        Self::WatchdogShut,
        Self::TemperatureStill,
    ];

    /// Whether it holds both permits dropped. Not so a recording that was not kept, a button that is stuck, a key
    /// that is forgotten, the news of a plan, a proof test that is due, and a temperature that stands still.
    #[must_use]
    pub const fn drops_permits(self) -> bool {
        !matches!(
            self,
            Self::RecordingNotStored
                | Self::ResetStuck
                | Self::KeyLeftOn
                | Self::PlanArmed
                | Self::ProofTestDue
                | Self::TemperatureStill
        )
    }

    /// Whether it stays, power cycle or not, until someone resets it at the box. The others last as long as their cause.
    #[must_use]
    pub const fn latches(self) -> bool {
        matches!(
            self,
            Self::RunAWelded
                | Self::RunBWelded
                | Self::FeedWelded
                | Self::RunAOpen
                | Self::RunBOpen
                | Self::FeedOpen
                | Self::Pin
                | Self::Stalled
                | Self::EdgesLost
                | Self::StateUnreadable
                | Self::StateNotStored
                | Self::RecordingNotStored
                | Self::SettingsInDoubt
                | Self::HeatUnknown
                | Self::PlanArmed
                | Self::MotorRunsOn
                | Self::ClocksDiffer
                | Self::WatchdogShut
        )
    }

    /// What a person is told: what is wrong and what to do.
    #[must_use]
    pub const fn says(self) -> &'static str {
        match self {
            Self::NoSettings => "no settings: write the leg's settings to the box",
            Self::SettingsUnreadable => "settings in memory are damaged: write the leg's settings again",
            Self::SettingsRefused => "settings in memory break a rule: check the settings file and write it again",
            Self::NoRoom => "settings are for more marks a turn than this box has room for: use a box built for more",
            Self::NotWired => {
                "settings name a sensor or contact that this box has no input for: mend settings or wiring"
            }
            Self::StateUnreadable => {
                "what was latched before power went is not known and counts as tripped: look into the boot, report it \
                 clear, acknowledge and reset"
            }
            Self::StateNotStored => "a trip could not be stored: the flash is worn or faulty, replace the box",
            Self::RecordingNotStored => {
                "a recording or a day could not be stored: fetch and erase recordings, else replace the box"
            }
            Self::RunAWelded => {
                "run permit, first contact does not open: welded, or its read-back is wrong; lock out and mend"
            }
            Self::RunBWelded => {
                "run permit, second contact does not open: welded, or its read-back is wrong; lock out and mend"
            }
            Self::FeedWelded => {
                "feed permit's contact does not open: welded, or its read-back is wrong; lock out and mend"
            }
            Self::RunAOpen => "run permit, first contact does not close: relay, its supply or its read-back",
            Self::RunBOpen => "run permit, second contact does not close: relay, its supply or its read-back",
            Self::FeedOpen => "feed permit's contact does not close: relay, its supply or its read-back",
            Self::Pin => "a pin of the processor could not be read or written: replace the box",
            Self::Stalled => "the program was held up longer than allowed: report it with the recording",
            Self::EdgesLost => {
                "target pulses came faster than they could be taken: noise on a sensor line, or a wrong sensor"
            }
            Self::SupplyLow => "supply voltage is low",
            Self::SettingsInDoubt => {
                "settings could not be written to the end, and may or may not count after the next power-up: write them again"
            }
            Self::HeatUnknown => {
                "slip heat before power went is not known and counts as full: let pulley and belt cool, then reset"
            }
            Self::ResetStuck => {
                "the reset button has been down since power came: stuck or wedged, no reset is possible"
            }
            Self::KeyLeftOn => "the key was left on: turn it off and take it away, nothing needs it now",
            Self::PlanArmed => "new settings were armed by the link: make sure that they are those meant, then reset",
            Self::MotorRunsOn => {
                "the motor runs on though the run permit is dropped: stop it at the starter and lock out; the permit is bridged \
                 there, or its auxiliary contact is stuck"
            }
            Self::ProofTestDue => {
                "the last proof test that passed was more than a year ago: do one, and file its record"
            }
            Self::ClocksDiffer => {
                "the box's two clocks do not go at the same rate, so no speed can be trusted: replace the box"
            }
            Self::WatchdogShut => {
                "the watchdog outside did not open as the heart stood still: it is stuck or too slow; lock out and replace it"
            }
            Self::TemperatureStill => {
                "a rub point's temperature has not moved, or not come, for a day in which the leg ran: its sensor, clamp and wire, its \
                 supply, or a transmitter that repeats its last value"
            }
        }
    }

    const fn bit(self) -> u32 {
        1_u32.wrapping_shl(self as u32)
    }
}

/// A set of faults.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Faults(u32);

impl Faults {
    /// None.
    pub const NONE: Self = Self(0);

    /// Whether it holds `fault`.
    #[must_use]
    pub const fn contains(self, fault: Fault) -> bool {
        self.0 & fault.bit() != 0
    }

    /// With `fault`.
    #[must_use]
    pub const fn with(self, fault: Fault) -> Self {
        Self(self.0 | fault.bit())
    }

    /// Without `fault`.
    #[must_use]
    pub const fn without(self, fault: Fault) -> Self {
        Self(self.0 & !fault.bit())
    }

    /// These and those of `other`.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The faults, in the order of [`Fault::ALL`].
    pub fn iter(self) -> impl Iterator<Item = Fault> {
        Fault::ALL.into_iter().filter(move |fault| self.contains(*fault))
    }

    /// Whether any of them holds the permits dropped.
    #[must_use]
    pub fn drop_permits(self) -> bool {
        self.iter().any(Fault::drops_permits)
    }

    /// Those that stay until reset.
    #[must_use]
    pub fn latching(self) -> Self {
        self.iter().filter(|fault| fault.latches()).fold(Self::NONE, Self::with)
    }

    /// As bits: bit `n` is the `n`th of [`Fault::ALL`].
    #[must_use]
    pub const fn bits(self) -> u32 {
        self.0
    }

    /// From bits; those that mean nothing are dropped.
    #[must_use]
    pub fn from_bits(bits: u32) -> Self {
        Fault::ALL.into_iter().filter(|fault| bits & fault.bit() != 0).fold(Self::NONE, Self::with)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_whole_and_in_order() {
        for (index, fault) in Fault::ALL.into_iter().enumerate() {
            assert_eq!(fault as usize, index);
            assert!(Faults::from_bits(1 << index).contains(fault));
        }
        assert_eq!(Faults::from_bits(u32::MAX).iter().count(), Fault::ALL.len());
    }

    #[test]
    fn what_drops_permits_is_nearly_everything() {
        let kept = Fault::ALL.into_iter().filter(|fault| !fault.drops_permits()).collect::<std::vec::Vec<_>>();
        assert_eq!(
            kept,
            [
                Fault::RecordingNotStored,
                Fault::ResetStuck,
                Fault::KeyLeftOn,
                Fault::PlanArmed,
                Fault::ProofTestDue,
                Fault::TemperatureStill,
            ]
        );
    }
}
