extern crate std;
use std::string::ToString;
use std::vec::Vec;

use proptest::prelude::*;
use zerocopy::FromBytes;

use super::super::plan::{MAGIC, VERSION};
use super::*;
use crate::conditions::Sense;
use crate::settings::derive::plan;
use crate::settings::plan::RowPlan;
use crate::settings::schema::{Kind, Range};
use crate::settings::{
    Action, BeltPart, DrivePart, Field, LimitPart, PulleyPart, Section, Settings, SlipHeatPart, Spacing, SpeedPart,
    SpeedReference, Targets, TargetsPart, Violation,
};
use crate::units::Ppm;

fn sealed(plan: &mut Plan) -> Result<Sound<&Plan>, Broken> {
    plan.crc = plan.computed_crc();
    Sound::new(plan)
}

/// Legs that differ in what is fitted and how.
fn legs() -> Vec<Settings> {
    let plain = Settings::example();
    let mut boot_alone = plain.clone();
    boot_alone.machine.head_targets = None;
    let mut with_all = plain.clone();
    with_all.machine.outlet_switch = true;
    with_all.machine.temperatures = [true, false, true, false];
    with_all.machine.speed_reference =
        Some(SpeedReference { minimum: Ppm::new(600_000), ramp_per_second: Ppm::new(100_000) });
    for targets in [&mut with_all.machine.head_targets, &mut with_all.machine.boot_targets] {
        *targets = targets.map(|targets| Targets { count: 8, supervised: true, ..targets });
    }
    let mut without_drive = plain.clone();
    without_drive.machine.drive_contact = false;
    without_drive.machine.contacts = [None; 4];
    let mut uneven = plain.clone();
    let spacing = Spacing::Uneven { closest: Ppm::new(240_000), widest: Ppm::new(270_000) };
    uneven.machine.boot_targets = uneven.machine.boot_targets.map(|targets| Targets { spacing, ..targets });
    std::vec![plain, boot_alone, with_all, without_drive, uneven]
}

fn fields() -> Vec<Field> {
    let mut fields = Vec::new();
    Section::each(&mut |section| section.fields(&mut |field| fields.push(field)));
    fields
}

/// What only the desk can know: the pulleys that a ratio came from, a number that the plan does not hold, or what is set for a condition
/// that lacks its sensor and so is not judged.
fn only_at_the_desk(violation: &Violation, settings: &Settings) -> bool {
    let judged = |condition: Condition| plan(settings).acts(condition.rank()) & act::JUDGED != 0;
    match violation.field {
        Field::Pulley(..) | Field::Belt(_) | Field::Ratio | Field::AcceptedRatio(_) => true,
        // Of these the box has the product, and holds that.
        Field::Drive(DrivePart::Rated | DrivePart::ServiceFactor) => true,
        // It sorts days and nothing judged.
        Field::Speed(SpeedPart::UnloadedHead) => true,
        // Held at none.
        Field::Targets(_, TargetsPart::SpacingTolerance) => violation.value < 0,
        Field::Limit(condition, LimitPart::Enabled) => {
            !crate::settings::derive::has(&settings.machine, condition.entry().needs)
        }
        // A millionth of normal speed, which a turn in whole microseconds does not tell.
        Field::Limit(condition, LimitPart::Deadband)
            if matches!(condition.entry().sense, Sense::Slow(_)) && violation.value - violation.bound < 3 =>
        {
            true
        }
        Field::Limit(condition, part) => {
            let partner = PAIRS.into_iter().filter(|(one, other)| [*one, *other].contains(&condition));
            let no_band = part == LimitPart::Deadband && !condition.entry().sense.has_band();
            no_band
                || (!judged(condition) && condition != Condition::Underspeed)
                || (violation.rule != crate::settings::Rule::Range
                    && partner.into_iter().any(|(one, other)| !judged(one) || !judged(other)))
        }
        _ => false,
    }
}

fn both_agree(settings: &Settings) -> Result<(), TestCaseError> {
    let plan = plan(settings);
    match (settings.clone().check(), Sound::new(&plan)) {
        (Ok(_), box_says) => prop_assert!(box_says.is_ok(), "the desk passes what the box refuses: {:?}", box_says),
        (Err(violations), Ok(_)) => {
            let all = violations.iter().all(|violation| only_at_the_desk(violation, settings));
            prop_assert!(all, "the box passes what the desk refuses: {:?}", violations);
        }
        (Err(_), Err(_)) => {}
    }
    Ok(())
}

