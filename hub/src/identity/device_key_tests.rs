//! A device's key: made once, read again, never replaced, and true only for what it signed.

use super::*;

// RFC 8032, section 7.1, "TEST 2": secret key and public key.
const SECRET: &str = "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb";
const PUBLIC: &str = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c";

#[test]
fn the_published_secret_gives_the_published_key() {
    let key = DeviceKey(SigningKey::from_bytes(&unhex(SECRET).unwrap()));
    assert_eq!(key.public().to_string(), PUBLIC);
}

#[test]
fn a_key_is_made_once_and_read_again() {
    let dir = tempfile::tempdir().unwrap();
    let made = DeviceKey::open(dir.path()).unwrap().public();
    assert_eq!(DeviceKey::open(dir.path()).unwrap().public(), made);
    let other = tempfile::tempdir().unwrap();
    assert_ne!(DeviceKey::open(other.path()).unwrap().public(), made);
}

#[test]
fn a_signature_is_true_for_its_text_and_key_only() {
    let dir = tempfile::tempdir().unwrap();
    let key = DeviceKey::open(dir.path()).unwrap();
    let signature = key.sign_statement("all passed");
    let public = key.public();
    assert_eq!(public.verify_statement("all passed", &signature), Ok(()));
    let refused = public.verify_statement("all passes", &signature);
    assert_eq!(refused, Err(SignatureRefused::False));
    let stranger: PublicKey = PUBLIC.parse().unwrap();
    let refused = stranger.verify_statement("all passed", &signature);
    assert_eq!(refused, Err(SignatureRefused::False));
    // Without what goes before a statement, the same key's signature is another's.
    let bare = hex(&key.0.sign(b"all passed").to_bytes());
    assert_eq!(public.verify_statement("all passed", &bare), Err(SignatureRefused::False));
    for digit in 0..128 {
        let mut changed = signature.clone().into_bytes();
        changed[digit] = if changed[digit] == b'0' { b'1' } else { b'0' };
        let changed = String::from_utf8(changed).unwrap();
        assert!(public.verify_statement("all passed", &changed).is_err(), "digit {digit}");
    }
}

#[test]
fn a_file_that_is_no_key_is_refused_and_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(FILE);
    DeviceKey::open(dir.path()).unwrap();
    for text in ["", "hello", &SECRET[1..], &format!("{SECRET}{SECRET}"), "éééé"] {
        std::fs::write(&path, text).unwrap();
        let error = DeviceKey::open(dir.path()).unwrap_err();
        assert!(matches!(error, KeyError::NotAKey { .. }), "{text:?}: {error}");
        assert_eq!(std::fs::read_to_string(&path).unwrap(), text);
    }
}

#[cfg(unix)]
#[test]
fn only_the_owner_can_read_it() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    DeviceKey::open(dir.path()).unwrap();
    let path = dir.path().join(FILE);
    assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
    assert!(matches!(DeviceKey::open(dir.path()), Err(KeyError::Open { .. })));
}
