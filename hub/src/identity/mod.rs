//! Who a node is: its device's key, what was signed with one, and which keys belong to the shop.
//!
//! Reading order: [`device_key`] (keys and signatures), [`roster`] (who belongs, by the root key's
//! word), [`authorship`] (whose a change is) and [`admission`] (which are taken), [`invitation`]
//! (how a device comes in), [`grants`] (which browsers may), [`tls`] (how two devices speak).
//! Signatures are Ed25519 (RFC 8032) by a library; no cryptography of our own. Knows changes and
//! never what they say. The private key stands in a file beside the store and never in it, so that
//! no copy of a store can speak for the device it was made on.

mod admission;
mod authorship;
mod certificate;
mod device_key;
mod grants;
mod invitation;
pub(crate) mod private_file;
mod roster;
pub(crate) mod tls;

pub use admission::{Held, Sorted, proven, sort, why_held};
pub use authorship::{fresh_actor, has_owner, is_of, proves};
pub(crate) use certificate::key_of;
pub use device_key::{DeviceKey, KeyError, PublicKey, SignatureRefused};
pub(crate) use device_key::{FILE as DEVICE_KEY, ROOT_FILE as ROOT_KEY};
pub use grants::{BrowserGrant, GrantRefused, Visitor};
pub(crate) use grants::{Grants, SignedIn};
pub(crate) use invitation::{Door, Guest, Shut, fresh_code, short_code};
pub use invitation::{Invitation, NotAnInvitation};
pub(crate) use roster::ROSTER_BYTES_MAX;
pub use roster::{
    Member, Role, Roster, RosterEntry, RosterRefused, having, membership, revocation,
};
pub(crate) use tls::Admits;
pub use tls::NoTls;
