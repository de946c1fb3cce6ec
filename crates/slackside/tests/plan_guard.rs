//! A plan that changes in the box's memory while it runs stops the leg.
#![cfg(feature = "desk")]
#![allow(
    clippy::arithmetic_side_effects,
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a test that panics has failed, as it should"
)]

mod leg;

use std::cell::Cell;
use std::mem::offset_of;
use std::ops::Deref;
use std::rc::Rc;

use leg::plan;
use slackside::Monitor;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Input, Signal};
use slackside::retained::Retained;
use slackside::settings::plan::{Plan, RowPlan};
use slackside::settings::plan_check::Sound;
use slackside::units::Micros;
use slackside::verdict::{Change, Permit};

/// Memory that shows one plan, and from some moment on another.
#[derive(Clone)]
struct Memory {
    good: Rc<Plan>,
    bad: Rc<Plan>,
    is_bad: Rc<Cell<bool>>,
}

impl Deref for Memory {
    type Target = Plan;

    fn deref(&self) -> &Plan {
        if self.is_bad.get() { &self.bad } else { &self.good }
    }
}

/// When the run permit dropped after the plan had changed at a minute, and how the settings fault stands at the end.
fn with(byte: usize, bit: u8) -> (Option<Micros>, AlarmState) {
    let good = *plan();
    let mut bytes = good.bytes().to_vec();
    bytes[byte] ^= 1 << bit;
    let bad = Plan::copy_of(&bytes).expect("as long as a plan");
    let memory = Memory { good: Rc::new(good), bad: Rc::new(bad), is_bad: Rc::default() };
    let is_bad = Rc::clone(&memory.is_bad);
    let mut monitor = Box::new(Monitor::<Memory, 8>::new());
    monitor.configure(Sound::new(memory).expect("sound until it changes"), &Retained::default()).expect("room");
    let mut dropped = None;
    let mut input = Input::new(Micros::ZERO, Signal::DriveRunning(false));
    // Ticks come when they are asked for, and at no other time.
    while input.at.get() < 185_000_000 {
        is_bad.set(input.at.get() >= 60_000_000);
        monitor.observe(input, &mut |verdict| {
            if let Change::Permit { permit: Permit::Run, allowed: false, because } = verdict.change {
                assert!(because.is_some(), "a stop has a name: byte {byte}, bit {bit}");
                dropped.get_or_insert(verdict.at);
            }
        });
        let sound = (5_000_000..60_000_000).contains(&input.at.get());
        assert!(!sound || monitor.status().run_permit, "it may run while its plan is sound");
        let due = monitor.next_deadline().expect("it goes over its plan for ever");
        input = Input::new(due.max(Micros::new(input.at.get() + 1)), Signal::Tick);
    }
    (dropped, monitor.alarm(Condition::SettingsFault))
}

/// Whether this byte of the plan is what it says of the settings fault itself.
fn says_of_the_fault(byte: usize) -> bool {
    let rank = Condition::SettingsFault.rank();
    let row = offset_of!(Plan, rows) + rank * size_of::<RowPlan>();
    byte == offset_of!(Plan, acts) + rank || (row..row + size_of::<RowPlan>()).contains(&byte)
}

/// It is gone over in less than a minute, again and again: a change behind what has been gone over is found the next time.
#[test]
fn a_bit_that_changes_while_running_stops_the_leg_within_two_minutes() {
    let mut wrong = Vec::new();
    for byte in 0..Plan::LENGTH {
        for bit in 0..8 {
            let (dropped, state) = with(byte, bit);
            let in_time = |at: Micros| (60_000_000..=180_000_000).contains(&at.get());
            // The permit goes whatever has changed; the alarm comes by the plan's own words for it, as far as they are left.
            let told = state == AlarmState::Unacknowledged || says_of_the_fault(byte);
            if !dropped.is_some_and(in_time) || !told {
                wrong.push((byte, bit, dropped, state));
            }
        }
    }
    assert!(wrong.is_empty(), "{} of {} bits: {:?}", wrong.len(), 8 * Plan::LENGTH, &wrong[..wrong.len().min(40)]);
}

/// Looked at as seldom as it may be, 24 bytes are gone over in 2^20 µs: what changes behind that is found in the next round.
#[test]
fn a_byte_that_changes_is_found_within_two_rounds() {
    let round = Plan::LENGTH.div_ceil(24) as u64 * (1 << 20);
    for byte in (0..Plan::LENGTH).step_by(Plan::LENGTH / 12) {
        let (dropped, _) = with(byte, 2);
        let after = dropped.expect("it is found").get() - 60_000_000;
        assert!(after <= 2 * round + (2 << 20), "byte {byte}: after {after} µs, a round takes {round}");
    }
}

#[test]
fn there_must_be_room_for_the_marks_of_both_shafts() {
    let mut plan = *plan();
    for (head, boot, fits) in [(8, 8, true), (9, 8, false), (8, 9, false), (9, 9, false), (0, 8, true)] {
        (plan.head.marks, plan.boot.marks) = (head, boot);
        assert_eq!(Monitor::<&Plan, 8>::has_room(&plan), fits, "{head} and {boot}");
    }
}

#[test]
fn a_plan_that_does_not_change_stops_nothing() {
    let good = *plan();
    let mut monitor = Box::new(Monitor::<_, 8>::new());
    monitor.configure(Sound::new(&good).expect("sound"), &Retained::default()).expect("room");
    monitor.observe(Input::new(Micros::ZERO, Signal::DriveRunning(false)), &mut |_| {});
    for second in 1..600 {
        monitor.observe(Input::new(Micros::new(second * 1_000_000), Signal::Tick), &mut |_| {});
    }
    assert!(monitor.status().run_permit);
}

/// What firmware that carries its plan can ask of it when it is compiled: [`Plan::is_whole`] in a constant.
#[test]
fn a_plan_is_whole_only_as_it_was_derived() {
    let derived: [u8; Plan::LENGTH] = plan().bytes().try_into().unwrap();
    assert!(Plan::of(derived).is_whole());
    for at in 0..Plan::LENGTH {
        let mut changed = derived;
        changed[at] ^= 1 << (at % 8);
        assert!(!Plan::of(changed).is_whole(), "byte {at}");
    }
    // Sealed anew, but of another version.
    let mut newer = Plan::of(derived);
    newer.version += 1;
    newer.crc = newer.computed_crc();
    assert!(!newer.is_whole());
    assert!(Monitor::<&Plan, 4>::has_room(&newer) && !Monitor::<&Plan, 3>::has_room(&newer));
}

const _: () = assert!(!Plan::blank().is_whole());
