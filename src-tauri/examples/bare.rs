//! A window of the app's toolkit with an empty page and nothing behind it: what the bench `start`
//! measures the app against. It is in no package.

use tauri::http::Response;
use tauri::{WebviewUrl, WebviewWindowBuilder};

const PAGE: &[u8] = b"<!doctype html><html lang=\"en\"><title>Empty</title></html>";

fn main() -> tauri::Result<()> {
    let page = "empty://localhost/".parse().expect("an address");
    let app = tauri::Builder::default()
        .register_uri_scheme_protocol("empty", |_, _| {
            let answer = Response::builder().header("content-type", "text/html; charset=utf-8");
            answer.body(PAGE).expect("the header is sound")
        })
        .setup(|app| {
            WebviewWindowBuilder::new(app, "main", WebviewUrl::CustomProtocol(page)).build()?;
            Ok(())
        })
        .build(tauri::generate_context!())?;
    app.run(|_, _| {});
    Ok(())
}
