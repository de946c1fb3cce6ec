//! The machine: what the leg is, and what is fitted to it. A row is all that is known of a setting: what is not made from its row here
//! walks over [`Field`](super::Field).

use heapless::String;

use super::file_unit::{
    COUNT, DEGREES, FACTOR, FOOT, HORSEPOWER, INCH, KILOWATTS, METRE, MICROSECONDS, MILLISECONDS, MM, PERCENT,
    PERCENT_A_SECOND, RATIO, RPM, SECONDS,
};
use super::row::{Numbered, Part, part};
use super::say::FieldUnit;
use crate::input::Place;
use crate::settings::Settings;
use crate::units::{Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span, Watts};

/// Ranges of what legs in grain and feed plants are built like, from small feed-mill legs to terminal legs (common practice, no
/// source), and of what the arithmetic bears.
const DIAMETERS: super::Range = super::Range::Built((200_000, 2_000_000), (1_000, 10_000_000));
const FACES: super::Range = super::Range::Built((80_000, 2_500_000), (0, 10_000_000));
const WIDTHS: super::Range = super::Range::Built((60_000, 2_400_000), (0, 10_000_000));
const LAGGINGS: super::Range = super::Range::Built((0, 30_000), (0, 1_000_000));
const THICKNESSES: super::Range = super::Range::Built((2_000, 30_000), (0, 1_000_000));
/// 10 to 300 turns a minute, and 1 to 6,000.
const SHAFT_SPEEDS: super::Range = super::Range::Built((166_666, 5_000_000), (16_667, 100_000_000));
/// Of no-slip ratios.
pub(in crate::settings) const RATIOS: super::Range = super::Range::Built((500_000, 2_000_000), (200_000, 5_000_000));

const LENGTH: super::Kind = super::Kind::Number(FieldUnit::Micrometres, &[MM, INCH]);
const STRANDS: super::Kind = super::Kind::Word(&["up", "down"]);

part! {
    /// One pulley.
    struct Pulley, PulleyPart {
        /// Diameter without lagging, at mid-face.
        bare_diameter: Micrometres = BareDiameter {
            key: "bare_diameter",
            kind: LENGTH,
            given: Required,
            range: DIAMETERS,
            reason: "Legs are built with pulleys of 0.2 to 2 m.",
        }
        /// Thickness of the lagging; zero if bare.
        lagging: Micrometres = Lagging {
            key: "lagging",
            kind: LENGTH,
            given: Starting(0),
            range: LAGGINGS,
            reason: "Adds to the diameter on both sides; bare unless given.",
        }
        /// Width of the face.
        face: Micrometres = Face {
            key: "face",
            kind: LENGTH,
            given: Required,
            range: FACES,
            reason: "At least as wide as the belt.",
        }
        /// Crown as difference in diameter, middle less edge.
        crown: Micrometres = Crown {
            key: "crown",
            kind: LENGTH,
            given: Starting(0),
            range: Own,
            reason: "About 1 % of the face is the common rule; 3 % or more is refused. Flat unless given.",
        }
    }
}

part! {
    /// The belt.
    struct Belt, BeltPart {
        /// Thickness.
        thickness: Micrometres = Thickness {
            key: "thickness",
            kind: LENGTH,
            given: Required,
            range: THICKNESSES,
            reason: "The belt bends about its middle, so it adds to both diameters.",
        }
        /// Width.
        width: Micrometres = Width {
            key: "width",
            kind: LENGTH,
            given: Required,
            range: WIDTHS,
            reason: "No wider than the faces of the pulleys.",
        }
        /// Length of the whole loop.
        loop_length: Micrometres = Loop {
            key: "loop",
            instead: "centres_m",
            kind: Number(FieldUnit::MicrometresAsMetres, &[METRE, FOOT]),
            given: Required,
            range: Own,
            reason: "Must leave the pulleys between 2 m and 150 m apart.",
        }
    }
}

/// Which edges of a target count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
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
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Targets {
    /// Targets a turn, 1 to 64; 32 where both edges count.
    pub count: u8,
    /// Which edges count.
    pub edges: CountedEdges,
    /// How the marks lie: of counted edges, so both edges of even targets are usually uneven.
    pub spacing: Spacing,
    /// Whether the line is supervised, so that a cut or short is seen as such.
    pub supervised: bool,
}

