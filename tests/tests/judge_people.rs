//! What people may do, and what survives a loss of power.

mod judge_rig;

use judge_rig::*;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Command, Origin, Place};
use slackside::retained::Retained;
use slackside::settings::{Action, Settings};
use slackside::units::{Ppm, Span};
use slackside::verdict::{Change, Permit, Phase, Refusal, Verdict};

fn refusals(verdicts: &[Verdict]) -> Vec<Refusal> {
    verdicts
        .iter()
        .filter_map(|verdict| match verdict.change {
            Change::Refused(_, _, refusal) => Some(refusal),
            _ => None,
        })
        .collect()
}

/// The states a condition went through.
fn states(verdicts: &[Verdict], which: Condition) -> Vec<AlarmState> {
    verdicts
        .iter()
        .filter_map(|verdict| match verdict.change {
            Change::Alarm { condition, to, .. } if condition == which => Some(to),
            _ => None,
        })
        .collect()
}

fn with_outlet(latching: bool, action: Action) -> Leg {
    let mut settings = Settings::example();
    settings.machine.outlet_switch = true;
    settings.machine.temperatures = [true; 4];
    set(&mut settings, Condition::OutletPlugged, 0, 0, latching, action);
    let mut leg = Leg::new(settings);
    leg.say(0, What::Drive(false));
    leg.wait(20 * SECOND);
    leg
}

fn plug(leg: &mut Leg, plugged: bool) {
    leg.wait(SECOND);
    leg.say(leg.now, What::Outlet(plugged));
}

/// ISA-18.1 sequence A (as two general annunciator manuals reproduce it): a momentary alarm locks in until
/// acknowledged; after acknowledgement and return it goes by itself.
#[test]
fn sequence_a() {
    use AlarmState::*;
    let mut leg = with_outlet(false, Action::Alarm);
    plug(&mut leg, true);
    plug(&mut leg, false);
    leg.command(Command::Acknowledge);
    assert_eq!(states(&leg.play(), Condition::OutletPlugged), [Unacknowledged, ReturnedUnacknowledged, Normal]);
    let mut leg = with_outlet(false, Action::Alarm);
    plug(&mut leg, true);
    leg.command(Command::Acknowledge);
    plug(&mut leg, false);
    assert_eq!(states(&leg.play(), Condition::OutletPlugged), [Unacknowledged, Acknowledged, Normal]);
}

/// ISA-18.1 sequence M: as A, but it stays on after acknowledgement and return until reset, which works only once the
/// process is normal.
#[test]
fn sequence_m() {
    use AlarmState::*;
    let mut leg = with_outlet(true, Action::Stop);
    plug(&mut leg, true);
    leg.command(Command::Acknowledge);
    leg.command(Command::Reset);
    plug(&mut leg, false);
    assert!(!leg.judged().status().run_permit);
    leg.command(Command::Reset);
    let verdicts = leg.play();
    assert_eq!(
        states(&verdicts, Condition::OutletPlugged),
        [Unacknowledged, Acknowledged, LatchedAcknowledged, Normal]
    );
    assert_eq!(refusals(&verdicts), [Refusal::StillPresent]);
    assert!(leg.judged().status().run_permit);
}

#[test]
fn a_latched_alarm_that_is_wrong_again_needs_its_delay_and_cannot_be_reset_meanwhile() {
    use AlarmState::*;
    let mut leg = with_outlet(true, Action::Stop);
    set(&mut leg.settings, Condition::OutletPlugged, 2_000, 0, true, Action::Stop);
    leg.say(leg.now, What::Outlet(true));
    leg.wait(2 * SECOND);
    leg.say(leg.now, What::Outlet(false));
    leg.command(Command::Acknowledge);
    leg.say(leg.now, What::Outlet(true));
    leg.wait(SECOND);
    leg.command(Command::Reset);
    let again = leg.now + SECOND;
    leg.wait(3 * SECOND);
    let verdicts = leg.play();
    assert_eq!(refusals(&verdicts), [Refusal::StillPresent]);
    assert_eq!(raised(&verdicts, Condition::OutletPlugged)[1..], [again]);
    assert_eq!(state(&leg.judged(), Condition::OutletPlugged), Unacknowledged);
}

