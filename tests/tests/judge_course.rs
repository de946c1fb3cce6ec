//! A leg's day as judge sees it: starts, running, stopping, and what goes wrong on the way.

mod judge_rig;

use judge_rig::*;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Command, Input, Signal};
use slackside::motion::SlipReading;
use slackside::settings::Settings;
use slackside::units::{Micros, MicroturnsPerSecond, Ppm, Span};
use slackside::verdict::{Change, Permit, Phase, Refusal};

#[test]
fn an_ordinary_day_gives_no_alarm() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.turn(60 * SECOND, 985_000, 980_000, Some(6_000));
    leg.run_down();
    let verdicts = leg.play();
    assert_eq!(all_raised(&verdicts), []);
    assert_eq!(
        phases(&verdicts),
        [Phase::Standstill, Phase::Starting, Phase::Running, Phase::CoastDown, Phase::Standstill]
    );
    assert_eq!(permits(&verdicts, Permit::Run), [(0, true)]);
    let feed = permits(&verdicts, Permit::Feed);
    assert!(matches!(feed[..], [(on, true), (off, false)] if on < off), "{feed:?}");
}

/// A belt that stops is known one pitch, lengthened by the limit, after its last edge; then the delay.
#[test]
fn a_stalled_belt_is_stamped_to_the_microsecond() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    let last = leg.motion.boot.last_edge.unwrap().get();
    let start = leg.now;
    leg.turn(5 * SECOND, 1_000_000, 0, None);
    let verdicts = leg.play();
    // 14 % below normal: a turn takes 1/(1.361711 · 0.86) s.
    let turn = 1_000_000_000_000_000_000_u64 / (1_361_711 * 860_000);
    let crossing = last + ((u64::from(QUARTER_AT_MOST) * turn) >> 32) + 1;
    assert_eq!(raised(&verdicts, Condition::DeepUnderspeed), [crossing + 500_000]);
    assert_eq!(permits(&verdicts, Permit::Run).last(), Some(&(crossing + 500_000, false)));
    // The head goes on turning: two turns without a boot edge.
    let following = raised(&verdicts, Condition::BeltNotFollowing);
    assert!(matches!(following[..], [at] if at > start + 1_300_000 && at < start + 1_800_000), "{following:?}");
    assert_eq!(
        verdicts.iter().find_map(|verdict| match verdict.change {
            Change::FirstOut(first) => Some(first),
            _ => None,
        }),
        Some(Some(Condition::DeepUnderspeed))
    );

    // One microsecond before its deadline a tick gives nothing, at the deadline the verdict.
    let mut judge = judge(&leg.settings, &Default::default());
    for event in leg.events.iter().filter(|(at, _)| *at <= start) {
        judge.observe(event, &mut |_| {});
    }
    let mut deadlines = 0;
    loop {
        let due = judge.next_deadline().unwrap();
        judge.observe(&(due.get() - 1, What::Wake), &mut |verdict| panic!("early: {verdict:?}"));
        let mut any = false;
        judge.observe(&(due.get(), What::Wake), &mut |verdict| {
            assert_eq!(verdict.at, due);
            any = true;
        });
        deadlines += 1;
        if any {
            break;
        }
        assert!(deadlines < 10);
    }
}

#[test]
fn a_trip_needs_acknowledgement_reset_and_boot_cleared() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.turn(2 * SECOND, 1_000_000, 0, None);
    leg.command(Command::Reset);
    leg.command(Command::BootCleared);
    leg.run_down();
    leg.command(Command::Reset);
    leg.command(Command::Acknowledge);
    leg.command(Command::Reset);
    assert!(!leg.judged().status().run_permit);
    leg.command(Command::Reset);
    leg.by_link(Command::BootCleared);
    assert!(!leg.judged().status().run_permit);
    leg.command(Command::BootCleared);
    let judge = leg.judged();
    assert!(judge.status().run_permit);
    assert_eq!(judge.status().first_out, None);
    let refused: Vec<_> = leg
        .play()
        .iter()
        .filter_map(|verdict| match verdict.change {
            Change::Refused(_, _, refusal) => Some(refusal),
            _ => None,
        })
        .collect();
    assert_eq!(
        refused,
        [
            Refusal::StillPresent,
            Refusal::NotAtRest,
            Refusal::NotAcknowledged,
            Refusal::BootNotCleared,
            Refusal::OnlyAtTheLeg
        ]
    );
}

