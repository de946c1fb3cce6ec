//! The whole box with a leg in memory: what each lost wire, weld, stall and power cycle does.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod rig;

use rig::{Chip, Rig, plan, set_up, settings};
use slackside::conditions::Condition;
use slackside::input::{Command, Origin, Place, Shaft};
use slackside::record::{Reader, Record};
use slackside::settings::plan::Plan;
use slackside::settings::plan_check::{PlanRule, Sound};
use slackside::verdict::{Change, Permit, Phase};
use slackside_box::ArmRefusal;
use slackside_box::bench::{CLEAR, RUBBING, SOUND};
use slackside_box::fault::Fault;

fn running() -> Rig {
    let mut rig = Rig::start(set_up());
    rig.make_ready();
    rig.run_up();
    rig.changes.clear();
    rig
}

/// The condition that dropped the run permit, and when, if it dropped.
fn stopped_by(rig: &Rig) -> Option<(u64, Option<Condition>)> {
    rig.changes.iter().find_map(|(at, change)| match change {
        Change::Permit { permit: Permit::Run, allowed: false, because } => Some((*at, *because)),
        _ => None,
    })
}

/// A recording out of the box's flash.
fn fetched(rig: &mut Rig, number: u32) -> Vec<u8> {
    let (mut bytes, mut part) = (Vec::new(), [0; 200]);
    loop {
        let offset = u32::try_from(bytes.len()).expect("short");
        match rig.sensor_box.read_recording(number, offset, &mut part).expect("read") {
            0 => return bytes,
            count => bytes.extend_from_slice(&part[..count]),
        }
    }
}

/// On the desk: restored from the first keyframe, played through, held against every keyframe and end on the way. What dropped the run
/// permit, and whether the recording breaks off.
fn replayed(bytes: &[u8]) -> (Option<(u64, Option<Condition>)>, bool) {
    let plan = plan(&settings());
    let mut monitor = slackside::Monitor::<&Plan>::new();
    let mut replayed = None;
    for (count, (segment, damage)) in Reader::new(bytes).enumerate() {
        let Some(segment) = segment.filter(|_| damage.is_none()) else { return (replayed, true) };
        if count == 0 {
            monitor.restore(Sound::new(&plan).expect("sound"), &segment.header, segment.keyframe).expect("restored");
        }
        let end = segment.end;
        // Ticks are not recorded: bring it to where the box was.
        let tick = end.map(|end| slackside::input::Input::new(end.newest, slackside::input::Signal::Tick));
        let inputs =
            segment.records().filter_map(|record| if let Record::Input(input) = record { Some(input) } else { None });
        for input in inputs.chain(tick) {
            monitor.observe(input, &mut |verdict| {
                if let Change::Permit { permit: Permit::Run, allowed: false, because } = verdict.change {
                    replayed = Some((verdict.at.get(), because));
                }
            });
        }
        let Some(end) = end else { return (replayed, true) };
        assert_eq!(monitor.state_crc(), end.state, "the state at the end of segment {count}");
    }
    (replayed, false)
}

fn assert_dropped(rig: &Rig) {
    assert!(!rig.panel.may_run() && !rig.panel.may_feed(), "permits are dropped");
    assert!(!rig.panel.alarm.get(), "the alarm relay has fallen");
    assert!(!rig.panel.drive.get(), "the motor is off");
}

#[test]
fn a_new_box_allows_nothing_and_says_why() {
    let mut rig = Rig::start(Chip::new(128));
    rig.run(3_000);
    assert_dropped(&rig);
    let faults = rig.sensor_box.faults();
    assert!(faults.contains(Fault::NoSettings) && faults.contains(Fault::StateUnreadable));
    rig.clear_up();
    rig.run(1_000);
    assert_dropped(&rig);
}

