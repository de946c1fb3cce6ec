//! The link: what it answers, and what it never lets through.

use proptest::prelude::*;
use slackside::Monitor;
use slackside::alarm::AlarmState;
use slackside::conditions::{Condition, ConditionSet};
use slackside::input::{Command, Input, Origin, Shaft, Signal};
use slackside::record::Anchor;
use slackside::retained::Retained;
use slackside::settings::{Checked, MOST_IMAGE_BYTES, Settings};
use slackside::units::{Micros, Ppm, Span};
use slackside::verdict::{Change, Phase, Verdict};
use slackside::wire::{
    Asked, CHUNK, Decoder, Event, EventLog, LinkStatus, MOST_FRAME, Reason, RecordingInfo, Reply, Request, Server,
    SettingsState, Store, StoreFault, Surroundings, encode,
};

struct Memory {
    image: Vec<u8>,
    recording: Vec<u8>,
    armed: Vec<(Vec<u8>, u32, u32)>,
    broken: bool,
}

impl Store for Memory {
    fn settings_image(&self) -> &[u8] {
        &self.image
    }

    fn recording(&mut self, position: u8) -> Option<RecordingInfo> {
        (position == 0).then_some(RecordingInfo {
            number: 41,
            length: self.recording.len() as u32,
            session: 3,
            tripped_at: Micros::new(77),
            first_out: Some(Condition::SlipVeryHigh),
            settings: 5,
        })
    }

    fn read_recording(&mut self, number: u32, offset: u32, into: &mut [u8]) -> Result<Option<usize>, StoreFault> {
        if self.broken {
            return Err(StoreFault);
        }
        if number != 41 {
            return Ok(None);
        }
        let rest = self.recording.get(offset as usize..).unwrap_or(&[]);
        let length = rest.len().min(into.len());
        into[..length].copy_from_slice(&rest[..length]);
        Ok(Some(length))
    }

    fn arm(&mut self, image: &[u8], old: u32, new: u32) -> Result<(), StoreFault> {
        if self.broken {
            return Err(StoreFault);
        }
        self.armed.push((image.to_vec(), old, new));
        Ok(())
    }
}

fn image(settings: &Settings) -> Vec<u8> {
    let mut room = [0; MOST_IMAGE_BYTES];
    settings.to_image(&mut room).expect("room").to_vec()
}

fn example() -> Checked {
    Settings::example().check().expect("sound")
}

/// The example leg, with limits a little stricter.
fn stricter() -> Settings {
    let mut settings = Settings::example();
    settings.limits.starts.window = Span::new(settings.limits.starts.window.get() + 1);
    settings
}

struct Leg {
    monitor: Box<Monitor>,
    events: EventLog<16>,
    memory: Memory,
    staging: Vec<u8>,
    now: u64,
}

impl Leg {
    fn new() -> Self {
        let mut monitor = Box::new(Monitor::new());
        monitor.configure(&example(), &Retained::default());
        let memory = Memory {
            image: image(&Settings::example()),
            recording: (0..1_000).map(|index| index as u8).collect(),
            armed: Vec::new(),
            broken: false,
        };
        Self { monitor, events: EventLog::new(), memory, staging: vec![0; MOST_IMAGE_BYTES], now: 0 }
    }