#[test]
fn a_start_that_does_not_reach_speed_is_a_trip_at_the_end_of_the_start_time() {
    let mut leg = Leg::at_rest();
    let opened = leg.now;
    leg.drive(true);
    leg.turn(12 * SECOND, 700_000, 700_000, Some(0));
    let verdicts = leg.play();
    assert_eq!(raised(&verdicts, Condition::StartFailed), [opened + 10 * SECOND]);
    // Underspeed was suppressed until then.
    assert!(raised(&verdicts, Condition::DeepUnderspeed).iter().all(|at| *at >= opened + 10 * SECOND));
}

#[test]
fn slip_is_live_from_the_first_turn() {
    let mut leg = Leg::at_rest();
    let opened = leg.now;
    leg.drive(true);
    leg.turn(2 * SECOND, 500_000, 300_000, Some(400_000));
    leg.turn(SECOND, 500_000, 300_000, Some(400_000));
    let at = raised(&leg.play(), Condition::SlipVeryHigh);
    assert!(matches!(at[..], [at] if at < opened + 2 * SECOND), "{at:?}");
}

#[test]
fn a_head_that_turns_a_standing_belt_trips_while_starting() {
    let mut leg = Leg::at_rest();
    leg.drive(true);
    leg.turn(4 * SECOND, 600_000, 0, None);
    assert_eq!(raised(&leg.play(), Condition::BeltNotFollowing).len(), 1);
}

/// 29 CFR 1910.272(q)(1) forbids jogging to free a choked leg.
#[test]
fn the_fifth_start_in_the_window_is_jogging() {
    let mut leg = Leg::at_rest();
    for _ in 0..5 {
        leg.drive(true);
        leg.turn(SECOND, 300_000, 300_000, None);
        leg.drive(false);
        leg.wait(30 * SECOND);
    }
    let fifth = leg.now - 31 * SECOND;
    assert_eq!(raised(&leg.play(), Condition::TooManyStarts), [fifth]);
    leg.command(Command::Acknowledge);
    leg.command(Command::Reset);
    assert!(!leg.judged().status().run_permit, "while the count stands it cannot be reset");
    leg.wait(30 * 60 * SECOND);
    leg.command(Command::Reset);
    assert!(leg.judged().status().run_permit);
}

#[test]
fn a_chattering_drive_contact_opens_one_start_and_trips() {
    let mut leg = Leg::at_rest();
    for n in 0..5 {
        leg.drive(n % 2 == 0);
        leg.wait(20_000);
    }
    let verdicts = leg.play();
    assert_eq!(raised(&verdicts, Condition::DriveContactFault).len(), 1);
    let starts = leg.judged().survivor().start_ages().len();
    assert_eq!(starts, 1);
}

#[test]
fn four_changes_in_two_seconds_are_no_chatter_yet() {
    let mut leg = Leg::at_rest();
    for n in 0..4 {
        leg.drive(n % 2 == 0);
        leg.wait(20_000);
    }
    leg.wait(2 * SECOND);
    leg.drive(true);
    assert_eq!(raised(&leg.play(), Condition::DriveContactFault), [0_u64; 0]);
}

#[test]
fn both_cables_cut_is_a_common_cause_and_not_a_stop() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    let last = leg.now;
    leg.wait(5 * SECOND);
    let verdicts = leg.play();
    let at = raised(&verdicts, Condition::BothSilent);
    assert!(matches!(at[..], [at] if at < last + 400_000), "{at:?}");
    leg.drive(false);
    leg.wait(30 * SECOND);
    let judge = leg.judged();
    assert!(!judge.status().run_permit);
    assert_eq!(state(&judge, Condition::BothSilent), AlarmState::LatchedUnacknowledged);
}

#[test]
fn silence_sooner_than_half_a_run_down_is_no_stop() {
    let mut leg = Leg::at_rest();
    leg.settings.limits.starts.shortest_coast_down = Span::from_millis(2_000);
    leg.run_up();
    leg.drive(false);
    leg.wait(20 * SECOND);
    let verdicts = leg.play();
    let details: Vec<_> = verdicts
        .iter()
        .filter_map(|verdict| match verdict.change {
            Change::Alarm { condition: Condition::BothSilent, to: AlarmState::Unacknowledged, detail, .. } => {
                Some(detail)
            }
            _ => None,
        })
        .collect();
    assert_eq!(details, [2]);

    let mut honest = Leg::at_rest();
    honest.settings.limits.starts.shortest_coast_down = Span::from_millis(2_000);
    honest.run_up();
    honest.run_down();
    assert_eq!(all_raised(&honest.play()), []);
}

#[test]
fn the_run_down_is_learned_from_clean_stops() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.run_down();
    leg.run_up();
    leg.drive(false);
    leg.wait(20 * SECOND);
    assert_eq!(raised(&leg.play(), Condition::BothSilent).len(), 1);
}

