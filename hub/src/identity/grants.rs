//! Which browsers a hub lets in, by tokens that a person granted.
//!
//! In: what is granted to whom, codes, tokens, moments. Out: who is behind a token. A grant starts
//! as a code that is typed or followed once, within ten minutes; the browser that brings it gets a
//! token of 256 random bits. Of both only hashes are kept, so a copy of the store lets nobody in.
//! A grant ends on its day, or at once when it is revoked. No sockets and no disk here.

use guyline_core::time::Timestamp;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use subtle::{Choice, ConstantTimeEq};
use ts_rs::TS;

use super::Role;
use super::device_key::hex;
use super::invitation::{CODE_LIVES, fresh_code};

/// So many grants are kept, with those that ended; the oldest of these go first.
const GRANTS_MAX: usize = 200;
/// The most days a grant runs.
const DAYS_MAX: u32 = 366;
const DAY_MS: i64 = 24 * 60 * 60 * 1000;
/// When a browser was last used is written down anew after so long.
const USE_NOTED_MS: i64 = 10 * 60 * 1000;
/// The most characters of a grant's name.
const NAME_CHARACTERS_MAX: usize = 60;

/// Who asks from a browser.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Visitor {
    /// The grant's id.
    pub grant: String,
    /// What the grant is called.
    pub name: String,
    /// The person it was granted to, by id in the shop.
    pub person: String,
    /// What it is for.
    pub role: Role,
}

/// A grant, for people to see.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub struct BrowserGrant {
    /// Its id.
    pub id: String,
    /// What it is called.
    pub name: String,
    /// Whom it was granted to, by id in the shop.
    pub person: String,
    /// What it is for.
    pub role: Role,
    /// When it ends.
    pub until: String,
    /// Whether a browser has come with its code.
    pub signed_in: bool,
    /// When it was last used, to ten minutes.
    pub last_used: Option<String>,
    /// Whether it lets anybody in, or may yet.
    pub open: bool,
}

/// Why nothing is granted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum GrantRefused {
    /// The name does not fit.
    #[error("a browser's name has 1 to {NAME_CHARACTERS_MAX} characters, and no line ends")]
    Name,
    /// The days do not fit.
    #[error("a browser is let in for 1 to {DAYS_MAX} days")]
    Days,
    /// Too many.
    #[error("{GRANTS_MAX} browsers are let in already")]
    TooMany,
    /// No randomness.
    #[error("the system gives no random numbers: {0}")]
    NoRandomness(getrandom::Error),
}

impl GrantRefused {
    /// The next action.
    pub fn help(&self) -> &'static str {
        match self {
            Self::Name => "call it by where it stands, as in \"office desk\"",
            Self::Days => "choose fewer days; it can be granted anew",
            Self::TooMany => "revoke those that are no longer used",
            Self::NoRandomness(_) => "start the system's random number device",
        }
    }
}

/// What a browser gets for its code.
#[derive(Debug)]
pub(crate) struct SignedIn {
    /// 256 random bits, in hexadecimal. Kept nowhere here.
    pub(crate) token: String,
    pub(crate) visitor: Visitor,
    /// So many seconds it lets in.
    pub(crate) seconds: i64,
}

/// Every grant of a hub. As JSON it is what the store keeps.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub(crate) struct Grants(Vec<Grant>);

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Grant {
    id: String,
    name: String,
    person: String,
    role: Role,
    granted: Timestamp,
    until: Timestamp,
    /// The hash of the code, until a browser comes with it.
    code: Option<Hash>,
    /// The hash of the token, from then on.
    token: Option<Hash>,
    last_used: Option<Timestamp>,
    revoked: bool,
}

/// SHA-256 of a secret and what it is for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
struct Hash(String);

impl Hash {
    fn of(purpose: &str, secret: &str) -> Self {
        let digest = Sha256::new().chain_update(purpose).chain_update(secret).finalize();
        Self(hex(&digest))
    }

    fn is(&self, other: &Self) -> Choice {
        self.0.as_bytes().ct_eq(other.0.as_bytes())
    }
}

const CODE: &str = "guyline browser code 1\0";
const TOKEN: &str = "guyline browser token 1\0";

