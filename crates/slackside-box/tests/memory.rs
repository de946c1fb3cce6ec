//! What a whole box remembers, and what remembering costs it.
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
use slackside::input::{Command, Origin, Shaft};
use slackside::record::Anchor;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside::wire::{MOST_FRAME, Request, Window, encode};
use slackside_box::bench::{Flash, Panel, RING};
use slackside_box::fault::Fault;
use slackside_box::store::{About, Album, Layout, Slots, StoreError};

fn heat(rig: &Rig) -> i32 {
    rig.sensor_box.monitor().slip_heat_at(Micros::new(rig.now)).get()
}

/// Ten per cent of slip, feed dropped, the leg running on: in blocks of 1 KiB.
#[test]
fn slip_heat_is_not_forgotten_over_a_power_cycle() {
    let mut rig = Rig::start(set_up());
    rig.make_ready();
    rig.run_up();
    rig.turn(Shaft::Boot, 900);
    let mut last = 0;
    // A power cut every few seconds, on copies of the flash.
    for _ in 0..100 {
        rig.run(5_000);
        let before = heat(&rig);
        if before >= 900_000 || !rig.panel.may_run() {
            break;
        }
        last = before;
        let flash = rig.sensor_box.flash_mut().clone();
        let mut after = Rig::start(flash);
        after.run(10);
        let found = heat(&after);
        // A step and a half of a thirty-second, and what goes away in a hundredth of a second.
        assert!(found >= before - 1_000 && found <= before + 48_000, "{before} ppm before, {found} ppm after");
        assert!(!after.sensor_box.faults().contains(Fault::HeatUnknown));
    }
    assert!(last > 700_000, "it got hot: {last} ppm");
}

/// Slip that comes and goes for hours: the places run short, and the bound never lies below the heat.
#[test]
fn heat_that_goes_up_and_down_never_outruns_its_marks() {
    let mut rig = Rig::start(set_up());
    rig.make_ready();
    rig.run_up();
    let mut most = 0;
    for round in 0..60 {
        rig.turn(Shaft::Boot, if round % 2 == 0 { 900 } else { 1_000 });
        rig.run(8_000);
        if !rig.panel.may_run() {
            break;
        }
        let before = heat(&rig);
        most = most.max(before);
        let mut after = Rig::start(rig.sensor_box.flash_mut().clone());
        after.run(10);
        assert!(heat(&after) >= before - 1_000, "round {round}: {before} before, {} after", heat(&after));
    }
    assert!(most > 300_000, "{most}");
}

#[test]
fn a_new_box_shows_no_heat() {
    let mut rig = Rig::start(Chip::new(128));
    rig.run(1_500);
    assert_eq!(heat(&rig), 0);
    rig.panel.key.set(true);
    rig.run(50);
    let settings = settings();
    let plan = plan(&settings);
    let now = Micros::new(rig.now);
    assert_eq!(rig.sensor_box.arm(&plan, settings.machine.leg.as_bytes(), plan.identity(), now), Ok(()));
    rig.run(100);
    assert_eq!(heat(&rig), 0);
    let mut rig = Rig::start(rig.power_down());
    rig.run(100);
    assert_eq!(heat(&rig), 0);
}

#[test]
fn heat_that_cannot_be_read_counts_as_full_and_is_told() {
    let mut rig = Rig::start(set_up());
    rig.make_ready();
    rig.run_up();
    rig.turn(Shaft::Boot, 900);
    rig.run(20_000);
    let mut flash = rig.power_down();
    let begins = rig::layout().heat[0] as usize;
    let newest = (begins..begins + 1_024).rev().find(|at| flash.bytes()[*at] != 0xFF).expect("marks are there");
    flash.flip(newest, 1);
    let mut rig = Rig::start(flash);
    rig.run(10);
    assert!(rig.sensor_box.faults().contains(Fault::HeatUnknown));
    assert!(heat(&rig) > 990_000, "{}", heat(&rig));
    assert!(!rig.panel.may_run());
    // A person resets it, and it stays so.
    rig.run(8_000);
    rig.clear_up();
    assert!(!rig.sensor_box.faults().contains(Fault::HeatUnknown));
    let mut rig = Rig::start(rig.power_down());
    rig.run(10);
    assert!(!rig.sensor_box.faults().contains(Fault::HeatUnknown));
    assert!(heat(&rig) > 900_000, "{}", heat(&rig));
}

