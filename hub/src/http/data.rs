//! Data for other programs: `GET /data/v1/…`, read only, described by `/data/v1/openapi.json`,
//! which is made from the code below.
//!
//! An answer carries an `ETag` made from every document's newest changes: a program that asks again
//! with `If-None-Match` gets 304 until something was recorded. What cannot be answered is a
//! [`Refusal`] in JSON. A parameter that is not known here is refused, not passed over: whoever
//! asks for less than they mean gets more than they want.

use std::collections::BTreeMap;

use axum::Router;
use axum::extract::{Path, Request, State};
use axum::http::header::{ACCEPT, CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use axum::routing::get;
use chrono::NaiveDate;
use guyline_core::record::DocumentId;
use guyline_core::record::ids::is_entry_id;
use serde::Serialize;
use sha2::{Digest, Sha256};
use utoipa::{IntoResponses, OpenApi};

use super::router::{Refused, only_get};
use crate::Node;
use crate::desk::data::{self, ReadingsAsked};
use crate::desk::{Code, Refusal};
use crate::takeout::answers::{
    CalibrationsAnswer, ReadingsAnswer, SitesAnswer, VisitAnswer, VisitsAnswer,
};

/// So many readings a page, unless fewer are asked for.
const PAGE: usize = 500;
const PAGE_MAX: usize = 1000;

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Guyline, data for other programs",
        version = "1",
        description = "What a shop's record says, read only. Levels and powers are in dBm, \
                       frequency errors and deviations in Hz, times in UTC. A verdict is made anew \
                       from the record; a limit that is from memory says so.",
        license(name = "Apache-2.0", identifier = "Apache-2.0"),
    ),
    paths(sites, visits, visit, readings, calibrations_due, openapi),
    components(schemas(Refusal, Code))
)]
struct Described;

/// What every question may be refused with.
#[derive(IntoResponses)]
#[expect(dead_code, reason = "only its description is used")]
enum Refusals {
    /// A parameter is wrong or not known here.
    #[response(status = 400)]
    Wrong(Refusal),
    /// The request did not come from this machine.
    #[response(status = 403)]
    Forbidden(Refusal),
    /// There is no such thing on this node.
    #[response(status = 404)]
    NotHere(Refusal),
    /// Only GET and HEAD are answered.
    #[response(status = 405)]
    NotThat(Refusal),
    /// JSON is all there is, and it is not accepted.
    #[response(status = 406)]
    NotAccepted(Refusal),
    /// The papers do not belong together here.
    #[response(status = 422)]
    DoNotFit(Refusal),
    /// The store failed.
    #[response(status = 500)]
    Failed(Refusal),
}

/// What is answered below `/data`.
pub(super) fn routes() -> Router<Node> {
    Router::new()
        .route("/data/v1/sites", get(sites).fallback(only_get))
        .route("/data/v1/visits", get(visits).fallback(only_get))
        .route("/data/v1/visits/{id}", get(visit).fallback(only_get))
        .route("/data/v1/readings", get(readings).fallback(only_get))
        .route("/data/v1/calibrations-due", get(calibrations_due).fallback(only_get))
        .route("/data/v1/openapi.json", get(openapi).fallback(only_get))
}

/// The sites with their repeaters. Where a site stands is not told.
#[utoipa::path(
    get,
    path = "/data/v1/sites",
    responses(
        (status = 200, body = SitesAnswer, description = "The sites."),
        (status = 304, description = "The asker has this answer."),
        Refusals,
    )
)]
async fn sites(State(node): State<Node>, request: Request) -> Result<Response, Refused> {
    let asked = Asked::read(&request, &[])?;
    answer(node, asked, data::all_sites).await
}

/// The visits, a line each.
#[utoipa::path(
    get,
    path = "/data/v1/visits",
    responses(
        (status = 200, body = VisitsAnswer, description = "The visits."),
        (status = 304, description = "The asker has this answer."),
        Refusals,
    )
)]
async fn visits(State(node): State<Node>, request: Request) -> Result<Response, Refused> {
    let asked = Asked::read(&request, &[])?;
    answer(node, asked, data::all_visits).await
}

/// A visit with its readings.
#[utoipa::path(
    get,
    path = "/data/v1/visits/{id}",
    params(("id" = String, Path, description = "The visit's id.",
            pattern = "^[0-7][0-9A-HJKMNP-TV-Z]{25}$")),
    responses(
        (status = 200, body = VisitAnswer, description = "The visit."),
        (status = 304, description = "The asker has this answer."),
        Refusals,
    )
)]
async fn visit(
    State(node): State<Node>,
    Path(id): Path<String>,
    request: Request,
) -> Result<Response, Refused> {
    let asked = Asked::read(&request, &[])?;
    let id = document("id", &id)?;
    answer(node, asked, move |node| data::one_visit(node, id)).await
}

