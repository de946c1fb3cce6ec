//! The channels of a trace.

use slackside::input::{Place, Shaft, Signal};

/// One column of meaning in a trace: what a row is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Channel {
    /// `head`, `boot`: the level of a target sensor, 1 after a rise, 0 after a fall. Both are needed.
    Edge(Shaft),
    /// `head_line`, `boot_line`: the supervised line, 0 sound, 1 open, 2 shorted.
    Line(Shaft),
    /// `rub_head_left` and the like: a rub contact, 0 clear, 1 rubbing, 2 faulty.
    Rub(Place),
    /// `temp_head_left_c` and the like: temperature in degrees Celsius, to a tenth.
    Temperature(Place),
    /// `drive`: the starter's auxiliary contact, 0 off, 1 on.
    Drive,
    /// `power_w`: power at the head shaft in whole watts.
    Power,
    /// `speed_reference_pct`: the speed asked of the drive, in per cent of normal operating speed.
    SpeedReference,
    /// `outlet_plugged`: 0 free, 1 plugged.
    OutletPlugged,
    /// `command`: what a person asked for.
    Command,
    /// `edges_lost`: `head` or `boot`, where edges were lost before they were recorded.
    EdgesLost,
    /// `tick`: always 0. Nothing happened; the recording had reached this time.
    Tick,
}

impl Channel {
    /// How many there are.
    pub const COUNT: usize = 19;

    /// All of them.
    pub const ALL: [Self; Self::COUNT] = [
        Self::Edge(Shaft::Head),
        Self::Edge(Shaft::Boot),
        Self::Line(Shaft::Head),
        Self::Line(Shaft::Boot),
        Self::Rub(Place::HeadLeft),
        Self::Rub(Place::HeadRight),
        Self::Rub(Place::BootLeft),
        Self::Rub(Place::BootRight),
        Self::Temperature(Place::HeadLeft),
        Self::Temperature(Place::HeadRight),
        Self::Temperature(Place::BootLeft),
        Self::Temperature(Place::BootRight),
        Self::Drive,
        Self::Power,
        Self::SpeedReference,
        Self::OutletPlugged,
        Self::Command,
        Self::EdgesLost,
        Self::Tick,
    ];

    /// The position in [`Channel::ALL`].
    #[must_use]
    pub const fn index(self) -> usize {
        match self {
            Self::Edge(Shaft::Head) => 0,
            Self::Edge(Shaft::Boot) => 1,
            Self::Line(Shaft::Head) => 2,
            Self::Line(Shaft::Boot) => 3,
            Self::Rub(place) => 4 + place.index(),
            Self::Temperature(place) => 8 + place.index(),
            Self::Drive => 12,
            Self::Power => 13,
            Self::SpeedReference => 14,
            Self::OutletPlugged => 15,
            Self::Command => 16,
            Self::EdgesLost => 17,
            Self::Tick => 18,
        }
    }

    /// Its name in the file.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Edge(Shaft::Head) => "head",
            Self::Edge(Shaft::Boot) => "boot",
            Self::Line(Shaft::Head) => "head_line",
            Self::Line(Shaft::Boot) => "boot_line",
            Self::Rub(Place::HeadLeft) => "rub_head_left",
            Self::Rub(Place::HeadRight) => "rub_head_right",
            Self::Rub(Place::BootLeft) => "rub_boot_left",
            Self::Rub(Place::BootRight) => "rub_boot_right",
            Self::Temperature(Place::HeadLeft) => "temp_head_left_c",
            Self::Temperature(Place::HeadRight) => "temp_head_right_c",
            Self::Temperature(Place::BootLeft) => "temp_boot_left_c",
            Self::Temperature(Place::BootRight) => "temp_boot_right_c",
            Self::Drive => "drive",
            Self::Power => "power_w",
            Self::SpeedReference => "speed_reference_pct",
            Self::OutletPlugged => "outlet_plugged",
            Self::Command => "command",
            Self::EdgesLost => "edges_lost",
            Self::Tick => "tick",
        }
    }

    /// The channel of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|channel| channel.name() == name)
    }

    /// The channel a signal belongs to.
    #[must_use]
    pub const fn of(signal: &Signal) -> Self {
        match signal {
            Signal::Edge(shaft, _) => Self::Edge(*shaft),
            Signal::Line(shaft, _) => Self::Line(*shaft),
            Signal::EdgesLost(_) => Self::EdgesLost,
            Signal::Contact(place, _) => Self::Rub(*place),
            Signal::Temperature(place, _) => Self::Temperature(*place),
            Signal::DriveRunning(_) => Self::Drive,
            Signal::DrivePower(_) => Self::Power,
            Signal::SpeedReference(_) => Self::SpeedReference,
            Signal::OutletPlugged(_) => Self::OutletPlugged,
            Signal::Command(..) => Self::Command,
            Signal::Tick => Self::Tick,
        }
    }
}

/// The known name that a mistyped one most likely stands for, if any is near.
pub(super) fn nearest<'a>(wrong: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let wrong = wrong.to_ascii_lowercase();
    known
        .map(|name| (edits(&wrong, name), name))
        .filter(|(edits, name)| *edits <= 1 + name.len() / 4)
        .min()
        .map(|(_, name)| name)
}

/// Insertions, deletions and replacements that lead from one word to the other.
fn edits(from: &str, to: &str) -> usize {
    let to: Vec<char> = to.chars().collect();
    let mut row: Vec<usize> = (0..=to.len()).collect();
    for (done, letter) in from.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = done + 1;
        for (at, other) in to.iter().enumerate() {
            let replaced = diagonal + usize::from(letter != *other);
            diagonal = row[at + 1];
            row[at + 1] = replaced.min(row[at] + 1).min(diagonal + 1);
        }
    }
    row[to.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_whole_and_in_order() {
        for (index, channel) in Channel::ALL.into_iter().enumerate() {
            assert_eq!(channel.index(), index);
            assert_eq!(Channel::from_name(channel.name()), Some(channel));
        }
    }

    #[test]
    fn a_slip_of_the_finger_is_understood_and_gibberish_is_not() {
        let names = || Channel::ALL.into_iter().map(Channel::name);
        assert_eq!(nearest("hed", names()), Some("head"));
        assert_eq!(nearest("rub_heat_left", names()), Some("rub_head_left"));
        assert_eq!(nearest("BOOT", names()), Some("boot"));
        assert_eq!(nearest("vibration", names()), None);
    }
}
