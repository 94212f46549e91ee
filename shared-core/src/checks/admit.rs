//! Whether a reading may be recorded: the check is in the plan, the chain fits it, the number is
//! one, nothing forbids keying, and the person has acknowledged what must be.
//!
//! In: the case, the person and the reading meant. Out: nothing, or why not and what to do. It
//! blocks what would destroy an instrument; it never says that keying is safe.

use super::appraise::{Sheet, fits, repeater};
use super::case::Case;
use super::caution::Cautions;
use super::guard::{Stop, stops};
use super::judge::NotJudged;
use super::measure::{NotMeasured, entered};
use super::plan::{Plan, Through};
use crate::language::{Language, english_only};
use crate::record::validate::Problem;
use crate::record::{Plane, Reading};

/// Why a reading may not be recorded.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotAdmitted {
    /// Shop, site and session do not belong together.
    #[error("{first}")]
    Problem {
        /// The first problem.
        first: Problem,
    },
    /// The check or the chain is not there, or the number is none.
    #[error(transparent)]
    NotJudged(#[from] NotJudged),
    /// The chain is for another check.
    #[error(
        "{title:?} is taken at the {plane}{way}; chain {chain:?} is not connected so",
        plane = .plane.words(),
        way = way_words(*.way, Language::English)
    )]
    ChainUnfit {
        /// The check.
        title: String,
        /// Where it is taken.
        plane: Plane,
        /// Through what.
        way: Through,
        /// The chain.
        chain: String,
    },
    /// Keying would destroy something.
    #[error("do not key: {}", said(.stops))]
    Stopped {
        /// Every stop of the chain.
        stops: Vec<Stop>,
    },
    /// Cautions stand open for this person.
    #[error("{person} has not acknowledged: {}", .titles.join(", "))]
    CautionsOpen {
        /// The person.
        person: String,
        /// The cautions' titles.
        titles: Vec<String>,
        /// The cautions, by id.
        cautions: Vec<String>,
    },
}

impl NotAdmitted {
    /// Why, in a language: that of the rules it was refused by.
    pub fn said(&self, language: Language) -> String {
        match self {
            _ if language == Language::English => self.to_string(),
            Self::Problem { first } => english_only(language, first),
            Self::NotJudged(error) => error.said(language),
            Self::ChainUnfit { title, plane, way, chain } => {
                let (plane, way) = (plane.said(language), way_words(*way, language));
                format!(
                    "« {title} » se prend au {plane}{way} ; le montage « {chain} » n’est pas ainsi"
                )
            }
            Self::Stopped { stops } => format!("ne pas émettre : {}", said(stops)),
            Self::CautionsOpen { person, titles, .. } => {
                format!("{person} n’a pas confirmé : {}", titles.join(", "))
            }
        }
    }
}

fn way_words(way: Through, language: Language) -> &'static str {
    let (english, french) = match way {
        Through::Direct => {
            (", straight on, with a port that does it", ", en direct, avec un port qui le fait")
        }
        Through::Coupler => (", through a coupler", ", à travers un coupleur"),
        Through::Antenna => (
            ", through a coupler whose line goes on to the antenna",
            ", à travers un coupleur dont la ligne va à l’antenne",
        ),
    };
    language.pick(english, french)
}

impl From<NotMeasured> for NotAdmitted {
    fn from(error: NotMeasured) -> Self {
        Self::NotJudged(error.into())
    }
}

fn said(stops: &[Stop]) -> String {
    let said: Vec<&str> = stops.iter().map(|stop| stop.what.as_str()).collect();
    said.join("; ")
}

/// Whether this reading may be recorded by the person it is stamped with. What forbids keying is
/// told in the language.
pub fn admit_reading(
    language: Language,
    plan: &Plan,
    cautions: &Cautions,
    sheet: &Sheet,
    reading: &Reading,
) -> Result<(), NotAdmitted> {
    let Sheet { shop, session, .. } = sheet;
    let repeater = repeater(sheet).map_err(|problems| NotAdmitted::Problem {
        first: problems.into_iter().next().expect("a refusal has a problem"),
    })?;
    let case = Case::new(plan, shop, repeater, session).in_language(language);
    let check = case.check(&reading.check)?;
    let setup = case.setup(&reading.chain)?;
    if !fits(&case, check, setup.chain()) {
        return Err(NotAdmitted::ChainUnfit {
            title: check.title.clone(),
            plane: check.plane,
            way: check.through,
            chain: setup.chain().name.clone(),
        });
    }
    entered(check, repeater, reading)?;
    if check.keyed {
        let power = case.power_w().map_err(NotJudged::from)?;
        let stops = stops(&setup, power).map_err(NotMeasured::from)?;
        if !stops.is_empty() {
            return Err(NotAdmitted::Stopped { stops });
        }
    }
    let open = cautions.open(check, session, &reading.stamp.by);
    if open.is_empty() {
        return Ok(());
    }
    Err(NotAdmitted::CautionsOpen {
        person: reading.stamp.by.clone(),
        titles: open.iter().map(|caution| caution.title.clone()).collect(),
        cautions: open.iter().map(|caution| caution.id.clone()).collect(),
    })
}
