//! The fixed words of a report, in each language it can be had in.
//!
//! Headings, outcomes and clauses. What the core itself says of a reading is said in the same
//! language where it is judged ([`crate::language`]); what people typed stands as they wrote it.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::checks::Stage;
use crate::checks::findings::Weight;
pub use crate::language::Language;
use crate::uncertainty::Outcome;
use crate::uncertainty::decision::DecisionRule;

/// The size of a sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum Paper {
    /// 210 mm by 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 in by 11 in.
    Letter,
}

/// The fixed words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[allow(missing_docs, reason = "each is named after the English it says")]
pub struct Words {
    pub language: &'static str,
    pub title: &'static str,
    pub work_order: &'static str,
    pub visited: &'static str,
    pub crew: &'static str,
    pub nobody: &'static str,
    pub receives: &'static str,
    pub transmits: &'static str,
    pub channel: &'static str,
    pub region: &'static str,
    pub conclusions: &'static str,
    pub overall: &'static str,
    pub counts: [&'static str; 6],
    pub not_passing: &'static str,
    pub all_pass: &'static str,
    pub summary: &'static str,
    pub two_summaries: &'static str,
    pub adjusted: &'static str,
    pub nothing_adjusted: &'static str,
    pub put_back: &'static str,
    pub to_do: &'static str,
    pub nothing_to_do: &'static str,
    pub because: &'static str,
    pub readings: &'static str,
    pub check: &'static str,
    pub as_found: &'static str,
    pub as_left: &'static str,
    pub limit: &'static str,
    pub margin: &'static str,
    pub read: &'static str,
    pub not_read: &'static str,
    pub not_verified: &'static str,
    pub within: &'static str,
    pub levels: &'static str,
    pub level: &'static str,
    pub point: &'static str,
    pub rating: &'static str,
    pub do_not_key: &'static str,
    pub licence: &'static str,
    pub instruments: &'static str,
    pub calibrated_until: &'static str,
    pub not_held: &'static str,
    pub cautions: &'static str,
    pub read_by: &'static str,
    pub notes: &'static str,
    pub attached: &'static str,
    pub not_shown: &'static str,
    pub withdrawn: &'static str,
    pub signed: &'static str,
    pub not_signed: &'static str,
    pub amended: &'static str,
    pub key: &'static str,
    pub verification: &'static str,
    pub how_to_verify: &'static str,
    pub as_written: &'static str,
    pub rule: &'static str,
    pub page: &'static str,
    pub day: &'static str,
    pub visits: &'static str,
    pub no_visits: &'static str,
    pub failing: &'static str,
    pub disagreements: &'static str,
    pub revisits: &'static str,
    pub calibrations: &'static str,
    pub days_left: &'static str,
    pub ended: &'static str,
    pub silent: &'static str,
    pub last_heard: &'static str,
    pub overdue: &'static str,
    pub last_visit: &'static str,
    pub board: &'static str,
    pub none: &'static str,
    pub nothing_sent: &'static str,
}

impl Language {
    /// Its words.
    pub fn words(self) -> &'static Words {
        match self {
            Self::English => &ENGLISH,
            Self::French => &FRENCH,
        }
    }

