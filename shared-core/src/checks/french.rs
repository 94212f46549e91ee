//! The shipped plan in French, for papers and screens.
//!
//! In: the plan a visit is judged by. Out: the same with the shipped checks' words in French. What
//! a shop wrote itself stays as it wrote it. Changes no limit and no verdict; nothing is recorded
//! by it, since a reading keeps its criterion as the shipped plan words it.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use serde::Deserialize;

use super::plan::Plan;

/// The words of every shipped check.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct French {
    /// What stands before the source of a limit that the shop set.
    #[serde(rename = "shops-own")]
    shops_own: String,
    #[serde(rename = "check")]
    checks: BTreeMap<String, Words>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Words {
    title: String,
    source: String,
    criterion: String,
    instruction: String,
}

/// Why a text does not say the shipped plan in French.
#[derive(Debug, thiserror::Error)]
enum FrenchRefused {
    #[error("the plan's French cannot be read: {0}")]
    Unreadable(#[from] toml::de::Error),
    #[error(
        "check {id:?} has no French: give it a title, a source, a criterion and an instruction"
    )]
    Missing { id: String },
    #[error("{id:?} is French for no check of the plan: take it out, or name a check")]
    Unknown { id: String },
}

impl French {
    fn shipped() -> &'static Self {
        static SHIPPED: OnceLock<French> = OnceLock::new();
        SHIPPED.get_or_init(|| {
            let text = include_str!("../../data/checks.fr.toml");
            Self::parse(text, Plan::standard()).expect("the shipped text is tested")
        })
    }

    fn parse(text: &str, plan: &Plan) -> Result<Self, FrenchRefused> {
        let french: Self = toml::from_str(text)?;
        if let Some(id) = french.checks.keys().find(|id| plan.find(id).is_none()) {
            return Err(FrenchRefused::Unknown { id: id.clone() });
        }
        let mut ids = plan.checks.iter().map(|check| &check.id);
        match ids.find(|id| !french.checks.contains_key(*id)) {
            Some(id) => Err(FrenchRefused::Missing { id: id.clone() }),
            None => Ok(french),
        }
    }
}

/// A plan with the words that were shipped in French.
pub(super) fn in_french(mut plan: Plan) -> Plan {
    let (shipped, french) = (Plan::standard(), French::shipped());
    for check in &mut plan.checks {
        let own = french.shops_own.as_str();
        if let Some(source) = check.limit.source.strip_prefix(super::plan_shop::SHOPS_OWN) {
            check.limit.source = format!("{own} : {source}");
        }
        let Some((as_shipped, words)) = shipped.find(&check.id).zip(french.checks.get(&check.id))
        else {
            continue;
        };
        if check.limit.source == as_shipped.limit.source {
            check.limit.source.clone_from(&words.source);
        }
        let fields = [
            (&mut check.title, &as_shipped.title, &words.title),
            (&mut check.criterion, &as_shipped.criterion, &words.criterion),
            (&mut check.instruction, &as_shipped.instruction, &words.instruction),
        ];
        for (said, shipped, french) in fields {
            if said == shipped {
                said.clone_from(french);
            }
        }
    }
    plan
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHIPPED: &str = include_str!("../../data/checks.fr.toml");

    #[test]
    fn the_shipped_plan_is_said_in_french_and_judges_the_same() {
        let (plan, shipped) = (in_french(Plan::standard().clone()), Plan::standard());
        for (said, check) in plan.checks.iter().zip(&shipped.checks) {
            assert_ne!(said.title, check.title, "{}", check.id);
            assert_ne!(said.limit.source, check.limit.source, "{}", check.id);
            assert_ne!(said.criterion, check.criterion, "{}", check.id);
            assert_ne!(said.instruction, check.instruction, "{}", check.id);
            let mut back = said.clone();
            back.title.clone_from(&check.title);
            back.criterion.clone_from(&check.criterion);
            back.instruction.clone_from(&check.instruction);
            back.limit.source.clone_from(&check.limit.source);
            assert_eq!(back, *check, "only words may differ");
        }
    }

    #[test]
    fn what_the_shop_wrote_stays_as_it_wrote_it() {
        let mut plan = Plan::standard().clone();
        "Our own words".clone_into(&mut plan.checks[0].title);
        plan.checks[0].limit.source = "the shop's own: letter of May".to_owned();
        let said = in_french(plan);
        assert_eq!(said.checks[0].title, "Our own words");
        assert_eq!(said.checks[0].limit.source, "propre à l’atelier : letter of May");
    }

    #[test]
    fn french_that_lacks_a_check_or_has_one_too_many_is_refused_by_name() {
        let refused = |text: &str| French::parse(text, Plan::standard()).unwrap_err().to_string();
        let other = SHIPPED.replace("desense.antenna\"", "desense.colour\"");
        assert!(refused(&other).contains("desense.colour"), "{}", refused(&other));
        let cut = SHIPPED.split("[check.\"desense.padded\"]").next().unwrap();
        assert!(refused(cut).contains("\"desense.padded\" has no French"), "{}", refused(cut));
        let untold = SHIPPED.replacen("title = \"Erreur de fréquence\"\n", "", 1);
        assert!(refused(&untold).contains("missing field `title`"), "{}", refused(&untold));
    }
}