#[test]
fn settings_are_armed_only_with_key_rest_name_and_identity() {
    let (settings, mut rig) = (settings(), Rig::start(Chip::new(128)));
    let plan = plan(&settings);
    let identity = plan.identity();
    let name = settings.machine.leg.as_str();
    rig.run(2_000);
    let arm = |rig: &mut Rig, plan: &Plan, name: &str, identity: u32| {
        let now = slackside::units::Micros::new(rig.now);
        rig.sensor_box.arm(plan, name.as_bytes(), identity, now)
    };
    assert_eq!(arm(&mut rig, &plan, name, identity), Err(ArmRefusal::KeyOff));
    rig.panel.key.set(true);
    rig.run(100);
    assert_eq!(arm(&mut rig, &plan, "Millbrook leg 4", identity), Err(ArmRefusal::OtherLeg));
    assert_eq!(arm(&mut rig, &plan, name, identity ^ 1), Err(ArmRefusal::OtherIdentity));
    // Whole by its CRC, but weaker than any leg may be set.
    for (setpoint, rule) in [(250_000, PlanRule::Setpoint), (199_000, PlanRule::Late)] {
        let mut weak = plan;
        let row = &mut weak.rows[Condition::SlipVeryHigh.rank()];
        // The limit of slip is its setpoint.
        (row.setpoint, row.limit) = (setpoint, setpoint);
        weak.crc = weak.computed_crc();
        match arm(&mut rig, &weak, name, weak.identity()) {
            Err(ArmRefusal::Rule(broken)) => assert_eq!(broken.rule, rule, "{setpoint}"),
            other => panic!("{setpoint}: {other:?}"),
        }
    }
    let mut nameless = plan;
    nameless.leg = [0xFF; 32];
    nameless.crc = nameless.computed_crc();
    assert_eq!(arm(&mut rig, &nameless, "", nameless.identity()), Err(ArmRefusal::OtherLeg));
    let mut flipped = plan;
    flipped.rows[0].on_delay ^= 1;
    assert!(matches!(arm(&mut rig, &flipped, name, identity), Err(ArmRefusal::Rule(_))));
    rig.panel.drive.set(true);
    rig.run(100);
    assert_eq!(arm(&mut rig, &plan, name, identity), Err(ArmRefusal::NotAtRest));
    rig.panel.drive.set(false);
    rig.run(100);
    assert_eq!(arm(&mut rig, &plan, name, identity), Ok(()));
    assert_eq!(rig.sensor_box.settings_identity(), Some(identity));
    // It is not running on trust: what was latched must still be cleared by a person.
    rig.run(8_000);
    assert_dropped(&rig);
    rig.clear_up();
    rig.run(500);
    assert!(rig.panel.may_run());
    // And they are there after a power cycle.
    let rig = Rig::start(rig.power_down());
    assert_eq!(rig.sensor_box.settings_identity(), Some(identity));
}

#[test]
fn settings_are_not_armed_while_the_leg_turns() {
    let mut rig = running();
    rig.panel.key.set(true);
    rig.run(100);
    let settings = settings();
    let now = slackside::units::Micros::new(rig.now);
    let armed = {
        let plan = plan(&settings);
        rig.sensor_box.arm(&plan, settings.machine.leg.as_bytes(), plan.identity(), now)
    };
    assert_eq!(armed, Err(ArmRefusal::NotAtRest));
    assert!(rig.panel.may_run());
}

#[test]
fn a_belt_that_stops_trips_and_the_recording_replays_to_the_same_microsecond() {
    let mut rig = running();
    let at = rig.now;
    rig.turn(Shaft::Boot, 0);
    rig.run(3_000);
    let (tripped, because) = stopped_by(&rig).expect("it trips");
    assert!(tripped - at < 2_000_000, "within two seconds, here after {} ms", (tripped - at) / 1_000);
    assert_dropped(&rig);
    // The head runs down; the trip is filed at rest.
    rig.turn(Shaft::Head, 0);
    rig.run(30_000);
    assert_eq!(rig.phase(), Phase::Standstill);
    let listed = rig.sensor_box.recordings();
    assert_eq!(listed.len(), 1, "one recording is stored");
    let about = listed[0].about;
    assert_eq!((about.tripped_at.get(), about.first_out), (tripped, because));
    assert_eq!((about.settings, about.session), (plan(&settings()).identity(), 1));
    let bytes = fetched(&mut rig, listed[0].number);
    assert_eq!(bytes.len(), listed[0].length as usize);
    let (replayed, damaged) = replayed(&bytes);
    assert!(!damaged);
    assert_eq!(replayed, Some((tripped, because)), "the same microsecond on both sides");
}

#[test]
fn a_trip_survives_a_power_cycle_and_is_reset_only_at_the_leg() {
    let mut rig = running();
    rig.turn(Shaft::Boot, 0);
    rig.run(2_500);
    let first_out = rig.sensor_box.monitor().status().first_out;
    assert!(first_out.is_some());
    let mut rig = Rig::start(rig.power_down());
    rig.run(8_000);
    assert_dropped(&rig);
    assert_eq!(rig.sensor_box.monitor().status().first_out, first_out);
    for command in [Command::Acknowledge, Command::BootCleared, Command::Reset, Command::ResetButton(true)] {
        let taken = rig.sensor_box.command(Origin::Link, command);
        assert!(!taken || command == Command::Acknowledge, "{command:?}");
        rig.run(500);
    }
    assert!(!rig.sensor_box.command(Origin::Link, Command::ResetButton(false)));
    rig.run(1_000);
    assert_dropped(&rig);
    rig.clear_up();
    rig.run(500);
    assert!(rig.panel.may_run());
    assert!(!rig.panel.drive.get(), "the permit coming back starts no motor");
}

