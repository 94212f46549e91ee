//! Letting a device in: an invitation as a line of text, its one-time code, and the short code both
//! sides compare.
//!
//! In: keys, a code, moments. Out: whether a device may wait at the door, and whether it is let in.
//! A code works for one device, for ten minutes, and dies at the third wrong try. It only leads to
//! the door: a person compares the short code on both screens and opens. No sockets here.

use std::fmt;
use std::str::FromStr;
use std::time::{Duration, Instant};

use sha2::{Digest, Sha256};

use super::PublicKey;

/// So long a code works.
pub(crate) const CODE_LIVES: Duration = Duration::from_secs(600);
/// So many wrong codes burn an invitation.
const WRONG_MAX: u8 = 3;
const WORD: &str = "guyline-join-1";
/// How the same starts as a link. The platform opens the app for its scheme.
const LINK: &str = "guyline:join?";
/// 80 bits as text: 16 letters and digits of Crockford's alphabet, that nobody takes for others.
const CODE_LETTERS: usize = 16;
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

/// What a person carries from the device that lets in to the one that comes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Invitation {
    /// The shop's root key.
    pub root: PublicKey,
    /// The key of the device that lets in.
    pub host: PublicKey,
    /// The one-time code.
    pub code: String,
    /// Where that device can be reached, as `192.0.2.7:4771`.
    pub addresses: Vec<String>,
}

/// Why a text is no invitation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("this is no invitation: it starts with {WORD} and has three codes and an address")]
pub struct NotAnInvitation;

impl fmt::Display for Invitation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { root, host, code, addresses } = self;
        write!(f, "{WORD} {root} {host} {code} {}", addresses.join(","))
    }
}

impl Invitation {
    /// The same as a link (RFC 3986), which opens the app where one is installed.
    pub fn link(&self) -> String {
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("invitation", &self.to_string())
            .finish();
        format!("{LINK}{query}")
    }
}

impl FromStr for Invitation {
    type Err = NotAnInvitation;

    /// Takes the line and the link alike.
    fn from_str(text: &str) -> Result<Self, NotAnInvitation> {
        if let Some(query) = text.trim().strip_prefix(LINK) {
            let mut pairs = form_urlencoded::parse(query.as_bytes());
            let (_, line) = pairs.find(|(name, _)| name == "invitation").ok_or(NotAnInvitation)?;
            return Self::of_line(&line);
        }
        Self::of_line(text)
    }
}

impl Invitation {
    fn of_line(text: &str) -> Result<Self, NotAnInvitation> {
        let mut parts = text.split_whitespace();
        let mut next = || parts.next().ok_or(NotAnInvitation);
        if next()? != WORD {
            return Err(NotAnInvitation);
        }
        let root = next()?.parse().map_err(|_| NotAnInvitation)?;
        let host = next()?.parse().map_err(|_| NotAnInvitation)?;
        let code = next()?.to_ascii_uppercase();
        let addresses: Vec<String> = next()?.split(',').map(str::to_owned).collect();
        let fits = code.len() == CODE_LETTERS && code.bytes().all(|c| ALPHABET.contains(&c));
        if !fits || parts.next().is_some() || addresses.iter().any(String::is_empty) {
            return Err(NotAnInvitation);
        }
        Ok(Self { root, host, code, addresses })
    }
}

/// A fresh code. Fails where the system gives no randomness.
pub(crate) fn fresh_code() -> Result<String, getrandom::Error> {
    let mut bytes = [0; CODE_LETTERS];
    getrandom::fill(&mut bytes)?;
    // 256 is a multiple of 32: every letter is as likely as another.
    Ok(bytes.iter().map(|byte| char::from(ALPHABET[usize::from(byte % 32)])).collect())
}

/// Six digits that two devices show alike only when they mean the same two keys and code.
pub(crate) fn short_code(host: PublicKey, guest: PublicKey, code: &str) -> String {
    let mut hash = Sha256::new();
    hash.update(b"guyline pair 1\0");
    hash.update(host.to_bytes());
    hash.update(guest.to_bytes());
    hash.update(code.as_bytes());
    let digest = hash.finalize();
    let number = u32::from_be_bytes([digest[0], digest[1], digest[2], digest[3]]) % 1_000_000;
    format!("{:03} {:03}", number / 1000, number % 1000)
}

/// The door of the device that lets in.
#[derive(Debug, Default)]
pub(crate) struct Door {
    open: Option<OpenDoor>,
}

#[derive(Debug)]
struct OpenDoor {
    code: String,
    until: Instant,
    wrong: u8,
    guest: Option<Guest>,
}

/// A device that waits at the door.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Guest {
    pub(crate) key: PublicKey,
    pub(crate) name: String,
    pub(crate) short: String,
}

/// Why a device may not wait at the door.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum Shut {
    /// Nobody invited, or it was too long ago.
    #[error("no invitation is open here")]
    Closed,
    /// Another code.
    #[error("that is not the code of the invitation")]
    Wrong,
    /// Somebody else came with it.
    #[error("the invitation was used by another device")]
    Used,
}

impl Door {
    /// Opens it for one device.
    pub(crate) fn invite(&mut self, code: String, now: Instant) {
        self.open = Some(OpenDoor { code, until: now + CODE_LIVES, wrong: 0, guest: None });
    }