#[test]
fn turning_from_standstill_with_the_drive_off_is_a_rollback() {
    let mut leg = Leg::at_rest();
    leg.turn(3 * SECOND, 200_000, 200_000, None);
    let verdicts = leg.play();
    assert_eq!(all_raised(&verdicts), [Condition::Rollback]);
}

#[test]
fn getting_faster_with_the_drive_off_is_a_rollback() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.drive(false);
    for share in [600_000, 300_000, 300_000, 600_000, 900_000] {
        leg.turn(SECOND, share, share, None);
    }
    let verdicts = leg.play();
    assert!(raised(&verdicts, Condition::Rollback).len() == 1, "{:?}", all_raised(&verdicts));
}

#[test]
fn one_shaft_at_rest_is_chatter() {
    let mut leg = Leg::at_rest();
    for _ in 0..3 {
        leg.turn(60_000, 0, 6_000_000, None);
    }
    let verdicts = leg.play();
    assert_eq!(all_raised(&verdicts), [Condition::EdgesAtRest]);
    // Once it has been quiet for ten seconds it can be reset.
    leg.command(Command::Acknowledge);
    leg.command(Command::Reset);
    assert!(!leg.judged().status().run_permit);
    leg.wait(11 * SECOND);
    leg.command(Command::Reset);
    assert!(leg.judged().status().run_permit);
}

#[test]
fn a_leg_that_never_stops_after_the_drive_is_a_lying_contact() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    let off = leg.now;
    leg.drive(false);
    leg.turn(70 * SECOND, 1_000_000, 1_000_000, None);
    let fault = raised(&leg.play(), Condition::DriveContactFault);
    assert!(matches!(fault[..], [at] if at >= off + 10 * SECOND && at < off + 11 * SECOND), "{fault:?}");
}

#[test]
fn a_belt_that_stands_under_a_turning_head_stops_the_leg_though_the_contact_reads_off() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.drive(false);
    leg.turn(5 * SECOND, 1_000_000, 1_000_000, None);
    let stalls = leg.now;
    leg.turn(20 * SECOND, 1_000_000, 0, None);
    let stop = raised(&leg.play(), Condition::BeltNotFollowing);
    assert!(matches!(stop[..], [at] if at < stalls + 2 * SECOND), "{stop:?}");
}

#[test]
fn a_leg_that_rolls_is_not_proven_at_standstill() {
    let mut leg = Leg::at_rest();
    leg.turn(20 * SECOND, 1_000_000, 1_000_000, None);
    let judge = leg.judged();
    assert!(judge.status().boot_cleared_needed || !judge.status().run_permit);
    assert_eq!(judge.status().phase, Phase::CoastDown);
    leg.wait(10 * SECOND);
    assert_eq!(leg.judged().status().phase, Phase::Standstill);
}

#[test]
fn a_silent_head_under_a_turning_boot_is_said_and_stops() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.slip(SlipReading::Unknown);
    leg.turn(5 * SECOND, 0, 1_000_000, None);
    let verdicts = leg.play();
    assert_eq!(raised(&verdicts, Condition::HeadSilent).len(), 1);
    assert_eq!(raised(&verdicts, Condition::BeltNotFollowing), [0_u64; 0]);
    assert!(!leg.judged().status().run_permit);
}

/// The edge that ends the head's silence says that slip counts again: from its moment on, not from whatever comes next.
#[test]
fn slip_counts_from_the_edge_that_ends_the_heads_silence() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.turn(5 * SECOND, 0, 1_000_000, None);
    leg.slip(SlipReading::Known(Ppm::new(200_000)));
    let silent = leg.now;
    leg.turn(5 * SECOND, 0, 1_000_000, None);
    assert_eq!(raised(&leg.play(), Condition::SlipVeryHigh), [0_u64; 0], "not while the head is silent");
    let edge = leg.now + 1_000;
    leg.head_edge(edge);
    leg.turn(5 * SECOND, 1_000_000, 1_000_000, Some(200_000));
    let verdicts = leg.play();
    assert!(matches!(raised(&verdicts, Condition::HeadSilent)[..], [at] if at < silent));
    let delay = u64::from(leg.settings.limits.of(Condition::SlipVeryHigh).on_delay.get());
    assert_eq!(raised(&verdicts, Condition::SlipVeryHigh), [edge + delay]);
}

