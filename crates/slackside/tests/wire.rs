//! The link: what it answers, and what it never lets through.
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

use std::sync::Arc;

use leg::{plan, sound};
use proptest::prelude::*;
use slackside::Monitor;
use slackside::alarm::AlarmState;
use slackside::conditions::Condition;
use slackside::daily::{Summary, Work};
use slackside::input::{Command, Input, Origin, Signal};
use slackside::record::Anchor;
use slackside::retained::Retained;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside::verdict::{Change, Phase, Verdict};
use slackside::wire::{
    Asked, CHUNK, Decoder, Event, EventLog, LinkStatus, MOST_FRAME, Reason, RecordingInfo, Reply, Request, Server,
    Staged, Store, StoreFault, Surroundings, Today, Window, encode, flags,
};
use zerocopy::{FromZeros, IntoBytes};

struct Memory {
    recording: Vec<u8>,
    broken: bool,
}

impl Store for Memory {
    fn recording(&mut self, position: u8) -> Option<RecordingInfo> {
        (position == 0).then_some(RecordingInfo {
            number: 41,
            length: self.recording.len() as u32,
            session: 3,
            tripped_at: Micros::new(77),
            first_out: Some(Condition::SlipVeryHigh),
            plan: 5,
        })
    }

    fn read(&mut self, window: Window, offset: u32, into: &mut [u8]) -> Result<Option<usize>, StoreFault> {
        if self.broken {
            return Err(StoreFault);
        }
        if window != Window::Recording(41) {
            return Ok(None);
        }
        let rest = self.recording.get(offset as usize..).unwrap_or(&[]);
        let length = rest.len().min(into.len());
        into[..length].copy_from_slice(&rest[..length]);
        Ok(Some(length))
    }
}

struct Leg {
    monitor: Box<Monitor<Arc<Plan>>>,
    events: EventLog<16>,
    memory: Memory,
    now: u64,
}

impl Leg {
    /// Without a plan.
    fn bare() -> Self {
        let memory = Memory { recording: (0..1_000).map(|index| index as u8).collect(), broken: false };
        Self { monitor: Box::new(Monitor::new()), events: EventLog::new(), memory, now: 0 }
    }

    fn new() -> Self {
        let mut it = Self::bare();
        it.monitor.configure(sound(&plan()), &Retained::default()).expect("room");
        it
    }

    fn observe(&mut self, seconds: f64, signal: Signal) {
        self.now = (seconds * 1e6) as u64;
        let events = &mut self.events;
        self.monitor.observe(Input::new(Micros::new(self.now), signal), &mut |verdict| events.push(verdict));
    }

    /// Long enough without an edge to prove standstill.
    fn standing() -> Self {
        let mut it = Self::new();
        it.observe(0.1, Signal::DriveRunning(false));
        it.observe(600.0, Signal::Tick);
        assert_eq!(it.monitor.status().phase, Phase::Standstill);
        it
    }
}

fn around(now: u64, key_on: bool) -> Surroundings<'static> {
    Surroundings { now: Micros::new(now), key_on, serial: "SN-0042", firmware: "0.1.0-test", session: 3, anchor: None }
}

/// Ask over the wire, both ways, and hand the reply to `look`.
fn ask<T>(
    it: &mut Leg,
    server: &mut Server<'_>,
    key_on: bool,
    request: &Request<'_>,
    look: impl FnOnce(&Reply<'_>, Asked<'_>) -> T,
) -> T {
    let mut wire = [0; MOST_FRAME];
    let mut decoder = Decoder::new();
    let there = encode(9, request, &mut wire).expect("room").to_vec();
    let (last, rest) = there.split_last().expect("bytes");
    rest.iter().for_each(|byte| assert!(decoder.feed(*byte).is_none()));
    let frame = decoder.feed(*last).expect("a frame").expect("whole");
    assert_eq!(frame.number, 9);
    let mut said = Vec::new();
    let asked = server.answer(
        frame.message(),
        &around(it.now, key_on),
        &it.monitor,
        &it.events,
        &mut it.memory,
        &mut |reply| {
            said.push(encode(9, reply, &mut wire).expect("every reply fits a frame").to_vec());
        },
    );
    if matches!(asked, Asked::Arm { .. } | Asked::Box | Asked::Mark { .. }) {
        assert!(said.is_empty(), "the box answers itself");
        return look(&Reply::Refused(Reason::NotUnderstood), asked);
    }
    let [back] = &said[..] else { panic!("one reply: {said:?}") };
    let mut decoder = Decoder::new();
    let (last, rest) = back.split_last().expect("bytes");
    rest.iter().for_each(|byte| assert!(decoder.feed(*byte).is_none()));
    let frame = decoder.feed(*last).expect("a frame").expect("whole");
    let received: Reply<'_> = frame.message().expect("a reply");
    look(&received, asked)
}

