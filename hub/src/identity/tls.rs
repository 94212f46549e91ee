//! TLS 1.3 between devices: both sides show their keys, and whoever is not admitted hears nothing.
//!
//! In: a device's key, and who is admitted. Out: the settings of both sides. Names and dates of
//! certificates say nothing and are not asked; the key is. The handshake itself is the library's.

use std::fmt;
use std::sync::Arc;

use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::crypto::{CryptoProvider, ring, verify_tls13_signature};
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::server::danger::{ClientCertVerified, ClientCertVerifier};
use rustls::version::TLS13;
use rustls::{
    ClientConfig, DigitallySignedStruct, DistinguishedName, Error, ServerConfig, SignatureScheme,
};

use super::certificate::{certificate, key_of};
use super::{DeviceKey, PublicKey};

/// Whether a key is admitted.
pub(crate) type Admits = Arc<dyn Fn(PublicKey) -> bool + Send + Sync>;

/// Why no TLS can be spoken: a fault of the program.
#[derive(Debug, thiserror::Error)]
pub enum NoTls {
    /// The key gives no certificate.
    #[error("the device's key gives no certificate: {0}")]
    Certificate(#[from] rcgen::Error),
    /// The library refuses the settings.
    #[error("TLS cannot be set up: {0}")]
    Settings(#[from] Error),
}

/// The side that is called.
pub(crate) fn server(key: &DeviceKey, admits: Admits) -> Result<ServerConfig, NoTls> {
    let pinned = Pinned::new(admits);
    let (certificate, private) = certificate(key)?;
    Ok(ServerConfig::builder_with_provider(pinned.provider.clone())
        .with_protocol_versions(&[&TLS13])?
        .with_client_cert_verifier(Arc::new(pinned))
        .with_single_cert(vec![certificate], private)?)
}

/// The side that calls.
pub(crate) fn client(key: &DeviceKey, admits: Admits) -> Result<ClientConfig, NoTls> {
    let pinned = Pinned::new(admits);
    let (certificate, private) = certificate(key)?;
    Ok(ClientConfig::builder_with_provider(pinned.provider.clone())
        .with_protocol_versions(&[&TLS13])?
        .dangerous()
        .with_custom_certificate_verifier(Arc::new(pinned))
        .with_client_auth_cert(vec![certificate], private)?)
}

/// Admits certificates by their key alone.
struct Pinned {
    admits: Admits,
    provider: Arc<CryptoProvider>,
}

impl Pinned {
    fn new(admits: Admits) -> Self {
        Self { admits, provider: Arc::new(ring::default_provider()) }
    }

    fn admit(&self, certificate: &CertificateDer<'_>) -> Result<(), Error> {
        let admitted = key_of(certificate).is_some_and(|key| (self.admits)(key));
        admitted.then_some(()).ok_or_else(|| Error::General("not on the roster".to_owned()))
    }

    /// The side proves that it has the key its certificate shows.
    fn proves(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        let known = &self.provider.signature_verification_algorithms;
        verify_tls13_signature(message, certificate, signed, known)
    }
}

impl fmt::Debug for Pinned {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Pinned")
    }
}

fn only_13<T>() -> Result<T, Error> {
    Err(Error::General("TLS 1.2 is not spoken".to_owned()))
}

impl ServerCertVerifier for Pinned {
    fn verify_server_cert(
        &self,
        certificate: &CertificateDer<'_>,
        _: &[CertificateDer<'_>],
        _: &ServerName<'_>,
        _: &[u8],
        _: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        self.admit(certificate).map(|()| ServerCertVerified::assertion())
    }

    fn verify_tls12_signature(
        &self,
        _: &[u8],
        _: &CertificateDer<'_>,
        _: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        only_13()
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        self.proves(message, certificate, signed)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        vec![SignatureScheme::ED25519]
    }
}

impl ClientCertVerifier for Pinned {
    fn root_hint_subjects(&self) -> &[DistinguishedName] {
        &[]
    }

    fn verify_client_cert(
        &self,
        certificate: &CertificateDer<'_>,
        _: &[CertificateDer<'_>],
        _: UnixTime,
    ) -> Result<ClientCertVerified, Error> {
        self.admit(certificate).map(|()| ClientCertVerified::assertion())
    }

    fn verify_tls12_signature(
        &self,
        _: &[u8],
        _: &CertificateDer<'_>,
        _: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        only_13()
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        self.proves(message, certificate, signed)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        vec![SignatureScheme::ED25519]
    }
}
