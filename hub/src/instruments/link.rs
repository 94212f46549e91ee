//! Lines to and from an instrument, each by a moment: a socket or a serial port.
//!
//! A line that does not end in time, ends with the connection, is too long or is no plain text is
//! a fault; what came of it is thrown away.

use std::io::{ErrorKind, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use guyline_core::scpi::REPLY_BYTES_MAX;

use super::Address;

/// Why no line came, or none could be sent.
#[derive(Debug, thiserror::Error)]
pub enum LinkFault {
    /// There is nothing at the address.
    #[error("nothing answers: {source}")]
    Unreachable {
        /// The system's reason.
        #[source]
        source: std::io::Error,
    },
    /// No whole line in time.
    #[error("no whole answer came within {waited_ms} ms")]
    Silent {
        /// How long was waited.
        waited_ms: u64,
    },
    /// It went away.
    #[error("the connection ended in the middle of an answer")]
    Ended,
    /// More than any answer has.
    #[error("more than {REPLY_BYTES_MAX} bytes came without an end of line")]
    Endless,
    /// Not plain text.
    #[error("what came is no plain text")]
    Garbage,
    /// The system failed.
    #[error("the connection failed: {source}")]
    Failed {
        /// The system's reason.
        #[source]
        source: std::io::Error,
    },
}

/// Both ways to an instrument.
pub(super) struct Link {
    port: Box<dyn Port>,
    wait: Duration,
}

/// What can be read and written with a time limit.
trait Port: Read + Write + Send {
    fn limit(&mut self, wait: Duration) -> std::io::Result<()>;
}

impl Port for TcpStream {
    fn limit(&mut self, wait: Duration) -> std::io::Result<()> {
        self.set_write_timeout(Some(wait))?;
        self.set_read_timeout(Some(wait))
    }
}

impl Port for Box<dyn serialport::SerialPort> {
    fn limit(&mut self, wait: Duration) -> std::io::Result<()> {
        Ok(self.set_timeout(wait)?)
    }
}

impl Link {
    /// Opens the way to an instrument. `wait` is how long each answer may take.
    pub(super) fn open(address: &Address, wait: Duration) -> Result<Self, LinkFault> {
        let unreachable = |source| LinkFault::Unreachable { source };
        let port: Box<dyn Port> = match address {
            Address::Socket(socket) => {
                let stream = TcpStream::connect_timeout(socket, wait).map_err(unreachable)?;
                stream.set_nodelay(true).map_err(unreachable)?;
                Box::new(stream)
            }
            Address::Serial { path, baud } => {
                let port = serialport::new(path, *baud).timeout(wait).open();
                Box::new(port.map_err(|error| unreachable(error.into()))?)
            }
        };
        Ok(Self { port, wait })
    }

    /// Sends one message.
    pub(super) fn say(&mut self, message: &str) -> Result<(), LinkFault> {
        let line = format!("{message}\n");
        let sent = self.port.limit(self.wait).and_then(|()| self.port.write_all(line.as_bytes()));
        // Nothing is buffered on this side; the answer tells whether it arrived.
        sent.map_err(|error| self.fault(error))
    }

    /// Waits for one line.
    pub(super) fn hear(&mut self) -> Result<String, LinkFault> {
        let until = Instant::now() + self.wait;
        let mut line = Vec::new();
        loop {
            // The limit is of the whole line: an instrument that drips never holds us.
            let left = until.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Err(self.silent());
            }
            let mut byte = [0];
            let got = self.port.limit(left).and_then(|()| self.port.read(&mut byte));
            match got {
                Ok(0) => return Err(LinkFault::Ended),
                Ok(_) if byte[0] == b'\n' => return as_text(&line),
                Ok(_) if line.len() == REPLY_BYTES_MAX => return Err(LinkFault::Endless),
                Ok(_) => line.push(byte[0]),
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => return Err(self.fault(error)),
            }
        }
    }

    fn silent(&self) -> LinkFault {
        LinkFault::Silent { waited_ms: u64::try_from(self.wait.as_millis()).unwrap_or(u64::MAX) }
    }

    fn fault(&self, source: std::io::Error) -> LinkFault {
        match source.kind() {
            ErrorKind::WouldBlock | ErrorKind::TimedOut => self.silent(),
            ErrorKind::ConnectionReset | ErrorKind::BrokenPipe | ErrorKind::UnexpectedEof => {
                LinkFault::Ended
            }
            _ => LinkFault::Failed { source },
        }
    }
}

fn as_text(line: &[u8]) -> Result<String, LinkFault> {
    let line = line.strip_suffix(b"\r").unwrap_or(line);
    if !line.iter().all(|byte| (b' '..=b'~').contains(byte) || *byte == b'\t') {
        return Err(LinkFault::Garbage);
    }
    Ok(String::from_utf8_lossy(line).into_owned())
}
