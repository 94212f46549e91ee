//! The certificate that browsers are shown: the shop's own, or one the hub makes for itself.
//!
//! In: PEM files, or the folder beside the store and the names to answer to. Out: the settings of
//! TLS 1.3 and the certificate's SHA-256 fingerprint, for people to compare. One that was made is
//! kept, with its key in a file that only its owner can read, so that a browser that was told to
//! trust it finds the same one after every start. Made by a library; no cryptography of our own.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use rcgen::{CertificateParams, DistinguishedName, DnType, KeyPair};
use rustls::ServerConfig;
use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::version::TLS13;
use sha2::{Digest, Sha256};

use crate::at_rest::Keys;
use crate::identity::private_file;

/// The files' names, beside the store.
const CERTIFICATE: &str = "screens-certificate.pem";
pub(crate) const KEY: &str = "screens-key.pem";

/// Why there is no certificate to show.
#[derive(Debug, thiserror::Error)]
pub enum NoCertificate {
    /// A file cannot be read or made.
    #[error("{path} cannot be used: {source}", path = path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        #[source]
        source: io::Error,
    },
    /// A file holds something else.
    #[error("{path} holds no {wanted} in PEM: {why}", path = path.display())]
    NotPem {
        /// The file.
        path: PathBuf,
        /// What was wanted.
        wanted: &'static str,
        /// What was found.
        why: String,
    },
    /// It could not be made.
    #[error("no certificate could be made: {0}")]
    NotMade(#[from] rcgen::Error),
    /// Certificate and key do not go together, or TLS cannot use them.
    #[error("the certificate cannot be used: {0}")]
    Unfit(#[from] rustls::Error),
}

impl NoCertificate {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::File { .. } => "check the file's name, and who may read and write it",
            Self::NotPem { .. } => {
                "give a certificate and its key as PEM files; without both the hub makes its own"
            }
            Self::NotMade(_) => "check the names the hub is to answer to",
            Self::Unfit(_) => "give the certificate together with the key it was made for",
        }
    }
}

/// What browsers are shown.
pub(super) struct Shown {
    pub(super) config: ServerConfig,
    pub(super) fingerprint: String,
}

/// The shop's own certificate.
pub(super) fn given(certificate: &Path, key: &Path) -> Result<Shown, NoCertificate> {
    shown(certificate, key, &read(key)?)
}

/// What browsers are shown, from the certificate's file and what the key's holds.
fn shown(certificate: &Path, key: &Path, private: &[u8]) -> Result<Shown, NoCertificate> {
    let not_pem = |path: &Path, wanted, why: String| NoCertificate::NotPem {
        path: path.to_owned(),
        wanted,
        why,
    };
    let text = read(certificate)?;
    let chain = CertificateDer::pem_slice_iter(&text)
        .collect::<Result<Vec<_>, _>>()
        .map_err(|error| not_pem(certificate, "certificate", error.to_string()))?;
    let Some(first) = chain.first() else {
        return Err(not_pem(certificate, "certificate", "none is in it".to_owned()));
    };
    let fingerprint = fingerprint(first);
    let private = PrivateKeyDer::from_pem_slice(private)
        .map_err(|error| not_pem(key, "private key", error.to_string()))?;
    let mut config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
        .with_protocol_versions(&[&TLS13])?
        .with_no_client_auth()
        .with_single_cert(chain, private)?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(Shown { config, fingerprint })
}

/// The one the hub made for itself, made first where there is none; its key is closed with the
/// folder's keys where it is encrypted.
pub(super) fn made(
    folder: &Path,
    names: &[String],
    keys: Option<&Keys>,
) -> Result<Shown, NoCertificate> {
    let (certificate, key) = (folder.join(CERTIFICATE), folder.join(KEY));
    // The certificate comes last: where it is, its key is.
    if !certificate.exists() {
        let pair = KeyPair::generate()?;
        let mut params = CertificateParams::new(names.to_vec())?;
        params.distinguished_name = DistinguishedName::new();
        params.distinguished_name.push(DnType::CommonName, "Guyline hub");
        let signed = params.self_signed(&pair)?;
        private_file::keep(&key, pair.serialize_pem().as_bytes(), keys).map_err(unusable(&key))?;
        private_file::write(&certificate, signed.pem().as_bytes())
            .map_err(unusable(&certificate))?;
    }
    let private = File::open(&key)
        .and_then(|file| private_file::kept(file, &key, keys))
        .map_err(unusable(&key))?;
    shown(&certificate, &key, &private)
}

fn read(path: &Path) -> Result<Vec<u8>, NoCertificate> {
    std::fs::read(path).map_err(unusable(path))
}

fn unusable(path: &Path) -> impl FnOnce(io::Error) -> NoCertificate + use<> {
    let path = path.to_owned();
    |source| NoCertificate::File { path, source }
}

/// As browsers show it.
fn fingerprint(certificate: &CertificateDer<'_>) -> String {
    let digest = Sha256::digest(certificate);
    let pairs: Vec<String> = digest.iter().map(|byte| format!("{byte:02X}")).collect();
    pairs.join(":")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_that_was_made_is_kept_and_nobody_else_reads_its_key() {
        let folder = tempfile::tempdir().unwrap();
        let names = ["hub.example".to_owned(), "192.0.2.7".to_owned()];
        let first = made(folder.path(), &names, None).unwrap();
        let again = made(folder.path(), &names, None).unwrap();
        assert_eq!(first.fingerprint, again.fingerprint);
        assert_eq!(first.fingerprint.len(), 32 * 3 - 1);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let key = folder.path().join(KEY);
            assert_eq!(key.metadata().unwrap().permissions().mode() & 0o777, 0o600);
        }
    }

    #[test]
    fn what_is_no_certificate_is_named() {
        let folder = tempfile::tempdir().unwrap();
        made(folder.path(), &["hub.example".to_owned()], None).unwrap();
        let (certificate, key) = (folder.path().join(CERTIFICATE), folder.path().join(KEY));
        let other = tempfile::tempdir().unwrap();
        made(other.path(), &["hub.example".to_owned()], None).unwrap();
        let told = |certificate: &Path, key: &Path| match given(certificate, key) {
            Ok(_) => panic!("{} is taken", certificate.display()),
            Err(error) => error.to_string(),
        };
        assert!(told(&key, &key).contains("holds no certificate"));
        assert!(told(&certificate, &certificate).contains("holds no private key"));
        assert!(told(&folder.path().join("none"), &key).contains("cannot be used"));
        assert!(told(&certificate, &other.path().join(KEY)).contains("cannot be used"));
    }
}
