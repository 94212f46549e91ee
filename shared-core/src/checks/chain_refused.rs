//! Why a chain cannot be worked out, in both languages.
//!
//! In: what [`super::setup`] could not find, order or work out. Out: sentences. Decides nothing.

use super::element::ElementRefused;
use crate::language::Language;
use crate::units::OutOfRange;

/// Why a chain cannot be worked out.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ChainRefused {
    /// A name that leads nowhere.
    #[error("chain {chain:?} names {what} {id:?}, which the shop does not have")]
    Missing {
        /// The chain's name.
        chain: String,
        /// Part, instrument or port.
        what: &'static str,
        /// The id it names.
        id: String,
    },
    /// Parts in an order that cannot be connected.
    #[error("chain {chain:?}: {problem}")]
    Order {
        /// The chain's name.
        chain: String,
        /// What is wrong, and what would be right.
        problem: WrongOrder,
    },
    /// A loss or a rating that is not known.
    #[error("chain {chain:?}: {source}")]
    Element {
        /// The chain's name.
        chain: String,
        /// Which, and where it is known.
        source: ElementRefused,
    },
    /// A number no rating can have.
    #[error("chain {chain:?}: {source}")]
    Number {
        /// The chain's name.
        chain: String,
        /// Which.
        source: OutOfRange,
    },
}

impl ChainRefused {
    /// Why, in a language.
    pub(super) fn said(&self, language: Language) -> String {
        let (chain, why) = match self {
            _ if language == Language::English => return self.to_string(),
            Self::Missing { chain, what, id } => {
                let what = match *what {
                    "instrument" => "l’instrument",
                    "port" => "le port",
                    _ => "l’élément",
                };
                return format!(
                    "le montage « {chain} » nomme {what} « {id} », que l’atelier n’a pas"
                );
            }
            Self::Order { chain, problem } => (chain, problem.said(language).to_owned()),
            Self::Element { chain, source } => (chain, source.said(language)),
            Self::Number { chain, source } => (chain, source.said(language)),
        };
        format!("montage « {chain} » : {why}")
    }
}

/// An order in which parts cannot be connected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WrongOrder {
    /// What ends a line stands between instrument and plane.
    EndBetween,
    /// More than one coupler, or one that does not stand last.
    CouplerNotLast,
    /// A line without a coupler.
    LineWithoutCoupler,
    /// A second coupler on the line.
    CouplerOnLine,
    /// Something stands behind what ends the line.
    BehindEnd,
}

impl WrongOrder {
    /// What is wrong, and what would be right.
    fn said(self, language: Language) -> &'static str {
        let (english, french) = match self {
            Self::EndBetween => (
                "a load ends a line, as an antenna does; it cannot stand between instrument and \
                 plane",
                "une charge termine une ligne, comme une antenne ; elle ne peut être entre \
                 l’instrument et le plan de mesure",
            ),
            Self::CouplerNotLast => (
                "one coupler at most, and it stands last, on the plane",
                "un coupleur au plus, et en dernier, sur le plan de mesure",
            ),
            Self::LineWithoutCoupler => (
                "a line goes on from a coupler; there is none",
                "une ligne part d’un coupleur ; il n’y en a pas",
            ),
            Self::CouplerOnLine => (
                "a coupler has no place on the line behind another",
                "un coupleur n’a pas sa place sur la ligne derrière un autre",
            ),
            Self::BehindEnd => (
                "a load ends the line, as an antenna does; nothing comes after it",
                "une charge termine la ligne, comme une antenne ; rien ne vient après",
            ),
        };
        language.pick(english, french)
    }
}

impl std::fmt::Display for WrongOrder {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.said(Language::English))
    }
}
