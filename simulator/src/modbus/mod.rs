//! A box's registers on TCP ports of this computer: the desk as a gateway before a box.
//!
//! The box leaves a picture of its registers whenever it comes round; whoever asks is answered from the newest, by threads of their own.
//! When the box stops coming round the picture grows old, and after two seconds it is not told any more: exception 0B.

use std::io::{ErrorKind, Read as _, Write as _};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{JoinHandle, sleep};
use std::time::{Duration, Instant};

use anyhow::Context as _;
use slackside_modbus::leg::{OLD_AFTER, may_write};
use slackside_modbus::registers::{self, LAST};
use slackside_modbus::server::{Exception, MOST_PDU, Registers, answer, refuse};
use slackside_modbus::tcp;
use slackside_modbus::view::View;

/// Masters at once; one more is turned away, and tries again.
const MASTERS: usize = 8;
/// A master that has been silent for so long is taken for gone.
const SILENT: Duration = Duration::from_secs(60);
/// How often a thread looks whether it is to end.
const LOOK: Duration = Duration::from_millis(100);
/// Older than this nothing is told.
const OLD: Duration = Duration::from_micros(OLD_AFTER.get() as u64);
/// The register of how many alarms wait.
const TO_ACKNOWLEDGE: usize = 6;
/// A picture is taken no more often.
const EVERY: Duration = Duration::from_millis(20);
/// What was acknowledged stands in the registers after so long, if the box comes round.
const TOLD_WITHIN: Duration = Duration::from_millis(300);

/// Where the box says whether it takes an acknowledgement.
type Asking = Sender<bool>;

/// The registers at one moment.
#[derive(Clone)]
struct Picture {
    registers: [u16; LAST as usize + 1],
    taken: Instant,
}

/// What all threads share.
struct Shared {
    /// `None` before the box has come round once.
    picture: Mutex<Option<Picture>>,
    asking: Mutex<Sender<Asking>>,
    address: u8,
    masters: AtomicUsize,
    stop: AtomicBool,
}

fn locked<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    // A thread that panicked has left a whole value: each is written in one go.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shared {
    /// Until the registers tell of an acknowledgement that was taken, so that whoever reads or writes next finds it done; not for long,
    /// since new alarms may have come meanwhile.
    fn wait_until_told(&self) {
        let begun = Instant::now();
        let waits = || locked(&self.picture).as_ref().is_some_and(|picture| picture.registers[TO_ACKNOWLEDGE] != 0);
        while begun.elapsed() < TOLD_WITHIN && waits() {
            sleep(EVERY / 4);
        }
    }
}

/// Serves until it is dropped.
pub struct Gateway {
    shared: Arc<Shared>,
    asked: Receiver<Asking>,
    at: SocketAddr,
    thread: Option<JoinHandle<()>>,
}

impl Gateway {
    /// Listen on `listen` (port 0 for any free one) for the leg of this address.
    ///
    /// # Errors
    /// The port is taken or not this computer's.
    pub fn start(listen: &str, address: u8) -> anyhow::Result<Self> {
        let listener = TcpListener::bind(listen).with_context(|| {
            format!("cannot serve Modbus on {listen}: name a free port of this computer, 502 only as root")
        })?;
        let at = listener.local_addr()?;
        listener.set_nonblocking(true)?;
        let (asking, asked) = channel();
        let shared = Arc::new(Shared {
            picture: Mutex::new(None),
            asking: Mutex::new(asking),
            address,
            masters: AtomicUsize::new(0),
            stop: AtomicBool::new(false),
        });
        let of_thread = Arc::clone(&shared);
        let thread =
            std::thread::Builder::new().name("modbus".to_owned()).spawn(move || accept(&listener, &of_thread))?;
        Ok(Self { shared, asked, at, thread: Some(thread) })
    }

    /// Where it listens.
    #[must_use]
    pub const fn address(&self) -> SocketAddr {
        self.at
    }

    /// Whether it is time for a new picture.
    #[must_use]
    pub fn wants_picture(&self) -> bool {
        locked(&self.shared.picture).as_ref().is_none_or(|picture| picture.taken.elapsed() >= EVERY)
    }

    /// The box came round.
    pub fn take(&self, view: &View<'_>) {
        let mut registers = [0; LAST as usize + 1];
        for (slot, register) in registers.iter_mut().zip(0..) {
            *slot = registers::read(view, register).unwrap_or(slackside_modbus::words::UNKNOWN);
        }
        *locked(&self.shared.picture) = Some(Picture { registers, taken: Instant::now() });
    }

