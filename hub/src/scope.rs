//! How much of a log somebody keeps: all of it, or the papers and the visits to some sites.
//!
//! In: which sites are wanted, and what is stored already. Out: whether a document is asked for,
//! and a digest of what was asked. Plain values: knows no disk, no network and no document's
//! content.

use std::collections::BTreeSet;

use guyline_core::record::DocumentId;
use sha2::{Digest, Sha256};

use crate::log::Mark;

/// Of so many sites the visits can be asked for one by one; whoever wants more keeps everything.
pub const SITES_MAX: usize = 4_096;

/// Where a document belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// The shop's papers or a site's: everybody has them.
    Papers,
    /// A visit to a site.
    Visit(DocumentId),
}

/// How much of a log. Papers are always in it.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scope {
    /// Everything.
    #[default]
    All,
    /// Of visits only those to these sites.
    Sites(BTreeSet<DocumentId>),
}

impl Scope {
    /// Whether what belongs there is in it.
    pub fn holds(&self, place: Place) -> bool {
        match (self, place) {
            (Self::All, _) | (_, Place::Papers) => true,
            (Self::Sites(sites), Place::Visit(site)) => sites.contains(&site),
        }
    }

    /// Whether all that is in the other is in this one.
    pub fn covers(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::All, _) => true,
            (Self::Sites(_), Self::All) => false,
            (Self::Sites(sites), Self::Sites(others)) => others.is_subset(sites),
        }
    }

    /// The ids of its sites one behind the other, in order; none where it is everything.
    pub fn to_bytes(&self) -> Option<Vec<u8>> {
        match self {
            Self::All => None,
            Self::Sites(sites) => Some(sites.iter().flat_map(|site| site.to_bytes()).collect()),
        }
    }

    /// Reads what [`Scope::to_bytes`] wrote. None where it is no list of ids.
    pub fn from_bytes(bytes: Option<&[u8]>) -> Option<Self> {
        let Some(bytes) = bytes else { return Some(Self::All) };
        let (ids, rest) = bytes.as_chunks::<16>();
        let sites = ids.iter().copied().map(DocumentId::from_bytes).collect();
        rest.is_empty().then_some(Self::Sites(sites))
    }

    /// SHA-256 of its sites; none where it is everything.
    pub(crate) fn digest(&self) -> Option<[u8; 32]> {
        self.to_bytes().map(|sites| Sha256::digest(sites).into())
    }
}

/// What of a log is stored already, wherever else it is read from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Known {
    /// Up to here...
    pub upto: Mark,
    /// ...this much.
    pub scope: Scope,
}

/// What somebody asks for of a log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ask {
    /// How much.
    pub scope: Scope,
    /// What need not be said again; none where nothing of what lies ahead is stored.
    pub known: Option<Known>,
}

impl Ask {
    /// Everything.
    pub const ALL: Self = Self { scope: Scope::All, known: None };

    /// Whether a change is asked for, by its position and by where its document belongs. One of
    /// which nothing is known may be.
    pub fn asks_for(&self, position: u64, place: Option<Place>) -> bool {
        let Some(place) = place else { return true };
        let known = |known: &Known| position <= known.upto.position && known.scope.holds(place);
        self.scope.holds(place) && !self.known.as_ref().is_some_and(known)
    }

    /// The same without what is stored already.
    pub fn afresh(&self) -> Self {
        Self { scope: self.scope.clone(), known: None }
    }

    /// What is stored when the log is up to a mark; `anew` where it is another log than before.
    pub fn stored_up_to(&self, mark: Mark, anew: bool) -> Self {
        let ahead = |known: &Known| !anew && known.upto.position > mark.position;
        Self { scope: self.scope.clone(), known: self.known.clone().filter(ahead) }
    }

