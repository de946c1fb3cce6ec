//! What is wired wrongly or no longer: a contact that toggles, a permit that stops nothing, a reference that does not come.

mod judge_rig;

use judge_rig::*;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::Command;
use slackside::settings::{Settings, SpeedReference};
use slackside::units::Ppm;
use slackside::verdict::{Permit, Phase};

/// Healthy running with the drive contact changing every `period` for `time`.
fn toggling(leg: &mut Leg, period: u64, time: u64) -> u64 {
    let begin = leg.now;
    let mut on = true;
    while leg.now < begin + time {
        on = !on;
        leg.drive(on);
        leg.turn(period, 1_000_000, 1_000_000, Some(5_000));
    }
    begin
}

#[test]
fn a_contact_that_toggles_once_a_second_is_a_fault() {
    for (period, within) in [(500_000, 6), (600_000, 7), (700_000, 8), (900_000, 10)] {
        let mut leg = Leg::at_rest();
        leg.run_up();
        let begin = toggling(&mut leg, period, 60 * SECOND);
        let verdicts = leg.play();
        let fault = raised(&verdicts, Condition::DriveContactFault);
        assert_eq!(fault.len(), 1, "every {period} us");
        // The eleventh change.
        assert_eq!(fault[0], begin + 10 * period, "every {period} us");
        assert!(fault[0] <= begin + within * SECOND);
        assert!(permits(&verdicts, Permit::Feed).iter().all(|(at, allowed)| !allowed || *at <= fault[0]));
        assert!(!leg.judged().status().run_permit);
    }
}

#[test]
fn ten_changes_in_ten_seconds_are_no_fault_yet_and_eleven_are_only_within_ten() {
    for (period, fault) in [(1_000_000, false), (999_999, true)] {
        let mut leg = Leg::at_rest();
        leg.run_up();
        toggling(&mut leg, period, 60 * SECOND);
        let raised = raised(&leg.play(), Condition::DriveContactFault);
        assert_eq!(!raised.is_empty(), fault, "every {period} us: {raised:?}");
    }
}

/// Four starts from standstill, as fast as standstill can be proven, are a person's and the fifth is refused as jogging.
#[test]
fn jogging_from_standstill_is_jogging_and_no_contact_fault() {
    let mut leg = Leg::at_rest();
    for _ in 0..5 {
        leg.drive(true);
        leg.turn(500_000, 100_000, 100_000, None);
        leg.drive(false);
        leg.wait(2_500_000);
        assert_eq!(leg.judged().status().phase, Phase::Standstill);
    }
    let verdicts = leg.play();
    assert_eq!(all_raised(&verdicts), [Condition::TooManyStarts]);
}

#[test]
fn inching_may_jog_as_often_as_it_likes() {
    let mut leg = Leg::at_rest();
    leg.command(Command::Key(true));
    leg.command(Command::Inch(true));
    for _ in 0..20 {
        leg.drive(true);
        leg.turn(700_000, 100_000, 100_000, None);
        leg.drive(false);
        leg.wait(700_000);
    }
    leg.command(Command::Inch(false));
    leg.wait(30 * SECOND);
    assert_eq!(all_raised(&leg.play()), []);
    assert_eq!(leg.judged().status().phase, Phase::Standstill);
}

/// A leg whose run permit is dropped, and which stands.
fn tripped(mut leg: Leg) -> Leg {
    leg.run_up();
    leg.turn(10 * SECOND, 1_000_000, 1_000_000, Some(200_000));
    if leg.settings.machine.drive_contact {
        leg.run_down();
    } else {
        for share in [800_000, 500_000, 250_000] {
            leg.turn(SECOND, share, share, None);
        }
        leg.wait(20 * SECOND);
    }
    let judge = leg.judged();
    assert!(!judge.status().run_permit);
    assert_eq!(judge.status().phase, Phase::Standstill);
    assert_eq!(state(&judge, Condition::PermitBypassed), AlarmState::Normal, "the trip itself is none");
    leg
}

#[test]
fn a_start_without_the_run_permit_tells_of_the_wiring() {
    let mut leg = tripped(Leg::at_rest());
    let begin = leg.now;
    leg.drive(true);
    leg.turn(3 * SECOND, 1_000_000, 1_000_000, Some(5_000));
    let verdicts = leg.play();
    assert_eq!(raised(&verdicts, Condition::PermitBypassed), [begin + 500_000]);
    // It goes when the drive does, and a person has to see it.
    leg.drive(false);
    assert_eq!(state(&leg.judged(), Condition::PermitBypassed), AlarmState::ReturnedUnacknowledged);
    leg.command(Command::Acknowledge);
    assert_eq!(state(&leg.judged(), Condition::PermitBypassed), AlarmState::Normal);
}

#[test]
fn a_contact_that_bounces_as_the_permit_drops_is_no_start() {
    let mut leg = tripped(Leg::at_rest());
    leg.drive(true);
    leg.wait(499_000);
    leg.drive(false);
    leg.wait(5 * SECOND);
    assert_eq!(raised(&leg.play(), Condition::PermitBypassed), [0_u64; 0]);
}

