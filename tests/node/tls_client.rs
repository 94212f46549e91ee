//! A client of the screens over TLS that sends what a test gives it, byte for byte, and knows the
//! hub by its certificate's fingerprint alone.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::time::Duration;

use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::{ring, verify_tls12_signature, verify_tls13_signature};
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::{
    ClientConfig, ClientConnection, DigitallySignedStruct, Error, SignatureScheme, StreamOwned,
};
use sha2::{Digest, Sha256};

/// Takes the one certificate whose fingerprint it was told.
#[derive(Debug)]
struct Pinned(String);

impl ServerCertVerifier for Pinned {
    fn verify_server_cert(
        &self,
        certificate: &CertificateDer<'_>,
        _: &[CertificateDer<'_>],
        _: &ServerName<'_>,
        _: &[u8],
        _: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        let shown: Vec<String> =
            Sha256::digest(certificate).iter().map(|byte| format!("{byte:02X}")).collect();
        match shown.join(":") == self.0 {
            true => Ok(ServerCertVerified::assertion()),
            false => Err(Error::General("another certificate".to_owned())),
        }
    }

    fn verify_tls12_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        let known = ring::default_provider().signature_verification_algorithms;
        verify_tls12_signature(message, certificate, signed, &known)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        let known = ring::default_provider().signature_verification_algorithms;
        verify_tls13_signature(message, certificate, signed, &known)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        ring::default_provider().signature_verification_algorithms.supported_schemes()
    }
}

/// Where a hub's screens are, and how it is known.
#[derive(Clone, Debug)]
pub(crate) struct Hub {
    /// As in `127.0.0.1:4772`.
    pub(crate) address: SocketAddr,
    pub(crate) fingerprint: String,
}

pub(crate) type Line = StreamOwned<ClientConnection, TcpStream>;

/// An answer, taken apart.
#[derive(Clone, Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    /// In small letters.
    pub(crate) head: String,
    pub(crate) body: String,
}

impl Answer {
    /// The first header of this name.
    pub(crate) fn header(&self, name: &str) -> Option<&str> {
        let mut lines = self.head.lines().filter_map(|line| line.split_once(": "));
        lines.find(|(known, _)| *known == name).map(|(_, value)| value)
    }

    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {self:?}"))
    }
}

impl Hub {
    /// A connection from an address of this machine, with its handshake done; an error where the
    /// hub hangs up or is another one.
    pub(crate) fn dial(&self, from: [u8; 4]) -> std::io::Result<Line> {
        let config = ClientConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_safe_default_protocol_versions()
            .unwrap()
            .dangerous()
            .with_custom_certificate_verifier(Arc::new(Pinned(self.fingerprint.clone())))
            .with_no_client_auth();
        let name = ServerName::try_from("127.0.0.1").unwrap();
        let connection = ClientConnection::new(Arc::new(config), name).unwrap();
        let mut stream = StreamOwned::new(connection, self.plain(from)?);
        stream.conn.complete_io(&mut stream.sock)?;
        Ok(stream)
    }

    /// The same without TLS.
    pub(crate) fn plain(&self, from: [u8; 4]) -> std::io::Result<TcpStream> {
        let socket = socket2::Socket::new(socket2::Domain::IPV4, socket2::Type::STREAM, None)?;
        socket.bind(&SocketAddr::from((from, 0)).into())?;
        socket.connect(&self.address.into())?;
        let stream = TcpStream::from(socket);
        stream.set_read_timeout(Some(Duration::from_secs(60)))?;
        Ok(stream)
    }

    /// Sends a request as written, `HOST` standing for the hub's own name, and gives the answer.
    pub(crate) fn ask(&self, request: &str) -> Answer {
        self.ask_from([127, 0, 0, 1], request)
    }

    pub(crate) fn ask_from(&self, from: [u8; 4], request: &str) -> Answer {
        let mut line = self.dial(from).expect("a handshake");
        let request = self.named_in(request);
        // A refusal may come before all of it is sent.
        let _closed_early = line.write_all(request.as_bytes());
        answer(&mut line).unwrap_or_else(|said| panic!("no answer but {said:?} to {request:.200}"))
    }

    /// A request with the hub's own name in its head; a body may hold those letters by chance.
    fn named_in(&self, request: &str) -> String {
        let (head, body) = request.split_at(request.find("\r\n\r\n").unwrap_or(request.len()));
        format!("{}{body}", head.replace("HOST", &self.address.to_string()))
    }

    /// The same, and the body as it came: a file is no text.
    pub(crate) fn fetch(&self, request: &str) -> (Answer, Vec<u8>) {
        let mut line = self.dial([127, 0, 0, 1]).expect("a handshake");
        let request = self.named_in(request);
        line.write_all(request.as_bytes()).expect("a request without a body is taken");
        let bytes = received(&mut line);
        let head = bytes.windows(4).position(|at| at == b"\r\n\r\n").expect("a head");
        let answer = taken_apart(&bytes[..head + 4]).expect("an answer");
        (answer, bytes[head + 4..].to_vec())
    }

    /// Posts JSON as the hub's own page does, with these headers more.
    pub(crate) fn post(&self, path: &str, headers: &str, body: &str) -> Answer {
        self.ask(&post(path, headers, body))
    }
}

/// A request as the hub's own page sends it.
pub(crate) fn post(path: &str, headers: &str, body: &str) -> String {
    let length = body.len();
    format!(
        "POST {path} HTTP/1.1\r\nHost: HOST\r\nOrigin: https://HOST\r\nConnection: close\r\n\
         Content-Type: application/json\r\n{headers}Content-Length: {length}\r\n\r\n{body}"
    )
}

/// A page of the hub's own asks for something, with these headers more.
pub(crate) fn get(path: &str, headers: &str) -> String {
    format!("GET {path} HTTP/1.1\r\nHost: HOST\r\nConnection: close\r\n{headers}\r\n")
}

/// Everything that comes back, taken apart; what came where it is no answer.
pub(crate) fn answer(line: &mut Line) -> Result<Answer, String> {
    taken_apart(&received(line))
}

fn received(line: &mut Line) -> Vec<u8> {
    let mut bytes = Vec::new();
    // Read below the library's stream, which would first send on where the hub has closed already.
    // Some end without a farewell: what came before counts.
    loop {
        let _all_there_is = line.conn.reader().read_to_end(&mut bytes);
        let more = line.conn.read_tls(&mut line.sock).is_ok_and(|count| count > 0);
        if !more || line.conn.process_new_packets().is_err() {
            break;
        }
    }
    let _all_there_is = line.conn.reader().read_to_end(&mut bytes);
    bytes
}

fn taken_apart(bytes: &[u8]) -> Result<Answer, String> {
    let text = String::from_utf8_lossy(bytes).into_owned();
    let (head, body) = text.split_once("\r\n\r\n").ok_or_else(|| text.clone())?;
    let status = head.split(' ').nth(1).and_then(|status| status.parse().ok());
    let status = status.ok_or_else(|| text.clone())?;
    Ok(Answer { status, head: head.to_lowercase(), body: body.to_owned() })
}