#[test]
fn a_reset_button_down_since_power_came_is_told() {
    let panel = Panel::new();
    panel.reset.set(true);
    let mut rig = Rig::start_with(set_up(), panel);
    rig.run(2_900);
    assert!(!rig.sensor_box.faults().contains(Fault::ResetStuck));
    rig.run(200);
    assert!(rig.sensor_box.faults().contains(Fault::ResetStuck));
    assert!(!rig.panel.alarm.get());
    rig.panel.reset.set(false);
    rig.run(100);
    assert!(!rig.sensor_box.faults().contains(Fault::ResetStuck), "it came up");
    // And it was no press.
    assert!(rig.sensor_box.faults().contains(Fault::StateUnreadable));
}

#[test]
fn settings_not_stored_to_the_end_are_told_and_hold_the_permits() {
    let mut rig = Rig::start(set_up());
    rig.make_ready();
    rig.panel.key.set(true);
    rig.run(50);
    let mut other = settings();
    other.machine.service_factor = slackside::units::Ppm::new(1_100_000);
    let plan = plan(&other);
    // How long it takes, from a copy; power to the flash goes within its very last word.
    let mut whole = Rig::start(rig.sensor_box.flash_mut().clone());
    whole.run(10);
    let before = whole.sensor_box.flash_mut().steps();
    whole.panel.key.set(true);
    whole.run(8_000);
    let quiet = whole.sensor_box.flash_mut().steps();
    let now = Micros::new(whole.now);
    assert_eq!(whole.sensor_box.arm(&plan, other.machine.leg.as_bytes(), plan.identity(), now), Ok(()));
    let steps = whole.sensor_box.flash_mut().steps() - quiet;
    assert!(quiet >= before && steps > 1_000);
    rig.sensor_box.flash_mut().lose_power_after(steps - 2, false);
    let now = Micros::new(rig.now);
    let refused = rig.sensor_box.arm(&plan, other.machine.leg.as_bytes(), plan.identity(), now);
    assert_eq!(refused, Err(slackside_box::ArmRefusal::Store(StoreError::InDoubt)));
    rig.sensor_box.flash_mut().restore_power();
    rig.run(1_000);
    assert!(rig.sensor_box.faults().contains(Fault::SettingsInDoubt));
    assert!(!rig.panel.may_run());
    // Written again it is mended, but for the reset.
    let now = Micros::new(rig.now);
    assert_eq!(rig.sensor_box.arm(&plan, other.machine.leg.as_bytes(), plan.identity(), now), Ok(()));
    rig.run(100);
    rig.press(|panel| &panel.reset, 500);
    rig.run(500);
    assert!(!rig.sensor_box.faults().contains(Fault::SettingsInDoubt));
}

/// However many recordings there are, and whatever is asked by the link, a turn of the main loop reads little of the flash.
#[test]
fn a_turn_of_the_main_loop_reads_a_bounded_part_of_the_flash() {
    const BLOCKS: usize = 2_048;
    let layout = Layout::fit::<Chip>(0, (BLOCKS * 1_024) as u32, RING as u32).expect("2 MiB are enough");
    assert!(layout.places >= 60, "{}", layout.places);
    let mut flash: Chip = Flash::new(BLOCKS);
    let stored = Slots::new(&layout).store(&mut flash, plan(&settings()).bytes(), None, &mut [0; Plan::LENGTH]);
    stored.expect("stored");
    let mut album = Album::open(&layout, &mut flash).expect("power");
    for _ in 0..layout.places {
        album.begin(About::default());
        while !album.erase_on(&mut flash).expect("power") {}
        album.add(&mut flash, &[7; 300]).expect("it fits");
        while !album.check_on(&mut flash).expect("power") {}
        album.finish(&mut flash).expect("stored");
    }
    let mut rig = Rig::start_in(flash, layout, Panel::new());
    let line = rig.connect();
    rig.make_ready();
    rig.run_up();
    rig.run(120_000);
    let mut most = 0;
    let mut read = rig.sensor_box.flash_mut().bytes_read();
    let mut turn = |rig: &mut Rig| {
        rig.run(1);
        let now = rig.sensor_box.flash_mut().bytes_read();
        most = most.max(now - read);
        read = now;
    };
    for round in 0..3_000_u32 {
        let position = (round % 70) as u8;
        let window = Window::Recording(round % 64);
        let days = Request::Read { window: Window::Days, offset: round % 13_000 };
        for request in [Request::Recording { position }, Request::Read { window, offset: round % 300 }, days] {
            let mut frame = [0; MOST_FRAME];
            line.put(encode(1, &request, &mut frame).expect("it fits"));
        }
        drop(line.take());
        turn(&mut rig);
        if round == 1_000 {
            rig.turn(Shaft::Boot, 0);
        }
    }
    // And while the trip is filed.
    rig.turn(Shaft::Head, 0);
    for _ in 0..40_000 {
        turn(&mut rig);
    }
    assert!(
        rig.sensor_box.recordings().last().is_some_and(|entry| entry.about.first_out.is_some()),
        "the trip was filed"
    );
    println!("at most {most} bytes of {} places in a turn", layout.places);
    assert!(most <= 640, "{most} bytes in one turn");
}

