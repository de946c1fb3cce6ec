//! The settings and their check against those of the landed core: same verdicts, same words.
#![cfg(feature = "desk")]
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

use proptest::prelude::*;
use slackside::conditions::Condition;
use slackside::settings::schema::Range;
use slackside::settings::{Field, MOST_IMAGE_BYTES, Section, Settings, SpeedReference, Strand};
use slackside::units::Ppm;

fn landed(settings: &Settings) -> slackside_landed::settings::Settings {
    let mut room = [0; MOST_IMAGE_BYTES];
    let image = settings.to_image(&mut room).expect("room");
    slackside_landed::settings::Settings::from_image(image).expect("an image of the same version")
}

fn fields() -> Vec<Field> {
    let mut fields = Vec::new();
    Section::each(&mut |section| section.fields(&mut |field| fields.push(field)));
    fields
}

fn words(settings: &Settings) -> (Vec<String>, Vec<String>) {
    let ours =
        settings.clone().check().map_or_else(|broken| broken.iter().map(ToString::to_string).collect(), |_| vec![]);
    let theirs =
        landed(settings).check().map_or_else(|broken| broken.iter().map(ToString::to_string).collect(), |_| vec![]);
    (ours, theirs)
}

fn legs() -> Vec<Settings> {
    let plain = Settings::example();
    let mut boot_alone = plain.clone();
    boot_alone.machine.head_targets = None;
    let mut with_reference = plain.clone();
    with_reference.machine.speed_reference =
        Some(SpeedReference { minimum: Ppm::new(800_000), ramp_per_second: Ppm::new(100_000) });
    with_reference.machine.temperatures = [true; 4];
    with_reference.machine.outlet_switch = true;
    let mut bare = plain.clone();
    bare.machine.contacts = [None, None, Some(Strand::Down), None];
    bare.machine.drive_contact = false;
    vec![plain, boot_alone, with_reference, bare]
}

#[test]
fn example_and_starting_values_are_the_same() {
    assert_eq!(landed(&Settings::example()), slackside_landed::settings::Settings::example());
    assert_eq!(Settings::example().image_identity(), slackside_landed::settings::Settings::example().identity());
    for condition in Condition::ALL {
        let field = Field::Limit(condition, slackside::settings::LimitPart::Setpoint);
        assert_eq!(field.to_string(), format!("limits.{}.setpoint", condition.name()));
    }
}

/// Every setting at and beyond each end of its range.
#[test]
fn what_is_refused_and_why_is_the_same_at_the_ends_of_every_range() {
    for leg in legs() {
        for field in fields() {
            let (low, high) = match field.range() {
                Range::Works(low, high) | Range::Built((low, high), _) => (low, high),
                _ => (0, 1),
            };
            for value in [low - 1, low, low + 1, high - 1, high, high + 1] {
                if field.get(&leg).is_some() {
                    let mut settings = leg.clone();
                    field.put(&mut settings, value);
                    let (mut ours, mut theirs) = words(&settings);
                    ours.sort();
                    theirs.sort();
                    assert_eq!(ours, theirs, "{field} = {value}");
                }
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3_000))]

    #[test]
    fn what_is_refused_and_why_is_the_same(
        leg in 0..4_usize,
        changes in proptest::collection::vec((any::<proptest::sample::Index>(), 0..5_u8, -70_000..70_000_i64, any::<u32>()), 1..5),
    ) {
        let mut settings = legs().swap_remove(leg);
        let fields = fields();
        for (which, how, near, far) in changes {
            let field = fields[which.index(fields.len())];
            let Some(now) = field.get(&settings) else { continue };
            let (low, high) = match field.range() {
                Range::Works(low, high) | Range::Built((low, high), _) => (low, high),
                _ => (0, 1),
            };
            let value = match how {
                0 => low + near,
                1 => high + near,
                2 => now + near,
                3 => low + i64::from(far) % (high - low + 1),
                _ => far.into(),
            };
            field.put(&mut settings, value);
        }
        let (mut ours, mut theirs) = words(&settings);
        ours.sort();
        theirs.sort();
        // Where a wait or a width is rounded otherwise, a number in the words may differ in its last digit.
        prop_assert_eq!(ours.len(), theirs.len(), "{:?} {:?}", ours, theirs);
        for (our, their) in ours.iter().zip(&theirs) {
            // Mends come in steps: one digit may take them to the next.
            let text = |text: &str| text.split("; mend:").next().map(ToOwned::to_owned);
            let before = |text: &str| text.split([' ', ',', ';']).filter(|word| word.parse::<f64>().is_err()).collect::<String>();
            prop_assert_eq!(text(our).map(|text| before(&text)), text(their).map(|text| before(&text)));
        }
    }
}
