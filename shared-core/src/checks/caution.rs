//! Cautions: what is said before work of a stage, and who has acknowledged it by name.
//!
//! Every caution ends by deferring to local codes and qualified people. A caution never clears.

use std::sync::OnceLock;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::plan::{Check, Stage};
use crate::language::Language;
use crate::record::Session;

/// A caution as shipped.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Caution {
    /// Its id.
    pub id: String,
    /// The stage it goes before.
    pub stage: Stage,
    /// Whether it must be acknowledged before a keyed reading.
    pub keyed: bool,
    /// A few words.
    pub title: String,
    /// The same in French; a shop's own caution is said as the shop wrote it.
    #[serde(rename = "title-fr")]
    pub title_fr: String,
    /// What is said, without the deferral.
    pub text: String,
    /// The same in French.
    #[serde(rename = "text-fr")]
    pub text_fr: String,
}

/// All cautions, in the order they are said.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cautions {
    /// How every caution ends.
    pub deferral: String,
    /// The same in French.
    #[serde(rename = "deferral-fr")]
    pub deferral_fr: String,
    /// The cautions.
    #[serde(rename = "caution")]
    pub all: Vec<Caution>,
}

/// A caution with who has acknowledged it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema, TS)]
pub struct CautionState {
    /// Its id.
    pub id: String,
    /// The stage it goes before.
    pub stage: Stage,
    /// Whether it must be acknowledged before a keyed reading.
    pub keyed: bool,
    /// A few words.
    pub title: String,
    /// What is said, ending with the deferral.
    pub text: String,
    /// The people who have acknowledged it, by id.
    pub acknowledged_by: Vec<String>,
}

/// The caution that stands before the first keyed step of every visit.
const FIRST: &str = "site-hazards";

/// Words that would clear a hazard, in both languages.
const CLEARING: [&str; 10] = [
    "is safe",
    "safe to",
    "no danger",
    "harmless",
    "you may climb",
    "est sans danger",
    "aucun danger",
    "est sécuritaire",
    "inoffensif",
    "vous pouvez monter",
];

impl Cautions {
    /// The cautions shipped with the program, read once.
    pub fn standard() -> &'static Self {
        static STANDARD: OnceLock<Cautions> = OnceLock::new();
        STANDARD.get_or_init(|| {
            toml::from_str(include_str!("../../data/cautions.toml"))
                .expect("the shipped text is tested")
        })
    }

    /// The cautions in a language, as they stand on papers.
    pub fn of(language: Language) -> Self {
        match language {
            Language::English => Self::standard().clone(),
            Language::French => Self::standard().clone().in_french(),
        }
    }

    /// The same in French.
    pub(crate) fn in_french(mut self) -> Self {
        self.deferral.clone_from(&self.deferral_fr);
        for caution in &mut self.all {
            caution.title.clone_from(&caution.title_fr);
            caution.text.clone_from(&caution.text_fr);
        }
        self
    }

    /// The caution with this id.
    pub fn find(&self, id: &str) -> Option<&Caution> {
        self.all.iter().find(|caution| caution.id == id)
    }

    /// The words of a text that clear a hazard, if any do. No caution may.
    pub fn clears(text: &str) -> Option<&'static str> {
        let text = text.to_lowercase();
        CLEARING.into_iter().find(|words| text.contains(words))
    }

    /// What must be acknowledged before a check: nothing where nothing is keyed.
    pub fn before<'a>(&'a self, check: &'a Check) -> impl Iterator<Item = &'a Caution> {
        let wanted = |id: &str| id == FIRST || check.cautions.iter().any(|c| c == id);
        self.all.iter().filter(move |caution| check.keyed && wanted(&caution.id))
    }

    /// What stands open for a person before this check's reading may be recorded.
    pub fn open<'a>(
        &'a self,
        check: &'a Check,
        session: &Session,
        person: &str,
    ) -> Vec<&'a Caution> {
        self.before(check).filter(|c| !session.has_acknowledged(person, &c.id)).collect()
    }

    /// All cautions with who acknowledged them in a session.
    pub fn states(&self, session: &Session) -> Vec<CautionState> {
        let state = |caution: &Caution| {
            let mut by: Vec<String> = session
                .acknowledgements
                .iter()
                .filter(|(id, a)| a.caution == caution.id && session.stands("acknowledgements", id))
                .map(|(_, a)| a.stamp.by.clone())
                .collect();
            by.sort();
            by.dedup();
            CautionState {
                id: caution.id.clone(),
                stage: caution.stage,
                keyed: caution.keyed,
                title: caution.title.clone(),
                text: format!("{} {}", caution.text, self.deferral),
                acknowledged_by: by,
            }
        };
        self.all.iter().map(state).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_cautions_defer_and_never_clear() {
        let cautions = Cautions::standard();
        assert!(cautions.deferral.contains("Local codes"));
        assert!(cautions.deferral.contains("qualified people"));
        assert!(cautions.deferral_fr.contains("Les codes locaux"));
        assert!(cautions.deferral_fr.contains("personnes qualifiées"));
        assert!(cautions.find(FIRST).is_some_and(|c| c.keyed && c.stage == Stage::Prepare));
        for caution in &cautions.all {
            assert_eq!(Cautions::clears(&caution.text), None, "{} clears", caution.id);
            assert_eq!(Cautions::clears(&caution.text_fr), None, "{} clears", caution.id);
            assert_ne!(caution.title, caution.title_fr, "{}", caution.id);
            assert_ne!(caution.text, caution.text_fr, "{}", caution.id);
        }
        let french = Cautions::of(Language::French);
        for (said, shipped) in french.all.iter().zip(&cautions.all) {
            assert_eq!((&said.title, &said.text), (&shipped.title_fr, &shipped.text_fr));
        }
        assert_eq!(french.deferral, cautions.deferral_fr);
        let mut ids: Vec<_> = cautions.all.iter().map(|c| &c.id).collect();
        ids.dedup();
        assert_eq!(ids.len(), cautions.all.len());
    }

    #[test]
    fn a_caution_that_lacks_its_french_is_refused() {
        const SHIPPED: &str = include_str!("../../data/cautions.toml");
        for line in SHIPPED.lines().filter(|line| line.contains("-fr = ")) {
            let lacking = SHIPPED.replacen(line, "", 1);
            let refused = toml::from_str::<Cautions>(&lacking).unwrap_err().to_string();
            let field = line.split(' ').next().unwrap();
            assert!(refused.contains(&format!("missing field `{field}`")), "{refused}");
        }
    }
}
