//! The roster: which devices belong to a shop, by its root key's word.
//!
//! In: statements signed by the root key, and members' words of what they had of a device before it
//! was taken off. Out: whether a key is admitted, and who is. Statements are only ever added; a
//! revocation counts whatever membership stands beside it, in whatever order the two came, so that
//! every device that has both says the same. Nothing here asks a clock.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use automerge::ChangeHash;
use guyline_core::record::DocumentId;
use guyline_core::time::Timestamp;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha512_256};
use ts_rs::TS;

use super::{DeviceKey, PublicKey, SignatureRefused};

/// What a statement is called, so that no other signed text can pass for one.
const FORM: &str = "guyline roster, form 1";
/// The longest text of a statement, in bytes.
const TEXT_BYTES_MAX: usize = 4_000;
/// So many changes go into one statement of what was had.
const HAD_MAX: usize = 30;
/// A roster has no more bytes as JSON, on the wire or on a stick.
pub(crate) const ROSTER_BYTES_MAX: usize = 8 * 1024 * 1024;
/// The most statements a roster takes.
const ENTRIES_MAX: usize = 10_000;

/// A statement with the root key's signature.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RosterEntry {
    /// The statement, as it was signed.
    pub text: String,
    /// The signature, in hexadecimal.
    pub signature: String,
}

/// What a statement says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
enum Said {
    /// This key belongs to the shop.
    Member { key: String, name: String, role: Role, since: Timestamp },
    /// It does no longer.
    Revoked { key: String, at: Timestamp, reason: String },
    /// The device with this key had these changes of devices that were taken off; it signs itself.
    Had { key: String, changes: Vec<HadChange> },
}

/// A change that somebody had.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct HadChange {
    document: String,
    change: String,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Statement {
    form: String,
    said: Said,
}

/// What a device is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Goes to the sites.
    Crew,
    /// Keeps the shop: a hub, an office laptop.
    Office,
    /// Shows what is there, and enters nothing.
    ReadOnly,
}

/// A device on the roster.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub struct Member {
    /// Its key, for people to compare.
    pub key: String,
    /// Its key in full.
    pub whole_key: String,
    /// What it was called when it was let in.
    pub name: String,
    /// What it is for.
    pub role: Role,
    /// When it was let in, by the clock of who did.
    pub since: String,
    /// Why it is no longer admitted, where it is not.
    pub revoked: Option<String>,
}

/// Why a statement is not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RosterRefused {
    /// The signature is not the root key's.
    #[error("a statement that the shop's root key did not sign: {0}")]
    Signature(#[from] SignatureRefused),
    /// It is no statement.
    #[error("a signed text that is no statement of a roster")]
    Shape,
    /// Too many.
    #[error("more than {ENTRIES_MAX} statements")]
    TooMany,
}

/// A shop's roster.
#[derive(Clone, Debug)]
pub struct Roster {
    root: PublicKey,
    entries: BTreeSet<RosterEntry>,
    members: BTreeMap<PublicKey, (String, Role, Timestamp)>,
    revoked: BTreeMap<PublicKey, String>,
    /// Who says to have had a change.
    had: BTreeMap<(DocumentId, ChangeHash), BTreeSet<PublicKey>>,
    /// Of the entries, once somebody asked for it.
    digest: OnceLock<String>,
}

impl Roster {
    /// An empty one under a root key.
    pub fn under(root: PublicKey) -> Self {
        let (members, revoked, had) = Default::default();
        Self { root, entries: BTreeSet::new(), members, revoked, had, digest: OnceLock::new() }
    }

    /// The root key.
    pub fn root(&self) -> PublicKey {
        self.root
    }

    /// Every statement.
    pub fn entries(&self) -> Vec<RosterEntry> {
        self.entries.iter().cloned().collect()
    }

    /// The same for two that say the same, in hexadecimal.
    pub fn digest(&self) -> &str {
        self.digest.get_or_init(|| {
            let mut hash = Sha512_256::new();
            for RosterEntry { text, signature } in &self.entries {
                for part in [text, signature] {
                    hash.update((part.len() as u64).to_le_bytes());
                    hash.update(part);
                }
            }
            hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
        })
    }

    /// Whether all of these were taken before.
    pub fn knows(&self, entries: &[RosterEntry]) -> bool {
        entries.iter().all(|entry| self.entries.contains(entry))
    }

    /// Takes statements, all or none. Gives how many were new.
    pub fn take(&mut self, entries: &[RosterEntry]) -> Result<usize, RosterRefused> {
        // What is known was verified when it came: each merge brings all of it again.
        let news: Vec<&RosterEntry> =
            entries.iter().filter(|entry| !self.entries.contains(entry)).collect();
        if self.entries.len() + news.len() > ENTRIES_MAX {
            return Err(RosterRefused::TooMany);
        }
        let said: Vec<Said> =
            news.iter().map(|entry| self.read(entry)).collect::<Result<_, _>>()?;
        let before = self.entries.len();
        for (entry, said) in news.into_iter().zip(said) {
            if self.entries.insert(entry.clone()) {
                self.digest = OnceLock::new();
                self.note(said)?;
            }
        }
        Ok(self.entries.len() - before)
    }

