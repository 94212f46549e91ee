//! Health and numbers of a node, for whoever watches over it: `GET /health` and `GET /metrics` (the
//! Prometheus text format, version 0.0.4) at a loopback address of their own.
//!
//! Counts only: no name of a person, a site or a device, and nothing anybody wrote.

use std::fmt::Write as _;
use std::net::SocketAddr;

use axum::Router;
use axum::extract::State;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};
use axum::routing::get;

use super::ListenError;
use super::serving::{Served, bind};
use crate::Node;
use crate::documents::NodeError;
use crate::sync::address::loopback;

/// The way in for whoever watches. Dropping it stops it too.
#[derive(Debug)]
pub struct Metrics {
    address: String,
    served: Served,
}

impl Metrics {
    /// Starts to answer at a loopback address; port 0 takes any that is free.
    pub async fn start(node: &Node, address: SocketAddr) -> Result<Self, ListenError> {
        let (listener, bound) = bind(loopback(&address.to_string())?).await?;
        let router = Router::new()
            .route("/health", get(health))
            .route("/metrics", get(metrics))
            .with_state(node.clone());
        let served = Served::start(listener, move |_| router.clone());
        Ok(Self { address: format!("http://{bound}"), served })
    }

    /// Where it answers, as `http://127.0.0.1:9470`.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// Stops, after what is under way is answered.
    pub async fn stop(self) {
        self.served.stop().await;
    }
}

/// Healthy is a node whose store answers and whose roster can be read.
async fn health(State(node): State<Node>) -> Response {
    let fault = node.roster_fault();
    // Whatever asks for a document would have to put in place first what arrived.
    match tokio::task::spawn_blocking(move || node.arrivals_waiting()).await {
        Ok(Ok(_)) if fault.is_none() => (StatusCode::OK, "ok\n").into_response(),
        Ok(Ok(_)) => (StatusCode::SERVICE_UNAVAILABLE, "the roster is damaged\n").into_response(),
        _ => (StatusCode::SERVICE_UNAVAILABLE, "the store does not answer\n").into_response(),
    }
}

async fn metrics(State(node): State<Node>) -> Response {
    let told = tokio::task::spawn_blocking(move || numbers(&node)).await;
    let Ok(Ok(text)) = told else {
        return (StatusCode::SERVICE_UNAVAILABLE, "the store does not answer\n").into_response();
    };
    ([(CONTENT_TYPE, "text/plain; version=0.0.4")], text).into_response()
}

fn numbers(node: &Node) -> Result<String, NodeError> {
    let arrivals = node.arrivals_waiting()?;
    let page = node.background();
    let peers = node.peers()?;
    let failing = peers.iter().filter(|peer| peer.last_failure.is_some()).count() as u64;
    let rows = [
        ("arrivals_waiting", "gauge", "Pieces of logs not yet in their place.", arrivals),
        ("changes_total", "counter", "Changes ever stored.", node.position()?),
        ("documents", "gauge", "Documents here.", node.documents()?.len() as u64),
        ("only_here_changes", "gauge", "Changes that no other node holds.", node.only_here()?),
        ("set_aside_changes", "gauge", "Malformed changes set aside.", node.set_aside_count()?),
        ("members", "gauge", "Devices on the roster.", node.members().len() as u64),
        ("peers", "gauge", "Nodes met so far.", peers.len() as u64),
        ("peers_failing", "gauge", "Nodes whose last merge failed.", failing),
        ("merges_under_way", "gauge", "Merges under way.", page.under_way.len() as u64),
        ("background_paused", "gauge", "1 while merging is paused.", page.paused.into()),
    ];
    let mut text = String::new();
    for (name, kind, help, number) in rows {
        writeln!(text, "# HELP guyline_{name} {help}\n# TYPE guyline_{name} {kind}")
            .and_then(|()| writeln!(text, "guyline_{name} {number}"))
            .expect("a String takes all text");
    }
    Ok(text)
}
