//! What each plain condition looks at, and the value and detail it gives.

mod judge_rig;

use judge_rig::*;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{ContactState, Place};
use slackside::motion::{Distrust, SeenRatio, SlipReading, TargetPattern};
use slackside::settings::{Action, Settings};
use slackside::units::{Micros, Ppm, Ratio, Turns};
use slackside::verdict::Change;
use slackside_desk::monitor::plan_of;

/// Time, value, setpoint and detail of the first alarm of `condition`.
fn first(leg: &Leg, condition: Condition) -> Option<(u64, Option<i32>, i32, u8)> {
    leg.play().iter().find_map(|verdict| match verdict.change {
        Change::Alarm { condition: whose, to: AlarmState::Unacknowledged, value, setpoint, detail, .. }
            if whose == condition =>
        {
            Some((verdict.at.get(), value, setpoint, detail))
        }
        _ => None,
    })
}

#[test]
fn distrust_stops_at_once_and_says_why() {
    for head in [true, false] {
        let mut leg = Leg::running();
        let shaft = if head { &mut leg.motion.head } else { &mut leg.motion.boot };
        shaft.distrust = Distrust::HUM.with(Distrust::LINE_OPEN);
        leg.tell_motion();
        let condition = if head { Condition::HeadSensorFault } else { Condition::BootSensorFault };
        assert_eq!(first(&leg, condition), Some((leg.now, Some(1), 1, 12)));
        assert!(!leg.judged().status().run_permit);
    }
}

#[test]
fn a_missing_target_is_an_alarm_and_not_a_stop() {
    let mut leg = Leg::running();
    leg.motion.boot.pattern = TargetPattern::Extra;
    leg.tell_motion();
    assert_eq!(first(&leg, Condition::BootTargets), Some((leg.now, Some(1), 1, 2)));
    assert!(leg.judged().status().run_permit);
}

#[test]
fn the_ratio_says_which_way_it_shifted() {
    let expected = Settings::example().machine.ratio_in_force().get();
    for (ratio, spread, seen) in [
        (expected / 1_000 * 962, 1_000, Some(1)),
        (expected / 1_000 * 1_030, 1_000, Some(2)),
        (expected / 1_000 * 985, 1_000, None),
        (expected / 1_000 * 962, 3_000, None),
    ] {
        let mut leg = Leg::running();
        leg.motion.seen_ratio = Some(SeenRatio { ratio: Ratio::new(ratio), spread: Ppm::new(spread) });
        leg.tell_motion();
        assert_eq!(first(&leg, Condition::RatioShifted).map(|(_, _, _, detail)| detail), seen, "{ratio} {spread}");
    }
}

/// A block that was not steady says nothing: an alarm stays, and none is raised.
#[test]
fn a_ratio_that_is_not_known_neither_raises_nor_ends_its_alarm() {
    let expected = Settings::example().machine.ratio_in_force().get();
    let seen = |ratio, spread| Some(SeenRatio { ratio: Ratio::new(ratio), spread: Ppm::new(spread) });
    let (shifted, unsteady) = (expected / 1_000 * 962, 3_000);
    let mut leg = Leg::running();
    leg.motion.seen_ratio = seen(shifted, 1_000);
    leg.tell_motion();
    assert_eq!(state(&leg.judged(), Condition::RatioShifted), AlarmState::Unacknowledged);
    leg.motion.seen_ratio = seen(expected, unsteady);
    leg.tell_motion();
    leg.turn(60 * SECOND, 1_000_000, 1_000_000, None);
    assert_eq!(state(&leg.judged(), Condition::RatioShifted), AlarmState::Unacknowledged, "nothing is known");
    leg.motion.seen_ratio = seen(expected, 1_000);
    leg.tell_motion();
    leg.turn(60 * SECOND, 1_000_000, 1_000_000, None);
    assert_ne!(state(&leg.judged(), Condition::RatioShifted), AlarmState::Unacknowledged, "it is well again");
}

/// No temperature was told yet: the alarm of one that was stays until a lower one comes.
#[test]
fn a_hot_point_stays_hot_until_it_is_told_otherwise() {
    let mut settings = Settings::example();
    settings.machine.temperatures = [true; 4];
    let mut leg = Leg::new(settings);
    leg.say(0, What::Drive(false));
    leg.say(2, What::Temperature(Place::BootLeft, 800));
    leg.wait(3_600 * SECOND);
    assert_eq!(state(&leg.judged(), Condition::RubHot), AlarmState::Unacknowledged);
    leg.say(leg.now, What::Temperature(Place::BootLeft, 200));
    leg.wait(600 * SECOND);
    assert_ne!(state(&leg.judged(), Condition::RubHot), AlarmState::Unacknowledged);
}