    /// Closes it.
    pub(crate) fn close(&mut self) {
        self.open = None;
    }

    /// Whether anybody may knock.
    pub(crate) fn is_open(&mut self, now: Instant) -> bool {
        if self.open.as_ref().is_some_and(|open| now >= open.until) {
            self.open = None;
        }
        self.open.is_some()
    }

    /// A device knocks with a code. Gives what both sides show.
    pub(crate) fn knock(
        &mut self,
        host: PublicKey,
        key: PublicKey,
        name: &str,
        code: &str,
        now: Instant,
    ) -> Result<String, Shut> {
        if !self.is_open(now) {
            return Err(Shut::Closed);
        }
        let open = self.open.as_mut().ok_or(Shut::Closed)?;
        if !same(&open.code, code) {
            open.wrong += 1;
            if open.wrong >= WRONG_MAX {
                self.open = None;
            }
            return Err(Shut::Wrong);
        }
        let short = short_code(host, key, code);
        match &open.guest {
            Some(guest) if guest.key != key => Err(Shut::Used),
            _ => {
                let name = name.to_owned();
                open.guest = Some(Guest { key, name, short: short.clone() });
                Ok(short)
            }
        }
    }

    /// Who waits.
    pub(crate) fn guest(&self) -> Option<&Guest> {
        self.open.as_ref()?.guest.as_ref()
    }
}

/// Whether two codes are the same, in a time that does not tell where they differ.
fn same(one: &str, other: &str) -> bool {
    let different = one.bytes().zip(other.bytes()).fold(0, |sum, (a, b)| sum | (a ^ b));
    one.len() == other.len() && different == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(n: u8) -> PublicKey {
        PublicKey::from_bytes([n; 32])
    }

    fn open_door() -> (Door, String, Instant) {
        let (mut door, code, now) = (Door::default(), fresh_code().unwrap(), Instant::now());
        door.invite(code.clone(), now);
        (door, code, now)
    }

    #[test]
    fn an_invitation_survives_its_text_and_nothing_else_is_one() {
        let invitation = Invitation {
            root: key(1),
            host: key(2),
            code: fresh_code().unwrap(),
            addresses: vec!["192.0.2.7:4771".to_owned(), "[2001:db8::1]:4771".to_owned()],
        };
        let text = invitation.to_string();
        assert_eq!(format!("  {text}\n").parse(), Ok(invitation.clone()));
        let link = invitation.link();
        let plain = |c: char| c.is_ascii_alphanumeric() || "-._~:?=+%&".contains(c);
        assert!(link.starts_with("guyline:") && link.chars().all(plain), "{link}");
        assert_eq!(format!(" {link}\n").parse(), Ok(invitation));
        let (cut, other) = (&link[..link.len() / 2], link.replace("invitation=", "invited="));
        let more = format!("{text} more");
        let wrong = ["", "hello", "guyline:", "guyline:join?", &link[1..], cut, &other];
        for wrong in wrong.into_iter().chain([&text[1..], &text[..text.len() / 2], &more]) {
            assert_eq!(wrong.parse::<Invitation>(), Err(NotAnInvitation), "{wrong:?}");
        }
    }

    #[test]
    fn the_code_leads_one_device_to_the_door() {
        let (mut door, code, now) = open_door();
        let short = door.knock(key(1), key(2), "van 2", &code, now).unwrap();
        assert_eq!(short, short_code(key(1), key(2), &code));
        assert_eq!(door.guest().unwrap().key, key(2));
        assert_eq!(door.knock(key(1), key(3), "other", &code, now), Err(Shut::Used));
        assert_eq!(door.knock(key(1), key(2), "van 2", &code, now), Ok(short), "it may ask again");
        door.close();
        assert_eq!(door.knock(key(1), key(2), "van 2", &code, now), Err(Shut::Closed));
    }

    #[test]
    fn a_code_dies_after_ten_minutes_and_at_the_third_wrong_try() {
        let (mut door, code, now) = open_door();
        let late = now + CODE_LIVES;
        assert!(door.is_open(late - Duration::from_millis(1)));
        assert_eq!(door.knock(key(1), key(2), "x", &code, late), Err(Shut::Closed));

        let (mut door, code, now) = open_door();
        for _ in 0..3 {
            let wrong = fresh_code().unwrap();
            assert_eq!(door.knock(key(1), key(2), "x", &wrong, now), Err(Shut::Wrong));
        }
        assert_eq!(door.knock(key(1), key(2), "x", &code, now), Err(Shut::Closed));
    }

    #[test]
    fn somebody_between_the_two_makes_other_short_codes() {
        // HANDBOOK has no row for this; a thousand pairs with a third key between them.
        let code = fresh_code().unwrap();
        let differ = (0..1_000_u16).filter(|n| {
            let middle = Sha256::digest(n.to_be_bytes());
            let middle = PublicKey::from_bytes(middle.into());
            // The guest shows the code of host and middle as it sees them, the host another.
            short_code(middle, key(2), &code) != short_code(key(1), middle, &code)
        });
        assert!(differ.count() >= 999, "one in a million may be the same by chance");
    }
}
