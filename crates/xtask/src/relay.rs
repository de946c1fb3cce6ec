//! The link of the emulated box on a port of this computer. QEMU takes one connection and lets any other wait without a word: this stands before
//! it and tells a second desk why it is turned away, as a box made of memory does.

use std::io::{ErrorKind, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::time::Duration;

use anyhow::{Context, Result};
use slackside_simulator::box_client::{BoxEnd, Cable};

/// QEMU's end.
struct Board(TcpStream);

impl BoxEnd for Board {
    fn put(&mut self, bytes: &[u8]) {
        // What it does not take is lost, as on any serial line.
        let _ = self.0.write_all(bytes);
    }

    fn take(&mut self) -> Vec<u8> {
        let mut bytes = [0; 4_096];
        match self.0.read(&mut bytes) {
            Ok(count) => bytes[..count].to_vec(),
            Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted) => Vec::new(),
            // QEMU has ended, which whoever started it notices.
            Err(_) => Vec::new(),
        }
    }
}

/// Listen on `port` for desks, for the box on `inner`, until this program ends.
pub fn listen(port: u16, inner: u16) -> Result<()> {
    let listener = TcpListener::bind(("127.0.0.1", port))
        .with_context(|| format!("cannot listen on 127.0.0.1:{port}: name a free port with --port"))?;
    listener.set_nonblocking(true)?;
    let board = TcpStream::connect(("127.0.0.1", inner)).context("QEMU does not open the link of its board")?;
    board.set_nodelay(true)?;
    board.set_nonblocking(true)?;
    std::thread::Builder::new().name("link".to_owned()).spawn(move || {
        let mut cable = Cable::new(&listener, Board(board));
        loop {
            cable.pump();
            std::thread::sleep(Duration::from_millis(1));
        }
    })?;
    Ok(())
}