/// Without a drive contact: a head that was at speed and gives its last edge within 0.8 s has jammed with its belt, which stays a trip; a
/// microsecond more is a stop as any other.
#[test]
fn both_shafts_that_stand_within_800_ms_have_jammed() {
    for (last, jammed) in [(799_999, true), (800_000, false)] {
        let mut leg = Leg::without_contact();
        leg.turn(2 * SECOND, 500_000, 500_000, None);
        leg.turn(8 * SECOND, 1_000_000, 1_000_000, Some(5_000));
        let [head, boot] = [leg.motion.head, leg.motion.boot].map(|shaft| shaft.last_edge.expect("it turned").get());
        for after in [400_000, last] {
            leg.head_edge(head + after);
            leg.boot_edge(boot.max(head) + after);
        }
        leg.slip(SlipReading::Unknown);
        leg.wait(60 * SECOND);
        let judged = leg.judged();
        assert_eq!(judged.status().boot_cleared_needed, jammed, "{last}: {:?}", judged.status());
    }
}

/// What a motion says at exactly its limit is beyond it, and just inside it is not; the short way, which [`Leg::play`] holds against the plain
/// scan, says so too.
#[test]
fn a_motion_at_exactly_a_limit_is_beyond_it() {
    let limit =
        |condition: Condition| plan_of(&Settings::example().check().expect("sound")).row(condition.rank()).limit;
    let (turns, duty) = (limit(Condition::BeltNotFollowing), limit(Condition::MistrackingDuty));
    let (very_high, high) = (limit(Condition::SlipVeryHigh), limit(Condition::SlipHigh));
    let (impossible, negative) = (limit(Condition::SlipImpossible), limit(Condition::SlipNegative));
    type Set = fn(&mut Leg, i32);
    let short: Set = |leg, ppm| leg.motion.slip_short = SlipReading::Known(Ppm::new(ppm));
    let long: Set = |leg, ppm| leg.motion.slip_long = SlipReading::Known(Ppm::new(ppm));
    let duty_of: Set = |leg, ppm| leg.motion.contacts[3].duty = Ppm::new(ppm);
    for (condition, set, value, inside) in [
        (Condition::SlipVeryHigh, short, very_high, -1),
        (Condition::SlipHigh, long, high, -1),
        (Condition::SlipImpossible, short, -impossible, 1),
        (Condition::SlipNegative, long, -negative, 1),
        (Condition::MistrackingDuty, duty_of, duty, -1),
    ] {
        for (value, raises) in [(value, true), (value + inside, false)] {
            let mut leg = Leg::running();
            // Rubs are summed as the boot turns.
            let pitch = 250_000_000_000 / u64::from(leg.settings.machine.normal_boot.get());
            let next = leg.motion.boot.last_edge.expect("it turned").get() + pitch;
            leg.head_edge(leg.now);
            set(&mut leg, value);
            leg.boot_edge(next);
            leg.turn(30 * SECOND, 1_000_000, 1_000_000, None);
            assert_eq!(first(&leg, condition).is_some(), raises, "{condition:?} {value}");
        }
    }
    // Head turns since the newest boot edge, in 2^-24 turn.
    for (turned, raises) in [(turns, true), (turns - 1, false)] {
        let mut leg = Leg::running();
        leg.motion.head_since_boot = Turns::new((u64::from(turned.unsigned_abs()) << 8) - u64::from(QUARTER));
        let at = leg.motion.head.last_edge.expect("it turned").get().max(leg.now);
        leg.head_edge(at);
        leg.boot_edge(at + 20_000);
        assert_eq!(first(&leg, Condition::BeltNotFollowing).is_some(), raises, "{turned}");
    }
}

#[test]
fn the_worst_place_is_told() {
    let mut leg = Leg::running();
    for (place, duty) in [(0, 90_000), (1, 120_000), (2, 150_000), (3, 20_000)] {
        leg.motion.contacts[place].duty = Ppm::new(duty);
    }
    leg.tell_motion();
    assert_eq!(first(&leg, Condition::MistrackingDuty), Some((leg.now, Some(150_000), 100_000, 2)));

    let mut leg = Leg::running();
    leg.motion.contacts[3].state = ContactState::Faulty;
    leg.tell_motion();
    let from = leg.now;
    leg.turn(SECOND, 1_000_000, 1_000_000, Some(0));
    assert_eq!(first(&leg, Condition::ContactFault), Some((from + 500_000, Some(1), 1, 3)));
}

#[test]
fn a_hot_rub_point_stops_and_a_contact_not_fitted_does_not_count() {
    let mut settings = Settings::example();
    settings.machine.temperatures = [true; 4];
    settings.machine.contacts[1] = None;
    let mut leg = Leg::new(settings);
    leg.say(0, What::Drive(false));
    leg.say(1, What::Temperature(Place::HeadLeft, 799));
    leg.say(2, What::Temperature(Place::BootLeft, 800));
    // As hot as another is no hotter: the first in order of places is named.
    leg.say(2, What::Temperature(Place::BootRight, 800));
    assert_eq!(first(&leg, Condition::RubHot), Some((2, Some(800), 800, 2)));
    leg.motion.contacts[1].duty = Ppm::ONE;
    leg.tell_motion();
    assert_eq!(first(&leg, Condition::MistrackingDuty), None);
}