impl Targets {
    /// One target of which nothing else is said.
    const PLAIN: Self = Self {
        count: 1,
        edges: CountedEdges::Rising,
        // What a careful drill and a bolt circle give.
        spacing: Spacing::Even { tolerance: Ppm::new(20_000) },
        supervised: false,
    };

    /// Counted edges a turn: the targets, or twice as many where both edges count. 1 to 64 in valid settings.
    #[must_use]
    pub const fn marks(&self) -> u8 {
        match self.edges {
            CountedEdges::Rising | CountedEdges::Falling => self.count,
            CountedEdges::Both => self.count.saturating_mul(2),
        }
    }
}

part! {
    /// The settings of [`Targets`].
    rows TargetsPart of Targets {
        /// Targets a turn.
        Count(|part| Some(part.count.number()), |part, value| part.count = Numbered::of(value)) {
            key: "count",
            kind: Number(FieldUnit::Count, &[COUNT]),
            given: Required,
            range: Works(1, 64),
            reason: "More make a loss of speed known sooner; the box has room for 64 counted edges a turn.",
        }
        /// Which edges count.
        Edges(|part| Some(part.edges.number()), |part, value| part.edges = Numbered::of(value)) {
            key: "edges",
            kind: Word(&["rising", "falling", "both"]),
            given: Starting(0),
            range: Own,
            reason: "Both edges make twice as many marks, spaced as the targets' widths have it.",
        }
        /// Largest deviation of a pitch from the mean pitch, where they lie evenly.
        SpacingTolerance(
            |part| match part.spacing {
                Spacing::Even { tolerance } => Some(tolerance.number()),
                Spacing::Uneven { .. } => None,
            },
            |part, value| part.spacing = Spacing::Even { tolerance: Numbered::of(value) }
        ) {
            key: "spacing_tolerance",
            instead: "closest_deg and widest_deg",
            kind: Number(FieldUnit::Ppm, &[PERCENT]),
            given: Starting(20_000),
            range: Works(0, 200_000),
            reason: "What a careful drill and a bolt circle give.",
        }
        /// The smallest pitch between counted edges, where they lie unevenly.
        Closest(
            |part| match part.spacing {
                Spacing::Uneven { closest, .. } => Some(closest.number()),
                Spacing::Even { .. } => None,
            },
            |part, value| {
                let closest = Numbered::of(value);
                part.spacing = match part.spacing {
                    Spacing::Uneven { widest, .. } => Spacing::Uneven { closest, widest },
                    Spacing::Even { .. } => Spacing::Uneven { closest, widest: closest },
                }
            }
        ) {
            key: "closest",
            kind: Number(FieldUnit::Ppm, &[DEGREES]),
            given: Absent,
            range: Own,
            reason: "All pitches add up to one turn.",
        }
        /// The largest pitch between counted edges, where they lie unevenly.
        Widest(
            |part| match part.spacing {
                Spacing::Uneven { widest, .. } => Some(widest.number()),
                Spacing::Even { .. } => None,
            },
            |part, value| {
                let widest = Numbered::of(value);
                part.spacing = match part.spacing {
                    Spacing::Uneven { closest, .. } => Spacing::Uneven { closest, widest },
                    Spacing::Even { .. } => Spacing::Uneven { closest: widest, widest },
                }
            }
        ) {
            key: "widest",
            kind: Number(FieldUnit::Ppm, &[DEGREES]),
            given: Absent,
            range: Own,
            reason: "All pitches add up to one turn.",
        }
        /// Whether a cut or shorted line is seen as such.
        Supervised(|part| Some(part.supervised.number()), |part, value| part.supervised = Numbered::of(value)) {
            key: "supervised",
            kind: Flag,
            given: Starting(0),
            range: Own,
            reason: "Without it a cut wire is seen only as silence.",
        }
    }
}

/// Which strand a rub contact sits at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Strand {
    /// The carrying strand.
    Up,
    /// The returning strand.
    Down,
}

