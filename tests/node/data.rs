//! Goal: the read-only answers for other programs are what their description says, an answer that
//! is known is not sent again, and what cannot be answered is refused in JSON. Method: the played
//! day's hub, served; `data_check.py` holds it against jsonschema, an OpenAPI validator and
//! generated questions.

use guyline_hub::Node;
use guyline_hub::http::Listening;
use reqwest::{Client, Method, Response};
use serde_json::Value;

use crate::takeout::{played_day, python};

const SITE: &str = "01JV3M0000000000000000S1TE";

async fn asked(client: &Client, method: Method, url: String, headers: &[(&str, &str)]) -> Response {
    let request = headers
        .iter()
        .fold(client.request(method, url), |request, (name, value)| request.header(*name, *value));
    request.send().await.expect("it answers")
}

#[tokio::test(flavor = "multi_thread")]
async fn answers_hold_what_their_description_promises() {
    let (_folder, hub) = played_day();
    let node = Node::open(&hub).expect("it opens");
    let listening = Listening::start(&node, "127.0.0.1:0").await.expect("loopback");
    let address = listening.address().to_owned();
    let checked = tokio::task::spawn_blocking(move || python("data_check.py", &[&address]));
    let checked = checked.await.expect("the script ends");
    let counts = &checked["counts"];
    assert_eq!((&counts["sites"], &counts["visits"]), (&1.into(), &1.into()), "{checked}");
    assert!(counts["readings"].as_u64() > Some(10), "{checked}");
    let tried = checked["tried"].as_object().expect("a count for each path");
    assert_eq!(tried.len(), 8, "six paths, and two with wrong questions: {checked}");
    assert!(tried.values().all(|count| count.as_u64() > Some(0)), "{checked}");
    listening.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_answer_that_is_known_is_not_sent_again_until_something_is_recorded() {
    let (_folder, hub) = played_day();
    let node = Node::open(&hub).expect("it opens");
    let listening = Listening::start(&node, "127.0.0.1:0").await.expect("loopback");
    let client = Client::new();
    let url = format!("{}/data/v1/readings?site={SITE}&from=2026-05-14", listening.address());
    let first = asked(&client, Method::GET, url.clone(), &[]).await;
    assert_eq!(first.status(), 200);
    let tag = first.headers()["etag"].to_str().expect("plain text").to_owned();
    for seen in [tag.clone(), format!("W/{tag}"), format!("\"x\", {tag}"), "*".to_owned()] {
        let again = asked(&client, Method::GET, url.clone(), &[("if-none-match", &seen)]).await;
        assert_eq!((again.status().as_u16(), again.headers()["etag"] == tag.as_str()), (304, true));
        assert!(again.text().await.expect("nothing").is_empty());
    }
    let other = asked(&client, Method::GET, url.replace("05-14", "05-15"), &[]).await;
    assert_ne!(other.headers()["etag"], tag.as_str(), "another question has another tag");
    let none: Value =
        serde_json::from_str(&other.text().await.expect("a body")).expect("it is JSON");
    assert_eq!(none["readings"], serde_json::json!([]), "nothing was read the day after");
    crate::crew::work(&node, 7, 1);
    let after = asked(&client, Method::GET, url, &[("if-none-match", &tag)]).await;
    assert_eq!(after.status(), 200, "something was recorded");
    listening.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_answered_is_refused_in_json() {
    let node = crate::crew::device("hub").node;
    let listening = Listening::start(&node, "127.0.0.1:0").await.expect("loopback");
    let client = Client::new();
    let table = [
        (Method::GET, "/data/v1/readings?sight=x", "", 400, "sight"),
        (Method::GET, "/data/v1/readings?site=", "", 400, "site"),
        (Method::GET, "/data/v1/readings?from=14.5.2026", "", 400, "from"),
        (Method::GET, "/data/v1/readings?from=2026-05-14&from=2026-05-15", "", 400, "twice"),
        (Method::GET, "/data/v1/readings?limit=1001", "", 400, "1000"),
        (Method::GET, "/data/v1/readings?after=1", "", 400, "after"),
        (Method::GET, "/data/v1/sites?all", "", 400, "all"),
        (Method::GET, "/data/v1/visits/01JV3M0000000000000000S1TE", "", 404, "visit"),
        (Method::GET, "/data/v1/visits/x", "", 400, "id"),
        (Method::GET, "/data/v1/calibrations-due", "", 404, "shop"),
        (Method::GET, "/data/v1/nothing", "", 404, "nothing"),
        (Method::GET, "/data/v2/sites", "", 404, "nothing"),
        (Method::POST, "/data/v1/sites", "", 405, "GET"),
        (Method::DELETE, "/data/v1/visits/x", "", 405, "GET"),
        (Method::GET, "/data/v1/sites", "text/csv", 406, "JSON"),
    ];
    for (method, path, accept, status, said) in table {
        let url = format!("{}{path}", listening.address());
        let accept = if accept.is_empty() { "*/*" } else { accept };
        let response = asked(&client, method.clone(), url, &[("accept", accept)]).await;
        assert_eq!(response.status(), status, "{method} {path}");
        let body = response.text().await.expect("a body");
        let refusal: Value = serde_json::from_str(&body).expect("a refusal in JSON");
        assert!(refusal["help"].as_str().is_some_and(|help| !help.is_empty()), "{refusal}");
        assert!(body.contains(said), "{method} {path}: {body}");
    }
    let url = format!("{}/data/v1/sites", listening.address());
    let foreign = [("origin", "http://a.example")];
    assert_eq!(asked(&client, Method::GET, url, &foreign).await.status(), 403, "no other's page");
    listening.stop().await;
}
