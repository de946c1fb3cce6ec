//! Small values that go over the link, each by itself.
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

use leg::{plan, sound};
use slackside::Monitor;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::input::{Input, Signal};
use slackside::retained::Retained;
use slackside::units::Micros;
use slackside::verdict::Phase;
use slackside::wire::{LinkStatus, ProofTests, Refused, flags};

#[test]
fn proof_tests_are_minutes_and_days_low_byte_first() {
    let some = ProofTests { passed_min: Some(0x0102_0304), every_days: 365 };
    let none = ProofTests { passed_min: None, every_days: u32::MAX };
    assert_eq!(some.to_bytes(), [4, 3, 2, 1, 0x6D, 1, 0, 0]);
    assert_eq!(none.to_bytes(), [255; 8]);
    for value in [some, none, ProofTests { passed_min: Some(0), every_days: 0 }] {
        assert_eq!(ProofTests::from_bytes(value.to_bytes()), value);
    }
}

#[test]
fn refusals_keep_the_first_and_the_last_time_and_a_count_that_is_held() {
    let mut refused = Refused::default();
    for at in [7, 9, 12] {
        refused.add(Micros::new(at));
    }
    assert_eq!(refused, Refused { count: 3, first: Micros::new(7), last: Micros::new(12) });
    let mut many = Refused { count: u32::MAX, ..refused };
    many.add(Micros::new(20));
    assert_eq!((many.count, many.first, many.last), (u32::MAX, Micros::new(7), Micros::new(20)));
}

/// A box that starts with a latched trip says so in its status, and the status comes through the link's own format whole.
#[test]
fn the_status_says_what_the_monitor_holds() {
    let mut retained = Retained::default();
    retained.put_alarm(Condition::BeltNotFollowing, true, false);
    retained.put_first_out(Some(Condition::BeltNotFollowing));
    retained.put_boot_cleared_needed(true);
    for (retained, is_tripped) in [(retained, true), (Retained::default(), false)] {
        let mut monitor = Box::new(Monitor::<_, 8>::new());
        monitor.configure(sound(&plan()), &retained).expect("room");
        monitor.observe(Input::new(Micros::new(5), Signal::DriveRunning(false)), &mut |_| {});
        let status = LinkStatus::of(&monitor, Micros::new(5), !is_tripped, 3);
        assert_eq!((status.at(), status.phase(), status.newest_event), (Micros::new(5), Phase::Unsure, 3));
        for (flag, is) in [
            (flags::RUN_PERMIT, !is_tripped),
            (flags::FEED_PERMIT, false),
            (flags::KEY_ON, !is_tripped),
            (flags::BOOT_CLEARED_NEEDED, is_tripped),
            (flags::HEAD_FITTED, true),
            (flags::BOOT_FITTED, true),
        ] {
            assert_eq!(status.is(flag), is, "{flag}, tripped {is_tripped}");
        }
        let condition = is_tripped.then_some(Condition::BeltNotFollowing);
        assert_eq!((status.first_out(), status.first_out_number()), (condition, condition.map(Condition::id)));
        let latched = AlarmState::LatchedUnacknowledged as u8;
        assert_eq!(status.states()[usize::from(Condition::BeltNotFollowing.id())] == latched, is_tripped);
        let mut room = [0; 1_024];
        let bytes = postcard::to_slice(&status, &mut room).expect("room");
        assert_eq!(postcard::from_bytes::<LinkStatus>(bytes), Ok(status));
    }
}
