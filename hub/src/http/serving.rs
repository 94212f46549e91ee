//! Answering connections: each for itself, none for longer than it has something to say.
//!
//! In: connections as they come, and what answers each. Out: when it was told to stop and what was
//! under way is answered. A head that does not come in time, or never, ends its connection, so that
//! whoever opens a thousand and says nothing keeps nobody.

use std::net::SocketAddr;
use std::time::Duration;

use axum::Router;
use axum::serve::Listener;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;

use super::ListenError;

/// So long a connection may be without a whole head of a request.
const HEAD_WITHIN: Duration = Duration::from_secs(30);

/// Takes an address to listen at, and gives the one it is: port 0 takes any that is free.
pub(super) async fn bind(address: SocketAddr) -> Result<(TcpListener, SocketAddr), ListenError> {
    let refused = |source| ListenError::of(address, source);
    let listener = TcpListener::bind(address).await.map_err(refused)?;
    let bound = listener.local_addr().map_err(refused)?;
    Ok((listener, bound))
}

/// Connections that are answered. Dropping it stops that too, without waiting.
#[derive(Debug)]
pub(super) struct Served {
    stop: oneshot::Sender<()>,
    served: JoinHandle<()>,
}

impl Served {
    /// Answers from now on.
    pub(super) fn start<L: Listener>(
        listener: L,
        answering: impl Fn(L::Addr) -> Router + Send + 'static,
    ) -> Self {
        let (stop, stopped) = oneshot::channel();
        Self { stop, served: tokio::spawn(serve(listener, answering, stopped)) }
    }

    /// Stops, after what is under way is answered.
    pub(super) async fn stop(self) {
        // Both can only fail where serving has ended already.
        let _ended_already = self.stop.send(());
        let _ended_already = self.served.await;
    }
}

/// Answers until told to stop, or until whoever could tell is gone.
async fn serve<L: Listener>(
    mut listener: L,
    answering: impl Fn(L::Addr) -> Router + Send + 'static,
    stopped: oneshot::Receiver<()>,
) {
    let under_way = GracefulShutdown::new();
    let mut stopped = stopped;
    loop {
        let (stream, from) = tokio::select! {
            accepted = listener.accept() => accepted,
            _ = &mut stopped => break,
        };
        let connection = http1::Builder::new()
            .timer(TokioTimer::new())
            .header_read_timeout(HEAD_WITHIN)
            .serve_connection(TokioIo::new(stream), TowerToHyperService::new(answering(from)));
        let connection = under_way.watch(connection);
        tokio::spawn(async move {
            // Whoever speaks no HTTP, or hangs up, is told by nobody.
            let _hung_up = connection.await;
        });
    }
    drop(listener);
    under_way.shutdown().await;
}
