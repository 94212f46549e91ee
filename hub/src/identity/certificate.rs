//! A device's key as a certificate for TLS, and the key out of somebody else's.
//!
//! A certificate here says nothing but the key: it is signed by the key itself, names nobody and
//! never ends. Who may come in is the roster's affair. Made by a library; no cryptography of our
//! own.

use rcgen::{CertificateParams, KeyPair};
use rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer};
use rustls::server::ParsedCertificate;

use super::{DeviceKey, PublicKey};

/// What goes before an Ed25519 public key in a certificate (RFC 8410, section 4).
const PUBLIC_PREFIX: [u8; 12] =
    [0x30, 0x2a, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x03, 0x21, 0x00];

/// The certificate of a device, with its private key as TLS wants it.
pub(super) fn certificate(
    key: &DeviceKey,
) -> Result<(CertificateDer<'static>, PrivateKeyDer<'static>), rcgen::Error> {
    let private = PrivatePkcs8KeyDer::from(key.pkcs8());
    let pair = KeyPair::try_from(&private)?;
    let certificate = CertificateParams::new(Vec::new())?.self_signed(&pair)?;
    Ok((certificate.der().clone(), PrivateKeyDer::Pkcs8(private)))
}

/// The key a certificate is of; none where it is no certificate of an Ed25519 key.
pub(crate) fn key_of(certificate: &CertificateDer<'_>) -> Option<PublicKey> {
    let parsed = ParsedCertificate::try_from(certificate).ok()?;
    let info = parsed.subject_public_key_info();
    let key = info.as_ref().strip_prefix(&PUBLIC_PREFIX)?;
    Some(PublicKey::from_bytes(key.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_certificate_says_its_devices_key() {
        let folder = tempfile::tempdir().unwrap();
        let key = DeviceKey::open(folder.path()).unwrap();
        let (certificate, _) = certificate(&key).unwrap();
        assert_eq!(key_of(&certificate), Some(key.public()));
    }

    #[test]
    fn what_is_no_certificate_has_no_key() {
        for bytes in [vec![], vec![0x30, 0x80], b"hello".to_vec(), vec![0; 4096]] {
            assert_eq!(key_of(&CertificateDer::from(bytes)), None);
        }
    }
}