/// A start ends by it, so switched off it must still make sense.
#[test]
fn underspeed_that_is_switched_off_is_held_to_its_range() {
    let mut settings = Settings::example();
    settings.limits.change(Condition::Underspeed, |limit| limit.enabled = false);
    assert!(settings.clone().check().is_ok() && Sound::new(&plan(&settings)).is_ok());
    settings.limits.change(Condition::Underspeed, |limit| (limit.setpoint, limit.deadband) = (1_000_000, 0));
    assert!(settings.clone().check().is_err() && Sound::new(&plan(&settings)).is_err());
}

#[test]
fn legs_are_sound_on_desk_and_box() {
    for leg in legs() {
        let checked = leg.check().unwrap();
        let plan = checked.plan();
        assert_eq!(Sound::new(&plan).map(|sound| sound.identity()), Ok(plan.crc));
        assert!(Sound::for_bench(&plan).is_ok());
    }
}

/// Every setting at each end of its range, and just beyond: what the box refuses is what the desk refuses.
#[test]
fn the_box_refuses_what_the_desk_refuses_at_the_ends_of_every_range() {
    let mut refused = 0;
    for leg in legs() {
        for field in fields() {
            let (low, high) = match field.range() {
                Range::Works(low, high) | Range::Built((low, high), _) => (low, high),
                Range::Own | Range::OfCondition => (0, 1),
            };
            // What was rounded on its way to the plan is refused a little further out.
            let step = match field {
                // What is left of heat after a cell hardly tells 71 minutes from 71 and a bit.
                Field::SlipHeat(SlipHeatPart::TimeConstant) => 1_000_000,
                _ if field.unit() == crate::settings::FieldUnit::Microseconds => 1_100,
                _ => 60,
            };
            for value in [low - step, low, high, high + step] {
                if field.get(&leg).is_none() {
                    continue;
                }
                let mut settings = leg.clone();
                field.put(&mut settings, value);
                let found = both_agree(&settings);
                assert!(found.is_ok(), "{field} = {value}: {found:?}");
                refused += usize::from(Sound::new(&plan(&settings)).is_err());
            }
        }
    }
    assert!(refused > 500, "{refused}");
}

#[test]
fn each_rule_is_told_apart() {
    let broken = |change: &dyn Fn(&mut Settings)| {
        let mut settings = Settings::example();
        change(&mut settings);
        Sound::new(&plan(&settings)).unwrap_err()
    };
    let limit = |condition: Condition, change: fn(&mut crate::settings::Limit)| {
        let found = broken(&|settings| settings.limits.change(condition, change));
        assert_eq!(usize::from(found.at), condition.rank());
        found.rule
    };
    assert_eq!(limit(Condition::DeepUnderspeed, |limit| limit.enabled = false), PlanRule::MustBeJudged);
    assert_eq!(limit(Condition::Mistracking, |limit| limit.enabled = false), PlanRule::MustBeJudged);
    assert_eq!(limit(Condition::DeepUnderspeed, |limit| limit.action = Action::Alarm), PlanRule::MustStop);
    assert_eq!(limit(Condition::Mistracking, |limit| limit.action = Action::Stop), PlanRule::MustLatch);
    assert_eq!(limit(Condition::DeepUnderspeed, |limit| limit.setpoint = 200_001), PlanRule::Setpoint);
    assert_eq!(limit(Condition::DeepUnderspeed, |limit| limit.setpoint = 199_000), PlanRule::Late);
    assert_eq!(limit(Condition::SlipVeryHigh, |limit| limit.setpoint = 199_000), PlanRule::Late);
    assert_eq!(limit(Condition::RatioShifted, |limit| limit.deadband = limit.setpoint), PlanRule::Clear);
    assert_eq!(limit(Condition::RatioShifted, |limit| limit.deadband = -1), PlanRule::Clear);
    assert_eq!(limit(Condition::SlipHigh, |limit| limit.on_delay = crate::units::Span::MAX), PlanRule::Delay);
    let pair = broken(&|settings| settings.limits.change(Condition::Underspeed, |limit| limit.setpoint = 150_000));
    assert_eq!(pair, Broken { rule: PlanRule::Pair, at: 2 });
    assert_eq!(broken(&|settings| settings.machine.boot_targets = None).rule, PlanRule::Fittings);
    let slow = broken(&|settings| settings.machine.normal_boot = crate::units::MicroturnsPerSecond::new(1_500_000));
    assert_eq!(slow, Broken { rule: PlanRule::Speeds, at: 2 });
    let wide = broken(&|settings| settings.machine.conditioning.minimum_width = crate::units::Span::new(33_000));
    assert_eq!(wide.rule, PlanRule::Width);
    let hum = broken(&|settings| {
        settings.machine.normal_head = crate::units::MicroturnsPerSecond::new(1_440_000);
        settings.machine.normal_boot = crate::units::MicroturnsPerSecond::new(1_496_842);
        settings.machine.boot_targets = settings.machine.boot_targets.map(|boot| Targets { count: 32, ..boot });
    });
    assert_eq!(hum, Broken { rule: PlanRule::Hum, at: 1 });
    assert!(hum.to_string().contains("boot sensor's line"), "{hum}");
}