impl Grants {
    /// Grants a browser to come. Gives the code it comes with.
    pub(crate) fn grant(
        &mut self,
        visitor: Visitor,
        days: u32,
        now: Timestamp,
    ) -> Result<String, GrantRefused> {
        let Visitor { grant: id, name, person, role } = visitor;
        let characters = name.chars().count();
        let fits = (1..=NAME_CHARACTERS_MAX).contains(&characters);
        if !fits || name.chars().any(char::is_control) {
            return Err(GrantRefused::Name);
        }
        if !(1..=DAYS_MAX).contains(&days) {
            return Err(GrantRefused::Days);
        }
        if self.0.len() >= GRANTS_MAX {
            let ended = self.0.iter().position(|grant| !grant.is_open(now));
            self.0.remove(ended.ok_or(GrantRefused::TooMany)?);
        }
        let code = fresh_code().map_err(GrantRefused::NoRandomness)?;
        self.0.push(Grant {
            id,
            name,
            person,
            role,
            granted: now,
            until: later(now, i64::from(days) * DAY_MS),
            code: Some(Hash::of(CODE, &code)),
            token: None,
            last_used: None,
            revoked: false,
        });
        Ok(code)
    }

    /// Takes a code, once. None where it is none, was used, is too old or was revoked.
    pub(crate) fn sign_in(
        &mut self,
        code: &str,
        now: Timestamp,
    ) -> Result<Option<SignedIn>, GrantRefused> {
        let said = Hash::of(CODE, &code.trim().to_ascii_uppercase());
        let Some(grant) = self.find(now, |grant| grant.code.as_ref(), &said) else {
            return Ok(None);
        };
        let mut bits = [0; 32];
        getrandom::fill(&mut bits).map_err(GrantRefused::NoRandomness)?;
        let token = hex(&bits);
        grant.code = None;
        grant.token = Some(Hash::of(TOKEN, &token));
        grant.last_used = Some(now);
        let seconds = (grant.until.unix_ms() - now.unix_ms()) / 1000;
        Ok(Some(SignedIn { token, visitor: grant.visitor(), seconds }))
    }

    /// Who is behind a token, and whether its use must be written down anew.
    pub(crate) fn visitor(&mut self, token: &str, now: Timestamp) -> Option<(Visitor, bool)> {
        let said = Hash::of(TOKEN, token);
        let grant = self.find(now, |grant| grant.token.as_ref(), &said)?;
        let noted = grant.last_used.map_or(0, Timestamp::unix_ms);
        let anew = now.unix_ms() - noted >= USE_NOTED_MS;
        if anew {
            grant.last_used = Some(now);
        }
        Some((grant.visitor(), anew))
    }

    /// Ends a grant. False where there is none of this id.
    pub(crate) fn revoke(&mut self, id: &str) -> bool {
        let Some(grant) = self.0.iter_mut().find(|grant| grant.id == id) else { return false };
        grant.revoked = true;
        grant.code = None;
        grant.token = None;
        true
    }

    /// Every grant that is kept, the newest first.
    pub(crate) fn list(&self, now: Timestamp) -> Vec<BrowserGrant> {
        let shown = |grant: &Grant| BrowserGrant {
            id: grant.id.clone(),
            name: grant.name.clone(),
            person: grant.person.clone(),
            role: grant.role,
            until: grant.until.to_string(),
            signed_in: grant.token.is_some(),
            last_used: grant.last_used.map(|at| at.to_string()),
            open: grant.is_open(now),
        };
        self.0.iter().rev().map(shown).collect()
    }

    /// The open grant whose secret hashes to this. Looks at all, so that the time tells nothing.
    fn find(
        &mut self,
        now: Timestamp,
        secret: impl Fn(&Grant) -> Option<&Hash>,
        said: &Hash,
    ) -> Option<&mut Grant> {
        let matches = |grant: &&mut Grant| {
            let same = secret(grant).map_or(Choice::from(0), |hash| hash.is(said));
            bool::from(same & Choice::from(u8::from(grant.is_open(now))))
        };
        let mut found: Vec<&mut Grant> = self.0.iter_mut().filter(matches).collect();
        found.pop()
    }
}