    /// SHA-256 of what is asked for; none where that is everything.
    pub fn digest(&self) -> Option<[u8; 32]> {
        if *self == Self::ALL {
            return None;
        }
        let mut hasher = Sha256::new();
        let known = self.known.as_ref();
        for scope in [Some(&self.scope), known.map(|known| &known.scope)] {
            let sites = scope.and_then(Scope::to_bytes);
            hasher.update([u8::from(scope.is_some()), u8::from(sites.is_some())]);
            let sites = sites.unwrap_or_default();
            hasher.update((sites.len() as u64).to_be_bytes());
            hasher.update(sites);
        }
        if let Some(Known { upto, .. }) = known {
            hasher.update(upto.position.to_be_bytes());
            hasher.update(upto.hash);
        }
        Some(hasher.finalize().into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn site(n: u8) -> DocumentId {
        DocumentId::from_bytes([n; 16])
    }

    fn sites(of: &[u8]) -> Scope {
        Scope::Sites(of.iter().copied().map(site).collect())
    }

    fn mark(position: u64) -> Mark {
        Mark { position, hash: [7; 32] }
    }

    #[test]
    fn papers_are_in_every_part_and_a_visit_only_where_its_site_is() {
        let part = sites(&[1, 2]);
        let all = [Place::Papers, Place::Visit(site(2)), Place::Visit(site(3))];
        assert_eq!(all.map(|place| part.holds(place)), [true, true, false]);
        assert_eq!(all.map(|place| Scope::All.holds(place)), [true; 3]);
        assert!(Scope::All.covers(&part) && !part.covers(&Scope::All));
        assert!(part.covers(&sites(&[2])) && !sites(&[2]).covers(&part));
    }

    #[test]
    fn what_is_known_is_asked_for_only_behind_where_it_is_known() {
        let known = Some(Known { upto: mark(10), scope: sites(&[1]) });
        let ask = Ask { scope: sites(&[1, 2]), known };
        let asks = |position, place| ask.asks_for(position, Some(place));
        assert_eq!([10, 11].map(|at| asks(at, Place::Papers)), [false, true]);
        assert_eq!([10, 11].map(|at| asks(at, Place::Visit(site(1)))), [false, true]);
        assert_eq!([10, 11].map(|at| asks(at, Place::Visit(site(2)))), [true, true]);
        assert_eq!([10, 11].map(|at| asks(at, Place::Visit(site(3)))), [false, false]);
        assert!(ask.asks_for(1, None), "what nothing is known of is sent");
        assert!(ask.stored_up_to(mark(9), false).known.is_some());
        assert_eq!(ask.stored_up_to(mark(10), false).known, None);
        assert_eq!(ask.stored_up_to(mark(9), true).known, None, "it was of another log");
    }

    #[test]
    fn two_askings_have_one_digest_only_where_they_are_the_same() {
        let known = |upto, scope| Some(Known { upto, scope });
        let askings = [
            Ask { scope: sites(&[]), known: None },
            Ask { scope: sites(&[1]), known: None },
            Ask { scope: sites(&[1]), known: known(mark(1), sites(&[])) },
            Ask { scope: sites(&[1]), known: known(mark(2), sites(&[])) },
            Ask { scope: sites(&[]), known: known(mark(1), sites(&[1])) },
            Ask { scope: Scope::All, known: known(mark(1), sites(&[1])) },
            Ask { scope: sites(&[1]), known: known(mark(1), Scope::All) },
            Ask::ALL,
        ];
        let digests: BTreeSet<_> = askings.iter().map(Ask::digest).collect();
        assert_eq!(digests.len(), askings.len());
        assert_eq!(Ask::ALL.digest(), None);
    }

    #[test]
    fn a_scope_comes_back_from_its_bytes_and_half_an_id_is_none() {
        for scope in [Scope::All, sites(&[]), sites(&[1, 9])] {
            let bytes = scope.to_bytes();
            assert_eq!(Scope::from_bytes(bytes.as_deref()), Some(scope));
        }
        assert_eq!(Scope::from_bytes(Some(&[0; 17])), None);
    }
}
