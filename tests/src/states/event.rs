//! What can happen.

use slackside::input::Origin;

use super::Reach;

/// One event: an input, or a few that belong together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// Acknowledge.
    Acknowledge(Origin),
    /// Reset, by a press of proper length; by the link the plain command.
    Reset(Origin),
    /// The reset button for a twentieth of a second.
    ResetTooShort,
    /// The reset button for three and a half seconds.
    ResetTooLong,
    /// The reset button goes down and stays.
    ResetDown,
    /// The boot was looked into.
    BootCleared(Origin),
    /// The key is turned.
    Key(bool),
    /// The outlet switch is bypassed for a minute.
    Bypass(Origin),
    /// Every bypass ends.
    EndBypass(Origin),
    /// Inching begins or ends.
    Inch(Origin, bool),
    /// A proof test begins or ends.
    ProofTest(Origin, bool),
    /// The drive contact.
    Drive(bool),
    /// The outlet switch: plugged or free.
    Outlet(bool),
    /// The boot sensor's line: cut or sound.
    BootLine(bool),
    /// A rub contact: rubbing or clear.
    Rub(bool),
    /// A rub contact's line is cut.
    RubCut,
    /// Edges of the boot sensor were lost.
    EdgesLost,
    /// A second with nothing moving.
    Wait,
    /// Twelve seconds with nothing moving.
    WaitLong,
    /// A minute with nothing moving: bypasses and inching end.
    WaitMinute,
    /// Both shafts turn at speed for four seconds.
    Turn,
    /// The head turns for four seconds, the belt stands.
    BeltStands,
    /// Both turn for four seconds, the boot eight per cent slower than it should.
    Slip,
    /// Both turn for four seconds at seven tenths of their speed.
    Slow,
    /// Power goes and comes back.
    PowerCycle,
}

impl Event {
    /// Those of a reach.
    #[must_use]
    pub fn of(reach: Reach) -> Vec<Self> {
        use Origin::{Leg, Link};
        let mut events = vec![Self::ResetTooShort, Self::ResetTooLong, Self::ResetDown];
        for origin in [Leg, Link] {
            events.extend([
                Self::Acknowledge(origin),
                Self::Reset(origin),
                Self::BootCleared(origin),
                Self::Bypass(origin),
                Self::EndBypass(origin),
                Self::Inch(origin, true),
                Self::Inch(origin, false),
                Self::ProofTest(origin, true),
                Self::ProofTest(origin, false),
            ]);
        }
        events.extend([true, false].map(Self::Key));
        events.extend([true, false].map(Self::Outlet));
        events.extend([true, false].map(Self::BootLine));
        events.extend([Self::Wait, Self::WaitLong, Self::WaitMinute, Self::PowerCycle]);
        if reach == Reach::Turning {
            events.extend([true, false].map(Self::Drive));
            events.extend([true, false].map(Self::Rub));
            events.extend([Self::RubCut, Self::EdgesLost, Self::Turn, Self::BeltStands, Self::Slip, Self::Slow]);
        }
        events
    }
}
