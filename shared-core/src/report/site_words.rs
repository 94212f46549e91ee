//! The fixed words of a site's report, in each language: what has to be done, and what a value does
//! from visit to visit.
//!
//! What people typed stands in the language they wrote it in.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::plain_number;
use super::words::Language;
use crate::checks::{CheckHistory, HistoryOutlook, HistoryShape, HistoryTrend};

/// The words a site's report adds to those of a visit's.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[allow(missing_docs, reason = "each is named after the English it says")]
pub struct SiteWords {
    pub title: &'static str,
    pub as_of: &'static str,
    pub never: &'static str,
    pub needs: &'static str,
    pub no_needs: &'static str,
    pub access: &'static str,
    pub hazards: &'static str,
    pub no_hazards: &'static str,
    pub latest: &'static str,
    pub photographs: &'static str,
    pub more_photographs: [&'static str; 2],
    pub history: &'static str,
    pub history_why: &'static str,
    pub no_history: &'static str,
    pub call_sign: &'static str,
    pub emission: &'static str,
    pub licence_until: &'static str,
    pub co_sited: &'static str,
    pub frequency: &'static str,
    pub power: &'static str,
    pub antenna: &'static str,
    pub equipment: &'static str,
    pub serial: &'static str,
    pub rating: &'static str,
    pub repeater: &'static str,
    pub all_visits: &'static str,
    pub day: &'static str,
    pub signed_off: &'static str,
    pub not_signed_off: &'static str,
    pub unread: &'static str,
    pub unknown: &'static str,
}

impl SiteWords {
    /// How many photographs a visit's own report has besides.
    pub fn more_photographs(&self, more: usize) -> String {
        format!("{more} {}", self.more_photographs[usize::from(more > 1)])
    }
}

/// Something that has to be done.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Need {
    /// The repeater's name, or the site's.
    pub repeater: String,
    /// Of what kind.
    pub kind: NeedKind,
    /// What it is about: a check, an instrument, what to do.
    pub what: String,
    /// Why, or by when.
    pub why: String,
}

/// Kinds of what has to be done, gravest first.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema, TS,
)]
#[serde(rename_all = "kebab-case")]
pub enum NeedKind {
    /// A check fails.
    Fails,
    /// A check fails in doubt.
    MayFail,
    /// Something was found.
    Found,
    /// Two people wrote something apart.
    Choose,
    /// A check could not be judged.
    Unjudged,
    /// Checks were not read.
    NotRead,
    /// A calibration had ended.
    Calibration,
    /// A value comes to its limit before the next visit is due.
    Drift,
    /// Nobody was there.
    Visit,
}

impl Need {
    /// What has to be done, in a sentence.
    pub fn said(&self, language: Language) -> String {
        let Self { what, why, .. } = self;
        let english = language == Language::English;
        match self.kind {
            NeedKind::Fails if english => format!("{what} fails: put it right. {why}."),
            NeedKind::Fails => format!("{what} : non conforme, à remettre en ordre. {why}."),
            NeedKind::MayFail if english => format!("{what} may fail: look again. {why}."),
            NeedKind::MayFail => format!("{what} : peut-être non conforme, à revoir. {why}."),
            NeedKind::Found if english => format!("{what} Because: {why}"),
            NeedKind::Found => format!("{what} Car : {why}"),
            NeedKind::Choose if english => {
                format!("{what}: two people wrote it apart, and one value is shown; choose.")
            }
            NeedKind::Choose => {
                format!(
                    "{what} : deux personnes l’ont écrit à part, une valeur est montrée ; choisir."
                )
            }
            NeedKind::Unjudged if english => format!("{what} could not be judged: {why}."),
            NeedKind::Unjudged => format!("{what} n’a pas pu être jugé : {why}."),
            NeedKind::NotRead if english => format!("Not read, to be read: {what}."),
            NeedKind::NotRead => format!("Non mesuré, à mesurer : {what}."),
            NeedKind::Calibration if english => {
                format!(
                    "{what}: its calibration had ended ({why}); read again with one that holds."
                )
            }
            NeedKind::Calibration => {
                format!("{what} : étalonnage échu ({why}) ; mesurer de nouveau avec un autre.")
            }
            NeedKind::Drift if english => {
                format!("{what} drifts: it meets its limit about {why}, before a year has passed.")
            }
            NeedKind::Drift => {
                format!("{what} dérive : limite atteinte vers le {why}, avant un an.")
            }
            NeedKind::Visit if english => {
                "Nobody has read anything there yet: visit it.".to_owned()
            }
            NeedKind::Visit => "Rien n’y a encore été mesuré : s’y rendre.".to_owned(),
        }
    }
}

/// What a value does from visit to visit, in a sentence.
pub fn trend_said(history: &CheckHistory, language: Language) -> String {
    let english = language == Language::English;
    let Some(trend) = &history.trend else {
        let few = if english { "too few visits for a trend" } else { "trop peu de visites" };
        return few.to_owned();
    };
    let shape = shape_said(history, trend, language);
    match trend.outlook.as_ref().map(|outlook| outlook_said(history, outlook, language)) {
        Some(outlook) => format!("{shape}; {outlook}"),
        None => shape,
    }
}

/// How far two values of a unit are apart, with its sign: levels by a ratio.
pub fn spread_shown(value: f64, unit: &str) -> String {
    let unit = if unit == "dBm" { "dB" } else { unit };
    let places = if unit == "Hz" { 0 } else { 2 };
    let text = plain_number(value, places);
    let plus = if value > 0.0 && text != "0" { "+" } else { "" };
    format!("{plus}{text} {unit}")
}