    /// Somebody has seen the alarms: the box says by `taken` whether it takes that now, and is waited for.
    pub fn acknowledge(&self, mut taken: impl FnMut() -> bool) {
        for asking in self.asked.try_iter() {
            // Whoever asked may have gone.
            let _ = asking.send(taken());
        }
    }
}

impl Drop for Gateway {
    fn drop(&mut self) {
        self.shared.stop.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn accept(listener: &TcpListener, shared: &Arc<Shared>) {
    while !shared.stop.load(Ordering::SeqCst) {
        let Ok((stream, _)) = listener.accept() else {
            sleep(LOOK / 10);
            continue;
        };
        if shared.masters.fetch_add(1, Ordering::SeqCst) >= MASTERS {
            shared.masters.fetch_sub(1, Ordering::SeqCst);
            continue;
        }
        let of_thread = Arc::clone(shared);
        let serving = std::thread::Builder::new().name("modbus master".to_owned()).spawn(move || {
            serve(stream, &of_thread);
            of_thread.masters.fetch_sub(1, Ordering::SeqCst);
        });
        if serving.is_err() {
            shared.masters.fetch_sub(1, Ordering::SeqCst);
        }
    }
}

/// Serve one master until it goes, is silent for long, or sends what is no Modbus.
fn serve(mut stream: TcpStream, shared: &Shared) {
    let well = stream.set_nonblocking(false).is_ok()
        && stream.set_nodelay(true).is_ok()
        && stream.set_read_timeout(Some(LOOK)).is_ok()
        && stream.set_write_timeout(Some(SILENT)).is_ok();
    let (mut came, mut heard) = (Vec::new(), Instant::now());
    while well && !shared.stop.load(Ordering::SeqCst) && heard.elapsed() < SILENT {
        let mut bytes = [0; tcp::MOST_FRAME];
        match stream.read(&mut bytes) {
            Ok(0) => return,
            Ok(count) => {
                came.extend_from_slice(&bytes[..count]);
                heard = Instant::now();
            }
            Err(error)
                if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted) => {}
            Err(_) => return,
        }
        loop {
            let request = match tcp::take(&came) {
                Ok(Some(request)) => request,
                Ok(None) => break,
                Err(tcp::Lost) => return,
            };
            let reply = reply(&request, shared);
            let taken = request.taken;
            if stream.write_all(&reply).is_err() {
                return;
            }
            came.drain(..taken);
        }
    }
}

fn reply(request: &tcp::Request<'_>, shared: &Shared) -> Vec<u8> {
    let mut out = [0; MOST_PDU];
    let length = if tcp::is_for(request.unit, shared.address) {
        let picture = locked(&shared.picture).clone();
        answer(request.message, &mut Pictured { picture: picture.as_ref(), shared }, &mut out)
    } else {
        refuse(request.message, Exception::NoAnswer, &mut out)
    };
    let mut reply = tcp::header(request.transaction, request.unit, length).to_vec();
    reply.extend_from_slice(&out[..length]);
    reply
}

/// A leg's registers as the desk serves them.
struct Pictured<'s> {
    picture: Option<&'s Picture>,
    shared: &'s Shared,
}

impl<'s> Pictured<'s> {
    fn fresh(&self) -> Result<&'s Picture, Exception> {
        self.picture.filter(|picture| picture.taken.elapsed() <= OLD).ok_or(Exception::NoAnswer)
    }
}

impl Registers for Pictured<'_> {
    fn read(&mut self, register: u16) -> Result<u16, Exception> {
        if register > LAST {
            return Err(Exception::Address);
        }
        Ok(self.fresh()?.registers[usize::from(register)])
    }

    fn write(&mut self, register: u16, value: u16) -> Result<(), Exception> {
        may_write(register, value)?;
        self.fresh()?;
        if self.fresh()?.registers[TO_ACKNOWLEDGE] == 0 {
            // Nothing to acknowledge: it is done already.
            return Ok(());
        }
        let (answer, answered) = channel();
        locked(&self.shared.asking).send(answer).map_err(|_| Exception::NoAnswer)?;
        match answered.recv_timeout(OLD) {
            Ok(true) => {
                self.shared.wait_until_told();
                Ok(())
            }
            Ok(false) => Err(Exception::Busy),
            Err(_) => Err(Exception::NoAnswer),
        }
    }
}