/// There is room erased ahead: so a tenth of a second after the trip what led to it is in flash.
#[test]
fn a_trip_is_kept_though_power_goes_before_it_is_filed() {
    // How long after the trip power stays: while the leg runs down, while it stands, and until well after the recording is filed.
    for millis in [100, 2_500, 9_000, 40_000] {
        let mut rig = running();
        rig.turn(Shaft::Boot, 0);
        while rig.panel.may_run() {
            rig.run(1);
        }
        let tripped = stopped_by(&rig).expect("it trips");
        rig.press_stop();
        rig.turn(Shaft::Head, 0);
        rig.run(millis);
        let mut rig = Rig::start(rig.power_down());
        rig.run(1_000);
        assert_eq!(rig.sensor_box.monitor().status().first_out, tripped.1, "{millis} ms");
        assert_dropped(&rig);
        let kept = rig.sensor_box.recordings().last().copied().unwrap_or_else(|| panic!("{millis} ms: none is kept"));
        assert_eq!((kept.about.tripped_at.get(), kept.about.first_out), tripped, "{millis} ms");
        let bytes = fetched(&mut rig, kept.number);
        assert_eq!(replayed(&bytes).0, Some(tripped), "{millis} ms, {} bytes", bytes.len());
    }
}

#[test]
fn a_dead_or_cut_boot_sensor_stops_the_leg() {
    // Cut, with a supervised line.
    let mut rig = running();
    rig.turn(Shaft::Boot, 0);
    rig.panel.boot_line.set(Some(0));
    let at = rig.now;
    rig.run(500);
    let (tripped, because) = stopped_by(&rig).expect("it trips");
    assert_eq!(because, Some(Condition::BootSensorFault));
    assert!(tripped - at < 100_000, "as soon as the line is known to be open");
    assert_dropped(&rig);
    // Shorted.
    let mut rig = running();
    rig.panel.boot_line.set(Some(9_000));
    rig.run(500);
    assert_eq!(stopped_by(&rig).and_then(|(_, because)| because), Some(Condition::BootSensorFault));
    // Dead, with a line that looks sound.
    let mut rig = running();
    rig.turn(Shaft::Boot, 0);
    rig.run(3_000);
    assert!(stopped_by(&rig).is_some());
    assert_dropped(&rig);
}

#[test]
fn a_dead_or_cut_head_sensor_stops_the_leg() {
    let mut rig = running();
    rig.panel.head_line.set(None);
    rig.run(500);
    assert_eq!(stopped_by(&rig).and_then(|(_, because)| because), Some(Condition::HeadSensorFault));
    let mut rig = running();
    rig.turn(Shaft::Head, 0);
    rig.run(10_000);
    assert!(stopped_by(&rig).is_some(), "{:?}", rig.changes);
    assert_dropped(&rig);
}

#[test]
fn a_cut_or_shorted_rub_contact_alarms() {
    for level in [Some(65_000), Some(0), None] {
        let mut rig = running();
        rig.panel.contacts[Place::BootLeft.index()].set(level);
        rig.run(2_000);
        assert!(!rig.panel.alarm.get(), "{level:?}");
        assert!(!matches!(
            rig.sensor_box.monitor().alarm(Condition::ContactFault),
            slackside::alarm::AlarmState::Normal
        ));
        assert!(rig.panel.may_run(), "the belt's place is not known; that alone stops no leg");
    }
}

#[test]
fn a_rub_alarms() {
    let mut rig = running();
    assert!(rig.panel.alarm.get());
    rig.panel.contacts[Place::HeadRight.index()].set(Some(RUBBING));
    rig.run(1_000);
    assert!(!rig.panel.alarm.get());
    rig.panel.contacts[Place::HeadRight.index()].set(Some(CLEAR));
}

/// The alarm relay has no read-back: so it falls in every proof test, for a person to see.
#[test]
fn the_alarm_relay_falls_for_as_long_as_a_proof_test_runs() {
    let mut rig = running();
    rig.panel.key.set(true);
    rig.run(50);
    for begun in [true, false] {
        assert_eq!(rig.panel.alarm.get(), begun);
        assert!(rig.sensor_box.command(Origin::Leg, Command::ProofTest(begun)));
        rig.run(5);
    }
    assert!(rig.panel.alarm.get());
}