fn refused(reply: &Reply<'_>) -> Option<Reason> {
    match reply {
        Reply::Refused(reason) => Some(*reason),
        _ => None,
    }
}

fn stage(it: &mut Leg, server: &mut Server<'_>, bytes: &[u8]) -> Result<Staged, Reason> {
    let mut state = Staged { received: 0, identity: None };
    for (index, bytes) in bytes.chunks(CHUNK).enumerate() {
        let request = Request::Stage { offset: (index * CHUNK) as u16, bytes };
        state = ask(it, server, false, &request, |reply, _| match reply {
            Reply::Staged(state) => Ok(*state),
            Reply::Refused(reason) => Err(*reason),
            other => panic!("{other:?}"),
        })?;
    }
    Ok(state)
}

/// Everything that a window shows.
fn read(it: &mut Leg, server: &mut Server<'_>, window: Window) -> Vec<u8> {
    let mut fetched = Vec::new();
    loop {
        let request = Request::Read { window, offset: fetched.len() as u32 };
        let more = ask(it, server, false, &request, |reply, _| match reply {
            Reply::Piece { offset, bytes } => {
                assert_eq!(*offset as usize, fetched.len());
                fetched.extend(*bytes);
                !bytes.is_empty()
            }
            other => panic!("{other:?}"),
        });
        if !more {
            return fetched;
        }
    }
}

#[test]
fn it_says_who_it_is() {
    let mut it = Leg::new();
    it.now = 12_345;
    let mut staging = Plan::new_zeroed();
    let mut server = Server::new(&mut staging);
    ask(&mut it, &mut server, false, &Request::Hello, |reply, asked| {
        let Reply::Hello(hello) = reply else { panic!("{reply:?}") };
        assert_eq!((hello.leg, hello.serial, hello.firmware), (&b"Millbrook leg 3"[..], "SN-0042", "0.1.0-test"));
        assert_eq!((hello.plan, hello.session), (plan().identity(), 3));
        assert_eq!((hello.now, asked), (Micros::new(12_345), Asked::Nothing));
    });
    ask(&mut Leg::bare(), &mut server, false, &Request::Hello, |reply, _| {
        let Reply::Hello(hello) = reply else { panic!("{reply:?}") };
        assert_eq!((hello.leg, hello.plan), (&b""[..], 0), "without a plan it has no name");
    });
}

#[test]
fn it_shows_how_it_is_and_what_happened() {
    let mut it = Leg::standing();
    let mut staging = Plan::new_zeroed();
    let mut server = Server::new(&mut staging);
    let happened = it.events.newest();
    assert!(happened > 0);
    ask(&mut it, &mut server, true, &Request::Status, |reply, _| {
        let Reply::Status(status) = reply else { panic!("{reply:?}") };
        assert_eq!(
            (status.phase(), status.at(), status.newest_event),
            (Phase::Standstill, Micros::new(600_000_000), happened)
        );
        assert!(status.is(flags::KEY_ON) && status.is(flags::HEAD_FITTED) && !status.is(flags::BOOT_CLEARED_NEEDED));
        assert!(status.is(flags::RUN_PERMIT) && status.first_out().is_none() && status.wrong().is_empty());
    });
    let last = it.events.after(happened - 1).read().1[0];
    ask(&mut it, &mut server, false, &Request::Events { after: happened - 1 }, |reply, _| {
        let Reply::Events { lost: 0, events } = reply else { panic!("{reply:?}") };
        assert_eq!(events[..], [last]);
    });
    // It trips: the drive runs and nothing turns.
    it.observe(601.0, Signal::DriveRunning(true));
    it.observe(700.0, Signal::Tick);
    let (wrong, first_out) = ask(&mut it, &mut server, false, &Request::Status, |reply, _| {
        let Reply::Status(status) = reply else { panic!("{reply:?}") };
        assert!(!status.is(flags::RUN_PERMIT) && !status.is(flags::KEY_ON));
        assert_eq!(status.unacknowledged().bits() & status.wrong().bits(), status.wrong().bits());
        (status.wrong(), status.first_out())
    });
    let first_out = first_out.expect("it tripped");
    assert_eq!(it.monitor.status().first_out, Some(first_out));
    assert!(wrong.contains(first_out));
    for condition in Condition::ALL {
        let state = it.monitor.alarm(condition);
        assert_eq!(wrong.contains(condition), matches!(state, AlarmState::Unacknowledged | AlarmState::Acknowledged));
    }
}