part! {
    /// A variable-speed drive's speed reference.
    struct SpeedReference, SpeedReferencePart {
        /// The lowest reference the leg may run at, of normal operating speed.
        minimum: Ppm = Minimum {
            key: "minimum",
            kind: Number(FieldUnit::Ppm, &[PERCENT]),
            given: Required,
            range: Works(100_000, 1_000_000),
            reason: "A leg slower than a tenth of normal speed is not run.",
        }
        /// The drive's ramp: how fast it changes speed, of normal operating speed in a second.
        ramp_per_second: Ppm = Ramp {
            key: "ramp",
            kind: Number(FieldUnit::Ppm, &[PERCENT_A_SECOND]),
            given: Required,
            range: Works(1_000, 2_000_000),
            reason: "Normal speed follows the reference at this rate, as the drive does.",
        }
    }
}

part! {
    /// A no-slip ratio learned at commissioning, unloaded, and accepted by a person.
    struct AcceptedRatio, AcceptedRatioPart {
        /// Boot turns for each head turn.
        ratio: Ratio = Ratio {
            key: "ratio",
            kind: Number(FieldUnit::Ratio, &[RATIO]),
            given: Required,
            range: RATIOS,
            reason: "Within 10 % of what the pulleys give.",
        }
        /// Largest less smallest seen while learning.
        spread: Ppm = Spread {
            key: "spread",
            kind: Number(FieldUnit::Ppm, &[PERCENT]),
            given: Required,
            range: Works(0, 50_000),
            reason: "A ratio that varied more was not learned without load.",
        }
    }
}

part! {
    /// How the edges of the sensors are conditioned. The same minimum width on both shafts keeps their order.
    struct Conditioning, ConditioningPart {
        /// A level counts only if held this long.
        minimum_width: Span = MinimumWidth {
            key: "minimum_width",
            kind: Number(FieldUnit::Microseconds, &[MICROSECONDS, MILLISECONDS]),
            given: Starting(2_000),
            range: Works(5, 1_000_000),
            reason: "A sensor that lets go bounces for up to 2 ms; a quarter of the closest pitch of a fast leg is longer.",
        }
        /// The highest speed either shaft can reach, of its normal operating speed.
        top_speed: Ppm = TopSpeed {
            key: "top_speed",
            kind: Number(FieldUnit::Ppm, &[PERCENT]),
            given: Starting(1_400_000),
            range: Works(1_050_000, 3_000_000),
            reason: "Leaves room for a drive that overspeeds.",
        }
        /// Rejected edges in one turn beyond which the signal is not trusted.
        rejects_a_turn: u8 = RejectsATurn {
            key: "rejects_a_turn",
            kind: Number(FieldUnit::Count, &[COUNT]),
            given: Starting(32),
            range: Works(1, 64),
            reason: "One bounce at each of 32 targets; far fewer than hum.",
        }
        /// Clear pulses of a rub contact shorter than this do not end the rub.
        contact_bridge: Span = ContactBridge {
            key: "contact_bridge",
            kind: Number(FieldUnit::Microseconds, &[MILLISECONDS, SECONDS]),
            given: Starting(150_000),
            range: Works(1_000, 1_000_000),
            reason: "Bridges a contact that bounces on bucket bolts; a second would melt touches of successive buckets into one.",
        }
    }
}

impl Conditioning {
    /// Sensible starting values, each with its reason in its row.
    pub const STARTING: Self = Self {
        minimum_width: Span::new(ConditioningPart::MinimumWidth.row().starting() as u32),
        top_speed: Ppm::new(ConditioningPart::TopSpeed.row().starting() as i32),
        rejects_a_turn: ConditioningPart::RejectsATurn.row().starting() as u8,
        contact_bridge: Span::new(ConditioningPart::ContactBridge.row().starting() as u32),
    };
}

/// The whole machine.
#[derive(Clone, Debug, PartialEq, Eq)]
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
    /// Head shaft speed with empty buckets, if it was measured: it tells the load, for wear.
    pub unloaded_head: Option<MicroturnsPerSecond>,
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

part! {
    /// Which leg it is.
    rows LegPart of Machine {
        /// The leg's name.
        Name(|_| None, |_, _| ()) {
            key: "name",
            kind: Text,
            given: Required,
            range: Own,
            reason: "Tells boxes apart; at most 32 bytes.",
        }
    }
}

