//! A store with buckets that is none of ours (`bucket_server.py`, over moto), started and ended
//! with the test, and asked behind the back of what is tested; and a relay that stops letting
//! through.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use guyline_hub::attachments::ContentHash;
use guyline_hub::attachments::bucket::{BucketKeys, BucketPlace};
use guyline_tests::repository;
use reqwest::{Client, Method, Response};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

const BUCKET: &str = "photographs";
pub(crate) const PREFIX: &str = "guyline/hub";
pub(crate) const KEY_ID: &str = "KEYIDTHATISSHOWNBYNOTHING";
pub(crate) const SECRET: &str = "SECRETTHATISSHOWNBYNOTHING";

/// The store, with one bucket in it.
pub(crate) struct BucketStore {
    server: Child,
    pub(crate) endpoint: String,
    client: Client,
}

impl BucketStore {
    pub(crate) async fn start() -> Self {
        let python = repository().join("target/bucket-venv/bin/python");
        assert!(python.exists(), "{} is missing: run .ci/setup tests", python.display());
        let mut server = Command::new(python)
            .arg(repository().join("tests/node/bucket_server.py"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("Python starts");
        let mut line = String::new();
        let out = server.stdout.take().expect("it is piped");
        BufReader::new(out).read_line(&mut line).expect("it says where it is");
        let client = Client::builder().no_proxy().build().expect("a client");
        let store = Self { server, endpoint: line.trim().to_owned(), client };
        assert!(store.ask(Method::PUT, "", Vec::new()).await.status().is_success());
        store
    }

    pub(crate) fn place(&self) -> BucketPlace {
        at(&self.endpoint)
    }

    async fn ask(&self, method: Method, path: &str, body: Vec<u8>) -> Response {
        let url = format!("{}/{BUCKET}{path}", self.endpoint);
        // It looks whether somebody signed, and not who.
        let signed = "AWS4-HMAC-SHA256 Credential=x/20260101/us-east-1/s3/aws4_request, \
                      SignedHeaders=host, Signature=x";
        let asked = self.client.request(method, url).header("authorization", signed);
        asked.body(body).send().await.expect("it answers")
    }

    /// Every name in the bucket, in order.
    pub(crate) async fn names(&self) -> Vec<String> {
        let listed = self.ask(Method::GET, "?list-type=2", Vec::new()).await;
        let text = listed.text().await.expect("a list");
        let names = text.split("<Key>").skip(1).filter_map(|rest| rest.split("</Key>").next());
        names.map(str::to_owned).collect()
    }

    /// What lies under a name.
    pub(crate) async fn get(&self, name: &str) -> Vec<u8> {
        let answer = self.ask(Method::GET, &format!("/{name}"), Vec::new()).await;
        assert!(answer.status().is_success(), "{name}: {}", answer.status());
        answer.bytes().await.expect("its bytes").to_vec()
    }

    pub(crate) async fn put(&self, name: &str, bytes: Vec<u8>) {
        let answer = self.ask(Method::PUT, &format!("/{name}"), bytes).await;
        assert!(answer.status().is_success(), "{name}: {}", answer.status());
    }

    pub(crate) async fn remove(&self, name: &str) {
        let answer = self.ask(Method::DELETE, &format!("/{name}"), Vec::new()).await;
        assert!(answer.status().is_success(), "{name}: {}", answer.status());
    }
}

impl Drop for BucketStore {
    fn drop(&mut self) {
        // Where it has ended already there is nothing to end.
        let _ended = self.server.kill();
        let _ended = self.server.wait();
    }
}

/// The tests' bucket behind an endpoint.
pub(crate) fn at(endpoint: &str) -> BucketPlace {
    BucketPlace {
        endpoint: endpoint.to_owned(),
        bucket: BUCKET.to_owned(),
        region: "us-east-1".to_owned(),
        prefix: PREFIX.to_owned(),
    }
}

pub(crate) fn keys() -> BucketKeys {
    BucketKeys::of(KEY_ID, SECRET)
}

/// The name of what is not encrypted.
pub(crate) fn plain(hash: ContentHash) -> String {
    format!("{PREFIX}/plain/{hash}")
}

/// Passes on what comes until so many bytes went there; then it hangs up on everybody.
pub(crate) struct Relay {
    pub(crate) endpoint: String,
    left: Arc<AtomicUsize>,
}

impl Relay {
    pub(crate) async fn to(endpoint: &str) -> Self {
        let to = endpoint.trim_start_matches("http://").to_owned();
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("loopback is free");
        let endpoint = format!("http://{}", listener.local_addr().expect("it is bound"));
        let left = Arc::new(AtomicUsize::new(usize::MAX));
        let counted = Arc::clone(&left);
        tokio::spawn(async move {
            while let Ok((near, _)) = listener.accept().await {
                let Ok(far) = TcpStream::connect(&to).await else { return };
                tokio::spawn(pass(near, far, Arc::clone(&counted)));
            }
        });
        Self { endpoint, left }
    }

    /// From here on so many bytes are let through.
    pub(crate) fn lets_through(&self, bytes: usize) {
        self.left.store(bytes, Ordering::SeqCst);
    }
}

async fn pass(mut near: TcpStream, mut far: TcpStream, left: Arc<AtomicUsize>) {
    let (mut near_reads, mut near_writes) = near.split();
    let (mut far_reads, mut far_writes) = far.split();
    let there = async {
        let mut piece = vec![0; 16 * 1024];
        loop {
            let count = near_reads.read(&mut piece).await.unwrap_or(0);
            let taken = left.fetch_update(Ordering::SeqCst, Ordering::SeqCst, |left| {
                if left == usize::MAX { Some(left) } else { left.checked_sub(count) }
            });
            let goes_on = count > 0 && taken.is_ok();
            if !goes_on || far_writes.write_all(&piece[..count]).await.is_err() {
                return;
            }
        }
    };
    let back = tokio::io::copy(&mut far_reads, &mut near_writes);
    tokio::select! { () = there => {}, _ended = back => {} }
}