#[test]
fn recordings_and_the_plan_come_in_pieces() {
    let mut it = Leg::new();
    let mut staging = Plan::new_zeroed();
    let mut server = Server::new(&mut staging);
    let info = ask(&mut it, &mut server, false, &Request::Recording { position: 0 }, |reply, _| match reply {
        Reply::Recording(info) => *info,
        other => panic!("{other:?}"),
    });
    assert_eq!(read(&mut it, &mut server, Window::Recording(info.number)), it.memory.recording);
    assert_eq!(read(&mut it, &mut server, Window::Plan), plan().as_bytes());
    assert_eq!(read(&mut Leg::bare(), &mut server, Window::Plan), b"", "without a plan there is nothing to see");
    for (request, reason) in [
        (Request::Recording { position: 1 }, Reason::NoSuchRecording),
        (Request::Read { window: Window::Recording(1), offset: 0 }, Reason::NoSuchRecording),
        (Request::Read { window: Window::Plan, offset: 5_000 }, Reason::NoSuchOffset),
        (Request::Read { window: Window::Plan, offset: u32::MAX }, Reason::NoSuchOffset),
    ] {
        assert_eq!(ask(&mut it, &mut server, true, &request, |reply, _| refused(reply)), Some(reason));
    }
    it.memory.broken = true;
    let request = Request::Read { window: Window::Recording(41), offset: 0 };
    assert_eq!(ask(&mut it, &mut server, true, &request, |reply, _| refused(reply)), Some(Reason::Memory));
}

#[test]
fn a_plan_is_staged_in_order_and_only_the_box_arms_it() {
    let mut it = Leg::standing();
    let mut staging = Plan::new_zeroed();
    let mut server = Server::new(&mut staging);
    let new = plan();
    let bytes = new.as_bytes();
    assert!(server.staged().is_none());
    let first = Request::Stage { offset: 0, bytes: &bytes[..CHUNK] };
    assert_eq!(ask(&mut it, &mut server, false, &first, |reply, _| refused(reply)), None);
    assert!(server.staged().is_none());
    let skipping = Request::Stage { offset: 300, bytes: &bytes[300..320] };
    let received = CHUNK as u16;
    let out_of_order = Some(Reason::OutOfOrder { received });
    assert_eq!(ask(&mut it, &mut server, false, &skipping, |reply, _| refused(reply)), out_of_order);
    let longer = [bytes, &[0]].concat();
    assert_eq!(stage(&mut it, &mut server, &longer), Err(Reason::TooLong));
    for at in [0, 60, bytes.len() - 1] {
        let mut damaged = bytes.to_vec();
        damaged[at] ^= 4;
        assert_eq!(stage(&mut it, &mut server, &damaged), Err(Reason::Damaged));
        assert!(server.staged().is_none());
    }
    let state = Staged { received: bytes.len() as u16, identity: Some(new.identity()) };
    assert_eq!(stage(&mut it, &mut server, bytes), Ok(state));
    for key_on in [false, true] {
        let arm = Request::Arm { leg: b"Millbrook leg 3", identity: new.identity(), tag: &[7; 16] };
        ask(&mut it, &mut server, key_on, &arm, |reply, asked| {
            assert_eq!(refused(reply), Some(Reason::NotUnderstood), "a box that does not look refuses");
            assert_eq!(asked, Asked::Arm { leg: b"Millbrook leg 3", identity: new.identity(), tag: &[7; 16] });
        });
    }
    assert_eq!(server.staged(), Some(&*new));
    server.forget();
    assert!(server.staged().is_none(), "once only");
    ask(&mut it, &mut server, false, &Request::Box, |_, asked| assert_eq!(asked, Asked::Box));
}

#[test]
fn work_that_was_done_is_the_boxs_to_keep() {
    let mut it = Leg::standing();
    let mut staging = Plan::new_zeroed();
    let mut server = Server::new(&mut staging);
    let mark = Request::Mark { work: Work::TakeUp, note: b"40 mm" };
    ask(&mut it, &mut server, false, &mark, |reply, asked| {
        assert_eq!(refused(reply), Some(Reason::NotUnderstood), "a box that does not look refuses");
        assert_eq!(asked, Asked::Mark { work: Work::TakeUp, note: b"40 mm" });
    });
}

#[test]
fn the_day_under_way_comes_back_from_its_bytes() {
    let mark = Summary::mark(411, Work::Lagging, b"ceramic").expect("short");
    for doubt in [None, Some(mark)] {
        let today = Today { day: 412, looks: 7_200, doubt };
        assert_eq!(Today::from_bytes(&today.to_bytes()), Some(today));
    }
    assert_eq!(Today { day: 0x0102, looks: 0x0304, doubt: None }.to_bytes()[..5], [2, 1, 4, 3, 0xFF]);
}