#[test]
fn a_lost_drive_contact_stops_the_leg() {
    let mut rig = running();
    // The wire is cut: the box sees the drive off while the leg runs on at speed.
    rig.panel.drive.set(false);
    let mut seconds = 0;
    while rig.panel.may_run() && seconds < 120 {
        rig.run(1_000);
        seconds += 1;
    }
    assert!(!rig.panel.may_feed());
    assert!(!rig.panel.may_run(), "told after {seconds} s");
}

#[test]
fn a_welded_contact_is_found_before_the_next_start() {
    for (relay, fault) in [(0, Fault::RunAWelded), (1, Fault::RunBWelded)] {
        let mut rig = running();
        rig.stuck[relay] = Some(true);
        rig.press_stop();
        rig.turn_both(0);
        rig.run(20_000);
        assert!(rig.sensor_box.faults().contains(fault), "{:?}", rig.faults);
        assert!(!rig.panel.coils[0].get() && !rig.panel.coils[1].get());
        assert!(!rig.press_start(), "the other contact keeps the motor off");
        // Mended, and a power cycle does not make it forget.
        rig.stuck[relay] = None;
        rig.run(500);
        let mut rig = Rig::start(rig.power_down());
        rig.run(8_000);
        assert!(rig.sensor_box.faults().contains(fault));
        assert!(!rig.panel.may_run());
        rig.press(|panel| &panel.reset, 500);
        rig.run(500);
        assert!(rig.panel.may_run(), "{:?}", rig.sensor_box.faults().iter().collect::<Vec<_>>());
    }
}

#[test]
fn every_start_is_preceded_by_an_open_contact() {
    let mut rig = running();
    for _ in 0..3 {
        rig.press_stop();
        rig.turn_both(0);
        let mut opened = [false; 2];
        for _ in 0..20_000 {
            rig.run(1);
            for (opened, back) in opened.iter_mut().zip(&rig.panel.backs) {
                *opened |= !back.get();
            }
        }
        assert_eq!(opened, [true; 2], "both were opened and seen open");
        assert!(rig.panel.may_run(), "and closed again");
        rig.run_up();
    }
    assert!(rig.sensor_box.faults().is_empty());
}

#[test]
fn a_contact_that_falls_open_or_disagrees_latches() {
    for (relay, fault) in [(0, Fault::RunAOpen), (1, Fault::RunBOpen), (2, Fault::FeedOpen)] {
        let mut rig = running();
        rig.stuck[relay] = Some(false);
        rig.run(300);
        assert!(rig.sensor_box.faults().contains(fault));
        rig.stuck[relay] = None;
        rig.run(1_000);
        assert_dropped(&rig);
        assert!(rig.sensor_box.faults().contains(fault), "it stays until reset");
    }
}

#[test]
fn a_stalled_loop_stops_the_heart_and_drops_the_permits() {
    let mut rig = running();
    let beats = rig.panel.heartbeat.writes();
    rig.run(100);
    assert!(rig.panel.heartbeat.writes() - beats >= 9, "it beats while all is well");
    rig.round_after(60_000);
    let beats = rig.panel.heartbeat.writes();
    rig.run(1_000);
    assert_eq!(rig.panel.heartbeat.writes(), beats, "never again");
    assert!(rig.sensor_box.faults().contains(Fault::Stalled));
    assert_dropped(&rig);
    // The watchdog restarts it: the fault is remembered.
    let mut rig = Rig::start(rig.power_down());
    rig.run(8_000);
    assert!(rig.sensor_box.faults().contains(Fault::Stalled));
    assert!(!rig.panel.may_run());
    assert!(rig.panel.heartbeat.writes() > 700);
}

#[test]
fn a_queue_that_overflows_stops_the_leg_and_the_heart() {
    let mut rig = running();
    for edge in 0..40 {
        rig.catch(Shaft::Boot, edge % 2 == 0);
    }
    rig.run(200);
    assert!(rig.sensor_box.faults().contains(Fault::EdgesLost));
    assert!(stopped_by(&rig).is_some(), "judge knows it too");
    assert_dropped(&rig);
    let beats = rig.panel.heartbeat.writes();
    rig.run(200);
    assert_eq!(rig.panel.heartbeat.writes(), beats);
}

#[test]
fn a_brown_out_drops_the_permits_and_needs_a_new_start() {
    let mut rig = running();
    rig.panel.supply.set(false);
    rig.run(5);
    rig.panel.supply.set(true);
    rig.run(500);
    assert!(!rig.panel.may_run() && !rig.panel.drive.get());
    rig.turn_both(0);
    rig.run(20_000);
    assert!(rig.panel.may_run(), "it comes back by itself, {:?}", rig.sensor_box.faults().iter().collect::<Vec<_>>());
    assert!(!rig.panel.drive.get(), "the motor does not");
}

