//! Who may ask: programs and pages of this machine that mean this node, nobody else's web page.
//!
//! A page from elsewhere can make the user's browser send requests here, and a name server can
//! point a foreign name at this machine. Both show in `Host`, `Origin` or `Sec-Fetch-Site`, which a
//! page cannot forge. Every answer gets the headers that keep a browser from guessing and framing.

use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, HOST, HeaderName, HeaderValue, ORIGIN, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS,
};
use axum::http::{HeaderMap, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::router::{Refused, Way};
use crate::desk::{Code, Refusal};

const SEC_FETCH_SITE: HeaderName = HeaderName::from_static("sec-fetch-site");

const POLICY: &str = "default-src 'self'; img-src 'self' blob: data:; style-src 'self'; \
                      script-src 'self'; connect-src 'self'; object-src 'none'; \
                      base-uri 'none'; frame-ancestors 'none'; form-action 'none'";

/// Lets a request through that may be answered, and seals the answer.
pub(super) async fn guard(State(way): State<Way>, request: Request, next: Next) -> Response {
    let (method, path) = (request.method().clone(), request.uri().path().to_owned());
    let mut response = match may_ask(request.headers(), way.port) {
        Ok(()) => next.run(request).await,
        Err(refusal) => Refused { status: StatusCode::FORBIDDEN, refusal }.into_response(),
    };
    tracing::debug!(%method, ?path, status = response.status().as_u16(), "answered");
    let headers = response.headers_mut();
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
    headers.insert(REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    headers.entry(CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

fn may_ask(headers: &HeaderMap, port: u16) -> Result<(), Refusal> {
    let ours = ["127.0.0.1", "localhost", "[::1]"].map(|name| format!("{name}:{port}"));
    let host = one(headers, &HOST)?.unwrap_or_default();
    if !ours.iter().any(|name| name == host) {
        return Err(forbidden("Host", host, &format!("ask for http://127.0.0.1:{port}")));
    }
    let help = "open this node's own address in the browser and work there";
    if let Some(origin) = one(headers, &ORIGIN)?
        && origin.strip_prefix("http://") != Some(host)
    {
        return Err(forbidden("Origin", origin, help));
    }
    match one(headers, &SEC_FETCH_SITE)? {
        None | Some("same-origin" | "none") => Ok(()),
        Some(site) => Err(forbidden("Sec-Fetch-Site", site, help)),
    }
}

/// A header that may stand once, in plain text.
fn one<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Result<Option<&'a str>, Refusal> {
    let mut values = headers.get_all(name).iter();
    let (first, second) = (values.next(), values.next());
    match (first.map(HeaderValue::to_str), second) {
        (None, _) => Ok(None),
        (Some(Ok(value)), None) => Ok(Some(value)),
        _ => Err(forbidden(name.as_str(), "twice or unreadable", "send it once, in plain text")),
    }
}

fn forbidden(header: &str, found: &str, help: &str) -> Refusal {
    let found: String = found.chars().take(100).collect();
    Refusal::new(Code::Forbidden, "the request did not come from this machine's own screens", help)
        .at(format!("{header}: {found}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        pairs
            .iter()
            .map(|(name, value)| (HeaderName::from_static(name), value.parse().unwrap()))
            .collect()
    }

    #[test]
    fn this_machines_own_requests_pass() {
        for pairs in [
            &[("host", "127.0.0.1:4770")][..],
            &[("host", "localhost:4770"), ("origin", "http://localhost:4770")],
            &[("host", "[::1]:4770"), ("sec-fetch-site", "same-origin")],
            &[("host", "127.0.0.1:4770"), ("sec-fetch-site", "none")],
        ] {
            may_ask(&headers(pairs), 4770).unwrap();
        }
    }

    #[test]
    fn everybody_elses_are_refused_and_told_by_which_header() {
        for (pairs, header) in [
            (&[][..], "Host"),
            (&[("host", "127.0.0.1")], "Host"),
            (&[("host", "127.0.0.1:4771")], "Host"),
            (&[("host", "evil.example:4770")], "Host"),
            (&[("host", "127.0.0.1.evil.example:4770")], "Host"),
            (&[("host", "127.0.0.1:4770"), ("origin", "null")], "Origin"),
            (&[("host", "127.0.0.1:4770"), ("origin", "http://evil.example")], "Origin"),
            (&[("host", "127.0.0.1:4770"), ("origin", "https://127.0.0.1:4770")], "Origin"),
            (&[("host", "127.0.0.1:4770"), ("origin", "http://127.0.0.1:80")], "Origin"),
            (&[("host", "127.0.0.1:4770"), ("sec-fetch-site", "cross-site")], "Sec-Fetch-Site"),
            (&[("host", "127.0.0.1:4770"), ("sec-fetch-site", "same-site")], "Sec-Fetch-Site"),
        ] {
            let refusal = may_ask(&headers(pairs), 4770).unwrap_err();
            assert_eq!(refusal.code, Code::Forbidden);
            assert!(refusal.at.as_deref().unwrap_or_default().starts_with(header), "{refusal}");
        }
    }
}