    /// Every outcome, stage and weight in words, by the name it has as data.
    pub fn names(self) -> BTreeMap<String, &'static str> {
        let outcomes = [
            Outcome::Pass,
            Outcome::ConditionalPass,
            Outcome::ConditionalFail,
            Outcome::Fail,
            Outcome::NotJudged,
        ];
        let stages =
            [Stage::Prepare, Stage::Receiver, Stage::Transmitter, Stage::Duplexer, Stage::Desense];
        let weights = [Weight::Fault, Weight::Doubt, Weight::Note];
        let outcomes = outcomes.map(|it| (named(&it), self.outcome(Some(it))));
        let stages = stages.map(|it| (named(&it), self.stage(it)));
        let weights = weights.map(|it| (named(&it), self.weight(it)));
        let none = [("not-read".to_owned(), self.outcome(None))];
        outcomes.into_iter().chain(stages).chain(weights).chain(none).collect()
    }

    /// An outcome.
    pub fn outcome(self, outcome: Option<Outcome>) -> &'static str {
        outcome.map_or(self.pick("not read", "non mesuré"), |outcome| outcome.said(self))
    }

    /// A stage.
    pub fn stage(self, stage: Stage) -> &'static str {
        match (self, stage) {
            (Self::English, stage) => stage.word(),
            (Self::French, Stage::Prepare) => "préparation",
            (Self::French, Stage::Receiver) => "récepteur",
            (Self::French, Stage::Transmitter) => "émetteur",
            (Self::French, Stage::Duplexer) => "duplexeur",
            (Self::French, Stage::Desense) => "désensibilisation",
        }
    }

    /// How grave a finding is.
    pub fn weight(self, weight: Weight) -> &'static str {
        match (self, weight) {
            (Self::English, Weight::Fault) => "fault",
            (Self::English, Weight::Doubt) => "doubtful reading",
            (Self::English, Weight::Note) => "worth knowing",
            (Self::French, Weight::Fault) => "défaut",
            (Self::French, Weight::Doubt) => "mesure douteuse",
            (Self::French, Weight::Note) => "à savoir",
        }
    }

    /// How uncertainty enters a verdict.
    pub fn rule(self, rule: DecisionRule) -> &'static str {
        match (self, rule) {
            (Self::English, DecisionRule::SimpleAcceptance) => {
                "simple acceptance: a value inside its limit passes; nearer to it than its \
                 uncertainty, it passes conditionally"
            }
            (Self::English, DecisionRule::GuardBanded) => {
                "guard band: a value passes when it is inside its limit by more than its \
                 uncertainty"
            }
            (Self::French, DecisionRule::SimpleAcceptance) => {
                "acceptation simple : une valeur dans sa limite est conforme ; plus près d'elle \
                 que son incertitude, elle l'est sous réserve"
            }
            (Self::French, DecisionRule::GuardBanded) => {
                "bande de garde : une valeur est conforme quand elle est dans sa limite de plus \
                 que son incertitude"
            }
        }
    }
}

fn named(value: &impl Serialize) -> String {
    let name = serde_json::to_value(value).expect("a name");
    name.as_str().expect("a unit variant is text").to_owned()
}

const ENGLISH: Words = Words {
    language: "en",
    title: "Site check",
    work_order: "Work order",
    visited: "Visited",
    crew: "Crew",
    nobody: "nobody",
    receives: "Receives",
    transmits: "Transmits",
    channel: "Channel",
    region: "Limits of",
    conclusions: "Conclusions",
    overall: "Overall",
    counts: ["pass", "conditional pass", "conditional fail", "fail", "not judged", "not read"],
    not_passing: "What does not simply pass",
    all_pass: "Everything that was read passes.",
    summary: "In the crew's words",
    two_summaries: "Two people summed up apart; both stand.",
    adjusted: "What was adjusted",
    nothing_adjusted: "Nothing was adjusted.",
    put_back: "Put back as it belongs",
    to_do: "What was found, and what to do",
    nothing_to_do: "Nothing was found beyond the readings.",
    because: "because",
    readings: "Readings",
    check: "Check",
    as_found: "As found",
    as_left: "As left",
    limit: "Limit",
    margin: "margin",
    read: "read",
    not_read: "not read",
    not_verified: "limit not verified",
    within: "within its limits with",
    levels: "Levels along what was connected",
    level: "Level",
    point: "Point",
    rating: "Takes at most",
    do_not_key: "Do not key",
    licence: "Against the licence",
    instruments: "Instruments",
    calibrated_until: "calibrated until",
    not_held: "its calibration had ended at a reading",
    cautions: "Cautions read",
    read_by: "read by",
    notes: "Notes",
    attached: "Photographs and files",
    not_shown: "not shown: it was not on the device that made this",
    withdrawn: "Readings that no longer stand",
    signed: "Signed",
    not_signed: "Nobody has signed this visit off.",
    amended: "Changed after signing, because",
    key: "key",
    verification: "Verification",
    how_to_verify: "This file ends with a seal over every byte before it. The shop checks it, and \
                    the record behind it, with: guyline verify FILE",
    as_written: "What people typed, names and citations stand as they were written.",
    rule: "Decision rule",
    page: "Page",
    day: "The shop's day",
    visits: "Visits",
    no_visits: "No visit has an entry on this day.",
    failing: "What does not simply pass",
    disagreements: "Somebody has to choose",
    revisits: "To be visited again",
    calibrations: "Calibrations due",
    days_left: "days left",
    ended: "days ago",
    silent: "Devices not heard of",
    last_heard: "last heard of",
    overdue: "Not visited for over a year",
    last_visit: "last visit",
    board: "Every repeater, as last visited",
    none: "None.",
    nothing_sent: "Nothing here was sent to anybody.",
};