impl Grant {
    /// Whether it lets its browser in, or may yet.
    fn is_open(&self, now: Timestamp) -> bool {
        let code_lives = i64::try_from(CODE_LIVES.as_millis()).unwrap_or(i64::MAX);
        let came =
            self.token.is_some() || (self.code.is_some() && now < later(self.granted, code_lives));
        !self.revoked && came && now < self.until
    }

    fn visitor(&self) -> Visitor {
        Visitor {
            grant: self.id.clone(),
            name: self.name.clone(),
            person: self.person.clone(),
            role: self.role,
        }
    }
}

/// So much later; at the end of what can be told where that is nearer.
fn later(than: Timestamp, ms: i64) -> Timestamp {
    Timestamp::from_unix_ms(than.unix_ms().saturating_add(ms)).unwrap_or(than)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_unix_ms(1_780_000_000_000 + minute * 60_000).unwrap()
    }

    fn visitor(id: &str) -> Visitor {
        let (name, person) = ("office desk".to_owned(), "wren".to_owned());
        Visitor { grant: id.to_owned(), name, person, role: Role::Office }
    }

    #[test]
    fn a_code_is_taken_once_and_within_ten_minutes() {
        let mut grants = Grants::default();
        let code = grants.grant(visitor("1"), 1, at(0)).unwrap();
        assert!(grants.sign_in("0000000000000000", at(0)).unwrap().is_none());
        assert!(grants.sign_in("", at(0)).unwrap().is_none());
        let signed = grants.sign_in(&code.to_ascii_lowercase(), at(9)).unwrap().unwrap();
        assert_eq!((signed.token.len(), signed.visitor), (64, visitor("1")));
        assert!(grants.sign_in(&code, at(9)).unwrap().is_none(), "twice");
        let late = grants.grant(visitor("2"), 1, at(0)).unwrap();
        assert!(grants.sign_in(&late, at(10)).unwrap().is_none(), "too late");
    }

    #[test]
    fn a_token_lets_in_until_its_day_or_its_revocation() {
        let mut grants = Grants::default();
        let mut token = |id: &str| {
            let code = grants.grant(visitor(id), 1, at(0)).unwrap();
            grants.sign_in(&code, at(0)).unwrap().unwrap().token
        };
        let (one, two) = (token("1"), token("2"));
        assert_eq!(grants.visitor(&one, at(1439)).unwrap().0, visitor("1"));
        assert!(grants.visitor(&one, at(1440)).is_none());
        assert!(grants.revoke("2") && !grants.revoke("3"));
        assert!(grants.visitor(&two, at(1)).is_none());
        assert!(grants.visitor(&one, at(1)).is_some());
        assert!(grants.visitor("", at(1)).is_none());
    }

    #[test]
    fn neither_code_nor_token_is_in_what_is_kept() {
        let mut grants = Grants::default();
        let code = grants.grant(visitor("1"), 1, at(0)).unwrap();
        let before = serde_json::to_string(&grants).unwrap();
        let token = grants.sign_in(&code, at(0)).unwrap().unwrap().token;
        let after = serde_json::to_string(&grants).unwrap();
        for text in [before, after.clone()] {
            assert!(!text.contains(&code) && !text.contains(&token), "{text}");
        }
        let mut again: Grants = serde_json::from_str(&after).unwrap();
        assert_eq!(again, grants);
        assert!(again.visitor(&token, at(1)).is_some());
    }

    #[test]
    fn what_ended_makes_room_and_what_is_open_does_not() {
        let mut grants = Grants::default();
        for n in 0..GRANTS_MAX {
            grants.grant(visitor(&n.to_string()), 1, at(0)).unwrap();
        }
        assert_eq!(grants.grant(visitor("x"), 1, at(0)), Err(GrantRefused::TooMany));
        grants.revoke("7");
        grants.grant(visitor("x"), 1, at(0)).unwrap();
        assert_eq!(grants.list(at(0)).len(), GRANTS_MAX);
        for (name, days, error) in [
            ("", 1, GrantRefused::Name),
            ("a\nb", 1, GrantRefused::Name),
            ("desk", 0, GrantRefused::Days),
            ("desk", 367, GrantRefused::Days),
        ] {
            let visitor = Visitor { name: name.to_owned(), ..visitor("y") };
            assert_eq!(grants.grant(visitor, days, at(0)), Err(error));
        }
    }
}
