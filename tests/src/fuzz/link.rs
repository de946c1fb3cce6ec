//! What comes by the link.

use slackside::codec::message::{Pen, write};
use slackside::conditions::{Condition, ConditionSet};
use slackside::input::{Command, Input, Origin, Shaft, Signal};
use slackside::record::Anchor;
use slackside::retained::Retained;
use slackside::settings::Settings;
use slackside::settings::plan::Plan;
use slackside::units::{Micros, Span};
use slackside::wire::{
    Asked, Decoder, EventLog, Frame, LinkStatus, MOST_BODY, MOST_FRAME, Message, Readable, Reason, RecordingInfo,
    Reply, Request, Server, Store, StoreFault, Surroundings, Window, encode, flags,
};
use slackside_desk::monitor::{Monitor, monitor as monitor_of};

/// Any bytes as they come over a wire; and cut into messages, each of which comes through whole, so that what lies behind the CRC is
/// reached too.
///
/// # Panics
/// If a frame does not come out as it went in, a message is read as another than was written, the box answers a request not at all or
/// twice, or lets through what only a person at the leg may ask for.
pub fn link(bytes: &[u8]) {
    let mut decoder = Decoder::new();
    let mut thrown_away = 0;
    for byte in bytes {
        match decoder.feed(*byte) {
            Some(Ok(frame)) => read(&frame),
            Some(Err(_)) => thrown_away += 1,
            None => {}
        }
    }
    assert_eq!(decoder.errors(), thrown_away);
    let [about, rest @ ..] = bytes else { return };
    let mut rest = rest;
    let mut desk = Desk::new(*about);
    let mut staging = Plan::blank();
    let mut server = Server::new(&mut staging);
    while let [length, more @ ..] = rest {
        let body;
        (body, rest) = more.split_at(usize::from(*length).min(more.len()));
        if !desk.ask(&mut server, body) {
            return;
        }
    }
    // And a whole plan, however little was staged before.
    let plan = desk.monitor.plan().map(|plan| plan.bytes().to_vec()).unwrap_or_default();
    let pieces = usize::from(*about).max(20);
    for (piece, bytes) in plan.chunks(pieces).enumerate() {
        let mut room = [0; MOST_BODY];
        let request = Request::Stage { offset: (piece * pieces) as u16, bytes };
        let length = write(&request, &mut room).expect("a piece fits");
        desk.ask(&mut server, &room[..length]);
    }
    assert_eq!(server.staged().map(Plan::identity), desk.monitor.plan().map(Plan::identity));
    server.forget();
    assert!(server.staged().is_none());
}

/// Bytes that are a message already.
struct Raw<'a>(&'a [u8]);

impl Message for Raw<'_> {
    fn write(&self, pen: &mut Pen<'_>) {
        pen.all(self.0);
    }
}

/// What reads as a message is written as one that reads the same.
fn read(frame: &Frame<'_>) {
    let mut room = [0; MOST_BODY];
    if let Some(request) = frame.message::<Request<'_>>() {
        let length = write(&request, &mut room).expect("what was read fits");
        assert_eq!(Request::read(&room[..length]), Some(request));
    }
    if let Some(reply) = frame.message::<Reply<'_>>() {
        let length = write(&reply, &mut room).expect("what was read fits");
        assert_eq!(Reply::read(&room[..length]), Some(reply));
    }
}

/// The box's end, with a leg that has run and stopped.
struct Desk {
    monitor: Box<Monitor>,
    events: EventLog<8>,
    memory: Memory,
    key_on: bool,
    now: u64,
}

/// A recording of 500 bytes, or memory that cannot be read.
struct Memory {
    broken: bool,
}

impl Store for Memory {
    fn recording(&mut self, position: u8) -> Option<RecordingInfo> {
        (position < 3).then_some(RecordingInfo {
            number: position.into(),
            length: 500,
            session: 3,
            tripped_at: Micros::new(77),
            first_out: Some(Condition::SlipHigh).filter(|_| position == 1),
            plan: 5,
        })
    }

    fn read(&mut self, window: Window, offset: u32, into: &mut [u8]) -> Result<Option<usize>, StoreFault> {
        if self.broken {
            return Err(StoreFault);
        }
        if window != Window::Recording(1) {
            return Ok(None);
        }
        let length = 500_usize.saturating_sub(offset as usize).min(into.len());
        into[..length].fill(7);
        Ok(Some(length))
    }
}