#[test]
fn a_flipped_bit_is_refused() {
    let good = plan(&Settings::example());
    for bit in 0..Plan::LENGTH * 8 {
        let mut bytes = zerocopy::IntoBytes::as_bytes(&good).to_vec();
        bytes[bit / 8] ^= 1 << (bit % 8);
        let plan = Plan::read_from_bytes(&bytes).unwrap();
        assert!(Sound::new(&plan).is_err(), "bit {bit}");
    }
}

/// Words of a plan that are settings of their own: another value in its range is another sound plan. All others follow from them.
fn is_free(offset: usize) -> bool {
    macro_rules! offsets {
        ($($($field:ident).+),* $(,)?) => { [$(offset_of!(Plan, $($field).+)),*] };
    }
    let rows = offset_of!(Plan, rows);
    if (rows..offset_of!(Plan, leg)).contains(&offset) {
        // Within its range: clear level, on-delay, off-delay. The limit follows from the setpoint, which is for people.
        return (offset - rows) % size_of::<RowPlan>() / 4 != 1;
    }
    let name = offset_of!(Plan, leg);
    (name..name + 32).contains(&offset)
        || offsets!(
            number,
            minimum_width,
            head.standing,
            head.marks,
            head.top_turn,
            boot.standing,
            boot.marks,
            boot.top_turn,
            slip.boot_circumference,
            contacts.bridge,
            contacts.bin_length,
            contacts.fitted,
            drive.start_window,
            drive.inching_time,
            drive.bypass_time,
            drive.coast_down,
            drive.reference_minimum,
            drive.reference_rate,
            drive.assumed_power,
            drive.heat_left_half,
            fitted,
        )
        .into_iter()
        .any(|free| free == offset)
        || (offset_of!(Plan, acts)..offset_of!(Plan, rows)).contains(&offset)
}

