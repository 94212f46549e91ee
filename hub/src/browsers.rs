//! The browsers a node lets in: its grants on disk, where it serves them, and who asks.
//!
//! In: grants, codes and tokens. Out: visitors. A grant is on disk before it counts, and so is the
//! end of one. A store from a copy is another store: what its original granted lets nobody in
//! there, so that a backup brings no revoked browser back.

use std::sync::{Mutex, MutexGuard, PoisonError};

use guyline_core::record::validate::NAME_MAX;
use serde::{Deserialize, Serialize};

use crate::Node;
use crate::desk::{Code, Refusal};
use crate::documents::{Documents, NodeError};
use crate::identity::{BrowserGrant, GrantRefused, Grants, Role, SignedIn, Visitor};

/// The setting that holds the grants and the store they were made in.
const BROWSERS: &str = "browsers";

/// What a node knows of its browsers.
#[derive(Debug, Default)]
pub(crate) struct Browsers {
    grants: Mutex<Grants>,
    served: Mutex<Option<ServedAt>>,
}

/// Where browsers reach a node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ServedAt {
    /// As in `https://hub.example:4772`, each name it answers to.
    pub addresses: Vec<String>,
    /// SHA-256 of the certificate, in hexadecimal pairs with colons, as browsers show it.
    pub fingerprint: String,
}

#[derive(Serialize, Deserialize)]
struct Kept {
    store: String,
    grants: Grants,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Node {
    /// The same node as somebody's browser may use it.
    #[must_use]
    pub fn for_visitor(&self, visitor: Visitor) -> Self {
        Self { visitor: Some(std::sync::Arc::new(visitor)), ..self.clone() }
    }

    /// Whose browser asks; none at the device itself.
    pub fn visitor(&self) -> Option<&Visitor> {
        self.visitor.as_deref()
    }

    /// What whoever asks is for; none on a device of no roster, whose holder may do everything.
    pub fn role(&self) -> Option<Role> {
        self.visitor().map_or_else(|| self.own_role(), |visitor| Some(visitor.role))
    }

    /// Where an entry is made: this device, and from a browser that too.
    pub(crate) fn made_at(&self) -> Result<String, crate::documents::NodeError> {
        let device = self.name()?;
        Ok(match self.visitor() {
            None => device,
            Some(visitor) => {
                let place = format!("{}, by browser at {device}", visitor.name);
                place.chars().take(NAME_MAX).collect()
            }
        })
    }

    /// Reads what was granted. What cannot be read lets nobody in.
    pub(crate) fn learn_browsers(&self, documents: &Documents) {
        let read = || -> Result<Option<Kept>, String> {
            let kept = documents.store.setting(BROWSERS).map_err(|error| error.to_string())?;
            let kept = kept.as_deref().map(serde_json::from_str);
            kept.transpose().map_err(|error| error.to_string())
        };
        match read() {
            Ok(Some(kept)) if kept.store == documents.store.card().store.to_string() => {
                *locked(&self.browsers.grants) = kept.grants;
            }
            Ok(_) => {}
            Err(fault) => tracing::warn!(fault, "no browser is let in: the grants are damaged"),
        }
    }

    /// Changes the grants: on disk first, and onto what another process of this node made of them.
    fn change_grants<T>(
        &self,
        change: impl FnOnce(&mut Grants) -> Result<T, GrantRefused>,
    ) -> Result<T, Refusal> {
        let mut documents = self.lock_as_it_is();
        let mut grants = locked(&self.browsers.grants);
        let mut changed = grants.clone();
        let given = change(&mut changed)?;
        if changed != *grants {
            let store = documents.store.card().store.to_string();
            let kept = Kept { store, grants: changed };
            let text = serde_json::to_string(&kept).expect("text keys only");
            documents.store.set_setting(BROWSERS, &text).map_err(NodeError::from)?;
            *grants = kept.grants;
        }
        Ok(given)
    }

    /// Grants a browser to come. Gives its code.
    pub(crate) fn grant_browser(
        &self,
        name: &str,
        person: &str,
        role: Role,
        days: u32,
    ) -> Result<String, Refusal> {
        let (grant, now) = (self.fresh_id(), self.now());
        let (name, person) = (name.trim().to_owned(), person.to_owned());
        let visitor = Visitor { grant, name, person, role };
        self.change_grants(|grants| grants.grant(visitor, days, now))
    }

    /// Ends a grant, at once.
    pub(crate) fn revoke_browser(&self, id: &str) -> Result<(), Refusal> {
        if self.change_grants(|grants| Ok(grants.revoke(id)))? {
            return Ok(());
        }
        let help = "choose one of the list";
        Err(Refusal::new(Code::NotHere, "no browser was granted under that id", help).at("id"))
    }

    /// Takes a code, once. None where it lets nobody in.
    pub(crate) fn sign_in(&self, code: &str) -> Result<Option<SignedIn>, Refusal> {
        let now = self.now();
        self.change_grants(|grants| grants.sign_in(code, now))
    }

    /// Whose browser brings a token.
    pub(crate) fn behind(&self, token: &str) -> Result<Option<Visitor>, Refusal> {
        let now = self.now();
        let mut asked = locked(&self.browsers.grants).clone();
        // Nobody waits for the store to be told what is known and need not be noted.
        if let Some((visitor, false)) = asked.visitor(token, now) {
            return Ok(Some(visitor));
        }
        self.change_grants(|grants| Ok(grants.visitor(token, now).map(|(visitor, _)| visitor)))
    }

    /// Every grant that is kept.
    pub(crate) fn browser_grants(&self) -> Vec<BrowserGrant> {
        locked(&self.browsers.grants).list(self.now())
    }

    /// Where browsers reach this node, while they do.
    pub(crate) fn served_at(&self) -> Option<ServedAt> {
        locked(&self.browsers.served).clone()
    }

    pub(crate) fn serves_browsers(&self, at: Option<ServedAt>) {
        *locked(&self.browsers.served) = at;
    }
}

impl From<GrantRefused> for Refusal {
    fn from(error: GrantRefused) -> Self {
        Self::new(Code::EditRefused, error.to_string(), error.help())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_grant_outlives_a_start_and_not_a_copy_of_its_store() {
        let folder = tempfile::tempdir().unwrap();
        let node = Node::open(folder.path()).unwrap();
        let code = node.grant_browser("desk", "wren", Role::Crew, 1).unwrap();
        let token = node.sign_in(&code).unwrap().unwrap().token;
        drop(node);
        let node = Node::open(folder.path()).unwrap();
        assert_eq!(node.behind(&token).unwrap().unwrap().person, "wren");
        let copy = tempfile::tempdir().unwrap();
        let file = copy.path().join("copy");
        crate::store::backup(folder.path(), &file, None).unwrap();
        crate::store::restore(&file, &copy.path().join("new"), None).unwrap();
        let restored = Node::open(&copy.path().join("new")).unwrap();
        assert_eq!(restored.behind(&token).unwrap(), None);
        assert!(restored.browser_grants().is_empty());
    }

    #[test]
    fn damaged_grants_let_nobody_in() {
        let folder = tempfile::tempdir().unwrap();
        let node = Node::open(folder.path()).unwrap();
        let code = node.grant_browser("desk", "wren", Role::Crew, 1).unwrap();
        node.set_setting(BROWSERS, "nonsense").unwrap();
        drop(node);
        let node = Node::open(folder.path()).unwrap();
        assert!(node.sign_in(&code).unwrap().is_none());
    }
}
