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

use leg::{BEGIN_US, example, leg, observed, plan, plan_of, ratio, sound};
use slackside::Monitor;
use slackside::alarm::AlarmState;
use slackside::conditions::{Condition, ConditionSet};
use slackside::input::{Input, Shaft, Signal};
use slackside::retained::Retained;
use slackside::units::Micros;
use slackside::verdict::{Phase, Refusal};
use slackside::wire::{Decoder, LinkStatus, MOST_FRAME, ProofTests, Reason, Refused, Reply, encode, flags};

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
        let only =
            |is: bool| if is { ConditionSet::EMPTY.with(Condition::BeltNotFollowing) } else { ConditionSet::EMPTY };
        assert_eq!((status.latched(), status.unacknowledged()), (only(is_tripped), only(is_tripped)));
        assert_eq!((status.wrong(), status.shelved()), (only(false), only(false)));
        let mut room = [0; 1_024];
        let bytes = postcard::to_slice(&status, &mut room).expect("room");
        assert_eq!(postcard::from_bytes::<LinkStatus>(bytes), Ok(status));
    }
}

/// While nothing moves, or the head's sensor is lost, the last good reading is no reading: not where that trips as both silent, and not where
/// the leg was too slow for that. A belt that stands under its head is known to slip.
#[test]
fn slip_of_silent_shafts_is_told_as_not_known() {
    const SILENT_S: f64 = 20.0;
    let settings = example();
    for (share, trips) in [(1.0, true), (0.6, false)] {
        let ratio = ratio(&settings);
        let speed = |time: f64| if time < 15.0 { (time / 4.0).min(1.0) } else { share };
        let head = f64::from(settings.machine.normal_head.get()) / 1e6;
        let drive = [(0.0, Signal::DriveRunning(false)), (0.01, Signal::DriveRunning(true))];
        let all = leg(4, ratio, &|time| head * speed(time), &|_| 0.01, 2.0 * SILENT_S, 3, &drive);
        let plan = plan_of(settings.clone());
        for silent in [&[Shaft::Head, Shaft::Boot][..], &[Shaft::Head], &[Shaft::Boot]] {
            let comes = |input: &&Input| match input.signal {
                Signal::Edge(shaft, _) => {
                    input.at.get() < BEGIN_US + (SILENT_S * 1e6) as u64 || !silent.contains(&shaft)
                }
                _ => true,
            };
            let told = |after_us: u64| {
                let until = Micros::new(BEGIN_US + (SILENT_S * 1e6) as u64 + after_us);
                let mut inputs: Vec<_> = all.iter().filter(|input| input.at <= until).filter(comes).copied().collect();
                inputs.push(Input::new(until, Signal::Tick));
                let (monitor, _) = observed(sound(&plan), &inputs);
                let both_silent = monitor.alarm(Condition::BothSilent) != AlarmState::Normal;
                assert!(!both_silent || trips, "{silent:?} after {after_us} us");
                let status = LinkStatus::of(&monitor, until, false, 0);
                let sure = [monitor.signals().short, monitor.signals().long];
                let told = [status.signals.short, status.signals.long];
                assert_eq!(told == sure, monitor.knows_slip(until), "{silent:?} after {after_us} us");
                assert_eq!(status.phase(), Phase::Running, "{silent:?} after {after_us} us");
                (told.map(|reading| reading.is_known()), told[0])
            };
            // A pitch takes a quarter of a turn; one that is out of place a hundredth more.
            let pitch = (1e6 / head / 4.0) as u64;
            assert_eq!(told(pitch / 2).0, [true; 2], "{silent:?}");
            let is_known = silent == [Shaft::Boot];
            // Both in less than three pitches, head alone in six and a half.
            let later = if trips && silent.len() == 2 { 3 * pitch } else { 7 * pitch };
            for after in [later, 5_000_000, 1_200_000_000] {
                if after < (SILENT_S * 1e6) as u64 || silent.len() == 2 {
                    assert_eq!(told(after).0, [is_known; 2], "{silent:?} after {after} us");
                }
            }
            if is_known {
                assert!(told(later).1.is_open(), "the boot is overdue");
            }
        }
    }
}

/// Each by itself: the box writes them by hand, and their numbers are part of the protocol.
#[test]
fn every_refusal_goes_over_the_link_as_the_library_writes_it() {
    let reasons = [
        Reason::NotUnderstood,
        Reason::OnlyAtTheLeg,
        Reason::KeyOff,
        Reason::NoSuchRecording,
        Reason::NoSuchOffset,
        Reason::Memory,
        Reason::OutOfOrder { received: 0x1234 },
        Reason::TooLong,
        Reason::Damaged,
        Reason::RuleBroken { row: 300 },
        Reason::NothingStaged,
        Reason::OtherIdentity,
        Reason::OtherLeg,
        Reason::LegTurns,
        Reason::NotWired,
        Reason::NoRoom,
        Reason::Monitor(Refusal::BadPress),
        Reason::TooOften,
        Reason::OtherDesk,
        Reason::NoKey,
        Reason::NoChallenge,
        Reason::WrongTag,
        Reason::KeepsNoDays,
    ];
    for (number, reason) in (0_u8..).zip(reasons) {
        let reply = Reply::Refused(reason);
        let (mut frame, mut room) = ([0; MOST_FRAME], [0; 64]);
        let written = encode(number, &reply, &mut frame).expect("room");
        let library = postcard::to_slice(&reply, &mut room).expect("room");
        assert_eq!(library[..2], [8, number], "{reason:?}");
        let mut decoder = Decoder::default();
        let (last, before) = written.split_last().expect("a frame");
        assert!(before.iter().all(|byte| decoder.feed(*byte).is_none()), "{reason:?}");
        let read = decoder.feed(*last).expect("the end of the frame").expect("whole");
        assert_eq!((read.number, read.message::<Reply<'_>>()), (number, Some(reply)));
    }
}