#[test]
fn only_acknowledging_comes_through_without_the_key() {
    let mut it = Leg::standing();
    let mut staging = Plan::new_zeroed();
    let mut server = Server::new(&mut staging);
    let all = [
        Command::Acknowledge,
        Command::Reset,
        Command::ResetButton(true),
        Command::ResetButton(false),
        Command::BootCleared,
        Command::Key(true),
        Command::Key(false),
        Command::Bypass(Condition::SlipHigh, Span::from_millis(1_000)),
        Command::EndBypass,
        Command::Inch(true),
        Command::Inch(false),
        Command::ProofTest(true),
        Command::ProofTest(false),
    ];
    for key_on in [false, true] {
        for command in all {
            let (reason, asked) = ask(&mut it, &mut server, key_on, &Request::Command(command), |reply, asked| {
                (refused(reply), seen(asked))
            });
            let passes =
                matches!(command, Command::Acknowledge) || (key_on && matches!(command, Command::ProofTest(_)));
            let input = Input::new(Micros::new(it.now), Signal::Command(Origin::Link, command));
            if passes {
                assert_eq!((reason, asked), (None, Some(Ok(input))), "{command:?}");
            } else {
                assert!(reason.is_some(), "{command:?}");
                assert_eq!(asked, None, "{command:?}");
            }
        }
    }
}

#[test]
fn time_is_handed_to_the_recorder() {
    let mut it = Leg::new();
    let mut staging = Plan::new_zeroed();
    let mut server = Server::new(&mut staging);
    let anchor = Anchor { at: Micros::new(5), desk_us: 1_700_000_000_000_000, uncertainty: Span::new(900) };
    ask(&mut it, &mut server, false, &Request::Anchor(anchor), |reply, asked| {
        assert_eq!((reply, asked), (&Reply::Done, Asked::Anchor(anchor)));
    });
}

/// What is asked besides the reply.
fn seen(asked: Asked<'_>) -> Option<Result<Input, Anchor>> {
    match asked {
        Asked::Nothing => None,
        Asked::Observe(input) => Some(Ok(input)),
        Asked::Anchor(anchor) => Some(Err(anchor)),
        other => panic!("{other:?}"),
    }
}

/// The longest of every reply fits a frame.
#[test]
fn the_longest_replies_fit() {
    let verdict = Verdict {
        at: Micros::MAX,
        change: Change::Alarm {
            condition: Condition::BypassActive,
            from: AlarmState::OutOfService,
            to: AlarmState::OutOfService,
            value: Some(i32::MIN),
            setpoint: i32::MIN,
            detail: 255,
        },
    };
    let event = Event { number: u32::MAX, verdict };
    let mut out = [0; MOST_FRAME];
    let events = Reply::Events { lost: u32::MAX, events: core::iter::repeat_n(event, 6).collect() };
    assert!(encode(255, &events, &mut out).is_some());
    let piece = [0xFF; CHUNK];
    assert!(encode(255, &Reply::Piece { offset: u32::MAX, bytes: &piece }, &mut out).is_some());
    let monitor = Monitor::<Arc<Plan>, 2>::new();
    assert!(encode(255, &Reply::Status(LinkStatus::of(&monitor, Micros::MAX, true, u32::MAX)), &mut out).is_some());
    assert!(encode(255, &Request::Stage { offset: u16::MAX, bytes: &piece }, &mut out).is_some());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever comes over the wire with the key off, in whatever order: nothing but an acknowledgement reaches the monitor, and a plan
    /// is only ever handed to the box to be looked at.
    #[test]
    fn nothing_by_link_loosens_anything_without_the_key(
        garbage in proptest::collection::vec((any::<u8>(), proptest::collection::vec(any::<u8>(), 0..60)), 0..60),
    ) {
        let mut it = Leg::standing();
        let mut staging = Plan::new_zeroed();
        let mut server = Server::new(&mut staging);
        for (kind, bytes) in &garbage {
            // Mostly well-formed beginnings: the position of a request, and of a command.
            let body: Vec<u8> = [&[kind % 12][..], bytes].concat();
            let request = postcard::take_from_bytes(&body).ok().map(|(request, _)| request);
            let around = around(it.now, false);
            let asked = server.answer(request, &around, &it.monitor, &it.events, &mut it.memory, &mut |_| {});
            if let Asked::Observe(input) = asked {
                prop_assert_eq!(input.signal, Signal::Command(Origin::Link, Command::Acknowledge));
            }
            prop_assert!(server.staged().is_none());
        }
    }
}

/// What a box without a plan says of slip is that it is not known; and so does one whose plan was just taken.
#[test]
fn before_anything_is_observed_nothing_is_known() {
    let mut monitor: Monitor<Arc<Plan>> = Monitor::new();
    assert!(!monitor.signals().short.is_known() && !monitor.signals().long.is_known());
    let plan = plan();
    monitor.configure(sound(&plan), &Retained::default()).expect("room");
    monitor.observe(Input::new(Micros::new(5), Signal::DriveRunning(false)), &mut |_| {});
    monitor.configure(sound(&plan), &Retained::default()).expect("room");
    assert!(!monitor.signals().short.is_known() && !monitor.signals().head.is_seen());
}
