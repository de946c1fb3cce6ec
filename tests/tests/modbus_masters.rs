//! A box made of memory, read by Modbus masters that are not ours: pymodbus and mbpoll, over TCP and over RTU on a pseudo-terminal.
//! Where one of them is not installed the test says so and passes; CI installs them.

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;
use slackside::settings::Settings;
use slackside::wire::{LinkStatus, Reply, Request};
use slackside_desk::demo;
use slackside_simulator::box_client::{Button, Client, MemoryBox, Modbus, ModbusPort, Port, Setup};

const UNIT: u8 = 17;
/// Where a name of the table lies, said once more here: the table is held to it.
const HEALTH: usize = 2;
const PERMITS: usize = 4;
const FIRST_OUT: usize = 5;
const TO_ACKNOWLEDGE: usize = 6;

/// A box whose leg the demo has turned until it tripped.
fn tripped(on: ModbusPort) -> MemoryBox {
    let settings = Settings::example().check().expect("the example is sound");
    let is_serial = matches!(on, ModbusPort::Serial(..));
    let setup = Setup {
        // By its own clock it would take minutes to the trip: a box that only tells that it is new is read as well.
        inputs: if is_serial { Vec::new() } else { demo::inputs(&settings) },
        settings: Some(settings),
        listen: "127.0.0.1:0".to_owned(),
        pace: is_serial.then_some(1.0),
        modbus: Some(Modbus { on, address: UNIT }),
        mqtt: None,
    };
    MemoryBox::start(setup).expect("free ports")
}

/// One desk for as long as the test: a box has one at a time.
fn desk(memory_box: &MemoryBox) -> Client {
    Client::new(Port::open(&memory_box.address().to_string(), 115_200).expect("it listens"))
}

fn status(desk: &mut Client) -> LinkStatus {
    desk.ask(&Request::Status, |reply| match reply {
        Reply::Status(status) => Some(status),
        _ => None,
    })
    .expect("answered")
}

