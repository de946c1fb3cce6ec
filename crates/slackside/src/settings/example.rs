//! A leg of an invented plant, for examples, demonstrations and tests. Never proof of anything.

use heapless::String;

use super::{Belt, Conditioning, CountedEdges, Limits, Machine, Pulley, Settings, Spacing, Strand, Targets};
use crate::units::{Micrometres, MicroturnsPerSecond, Ppm, Span, Watts};

/// Four even targets, two per cent, rising edges.
const TARGETS: Targets = Targets {
    count: 4,
    edges: CountedEdges::Rising,
    spacing: Spacing::Even { tolerance: Ppm::new(20_000) },
    supervised: false,
};

impl Settings {
    /// Leg 3 of an invented feed mill: 600 mm pulleys with 12 mm of lagging on the head, 30 m centres, 2.6 m/s, 18.5 kW.
    #[must_use]
    pub fn example() -> Self {
        let mut leg = String::new();
        // The name fits: it is shorter than the string's capacity.
        let _ = leg.push_str("Millbrook leg 3");
        Self {
            machine: Machine {
                leg,
                head_pulley: Pulley {
                    bare_diameter: Micrometres::new(600_000),
                    lagging: Micrometres::new(12_000),
                    face: Micrometres::new(350_000),
                    crown: Micrometres::new(3_600),
                },
                boot_pulley: Pulley {
                    bare_diameter: Micrometres::new(600_000),
                    lagging: Micrometres::ZERO,
                    face: Micrometres::new(350_000),
                    crown: Micrometres::new(3_600),
                },
                belt: Belt {
                    thickness: Micrometres::new(8_000),
                    width: Micrometres::new(300_000),
                    loop_length: Micrometres::new(61_950_000),
                },
                head_targets: Some(TARGETS),
                boot_targets: Some(TARGETS),
                // 78.6 rpm at the head; the boot turns 632/608 times as fast.
                normal_head: MicroturnsPerSecond::new(1_310_000),
                normal_boot: MicroturnsPerSecond::new(1_361_711),
                unloaded_head: None,
                drive_contact: true,
                power_meter: false,
                speed_reference: None,
                outlet_switch: false,
                contacts: [Some(Strand::Up), Some(Strand::Up), Some(Strand::Up), Some(Strand::Up)],
                temperatures: [false; 4],
                rated_power: Watts::new(18_500),
                service_factor: Ppm::ONE,
                accepted_ratio: None,
                conditioning: Conditioning { minimum_width: Span::new(200), ..Conditioning::STARTING },
            },
            limits: Limits::STARTING,
        }
    }
}
