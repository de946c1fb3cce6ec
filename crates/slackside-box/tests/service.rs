//! The key: set by the service port alone, by somebody at the box, and shown by nothing.
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

use desk::{ask, challenge, refused, stage};
use rig::{Chip, KEY, Rig, layout, plan, set_up, settings};
use slackside::wire::{MOST_FRAME, Reason, Request, encode};
use slackside_box::arming::tag;
use slackside_box::bench::Line;
use slackside_box::fault::Fault;
use slackside_box::store::key_block;

const NEW: [u8; 16] = *b"another key here";

/// What `slackside new-key` writes into its file.
fn typed(key: &[u8; 16]) -> String {
    key.iter().map(|byte| format!("{byte:02x}")).chain(["\n".to_owned()]).collect()
}

/// Type it, and read what the port says.
fn type_in(rig: &mut Rig, port: &Line, text: &str) -> String {
    port.put(text.as_bytes());
    rig.run(50);
    String::from_utf8(port.take()).expect("text")
}

fn at_rest() -> (Rig, Line) {
    let mut rig = Rig::start(set_up());
    let port = rig.connect_service();
    rig.make_ready();
    (rig, port)
}

fn has_key(chip: &Chip, key: &[u8; 16]) -> bool {
    let at = layout().key as usize;
    chip.bytes()[at..at + 24] == key_block(key)
}

#[test]
fn with_the_switch_on_and_the_leg_at_rest_a_key_is_set_and_the_settings_go() {
    let (mut rig, port) = at_rest();
    rig.panel.key.set(true);
    rig.run(100);
    assert!(rig.panel.may_run());
    assert_eq!(type_in(&mut rig, &port, &typed(&NEW)), "key set: the box starts anew, without settings\r\n");
    // The permits are gone, and the heart stands still: the watchdog starts the program anew.
    assert!(!rig.panel.may_run() && !rig.panel.coils[0].get());
    assert!(rig.sensor_box.faults().contains(Fault::NoSettings) && !rig.sensor_box.is_on_time());
    let chip = rig.power_down();
    assert!(has_key(&chip, &NEW));
    let mut rig = Rig::start(chip);
    let line = rig.connect();
    rig.panel.key.set(true);
    rig.run(8_000);
    assert_eq!(rig.sensor_box.settings_identity(), None);
    // The old key arms nothing, the new one does.
    let plan = plan(&settings());
    let leg = plan.leg_name().as_bytes();
    for (key, says) in [(&KEY, Some(Reason::WrongTag)), (&NEW, None)] {
        stage(&mut rig, &line, &plan);
        rig.run(1_000);
        let challenge = challenge(&mut rig, &line).expect("given");
        let tag = tag(key, challenge, &plan, "BENCH-1", leg).expect("short names");
        assert_eq!(ask(&mut rig, &line, Request::Arm { leg, identity: plan.identity(), tag: &tag }, refused), says);
    }
    rig.press(|panel| &panel.acknowledge, 5_000);
    assert_eq!(rig.sensor_box.settings_identity(), Some(plan.identity()));
}

#[test]
fn with_the_switch_off_or_the_leg_running_no_key_is_set() {
    let (mut rig, port) = at_rest();
    assert_eq!(type_in(&mut rig, &port, &typed(&NEW)), "not set: turn the key switch on\r\n");
    rig.run_up();
    rig.panel.key.set(true);
    rig.run(100);
    assert_eq!(type_in(&mut rig, &port, &typed(&NEW)), "not set: the leg must stand, its drive off\r\n");
    assert!(rig.panel.may_run() && rig.motor_runs());
    assert!(has_key(&rig.power_down(), &KEY));
}

#[test]
fn what_is_no_key_is_told_so_and_changes_nothing() {
    let (mut rig, port) = at_rest();
    rig.panel.key.set(true);
    rig.run(100);
    let says = "no key: type its 32 digits from 0 to 9 and a to f\r\n";
    let key = typed(&NEW);
    for wrong in ["help\n".to_owned(), key[1..].to_owned(), format!("0{key}"), key.replace('6', "g"), format!(" {key}")]
    {
        assert_eq!(type_in(&mut rig, &port, &wrong), says, "{wrong}");
    }
    assert_eq!(type_in(&mut rig, &port, "\r\n\n"), "", "an empty line asks nothing");
    assert!(rig.panel.may_run() && has_key(&rig.power_down(), &KEY));
}

/// What the service port takes is nothing to the link, as it is or in a frame.
#[test]
fn the_link_takes_no_key() {
    let (mut rig, _) = at_rest();
    let line = rig.connect();
    rig.panel.key.set(true);
    rig.run(100);
    for text in [typed(&NEW), format!("\0{}\0", typed(&NEW))] {
        line.put(text.as_bytes());
        rig.run(50);
    }
    let mut frame = [0; MOST_FRAME];
    let mut frame = encode(1, &Request::Hello, &mut frame).expect("it fits").to_vec();
    frame.extend(typed(&NEW).bytes());
    frame.push(0);
    line.put(&frame);
    rig.run(50);
    assert!(rig.panel.may_run() && rig.sensor_box.is_on_time());
    assert!(has_key(&rig.power_down(), &KEY));
}

/// Power lost at any byte: never the old settings under the new key, nor settings from before those in force.
#[test]
fn a_cut_while_a_key_is_set_leaves_the_settings_under_their_own_key_or_none() {
    let mut other = settings();
    other.machine.service_factor = slackside::units::Ppm::new(1_100_000);
    let newest = plan(&other).identity();
    // Settings in both slots, the newest in either.
    let begin = |spare: bool| {
        let mut chip = set_up();
        let slots = slackside_box::store::Slots::new(&layout());
        for one in [&settings(), &other].into_iter().skip(usize::from(spare)).chain([&other]) {
            slots
                .store(&mut chip, plan(one).bytes(), None, &mut [0; slackside::settings::plan::Plan::LENGTH])
                .expect("stored");
        }
        let mut rig = Rig::start(chip);
        let port = rig.connect_service();
        rig.make_ready();
        rig.panel.key.set(true);
        rig.run(100);
        (rig, port)
    };
    let mut kept = 0;
    for spare in [false, true] {
        let (mut rig, port) = begin(spare);
        let before = rig.sensor_box.flash_mut().steps();
        type_in(&mut rig, &port, &typed(&NEW));
        let steps = rig.sensor_box.flash_mut().steps() - before;
        for dies in (0..steps).step_by(97).chain(steps - 40..steps) {
            let (mut rig, port) = begin(spare);
            rig.sensor_box.flash_mut().lose_power_after(dies, dies % 2 == 0);
            type_in(&mut rig, &port, &typed(&NEW));
            let mut chip = rig.power_down();
            chip.restore_power();
            let new = has_key(&chip, &NEW);
            let mut rig = Rig::start(chip);
            rig.run(10);
            let identity = rig.sensor_box.settings_identity();
            kept += u32::from(identity.is_some());
            assert!(identity.is_none() || (identity == Some(newest) && !new), "step {dies}: {identity:?}, {new}");
        }
    }
    assert!(kept > 0, "at the first steps they are there still");
}