impl Desk {
    fn new(about: u8) -> Self {
        let mut settings = Settings::example();
        if about & 4 != 0 {
            settings.machine.head_targets = None;
        }
        let checked = settings.check().expect("the example is sound, with a head or without");
        let mut desk = Self {
            monitor: monitor_of(&checked, &Retained::default()),
            events: EventLog::new(),
            memory: Memory { broken: about & 2 != 0 },
            key_on: about & 1 != 0,
            now: 0,
        };
        if about & 8 != 0 {
            desk.monitor = Box::new(Monitor::new());
        }
        desk.observe(1_000_000, Signal::DriveRunning(false));
        desk.observe(30_000_000, Signal::DriveRunning(true));
        // A belt that does not follow.
        for pitch in 0..12 {
            desk.observe(30_000_000 + pitch * 190_000, Signal::Edge(Shaft::Head, true));
            desk.observe(30_060_000 + pitch * 190_000, Signal::Edge(Shaft::Head, false));
        }
        desk
    }

    fn observe(&mut self, at: u64, signal: Signal) {
        self.now = self.now.max(at);
        let events = &mut self.events;
        self.monitor.observe(Input::new(Micros::new(self.now), signal), &mut |verdict| events.push(verdict));
    }

    /// Ask for what these bytes mean, if anything. Whether they fit a message.
    fn ask(&mut self, server: &mut Server<'_>, body: &[u8]) -> bool {
        let mut wire = [0; MOST_FRAME];
        let Some(there) = encode(9, &Raw(body), &mut wire) else { return false };
        let mut decoder = Decoder::new();
        let frame = received(&mut decoder, there);
        read(&frame);
        let request = frame.message::<Request<'_>>();
        let around = Surroundings {
            now: Micros::new(self.now),
            key_on: self.key_on,
            serial: "SN-1",
            firmware: "0",
            session: 3,
            anchor: Some(Anchor { at: Micros::new(1), desk_us: -2, uncertainty: Span::new(3) }).filter(|_| self.key_on),
        };
        let mut said = Vec::new();
        let asked = server.answer(request, &around, &self.monitor, &self.events, &mut self.memory, &mut |reply| {
            let mut wire = [0; MOST_FRAME];
            said.push(encode(9, reply, &mut wire).expect("every reply fits a frame").to_vec());
        });
        let answers_itself = matches!(asked, Asked::Arm { .. } | Asked::Challenge | Asked::Mark { .. } | Asked::Box);
        assert_eq!(said.len(), usize::from(!answers_itself), "one reply to {request:?}");
        let mut decoder = Decoder::new();
        if let Some(said) = said.first() {
            let reply = received(&mut decoder, said).message::<Reply<'_>>().expect("a reply");
            self.look(request.as_ref(), &reply);
        }
        if let Asked::Observe(input) = asked {
            let Signal::Command(Origin::Link, command) = input.signal else { panic!("by the link: {input:?}") };
            assert!(matches!(command, Command::Acknowledge | Command::ProofTest(_)), "{command:?} by the link");
            assert!(self.key_on || command == Command::Acknowledge, "{command:?} with the key off");
            // Half a minute later: events come in, and the log turns over.
            self.observe(self.now + 30_000_000, input.signal);
        }
        true
    }

    /// What a desk makes of the reply.
    fn look(&self, request: Option<&Request<'_>>, reply: &Reply<'_>) {
        match (request, reply) {
            (None, reply) => assert_eq!(*reply, Reply::Refused(Reason::NotUnderstood)),
            (Some(Request::Status), Reply::Status(status)) => self.holds(status),
            (Some(Request::Events { after }), Reply::Events { lost, events }) => {
                let numbers: Vec<u32> = events.iter().map(|event| event.number).collect();
                assert!(numbers.is_sorted() && numbers.iter().all(|number| *number > *lost.min(after)));
            }
            (Some(Request::Read { offset, .. }), Reply::Piece { offset: told, .. }) => assert_eq!(offset, told),
            (Some(_), _) => {}
        }
    }

    fn holds(&self, status: &LinkStatus) {
        let is = self.monitor.status();
        assert_eq!(status.at(), Micros::new(self.now));
        assert_eq!(status.phase(), is.phase);
        assert_eq!(status.first_out(), is.first_out);
        assert_eq!(status.flags & flags::RUN_PERMIT != 0, is.run_permit);
        for condition in Condition::ALL {
            let state = self.monitor.alarm(condition);
            assert_eq!(status.alarm(condition), state as u8);
            let is = |set: ConditionSet| set.contains(condition);
            assert_eq!(is(status.unacknowledged()), state.wants_acknowledgement());
            assert_eq!(is(status.latched()) || is(status.wrong()), state.holds());
            assert!(!is(status.shelved()), "nothing is bypassed by the link");
        }
    }
}

/// A frame that came through whole.
fn received<'d>(decoder: &'d mut Decoder, frame: &[u8]) -> Frame<'d> {
    let [rest @ .., 0] = frame else { panic!("a frame ends with a zero") };
    for byte in rest {
        assert!(decoder.feed(*byte).is_none(), "a zero within a frame");
    }
    decoder.feed(0).expect("a frame").expect("whole")
}