const FRENCH: Words = Words {
    language: "fr",
    title: "Contrôle de site",
    work_order: "Bon de travail",
    visited: "Visite",
    crew: "Équipe",
    nobody: "personne",
    receives: "Reçoit",
    transmits: "Émet",
    channel: "Canal",
    region: "Limites de",
    conclusions: "Conclusions",
    overall: "Ensemble",
    counts: [
        "conformes",
        "conformes sous réserve",
        "non conformes sous réserve",
        "non conformes",
        "non jugés",
        "non mesurés",
    ],
    not_passing: "Ce qui n'est pas simplement conforme",
    all_pass: "Tout ce qui a été mesuré est conforme.",
    summary: "Selon l'équipe",
    two_summaries: "Deux personnes ont résumé chacune de son côté ; les deux textes restent.",
    adjusted: "Ce qui a été réglé",
    nothing_adjusted: "Rien n'a été réglé.",
    put_back: "Remis en état",
    to_do: "Ce qui a été constaté, et ce qu'il faut faire",
    nothing_to_do: "Rien n'a été constaté au-delà des mesures.",
    because: "car",
    readings: "Mesures",
    check: "Contrôle",
    as_found: "À l'arrivée",
    as_left: "Au départ",
    limit: "Limite",
    margin: "marge",
    read: "lu",
    not_read: "non mesuré",
    not_verified: "limite non vérifiée",
    within: "dans ses limites avec",
    levels: "Niveaux le long du montage",
    level: "Niveau",
    point: "Point",
    rating: "Supporte au plus",
    do_not_key: "Ne pas émettre",
    licence: "Au regard de la licence",
    instruments: "Instruments",
    calibrated_until: "étalonné jusqu'au",
    not_held: "son étalonnage était échu lors d'une mesure",
    cautions: "Mises en garde lues",
    read_by: "lue par",
    notes: "Notes",
    attached: "Photos et fichiers",
    not_shown: "non montrée : elle n’était pas sur l’appareil qui a fait ceci",
    withdrawn: "Mesures qui ne valent plus",
    signed: "Signé",
    not_signed: "Personne n'a signé cette visite.",
    amended: "Modifié après signature, car",
    key: "clé",
    verification: "Vérification",
    how_to_verify: "Ce fichier se termine par un sceau sur tous les octets qui le précèdent. \
                    L'atelier le contrôle, avec le dossier, par : guyline verify FICHIER",
    as_written: "Restent tels qu’écrits : les saisies, les noms, les noms de champs et les \
                 citations de textes. Les nombres gardent le point décimal. Le détail des \
                 calculs, non repris ici, n’existe qu’en anglais.",
    rule: "Règle de décision",
    page: "Page",
    day: "La journée de l'atelier",
    visits: "Visites",
    no_visits: "Aucune visite n'a d'entrée ce jour.",
    failing: "Ce qui n'est pas simplement conforme",
    disagreements: "Quelqu'un doit choisir",
    revisits: "À revoir sur place",
    calibrations: "Étalonnages à échoir",
    days_left: "jours restants",
    ended: "jours de retard",
    silent: "Appareils sans nouvelles",
    last_heard: "dernières nouvelles le",
    overdue: "Non visités depuis plus d'un an",
    last_visit: "dernière visite le",
    board: "Chaque répéteur, à sa dernière visite",
    none: "Aucun.",
    nothing_sent: "Rien d'ici n'a été envoyé à personne.",
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_is_there_in_both_languages_and_is_another() {
        let [english, french] = [Language::English, Language::French]
            .map(|language| serde_json::to_value(language.words()).unwrap());
        let same = ["conclusions", "instruments", "notes", "page", "point"];
        for (name, word) in english.as_object().unwrap() {
            let other = &french[name];
            assert_ne!(other, "", "{name}");
            assert!(word != other || same.contains(&name.as_str()), "{name} is English in both");
        }
    }
}