/// Readings, a page at a time, by visit and id.
#[utoipa::path(
    get,
    path = "/data/v1/readings",
    params(
        ("site" = Option<String>, Query, description = "Of this site only, by id.",
         pattern = "^[0-7][0-9A-HJKMNP-TV-Z]{25}$"),
        ("from" = Option<String>, Query, format = Date,
         description = "Read on this day or later, in UTC by the device's clock."),
        ("to" = Option<String>, Query, format = Date,
         description = "Read on this day or earlier."),
        ("after" = Option<String>, Query, description = "What the page before gave as `next`.",
         pattern = "^[0-7][0-9A-HJKMNP-TV-Z]{25}\\.[A-Za-z0-9-]{1,64}$"),
        ("limit" = Option<u32>, Query, minimum = 1, maximum = 1000,
         description = "So many at most; 500 unless said."),
    ),
    responses(
        (status = 200, body = ReadingsAnswer, description = "A page of readings."),
        (status = 304, description = "The asker has this answer."),
        Refusals,
    )
)]
async fn readings(State(node): State<Node>, request: Request) -> Result<Response, Refused> {
    let asked = Asked::read(&request, &["site", "from", "to", "after", "limit"])?;
    let wanted = ReadingsAsked {
        site: asked.get("site").map(|text| document("site", text)).transpose()?,
        from: asked.get("from").map(|text| day("from", text)).transpose()?,
        to: asked.get("to").map(|text| day("to", text)).transpose()?,
        after: asked.get("after").map(after).transpose()?,
        limit: asked.get("limit").map_or(Ok(PAGE), limit)?,
    };
    answer(node, asked, move |node| data::readings(node, &wanted)).await
}

/// When calibrations of instruments and parts in use end, the earliest first.
#[utoipa::path(
    get,
    path = "/data/v1/calibrations-due",
    params(("until" = Option<String>, Query, format = Date,
            description = "Those that end on this day or earlier.")),
    responses(
        (status = 200, body = CalibrationsAnswer, description = "When calibrations end."),
        (status = 304, description = "The asker has this answer."),
        Refusals,
    )
)]
async fn calibrations_due(State(node): State<Node>, request: Request) -> Result<Response, Refused> {
    let asked = Asked::read(&request, &["until"])?;
    let until = asked.get("until").map(|text| day("until", text)).transpose()?;
    answer(node, asked, move |node| data::calibrations(node, until)).await
}

/// This description.
#[utoipa::path(
    get,
    path = "/data/v1/openapi.json",
    responses(
        (status = 200, content_type = "application/json", description = "OpenAPI 3.1."),
        (status = 304, description = "The asker has this answer."),
        Refusals,
    )
)]
async fn openapi(State(node): State<Node>, request: Request) -> Result<Response, Refused> {
    let asked = Asked::read(&request, &[])?;
    answer(node, asked, |_| Ok(Described::openapi())).await
}

/// What a request says besides its path.
struct Asked {
    uri: Uri,
    seen: Option<String>,
    parameters: BTreeMap<String, String>,
}

impl Asked {
    /// Refuses what is not known here, what stands twice, and who takes no JSON.
    fn read(request: &Request, known: &[&str]) -> Result<Self, Refused> {
        accepts_json(request.headers())?;
        let query = request.uri().query().unwrap_or_default();
        let mut parameters = BTreeMap::new();
        for (name, value) in form_urlencoded::parse(query.as_bytes()) {
            if !known.contains(&&*name) {
                let all = match known.is_empty() {
                    true => "ask without any".to_owned(),
                    false => format!("these are known: {}", known.join(", ")),
                };
                return Err(wrong(&name, "is no parameter here".to_owned(), all));
            }
            let name = name.into_owned();
            if parameters.insert(name.clone(), value.into_owned()).is_some() {
                return Err(wrong(&name, "stands twice".to_owned(), "give it once".to_owned()));
            }
        }
        let seen = one(request.headers(), &IF_NONE_MATCH);
        Ok(Self { uri: request.uri().clone(), seen, parameters })
    }

    fn get(&self, name: &str) -> Option<&str> {
        self.parameters.get(name).map(String::as_str)
    }

    /// Whether the asker has seen this answer already (RFC 9110, section 13.1.2).
    fn has_seen(&self, tag: &str) -> bool {
        let same =
            |seen: &str| matches!(seen.trim(), "*") || seen.trim().trim_start_matches("W/") == tag;
        self.seen.as_deref().is_some_and(|all| all.split(',').any(same))
    }
}

fn one(headers: &HeaderMap, name: &HeaderName) -> Option<String> {
    let values = headers.get_all(name).iter().filter_map(|value| value.to_str().ok());
    let all: Vec<&str> = values.collect();
    (!all.is_empty()).then(|| all.join(","))
}

/// Answers unless the asker has the answer already.
async fn answer<A: Serialize + Send + 'static>(
    node: Node,
    asked: Asked,
    work: impl FnOnce(&Node) -> Result<A, Refusal> + Send + 'static,
) -> Result<Response, Refused> {
    let done = node.on_disk(move |node| -> Result<Response, Refusal> {
        // Before the work: what is recorded meanwhile makes the tag old, never the answer.
        let tag = tag(&data::mark(&node)?, &asked.uri);
        let head = [
            (ETAG, HeaderValue::from_str(&tag).expect("hexadecimal in quotes")),
            (CACHE_CONTROL, HeaderValue::from_static("private, no-cache")),
        ];
        if asked.has_seen(&tag) {
            return Ok((StatusCode::NOT_MODIFIED, head).into_response());
        }
        let body = serde_json::to_vec(&work(&node)?).expect("text keys, finite numbers only");
        let json = [(CONTENT_TYPE, HeaderValue::from_static("application/json"))];
        Ok((head, json, body).into_response())
    });
    Ok(done.await?)
}

