//! TLS handshakes, each beside the others, and never more than this machine can bear.
//!
//! In: connections as they come. Out: those whose handshake is done, with who is at the other end.
//! Handshakes under way and connections are bounded, in all and for one address: whoever has enough
//! is hung up on, so that one machine keeps no other out.

use std::collections::BTreeMap;
use std::io;
use std::net::{IpAddr, SocketAddr};
use std::pin::Pin;
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use std::time::Duration;

use axum::serve::Listener;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};
use tokio::task::JoinHandle;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;

/// A handshake that takes longer is given up.
const HANDSHAKE_WITHIN: Duration = Duration::from_secs(10);
/// So many handshakes are under way at once; others wait in the system's queue.
const HANDSHAKES_MAX: usize = 256;
/// So many of one address.
const HANDSHAKES_OF_ONE_MAX: usize = 16;
/// So many connections stand at once.
const CONNECTIONS_MAX: usize = 512;
/// So many of one address: a shop's browsers may all come by one.
const CONNECTIONS_OF_ONE_MAX: usize = 128;

/// Says who is at the other end; none where nobody is that may be answered.
pub(super) type Known<A> = fn(&TlsStream<TcpStream>, SocketAddr) -> Option<A>;

/// The connections whose handshake is done. Dropping it ends that more are taken.
pub(super) struct Shaken<A> {
    done: mpsc::Receiver<(Held, A)>,
    accepting: JoinHandle<()>,
}

impl<A> Drop for Shaken<A> {
    fn drop(&mut self) {
        self.accepting.abort();
    }
}

/// Takes connections from now on.
pub(super) fn accept<A: Send + 'static>(
    listener: TcpListener,
    acceptor: TlsAcceptor,
    known: Known<A>,
) -> Shaken<A> {
    let (send, done) = mpsc::channel(16);
    Shaken { done, accepting: tokio::spawn(accepting(listener, acceptor, known, send)) }
}

async fn accepting<A: Send + 'static>(
    listener: TcpListener,
    acceptor: TlsAcceptor,
    known: Known<A>,
    send: mpsc::Sender<(Held, A)>,
) {
    let room = Arc::new(Semaphore::new(HANDSHAKES_MAX));
    let standing = Arc::new(Semaphore::new(CONNECTIONS_MAX));
    let (shaking, connected) = (Counts::default(), Counts::default());
    loop {
        let Ok(place) = room.clone().acquire_owned().await else { return };
        let Ok((stream, from)) = listener.accept().await else {
            // Out of descriptors, most likely: some will be given back soon.
            tokio::time::sleep(Duration::from_millis(100)).await;
            continue;
        };
        // An answer is whole: to wait for more to go with it only waits. One that is gone is told
        // by its handshake.
        let _gone = stream.set_nodelay(true);
        let turn = Turn::of(&shaking, from.ip(), HANDSHAKES_OF_ONE_MAX);
        let line = Turn::of(&connected, from.ip(), CONNECTIONS_OF_ONE_MAX);
        let (Some(turn), Some(line)) = (turn, line) else { continue };
        let (acceptor, send, standing) = (acceptor.clone(), send.clone(), standing.clone());
        tokio::spawn(async move {
            let _place = (place, turn);
            let shaken = tokio::time::timeout(HANDSHAKE_WITHIN, acceptor.accept(stream)).await;
            // Who is not admitted, or no TLS at all: there is nobody to tell.
            let Ok(Ok(stream)) = shaken else { return };
            let Ok(stands) = standing.try_acquire_owned() else { return };
            if let Some(who) = known(&stream, from) {
                let held = Held { stream, _line: line, _stands: stands };
                let _stopped_meanwhile = send.send((held, who)).await;
            }
        });
    }
}

/// How many each address has.
type Counts = Arc<Mutex<BTreeMap<IpAddr, usize>>>;

/// One of an address, counted until it is dropped.
struct Turn {
    counts: Counts,
    ip: IpAddr,
}

impl Turn {
    /// None where the address has enough.
    fn of(counts: &Counts, ip: IpAddr, most: usize) -> Option<Self> {
        let mut known = counts.lock().unwrap_or_else(PoisonError::into_inner);
        let count = known.entry(ip).or_default();
        if *count >= most {
            return None;
        }
        *count += 1;
        Some(Self { counts: counts.clone(), ip })
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        match counts.get_mut(&self.ip) {
            Some(count) if *count > 1 => *count -= 1,
            _ => drop(counts.remove(&self.ip)),
        }
    }
}

/// A connection that is counted as long as it stands.
pub(super) struct Held {
    stream: TlsStream<TcpStream>,
    _line: Turn,
    _stands: OwnedSemaphorePermit,
}

impl AsyncRead for Held {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, into)
    }
}

impl AsyncWrite for Held {
    fn poll_write(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}

impl<A: Send + 'static> Listener for Shaken<A> {
    type Io = Held;
    type Addr = A;

    async fn accept(&mut self) -> (Self::Io, Self::Addr) {
        match self.done.recv().await {
            Some(shaken) => shaken,
            // Nobody accepts any more; the graceful stop is about to end this.
            None => std::future::pending().await,
        }
    }

    fn local_addr(&self) -> io::Result<Self::Addr> {
        Err(io::Error::other("who calls is no local address"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_has_so_many_turns_and_gets_them_back() {
        let counts = Counts::default();
        let (one, other) = (IpAddr::from([192, 0, 2, 1]), IpAddr::from([192, 0, 2, 2]));
        let mut held: Vec<Turn> = (0..3).filter_map(|_| Turn::of(&counts, one, 3)).collect();
        assert_eq!(held.len(), 3);
        assert!(Turn::of(&counts, one, 3).is_none());
        assert!(Turn::of(&counts, other, 3).is_some(), "the other is not kept out");
        held.pop();
        held.extend(Turn::of(&counts, one, 3));
        assert_eq!(held.len(), 3);
        held.clear();
        assert!(counts.lock().unwrap().is_empty(), "nothing is kept of who has gone");
    }
}