/// What a changed word may not have done, even where it is a setting of its own.
fn is_no_weaker(before: &Plan, after: &Plan) {
    for condition in Condition::ALL {
        let (rank, entry) = (condition.rank(), condition.entry());
        let (was, is) = (before.acts(rank), after.acts(rank));
        let whole = act::JUDGED | act::STOP | act::LATCHING;
        if entry.must == Must::Stop && was & act::JUDGED != 0 {
            assert_eq!(is & whole, whole, "{condition:?}");
        }
        if entry.must == Must::Alarm && was & act::JUDGED != 0 && has(after, entry.needs) {
            assert!(is & act::JUDGED != 0, "{condition:?}");
        }
        let row = after.row(rank);
        assert!(is & act::JUDGED == 0 || row.on_delay <= entry.longest_on_delay_ms * 1_000);
        assert_eq!(row.limit, before.row(rank).limit);
    }
    assert_eq!((before.head.normal_turn, before.boot.normal_turn), (after.head.normal_turn, after.boot.normal_turn));
    assert_eq!((before.head.marks, before.boot.marks), (after.head.marks, after.boot.marks));
    // Top speed by less than the gap tells.
    assert_eq!((before.head.minimum_gap, before.boot.minimum_gap), (after.head.minimum_gap, after.boot.minimum_gap));
    assert!(after.minimum_width <= 1_000_000 && after.drive.bypass_time <= 3_600_000_000);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3_000))]

    /// Several settings at once, near the ends of their ranges or anywhere.
    #[test]
    fn desk_and_box_agree(
        leg in 0..5_usize,
        changes in proptest::collection::vec((any::<proptest::sample::Index>(), 0..6_u8, -70_000..70_000_i64, any::<u32>()), 1..4),
    ) {
        let mut settings = legs().swap_remove(leg);
        let fields = fields();
        for (which, how, near, far) in changes {
            let field = fields[which.index(fields.len())];
            let Some(now) = field.get(&settings) else { continue };
            let (low, high) = match field.range() {
                Range::Works(low, high) | Range::Built((low, high), _) => (low, high),
                Range::Own | Range::OfCondition => (0, 1),
            };
            let is_number = field.row().is_some_and(|row| matches!(row.kind, Kind::Number(..) | Kind::Setpoint));
            // Beyond an end by less than rounding the box may let pass what the desk refuses.
            let slack = if field == Field::SlipHeat(SlipHeatPart::TimeConstant) { 1_000_000 } else { 1_100 };
            let clear =
                |value: i64| if value < low { value - slack } else if value > high { value + slack } else { value };
            let value = match how {
                0 => clear(low + near),
                1 => clear(high + near),
                2 => clear(now + near),
                3 => now,
                4 => low + i64::from(far) % (high - low + 1),
                _ => clear(far.into()),
            };
            // A word or flag that there is not, no file can say.
            let value = if is_number { value } else { value.rem_euclid(2) };
            field.put(&mut settings, value);
        }
        both_agree(&settings)?;
    }

    /// Any word of a plan changed, with its CRC made right: refused, or another setting in its range.
    #[test]
    fn a_changed_word_never_weakens(leg in 0..5_usize, word in any::<proptest::sample::Index>(), to in any::<u32>(), how in 0..5_u8) {
        let good = plan(&legs()[leg]);
        let mut bytes = zerocopy::IntoBytes::as_bytes(&good).to_vec();
        let at = word.index(Plan::LENGTH / 4 - 1) * 4;
        let slot: &mut [u8; 4] = (&mut bytes[at..at + 4]).try_into().unwrap();
        let was = u32::from_ne_bytes(*slot);
        let is = match how {
            0 => to,
            1 => was ^ 1 << (to % 32),
            2 => was.wrapping_add(to % 64),
            3 => was.wrapping_sub(to % 64),
            _ => (u64::from(was) * u64::from(to % 4_000) / 1_000) as u32,
        };
        *slot = is.to_ne_bytes();
        let mut changed = Plan::read_from_bytes(&bytes).unwrap();
        if is != was && sealed(&mut changed).is_ok() {
            // A normal speed that is other by less than its turn in whole microseconds tells.
            let turn = |speed: u32| 1_000_000_000_000_u64 / u64::from(speed.max(1));
            let is_speed = [offset_of!(Plan, head.normal), offset_of!(Plan, boot.normal)].contains(&at);
            let rounding = is_speed && turn(is).abs_diff(turn(was)) <= 1;
            prop_assert!(is_free(at) || rounding, "word {} from {} to {}", at / 4, was, is);
            is_no_weaker(&good, &changed);
        }
    }

    #[test]
    fn any_bytes_can_be_checked(bytes in proptest::collection::vec(any::<u8>(), Plan::LENGTH)) {
        let mut plan = Plan::read_from_bytes(&bytes).unwrap();
        prop_assert!(Sound::new(&plan).is_err());
        (plan.magic, plan.version, plan.length) = (MAGIC, VERSION, Plan::LENGTH as u16);
        prop_assert!(sealed(&mut plan).is_err());
    }
}

#[test]
fn fields_that_only_the_desk_knows_are_told_there() {
    let mut settings = Settings::example();
    Field::Pulley(Shaft::Head, PulleyPart::Face).put(&mut settings, 100_000);
    Field::Belt(BeltPart::Loop).put(&mut settings, 5_000_000);
    // The crown is too high for so narrow a face.
    assert_eq!(settings.check().unwrap_err().len(), 3);
}

/// What the others leave, if all but one are as close, or as wide, as they may be.
#[test]
fn uneven_pitches_add_up_to_one_turn() {
    let uneven = |closest, widest| {
        let mut settings = Settings::example();
        let spacing = Spacing::Uneven { closest: Ppm::new(closest), widest: Ppm::new(widest) };
        settings.machine.boot_targets = settings.machine.boot_targets.map(|targets| Targets { spacing, ..targets });
        Sound::new(&plan(&settings)).err()
    };
    let refused = Some(Broken { rule: PlanRule::Shaft, at: 1 });
    // Four targets: three at 0.24 leave 0.28, three at 0.26 leave 0.22.
    assert_eq!((uneven(240_000, 280_000), uneven(240_000, 280_100)), (None, refused));
    assert_eq!((uneven(220_000, 260_000), uneven(220_000, 259_900)), (None, refused));
    assert_eq!(uneven(250_100, 250_000), refused);
}
