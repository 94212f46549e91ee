//! Answering connections: each for itself, none for longer than it has something to say.
//!
//! In: connections as they come, and what answers each. Out: when it was told to stop and what was
//! under way is answered. A head that does not come in time, or never, ends its connection, so that
//! whoever opens a thousand and says nothing keeps nobody.

use std::time::Duration;

use axum::Router;
use axum::serve::Listener;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use tokio::sync::oneshot;

/// So long a connection may be without a whole head of a request.
const HEAD_WITHIN: Duration = Duration::from_secs(30);

/// Answers until told to stop, or until whoever could tell is gone.
pub(super) async fn serve<L: Listener>(
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
