//! Whose requests pass, on this machine and from others, and by which header the rest is told.

use super::*;

fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
    pairs
        .iter()
        .map(|(name, value)| (HeaderName::from_static(name), value.parse().unwrap()))
        .collect()
}

fn here(pairs: &[(&'static str, &str)]) -> Result<(), Refused> {
    may_ask(&Method::POST, &Uri::from_static("/"), &headers(pairs), &Names::of_this_machine(4770))
}

fn hub() -> Names {
    let listed = ["hub.example".to_owned(), "192.0.2.7:443".to_owned()];
    Names::abroad(&listed, IpAddr::from([192, 0, 2, 8]), 4772)
}

fn from_afar(method: &Method, pairs: &[(&'static str, &str)]) -> Result<(), Refused> {
    may_ask(method, &Uri::from_static("/"), &headers(pairs), &hub())
}

fn told_by(refused: &Refused, status: StatusCode, header: &str) {
    assert_eq!(refused.refusal.code, Code::Forbidden);
    assert_eq!(refused.status, status);
    let at = refused.refusal.at.as_deref().unwrap_or_default();
    assert!(at.starts_with(header), "{}", refused.refusal);
}

#[test]
fn this_machines_own_requests_pass() {
    for pairs in [
        &[("host", "127.0.0.1:4770")][..],
        &[("host", "localhost:4770"), ("origin", "http://localhost:4770")],
        &[("host", "[::1]:4770"), ("sec-fetch-site", "same-origin")],
        &[("host", "127.0.0.1:4770"), ("sec-fetch-site", "none")],
    ] {
        assert!(here(pairs).is_ok(), "{pairs:?}");
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
        told_by(&here(pairs).unwrap_err(), StatusCode::FORBIDDEN, header);
    }
}

#[test]
fn from_afar_the_listed_names_pass_and_a_change_says_where_it_comes_from() {
    let (get, post) = (Method::GET, Method::POST);
    for (method, pairs) in [
        (&get, &[("host", "hub.example:4772")][..]),
        (&get, &[("host", "HUB.example:4772"), ("sec-fetch-site", "none")]),
        (&get, &[("host", "192.0.2.7:443")]),
        (&post, &[("host", "hub.example:4772"), ("origin", "https://hub.example:4772")]),
        (&post, &[("host", "hub.example:4772"), ("sec-fetch-site", "same-origin")]),
    ] {
        assert!(from_afar(method, pairs).is_ok(), "{pairs:?}");
    }
    for (pairs, header) in [
        (&[("host", "hub.example:4772")][..], "Sec-Fetch-Site"),
        (&[("host", "hub.example:4772"), ("sec-fetch-site", "none")], "Sec-Fetch-Site"),
        (&[("host", "hub.example:4772"), ("origin", "http://hub.example:4772")], "Origin"),
        (&[("host", "hub.example:4772"), ("origin", "https://192.0.2.7:443")], "Origin"),
    ] {
        told_by(&from_afar(&post, pairs).unwrap_err(), StatusCode::FORBIDDEN, header);
    }
    for host in ["hub.example", "192.0.2.8:4772", "evil.example:4772", "localhost:4772"] {
        let refused = from_afar(&get, &[("host", host)]).unwrap_err();
        told_by(&refused, StatusCode::MISDIRECTED_REQUEST, "Host");
    }
    let elsewhere = Uri::from_static("https://evil.example/api/today");
    let named = headers(&[("host", "hub.example:4772")]);
    let refused = may_ask(&get, &elsewhere, &named, &hub()).unwrap_err();
    told_by(&refused, StatusCode::MISDIRECTED_REQUEST, "Host");
}

#[test]
fn without_a_list_it_is_the_machines_own_address() {
    let own = |ip: &str, port| Names::abroad(&[], ip.parse().unwrap(), port).addresses();
    assert_eq!(own("192.0.2.8", 4772), ["https://192.0.2.8:4772"]);
    assert_eq!(own("2001:db8::8", 443), ["https://[2001:db8::8]", "https://[2001:db8::8]:443"]);
}
