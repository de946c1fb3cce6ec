//! Real recordings of coupled toothed wheels, where they are at hand. They are not part of this project.

use std::path::PathBuf;

use slackside_landed::input::{Input, Shaft, Signal};
use slackside_landed::judge::Condition;
use slackside_landed::settings::{AcceptedRatio, Checked, CountedEdges, Settings, Spacing, Targets};
use slackside_landed::units::{Micrometres, Micros, MicroturnsPerSecond, Ppm, Ratio, Span};

/// The folder with the recordings: `SLACKSIDE_RECORDINGS`, or `shared/real-traces` beside the checkout; `None` where there is none.
#[must_use]
pub fn folder() -> Option<PathBuf> {
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../../shared/real-traces");
    let folder = std::env::var_os("SLACKSIDE_RECORDINGS").map_or(beside, PathBuf::from);
    folder.is_dir().then_some(folder)
}

/// Read one recording; `None` where it is not at hand.
///
/// # Panics
/// If it is there and is not what it should be.
#[must_use]
pub fn read(name: &str) -> Option<Vec<Input>> {
    let text = std::fs::read_to_string(folder()?.join(name)).ok()?;
    let rows = text.lines().skip(1).map(|line| {
        let mut fields = line.split(',');
        let mut field = || fields.next().unwrap_or_else(|| panic!("{name}: short row {line:?}"));
        let at = field().parse().unwrap_or_else(|error| panic!("{name}: {line:?}: {error}"));
        let shaft = match field() {
            "head" => Shaft::Head,
            "boot" => Shaft::Boot,
            other => panic!("{name}: channel {other}"),
        };
        Input::new(Micros::new(at), Signal::Edge(shaft, field() == "1"))
    });
    Some(rows.collect())
}

/// The recordings, each with the settings of its wheels: a bench, whose normal speed is a third of the fastest.
#[must_use]
pub fn all() -> Vec<(&'static str, Checked)> {
    let uneven = |count, closest, widest| {
        targets(count, Spacing::Uneven { closest: Ppm::new(closest), widest: Ppm::new(widest) })
    };
    let even = |count| targets(count, Spacing::Even { tolerance: Ppm::from_percent(5) });
    let four = || uneven(4, 180_000, 320_000);
    let three = || uneven(3, 90_000, 650_000);
    vec![
        ("a_even_start_from_rest.csv", bench(even(2), even(2), 5.4)),
        ("b_uneven_targets_accelerating.csv", bench(four(), three(), 27.0)),
        ("c_common_mode_noise.csv", bench(four(), three(), 27.0)),
        ("d_extra_target_powerup_burst.csv", bench(uneven(13, 20_000, 100_000), even(4), 26.0)),
        ("e_uneven_rising_edges.csv", bench(four(), three(), 27.0)),
    ]
}

const fn targets(count: u8, spacing: Spacing) -> Targets {
    Targets { count, edges: CountedEdges::Rising, spacing, supervised: true }
}

fn bench(head: Targets, boot: Targets, fastest: f64) -> Checked {
    let mut settings = Settings::example();
    let machine = &mut settings.machine;
    (machine.head_targets, machine.boot_targets) = (Some(head), Some(boot));
    machine.head_pulley.lagging = Micrometres::ZERO;
    let thickness = machine.belt.thickness.get();
    machine.head_pulley.bare_diameter =
        Micrometres::new((machine.boot_pulley.bare_diameter.get() + thickness) / 2 - thickness);
    machine.accepted_ratio = Some(AcceptedRatio { ratio: Ratio::new(500_000), spread: Ppm::ZERO });
    machine.normal_head = MicroturnsPerSecond::new((fastest / 3.0 * 1e6) as u32);
    machine.normal_boot = MicroturnsPerSecond::new((fastest / 6.0 * 1e6) as u32);
    machine.conditioning.top_speed = Ppm::from_percent(300);
    machine.conditioning.minimum_width = Span::new(5);
    // There is no drive contact on such a bench: the drive is taken to be on while the head turns.
    machine.drive_contact = false;
    settings.limits.change(Condition::StartFailed, |limit| limit.setpoint = 30_000);
    settings.check_for_bench().expect("sound settings")
}
