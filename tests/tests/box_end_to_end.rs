//! From a box that runs to a replay at the desk: watch it, trip it with a trace, fetch the recording, replay it, and find the
//! same microsecond on both sides. The box is the firmware's code with its pins and flash in memory, reached over TCP.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use slackside::conditions::Condition;
use slackside::settings::Settings;
use slackside::verdict::{Change, Permit, Verdict};
use slackside::wire::{Decoder, MOST_FRAME, Reason, Reply, Request, encode};
use slackside_desk::demo;
use slackside_desk::recording::{About, MadeUnder, Recording, Source, prove};
use slackside_simulator::box_client::{
    Button, Client, LinkError, MEMORY_KEY, MemoryBox, Port, Setup, anchor, fetch, read_plan, recordings, write_settings,
};

fn start(new: bool) -> (MemoryBox, Client) {
    let settings = Settings::example().check().expect("the example is sound");
    let setup = Setup {
        inputs: demo::inputs(&settings),
        settings: (!new).then_some(settings),
        listen: "127.0.0.1:0".to_owned(),
        pace: None,
        modbus: None,
        mqtt: None,
    };
    let memory_box = MemoryBox::start(setup).expect("a free port");
    let port = Port::open(&memory_box.address().to_string(), 115_200).expect("it listens");
    (memory_box, Client::new(port))
}