/// Below zero slip needs a whole window; a lower limit can clear it and can never raise it.
#[test]
fn slip_below_zero() {
    let after = |reading| {
        let mut leg = Leg::running();
        leg.slip(reading);
        leg.turn(5 * SECOND, 1_000_000, 1_000_000, None);
        let known = |condition| first(&leg, condition).map(|(_, value, ..)| value);
        (known(Condition::SlipNegative), known(Condition::SlipImpossible))
    };
    let known = |ppm| SlipReading::Known(Ppm::new(ppm));
    assert_eq!(after(known(-29_999)), (None, None));
    assert_eq!(after(known(-30_000)), (Some(Some(30_000)), None));
    assert_eq!(after(known(-100_000)), (Some(Some(100_000)), Some(Some(100_000))));
    assert_eq!(after(SlipReading::AtLeast(Ppm::new(-200_000))), (None, None));
}

/// A lower limit beyond the setpoint is slip; one below it does not show that slip is gone.
#[test]
fn a_lower_limit_of_slip() {
    let mut leg = Leg::running();
    leg.slip(SlipReading::AtLeast(Ppm::new(60_000)));
    leg.turn(4 * SECOND, 1_000_000, 1_000_000, None);
    assert!(first(&leg, Condition::SlipHigh).is_some());
    leg.slip(SlipReading::AtLeast(Ppm::new(10_000)));
    leg.turn(10 * SECOND, 1_000_000, 1_000_000, None);
    assert_eq!(state(&leg.judged(), Condition::SlipHigh), AlarmState::Unacknowledged);
    leg.slip(SlipReading::Known(Ppm::new(10_000)));
    leg.turn(4 * SECOND, 1_000_000, 1_000_000, None);
    assert_eq!(state(&leg.judged(), Condition::SlipHigh), AlarmState::ReturnedUnacknowledged);
}

#[test]
fn what_drops_feed_and_does_not_latch_gives_it_back_by_itself() {
    let mut leg = Leg::running();
    set(&mut leg.settings, Condition::ContactFault, 0, 0, false, Action::DropFeed);
    leg.motion.contacts[0].state = ContactState::Faulty;
    leg.tell_motion();
    assert!(leg.judged().status().run_permit && !leg.judged().status().feed_permit);
    leg.motion.contacts[0].state = ContactState::Clear;
    leg.tell_motion();
    assert!(leg.judged().status().feed_permit);
}

#[test]
fn the_belt_does_not_follow_at_exactly_two_turns() {
    // Pitches that make up just two turns reach them whatever their rounding: the limit is 16 of 2^-24 turn less, a millionth.
    const ROUNDED: u64 = 16 << 8;
    for (short_by, trips) in [(ROUNDED + 1, false), (ROUNDED, true), (0, true)] {
        let mut leg = Leg::running();
        leg.motion.head_since_boot = Turns::new((2 << 32) - short_by);
        leg.tell_motion();
        assert_eq!(first(&leg, Condition::BeltNotFollowing).is_some(), trips);
    }
}

#[test]
fn power_measured_counts_until_it_is_stale() {
    let heat = |power: Option<u32>, seconds: u64| {
        let mut leg = Leg::at_rest();
        leg.settings.machine.power_meter = true;
        leg.run_up();
        if let Some(power) = power {
            leg.say(leg.now, What::Power(power));
        }
        let before = leg.judged().slip_heat_at(Micros::new(leg.now)).get();
        leg.turn(seconds * SECOND, 1_000_000, 970_000, Some(40_000));
        leg.judged().slip_heat_at(Micros::new(leg.now)).get() - before
    };
    // 40 s at 4 %: 5 kW gives 8 kJ of 900 kJ, the rated 18.5 kW 29.6 kJ, less what decays.
    let measured = heat(Some(5_000), 40);
    assert!((8_000..9_000).contains(&measured), "{measured}");
    let rated = heat(None, 40);
    assert!((31_000..33_500).contains(&rated), "{rated}");
    // A minute after the last reading the rated power counts.
    let stale = heat(Some(1), 100);
    assert!((31_000..33_500).contains(&stale), "{stale}");
    // A motor that turns a head takes power: a meter that says none is not believed.
    assert_eq!(heat(Some(0), 40), rated);
}

#[test]
fn the_end_of_time_does_no_harm() {
    let mut leg = Leg::running();
    let mut judge = leg.judged();
    for at in [u64::MAX - 1, u64::MAX, u64::MAX] {
        judge.observe(&(at, What::Wake), &mut |_| {});
        leg.motion.boot.last_edge = Some(Micros::new(at));
        judge.observe(&(at, What::Motion(Box::new(leg.motion))), &mut |_| {});
    }
    assert!(!judge.status().run_permit);
}

/// What a meter said of the power counts for a minute: then the box looks again.
#[test]
fn a_reading_of_power_counts_for_a_minute() {
    let mut leg = Leg::running();
    leg.settings.machine.power_meter = true;
    leg.run_down();
    leg.say(leg.now + SECOND, What::Power(9_000));
    let until = leg.now + 60 * SECOND;
    let due = |leg: &Leg| leg.judged().next_deadline().map(Micros::get);
    assert_eq!(due(&leg), Some(until));
    leg.wait(60 * SECOND - 1);
    assert_eq!(due(&leg), Some(until), "a microsecond before it still counts");
}