#[test]
fn a_start_with_the_permit_is_none_and_neither_is_a_trip_on_the_way() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.turn(10 * SECOND, 1_000_000, 1_000_000, Some(200_000));
    assert!(!leg.judged().status().run_permit);
    assert_eq!(raised(&leg.play(), Condition::PermitBypassed), [0_u64; 0]);
}

#[test]
fn without_a_drive_contact_the_head_tells() {
    let mut settings = Settings::example();
    settings.machine.drive_contact = false;
    let mut leg = Leg::new(settings);
    leg.say(0, What::Wake);
    leg.wait(20 * SECOND);
    let mut leg = tripped(leg);
    let begin = leg.now;
    // A few edges of a loaded belt that settles are none.
    leg.turn(2 * SECOND, 200_000, 200_000, None);
    assert_eq!(raised(&leg.play(), Condition::PermitBypassed), [0_u64; 0]);
    leg.turn(3 * SECOND, 1_000_000, 1_000_000, Some(5_000));
    let verdicts = leg.play();
    let at = raised(&verdicts, Condition::PermitBypassed);
    assert!(matches!(at[..], [at] if at > begin + 2_500_000 && at < begin + 4 * SECOND), "{at:?}");
}

fn variable_speed() -> Leg {
    let mut settings = Settings::example();
    settings.machine.speed_reference =
        Some(SpeedReference { minimum: Ppm::new(300_000), ramp_per_second: Ppm::new(100_000) });
    let mut leg = Leg::new(settings);
    leg.say(0, What::Drive(false));
    leg.wait(20 * SECOND);
    leg.say(leg.now, What::Reference(600_000));
    leg.drive(true);
    leg.turn(10 * SECOND, 600_000, 600_000, Some(5_000));
    leg
}

/// A wire that goes dead at 60 %: from then on nobody knows what speed was asked for, and nameplate speed is what counts.
#[test]
fn a_reference_that_stops_coming_counts_for_fifteen_seconds() {
    let mut leg = variable_speed();
    let newest = 20 * SECOND;
    leg.turn(4 * SECOND, 600_000, 600_000, Some(5_000));
    assert_eq!(all_raised(&leg.play()), []);
    leg.turn(6 * SECOND, 600_000, 600_000, Some(5_000));
    let verdicts = leg.play();
    assert_eq!(raised(&verdicts, Condition::ReferenceFault), [newest + 15_500_000], "after its on-delay");
    let stop = raised(&verdicts, Condition::DeepUnderspeed);
    assert_eq!(stop, [newest + 15_500_000], "40 % below nameplate speed");
    assert!(!leg.judged().status().run_permit);
}

#[test]
fn a_reference_that_is_repeated_counts_on() {
    let mut leg = variable_speed();
    for _ in 0..20 {
        leg.turn(5 * SECOND, 600_000, 600_000, Some(5_000));
        leg.say(leg.now, What::Reference(600_000));
    }
    assert_eq!(all_raised(&leg.play()), []);
}

/// With the sensors swapped a belt that only creeps reads as `1 - (H / B)² / R²`, and up to a creep of 3 % less or an eighth of that more: with
/// such a mean, and a head that seems as much faster as the boot is, that is what is told.
#[test]
fn a_mean_that_creep_explains_with_the_sensors_swapped_is_told() {
    for (head, boot) in [(4, 4), (3, 4)] {
        let mut settings = Settings::example();
        for (targets, count) in [(&mut settings.machine.head_targets, head), (&mut settings.machine.boot_targets, boot)]
        {
            targets.as_mut().expect("fitted").count = count;
        }
        told_if_it_creeps(&settings, u64::from(head * head) * 1_000_000 / u64::from(boot * boot));
    }
}

/// `marks` is the square of how many marks the head has for each of the boot's, in ppm.
fn told_if_it_creeps(settings: &Settings, marks: u64) {
    let ratio = u64::from(settings.machine.ratio_in_force().get());
    let once = marks * 1_000_000 / ratio;
    let reads = 1_000_000 - (once * 1_000_000 / ratio) as i32;
    assert!(reads > settings.limits.of(Condition::SlipHigh).setpoint);
    let (more, less) = (30_000 / 8, 30_000);
    let told = |slip: i32, mean: i32, head: u64| {
        let mut leg = Leg::new(settings.clone());
        leg.say(0, What::Drive(false));
        leg.wait(20 * SECOND);
        leg.run_up();
        leg.turn(2 * SECOND, head, 1_000_000, Some(slip));
        let from = leg.now;
        leg.say(leg.now, What::Mean(mean));
        leg.turn(SECOND, head, 1_000_000, Some(slip));
        raised(&leg.play(), Condition::RatioOrWiring) == [from]
    };
    let fast = 1_000_000 + u64::from(reads.unsigned_abs()) / 2;
    for (beside, is_told) in [(more, true), (more + 1, false), (-less, true), (-less - 1, false)] {
        assert_eq!(told(reads, reads + beside, fast), is_told, "{marks}: mean {beside}");
    }
    for (beside, is_told) in [(more, true), (more + 1, false)] {
        assert_eq!(told(reads + beside, reads, fast), is_told, "{marks}: slip {beside}");
    }
    assert!(!told(reads, reads, 1_000_000), "the head turns at its own speed");
}