/// Try until `get` gives something, for a minute at most.
fn wait_for<T>(what: &str, mut get: impl FnMut() -> Option<T>) -> T {
    let begun = Instant::now();
    loop {
        if let Some(got) = get() {
            return got;
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "waited in vain for {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn trip(verdicts: &[Verdict]) -> Option<(u64, Option<Condition>)> {
    verdicts.iter().find_map(|verdict| match verdict.change {
        Change::Permit { permit: Permit::Run, allowed: false, because } => Some((verdict.at.get(), because)),
        _ => None,
    })
}

#[test]
fn the_same_microsecond_on_both_sides() {
    let (_box, mut client) = start(false);
    let hello = client
        .ask(&Request::Hello, |reply| match reply {
            Reply::Hello(hello) => {
                Some((String::from_utf8_lossy(hello.leg).into_owned(), hello.serial.to_owned(), hello.plan))
            }
            _ => None,
        })
        .expect("answered");
    let settings = Settings::example();
    assert_eq!(hello, (settings.machine.leg.to_string(), "MEMORY-1".to_owned(), settings.identity()));
    let anchored = anchor(&mut client).expect("answered").expect("time runs forward here");

    // The demo trips; once the leg stands, the recording is filed.
    let info = wait_for("a recording", || recordings(&mut client).expect("answered").first().copied());
    let mut live = Vec::new();
    let mut after = 0;
    loop {
        let (_, events) = client
            .ask(&Request::Events { after }, |reply| match reply {
                Reply::Events { lost, events } => Some((lost, events)),
                _ => None,
            })
            .expect("answered");
        let Some(last) = events.last() else { break };
        after = last.number;
        live.extend(events.iter().map(|event| event.verdict));
    }
    let tripped = trip(&live).expect("the demo trips");
    assert_eq!((info.tripped_at.get(), info.first_out), tripped);

    let mut told = 0;
    let fetched = fetch(&mut client, info, &mut |bytes| told = bytes).expect("fetched");
    assert!(fetched.whole && told == u64::from(info.length));
    let read = read_plan(&mut client).expect("it has settings");
    let made_under = MadeUnder { plan: read.bytes().to_vec(), ..MadeUnder::default() };
    let about = About { source: Source::Box, anchor: Some(anchored), ..About::default() };
    let written = Recording::new("fetched", about, made_under, fetched.bytes).to_bytes().expect("a file");
    let recording = Recording::from_bytes("fetched", &written).expect("readable");
    assert!(recording.damage.is_empty());
    let plan = recording.made_under.plan().expect("it came with it");
    let run = recording.runs().last().expect("a run");
    let proof = prove(run, &plan);
    assert_eq!((proof.disagreed, proof.no_claim, proof.open), (None, None, 0));
    assert!(proof.agreed >= 1, "segments were compared to their last state");
    assert_eq!(trip(&proof.verdicts), Some(tripped), "the same microsecond on both sides");
    // And not only the trip: every verdict of that stretch that the box still remembers.
    let begins = run.first().expect("a part").header.at;
    let ends = run.last().and_then(|part| part.end).expect("it ended").newest;
    let within = |verdict: &&Verdict| verdict.at > begins && verdict.at <= ends;
    let boxes: Vec<_> = live.iter().filter(within).collect();
    let desks: Vec<_> = proof.verdicts.iter().filter(within).collect();
    assert!(boxes.len() > 5);
    assert_eq!(boxes, desks);
}

#[test]
fn a_new_box_is_given_its_settings_over_the_link() {
    let (memory_box, mut client) = start(true);
    assert!(read_plan(&mut client).is_err());
    let settings = Settings::example().check().expect("sound");
    let refused = write_settings(&mut client, &settings, &MEMORY_KEY, &mut || ()).expect_err("the key is off");
    assert!(refused.to_string().contains("key"), "{refused}");
    memory_box.press(Button::Key(true));
    let wrong = wait_for("a challenge", || match write_settings(&mut client, &settings, &[1; 16], &mut || ()) {
        Err(error) if error.to_string().contains("key file") => Some(error),
        _ => None,
    });
    assert!(wrong.to_string().contains("not that of this box"), "{wrong}");
    // The demo turns the motor on and off again at its own pace: settings go in once it is off.
    wait_for("the settings to be taken", || {
        write_settings(&mut client, &settings, &MEMORY_KEY, &mut || memory_box.press(Button::Confirm)).ok()
    });
    assert_eq!(read_plan(&mut client).expect("it has them"), settings.plan());
}

#[test]
fn a_second_desk_is_told_why_it_is_turned_away() {
    let (memory_box, mut first) = start(false);
    let hello =
        |client: &mut Client| client.ask(&Request::Hello, |reply| matches!(reply, Reply::Hello(_)).then_some(()));
    let another = || Client::new(Port::open(&memory_box.address().to_string(), 115_200).expect("it listens"));
    hello(&mut first).expect("answered");
    let refused = hello(&mut another()).expect_err("one desk at a time");
    assert!(matches!(refused, LinkError::Refused(Reason::OtherDesk)), "{refused}");
    assert!(refused.to_string().contains("another program has its link"), "{refused}");
    hello(&mut first).expect("the first one is not disturbed");
    // One that has said nothing for some seconds may be gone.
    std::thread::sleep(Duration::from_millis(3_300));
    hello(&mut another()).expect("its place is free");
}

#[test]
fn garbage_blocks_the_link_no_longer_than_a_second_after_it_ends() {
    let settings = Settings::example().check().expect("the example is sound");
    let setup = Setup {
        inputs: demo::inputs(&settings),
        settings: Some(settings),
        listen: "127.0.0.1:0".to_owned(),
        pace: Some(1.0),
        modbus: None,
        mqtt: None,
    };
    let memory_box = MemoryBox::start(setup).expect("a free port");
    let mut stream = TcpStream::connect(memory_box.address()).expect("it listens");
    let mut seed = 1_u32;
    let garbage: Vec<u8> = (0..4_000_000)
        .map(|_| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 24) as u8
        })
        .collect();
    stream.write_all(&garbage).expect("it takes in everything");
    let ended = Instant::now();
    stream.set_read_timeout(Some(Duration::from_millis(20))).expect("a socket");
    let mut decoder = Decoder::new();
    let answered = 'tries: loop {
        assert!(ended.elapsed() < Duration::from_secs(20), "no answer in 20 s");
        let mut frame = [0; MOST_FRAME];
        stream.write_all(&[0]).expect("sent");
        stream.write_all(encode(9, &Request::Hello, &mut frame).expect("it fits")).expect("sent");
        let mut buffer = [0; 1_024];
        let count = stream.read(&mut buffer).unwrap_or(0);
        for byte in &buffer[..count] {
            if let Some(Ok(frame)) = decoder.feed(*byte)
                && matches!(frame.message(), Some(Reply::Hello(_)))
            {
                break 'tries ended.elapsed();
            }
        }
    };
    println!("answered {answered:?} after the garbage ended");
    assert!(answered < Duration::from_secs(1), "{answered:?}");
}

#[test]
fn nobody_there_is_told_at_once_and_clearly() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
    let address = listener.local_addr().expect("bound").to_string();
    // Something listens there, but it is no box.
    let mut client = Client::new(Port::open(&address, 115_200).expect("it connects"));
    let error = client.demand(&Request::Status).expect_err("nobody answers");
    assert!(error.to_string().contains("no answer"), "{error}");
    drop(listener);
    assert!(Port::open(&address, 115_200).is_err());
}
