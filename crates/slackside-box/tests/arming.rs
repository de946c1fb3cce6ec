//! Arming a plan by the link: only with the box's key, the switch at the box, and a person there who confirms it.
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod desk;
mod rig;

use desk::{ask, challenge, refused, send_settings, stage};
use rig::{Chip, Rig, plan, set_up, settings};
use slackside::input::{Command, Origin};
use slackside::record::{Reader, Record};
use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside::units::Ppm;
use slackside::verdict::Change;
use slackside::wire::{Challenge, Reason, Reply, Request};
use slackside_box::arming::tag;
use slackside_box::bench::Line;
use slackside_box::fault::Fault;
use slackside_box::store::{Slots, set_key};

fn other_settings() -> Settings {
    let mut settings = settings();
    settings.machine.service_factor = Ppm::new(1_100_000);
    settings
}

/// A box at rest with the key on and a desk at its link.
fn at_rest() -> (Rig, Line) {
    let mut rig = Rig::start(set_up());
    let line = rig.connect();
    rig.make_ready();
    rig.panel.key.set(true);
    rig.run(100);
    (rig, line)
}

fn waits(rig: &mut Rig, line: &Line) -> bool {
    ask(rig, line, Request::Box, |reply| match reply {
        Reply::Box(status) => status.waits_for_press,
        other => panic!("{other:?}"),
    })
}

#[test]
fn nothing_is_armed_before_a_person_has_confirmed_it_and_the_alarm_output_blinks_meanwhile() {
    let (mut rig, line) = at_rest();
    let new = other_settings();
    let (before, identity) = (plan(&settings()).identity(), plan(&new).identity());
    assert_eq!(send_settings(&mut rig, &line, &new), None);
    assert!(waits(&mut rig, &line));
    let mut turns = 0;
    let mut shown = rig.panel.alarm.get();
    for _ in 0..5_000 {
        rig.run(1);
        turns += u32::from(rig.panel.alarm.get() != shown);
        shown = rig.panel.alarm.get();
    }
    assert!((9..=11).contains(&turns), "{turns} turns in 5 s");
    // No press that acknowledges or resets confirms it.
    rig.press(|panel| &panel.acknowledge, 100);
    rig.press(|panel| &panel.acknowledge, 3_000);
    rig.press(|panel| &panel.reset, 5_000);
    rig.press(|panel| &panel.boot_cleared, 5_000);
    rig.press(|panel| &panel.acknowledge, 10_500);
    assert_eq!(rig.sensor_box.settings_identity(), Some(before));
    assert!(waits(&mut rig, &line));
    rig.press(|panel| &panel.acknowledge, 5_000);
    assert_eq!(rig.sensor_box.settings_identity(), Some(identity));
    assert!(!waits(&mut rig, &line));
    // It is a verdict, with both identities, and a fault until somebody resets it at the leg, over a power cycle too.
    let armed = Command::Armed { old: before, new: identity };
    assert!(rig.changes.iter().any(|(_, change)| *change == Change::Accepted(Origin::Leg, armed)));
    assert!(rig.sensor_box.faults().contains(Fault::PlanArmed) && !rig.panel.alarm.get());
    rig.panel.key.set(false);
    let mut rig = Rig::start(rig.power_down());
    rig.run(8_000);
    assert!(rig.sensor_box.faults().contains(Fault::PlanArmed));
    assert_eq!(rig.sensor_box.settings_identity(), Some(identity));
    rig.press(|panel| &panel.reset, 500);
    assert!(!rig.sensor_box.faults().contains(Fault::PlanArmed));
}

#[test]
fn arming_is_in_the_recording() {
    let (mut rig, line) = at_rest();
    let new = other_settings();
    let armed = Command::Armed { old: plan(&settings()).identity(), new: plan(&new).identity() };
    assert_eq!(send_settings(&mut rig, &line, &new), None);
    rig.press(|panel| &panel.acknowledge, 5_000);
    rig.run(2_000);
    rig.sensor_box.freeze();
    rig.run(3_000);
    let number = rig.sensor_box.recordings().last().expect("filed").number;
    let (mut bytes, mut buffer) = (Vec::new(), [0; 256]);
    loop {
        match rig.sensor_box.read_recording(number, bytes.len() as u32, &mut buffer).expect("readable") {
            0 => break,
            count => bytes.extend_from_slice(&buffer[..count]),
        }
    }
    let found = Reader::new(&bytes).filter_map(|(segment, _)| segment).any(|segment| {
        segment.records().any(|record| {
            matches!(record, Record::Input(input)
                if input.signal == slackside::input::Signal::Command(Origin::Leg, armed))
        })
    });
    assert!(found);
}