fn tag(mark: &str, uri: &Uri) -> String {
    let digest = Sha256::new().chain_update(mark).chain_update(" ").chain_update(uri.to_string());
    let digest: String = digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
    format!("\"{}\"", &digest[..32])
}

/// Whether JSON may be sent (RFC 9110, section 12.5.1): a range that names it more closely counts
/// before one that is wider, and a weight of nought forbids.
fn accepts_json(headers: &HeaderMap) -> Result<(), Refused> {
    let Some(accept) = one(headers, &ACCEPT) else { return Ok(()) };
    let mut best: Option<(u8, bool)> = None;
    for range in accept.split(',') {
        let mut pieces = range.split(';').map(str::trim);
        let closeness = match pieces.next().map(str::to_ascii_lowercase).as_deref() {
            Some("application/json") => 3,
            Some("application/*") => 2,
            Some("*/*") => 1,
            _ => continue,
        };
        let weight = pieces.find_map(|piece| piece.strip_prefix("q=")?.parse::<f32>().ok());
        let allows = weight.is_none_or(|weight| weight > 0.0);
        if best.is_none_or(|(known, _)| closeness > known) {
            best = Some((closeness, allows));
        }
    }
    if best.is_some_and(|(_, allows)| allows) || accept.trim().is_empty() {
        return Ok(());
    }
    let shown: String = accept.chars().take(100).collect();
    let refusal = Refusal::new(
        Code::WrongBody,
        format!("only JSON is answered here, and {shown:?} does not take it"),
        "send Accept: application/json",
    );
    Err(Refused::new(StatusCode::NOT_ACCEPTABLE, refusal.at("Accept")))
}

fn wrong(name: &str, what: String, help: String) -> Refused {
    let shown: String = name.chars().take(40).collect();
    Refusal::new(Code::WrongBody, format!("{shown:?} {what}"), help).at(shown).into()
}

fn document(name: &str, text: &str) -> Result<DocumentId, Refused> {
    let id = text.parse::<DocumentId>().ok().filter(|id| id.to_string() == text);
    id.ok_or_else(|| {
        wrong(name, "is no id".to_owned(), "give an id as /data/v1/sites has them".to_owned())
    })
}

fn day(name: &str, text: &str) -> Result<NaiveDate, Refused> {
    let day = text.parse::<NaiveDate>().ok().filter(|day| day.to_string() == text);
    day.ok_or_else(|| wrong(name, "is no day".to_owned(), "write it as 2026-05-14".to_owned()))
}

fn after(text: &str) -> Result<(DocumentId, String), Refused> {
    let cursor = text.split_once('.').and_then(|(session, reading)| {
        let id = document("after", session).ok()?;
        is_entry_id(reading).then(|| (id, reading.to_owned()))
    });
    let help = "give what the page before had as `next`".to_owned();
    cursor.ok_or_else(|| wrong("after", "is no place to go on from".to_owned(), help))
}

fn limit(text: &str) -> Result<usize, Refused> {
    let plain = text.bytes().all(|byte| byte.is_ascii_digit());
    let count = text.parse().ok().filter(|count| plain && (1..=PAGE_MAX).contains(count));
    let help = format!("give a number from 1 to {PAGE_MAX}");
    count.ok_or_else(|| wrong("limit", "is no such number".to_owned(), help))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_takes_no_json_gets_none() {
        let accepts = |text: &str| {
            let headers = HeaderMap::from_iter([(ACCEPT, text.parse().unwrap())]);
            accepts_json(&headers).is_ok()
        };
        for text in
            ["*/*", "application/json", "text/html, application/*;q=0.5", "application/JSON"]
        {
            assert!(accepts(text), "{text}");
        }
        for text in ["text/html", "application/json;q=0", "*/*, application/json;q=0", "image/*"] {
            assert!(!accepts(text), "{text}");
        }
    }

    #[test]
    fn a_parameter_is_what_it_is_written_as_and_nothing_near_it() {
        assert!(day("from", "2026-05-14").is_ok());
        for text in ["", "2026-5-14", "2026-02-30", " 2026-05-14", "14.5.2026"] {
            assert!(day("from", text).is_err(), "{text:?}");
        }
        assert!(limit("1000").is_ok());
        for text in ["0", "1001", "+5", "", "1e2"] {
            assert!(limit(text).is_err(), "{text:?}");
        }
        assert!(after("01JV7ZC0000000000000000W0R.01JV7ZC0000000000000000W0R").is_ok());
        for text in ["", "01JV7ZC0000000000000000W0R", "01JV7ZC0000000000000000W0R.", "x.y"] {
            assert!(after(text).is_err(), "{text:?}");
        }
    }
}
