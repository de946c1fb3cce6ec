//! From a box that runs to a replay at the desk: watch it, trip it with a trace, fetch the recording, replay it, and find the
//! same microsecond on both sides. The box is the firmware's code with its pins and flash in memory, reached over TCP.

use std::time::{Duration, Instant};

use slackside::conditions::Condition;
use slackside::settings::Settings;
use slackside::verdict::{Change, Permit, Verdict};
use slackside::wire::{Reply, Request};
use slackside_desk::demo;
use slackside_desk::recording::{About, MadeUnder, Recording, Source, prove};
use slackside_simulator::box_client::{
    Button, Client, MemoryBox, Port, Setup, anchor, fetch, read_plan, recordings, write_settings,
};

fn start(new: bool) -> (MemoryBox, Client) {
    let settings = Settings::example().check().expect("the example is sound");
    let setup = Setup {
        inputs: demo::inputs(&settings),
        settings: (!new).then_some(settings),
        listen: "127.0.0.1:0".to_owned(),
        pace: None,
        modbus: None,
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
    let refused = write_settings(&mut client, &settings).expect_err("the key is off");
    assert!(refused.to_string().contains("key"), "{refused}");
    memory_box.press(Button::Key(true));
    // The demo turns the motor on and off again at its own pace: settings go in once it is off.
    wait_for("the settings to be taken", || write_settings(&mut client, &settings).ok());
    assert_eq!(read_plan(&mut client).expect("it has them"), settings.plan());
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