part! {
    /// Normal operating speed.
    rows SpeedPart of Machine {
        /// Head shaft speed at normal operating speed.
        Head(|part| Some(part.normal_head.number()), |part, value| part.normal_head = Numbered::of(value)) {
            key: "head",
            instead: "belt_mps or belt_fpm",
            kind: Number(FieldUnit::MicroturnsPerSecond, &[RPM]),
            given: Required,
            range: SHAFT_SPEEDS,
            reason: "Legs turn at 10 to 300 rpm; what is not given follows without slip from what is.",
        }
        /// Boot shaft speed at normal operating speed: the belt's own measure.
        Boot(|part| Some(part.normal_boot.number()), |part, value| part.normal_boot = Numbered::of(value)) {
            key: "boot",
            instead: "belt_mps or belt_fpm",
            kind: Number(FieldUnit::MicroturnsPerSecond, &[RPM]),
            given: Required,
            range: SHAFT_SPEEDS,
            reason: "Legs turn at 10 to 300 rpm; what is not given follows without slip from what is.",
        }
        /// Head shaft speed with empty buckets, measured.
        UnloadedHead(
            |part| Some(part.unloaded_head?.number()),
            |part, value| part.unloaded_head = Some(Numbered::of(value))
        ) {
            key: "unloaded_head",
            kind: Number(FieldUnit::MicroturnsPerSecond, &[RPM]),
            given: Absent,
            range: Own,
            reason: "A motor falls behind with load: slip is then told by load without a power meter.",
        }
    }
}

part! {
    /// The drive.
    rows DrivePart of Machine {
        /// Whether the starter's auxiliary contact is wired.
        Contact(|part| Some(part.drive_contact.number()), |part, value| part.drive_contact = Numbered::of(value)) {
            key: "contact",
            kind: Flag,
            given: Required,
            range: Own,
            reason: "Tells an ordinary stop from a lost belt; required with the boot alone.",
        }
        /// Rated power at the head shaft.
        Rated(|part| Some(part.rated_power.number()), |part, value| part.rated_power = Numbered::of(value)) {
            key: "rated",
            kind: Number(FieldUnit::Watts, &[KILOWATTS, HORSEPOWER]),
            given: Required,
            range: Works(100, 1_000_000),
            reason: "Heats the pulley when the belt slips; the largest legs take a few hundred kilowatts.",
        }
        /// What the rated power is multiplied by where power is not measured.
        ServiceFactor(
            |part| Some(part.service_factor.number()),
            |part, value| part.service_factor = Numbered::of(value)
        ) {
            key: "service_factor",
            kind: Number(FieldUnit::Ppm, &[FACTOR]),
            given: Starting(1_000_000),
            range: Works(500_000, 2_000_000),
            reason: "Times rated power where power is not measured.",
        }
        /// Whether power at the head shaft is measured.
        PowerMeter(|part| Some(part.power_meter.number()), |part, value| part.power_meter = Numbered::of(value)) {
            key: "power_meter",
            kind: Flag,
            given: Starting(0),
            range: Own,
            reason: "What is measured is used in place of rated power.",
        }
    }
}

part! {
    /// Rub contacts: the strand each sits at.
    rows ContactsPart of Machine {
        /// At the head, left as seen from the up strand, looking the way the head discharges.
        HeadLeft(|part| strand(part, 0), |part, value| put_strand(part, 0, value)) {
            key: "head_left",
            kind: STRANDS,
            given: Absent,
            range: Own,
            reason: "29 CFR 1910.272(q)(6) asks for an alignment alarm.",
        }
        /// At the head, right.
        HeadRight(|part| strand(part, 1), |part, value| put_strand(part, 1, value)) {
            key: "head_right",
            kind: STRANDS,
            given: Absent,
            range: Own,
            reason: "29 CFR 1910.272(q)(6) asks for an alignment alarm.",
        }
        /// At the boot, left.
        BootLeft(|part| strand(part, 2), |part, value| put_strand(part, 2, value)) {
            key: "boot_left",
            kind: STRANDS,
            given: Absent,
            range: Own,
            reason: "29 CFR 1910.272(q)(6) asks for an alignment alarm.",
        }
        /// At the boot, right.
        BootRight(|part| strand(part, 3), |part, value| put_strand(part, 3, value)) {
            key: "boot_right",
            kind: STRANDS,
            given: Absent,
            range: Own,
            reason: "29 CFR 1910.272(q)(6) asks for an alignment alarm.",
        }
    }
}

