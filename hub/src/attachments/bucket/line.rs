//! The way to a bucket: the library's requests over this tree's own HTTP and TLS, on a thread of
//! their own.
//!
//! Whoever asks is on a thread that may wait, and waits; the requests run on one runtime of their
//! own, so that no thread that answers others ever waits for a bucket. TLS is 1.3 by the same
//! provider as all else here, and trusts whom this machine trusts.

use std::pin::Pin;
use std::sync::mpsc::sync_channel;
use std::time::Duration;

use async_trait::async_trait;
use axum::http::StatusCode;
use http_body_util::BodyExt;
use hyper_rustls::{HttpsConnector, HttpsConnectorBuilder};
use hyper_util::client::legacy::Client;
use hyper_util::client::legacy::connect::HttpConnector as Tcp;
use hyper_util::rt::{TokioExecutor, TokioTimer};
use object_store::aws::{AmazonS3, AmazonS3Builder};
use object_store::client::{
    HttpClient, HttpConnector, HttpError, HttpErrorKind, HttpRequest, HttpRequestBody,
    HttpResponse, HttpResponseBody, HttpService,
};
use object_store::{BackoffConfig, ClientOptions, RetryConfig};
use rustls::{ClientConfig, RootCertStore};
use tokio::runtime::Builder;
use tokio::sync::mpsc::{UnboundedSender, unbounded_channel};
use tokio::time::timeout;

use super::fault::BucketFault;
use super::place::{BucketKeys, BucketPlace};

/// So long reaching it may take.
const REACHED_WITHIN: Duration = Duration::from_secs(5);
/// So long it may take to answer, and so much longer for what is sent, over a slow line.
const ANSWERED_WITHIN: Duration = Duration::from_secs(10);
const BYTES_A_SECOND: usize = 64 * 1024;
/// So long all of one question may take, with what comes.
const DONE_WITHIN: Duration = Duration::from_secs(240);
/// So often one is tried again at once, and for so long; after that whoever asked decides.
const TRIES_MORE: usize = 2;
const TRIED_FOR: Duration = Duration::from_secs(10);

type Job = Pin<Box<dyn Future<Output = ()> + Send>>;

/// A thread with a runtime of its own. It ends with the last of its holders.
#[derive(Clone, Debug)]
pub(super) struct Line {
    jobs: UnboundedSender<Job>,
}

impl Line {
    pub(super) fn start() -> Result<Self, BucketFault> {
        let here = |error: std::io::Error| BucketFault::Here { reason: error.to_string() };
        let runtime = Builder::new_current_thread().enable_all().build().map_err(here)?;
        let (jobs, mut coming) = unbounded_channel::<Job>();
        let run = move || {
            runtime.block_on(async move {
                while let Some(job) = coming.recv().await {
                    tokio::spawn(job);
                }
            });
        };
        std::thread::Builder::new().name("bucket".to_owned()).spawn(run).map_err(here)?;
        Ok(Self { jobs })
    }

    /// Runs work there and waits for it, on whatever thread this is.
    pub(super) fn wait<T: Send + 'static>(
        &self,
        work: impl Future<Output = T> + Send + 'static,
    ) -> Result<T, BucketFault> {
        let (done, waits) = sync_channel(1);
        let job = async move {
            let worked = timeout(DONE_WITHIN, work).await;
            // Nobody is there to take it only where whoever waited is gone.
            drop(done.send(worked));
        };
        let here = |reason: &str| BucketFault::Here { reason: reason.to_owned() };
        self.jobs.send(Box::pin(job)).map_err(|_| here("its thread has ended"))?;
        match waits.recv() {
            Ok(Ok(done)) => Ok(done),
            Ok(Err(_)) => Err(here("a question took too long")),
            Err(_) => Err(here("a question broke off")),
        }
    }
}

