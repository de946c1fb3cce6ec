//! The machine: what the leg is, and what is fitted to it.

use heapless::String;
use serde::{Deserialize, Serialize};

use crate::input::Place;
use crate::units::{Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span, Watts};

/// One pulley.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pulley {
    /// Diameter without lagging, at mid-face.
    pub bare_diameter: Micrometres,
    /// Thickness of the lagging; zero if bare.
    pub lagging: Micrometres,
    /// Width of the face.
    pub face: Micrometres,
    /// Crown as difference in diameter, middle less edge.
    pub crown: Micrometres,
}

/// The belt.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Belt {
    /// Thickness.
    pub thickness: Micrometres,
    /// Width.
    pub width: Micrometres,
    /// Length of the whole loop.
    pub loop_length: Micrometres,
}

/// Which edges of a target count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum CountedEdges {
    /// Low to high.
    #[default]
    Rising,
    /// High to low.
    Falling,
    /// Both: twice as many marks a turn, spaced as the targets' widths have it.
    Both,
}

/// How the marks lie around the shaft.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Spacing {
    /// Evenly, each pitch within this much of the mean pitch.
    Even {
        /// Largest deviation of a pitch from the mean pitch, as a share of it.
        tolerance: Ppm,
    },
    /// Unevenly, with these extremes.
    Uneven {
        /// The smallest pitch, as a share of the turn.
        closest: Ppm,
        /// The largest pitch, as a share of the turn.
        widest: Ppm,
    },
}

/// The targets on one shaft and their sensor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Targets {
    /// Targets a turn, 1 to 32.
    pub count: u8,
    /// Which edges count.
    pub edges: CountedEdges,
    /// How the marks lie: of counted edges, so both edges of even targets are usually uneven.
    pub spacing: Spacing,
    /// Whether the line is supervised, so that a cut or short is seen as such.
    pub supervised: bool,
}

impl Targets {
    /// Counted edges a turn: the targets, or twice as many where both edges count. 1 to 64 in valid settings.
    #[must_use]
    pub const fn marks(&self) -> u8 {
        match self.edges {
            CountedEdges::Rising | CountedEdges::Falling => self.count,
            CountedEdges::Both => self.count.saturating_mul(2),
        }
    }
}

/// Which strand a rub contact sits at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Strand {
    /// The carrying strand.
    Up,
    /// The returning strand.
    Down,
}

/// A variable-speed drive's speed reference.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SpeedReference {
    /// The lowest reference the leg may run at, of normal operating speed.
    pub minimum: Ppm,
    /// The fastest the drive can change speed, of normal operating speed in a second.
    pub ramp_per_second: Ppm,
}

/// A no-slip ratio learned at commissioning, unloaded, and accepted by a person.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct AcceptedRatio {
    /// Boot turns for each head turn.
    pub ratio: Ratio,
    /// Largest less smallest seen while learning.
    pub spread: Ppm,
}

/// How the edges of the sensors are conditioned. The same minimum width on both shafts keeps their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Conditioning {
    /// A level counts only if held this long.
    pub minimum_width: Span,
    /// The highest speed either shaft can reach, of its normal operating speed.
    pub top_speed: Ppm,
    /// Rejected edges in one turn beyond which the signal is not trusted.
    pub rejects_a_turn: u8,
    /// Clear pulses of a rub contact shorter than this do not end the rub.
    pub contact_bridge: Span,
}

impl Conditioning {
    /// Sensible starting values: 200 µs is ten times the longest noise pulse seen in practice and a twentieth of the
    /// shortest target of a fast leg; 140 % leaves room for a drive that overspeeds; 16 rejects are many more than
    /// stray noise gives and far fewer than hum; 150 ms bridges a contact that bounces on bucket bolts.
    pub const STARTING: Self = Self {
        minimum_width: Span::new(200),
        top_speed: Ppm::new(1_400_000),
        rejects_a_turn: 16,
        contact_bridge: Span::from_millis(150),
    };
}

/// The whole machine.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Machine {
    /// The leg's name, to tell boxes apart.
    pub leg: String<32>,
    /// The head pulley.
    pub head_pulley: Pulley,
    /// The boot pulley.
    pub boot_pulley: Pulley,
    /// The belt.
    pub belt: Belt,
    /// Targets on the head shaft, if fitted. The head alone is refused: it cannot see the belt.
    pub head_targets: Option<Targets>,
    /// Targets on the boot shaft. Without them nothing can be judged.
    pub boot_targets: Option<Targets>,
    /// Head shaft speed at normal operating speed.
    pub normal_head: MicroturnsPerSecond,
    /// Boot shaft speed at normal operating speed: the belt's own measure.
    pub normal_boot: MicroturnsPerSecond,
    /// Whether the starter's auxiliary contact is wired. Required with the boot alone.
    pub drive_contact: bool,
    /// Whether power at the head shaft is measured.
    pub power_meter: bool,
    /// The speed reference of a variable-speed drive, if wired.
    pub speed_reference: Option<SpeedReference>,
    /// Whether an outlet switch is wired.
    pub outlet_switch: bool,
    /// The rub contacts, in the order of [`Place::ALL`]: the strand each sits at, `None` where not fitted.
    pub contacts: [Option<Strand>; Place::COUNT],
    /// Whether a temperature sensor is fitted at each place.
    pub temperatures: [bool; Place::COUNT],
    /// Rated power at the head shaft, used where power is not measured.
    pub rated_power: Watts,
    /// What the rated power is multiplied by where power is not measured.
    pub service_factor: Ppm,
    /// The ratio learned and accepted; geometry is used until then.
    pub accepted_ratio: Option<AcceptedRatio>,
    /// Conditioning of edges and contacts.
    pub conditioning: Conditioning,
}