part! {
    /// Temperature sensors at the rub points.
    rows TemperaturesPart of Machine {
        /// At the head, left.
        HeadLeft(|part| temperature(part, 0), |part, value| put_temperature(part, 0, value)) {
            key: "head_left",
            kind: Flag,
            given: Starting(0),
            range: Own,
            reason: "A steady rub gets hot.",
        }
        /// At the head, right.
        HeadRight(|part| temperature(part, 1), |part, value| put_temperature(part, 1, value)) {
            key: "head_right",
            kind: Flag,
            given: Starting(0),
            range: Own,
            reason: "A steady rub gets hot.",
        }
        /// At the boot, left.
        BootLeft(|part| temperature(part, 2), |part, value| put_temperature(part, 2, value)) {
            key: "boot_left",
            kind: Flag,
            given: Starting(0),
            range: Own,
            reason: "A steady rub gets hot.",
        }
        /// At the boot, right.
        BootRight(|part| temperature(part, 3), |part, value| put_temperature(part, 3, value)) {
            key: "boot_right",
            kind: Flag,
            given: Starting(0),
            range: Own,
            reason: "A steady rub gets hot.",
        }
    }
}

part! {
    /// The outlet.
    rows OutletPart of Machine {
        /// Whether an outlet switch is wired.
        Switch(|part| Some(part.outlet_switch.number()), |part, value| part.outlet_switch = Numbered::of(value)) {
            key: "switch",
            kind: Flag,
            given: Starting(0),
            range: Own,
            reason: "Grain that cannot get out at the head chokes the boot.",
        }
    }
}

fn strand(machine: &Machine, place: usize) -> Option<i64> {
    Some((*machine.contacts.get(place)?)?.number())
}

fn put_strand(machine: &mut Machine, place: usize, value: i64) {
    if let Some(contact) = machine.contacts.get_mut(place) {
        *contact = Some(Numbered::of(value));
    }
}

fn temperature(machine: &Machine, place: usize) -> Option<i64> {
    Some(machine.temperatures.get(place)?.number())
}

fn put_temperature(machine: &mut Machine, place: usize, value: i64) {
    if let Some(fitted) = machine.temperatures.get_mut(place) {
        *fitted = Numbered::of(value);
    }
}

macro_rules! parts {
    ($($Name:ident: |$settings:ident, $at:ident| $of:expr, $of_mut:expr;)*) => {$(
        impl Part for $Name {
            fn of($settings: &Settings, $at: usize) -> Option<&Self> {
                $of
            }

            fn of_mut($settings: &mut Settings, $at: usize) -> &mut Self {
                $of_mut
            }
        }
    )*};
}
parts! {
    Machine: |settings, _at| Some(&settings.machine), &mut settings.machine;
    Pulley: |settings, at|
        Some(if at == 0 { &settings.machine.head_pulley } else { &settings.machine.boot_pulley }),
        if at == 0 { &mut settings.machine.head_pulley } else { &mut settings.machine.boot_pulley };
    Belt: |settings, _at| Some(&settings.machine.belt), &mut settings.machine.belt;
    Targets: |settings, at|
        if at == 0 { settings.machine.head_targets.as_ref() } else { settings.machine.boot_targets.as_ref() },
        if at == 0 { &mut settings.machine.head_targets } else { &mut settings.machine.boot_targets }
            .get_or_insert(Self::PLAIN);
    SpeedReference: |settings, _at| settings.machine.speed_reference.as_ref(),
        settings.machine.speed_reference.get_or_insert(Self { minimum: Ppm::ZERO, ramp_per_second: Ppm::ZERO });
    AcceptedRatio: |settings, _at| settings.machine.accepted_ratio.as_ref(),
        settings.machine.accepted_ratio.get_or_insert(Self { ratio: Ratio::ZERO, spread: Ppm::ZERO });
    Conditioning: |settings, _at| Some(&settings.machine.conditioning), &mut settings.machine.conditioning;
}