/// Two inputs one microsecond apart: exactly one first-out, the earlier. At the same moment: the lower rank.
#[test]
fn first_out() {
    for (gap, expected) in [(1, Condition::OutletPlugged), (0, Condition::OutletPlugged)] {
        let mut leg = with_outlet(true, Action::Stop);
        leg.say(leg.now, What::Outlet(true));
        leg.say(leg.now + gap, What::Temperature(Place::BootLeft, 900));
        let firsts: Vec<_> = leg
            .play()
            .iter()
            .filter_map(|verdict| match verdict.change {
                Change::FirstOut(first) => Some(first),
                _ => None,
            })
            .collect();
        assert_eq!(firsts, [Some(expected)], "gap {gap}");
    }
    // Two delays that end at one moment.
    let mut leg = with_outlet(true, Action::Stop);
    for condition in [Condition::OutletPlugged, Condition::RubHot] {
        set(&mut leg.settings, condition, 1_000, 0, true, Action::Stop);
    }
    leg.say(leg.now, What::Outlet(true));
    leg.say(leg.now, What::Temperature(Place::BootLeft, 900));
    leg.wait(5 * SECOND);
    assert_eq!(leg.judged().status().first_out, Some(Condition::RubHot));
    // The group is cleared when the last of it is reset.
    leg.say(leg.now, What::Outlet(false));
    leg.command(Command::Acknowledge);
    leg.command(Command::Reset);
    assert_eq!(leg.judged().status().first_out, Some(Condition::RubHot));
    leg.say(leg.now, What::Temperature(Place::BootLeft, 200));
    leg.command(Command::Reset);
    assert_eq!(leg.judged().status().first_out, None);
    assert!(leg.judged().status().run_permit);
}

#[test]
fn the_reset_button_acts_on_release_after_a_proper_press() {
    for (held, resets) in [(99_999, false), (100_000, true), (3_000_000, true), (3_000_001, false)] {
        let mut leg = with_outlet(true, Action::Stop);
        plug(&mut leg, true);
        leg.command(Command::Acknowledge);
        plug(&mut leg, false);
        leg.command(Command::ResetButton(true));
        assert!(!leg.judged().status().run_permit, "not on the press");
        leg.wait(held);
        leg.command(Command::ResetButton(false));
        assert_eq!(leg.judged().status().run_permit, resets, "{held}");
    }
}

#[test]
fn a_held_reset_button_is_a_fault_until_let_go() {
    let mut leg = Leg::at_rest();
    leg.command(Command::ResetButton(true));
    let held = leg.now + 3 * SECOND + 1;
    leg.wait(10 * SECOND);
    assert_eq!(state(&leg.judged(), Condition::ResetHeld), AlarmState::Unacknowledged);
    leg.command(Command::ResetButton(false));
    assert_eq!(raised(&leg.play(), Condition::ResetHeld), [held]);
    assert_eq!(state(&leg.judged(), Condition::ResetHeld), AlarmState::ReturnedUnacknowledged);
}

#[test]
fn a_bypass_may_be_as_long_as_the_settings_say_and_no_longer() {
    let longest = Settings::example().limits.starts.bypass_time;
    for (micros, accepted) in [(longest.get(), true), (longest.get() + 1, false)] {
        let mut leg = with_outlet(true, Action::Stop);
        leg.command(Command::Key(true));
        leg.command(Command::Bypass(Condition::OutletPlugged, Span::new(micros)));
        let refused = if accepted { vec![] } else { vec![Refusal::TooLong] };
        assert_eq!(refusals(&leg.play()), refused, "{micros}");
    }
}