    fn observe(&mut self, seconds: f64, signal: Signal) {
        self.now = (seconds * 1e6) as u64;
        let events = &mut self.events;
        self.monitor.observe(Input::new(Micros::new(self.now), signal), &mut |verdict| events.push(*verdict));
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
    look: impl FnOnce(&Reply<'_>, Asked) -> T,
) -> T {
    let mut wire = [0; MOST_FRAME];
    let mut decoder = Decoder::new();
    let there = encode(9, request, &mut wire).expect("room").to_vec();
    let (last, rest) = there.split_last().expect("bytes");
    rest.iter().for_each(|byte| assert!(decoder.feed(*byte).is_none()));
    let frame = decoder.feed(*last).expect("a frame").expect("whole");
    assert_eq!(frame.number, 9);
    let (reply, asked) =
        server.answer(frame.message(), &around(it.now, key_on), &it.monitor, &it.events, &mut it.memory);
    let back = encode(9, &reply, &mut wire).expect("every reply fits a frame").to_vec();
    let mut decoder = Decoder::new();
    let (last, rest) = back.split_last().expect("bytes");
    rest.iter().for_each(|byte| assert!(decoder.feed(*byte).is_none()));
    let frame = decoder.feed(*last).expect("a frame").expect("whole");
    let received: Reply<'_> = frame.message().expect("a reply");
    assert_eq!(received, reply);
    look(&received, asked)
}

fn refused(reply: &Reply<'_>) -> Option<Reason> {
    match reply {
        Reply::Refused(reason) => Some(*reason),
        _ => None,
    }
}

fn stage(it: &mut Leg, server: &mut Server<'_>, image: &[u8]) -> Result<SettingsState, Reason> {
    let mut state = SettingsState { received: 0, identity: None };
    for (index, bytes) in image.chunks(CHUNK).enumerate() {
        let request = Request::StageSettings { offset: (index * CHUNK) as u16, length: image.len() as u16, bytes };
        state = ask(it, server, false, &request, |reply, _| match reply {
            Reply::Staged(state) => Ok(*state),
            Reply::Refused(reason) => Err(*reason),
            other => panic!("{other:?}"),
        })?;
    }
    Ok(state)
}

#[test]
fn it_says_who_it_is() {
    let mut it = Leg::new();
    it.now = 12_345;
    let mut staging = it.staging.clone();
    let mut server = Server::new(&mut staging);
    ask(&mut it, &mut server, false, &Request::Hello, |reply, asked| {
        let Reply::Hello(hello) = reply else { panic!("{reply:?}") };
        assert_eq!((hello.leg, hello.serial, hello.firmware), ("Millbrook leg 3", "SN-0042", "0.1.0-test"));
        assert_eq!((hello.settings, hello.session), (example().identity(), 3));
        assert_eq!((hello.now, asked), (Micros::new(12_345), Asked::Nothing));
    });
    it.memory.image.clear();
    ask(&mut it, &mut server, false, &Request::Hello, |reply, _| {
        let Reply::Hello(hello) = reply else { panic!("{reply:?}") };
        assert_eq!((hello.leg, hello.settings), ("", 0), "without settings it has no name");
    });
}

#[test]
fn it_shows_how_it_is_and_what_happened() {
    let mut it = Leg::standing();
    let mut staging = it.staging.clone();
    let mut server = Server::new(&mut staging);
    let happened = it.events.newest();
    assert!(happened > 0);
    ask(&mut it, &mut server, true, &Request::Status, |reply, _| {
        let Reply::Status(status) = reply else { panic!("{reply:?}") };
        assert_eq!((status.phase, status.key_on, status.newest_event), (Phase::Standstill, true, happened));
        assert!(status.head.fitted && status.head.speed_at_most.is_none());
    });
    let last = it.events.after(happened - 1).1[0];
    ask(&mut it, &mut server, false, &Request::Events { after: happened - 1 }, |reply, _| {
        let Reply::Events { lost: 0, events } = reply else { panic!("{reply:?}") };
        assert_eq!(events[..], [last]);
    });
}

#[test]
fn recordings_and_settings_come_in_pieces() {
    let mut it = Leg::new();
    let mut staging = it.staging.clone();
    let mut server = Server::new(&mut staging);
    let info = ask(&mut it, &mut server, false, &Request::Recording { position: 0 }, |reply, _| match reply {
        Reply::Recording(info) => *info,
        other => panic!("{other:?}"),
    });
    let mut fetched = Vec::<u8>::new();
    loop {
        let request = Request::ReadRecording { number: info.number, offset: fetched.len() as u32 };
        let more = ask(&mut it, &mut server, false, &request, |reply, _| match reply {
            Reply::Piece { offset, bytes } => {
                assert_eq!(*offset as usize, fetched.len());
                fetched.extend(*bytes);
                !bytes.is_empty()
            }
            other => panic!("{other:?}"),
        });
        if !more {
            break;
        }
    }
    assert_eq!(fetched, it.memory.recording);
    let mut settings = Vec::<u8>::new();
    while settings.len() < it.memory.image.len() {
        let request = Request::ReadSettings { offset: settings.len() as u16 };
        ask(&mut it, &mut server, false, &request, |reply, _| match reply {
            Reply::Piece { bytes, .. } => settings.extend(*bytes),
            other => panic!("{other:?}"),
        });
    }
    assert_eq!(settings, it.memory.image);
    for (request, reason) in [
        (Request::Recording { position: 1 }, Reason::NoSuchRecording),
        (Request::ReadRecording { number: 1, offset: 0 }, Reason::NoSuchRecording),
        (Request::ReadSettings { offset: 5_000 }, Reason::NoSuchOffset),
    ] {
        assert_eq!(ask(&mut it, &mut server, true, &request, |reply, _| refused(reply)), Some(reason));
    }
    it.memory.broken = true;
    let request = Request::ReadRecording { number: 41, offset: 0 };
    assert_eq!(ask(&mut it, &mut server, true, &request, |reply, _| refused(reply)), Some(Reason::Memory));
}

#[test]
fn settings_are_armed_only_standing_with_the_key_by_name_and_identity() {
    let mut it = Leg::standing();
    let mut staging = it.staging.clone();
    let mut server = Server::new(&mut staging);
    let new = stricter();
    let name = "Millbrook leg 3";
    let arm = |it: &mut Leg, server: &mut Server<'_>, key_on, leg, identity| {
        ask(it, server, key_on, &Request::ArmSettings { leg, identity }, |reply, _| match reply {
            Reply::Armed { old, new } => Ok((*old, *new)),
            Reply::Refused(reason) => Err(*reason),
            other => panic!("{other:?}"),
        })
    };
    assert_eq!(arm(&mut it, &mut server, true, name, new.identity()), Err(Reason::NothingStaged));
    let state = stage(&mut it, &mut server, &image(&new)).expect("sound");
    assert_eq!(state.identity, Some(new.identity()));
    assert!(it.memory.armed.is_empty(), "staging changes nothing");
    assert_eq!(arm(&mut it, &mut server, false, name, new.identity()), Err(Reason::KeyOff));
    assert_eq!(arm(&mut it, &mut server, true, "Millbrook leg 4", new.identity()), Err(Reason::OtherLeg));
    assert_eq!(arm(&mut it, &mut server, true, name, new.identity() ^ 1), Err(Reason::OtherIdentity));
    it.memory.broken = true;
    assert_eq!(arm(&mut it, &mut server, true, name, new.identity()), Err(Reason::Memory));
    it.memory.broken = false;
    // The leg begins to turn, and stands again.
    it.observe(601.0, Signal::DriveRunning(true));
    it.observe(601.1, Signal::Edge(Shaft::Head, true));
    assert_ne!(it.monitor.status().phase, Phase::Standstill);
    assert_eq!(arm(&mut it, &mut server, true, name, new.identity()), Err(Reason::LegTurns));
    it.observe(602.0, Signal::DriveRunning(false));
    it.observe(1_300.0, Signal::Tick);
    let old = example().identity();
    assert_eq!(arm(&mut it, &mut server, true, name, new.identity()), Ok((old, new.identity())));
    assert_eq!(it.memory.armed, [(image(&new), old, new.identity())], "old and new identity are handed on");
    assert_eq!(arm(&mut it, &mut server, true, name, new.identity()), Err(Reason::NothingStaged), "once only");
}

#[test]
fn settings_for_another_leg_are_never_armed() {
    let mut it = Leg::standing();
    let mut staging = it.staging.clone();
    let mut server = Server::new(&mut staging);
    let mut other = stricter();
    other.machine.leg = "Millbrook leg 4".try_into().expect("short");
    stage(&mut it, &mut server, &image(&other)).expect("sound");
    for leg in ["Millbrook leg 3", "Millbrook leg 4", ""] {
        let request = Request::ArmSettings { leg, identity: other.identity() };
        assert_eq!(ask(&mut it, &mut server, true, &request, |reply, _| refused(reply)), Some(Reason::OtherLeg));
    }
    // A box without settings takes them: it has no name yet.
    it.memory.image.clear();
    let request = Request::ArmSettings { leg: "Millbrook leg 4", identity: other.identity() };
    ask(&mut it, &mut server, true, &request, |reply, _| {
        assert_eq!(*reply, Reply::Armed { old: 0, new: other.identity() });
    });
}

#[test]
fn pieces_out_of_order_damaged_or_against_the_rules_are_never_staged() {
    let mut it = Leg::standing();
    let mut staging = it.staging.clone();
    let mut server = Server::new(&mut staging);
    let sound = image(&stricter());
    let length = sound.len() as u16;
    let first = Request::StageSettings { offset: 0, length, bytes: &sound[..CHUNK] };
    assert_eq!(ask(&mut it, &mut server, false, &first, |reply, _| refused(reply)), None);
    let skipping = Request::StageSettings { offset: 300, length, bytes: &sound[300..320] };
    let received = CHUNK as u16;
    assert_eq!(
        ask(&mut it, &mut server, false, &skipping, |reply, _| refused(reply)),
        Some(Reason::OutOfOrder { received })
    );
    let other_length = Request::StageSettings { offset: received, length: length + 1, bytes: &sound[CHUNK..CHUNK + 5] };
    assert!(ask(&mut it, &mut server, false, &other_length, |reply, _| refused(reply)).is_some());
    let beyond = Request::StageSettings { offset: 0, length: 10, bytes: &sound[..CHUNK] };
    assert_eq!(ask(&mut it, &mut server, false, &beyond, |reply, _| refused(reply)), Some(Reason::TooLong));
    let huge = Request::StageSettings { offset: 0, length: u16::MAX, bytes: &sound[..CHUNK] };
    assert_eq!(ask(&mut it, &mut server, false, &huge, |reply, _| refused(reply)), Some(Reason::TooLong));
    let mut damaged = sound.clone();
    damaged[60] ^= 4;
    assert_eq!(stage(&mut it, &mut server, &damaged), Err(Reason::BadImage));
    let mut loose = Settings::example();
    loose.limits.change(Condition::DeepUnderspeed, |limit| limit.setpoint = 300_000);
    assert_eq!(stage(&mut it, &mut server, &image(&loose)), Err(Reason::RulesBroken));
    let arm = Request::ArmSettings { leg: "Millbrook leg 3", identity: loose.identity() };
    assert_eq!(ask(&mut it, &mut server, true, &arm, |reply, _| refused(reply)), Some(Reason::NothingStaged));
}

#[test]
fn only_acknowledging_comes_through_without_the_key() {
    let mut it = Leg::standing();
    let mut staging = it.staging.clone();
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
            let (reason, asked) =
                ask(&mut it, &mut server, key_on, &Request::Command(command), |reply, asked| (refused(reply), asked));
            let passes =
                matches!(command, Command::Acknowledge) || (key_on && matches!(command, Command::ProofTest(_)));
            let input = Input::new(Micros::new(it.now), Signal::Command(Origin::Link, command));
            if passes {
                assert_eq!((reason, asked), (None, Asked::Observe(input)), "{command:?}");
            } else {
                assert!(reason.is_some(), "{command:?}");
                assert_eq!(asked, Asked::Nothing, "{command:?}");
            }
        }
    }
}

