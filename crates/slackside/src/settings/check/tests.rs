extern crate std;
use std::string::{String, ToString};
use std::vec::Vec;

use proptest::prelude::*;

use super::*;
use crate::conditions::Condition;
use crate::input::Shaft;
use crate::settings::{
    AcceptedRatio, Action, BeltPart, CountedEdges, LimitPart, Limits, PulleyPart, Spacing, SpeedPart, SpeedReference,
    Strand, Targets, arbitrary,
};
use crate::units::{Micrometres, MicroturnsPerSecond, Ppm, Ratio, Span};

fn broken(settings: &Settings) -> Vec<Violation> {
    match settings.clone().check() {
        Ok(_) => Vec::new(),
        Err(violations) => violations.into_iter().collect(),
    }
}

/// The rules that an example leg changed in this way breaks.
fn rules(change: impl FnOnce(&mut Settings)) -> Vec<Rule> {
    let mut settings = Settings::example();
    change(&mut settings);
    broken(&settings).into_iter().map(|violation| violation.rule).collect()
}

fn limit(condition: Condition, change: impl FnOnce(&mut crate::settings::Limit)) -> Vec<Rule> {
    rules(|settings| settings.limits.change(condition, change))
}

#[test]
fn the_example_leg_is_sound() {
    let found = broken(&Settings::example());
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn the_starting_limits_keep_the_code_on_the_example_leg() {
    let settings = Settings::example();
    for condition in [Condition::DeepUnderspeed, Condition::SlipVeryHigh] {
        let found = settings.promptness(condition).unwrap();
        assert!(found.keeps_the_code(), "{condition:?} {found:?}");
        // Not by doing without: each part is there.
        assert!(found.error > Ppm::ZERO && found.on_delay > Span::ZERO, "{found:?}");
    }
    assert!(settings.promptness(Condition::DeepUnderspeed).unwrap().wait > Span::ZERO);
    // By hand: a pitch of 1.02/4 turn at 1.361711 turns/s takes 187.27 ms, at 86 % 217.7 ms, one and a half 326.6 ms; with
    // 500 ms at 5 %/s 4.133 %; error 0.2 % of 86 %; 14 % + 0.172 % + 4.133 %.
    assert_eq!(settings.promptness(Condition::DeepUnderspeed).unwrap().loss.get(), 183_051);
    // Before the spacing is learned a pitch may be 2 % off: 14 % + 1.72 % + 4.133 %.
    for condition in [Condition::DeepUnderspeed, Condition::SlipVeryHigh] {
        let found = settings.promptness_before_learning(condition).unwrap();
        assert!(found.keeps_the_code(), "{condition:?} from the first turn: {found:?}");
    }
    // The reason for 14 %: one more would not do.
    let more = settings.promptness_with(
        Condition::DeepUnderspeed,
        150_000,
        Span::from_millis(500),
        settings.machine.boot_targets.unwrap(),
        false,
    );
    assert!(!more.unwrap().keeps_the_code());
}

#[test]
fn a_slow_leg_with_one_target_is_refused_with_a_mend() {
    let mut settings = Settings::example();
    // 29 rpm at the boot.
    settings.machine.normal_boot = MicroturnsPerSecond::new(483_333);
    settings.machine.normal_head = MicroturnsPerSecond::new(464_979);
    settings.machine.boot_targets = Some(promptness::even(1, settings.machine.boot_targets.unwrap()));
    settings.limits.change(Condition::DeepUnderspeed, |limit| limit.on_delay = Span::from_millis(2_000));
    let found = broken(&settings);
    let late = found
        .iter()
        .find(|violation| {
            violation.rule == Rule::StopsTooLate
                && violation.field == Field::Limit(Condition::DeepUnderspeed, LimitPart::Setpoint)
        })
        .unwrap();
    assert!(late.value > 400_000, "{late:?}");
    assert!(late.to_string().contains("29 CFR 1910.272(q)(5)"), "{late}");

    // With eight targets and half a second it is in order.
    settings.machine.boot_targets = Some(promptness::even(8, settings.machine.boot_targets.unwrap()));
    settings.limits.change(Condition::DeepUnderspeed, |limit| limit.on_delay = Span::from_millis(500));
    assert!(settings.promptness(Condition::DeepUnderspeed).unwrap().keeps_the_code());
}

#[test]
fn twenty_per_cent_is_the_end() {
    for condition in [Condition::DeepUnderspeed, Condition::SlipVeryHigh] {
        assert_eq!(limit(condition, |limit| limit.setpoint = 200_001), [Rule::BeyondTheCode]);
        // Within the code by itself, beyond it with error and delay.
        assert_eq!(limit(condition, |limit| limit.setpoint = 200_000), [Rule::StopsTooLate]);
    }
}

#[test]
fn what_guards_the_belt_may_not_be_weakened() {
    for condition in [
        Condition::BeltNotFollowing,
        Condition::SlipVeryHigh,
        Condition::SlipHeat,
        Condition::DeepUnderspeed,
        Condition::NoMotion,
        Condition::StartFailed,
        Condition::TooManyStarts,
        Condition::HeadSensorFault,
        Condition::BootSensorFault,
        Condition::HeadSilent,
        Condition::BothSilent,
        Condition::TimeBaseFault,
        Condition::SettingsFault,
    ] {
        assert_eq!(limit(condition, |limit| limit.enabled = false), [Rule::MustBeEnabled], "{condition:?}");
        assert_eq!(limit(condition, |limit| limit.action = Action::Alarm), [Rule::MustStop], "{condition:?}");
        assert_eq!(limit(condition, |limit| limit.action = Action::DropFeed), [Rule::MustStop], "{condition:?}");
        assert_eq!(limit(condition, |limit| limit.latching = false), [Rule::MustLatch], "{condition:?}");
    }
    // An alarm made a stop must latch as well.
    assert_eq!(limit(Condition::Mistracking, |limit| limit.action = Action::Stop), [Rule::MustLatch]);
}

#[test]
fn alarms_that_what_is_fitted_asks_for_stay_on() {
    for condition in [Condition::Mistracking, Condition::ContactFault, Condition::SlipHigh, Condition::BypassActive] {
        assert_eq!(limit(condition, |limit| limit.enabled = false), [Rule::MustBeEnabled], "{condition:?}");
    }
    let without_contacts = rules(|settings| {
        settings.machine.contacts = [None; 4];
        settings.limits.change(Condition::Mistracking, |limit| limit.enabled = false);
    });
    assert_eq!(without_contacts, []);
    assert_eq!(limit(Condition::Underspeed, |limit| limit.enabled = false), []);
}

#[test]
fn a_trip_lies_above_its_alarm_and_deadbands_fit_between() {
    assert_eq!(limit(Condition::Underspeed, |limit| limit.setpoint = 150_000), [Rule::TripBelowAlarm]);
    assert_eq!(limit(Condition::Underspeed, |limit| limit.deadband = 60_000), [Rule::DeadbandBeyondGap]);
    assert_eq!(
        limit(Condition::RatioShifted, |limit| limit.deadband = limit.setpoint),
        [Rule::DeadbandSwallowsSetpoint]
    );
    assert_eq!(limit(Condition::RatioShifted, |limit| limit.deadband = -1), [Rule::Range]);
}

#[test]
fn fittings_that_cannot_see_the_belt_are_refused() {
    assert_eq!(rules(|settings| settings.machine.boot_targets = None), [Rule::HeadAlone]);
    let neither = rules(|settings| {
        settings.machine.boot_targets = None;
        settings.machine.head_targets = None;
    });
    assert_eq!(neither, [Rule::NothingFitted]);
    assert_eq!(rules(|settings| settings.machine.head_targets = None), []);
    let boot_alone_without_drive = rules(|settings| {
        settings.machine.head_targets = None;
        settings.machine.drive_contact = false;
    });
    assert_eq!(boot_alone_without_drive, [Rule::BootAloneNeedsDrive]);
    assert_eq!(rules(|settings| settings.machine.drive_contact = false), []);
}

#[test]
fn legs_nobody_builds_are_refused_but_may_be_benches() {
    let mut settings = Settings::example();
    // Coupled toothed wheels on a bench: 40 mm and 80 mm, 600 rpm.
    settings.machine.head_pulley.bare_diameter = Micrometres::new(40_000);
    settings.machine.head_pulley.lagging = Micrometres::ZERO;
    settings.machine.boot_pulley.bare_diameter = Micrometres::new(80_000);
    settings.machine.belt.thickness = Micrometres::ZERO;
    settings.machine.normal_head = MicroturnsPerSecond::new(10_000_000);
    settings.machine.normal_boot = MicroturnsPerSecond::new(5_000_000);
    let found = broken(&settings);
    for field in [
        Field::Pulley(Shaft::Head, PulleyPart::BareDiameter),
        Field::Pulley(Shaft::Boot, PulleyPart::BareDiameter),
        Field::Belt(BeltPart::Thickness),
        Field::Speed(SpeedPart::Head),
    ] {
        assert!(found.iter().any(|violation| violation.field == field), "{field} {found:?}");
    }
    assert!(settings.clone().check_for_bench().is_ok());
    // Safety stands on the bench too.
    settings.limits.change(Condition::DeepUnderspeed, |limit| limit.setpoint = 250_000);
    let Err(found) = settings.check_for_bench() else { panic!("the bench let the code go") };
    assert_eq!(found.iter().map(|violation| violation.rule).collect::<Vec<_>>(), [Rule::BeyondTheCode]);
}

#[test]
fn speeds_and_ratio_must_agree() {
    let faster = |machine: &mut crate::settings::Machine| machine.normal_boot = MicroturnsPerSecond::new(1_500_000);
    assert_eq!(rules(|settings| faster(&mut settings.machine)), [Rule::SpeedsContradictRatio]);
    let accepted = |ratio| {
        rules(|settings| {
            settings.machine.accepted_ratio = Some(AcceptedRatio { ratio: Ratio::new(ratio), spread: Ppm::new(1_000) });
        })
    };
    let unloaded =
        |unloaded| rules(|settings| settings.machine.unloaded_head = Some(MicroturnsPerSecond::new(unloaded)));
    assert_eq!([1_316_550, 1_441_000].map(unloaded), [[], []], "0.5 % and 10 % above 1,310,000");
    for wrong in [0, 1_310_000, 1_316_549, 1_441_001, u32::MAX] {
        assert_eq!(unloaded(wrong), [Rule::UnloadedAgainstNormal], "{wrong}");
    }
    assert_eq!(accepted(1_030_000), []);
    assert_eq!(accepted(1_144_000), [Rule::AcceptedFarFromGeometry]);
    assert!(accepted(0).contains(&Rule::AcceptedFarFromGeometry));
}

#[test]
fn crown_face_and_loop() {
    let crown = |micrometres| rules(|settings| settings.machine.head_pulley.crown = Micrometres::new(micrometres));
    assert_eq!(crown(0), []);
    assert_eq!(crown(10_499), []);
    assert_eq!(crown(10_500), [Rule::CrownTooHigh]);
    assert_eq!(crown(-1), [Rule::Range]);
    assert_eq!(
        rules(|settings| settings.machine.boot_pulley.face = Micrometres::new(299_999)),
        [Rule::FaceNarrowerThanBelt]
    );
    assert_eq!(
        rules(|settings| settings.machine.belt.loop_length = Micrometres::new(5_000_000)),
        [Rule::LoopAgainstCentres]
    );
    let mut settings = Settings::example();
    settings.machine.belt.loop_length = Micrometres::new(5_000_000);
    let said = broken(&settings).iter().map(ToString::to_string).collect::<String>();
    assert!(said.starts_with("belt.loop: a loop of 5 m does not fit pulleys"), "{said}");
    assert!(said.contains("at least") && !said.contains("mm"), "{said}");
}

#[test]
fn pitches_must_add_up_to_a_turn() {
    let uneven = |count, closest, widest| {
        rules(|settings| {
            settings.machine.boot_targets = Some(Targets {
                count,
                edges: CountedEdges::Rising,
                spacing: Spacing::Uneven { closest: Ppm::new(closest), widest: Ppm::new(widest) },
                supervised: false,
            });
        })
        .into_iter()
        // Wide pitches make stops late too; not the matter here.
        .filter(|rule| *rule != Rule::StopsTooLate)
        .collect::<Vec<_>>()
    };
    assert_eq!(uneven(3, 300_000, 370_000), []);
    assert_eq!(uneven(3, 333_333, 333_334), []);
    // Closer than two thirds leave, wider than they allow, and too narrow to fill the turn.
    assert!(uneven(3, 340_000, 350_000).contains(&Rule::PitchesDoNotFit));
    assert!(uneven(3, 300_000, 410_000).contains(&Rule::PitchesDoNotFit));
    assert_eq!(uneven(3, 300_000, 340_000), [Rule::PitchesDoNotFit]);
    assert!(uneven(1, 1_000_000, 1_000_000).contains(&Rule::OneMarkIsEven));
    assert!(uneven(0, 0, 0).contains(&Rule::Range));
    assert!(uneven(65, 10_000, 30_000).contains(&Rule::Range));
}

#[test]
fn hum_that_looks_like_health_is_refused_with_another_count() {
    let mut settings = Settings::example();
    let with_targets = |settings: &mut Settings, count, supervised| {
        for targets in [&mut settings.machine.head_targets, &mut settings.machine.boot_targets] {
            *targets = targets.map(|targets| Targets { count, supervised, ..targets });
        }
    };
    // 32 × 1.361711 = 43.6 edges a second at the boot and 41.9 at the head: 50 Hz is 15 % and 19 % more.
    with_targets(&mut settings, 32, false);
    assert_eq!(broken(&settings), []);
    // A little faster: 47.9 and 46.1 edges a second.
    settings.machine.normal_head = MicroturnsPerSecond::new(1_440_000);
    settings.machine.normal_boot = MicroturnsPerSecond::new(1_496_842);
    let found = broken(&settings);
    assert_eq!(found.iter().map(|violation| violation.rule).collect::<Vec<_>>(), [Rule::HumLooksLikeSpeed; 2]);
    for violation in &found {
        let Mend::OtherTargets(Some(count)) = violation.mend else { panic!("{violation:?}") };
        assert!(violation.to_string().contains("50 edges a second"), "{violation}");
        let mut mended = settings.clone();
        with_targets(&mut mended, count, false);
        // The head's mend need not be the boot's; each clears its own shaft.
        assert!(!broken(&mended).iter().any(|left| left.field == violation.field), "{violation}");
    }
    with_targets(&mut settings, 32, true);
    assert_eq!(broken(&settings), []);
}

#[test]
fn a_slow_reference_widens_what_hum_can_feign_and_the_wait() {
    let mut settings = Settings::example();
    let before = settings.promptness(Condition::DeepUnderspeed).unwrap().wait.get();
    settings.machine.speed_reference =
        Some(SpeedReference { minimum: Ppm::new(500_000), ramp_per_second: Ppm::new(100_000) });
    let after = settings.promptness(Condition::DeepUnderspeed).unwrap().wait.get();
    assert!(after.abs_diff(2 * before) < 10, "{before} {after}");
}

#[test]
fn a_level_longer_than_a_quarter_pitch_is_refused() {
    // The boot's closest pitch at 140 %: 734.37 ms × 0.245 / 1.4 / 4 = 32.13 ms.
    let width = |micros| rules(|settings| settings.machine.conditioning.minimum_width = Span::new(micros));
    assert_eq!(width(32_128), []);
    assert_eq!(width(32_130), [Rule::MinimumWidthTooLong]);
    assert_eq!(width(4), [Rule::Range]);
}

#[test]
fn everything_is_told_at_once_and_in_words() {
    let mut settings = Settings::example();
    settings.machine.leg.clear();
    settings.machine.conditioning.top_speed = Ppm::new(900_000);
    settings.limits.starts.bypass_time = Span::MAX;
    settings.limits.slip_heat.time_constant = Span::ZERO;
    settings.limits.change(Condition::SlipHigh, |limit| limit.on_delay = Span::MAX);
    let found = broken(&settings);
    assert_eq!(found.len(), 5, "{found:?}");
    assert_eq!(
        found.iter().map(ToString::to_string).collect::<Vec<String>>(),
        [
            "leg.name: the leg needs a printable name, so that boxes can be told apart; give it one",
            "conditioning.top_speed: 90 % is outside the range; at least 105 %",
            "starts.bypass_time: 4294.967295 s is outside the range; at most 60 min",
            "slip_heat.time_constant: 0 µs is outside the range; at least 1 min",
            "limits.slip_high.on_delay: 4294.967295 s is outside the range; at most 30 s",
        ]
    );
}

#[test]
fn advice_says_what_is_missing() {
    let mut settings = Settings::example();
    let all = |settings: &Settings| {
        let mut list = Vec::new();
        settings.clone().check().unwrap().advice(&mut |advice| list.push(advice));
        list
    };
    assert!(all(&settings).contains(&Advice::ChatterBand { centihertz: 544 }));
    assert!(all(&settings).contains(&Advice::Unsupervised(Shaft::Boot)));
    settings.machine.drive_contact = false;
    settings.machine.contacts = [None; 4];
    assert!(all(&settings).contains(&Advice::NoDriveContact));
    assert!(all(&settings).contains(&Advice::NoContacts));
    settings.machine.contacts = [Some(Strand::Up); 4];
    settings.machine.drive_contact = true;
    settings.machine.head_targets = None;
    assert!(all(&settings).contains(&Advice::BootAlone));
    for advice in all(&settings) {
        assert!(advice.to_string().ends_with('.'), "{advice}");
    }
}

#[test]
fn starting_limits_are_all_within_their_own_ranges() {
    let mut settings = Settings::example();
    settings.limits = Limits::STARTING;
    settings.machine.outlet_switch = true;
    settings.machine.temperatures = [true; 4];
    assert_eq!(broken(&settings), []);
}

proptest! {
    /// No settings make the check or its words panic, and what passes has a ratio to divide by.
    #[test]
    fn any_settings_can_be_checked(settings in arbitrary::settings()) {
        match settings.clone().check() {
            Ok(checked) => prop_assert!(checked.ratio() > Ratio::ZERO),
            Err(violations) => {
                prop_assert!(!violations.is_empty());
                for violation in &violations {
                    prop_assert!(!violation.to_string().is_empty());
                }
            }
        }
        let _ = settings.clone().check_for_bench();
        prop_assert!(settings.geometry_is_total());
    }

    /// Each mend offered for a late stop does mend it.
    #[test]
    fn mends_of_a_late_stop_work(
        boot in 400_000..2_000_000_u32,
        count in 1..=32_u8,
        setpoint in 40_000..200_000_i32,
        delay in 0..3_000_u32,
        which in any::<bool>(),
    ) {
        let condition = if which { Condition::DeepUnderspeed } else { Condition::SlipVeryHigh };
        let mut settings = Settings::example();
        settings.machine.normal_boot = MicroturnsPerSecond::new(boot);
        settings.machine.normal_head = MicroturnsPerSecond::new((u64::from(boot) * 1_000_000 / 1_039_474) as u32);
        settings.machine.boot_targets = Some(promptness::even(count, settings.machine.boot_targets.unwrap()));
        settings.limits.change(condition, |limit| {
            limit.setpoint = setpoint;
            limit.on_delay = Span::from_millis(delay);
        });
        let late = |settings: &Settings| broken(settings).into_iter().find(|violation| {
            violation.rule == Rule::StopsTooLate && violation.field == Field::Limit(condition, LimitPart::Setpoint)
        });
        if let Some(violation) = late(&settings) {
            let Mend::StopSooner { setpoint, on_delay, boot_targets } = violation.mend else {
                return Err(TestCaseError::fail("no mend"));
            };
            if let Some(setpoint) = setpoint {
                let mut mended = settings.clone();
                mended.limits.change(condition, |limit| limit.setpoint = setpoint.get());
                prop_assert!(late(&mended).is_none(), "{}", violation);
            }
            if let Some(on_delay) = on_delay {
                let mut mended = settings.clone();
                mended.limits.change(condition, |limit| limit.on_delay = on_delay);
                prop_assert!(late(&mended).is_none(), "{}", violation);
            }
            if let Some(count) = boot_targets {
                let mut mended = settings.clone();
                mended.machine.boot_targets = Some(promptness::even(count, settings.machine.boot_targets.unwrap()));
                prop_assert!(late(&mended).is_none(), "{}", violation);
            }
        }
    }

    /// A later setpoint or a longer delay never stops sooner.
    #[test]
    fn loss_grows_with_setpoint_and_delay(low in 0..200_000_i32, more in 0..100_000_i32, delay in 0..3_000_000_u32) {
        let settings = Settings::example();
        let boot = settings.machine.boot_targets.unwrap();
        for condition in [Condition::DeepUnderspeed, Condition::SlipVeryHigh] {
            let loss = |setpoint, delay| {
                settings.promptness_with(condition, setpoint, Span::new(delay), boot, true).unwrap().loss
            };
            prop_assert!(loss(low, delay) <= loss(low + more, delay));
            prop_assert!(loss(low, 0) <= loss(low, delay));
        }
    }
}

impl Settings {
    /// Calls every derived quantity: none may panic.
    fn geometry_is_total(&self) -> bool {
        let machine = &self.machine;
        let _ = (machine.geometric_ratio(), machine.ratio_in_force(), machine.loop_time(), machine.normal_belt_speed());
        let _ = (machine.head_turn_time(), machine.boot_turn_time());
        machine.head_circumference() >= Micrometres::ZERO && machine.boot_circumference() >= Micrometres::ZERO
    }
}

/// Just beyond either end of its range every setting is refused by the range and named; at the ends it is not.
#[test]
fn every_range_is_held_to_its_ends() {
    let mut leg = Settings::example();
    leg.machine.speed_reference =
        Some(SpeedReference { minimum: Ppm::new(800_000), ramp_per_second: Ppm::new(100_000) });
    leg.machine.temperatures = [true; 4];
    leg.machine.outlet_switch = true;
    let mut fields = std::vec::Vec::new();
    Section::each(&mut |section| section.fields(&mut |field| fields.push(field)));
    let mut held = 0;
    for field in fields {
        let (rule, low, high) = match field.range() {
            Range::Works(low, high) => (Rule::Range, low, high),
            Range::Built((low, high), _) => (Rule::LegGeometry, low, high),
            Range::Own | Range::OfCondition => continue,
        };
        for (value, beyond) in [(low - 1, true), (low, false), (high, false), (high + 1, true)] {
            let mut settings = leg.clone();
            field.put(&mut settings, value);
            // What its type cannot hold is not there to be refused.
            if field.get(&leg).is_some() && field.get(&settings) == Some(value) {
                let refused = settings.check().err().is_some_and(|violations| {
                    // Two ranges end where the code's 20 % do, which has a rule of its own.
                    let is_so = |found| found == rule || found == Rule::BeyondTheCode;
                    violations.iter().any(|violation| is_so(violation.rule) && violation.field == field)
                });
                assert_eq!(refused, beyond, "{field} = {value}");
                held += 1;
            }
        }
    }
    assert!(held > 200, "{held}");
}
