//! A box made of memory told to a real broker, mosquitto, and heard by its own listener. Where they are not installed the test says so and
//! passes; CI installs them.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::Value;
use slackside::settings::Settings;
use slackside_simulator::box_client::{Button, MemoryBox, Setup};
use slackside_simulator::mqtt::Mqtt;

/// A program that ends with its value.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Debian keeps the broker where only root looks.
fn find(program: &str) -> Option<String> {
    let found = [program.to_owned(), format!("/usr/sbin/{program}")]
        .into_iter()
        .find(|path| Command::new(path).arg("-h").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok());
    if found.is_none() {
        println!("{program} is not installed: nothing is tried with it");
    }
    found
}

fn broker(program: &str, folder: &Path, port: u16) -> Running {
    let config = folder.join("broker.conf");
    let mut file = std::fs::File::create(&config).expect("a file");
    writeln!(file, "listener {port} 127.0.0.1\nallow_anonymous true\npersistence false").expect("written");
    let child = Command::new(program).arg("-c").arg(&config).stderr(Stdio::null()).spawn().expect("it runs");
    let begun = Instant::now();
    while TcpStream::connect(("127.0.0.1", port)).is_err() {
        assert!(begun.elapsed() < Duration::from_secs(20), "the broker does not listen");
        std::thread::sleep(Duration::from_millis(50));
    }
    Running(child)
}

/// Somebody who hears everything from now on, each message as it comes: whether it was retained, topic, text.
fn listen(program: &str, port: u16) -> (Running, Receiver<(bool, String, String)>) {
    let port = port.to_string();
    let arguments = ["-h", "127.0.0.1", "-p", &port, "-t", "#", "-F", "%r %t %p"];
    let mut child = Command::new(program).args(arguments).stdout(Stdio::piped()).spawn().expect("it runs");
    let (said, heard) = channel();
    let out = BufReader::new(child.stdout.take().expect("piped"));
    std::thread::spawn(move || {
        for line in out.lines().map_while(Result::ok) {
            let mut parts = line.splitn(3, ' ').map(str::to_owned);
            let [retained, topic, text] = [0; 3].map(|_| parts.next().unwrap_or_default());
            if said.send((retained == "1", topic, text)).is_err() {
                return;
            }
        }
    });
    (Running(child), heard)
}

/// The next message on a topic.
fn next(heard: &Receiver<(bool, String, String)>, wanted: &str) -> (bool, String) {
    let begun = Instant::now();
    while begun.elapsed() < Duration::from_secs(30) {
        if let Ok((retained, topic, text)) = heard.recv_timeout(Duration::from_millis(200))
            && topic == wanted
        {
            return (retained, text);
        }
    }
    panic!("nothing on {wanted}")
}

fn state(heard: &Receiver<(bool, String, String)>) -> (bool, Value) {
    let (retained, text) = next(heard, "plant/leg-3/status");
    (retained, serde_json::from_str(&text).expect("JSON"))
}

#[test]
fn a_broker_is_told_of_a_box_and_neither_its_loss_nor_the_boxs_goes_unnoticed() {
    let (Some(mosquitto), Some(listener)) = (find("mosquitto"), find("mosquitto_sub")) else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let free = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("bound").port();
    // The box is there before its broker, and waits for nobody.
    let begun = Instant::now();
    let memory_box = MemoryBox::start(Setup {
        settings: Some(Settings::example().check().expect("sound")),
        inputs: Vec::new(),
        listen: "127.0.0.1:0".to_owned(),
        pace: Some(1.0),
        modbus: None,
        mqtt: Some(Mqtt { host: "127.0.0.1".to_owned(), port: free, topic: "plant/leg-3".to_owned() }),
    })
    .expect("free ports");
    assert!(begun.elapsed() < Duration::from_secs(2));
    let first = broker(&mosquitto, folder.path(), free);
    let (_hearing, heard) = listen(&listener, free);
    assert_eq!(next(&heard, "plant/leg-3/online").1, "online");
    let (retained, told) = state(&heard);
    assert!(!retained && told["format"] == "slackside-mqtt-status" && told["time_us"].is_u64(), "{told}");
    assert!(told["run_permit"].is_boolean() && told["slip_heat_pct"].is_number(), "{told}");

    // Whoever comes late finds that it is online, and no permit.
    let (_late, late) = listen(&listener, free);
    let (retained, online) = next(&late, "plant/leg-3/online");
    assert!(retained && online == "online");
    let (retained, _) = state(&late);
    assert!(!retained, "a state is never retained");

    // Its program stands still: its state is not told any more.
    memory_box.press(Button::Halt(true));
    assert_eq!(next(&heard, "plant/leg-3/online").1, "offline");
    let deaf = Instant::now();
    while deaf.elapsed() < Duration::from_secs(2) {
        let message = heard.recv_timeout(Duration::from_millis(200));
        assert!(message.is_err(), "told of a box that stands still: {message:?}");
    }
    memory_box.press(Button::Halt(false));
    assert_eq!(next(&heard, "plant/leg-3/online").1, "online");

    // The broker goes, and comes again with an empty memory: the box lives on meanwhile, and says again that it is there.
    let before = state(&heard).1["time_us"].as_u64().expect("a time");
    drop(first);
    std::thread::sleep(Duration::from_secs(2));
    let _second = broker(&mosquitto, folder.path(), free);
    let (_hearing, heard) = listen(&listener, free);
    assert_eq!(next(&heard, "plant/leg-3/online").1, "online");
    let after = state(&heard).1["time_us"].as_u64().expect("a time");
    assert!(after > before + 1_500_000, "the box stood still with its broker: {before} {after} us");

    // Switched off, it says so; and nothing but that is left of it.
    drop(memory_box);
    assert_eq!(next(&heard, "plant/leg-3/online").1, "offline");
    let (_late, late) = listen(&listener, free);
    assert_eq!(next(&late, "plant/leg-3/online"), (true, "offline".to_owned()));
    assert!(late.recv_timeout(Duration::from_secs(1)).is_err(), "nothing else is retained");
}

/// A box whose program dies says nothing: its broker does, by the last will.
#[test]
fn a_program_that_dies_is_offline_by_its_last_will() {
    let (Some(mosquitto), Some(listener)) = (find("mosquitto"), find("mosquitto_sub")) else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let free = TcpListener::bind("127.0.0.1:0").expect("a port").local_addr().expect("bound").port();
    let _broker = broker(&mosquitto, folder.path(), free);
    let (_hearing, heard) = listen(&listener, free);

    let mut child = Command::new(env!("CARGO_BIN_EXE_slackside"))
        .args(["emulate", "--listen", "127.0.0.1:0", "--mqtt", &format!("127.0.0.1:{free}"), "--topic", "plant/leg-3"])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .expect("it runs");
    assert_eq!(next(&heard, "plant/leg-3/online").1, "online");
    child.kill().expect("it ran");
    child.wait().expect("it ended");
    assert_eq!(next(&heard, "plant/leg-3/online").1, "offline");
}