#[test]
fn slip_unknown_for_too_long_drops_feed_only() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.slip(SlipReading::Unknown);
    let from = leg.now;
    leg.turn(25 * SECOND, 1_000_000, 1_000_000, None);
    let verdicts = leg.play();
    let at = raised(&verdicts, Condition::SlipUnknown);
    assert!(matches!(at[..], [at] if at >= from + 20 * SECOND && at < from + 21 * SECOND), "{at:?}");
    assert!(leg.judged().status().run_permit);
    assert!(!leg.judged().status().feed_permit);
}

#[test]
fn high_slip_drops_feed_so_that_the_leg_empties_and_gives_it_back() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    leg.turn(8 * SECOND, 1_000_000, 940_000, Some(60_000));
    assert!(!leg.judged().status().feed_permit);
    assert!(leg.judged().status().run_permit);
    leg.turn(8 * SECOND, 1_000_000, 990_000, Some(10_000));
    assert!(leg.judged().status().feed_permit);
    assert_eq!(all_raised(&leg.play()), [Condition::SlipHigh]);
}

#[test]
fn unknown_slip_lets_the_delay_run_and_retracted_slip_ends_it() {
    for (reading, trips) in [(SlipReading::Unknown, 1), (SlipReading::Retracted, 0)] {
        let mut leg = Leg::at_rest();
        leg.run_up();
        leg.slip(SlipReading::Known(Ppm::new(200_000)));
        leg.tell_motion();
        leg.turn(500_000, 1_000_000, 1_000_000, None);
        leg.slip(reading);
        leg.turn(2 * SECOND, 1_000_000, 1_000_000, None);
        assert_eq!(raised(&leg.play(), Condition::SlipVeryHigh).len(), trips);
    }
}

/// An off-delay that begins while slip is not judged, as the leg runs down, does not end an alarm of a leg that runs again with slip unknown;
/// nor does one that began on readings, or slip that was taken back.
#[test]
fn a_slip_alarm_stays_until_slip_is_known_to_be_well() {
    for reading in [SlipReading::Unknown, SlipReading::Retracted] {
        for runs_down in [true, false] {
            let mut leg = Leg::at_rest();
            leg.run_up();
            leg.turn(8 * SECOND, 1_000_000, 940_000, Some(60_000));
            if runs_down {
                leg.drive(false);
            } else {
                leg.slip(SlipReading::Known(Ppm::new(10_000)));
            }
            // Below the speed at which a head has slip judged whatever the drive contact says.
            let speed = if runs_down { 500_000 } else { 1_000_000 };
            leg.turn(2 * SECOND, speed, speed, None);
            leg.slip(reading);
            leg.tell_motion();
            leg.drive(true);
            leg.turn(15 * SECOND, 1_000_000, 1_000_000, None);
            let case = format!("{reading:?}, runs down: {runs_down}");
            assert_eq!(leg.judged().status().phase, Phase::Running, "{case}");
            assert!(leg.judged().status().alarms[Condition::SlipHigh.rank()].holds(), "{case}");
            // The whole off-delay of three seconds from the first reading on.
            leg.turn(2_900_000, 1_000_000, 1_000_000, Some(10_000));
            assert!(leg.judged().status().alarms[Condition::SlipHigh.rank()].holds(), "{case}");
            leg.turn(600_000, 1_000_000, 1_000_000, Some(10_000));
            assert!(!leg.judged().status().alarms[Condition::SlipHigh.rank()].holds(), "{case}");
            assert_eq!(raised(&leg.play(), Condition::SlipHigh).len(), 1, "{case}");
        }
    }
}

/// A settled inflow below the budget never trips; above it the time follows τ·ln(H∞/(H∞ − budget)).
#[test]
fn slip_heat_trips_at_its_own_time() {
    let mut leg = Leg::at_rest();
    leg.run_up();
    let from = leg.now;
    let before = leg.judged().slip_heat_at(Micros::new(from)).get();
    // 4 % of 18.5 kW: 740 W · 1800 s = 1.332 MJ against 0.9 MJ.
    leg.turn(2_100 * SECOND, 1_000_000, 970_000, Some(40_000));
    let verdicts = leg.play();
    let at = raised(&verdicts, Condition::SlipHeat);
    let h0 = f64::from(before) * 0.9;
    let exact = 1_800.0 * ((1_332_000.0 - h0) / (1_332_000.0 - 900_000.0)).ln();
    let [at] = at[..] else { panic!("{at:?}") };
    let seconds = (at - from) as f64 / 1e6;
    assert!((seconds - exact).abs() < 1.0, "{seconds} against {exact}");
    assert_eq!(all_raised(&verdicts), [Condition::SlipHeat]);
}