#[test]
fn a_bypass_needs_the_key_is_timed_and_single() {
    let mut leg = with_outlet(true, Action::Stop);
    let minute = Span::from_millis(60_000);
    leg.command(Command::Bypass(Condition::OutletPlugged, minute));
    leg.by_link(Command::Key(true));
    leg.command(Command::Key(true));
    leg.by_link(Command::Bypass(Condition::OutletPlugged, minute));
    leg.command(Command::Bypass(Condition::DeepUnderspeed, minute));
    leg.command(Command::Bypass(Condition::OutletPlugged, Span::ZERO));
    leg.command(Command::Bypass(Condition::OutletPlugged, Span::from_millis(31 * 60_000)));
    leg.command(Command::Bypass(Condition::OutletPlugged, minute));
    let ends = leg.now + 60 * SECOND;
    leg.command(Command::Bypass(Condition::RubHot, minute));
    assert_eq!(state(&leg.judged(), Condition::BypassActive), AlarmState::Unacknowledged);
    plug(&mut leg, true);
    assert!(leg.judged().status().run_permit, "bypassed");
    leg.wait(120 * SECOND);
    let verdicts = leg.play();
    assert_eq!(
        refusals(&verdicts),
        [
            Refusal::KeyOff,
            Refusal::OnlyAtTheLeg,
            Refusal::OnlyAtTheLeg,
            Refusal::NeverBypassed,
            Refusal::TooLong,
            Refusal::TooLong,
            Refusal::OneAtATime
        ]
    );
    assert_eq!(raised(&verdicts, Condition::OutletPlugged), [ends]);
    assert_eq!(permits(&verdicts, Permit::Run).last(), Some(&(ends, false)));
    assert_eq!(leg.judged().status().first_out, Some(Condition::OutletPlugged));
}

#[test]
fn the_key_taken_out_ends_bypass_and_inching() {
    let mut leg = with_outlet(true, Action::Stop);
    leg.command(Command::Key(true));
    leg.command(Command::Bypass(Condition::OutletPlugged, Span::from_millis(60_000)));
    leg.command(Command::Inch(true));
    assert_eq!(leg.judged().status().phase, Phase::Inching);
    leg.command(Command::Key(false));
    let judge = leg.judged();
    assert_eq!(state(&judge, Condition::OutletPlugged), AlarmState::Normal);
    assert_ne!(judge.status().phase, Phase::Inching);
}

#[test]
fn a_bypass_does_not_lose_what_was_latched_behind_it() {
    let mut leg = with_outlet(true, Action::Stop);
    plug(&mut leg, true);
    plug(&mut leg, false);
    leg.command(Command::Key(true));
    leg.command(Command::Bypass(Condition::OutletPlugged, Span::from_millis(60_000)));
    assert!(leg.judged().status().run_permit);
    assert!(leg.judged().survivor().latched().contains(Condition::OutletPlugged), "bypasses lapse with the power");
    leg.command(Command::EndBypass);
    assert_eq!(state(&leg.judged(), Condition::OutletPlugged), AlarmState::LatchedUnacknowledged);
    assert!(!leg.judged().status().run_permit);
}

#[test]
fn inching_is_slow_timed_without_feed_and_watches_the_belt() {
    let mut leg = Leg::at_rest();
    leg.command(Command::Inch(true));
    leg.command(Command::Key(true));
    leg.command(Command::Inch(true));
    leg.drive(true);
    leg.turn(30 * SECOND, 100_000, 100_000, None);
    let verdicts = leg.play();
    assert_eq!(refusals(&verdicts), [Refusal::KeyOff]);
    assert_eq!(all_raised(&verdicts), []);
    assert!(!leg.judged().status().feed_permit);
    assert_eq!(leg.judged().survivor().start_ages().len(), 0, "inching is no start");
    let mut longer = leg.clone();
    leg.turn(30 * SECOND, 100_000, 0, None);
    assert_eq!(all_raised(&leg.play()), [Condition::BeltNotFollowing]);
    // When its time is up everything is judged again.
    longer.turn(300 * SECOND, 100_000, 100_000, None);
    assert!(!raised(&longer.play(), Condition::DeepUnderspeed).is_empty());
}