#[test]
fn time_is_handed_to_the_recorder() {
    let mut it = Leg::new();
    let mut staging = it.staging.clone();
    let mut server = Server::new(&mut staging);
    let anchor = Anchor { at: Micros::new(5), desk_us: 1_700_000_000_000_000, uncertainty: Span::new(900) };
    ask(&mut it, &mut server, false, &Request::Anchor(anchor), |reply, asked| {
        assert_eq!((reply, asked), (&Reply::Done, Asked::Anchor(anchor)));
    });
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
    let mut status = LinkStatus::of(&Monitor::<64>::with_room(), Micros::MAX, true, u32::MAX);
    let all = Condition::ALL.into_iter().fold(ConditionSet::EMPTY, ConditionSet::with);
    (status.wrong, status.latched, status.unacknowledged, status.shelved) = (all, all, all, all);
    status.first_out = Some(Condition::BypassActive);
    status.slip_heat = Ppm::new(i32::MIN);
    status.contacts = [Some((slackside::input::ContactState::Faulty, Ppm::new(i32::MIN))); 4];
    for shaft in [&mut status.head, &mut status.boot] {
        shaft.speed_at_most = Some(slackside::units::MicroturnsPerSecond::MAX);
        (shaft.edges, shaft.rejected, shaft.distrust) = (u32::MAX, u32::MAX, 255);
    }
    assert!(encode(255, &Reply::Status(status), &mut out).is_some());
    let stage = Request::StageSettings { offset: u16::MAX, length: u16::MAX, bytes: &piece };
    assert!(encode(255, &stage, &mut out).is_some());
}

