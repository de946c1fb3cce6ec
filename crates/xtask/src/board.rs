//! The emulated MPS2 board: its images built, and QEMU running one of them, with the board's lines where programs of this computer reach them.

use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail, ensure};
use slackside::input::Input;
use slackside::settings::Checked;
use slackside_simulator::box_client::Port;

use crate::emulator::encode;
use crate::relay;
use crate::root::{chips, root};
use crate::toolchain::Toolchain;

/// The file its log goes to.
pub const LOG: &str = "log.bin";
const TARGET: &str = "thumbv7m-none-eabi";

/// QEMU, ended with this value.
pub struct Emulator {
    child: Child,
    folder: tempfile::TempDir,
    /// The TCP port of its link.
    pub port: u16,
    /// The TCP port of its service port.
    service: u16,
    modbus: Option<Terminal>,
}

/// A pseudo-terminal: the line of Modbus.
struct Terminal {
    path: PathBuf,
    /// Held open, or what comes first is lost: QEMU looks only now and then whether somebody has come.
    _open: File,
}

/// What is to be run.
pub struct Run<'a> {
    pub image: &'a Path,
    pub settings: &'a Checked,
    /// What turns the leg.
    pub inputs: &'a [Input],
    pub pace: Pace,
    /// It ends by itself after so many edges, and leaves its figures.
    pub edges: Option<u32>,
    /// Whether Modbus gets a line.
    pub modbus: bool,
    /// The fault that an image with [`PLANT`] falls into.
    pub plant: Option<u8>,
}

/// How the emulated time runs.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// As the day does; 32 ns an instruction, about the pace of a small Cortex-M, and the same on every computer.
    Day,
    /// As fast as the computer can; 32 ns an instruction.
    Hurry,
    /// As fast as the computer can; 128 ns an instruction. For programs that wait by `wfe`, which QEMU takes for work.
    Slow,
    /// As fast as the computer can; 16 ns an instruction, so that a flood is denser in the emulated time.
    Dense,
}

impl Emulator {
    /// A file it left, or is still writing.
    pub fn file(&self, name: &str) -> Vec<u8> {
        // What is not there yet is empty.
        std::fs::read(self.folder.path().join(name)).unwrap_or_default()
    }

    /// Whether it has ended.
    pub fn ended(&mut self) -> Result<Option<ExitStatus>> {
        Ok(self.child.try_wait()?)
    }

    /// Serve its link on this port: one desk at a time, and a second one is told why.
    pub fn serve_link(&self, port: u16) -> Result<()> {
        // QEMU's port opens with it.
        drop(self.connect()?);
        relay::listen(port, self.port)
    }

    /// The pseudo-terminal that Modbus is read on.
    pub fn modbus(&self) -> Result<&Path> {
        Ok(&self.modbus.as_ref().context("it was started without Modbus")?.path)
    }

    /// Connect to its link.
    pub fn connect(&self) -> Result<Port> {
        when_open(|| Port::open(&format!("127.0.0.1:{}", self.port), 115_200))
    }

    /// Plug something into its service port.
    pub fn connect_service(&self) -> Result<TcpStream> {
        when_open(|| Ok(TcpStream::connect(("127.0.0.1", self.service))?))
    }
}

/// QEMU's ports open with it.
fn when_open<T>(open: impl Fn() -> Result<T>) -> Result<T> {
    let begun = Instant::now();
    loop {
        match open() {
            Ok(port) => return Ok(port),
            Err(error) if begun.elapsed() > Duration::from_secs(20) => return Err(error),
            Err(_) => std::thread::sleep(Duration::from_millis(100)),
        }
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Build an image, with these features.
pub fn build(image: &str, features: &str) -> Result<PathBuf> {
    let folder = root().join("crates/slackside-mps2");
    let mut command = Toolchain::find(TARGET)?.cargo("build", &[TARGET], &folder);
    let status = command.args(["--release", "--bin", image, "--features", features]).status()?;
    ensure!(status.success(), "{image} does not build for the emulated board");
    Ok(chips().join(TARGET).join("release").join(image))
}

/// The box.
pub const BOX: &str = "slackside-mps2";
/// The feature that plants a fault of the program, the one that the host names.
pub const PLANT: &str = "plant-fault";

/// Two ports that are free now.
fn any_ports() -> Result<[u16; 2]> {
    let both = [TcpListener::bind("127.0.0.1:0")?, TcpListener::bind("127.0.0.1:0")?];
    let [one, other] = both.each_ref().map(TcpListener::local_addr);
    Ok([one?.port(), other?.port()])
}

impl<'a> Run<'a> {
    /// The box or whatever else is in the image, without Modbus, until it is ended.
    pub const fn new(image: &'a Path, settings: &'a Checked, inputs: &'a [Input], pace: Pace) -> Self {
        Self { image, settings, inputs, pace, edges: None, modbus: false, plant: None }
    }

    /// Start it.
    pub fn start(&self) -> Result<Emulator> {
        let folder = tempfile::tempdir()?;
        let [port, service] = any_ports()?;
        std::fs::write(folder.path().join("plan.bin"), self.settings.plan().bytes())?;
        std::fs::write(folder.path().join("inputs.bin"), encode(self.inputs)?)?;
        if let Some(edges) = self.edges {
            std::fs::write(folder.path().join("edges.bin"), edges.to_le_bytes())?;
        }
        if let Some(plant) = self.plant {
            std::fs::write(folder.path().join("plant.bin"), [plant])?;
        }
        let pace = match self.pace {
            Pace::Day => "shift=5,sleep=on",
            Pace::Hurry => "shift=5,sleep=off",
            Pace::Slow => "shift=7,sleep=off",
            Pace::Dense => "shift=4,sleep=off",
        };
        let mut child = Command::new("qemu-system-arm")
            .current_dir(folder.path())
            .args(["-machine", "mps2-an385", "-nographic", "-monitor", "none", "-icount", pace])
            .args(["-serial", &format!("tcp:127.0.0.1:{port},server=on,wait=off")])
            .args(["-serial", &format!("file:{LOG}")])
            .args(["-serial", if self.modbus { "pty" } else { "null" }])
            .args(["-serial", &format!("tcp:127.0.0.1:{service},server=on,wait=off")])
            .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
            .arg(self.image)
            .stdin(Stdio::null())
            .stdout(if self.modbus { Stdio::piped() } else { Stdio::null() })
            .spawn()
            .context("qemu-system-arm does not start; on Debian: `apt-get install qemu-system-arm`")?;
        let told = child.stdout.take();
        let mut emulator = Emulator { child, folder, port, service, modbus: None };
        emulator.modbus = told.map(terminal).transpose()?;
        Ok(emulator)
    }
}

/// The pseudo-terminal that QEMU says it has made.
fn terminal(told: ChildStdout) -> Result<Terminal> {
    for line in BufReader::new(told).lines() {
        let line = line?;
        let path = line.strip_prefix("char device redirected to ").and_then(|rest| rest.split_whitespace().next());
        if let Some(path) = path.map(PathBuf::from) {
            let open = OpenOptions::new().read(true).write(true).open(&path)?;
            return Ok(Terminal { path, _open: open });
        }
    }
    bail!("QEMU made no pseudo-terminal for Modbus")
}
