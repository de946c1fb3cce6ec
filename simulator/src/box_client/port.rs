//! Where a box is reached: a serial device, or a TCP address.

use std::io::{self, Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::time::Duration;

use anyhow::{Context, anyhow, bail};

/// How long one read or write may take.
const PATIENCE: Duration = Duration::from_millis(50);
/// How long a connection may take to come up.
const CONNECTING: Duration = Duration::from_secs(5);

/// An open line to a box.
pub enum Port {
    /// A serial device.
    Serial(Box<dyn serialport::SerialPort>),
    /// A TCP connection.
    Tcp(TcpStream),
}

impl Port {
    /// Open `name`: `HOST:PORT`, or the path or name of a serial device, which is then set to `baud`, 8 data bits, no
    /// parity, 1 stop bit.
    ///
    /// # Errors
    /// With what was tried and what to check.
    pub fn open(name: &str, baud: u32) -> anyhow::Result<Self> {
        match name.rsplit_once(':').map(|(host, port)| (host, port.parse::<u16>())) {
            Some((host, Ok(port))) if !host.is_empty() => Self::connect(name, host, port),
            _ => {
                let device = serialport::new(name, baud).timeout(PATIENCE).open();
                let device = device.map_err(|error| {
                    anyhow!(
                        "{name} does not open as a serial device: {error}\n  mend: check its name, that nothing else uses it, and that \
                         you may (on Linux: the group `dialout`); for a box on the network write HOST:PORT, the port a number up to 65535"
                    )
                })?;
                Ok(Self::Serial(device))
            }
        }
    }

    fn connect(name: &str, host: &str, port: u16) -> anyhow::Result<Self> {
        let host = host.trim_start_matches('[').trim_end_matches(']');
        let addresses = (host, port).to_socket_addrs().with_context(|| format!("{name}: the host is not known"))?;
        let mut last = None;
        for address in addresses {
            match TcpStream::connect_timeout(&address, CONNECTING) {
                Ok(stream) => {
                    stream.set_nodelay(true)?;
                    stream.set_read_timeout(Some(PATIENCE))?;
                    stream.set_write_timeout(Some(Duration::from_secs(1)))?;
                    return Ok(Self::Tcp(stream));
                }
                Err(error) => last = Some(error),
            }
        }
        match last {
            Some(error) => bail!(
                "{name} does not answer: {error}\n  mend: see that the box is on, and that its link is connected there"
            ),
            None => bail!("{name}: the host has no address"),
        }
    }

    /// Read what has come in; 0 bytes if nothing has for a while.
    ///
    /// # Errors
    /// The line is gone.
    pub fn read_some(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let read = match self {
            Self::Serial(device) => device.read(buffer),
            Self::Tcp(stream) => match stream.read(buffer) {
                Ok(0) => {
                    return Err(io::Error::new(io::ErrorKind::UnexpectedEof, "the other end closed the connection"));
                }
                read => read,
            },
        };
        match read {
            Err(error) if matches!(error.kind(), io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock) => Ok(0),
            read => read,
        }
    }

    /// Write all of `bytes`.
    ///
    /// # Errors
    /// The line is gone, or takes nothing.
    pub fn write_all(&mut self, bytes: &[u8]) -> io::Result<()> {
        match self {
            Self::Serial(device) => device.write_all(bytes),
            Self::Tcp(stream) => stream.write_all(bytes),
        }
    }
}
