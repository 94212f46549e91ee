//! Who may ask: programs and pages that mean this node by its own names, nobody else's web page.
//!
//! A page from elsewhere can make the user's browser send requests here, and a name server can
//! point a foreign name at this machine. Both show in `Host`, `Origin` or `Sec-Fetch-Site`, which a
//! page cannot forge. Every answer gets the headers that keep a browser from guessing and framing.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HOST, HeaderName, HeaderValue, ORIGIN, REFERRER_POLICY,
    STRICT_TRANSPORT_SECURITY, X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, Method, StatusCode, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::router::Refused;
use crate::desk::{Code, Refusal};

const SEC_FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

const POLICY: &str = "default-src 'self'; img-src 'self' blob: data:; style-src 'self'; \
                      script-src 'self'; connect-src 'self'; object-src 'none'; \
                      base-uri 'none'; frame-ancestors 'none'; form-action 'none'";

/// The names a way in answers to.
#[derive(Debug)]
pub(super) struct Names {
    /// As `Host` has them, the first one being shown to people.
    hosts: Vec<String>,
    /// Whether it is reached over TLS from other machines, and not from this one in the clear.
    abroad: bool,
}

impl Names {
    /// Those of this machine, for itself only.
    pub(super) fn of_this_machine(port: u16) -> Self {
        let hosts = ["127.0.0.1", "localhost", "[::1]"];
        Self { hosts: hosts.map(|name| format!("{name}:{port}")).to_vec(), abroad: false }
    }

    /// Those that people listed, or the machine's own address, for other machines.
    pub(super) fn abroad(listed: &[String], own: IpAddr, port: u16) -> Self {
        let own = match own {
            IpAddr::V4(ip) => ip.to_string(),
            IpAddr::V6(ip) => format!("[{ip}]"),
        };
        let own = if listed.is_empty() { vec![own] } else { Vec::new() };
        let mut hosts = Vec::new();
        for name in listed.iter().chain(&own) {
            let name = name.to_ascii_lowercase();
            if has_port(&name) {
                hosts.push(name);
                continue;
            }
            // A browser leaves the usual port out.
            hosts.extend((port == 443).then(|| name.clone()));
            hosts.push(format!("{name}:{port}"));
        }
        Self { hosts, abroad: true }
    }

    /// As addresses to open.
    pub(super) fn addresses(&self) -> Vec<String> {
        self.hosts.iter().map(|host| format!("{}{host}", self.scheme())).collect()
    }

    fn scheme(&self) -> &'static str {
        if self.abroad { "https://" } else { "http://" }
    }
}

/// Whether a name brings its port; an IPv6 address has colons of its own.
fn has_port(name: &str) -> bool {
    let after = name.rsplit(']').next().unwrap_or_default();
    after.rsplit_once(':').is_some_and(|(_, port)| port.parse::<u16>().is_ok())
}

/// Lets a request through that may be answered, and seals the answer.
pub(super) async fn guard(
    State(names): State<Arc<Names>>,
    request: Request,
    next: Next,
) -> Response {
    let (method, path) = (request.method().clone(), request.uri().path().to_owned());
    let mut response = match may_ask(&method, request.uri(), request.headers(), &names) {
        Ok(()) => next.run(request).await,
        Err(refused) => refused.into_response(),
    };
    tracing::debug!(%method, ?path, status = response.status().as_u16(), "answered");
    let headers = response.headers_mut();
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    headers.insert(REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    headers.entry(CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    if names.abroad {
        let year = HeaderValue::from_static("max-age=31536000");
        headers.insert(STRICT_TRANSPORT_SECURITY, year);
    }
    response
}

fn may_ask(method: &Method, uri: &Uri, headers: &HeaderMap, names: &Names) -> Result<(), Refused> {
    let host = one(headers, &HOST)?.unwrap_or_default();
    let ours = |host: &str| names.hosts.iter().any(|name| name.eq_ignore_ascii_case(host));
    let named = uri.authority().map_or(host, |authority| authority.as_str());
    if !ours(host) || !ours(named) {
        let refusal = if names.abroad {
            // Its names are nobody's business who does not know them.
            let help = "open the hub by a name it was given; --screens-host adds one";
            forbidden("Host", host, "this hub does not answer to that name", help)
        } else {
            let port = names.hosts[0].rsplit(':').next().unwrap_or_default();
            not_ours("Host", host, &format!("ask for http://127.0.0.1:{port}"))
        };
        let status =
            if names.abroad { StatusCode::MISDIRECTED_REQUEST } else { StatusCode::FORBIDDEN };
        return Err(Refused::new(status, refusal));
    }
    let help = "open this node's own address in the browser and work there";
    let origin = one(headers, &ORIGIN)?;
    if let Some(origin) = origin
        && !origin.strip_prefix(names.scheme()).is_some_and(|from| from.eq_ignore_ascii_case(host))
    {
        return Err(not_ours("Origin", origin, help).into());
    }
    let site = one(headers, &SEC_FETCH_SITE)?;
    // Whoever changes something from afar says from where; every browser does.
    let changes = names.abroad && !matches!(*method, Method::GET | Method::HEAD);
    match site {
        Some("same-origin") => Ok(()),
        None if !changes || origin.is_some() => Ok(()),
        Some("none") if !changes => Ok(()),
        site => Err(not_ours("Sec-Fetch-Site", site.unwrap_or("none was sent"), help).into()),
    }
}

/// A header that may stand once, in plain text.
fn one<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Result<Option<&'a str>, Refusal> {
    let mut values = headers.get_all(name).iter();
    let (first, second) = (values.next(), values.next());
    match (first.map(HeaderValue::to_str), second) {
        (None, _) => Ok(None),
        (Some(Ok(value)), None) => Ok(Some(value)),
        _ => Err(not_ours(name.as_str(), "twice or unreadable", "send it once, in plain text")),
    }
}

fn not_ours(header: &str, found: &str, help: &str) -> Refusal {
    forbidden(header, found, "the request did not come from this machine's own screens", help)
}

fn forbidden(header: &str, found: &str, what: &str, help: &str) -> Refusal {
    let found: String = found.chars().take(100).collect();
    Refusal::new(Code::Forbidden, what, help).at(format!("{header}: {found}"))
}

#[cfg(test)]
#[path = "guard_tests.rs"]
mod tests;