/// The library's view of a bucket.
pub(super) fn store(place: &BucketPlace, keys: &BucketKeys) -> Result<AmazonS3, BucketFault> {
    let over_tls = place.endpoint.starts_with("https://");
    let retry = RetryConfig {
        backoff: BackoffConfig::default(),
        max_retries: TRIES_MORE,
        retry_timeout: TRIED_FOR,
    };
    AmazonS3Builder::new()
        .with_endpoint(place.endpoint.trim_end_matches('/'))
        .with_bucket_name(&place.bucket)
        .with_region(&place.region)
        .with_access_key_id(&keys.id)
        .with_secret_access_key(&*keys.secret)
        .with_allow_http(!over_tls)
        .with_http_connector(Connected(client(over_tls)?))
        .with_retry(retry)
        .build()
        .map_err(|error| BucketFault::Here { reason: error.to_string() })
}

type HyperClient = Client<HttpsConnector<Tcp>, HttpRequestBody>;

/// Without TLS nobody is trusted, so that nothing is read from this machine for it.
fn client(over_tls: bool) -> Result<HyperClient, BucketFault> {
    let here = |reason: String| BucketFault::Here { reason };
    let provider = rustls::crypto::ring::default_provider();
    let builder = HttpsConnectorBuilder::new();
    let builder = match over_tls {
        true => builder
            .with_provider_and_native_roots(provider)
            .map_err(|error| here(format!("its trusted certificates: {error}")))?,
        false => {
            let config = ClientConfig::builder_with_provider(provider.into())
                .with_protocol_versions(&[&rustls::version::TLS13])
                .map_err(|error| here(error.to_string()))?;
            let nobody = RootCertStore::empty();
            builder.with_tls_config(config.with_root_certificates(nobody).with_no_client_auth())
        }
    };
    let mut tcp = Tcp::new();
    tcp.set_connect_timeout(Some(REACHED_WITHIN));
    tcp.set_nodelay(true);
    tcp.enforce_http(false);
    let connector = builder.https_or_http().enable_http1().wrap_connector(tcp);
    Ok(Client::builder(TokioExecutor::new()).pool_timer(TokioTimer::new()).build(connector))
}

/// Hands the library the client that was made for it.
#[derive(Debug)]
struct Connected(HyperClient);

impl HttpConnector for Connected {
    fn connect(&self, _options: &ClientOptions) -> object_store::Result<HttpClient> {
        Ok(HttpClient::new(Asking(self.0.clone())))
    }
}

/// An answer that lets nobody in, or says that there is no such bucket.
#[derive(Debug, thiserror::Error)]
#[error("it answers {0}")]
pub(super) struct Turned(pub(super) StatusCode);

#[derive(Debug)]
struct Asking(HyperClient);

#[async_trait]
impl HttpService for Asking {
    async fn call(&self, request: HttpRequest) -> Result<HttpResponse, HttpError> {
        let listing = request.uri().query().is_some_and(|query| query.contains("list-type="));
        let sent_within = request.body().content_length() / BYTES_A_SECOND;
        let within = ANSWERED_WITHIN + Duration::from_secs(sent_within as u64);
        let answered = timeout(within, self.0.request(request)).await;
        let answer = answered
            .map_err(|slow| HttpError::new(HttpErrorKind::Timeout, slow))?
            .map_err(|error| {
                let kind = match error.is_connect() {
                    true => HttpErrorKind::Connect,
                    false => HttpErrorKind::Request,
                };
                HttpError::new(kind, error)
            })?;
        let status = answer.status();
        let of_the_bucket = listing && status == StatusCode::NOT_FOUND;
        if of_the_bucket || [StatusCode::UNAUTHORIZED, StatusCode::FORBIDDEN].contains(&status) {
            // The library wraps these differently for each question, and shows what was answered.
            return Err(HttpError::new(HttpErrorKind::Unknown, Turned(status)));
        }
        let broken = |error| HttpError::new(HttpErrorKind::Interrupted, error);
        Ok(answer.map(|body| HttpResponseBody::new(body.map_err(broken))))
    }
}