fn wait_for(what: &str, mut is_so: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !is_so() {
        assert!(begun.elapsed() < Duration::from_secs(60), "waited in vain for {what}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// The Python that has pymodbus, if any has.
fn python() -> Option<&'static str> {
    let has = |python: &&str| {
        Command::new(python).args(["-c", "import pymodbus.client, serial"]).output().is_ok_and(|it| it.status.success())
    };
    let found = ["/usr/bin/python3", "python3"].into_iter().find(has);
    if found.is_none() {
        println!("pymodbus is not installed: not read by it");
    }
    found
}

fn is_installed(program: &str) -> bool {
    let there = Command::new(program).arg("-h").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok();
    if !there {
        println!("{program} is not installed: not read by it");
    }
    there
}

fn pymodbus(python: &str, arguments: &[&str]) -> Value {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("masters/read.py");
    let output = Command::new(python).arg(script).args(arguments).output().expect("it runs");
    let said = String::from_utf8_lossy(&output.stdout);
    let error = String::from_utf8_lossy(&output.stderr);
    serde_json::from_str(said.trim()).unwrap_or_else(|_| panic!("pymodbus said: {said}{error}"))
}

fn registers(read: &Value) -> Vec<u16> {
    let of = |value: &Value| value.as_u64().and_then(|value| u16::try_from(value).ok()).expect("sixteen bits");
    read["registers"].as_array().expect("registers").iter().map(of).collect()
}

/// Values as mbpoll prints them: `[0]:` and a number, behind which a negative one stands in brackets; or what it complains of.
fn mbpoll(arguments: &[&str]) -> Result<Vec<u16>, String> {
    let output = Command::new("mbpoll").args(arguments).output().expect("it runs");
    let (said, error) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    let value = |line: &str| line.strip_prefix('[')?.split_once(':')?.1.split_whitespace().next()?.parse::<u16>().ok();
    let values: Vec<u16> = said.lines().filter_map(value).collect();
    if values.is_empty() { Err(format!("{said}{error}")) } else { Ok(values) }
}

fn mbpoll_tcp(at: SocketAddr, first: u16, count: u16) -> Result<Vec<u16>, String> {
    let [port, unit, first, count] = [at.port(), UNIT.into(), first, count].map(|it| it.to_string());
    mbpoll(&[
        "-m",
        "tcp",
        "-p",
        &port,
        "-a",
        &unit,
        "-0",
        "-r",
        &first,
        "-c",
        &count,
        "-t",
        "3",
        "-1",
        &at.ip().to_string(),
    ])
}

#[test]
fn a_tripped_leg_is_read_over_tcp_and_a_dead_box_is_not() {
    let (python, has_mbpoll) = (python(), is_installed("mbpoll"));
    let memory_box = tripped(ModbusPort::Tcp("127.0.0.1:0".to_owned()));
    let at = memory_box.modbus().expect("on TCP");
    let mut desk = desk(&memory_box);
    // Alarms come and go until the leg has come to rest, which the box has soon: it runs as fast as it can.
    let ends = demo::inputs(&Settings::example().check().expect("sound")).last().expect("inputs").at;
    wait_for("the end", || status(&mut desk).at().since(ends).get() >= 59_000_000);
    let seen = status(&mut desk);
    let first_out = u16::from(seen.first_out().expect("just seen").id());
    let waiting = u16::try_from(seen.unacknowledged().iter().count()).expect("few");
    assert!(waiting > 0);
    let hold = |registers: &[u16]| {
        assert_eq!(registers[FIRST_OUT], first_out);
        assert_eq!(registers[TO_ACKNOWLEDGE], waiting);
        assert_eq!(registers[HEALTH], 3, "the run permit is not given");
        assert_eq!(registers[PERMITS] & 0b1111, 0);
    };
    let (host, port, unit) = (at.ip().to_string(), at.port().to_string(), UNIT.to_string());
    if has_mbpoll {
        hold(&mbpoll_tcp(at, 0, 12).expect("values"));
        let beyond = mbpoll_tcp(at, 140, 5).expect_err("beyond the table");
        assert!(beyond.contains("Illegal data address"), "{beyond}");
    }
    if let Some(python) = python {
        let read = pymodbus(python, &["tcp", &host, &port, &unit]);
        let registers = registers(&read);
        assert_eq!((registers.len(), &read["exceptions"]), (144, &serde_json::json!([0, 0])));
        hold(&registers);
        let identity = Settings::example().identity();
        assert_eq!(read["holding"], serde_json::json!([identity >> 16, identity & 0xFFFF]), "the high word first");
        let refused = ["beyond", "coils", "another_word", "another_register"].map(|what| read[what].as_u64());
        assert_eq!(refused, [Some(2), Some(1), Some(3), Some(2)]);
        // Another leg's number is not answered with this leg's values.
        let other = pymodbus(python, &["tcp", &host, &port, "18"]);
        assert_eq!(other["exceptions"], serde_json::json!([0x0B, 0x0B]));
        let acknowledged = pymodbus(python, &["tcp", &host, &port, &unit, "acknowledge"]);
        assert_eq!(acknowledged["exceptions"], serde_json::json!([0, 0]), "what has nothing to do is done");
        wait_for("the acknowledgement", || status(&mut desk).unacknowledged().iter().next().is_none());
        assert_eq!(status(&mut desk).first_out().map(|it| u16::from(it.id())), Some(first_out), "nothing is reset");
    }
    // Its program stands still: what is known grows old, and is not told any more.
    memory_box.press(Button::Halt(true));
    std::thread::sleep(Duration::from_millis(2_500));
    if has_mbpoll {
        let dead = mbpoll_tcp(at, 0, 12).expect_err("old values");
        assert!(dead.contains("Target device failed to respond"), "{dead}");
    }
    if let Some(python) = python {
        let dead = pymodbus(python, &["tcp", &host, &port, &unit]);
        assert_eq!(dead["exceptions"], serde_json::json!([0x0B, 0x0B]));
        assert!(registers(&dead).is_empty());
    }
    memory_box.press(Button::Halt(false));
}

/// Two ends of a serial line that is none.
struct Pair {
    child: Child,
    _folder: tempfile::TempDir,
    ends: [PathBuf; 2],
    /// Held open, or the line ends with the first master that leaves it.
    _open: std::fs::File,
}

impl Pair {
    fn new() -> Option<Self> {
        if !is_installed("socat") {
            return None;
        }
        let folder = tempfile::tempdir().expect("a folder");
        let ends = ["box", "master"].map(|name| folder.path().join(name));
        let end = |path: &Path| format!("pty,raw,echo=0,link={}", path.display());
        let child = Command::new("socat").args([end(&ends[0]), end(&ends[1])]).spawn().expect("it runs");
        wait_for("the pseudo-terminals", || ends.iter().all(|end| end.exists()));
        let open = std::fs::OpenOptions::new().read(true).write(true).open(&ends[1]).expect("a terminal");
        Some(Self { child, _folder: folder, ends, _open: open })
    }
}

impl Drop for Pair {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The box's own code: frames ended by silence on its own clock.
#[test]
fn a_box_is_read_over_rtu_on_a_pseudo_terminal() {
    let (python, has_mbpoll) = (python(), is_installed("mbpoll"));
    let Some(pair) = Pair::new() else { return };
    let [boxes, masters] = pair.ends.each_ref().map(|end| end.display().to_string());
    let memory_box = tripped(ModbusPort::Serial(boxes, 19_200));
    let unit = UNIT.to_string();
    if has_mbpoll {
        let ask = |unit: &str| {
            mbpoll(&[
                "-m", "rtu", "-b", "19200", "-a", unit, "-0", "-r", "48", "-c", "2", "-t", "3", "-1", "-o", "2",
                &masters,
            ])
        };
        let identity = Settings::example().identity();
        assert_eq!(ask(&unit).expect("values"), [(identity >> 16) as u16, identity as u16]);
        let other = ask("18").expect_err("nobody of that address");
        assert!(other.contains("timed out"), "{other}");
    }
    if let Some(python) = python {
        let read = pymodbus(python, &["rtu", &masters, &unit]);
        let registers = registers(&read);
        assert_eq!(registers.len(), 144, "{read}");
        assert_eq!(registers[0], 1);
        let acknowledged = pymodbus(python, &["rtu", &masters, &unit, "acknowledge"]);
        assert_eq!(acknowledged["exceptions"], serde_json::json!([0, 0]));
    }
    drop(memory_box);
}
