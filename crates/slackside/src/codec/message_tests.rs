extern crate std;
use std::vec;

use proptest::prelude::*;
use serde::Serialize;

use super::*;
use crate::alarm::AlarmState;
use crate::input::{ContactState, LineState, Origin, Place, Shaft};
use crate::record::{Anchor, CoreVersion};
use crate::units::{DeciCelsius, Micros, Ppm, Watts};
use crate::verdict::{Change, Permit, Phase, Refusal, Verdict};
use crate::wire::{
    BoxStatus, Challenge, Event, Hello, Readable, Reason, RecordingInfo, Refused, Reply, Request, Staged, Window,
};

/// An independent program: the `postcard` library.
fn as_the_library_does(message: &(impl Message + Serialize)) -> Result<(), TestCaseError> {
    let (mut ours, mut theirs) = ([0; 600], [0; 600]);
    let length = write(message, &mut ours).expect("room");
    prop_assert_eq!(&ours[..length], postcard::to_slice(message, &mut theirs).expect("room"));
    prop_assert_eq!(write(message, &mut ours[..length.saturating_sub(1)]), None);
    Ok(())
}

fn one_of<T: Copy + core::fmt::Debug + 'static>(all: &'static [T]) -> impl Strategy<Value = T> + Clone {
    proptest::sample::select(all)
}

const SHAFTS: &[Shaft] = &[Shaft::Head, Shaft::Boot];
const ORIGINS: &[Origin] = &[Origin::Leg, Origin::Link];
const STATES: &[AlarmState] = &[
    AlarmState::Normal,
    AlarmState::Unacknowledged,
    AlarmState::Acknowledged,
    AlarmState::ReturnedUnacknowledged,
    AlarmState::LatchedUnacknowledged,
    AlarmState::LatchedAcknowledged,
    AlarmState::Shelved,
    AlarmState::Suppressed,
    AlarmState::OutOfService,
];
const PHASES: &[Phase] =
    &[Phase::Unsure, Phase::Standstill, Phase::Starting, Phase::Running, Phase::CoastDown, Phase::Inching];
const REFUSALS: &[Refusal] = &[
    Refusal::OnlyAtTheLeg,
    Refusal::KeyOff,
    Refusal::NothingToDo,
    Refusal::StillPresent,
    Refusal::NotAcknowledged,
    Refusal::BootNotCleared,
    Refusal::NotAtRest,
    Refusal::NeverBypassed,
    Refusal::OneAtATime,
    Refusal::TooLong,
    Refusal::BadPress,
];

fn condition() -> impl Strategy<Value = Condition> + Clone {
    (0..Condition::COUNT).prop_map(|rank| Condition::of_rank(rank).expect("in range"))
}

fn command() -> impl Strategy<Value = Command> + Clone {
    (0..10_u8, any::<bool>(), condition(), any::<u32>()).prop_map(|(kind, on, condition, span)| match kind {
        0 => Command::Acknowledge,
        1 => Command::Reset,
        2 => Command::ResetButton(on),
        3 => Command::BootCleared,
        4 => Command::Key(on),
        5 => Command::Bypass(condition, Span::new(span)),
        6 => Command::EndBypass,
        7 => Command::Inch(on),
        8 => Command::Armed { old: span, new: span.rotate_left(9) },
        _ => Command::ProofTest(on),
    })
}

fn signal() -> impl Strategy<Value = Signal> {
    let lines = one_of(&[LineState::Sound, LineState::Open, LineState::Shorted]);
    let contacts = one_of(&[ContactState::Clear, ContactState::Rubbing, ContactState::Faulty]);
    prop_oneof![
        (one_of(SHAFTS), any::<bool>()).prop_map(|(shaft, level)| Signal::Edge(shaft, level)),
        (one_of(SHAFTS), lines).prop_map(|(shaft, state)| Signal::Line(shaft, state)),
        one_of(SHAFTS).prop_map(Signal::EdgesLost),
        (one_of(&Place::ALL), contacts).prop_map(|(place, state)| Signal::Contact(place, state)),
        (one_of(&Place::ALL), any::<i16>()).prop_map(|(at, value)| Signal::Temperature(at, DeciCelsius::new(value))),
        any::<bool>().prop_map(Signal::DriveRunning),
        any::<u32>().prop_map(|watts| Signal::DrivePower(Watts::new(watts))),
        any::<i32>().prop_map(|speed| Signal::SpeedReference(Ppm::new(speed))),
        any::<bool>().prop_map(Signal::OutletPlugged),
        (one_of(ORIGINS), command()).prop_map(|(origin, command)| Signal::Command(origin, command)),
        Just(Signal::Tick),
    ]
}