fn shape_said(history: &CheckHistory, trend: &HistoryTrend, language: Language) -> String {
    let unit = &history.unit;
    let english = language == Language::English;
    let (year, to) = if english { ("a year", "to") } else { ("par an", "à") };
    let ends = trend.low.zip(trend.high).map(|(low, high)| {
        format!(" (95 %: {} {to} {})", spread_shown(low, unit), spread_shown(high, unit))
    });
    let rate = format!("{} {year}{}", spread_shown(trend.per_year, unit), ends.unwrap_or_default());
    let jump = trend.step.zip(trend.step_day.as_ref());
    match (trend.shape, jump) {
        (HistoryShape::TooFew, _) if english => format!("{rate}, over few visits"),
        (HistoryShape::TooFew, _) => format!("{rate}, sur peu de visites"),
        (HistoryShape::Steady, _) if english => format!("steady: {rate}"),
        (HistoryShape::Steady, _) => format!("stable : {rate}"),
        (HistoryShape::Jump, Some((size, day))) => {
            let size = spread_shown(size, unit);
            match english {
                true => format!("jumped by {size} before {day}"),
                false => format!("a sauté de {size} avant le {day}"),
            }
        }
        (HistoryShape::DriftOrJump | HistoryShape::Jump, _) if english => {
            format!("moved, by a drift or a jump: {rate}")
        }
        (HistoryShape::DriftOrJump | HistoryShape::Jump, _) => {
            format!("a bougé, par dérive ou par saut : {rate}")
        }
        (HistoryShape::Drift, _) if english => format!("drifts {rate}"),
        (HistoryShape::Drift, _) => format!("dérive de {rate}"),
    }
}

fn outlook_said(history: &CheckHistory, outlook: &HistoryOutlook, language: Language) -> String {
    let limit = format!("{} {}", plain_number(outlook.limit, 1), history.unit);
    let english = language == Language::English;
    match (&outlook.day, &outlook.earliest) {
        (None, _) if english => format!("stands at or beyond {limit}"),
        (None, _) => format!("à {limit} ou au-delà"),
        (Some(day), Some(earliest)) if english => {
            format!("meets {limit} about {day}, at the earliest {earliest}")
        }
        (Some(day), Some(earliest)) => {
            format!("atteint {limit} vers le {day}, au plus tôt le {earliest}")
        }
        (Some(day), None) if english => format!("meets {limit} about {day}"),
        (Some(day), None) => format!("atteint {limit} vers le {day}"),
    }
}

impl Language {
    /// The words of a site's report.
    pub fn site_words(self) -> &'static SiteWords {
        match self {
            Self::English => &ENGLISH,
            Self::French => &FRENCH,
        }
    }
}

const ENGLISH: SiteWords = SiteWords {
    title: "Site report",
    as_of: "As of",
    never: "Nobody has read anything here yet.",
    needs: "What has to be done",
    no_needs: "Nothing that the record knows of.",
    access: "Access",
    hazards: "Hazards",
    no_hazards: "None is written down. That does not say that there are none.",
    latest: "Latest visit",
    photographs: "Photographs of the latest visit",
    more_photographs: [
        "more stands in the visit's own report.",
        "more stand in the visit's own report.",
    ],
    history: "From visit to visit",
    history_why: "Filled marks: as found; open marks: as left; line: trend, adjustments taken out; \
                  dashed: limit.",
    no_history: "No value was read on two visits yet.",
    call_sign: "Call sign",
    emission: "Emission",
    licence_until: "Licence until",
    co_sited: "Other transmitters at the site",
    frequency: "Frequency",
    power: "Power",
    antenna: "Antenna",
    equipment: "Equipment",
    serial: "Serial number",
    rating: "Rated for",
    repeater: "Repeater",
    all_visits: "All visits",
    day: "Day",
    signed_off: "signed off",
    not_signed_off: "not signed off",
    unread: "Visits that cannot be judged",
    unknown: "unknown",
};

const FRENCH: SiteWords = SiteWords {
    title: "Rapport de site",
    as_of: "État au",
    never: "Rien n’a encore été mesuré ici.",
    needs: "Ce qu’il faut faire",
    no_needs: "Rien que le dossier connaisse.",
    access: "Accès",
    hazards: "Dangers",
    no_hazards: "Aucun n’est noté. Cela ne dit pas qu’il n’y en a pas.",
    latest: "Dernière visite",
    photographs: "Photos de la dernière visite",
    more_photographs: [
        "autre se trouve dans le rapport de la visite.",
        "autres se trouvent dans le rapport de la visite.",
    ],
    history: "De visite en visite",
    history_why: "Marques pleines : à l’arrivée ; marques vides : au départ ; trait : tendance, \
                  sans les réglages ; tirets : limite.",
    no_history: "Aucune valeur n’a encore été mesurée à deux visites.",
    call_sign: "Indicatif",
    emission: "Émission",
    licence_until: "Licence jusqu’au",
    co_sited: "Autres émetteurs du site",
    frequency: "Fréquence",
    power: "Puissance",
    antenna: "Antenne",
    equipment: "Équipement",
    serial: "Numéro de série",
    rating: "Prévu pour",
    repeater: "Répéteur",
    all_visits: "Toutes les visites",
    day: "Jour",
    signed_off: "signée",
    not_signed_off: "non signée",
    unread: "Visites qui ne peuvent être jugées",
    unknown: "inconnue",
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_word_is_there_in_both_languages_and_is_another() {
        let [english, french] = [Language::English, Language::French]
            .map(|language| serde_json::to_value(language.site_words()).unwrap());
        for (name, word) in english.as_object().unwrap() {
            assert_ne!(french[name], "", "{name}");
            assert_ne!(*word, french[name], "{name} is English in both");
        }
    }
}