#[test]
fn a_pin_that_cannot_be_read_or_written_drops_the_permits() {
    let mut rig = running();
    rig.panel.key.break_down();
    rig.run(200);
    assert!(rig.sensor_box.faults().contains(Fault::Pin));
    assert_dropped(&rig);
    let mut rig = running();
    rig.panel.coils[1].break_down();
    rig.run(200);
    assert!(rig.sensor_box.faults().contains(Fault::Pin));
    assert!(!rig.panel.may_run(), "the other contact opens");
}

#[test]
fn reset_acts_on_release_after_a_tenth_of_a_second_to_three_seconds() {
    for (millis, resets) in [(60, false), (200, true), (2_900, true), (3_500, false)] {
        let mut rig = running();
        rig.stuck[0] = Some(false);
        rig.run(300);
        rig.stuck[0] = None;
        rig.press_stop();
        rig.turn_both(0);
        rig.run(20_000);
        assert!(rig.sensor_box.faults().contains(Fault::RunAOpen));
        rig.panel.reset.set(true);
        rig.run(millis);
        assert!(rig.sensor_box.faults().contains(Fault::RunAOpen), "not before release");
        rig.panel.reset.set(false);
        rig.run(100);
        assert_eq!(!rig.sensor_box.faults().contains(Fault::RunAOpen), resets, "{millis} ms");
    }
}

#[test]
fn a_flash_that_fails_drops_the_permits_and_is_told() {
    let mut rig = running();
    rig.sensor_box.flash_mut().lose_power_after(0, false);
    // A trip that cannot be stored.
    rig.turn(Shaft::Boot, 0);
    rig.run(3_000);
    assert!(rig.sensor_box.faults().contains(Fault::StateNotStored));
    assert_dropped(&rig);
    rig.clear_up();
    rig.run(1_000);
    assert!(!rig.panel.may_run());
}

#[test]
fn recordings_fill_the_flash_and_the_leg_goes_on() {
    let mut rig = Rig::start(set_up());
    rig.make_ready();
    let mut numbers = Vec::new();
    // Four starts: the fifth within half an hour would be jogging.
    for _ in 0..4 {
        rig.run_up();
        rig.turn(Shaft::Boot, 0);
        rig.run(2_500);
        rig.turn_both(0);
        rig.run(40_000);
        numbers = rig.sensor_box.recordings().iter().map(|entry| entry.number).collect();
        rig.clear_up();
        rig.run(1_000);
        assert!(rig.panel.may_run(), "{:?}", rig.sensor_box.monitor().status());
    }
    assert_eq!(numbers, [2, 3], "of three places one is erased ahead; the oldest made way");
    assert!(rig.sensor_box.faults().is_empty());
}

#[test]
fn what_is_not_wired_is_refused() {
    let mut settings = settings();
    let mut rig = Rig::start(Chip::new(128));
    rig.panel.key.set(true);
    rig.run(1_500);
    settings.machine.head_targets =
        settings.machine.head_targets.map(|targets| slackside::settings::Targets { supervised: true, ..targets });
    let now = slackside::units::Micros::new(rig.now);
    let armed = {
        let plan = plan(&settings);
        rig.sensor_box.arm(&plan, settings.machine.leg.as_bytes(), plan.identity(), now)
    };
    assert_eq!(armed, Ok(()), "the bench box has a supervised line");
    assert!(rig.sensor_box.is_supervised(Shaft::Head));
    rig.panel.head_line.set(Some(SOUND));
}

/// New settings are no way around a reset.
#[test]
fn what_was_latched_before_new_settings_is_latched_after_them() {
    let mut rig = running();
    rig.turn(Shaft::Boot, 0);
    rig.run(3_000);
    rig.turn(Shaft::Head, 0);
    rig.run(30_000);
    let first_out = rig.sensor_box.monitor().status().first_out;
    assert!(first_out.is_some());
    rig.panel.key.set(true);
    rig.run(100);
    let mut other = settings();
    other.machine.service_factor = slackside::units::Ppm::new(1_100_000);
    let new = plan(&other);
    let now = slackside::units::Micros::new(rig.now);
    assert_eq!(rig.sensor_box.arm(&new, other.machine.leg.as_bytes(), new.identity(), now), Ok(()));
    rig.run(8_000);
    let status = rig.sensor_box.monitor().status();
    assert_eq!((status.first_out, status.run_permit, status.boot_cleared_needed), (first_out, false, true));
    assert_dropped(&rig);
    rig.clear_up();
    rig.run(500);
    assert!(rig.panel.may_run());
}