fn change() -> impl Strategy<Value = Change> {
    let alarm = (condition(), one_of(STATES), one_of(STATES), any::<Option<i32>>(), any::<i32>(), any::<u8>());
    prop_oneof![
        alarm.prop_map(|(condition, from, to, value, setpoint, detail)| {
            Change::Alarm { condition, from, to, value, setpoint, detail }
        }),
        (one_of(&[Permit::Run, Permit::Feed]), any::<bool>(), proptest::option::of(condition()))
            .prop_map(|(permit, allowed, because)| Change::Permit { permit, allowed, because }),
        proptest::option::of(condition()).prop_map(Change::FirstOut),
        one_of(PHASES).prop_map(Change::Phase),
        (one_of(ORIGINS), command()).prop_map(|(origin, command)| Change::Accepted(origin, command)),
        (one_of(ORIGINS), command(), one_of(REFUSALS))
            .prop_map(|(origin, what, why)| Change::Refused(origin, what, why)),
        any::<bool>().prop_map(|passed| Change::ProofTest { passed }),
    ]
}

fn anchor() -> impl Strategy<Value = Anchor> {
    (any::<u64>(), any::<i64>(), any::<u32>()).prop_map(|(at, desk_us, uncertainty)| Anchor {
        at: Micros::new(at),
        desk_us,
        uncertainty: Span::new(uncertainty),
    })
}

fn reason() -> impl Strategy<Value = Reason> {
    let plain = one_of(&[
        Reason::NotUnderstood,
        Reason::OnlyAtTheLeg,
        Reason::KeyOff,
        Reason::NoSuchRecording,
        Reason::NoSuchOffset,
        Reason::Memory,
        Reason::TooLong,
        Reason::Damaged,
        Reason::NothingStaged,
        Reason::OtherIdentity,
        Reason::OtherLeg,
        Reason::LegTurns,
        Reason::NotWired,
        Reason::NoRoom,
        Reason::TooOften,
        Reason::OtherDesk,
        Reason::NoKey,
        Reason::NoChallenge,
        Reason::WrongTag,
    ]);
    prop_oneof![
        plain,
        any::<u16>().prop_map(|received| Reason::OutOfOrder { received }),
        any::<u16>().prop_map(|row| Reason::RuleBroken { row }),
        one_of(REFUSALS).prop_map(Reason::Monitor),
    ]
}

/// What has no bytes or text in it.
fn short_reply() -> impl Strategy<Value = Reply<'static>> {
    let recording = (any::<[u32; 4]>(), any::<u64>(), proptest::option::of(condition()));
    let status = (any::<u32>(), any::<[bool; 9]>(), any::<(u32, u64, u64)>());
    let events = (any::<u32>(), proptest::collection::vec((any::<u32>(), any::<u64>(), change()), 0..=6));
    prop_oneof![
        Just(Reply::Done),
        events.prop_map(|(lost, events)| Reply::Events {
            lost,
            events: events
                .into_iter()
                .map(|(number, at, change)| Event { number, verdict: Verdict { at: Micros::new(at), change } })
                .collect(),
        }),
        recording.prop_map(|([number, length, session, plan], at, first_out)| {
            Reply::Recording(RecordingInfo { number, length, session, tripped_at: Micros::new(at), first_out, plan })
        }),
        (any::<u16>(), any::<Option<u32>>())
            .prop_map(|(received, identity)| Reply::Staged(Staged { received, identity })),
        any::<[u32; 2]>().prop_map(|[old, new]| Reply::Armed { old, new }),
        any::<[u32; 2]>().prop_map(|[power_up, counter]| Reply::Challenge(Challenge { power_up, counter })),
        reason().prop_map(Reply::Refused),
        status.prop_map(
            |(faults, [run_given, feed_given, head, boot, waits_for_press, contacts @ ..], (count, first, last))| {
                let supervised_shafts = [head, boot];
                let refused = Refused { count, first: Micros::new(first), last: Micros::new(last) };
                Reply::Box(BoxStatus {
                    faults,
                    run_given,
                    feed_given,
                    supervised_shafts,
                    supervised_contacts: contacts,
                    refused,
                    waits_for_press,
                })
            }
        ),
    ]
}