    /// Whether a key may come in.
    pub fn admits(&self, key: PublicKey) -> bool {
        self.members.contains_key(&key) && !self.revoked.contains_key(&key)
    }

    /// Whether what a device writes is taken: it may come in, and does not only read.
    pub fn writes(&self, key: PublicKey) -> bool {
        let role = self.members.get(&key).map(|(_, role, _)| *role);
        role.is_some_and(|role| role != Role::ReadOnly) && self.admits(key)
    }

    /// Whether a device was taken off.
    pub fn is_revoked(&self, key: PublicKey) -> bool {
        self.revoked.contains_key(&key)
    }

    /// The devices that were taken off.
    pub fn revoked(&self) -> impl Iterator<Item = PublicKey> + '_ {
        self.revoked.keys().copied()
    }

    /// Whether a device that may write says that it had a change.
    pub fn says_was_had(&self, document: DocumentId, change: ChangeHash) -> bool {
        let by = self.had.get(&(document, change));
        by.is_some_and(|by| by.iter().any(|key| self.writes(*key)))
    }

    /// The keys that may come in.
    pub fn admitted(&self) -> impl Iterator<Item = PublicKey> + '_ {
        self.members.keys().copied().filter(|key| !self.revoked.contains_key(key))
    }

    /// What the device with a key is for; none where it was never let in.
    pub fn role_of(&self, key: PublicKey) -> Option<Role> {
        self.members.get(&key).map(|(_, role, _)| *role)
    }

    /// Every device that was ever let in, by name.
    pub fn members(&self) -> Vec<Member> {
        let member =
            |(key, (name, role, since)): (&PublicKey, &(String, Role, Timestamp))| Member {
                key: key.short(),
                whole_key: key.to_string(),
                name: name.clone(),
                role: *role,
                since: since.to_string(),
                revoked: self.revoked.get(key).cloned(),
            };
        let mut members: Vec<Member> = self.members.iter().map(member).collect();
        members.sort_by(|a, b| (&a.name, &a.whole_key).cmp(&(&b.name, &b.whole_key)));
        members
    }

    fn read(&self, entry: &RosterEntry) -> Result<Said, RosterRefused> {
        if entry.text.len() > TEXT_BYTES_MAX {
            return Err(RosterRefused::Shape);
        }
        let statement: Result<Statement, _> = serde_json::from_str(&entry.text);
        let (signer, statement) = match statement {
            Ok(statement) => match &statement.said {
                Said::Had { key, .. } => {
                    (key.parse().map_err(|_| RosterRefused::Shape)?, Some(statement))
                }
                _ => (self.root, Some(statement)),
            },
            Err(_) => (self.root, None),
        };
        signer.verify_roster(&entry.text, &entry.signature)?;
        let statement = statement.filter(|said| said.form == FORM).ok_or(RosterRefused::Shape)?;
        match &statement.said {
            Said::Member { key, .. } | Said::Revoked { key, .. } => {
                key.parse::<PublicKey>().map_err(|_| RosterRefused::Shape)?;
            }
            Said::Had { changes, .. } => {
                if changes.len() > HAD_MAX || changes.iter().any(|had| had.parsed().is_none()) {
                    return Err(RosterRefused::Shape);
                }
            }
        }
        Ok(statement.said)
    }

    fn note(&mut self, said: Said) -> Result<(), RosterRefused> {
        let parsed = |key: String| key.parse::<PublicKey>().map_err(|_| RosterRefused::Shape);
        match said {
            Said::Member { key, name, role, since } => {
                let key = parsed(key)?;
                // Said twice, the later name counts; on a tie the greater, on every device alike.
                let said = (name, role, since);
                let known = self.members.get(&key);
                if known.is_none_or(|known| (known.2, &known.0) < (said.2, &said.0)) {
                    self.members.insert(key, said);
                }
            }
            Said::Revoked { key, reason, .. } => {
                let kept = self.revoked.entry(parsed(key)?).or_insert_with(|| reason.clone());
                if reason < *kept {
                    *kept = reason;
                }
            }
            Said::Had { key, changes } => {
                let key = parsed(key)?;
                for had in changes.iter().filter_map(HadChange::parsed) {
                    self.had.entry(had).or_default().insert(key);
                }
            }
        }
        Ok(())
    }
}

impl HadChange {
    fn parsed(&self) -> Option<(DocumentId, ChangeHash)> {
        Some((self.document.parse().ok()?, self.change.parse().ok()?))
    }
}

/// Says that a device had these changes, in as many statements as it takes.
pub fn having(device: &DeviceKey, changes: &[(DocumentId, ChangeHash)]) -> Vec<RosterEntry> {
    let statement = |changes: &[(DocumentId, ChangeHash)]| {
        let had = |(document, change): &(DocumentId, ChangeHash)| HadChange {
            document: document.to_string(),
            change: change.to_string(),
        };
        let changes = changes.iter().map(had).collect();
        signed(device, Said::Had { key: device.public().to_string(), changes })
    };
    changes.chunks(HAD_MAX).map(statement).collect()
}