#[test]
fn a_proof_test_passes_only_if_the_permit_drops() {
    let results = |leg: &Leg| -> Vec<bool> {
        leg.play()
            .iter()
            .filter_map(|verdict| match verdict.change {
                Change::ProofTest { passed } => Some(passed),
                _ => None,
            })
            .collect()
    };
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.command(Command::ProofTest(true));
    leg.turn(SECOND, 1_000_000, 1_000_000, Some(0));
    leg.command(Command::ProofTest(false));
    leg.command(Command::ProofTest(true));
    leg.turn(2 * SECOND, 1_000_000, 0, None);
    leg.command(Command::ProofTest(false));
    assert_eq!(results(&leg), [false, true]);
    leg.command(Command::ProofTest(true));
    assert_eq!(refusals(&leg.play()), [Refusal::StillPresent]);
}

#[test]
fn mistracking_counts_from_the_rub_and_not_beyond_its_end() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.rub(Place::BootRight, true);
    let from = leg.now;
    leg.turn(SECOND, 1_000_000, 1_000_000, Some(0));
    let verdicts = leg.play();
    assert_eq!(raised(&verdicts, Condition::Mistracking), [from + 500_000]);
    let detail = verdicts.iter().find_map(|verdict| match verdict.change {
        Change::Alarm { condition: Condition::Mistracking, value, detail, .. } => Some((value, detail)),
        _ => None,
    });
    assert_eq!(detail, Some((Some(500), 3)));

    // Clear at 400 ms, still bridged: ends at 550 ms unless it rubs again, so 500 ms counts; ending at 490 ms does not.
    for (bridged, alarms) in [(550_000, 1), (500_000, 1), (499_999, 0)] {
        let mut leg = Leg::at_rest();
        leg.rub(Place::HeadLeft, true);
        leg.wait(300_000);
        leg.motion.contacts[0].bridged = true;
        leg.tell_motion();
        leg.wait(bridged - 300_000);
        leg.rub(Place::HeadLeft, false);
        leg.wait(SECOND);
        assert_eq!(raised(&leg.play(), Condition::Mistracking).len(), alarms, "{bridged}");
    }
}

#[test]
fn too_many_late_inputs_in_a_minute_are_a_fault() {
    let mut leg = Leg::at_rest();
    for n in 0..16 {
        assert_eq!(raised(&leg.play(), Condition::TimeBaseFault).len(), 0, "{n}");
        leg.say(leg.now, What::Late);
    }
    assert_eq!(raised(&leg.play(), Condition::TimeBaseFault).len(), 1);
    let mut slower = Leg::at_rest();
    for _ in 0..40 {
        slower.wait(5 * SECOND);
        slower.say(slower.now, What::Late);
    }
    assert_eq!(raised(&slower.play(), Condition::TimeBaseFault), [0_u64; 0]);
}

/// The leg of [`with_outlet`] at speed and fed, to which feed was dropped and given back so many times.
fn given_back(action: Action, times: u32) -> Leg {
    let mut leg = with_outlet(action == Action::Stop, action);
    leg.run_up();
    for _ in 0..times {
        plug_while_running(&mut leg);
    }
    leg
}

fn plug_while_running(leg: &mut Leg) {
    leg.say(leg.now, What::Outlet(true));
    leg.turn(SECOND, 1_000_000, 1_000_000, Some(5_000));
    leg.say(leg.now, What::Outlet(false));
    leg.command(Command::Acknowledge);
    leg.command(Command::Reset);
    leg.turn(SECOND, 1_000_000, 1_000_000, Some(5_000));
}

/// Three returns are borne, and each is forgotten half an hour after it was.
#[test]
fn a_return_of_the_feed_counts_for_half_an_hour_and_no_longer() {
    for (minutes, hunts) in [(29, true), (31, false)] {
        let mut leg = given_back(Action::DropFeed, 3);
        assert!(leg.judged().status().feed_permit);
        leg.run_down();
        leg.wait(minutes * 60 * SECOND);
        leg.run_up();
        assert!(leg.judged().status().feed_permit, "a start is no return");
        plug_while_running(&mut leg);
        // At the very moment at which it would have come back.
        let would = leg.events.iter().rev().find(|(_, what)| *what == What::Outlet(false)).map(|(at, _)| *at);
        let found = raised(&leg.play(), Condition::FeedHunting);
        assert_eq!(found, if hunts { would.as_slice() } else { &[] }, "{minutes} min");
    }
}