#[test]
fn a_wait_ends_after_a_minute_or_with_the_key() {
    for key in [true, false] {
        let (mut rig, line) = at_rest();
        assert_eq!(send_settings(&mut rig, &line, &other_settings()), None);
        rig.panel.key.set(key);
        rig.run(if key { 60_500 } else { 100 });
        rig.panel.key.set(true);
        rig.run(100);
        assert!(!waits(&mut rig, &line));
        rig.press(|panel| &panel.acknowledge, 5_000);
        assert_eq!(rig.sensor_box.settings_identity(), Some(plan(&settings()).identity()));
    }
}

/// A button that was down before does not confirm: a welded one never would.
#[test]
fn a_press_begun_before_the_wait_confirms_nothing() {
    let (mut rig, line) = at_rest();
    rig.panel.acknowledge.set(true);
    rig.run(100);
    assert_eq!(send_settings(&mut rig, &line, &other_settings()), None);
    rig.run(5_000);
    rig.panel.acknowledge.set(false);
    rig.run(100);
    assert_eq!(rig.sensor_box.settings_identity(), Some(plan(&settings()).identity()));
}

/// Other pieces staged while it waits: they are not what was confirmed.
#[test]
fn what_is_staged_while_a_plan_waits_is_not_armed_in_its_place() {
    let (mut rig, line) = at_rest();
    assert_eq!(send_settings(&mut rig, &line, &other_settings()), None);
    let mut third = settings();
    third.machine.service_factor = Ppm::new(1_200_000);
    stage(&mut rig, &line, &plan(&third));
    rig.press(|panel| &panel.acknowledge, 5_000);
    assert_eq!(rig.sensor_box.settings_identity(), Some(plan(&settings()).identity()));
    assert!(!waits(&mut rig, &line));
}

#[test]
fn only_the_right_tag_works_and_only_once() {
    let (mut rig, line) = at_rest();
    let new = plan(&other_settings());
    let leg = settings().machine.leg;
    let leg = leg.as_bytes();
    stage(&mut rig, &line, &new);
    let identity = new.identity();
    let arm = |rig: &mut Rig, tag: &[u8]| ask(rig, &line, Request::Arm { leg, identity, tag }, refused);
    assert_eq!(arm(&mut rig, &[0; 16]), Some(Reason::NoChallenge));
    let make = |challenge: Challenge, plan: &Plan, serial: &str, key: &[u8; 16]| {
        tag(key, challenge, plan, serial, leg).expect("short names")
    };
    let mut damaged = new.bytes().to_vec();
    damaged[100] ^= 1;
    let damaged = Plan::copy_of(&damaged).expect("as long");
    for wrong in 0..6 {
        rig.run(1_000);
        let given = challenge(&mut rig, &line).expect("given");
        let mut right = make(given, &new, "BENCH-1", &rig::KEY);
        let tag = match wrong {
            0 => make(Challenge { counter: given.counter - 1, ..given }, &new, "BENCH-1", &rig::KEY),
            1 => make(given, &damaged, "BENCH-1", &rig::KEY),
            2 => make(given, &new, "BENCH-2", &rig::KEY),
            3 => make(given, &new, "BENCH-1", &[0; 16]),
            4 => {
                right[15] ^= 1;
                right
            }
            _ => make(Challenge { power_up: given.power_up + 1, ..given }, &new, "BENCH-1", &rig::KEY),
        };
        assert_eq!(arm(&mut rig, &tag), Some(Reason::WrongTag), "{wrong}");
        // Not even the right one works after that: a challenge counts once.
        assert_eq!(arm(&mut rig, &make(given, &new, "BENCH-1", &rig::KEY)), Some(Reason::NoChallenge), "{wrong}");
        assert!(!waits(&mut rig, &line));
    }
    // Cut short, and too late.
    rig.run(1_000);
    let given = challenge(&mut rig, &line).expect("given");
    assert_eq!(arm(&mut rig, &make(given, &new, "BENCH-1", &rig::KEY)[..15]), Some(Reason::WrongTag));
    rig.run(1_000);
    let given = challenge(&mut rig, &line).expect("given");
    rig.run(61_000);
    let late = make(given, &new, "BENCH-1", &rig::KEY);
    assert_eq!(arm(&mut rig, &late), Some(Reason::NoChallenge));
}