/// A person acknowledges and resets an alarm again and again while the leg runs, which uses up places; a trip has one all the same,
/// without an erasing.
#[test]
fn places_are_kept_for_a_trip() {
    let mut settings = settings();
    settings.limits.change(Condition::MistrackingDuty, |limit| limit.latching = true);
    settings.limits.change(Condition::Mistracking, |limit| limit.latching = true);
    let mut flash = Chip::new(128);
    Slots::new(&rig::layout())
        .store(&mut flash, plan(&settings).bytes(), None, &mut [0; Plan::LENGTH])
        .expect("stored");
    let mut rig = Rig::start(flash);
    rig.make_ready();
    rig.run_up();
    for _ in 0..12 {
        rig.panel.contacts[0].set(Some(slackside_box::bench::RUBBING));
        rig.run(2_500);
        rig.panel.contacts[0].set(Some(slackside_box::bench::CLEAR));
        rig.run(9_000);
        rig.press(|panel| &panel.acknowledge, 50);
        rig.press(|panel| &panel.reset, 500);
    }
    let before = (rig.sensor_box.flash_mut().steps(), rig.sensor_box.flash_mut().erased());
    rig.turn(Shaft::Boot, 0);
    while rig.panel.may_run() {
        rig.run(1);
    }
    rig.run(50);
    assert!(rig.sensor_box.flash_mut().steps() - before.0 >= 100, "it was written");
    assert_eq!(rig.sensor_box.flash_mut().erased(), before.1, "and nothing was erased for it");
    let first_out = rig.sensor_box.monitor().status().first_out;
    let mut rig = Rig::start(rig.power_down());
    rig.run(10);
    assert!(first_out.is_some() && rig.sensor_box.monitor().status().first_out == first_out);
    assert!(!rig.sensor_box.faults().contains(Fault::StateUnreadable));
}

/// A minute of the year 2026, in microseconds since 1970.
const DESK_US: i64 = 1_790_000_000_000_000;
const DAY_US: i64 = 86_400_000_000;

fn told_the_time(rig: &mut Rig, desk_us: i64) {
    let at = Micros::new(rig.now);
    rig.sensor_box.anchor(Anchor { at, desk_us, uncertainty: Span::ZERO });
    rig.run(5);
}

#[test]
fn a_proof_test_that_passed_is_remembered_and_falls_due() {
    let mut rig = Rig::start(set_up());
    rig.make_ready();
    assert_eq!(rig.sensor_box.proof_tests().passed_min, None);
    told_the_time(&mut rig, DESK_US);
    rig.run_up();
    rig.panel.key.set(true);
    rig.run(50);
    // One that proves nothing does not count.
    for begun in [true, false] {
        assert!(rig.sensor_box.command(Origin::Leg, Command::ProofTest(begun)));
        rig.run(5);
    }
    assert_eq!(rig.sensor_box.proof_tests().passed_min, None);
    assert!(rig.sensor_box.command(Origin::Leg, Command::ProofTest(true)));
    rig.run(5);
    rig.turn(Shaft::Boot, 0);
    rig.run(3_000);
    assert!(!rig.panel.may_run());
    assert!(rig.sensor_box.command(Origin::Leg, Command::ProofTest(false)));
    rig.run(5);
    let passed = (DESK_US / 60_000_000) as u32;
    assert_eq!(rig.sensor_box.proof_tests().passed_min, Some(passed));
    rig.panel.key.set(false);
    // Over a power cycle: due a year later, as soon as a desk says what day it is.
    for (days, due) in [(300, false), (365, false), (367, true)] {
        let mut rig = Rig::start(rig.sensor_box.flash_mut().clone());
        rig.make_ready();
        assert_eq!(rig.sensor_box.proof_tests().passed_min, Some(passed));
        assert!(!rig.sensor_box.faults().contains(Fault::ProofTestDue), "no desk has told the day");
        told_the_time(&mut rig, DESK_US + days * DAY_US);
        assert_eq!(rig.sensor_box.faults().contains(Fault::ProofTestDue), due, "{days} days");
        assert_eq!(rig.panel.alarm.get(), !due);
        assert!(rig.panel.may_run(), "the leg may run all the same");
    }
    // And it comes while the box runs.
    let mut rig = Rig::start(rig.power_down());
    rig.make_ready();
    told_the_time(&mut rig, DESK_US + 366 * DAY_US - 30_000_000);
    assert!(!rig.sensor_box.faults().contains(Fault::ProofTestDue));
    rig.run(65_000);
    assert!(rig.sensor_box.faults().contains(Fault::ProofTestDue));
}