/// What drops feed alone is counted; where the whole leg was stopped, a person has looked.
#[test]
fn feed_that_was_dropped_with_the_run_permit_is_not_counted() {
    let leg = given_back(Action::Stop, 6);
    let verdicts = leg.play();
    assert_eq!(permits(&verdicts, Permit::Feed).len(), 13, "given at the start and six times again");
    assert_eq!(raised(&verdicts, Condition::FeedHunting), [0_u64; 0]);
    assert_eq!(raised(&given_back(Action::DropFeed, 4).play(), Condition::FeedHunting).len(), 1);
}

fn power_cycle(survivor: &Retained) -> Box<judge_rig::Judge> {
    let stored = Retained::from_image(&survivor.to_image()).expect("it reads back");
    assert_eq!(stored, *survivor);
    judge(&Settings::example(), &stored)
}

#[test]
fn power_cycling_resets_nothing() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.turn(20 * SECOND, 1_000_000, 960_000, Some(45_000));
    leg.turn(3 * SECOND, 1_000_000, 0, None);
    let before = leg.judged();
    let survivor = before.survivor();
    assert!(survivor.boot_cleared_needed());
    assert_eq!(survivor.start_ages().len(), 1);
    assert!(survivor.slip_heat().get() > 10_000, "{survivor:?}");

    let mut after = power_cycle(&survivor);
    assert_eq!(after.survivor(), survivor, "before anything is observed");
    let mut verdicts = Vec::new();
    let mut tell = |judge: &mut judge_rig::Judge, at: u64, what: What| {
        judge.observe(&(at, what), &mut |verdict| verdicts.push(verdict));
    };
    tell(&mut after, 9_000 * SECOND, What::Drive(false));
    assert_eq!(after.survivor(), survivor, "no time has passed");
    tell(&mut after, 9_020 * SECOND, What::Wake);
    assert!(!after.status().run_permit);
    assert_eq!(after.status().first_out, Some(Condition::DeepUnderspeed));
    assert_eq!(state(&after, Condition::BeltNotFollowing), AlarmState::LatchedUnacknowledged);
    assert!(permits(&verdicts, Permit::Run).is_empty(), "the permit was never given: {verdicts:?}");
    for command in [Command::Acknowledge, Command::Reset, Command::BootCleared] {
        assert!(!after.status().run_permit);
        after.observe(&(9_020 * SECOND, What::Command(slackside::input::Origin::Leg, command)), &mut |_| {});
    }
    assert!(after.status().run_permit);
}

/// Settings without the contacts that an alarm is kept of: it can be reset, and tells of no value and of no place.
#[test]
fn what_is_kept_of_a_contact_no_longer_fitted_has_no_value_and_no_place() {
    let mut leg = Leg::running();
    leg.settings.limits.change(Condition::MistrackingDuty, |limit| limit.latching = true);
    leg.motion.contacts[3].duty = Ppm::new(400_000);
    leg.tell_motion();
    let survivor = leg.judged().survivor();
    let mut settings = leg.settings.clone();
    settings.machine.contacts = [None; 4];
    let mut after = judge(&settings, &survivor);
    let mut told = Vec::new();
    for what in [What::Drive(false), What::Command(Origin::Leg, Command::Acknowledge)] {
        after.observe(&(9_000 * SECOND, what), &mut |verdict: Verdict| {
            if let Change::Alarm { condition: Condition::MistrackingDuty, to, value, detail, .. } = verdict.change {
                told.push((to, value, detail));
            }
        });
    }
    assert_eq!(told, [(AlarmState::LatchedAcknowledged, None, 0)]);
}

#[test]
fn what_cannot_be_read_counts_as_tripped() {
    let mut judge = judge(&Settings::example(), &Retained::unreadable());
    judge.observe(&(1, What::Drive(false)), &mut |_| {});
    assert!(!judge.status().run_permit);
    assert_eq!(state(&judge, Condition::SettingsFault), AlarmState::LatchedUnacknowledged);
    assert!(judge.status().boot_cleared_needed);
}