#[test]
fn challenges_are_given_once_a_second_never_twice_and_write_no_flash() {
    let (mut rig, line) = at_rest();
    rig.run(1_000);
    let steps = rig.sensor_box.flash_mut().steps();
    let mut all = Vec::new();
    for _ in 0..5 {
        all.push(challenge(&mut rig, &line).expect("given"));
        assert_eq!(challenge(&mut rig, &line), Err(Reason::TooOften));
        rig.run(1_000);
    }
    assert_eq!(rig.sensor_box.flash_mut().steps(), steps);
    // Over power cycles too, whatever becomes of the journal.
    for _ in 0..3 {
        let mut flash = rig.power_down();
        let begins = rig::layout().pages[0] as usize;
        (begins..begins + 2_048).for_each(|at| flash.flip(at, 1));
        rig = Rig::start(flash);
        let line = rig.connect();
        rig.run(100);
        all.push(challenge(&mut rig, &line).expect("given"));
    }
    let count = all.len();
    all.sort_unstable_by_key(|challenge| (challenge.power_up, challenge.counter));
    all.dedup();
    assert_eq!(all.len(), count);
}

/// Power lost at each step of writing the number of a power-up: no number is given twice.
#[test]
fn no_cut_while_starting_gives_a_power_up_number_twice() {
    let before = Rig::start(set_up()).power_down();
    let number = |flash: Chip| {
        let mut rig = Rig::start(flash);
        let line = rig.connect();
        rig.run(5);
        let given = challenge(&mut rig, &line).ok().map(|challenge| challenge.power_up);
        (given, rig.power_down())
    };
    let (first, before) = number(before);
    let first = first.expect("given");
    // The newest number rots.
    let mut aged = before.clone();
    let begins = rig::layout().power_ups[0] as usize;
    let newest = (begins..begins + 1_024).rev().find(|at| aged.bytes()[*at] != 0xFF).expect("numbers are there");
    aged.flip(newest, 1);
    assert!(number(aged).0.expect("given") > first);
    for dies in 0..8 {
        for torn in [false, true] {
            let mut flash = before.clone();
            flash.lose_power_after(dies, torn);
            let (given, mut flash) = number(flash);
            assert!(given.is_none_or(|given| given > first));
            flash.restore_power();
            let (again, _) = number(flash);
            assert!(again.expect("given") > given.unwrap_or(first), "step {dies}, torn {torn}");
        }
    }
}

#[test]
fn without_a_key_nothing_is_armed_by_the_link_and_setting_one_takes_the_settings() {
    let mut flash = Chip::new(128);
    Slots::new(&rig::layout())
        .store(&mut flash, plan(&settings()).bytes(), None, &mut [0; Plan::LENGTH])
        .expect("stored");
    let mut rig = Rig::start(flash);
    let line = rig.connect();
    rig.run(100);
    assert!(rig.sensor_box.settings_identity().is_some());
    assert_eq!(challenge(&mut rig, &line), Err(Reason::NoKey));
    let request = Request::Arm { leg: b"Millbrook leg 3", identity: 1, tag: &[0; 16] };
    assert_eq!(ask(&mut rig, &line, request, refused), Some(Reason::NoKey));
    let mut flash = rig.power_down();
    set_key(&rig::layout(), &mut flash, &rig::KEY).expect("set");
    let mut rig = Rig::start(flash);
    let line = rig.connect();
    rig.run(100);
    assert_eq!(rig.sensor_box.settings_identity(), None);
    assert!(challenge(&mut rig, &line).is_ok());
}
