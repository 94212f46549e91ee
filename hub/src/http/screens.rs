//! The screens: the built bundle, with types a browser believes and ages it may keep.
//!
//! In: a path. Out: a file of `ui/dist`, which is inside the program in a release build. Paths are
//! names in that list and never file names, so none can lead elsewhere.

use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::http::{StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use rust_embed::Embed;

use super::router::Refused;
use crate::desk::{Code, Refusal};

#[derive(Embed)]
#[folder = "../ui/dist"]
#[allow_missing = true]
struct Bundle;

/// What stands at a path.
pub(super) async fn screen(uri: Uri) -> Response {
    let path = match uri.path() {
        "/" => "index.html",
        path => path.trim_start_matches('/'),
    };
    let (Some(file), Some(content_type)) = (Bundle::get(path), content_type(path)) else {
        return nothing_there(path).into_response();
    };
    // Names below assets/ carry a hash of their content; the others keep their names.
    let age = if path.starts_with("assets/") { "max-age=31536000, immutable" } else { "no-cache" };
    let headers = [(CONTENT_TYPE, content_type), (CACHE_CONTROL, age)];
    (headers, file.data.into_owned()).into_response()
}

fn nothing_there(path: &str) -> Refused {
    let refusal = if path == "index.html" {
        Refusal::new(
            Code::NotHere,
            "this program was built without its screens",
            "build them with `npm ci && npm run build` in ui/, then build the program again",
        )
    } else {
        let shown: String = path.chars().take(100).collect();
        Refusal::new(Code::NotHere, "there is nothing here", "start at /").at(format!("/{shown}"))
    };
    Refused::new(StatusCode::NOT_FOUND, refusal)
}

fn content_type(path: &str) -> Option<&'static str> {
    let (_, ending) = path.rsplit_once('.')?;
    Some(match ending {
        "html" => "text/html; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "css" => "text/css; charset=utf-8",
        "json" | "webmanifest" => "application/json",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        "ico" => "image/x-icon",
        "woff2" => "font/woff2",
        "txt" => "text/plain; charset=utf-8",
        _ => return None,
    })
}
