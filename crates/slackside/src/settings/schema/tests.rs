extern crate std;
use std::collections::HashSet;
use std::string::{String, ToString};
use std::vec::Vec;

use proptest::prelude::*;

use super::*;
use crate::settings::arbitrary;
use crate::units::Ppm;

fn fields() -> Vec<Field> {
    let mut fields = Vec::new();
    Section::each(&mut |section| section.fields(&mut |field| fields.push(field)));
    fields
}

#[test]
fn every_setting_has_a_key_of_its_own_and_its_words() {
    let keys = fields().into_iter().map(|field| field.key().to_string()).collect::<Vec<String>>();
    assert_eq!(keys.iter().collect::<HashSet<_>>().len(), keys.len());
    for expected in [
        "leg.name",
        "head_pulley.bare_diameter_mm",
        "belt.loop_m",
        "speed.boot_rpm",
        "boot_targets.closest_deg",
        "drive.contact",
        "drive.speed_reference.ramp_pct_per_s",
        "contacts.boot_left",
        "temperatures.head_right",
        "outlet.switch",
        "accepted_ratio.ratio",
        "conditioning.minimum_width_us",
        "starts.window_min",
        "slip_heat.time_constant_min",
        "limits.slip_high.setpoint_pct",
        "limits.mistracking.deadband_s",
        "limits.belt_not_following.setpoint_turns",
        "limits.rub_hot.setpoint_c",
        "limits.too_many_starts.setpoint",
        "limits.permit_bypassed.off_delay_s",
        "limits.permit_bypassed.priority",
    ] {
        assert!(keys.iter().any(|key| key == expected), "{expected}");
    }
    for field in fields() {
        let row = field.row().unwrap();
        assert!(row.doc.ends_with('.') && !row.doc.starts_with(' '), "{field}");
        assert!(field.reason().ends_with('.'), "{field}");
        assert_eq!(matches!(row.kind, Kind::Number(..) | Kind::Setpoint), !field.file_units().is_empty(), "{field}");
    }
}

#[test]
fn starting_values_lie_in_their_ranges_and_are_those_of_the_structs() {
    let mut settings = Settings::example();
    settings.limits = Limits::STARTING;
    settings.machine.conditioning = Conditioning::STARTING;
    for field in fields() {
        let Some(starting) = field.starting() else { continue };
        if let Range::Works(low, high) | Range::Built((low, high), _) = field.range() {
            assert!((low..=high).contains(&starting), "{field}");
        }
        if matches!(
            field.section(),
            Some(Section::Conditioning | Section::Starts | Section::SlipHeat | Section::Limit(_))
        ) {
            assert_eq!(field.get(&settings), Some(starting), "{field}");
        }
    }
}

#[test]
fn a_section_is_made_by_its_first_setting() {
    let mut settings = Settings::example();
    settings.machine.boot_targets = None;
    let field = Field::Targets(Shaft::Boot, TargetsPart::Count);
    assert_eq!(field.get(&settings), None);
    field.put(&mut settings, 8);
    let boot = settings.machine.boot_targets.unwrap();
    assert_eq!((boot.count, boot.spacing), (8, Spacing::Even { tolerance: Ppm::new(20_000) }));
    Field::Targets(Shaft::Boot, TargetsPart::Closest).put(&mut settings, 100_000);
    Field::Targets(Shaft::Boot, TargetsPart::Widest).put(&mut settings, 150_000);
    let spacing = settings.machine.boot_targets.unwrap().spacing;
    assert_eq!(spacing, Spacing::Uneven { closest: Ppm::new(100_000), widest: Ppm::new(150_000) });
    Field::Contacts(ContactsPart::BootRight).put(&mut settings, 1);
    assert_eq!(settings.machine.contacts[3], Some(Strand::Down));
}

proptest! {
    /// Settings put together again field by field from their numbers are the same settings, so no row is left out or crossed.
    #[test]
    fn the_rows_say_all_of_the_settings(from in arbitrary::settings()) {
        let mut again = Settings::example();
        again.machine.leg = from.machine.leg.clone();
        again.machine.contacts = [None; 4];
        again.machine.head_targets = None;
        again.machine.boot_targets = None;
        for field in fields() {
            if let Some(value) = field.get(&from) {
                field.put(&mut again, value);
                prop_assert_eq!(field.get(&again), Some(value));
            }
        }
        prop_assert_eq!(again, from);
    }

    #[test]
    fn any_number_can_be_put(value in any::<i64>(), which in any::<proptest::sample::Index>()) {
        let mut settings = Settings::example();
        let fields = fields();
        let field = fields[which.index(fields.len())];
        field.put(&mut settings, value);
        let _ = settings.clone().check();
        let _ = settings.identity();
    }
}