/// Says that a key belongs to the shop.
pub fn membership(
    root: &DeviceKey,
    key: PublicKey,
    name: &str,
    role: Role,
    since: Timestamp,
) -> RosterEntry {
    let name = name.to_owned();
    signed(root, Said::Member { key: key.to_string(), name, role, since })
}

/// Says that it does no longer.
pub fn revocation(root: &DeviceKey, key: PublicKey, at: Timestamp, reason: &str) -> RosterEntry {
    signed(root, Said::Revoked { key: key.to_string(), at, reason: reason.to_owned() })
}

fn signed(by: &DeviceKey, said: Said) -> RosterEntry {
    let statement = Statement { form: FORM.to_owned(), said };
    let text = serde_json::to_string(&statement).expect("text keys only");
    let signature = by.sign_roster(&text);
    RosterEntry { text, signature }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key() -> DeviceKey {
        let folder = tempfile::tempdir().unwrap();
        DeviceKey::open(folder.path()).unwrap()
    }

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_unix_ms(1_780_000_000_000 + minute * 60_000).unwrap()
    }

    #[test]
    fn who_the_root_key_names_is_admitted_and_nobody_else() {
        let (root, tablet, stranger) = (key(), key().public(), key().public());
        let mut roster = Roster::under(root.public());
        let entry = membership(&root, tablet, "van 2", Role::Crew, at(0));
        assert_eq!(roster.take(std::slice::from_ref(&entry)), Ok(1));
        assert_eq!(roster.take(&[entry]), Ok(0), "twice is once");
        assert!(roster.admits(tablet) && !roster.admits(stranger));
        assert_eq!(roster.members()[0].name, "van 2");
    }

    #[test]
    fn what_is_known_is_neither_counted_nor_verified_again() {
        let (root, tablet) = (key(), key().public());
        let mut roster = Roster::under(root.public());
        let entry = |minute| membership(&root, tablet, "van 2", Role::Crew, at(minute));
        let most: Vec<RosterEntry> = (0..ENTRIES_MAX as i64).map(entry).collect();
        assert!(!roster.knows(&most[..1]) && roster.knows(&[]));
        // As full as it may be; verifying each takes long, and is tried elsewhere.
        roster.entries.extend(most.iter().cloned());
        assert!(roster.knows(&most));
        assert_eq!(roster.take(&most), Ok(0), "each merge brings all of it");
        let one_more = entry(ENTRIES_MAX as i64);
        assert_eq!(roster.take(&[one_more]), Err(RosterRefused::TooMany));
    }

    #[test]
    fn two_that_say_the_same_have_one_digest_and_no_others() {
        let (root, tablet) = (key(), key().public());
        let (first, second) = (
            membership(&root, tablet, "van 2", Role::Crew, at(0)),
            revocation(&root, tablet, at(5), "stolen"),
        );
        let mut here = Roster::under(root.public());
        let empty = here.digest().to_owned();
        here.take(std::slice::from_ref(&first)).unwrap();
        let one = here.digest().to_owned();
        here.take(std::slice::from_ref(&second)).unwrap();
        let mut there = Roster::under(root.public());
        there.take(&[second, first]).unwrap();
        assert_eq!(here.digest(), there.digest(), "in whatever order it came");
        assert!(empty != one && one != here.digest() && empty != here.digest());
    }

    #[test]
    fn a_revocation_counts_in_whatever_order_it_came() {
        let (root, tablet) = (key(), key().public());
        let entries = [
            membership(&root, tablet, "van 2", Role::Crew, at(0)),
            revocation(&root, tablet, at(5), "stolen"),
            // Somebody who says it is a member again changes nothing: a new key does.
            membership(&root, tablet, "van 2 again", Role::Crew, at(9)),
        ];
        for order in [[0, 1, 2], [1, 0, 2], [2, 1, 0], [0, 2, 1]] {
            let mut roster = Roster::under(root.public());
            for index in order {
                roster.take(&entries[index..=index]).unwrap();
            }
            assert!(!roster.admits(tablet), "{order:?}");
            let told = roster.members();
            assert_eq!(told[0].revoked.as_deref(), Some("stolen"));
            assert_eq!(told[0].name, "van 2 again");
        }
    }

    #[test]
    fn what_another_key_signed_or_somebody_changed_is_refused_whole() {
        let (root, other, tablet) = (key(), key(), key().public());
        let good = membership(&root, tablet, "van 2", Role::Crew, at(0));
        let foreign = membership(&other, tablet, "van 2", Role::Office, at(0));
        let mut changed = good.clone();
        changed.text = changed.text.replace("crew", "office");
        let mut roster = Roster::under(root.public());
        for bad in [foreign, changed] {
            let refused = roster.take(&[good.clone(), bad]).unwrap_err();
            assert!(matches!(refused, RosterRefused::Signature(_)), "{refused}");
            assert!(roster.entries().is_empty(), "all or none");
        }
        // A sign-off of the root key is no statement of a roster.
        let text = good.text.clone();
        let sign_off = RosterEntry { signature: root.sign_statement(&text), text };
        assert!(roster.take(&[sign_off]).is_err());
    }
}