proptest! {
    /// Whatever comes over the wire with the key off, in whatever order: no permit comes back, nothing is armed, nothing but an
    /// acknowledgement reaches the monitor.
    #[test]
    fn nothing_by_link_loosens_anything_without_the_key(
        garbage in proptest::collection::vec((any::<u8>(), proptest::collection::vec(any::<u8>(), 0..60)), 0..60),
    ) {
        let mut it = Leg::standing();
        let mut staging = it.staging.clone();
        let mut server = Server::new(&mut staging);
        for (kind, bytes) in &garbage {
            // Mostly well-formed beginnings: the position of a request, and of a command.
            let body: Vec<u8> = [&[kind % 10][..], bytes].concat();
            let request = postcard_request(&body);
            let (_, asked) =
                server.answer(request, &around(it.now, false), &it.monitor, &it.events, &mut it.memory);
            match asked {
                Asked::Nothing | Asked::Anchor(_) => {}
                Asked::Observe(input) => {
                    prop_assert_eq!(input.signal, Signal::Command(Origin::Link, Command::Acknowledge));
                }
                other => prop_assert!(false, "{:?}", other),
            }
        }
        prop_assert!(it.memory.armed.is_empty());
    }
}

/// A request from the bytes of a message, the way a frame brings it.
fn postcard_request(body: &[u8]) -> Option<Request<'_>> {
    postcard::take_from_bytes(body).ok().map(|(request, _)| request)
}