#[test]
fn without_a_drive_contact_an_ordinary_stop_does_not_latch() {
    let mut leg = Leg::without_contact();
    leg.turn(2 * SECOND, 500_000, 500_000, None);
    leg.turn(8 * SECOND, 1_000_000, 1_000_000, Some(5_000));
    for share in [700_000, 400_000, 200_000] {
        leg.turn(SECOND, share, share, None);
    }
    leg.wait(20 * SECOND);
    let verdicts = leg.play();
    assert_eq!(raised(&verdicts, Condition::DeepUnderspeed).len(), 1);
    let judge = leg.judged();
    assert!(judge.status().run_permit);
    assert!(!judge.status().boot_cleared_needed);
    assert_eq!(judge.status().phase, Phase::Standstill);
    assert_eq!(state(&judge, Condition::DeepUnderspeed), AlarmState::ReturnedUnacknowledged);
    // The next start is a start.
    leg.turn(2 * SECOND, 500_000, 500_000, None);
    assert_eq!(leg.judged().status().phase, Phase::Starting);
}

#[test]
fn without_a_drive_contact_a_slow_boot_alone_latches() {
    let mut leg = Leg::without_contact();
    leg.turn(2 * SECOND, 500_000, 500_000, None);
    leg.turn(8 * SECOND, 1_000_000, 1_000_000, Some(5_000));
    leg.turn(2 * SECOND, 1_000_000, 700_000, Some(20_000));
    leg.wait(30 * SECOND);
    let judge = leg.judged();
    assert!(!judge.status().run_permit);
    assert!(judge.status().boot_cleared_needed);
}

#[test]
fn the_boot_alone_says_that_slip_is_not_watched() {
    let mut settings = Settings::example();
    settings.machine.head_targets = None;
    let mut leg = Leg::new(settings);
    leg.say(0, What::Drive(false));
    leg.wait(20 * SECOND);
    leg.run_up();
    assert!(leg.judged().status().feed_permit);
    leg.turn(4 * SECOND, 0, 700_000, None);
    let judge = leg.judged();
    for condition in [Condition::SlipHigh, Condition::BeltNotFollowing, Condition::SlipHeat, Condition::HeadSilent] {
        assert_eq!(state(&judge, condition), AlarmState::OutOfService);
    }
    assert_eq!(raised(&leg.play(), Condition::DeepUnderspeed).len(), 1);
}

#[test]
fn a_valid_reference_scales_normal_speed_and_a_wild_one_falls_back() {
    let mut settings = Settings::example();
    settings.machine.speed_reference =
        Some(slackside::settings::SpeedReference { minimum: Ppm::new(300_000), ramp_per_second: Ppm::new(100_000) });
    let mut leg = Leg::new(settings);
    leg.say(0, What::Drive(false));
    leg.say(0, What::Reference(600_000));
    leg.wait(20 * SECOND);
    leg.say(leg.now, What::Reference(600_000));
    leg.drive(true);
    leg.turn(10 * SECOND, 600_000, 600_000, Some(5_000));
    assert_eq!(all_raised(&leg.play()), []);
    assert_eq!(leg.judged().status().phase, Phase::Running);
    // The reference falls to a half within no time while the leg keeps its speed.
    leg.say(leg.now, What::Reference(310_000));
    leg.turn(3 * SECOND, 600_000, 600_000, Some(5_000));
    let verdicts = leg.play();
    assert_eq!(raised(&verdicts, Condition::ReferenceFault).len(), 1);
    assert_eq!(raised(&verdicts, Condition::DeepUnderspeed).len(), 1, "nameplate speed counts again");
}

#[test]
fn unsure_at_power_up_is_judged_when_it_turns_already() {
    let mut leg = Leg::new(Settings::example());
    leg.say(5 * SECOND, What::Wake);
    leg.turn(2 * SECOND, 700_000, 700_000, None);
    leg.drive(true);
    leg.turn(3 * SECOND, 700_000, 700_000, Some(0));
    let verdicts = leg.play();
    assert_eq!(phases(&verdicts)[0], Phase::Running);
    assert!(!raised(&verdicts, Condition::DeepUnderspeed).is_empty());
}

#[test]
fn nothing_is_allowed_before_settings() {
    let mut monitor = slackside_desk::monitor::Monitor::new();
    let on = Input::new(Micros::new(5), Signal::DriveRunning(true));
    monitor.observe(on, &mut |verdict| panic!("{verdict:?}"));
    assert!(!monitor.status().run_permit);
    assert_eq!(monitor.next_deadline(), None);
    let _ = MicroturnsPerSecond::ZERO;
}