fn request(bytes: &'static [u8]) -> impl Strategy<Value = Request<'static>> {
    prop_oneof![
        Just(Request::Hello),
        anchor().prop_map(Request::Anchor),
        Just(Request::Status),
        any::<u32>().prop_map(|after| Request::Events { after }),
        any::<u8>().prop_map(|position| Request::Recording { position }),
        any::<u32>().prop_map(|offset| Request::Read { window: Window::Plan, offset }),
        any::<[u32; 2]>().prop_map(|[number, offset]| Request::Read { window: Window::Recording(number), offset }),
        any::<u32>().prop_map(|offset| Request::Read { window: Window::ProofTests, offset }),
        any::<u16>().prop_map(move |offset| Request::Stage { offset, bytes }),
        any::<u32>().prop_map(move |identity| Request::Arm { leg: &bytes[..30], identity, tag: &bytes[..16] }),
        command().prop_map(Request::Command),
        Just(Request::Box),
        Just(Request::Challenge),
    ]
}

static TEXT: [u8; 208] =
    *b"A leg's name, and what else a desk may send along with a request. All of it goes through as it is, \
byte by byte, and no byte of it means anything to those who carry it from the one end to the other in a frame";

proptest! {
    #[test]
    fn every_byte_of_a_signal_is_the_librarys(signal in signal()) {
        as_the_library_does(&signal)?;
    }

    #[test]
    fn every_byte_of_a_reply_is_the_librarys(
        reply in short_reply(), offset in any::<u32>(), bytes in proptest::collection::vec(any::<u8>(), 0..=192),
        anchor in proptest::option::of(anchor()), at in any::<u64>(), core in any::<[u8; 4]>(),
    ) {
        as_the_library_does(&reply)?;
        as_the_library_does(&Reply::Piece { offset, bytes: &bytes })?;
        let [major, minor, patch, layout] = core;
        as_the_library_does(&Reply::Hello(Hello {
            leg: &bytes, serial: "a serial number", firmware: "1.2.3", core: CoreVersion { major, minor, patch, layout }, plan: offset,
            session: offset >> 7, now: Micros::new(at), anchor,
        }))?;
    }

    #[test]
    fn a_request_is_read_as_the_library_wrote_it(request in request(&TEXT)) {
        let mut room = [0; 300];
        let bytes = postcard::to_slice(&request, &mut room).expect("room");
        prop_assert_eq!(Request::read(bytes), Some(request));
        for short in 0..bytes.len() {
            prop_assert_eq!(Request::read(&bytes[..short]), None);
        }
        let longer = std::vec::Vec::from_iter(bytes.iter().copied().chain([0]));
        prop_assert_eq!(Request::read(&longer), None);
    }

    /// What we take the library takes too, and as the same; it also takes numbers written longer than they need be.
    #[test]
    fn no_bytes_are_read_as_what_they_are_not(bytes in proptest::collection::vec(prop_oneof![0..12_u8, any::<u8>()], 0..30)) {
        if let Some(request) = Request::read(&bytes) {
            prop_assert_eq!(postcard::from_bytes::<Request<'_>>(&bytes), Ok(request));
        }
    }
}
