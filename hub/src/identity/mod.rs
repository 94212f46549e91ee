//! Who a node is: its device's key, and what was signed with one.
//!
//! In: a folder, or a text with a signature. Out: a key that signs, or whether a signature is true.
//! Signatures are Ed25519 (RFC 8032) by a library; no cryptography of our own. Knows no document.
//! The private key stands in a file beside the store and never in it, so that no copy of a store
//! can speak for the device it was made on.

mod device_key;

pub use device_key::{DeviceKey, KeyError, PublicKey, SignatureRefused};
