//! Why the bench has no answer, in the language of whoever asks.
//!
//! In: a refusal. Out: the same in words. The English stands where a refusal arises; its French
//! stands here and in [`super::refused_files`], one arm a kind, so that none is forgotten. What
//! somebody typed, and names of fields, stay as they are.

use super::BenchRefused;
use crate::language::{Language, english_only};
use crate::limits::{LimitUnknown, MaskUnknown, RowFault, ShopRowsRefused};
use crate::rf::duplexer::DuplexerRefused;
use crate::rf::emission::{EmissionRefused, place_in_french};
use crate::rf::exposure::ExposureRefused;
use crate::rf::feedline::FeedlineRefused;
use crate::rf::intermod::IntermodRefused;
use crate::rf::least_squares::FitRefused;
use crate::rf::trend::{TrendRefused, VISITS_MAX, VISITS_MIN};
use crate::uncertainty::budget::CorrelationRefused;
use crate::units::OutOfRange;

/// Something that is refused in words.
pub(super) trait Said: std::fmt::Display {
    /// In French.
    fn in_french(&self) -> String;

    /// In a language.
    fn said(&self, language: Language) -> String {
        match language {
            Language::English => self.to_string(),
            Language::French => self.in_french(),
        }
    }
}

impl BenchRefused {
    /// Why, in a language.
    pub fn said(&self, language: Language) -> String {
        Said::said(self, language)
    }
}

/// Fragments that an error carries as they are said in English, and their French.
const FRAGMENTS: [(&str, &str); 39] = [
    ("value", "la valeur"),
    ("factor", "le facteur"),
    ("mean", "la moyenne"),
    ("transmitters", "émetteurs"),
    ("receivers", "récepteurs"),
    ("hits for each receiver", "produits par récepteur"),
    ("pass", "passage"),
    ("notch", "creux"),
    ("half-power point", "point à mi-puissance"),
    ("resonance", "résonance"),
    ("values", "valeurs"),
    ("references", "références"),
    ("workers", "les travailleurs"),
    ("the public", "le public"),
    ("whole-body", "pour le corps entier"),
    ("local", "locale"),
    ("exemption", "d’exemption"),
    ("this", "ceci"),
    ("noise data", "les données de bruit"),
    ("stands behind [End]: expected nothing but comments", "se trouve après [End]"),
    ("stands behind [End]", "se trouve après [End]"),
    ("stands here a second time", "se trouve ici une deuxième fois"),
    ("belongs to a two-port only, once", "n’est que pour un quadripôle, une fois"),
    ("comes behind the option line: expected it before all else", "vient après la ligne d’options"),
    ("comes before [Version] 2.0", "vient avant [Version] 2.0"),
    ("comes behind the beginning of the data", "vient après le début des données"),
    ("comes before [Number of Ports]", "vient avant [Number of Ports]"),
    ("does not belong here", "n’a pas sa place ici"),
    (
        "is read with scattering parameters and one mode a port only",
        "ne se lit qu’avec des paramètres S et un mode par port",
    ),
    ("a whole number", "un nombre entier"),
    (
        "each of unit, parameter, format and R once",
        "unité, paramètre, format et R, chacun une fois",
    ),
    ("a mode a port, as in D1,2 C1,2 S3", "un mode par port, comme D1,2 C1,2 S3"),
    (
        "Hz, kHz, MHz or GHz; S, Y, Z, H or G; MA, DB or RI; R and a number",
        "Hz, kHz, MHz ou GHz ; S, Y, Z, H ou G ; MA, DB ou RI ; R et un nombre",
    ),
    (
        "a reference resistance of 0.000001 to 1000000 ohms",
        "une résistance de référence de 0.000001 à 1000000 ohms",
    ),
    ("at most 100 frequencies", "au plus 100 fréquences"),
    ("`touchstone` or the two paths, not both", "`touchstone` ou les deux voies, pas les deux"),
    ("ports with a three-port only", "des ports seulement avec un hexapôle"),
    (
        "`touchstone`, `transmit_touchstone` or `receive_touchstone`",
        "`touchstone`, `transmit_touchstone` ou `receive_touchstone`",
    ),
    (
        "either `touchstone`, or `tuned_hz`, `loaded_q` and one of `unloaded_q` and `loss_db`",
        "`touchstone`, ou bien `tuned_hz`, `loaded_q` et l’un de `unloaded_q` et `loss_db`",
    ),
];

/// The French of a fragment; one that is a name or has none stays as it is.
pub(super) fn fragment(english: &str) -> &str {
    let found = FRAGMENTS.iter().find(|(known, _)| *known == english);
    found.map_or(english, |(_, french)| french)
}

fn number(refused: &OutOfRange) -> String {
    refused.said(Language::French)
}

impl Said for BenchRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Number(refused) => number(refused),
            Self::Fit(refused) => refused.in_french(),
            Self::Entry(refused) => refused.said(Language::French),
            Self::Limit(refused) => refused.in_french(),
            Self::Mask(refused) => refused.in_french(),
            Self::ShopRows(refused) => refused.in_french(),
            Self::Emission(refused) => refused.in_french(),
            Self::Exposure(refused) => refused.in_french(),
            Self::Given { expected } => format!("attendu : {}", fragment(expected)),
            Self::Touchstone(refused) => refused.in_french(),
            Self::Sweep(refused) => refused.in_french(),
            Self::Duplexer(refused) => refused.in_french(),
            Self::Feedline(refused) => refused.in_french(),
            Self::Intermod(refused) => refused.in_french(),
            Self::Trend(refused) => refused.in_french(),
            Self::Audio(refused) => refused.in_french(),
            Self::Base64 { field, source } => {
                let said = english_only(Language::French, source);
                format!("{field} n’est pas en base64 ({said})")
            }
            Self::EitherOr { one, other } => {
                format!("il faut {one} ou {other}, et pas les deux")
            }
            Self::Correlation(refused) => refused.in_french(),
            Self::Twice { name } => format!("le nom {name:?} est donné deux fois"),
            Self::NoLimit => "il faut une limite d’au moins un côté".to_owned(),
        }
    }
}

impl Said for FitRefused {
    fn in_french(&self) -> String {
        match self {
            Self::NotFinite { what, name, value } => {
                let what = fragment(what);
                format!("{what} de {name:?} est {value} : il faut un nombre fini")
            }
            Self::Standard { name, value } => {
                format!("l’incertitude type de {name:?} est {value} : il faut plus que 0")
            }
            Self::NoSuchUnknown { name, index, count } => format!(
                "{name:?} parle de l’inconnue {index}, et il y en a {count}, comptées depuis 0"
            ),
            Self::Empty { observations, unknowns } => format!(
                "{observations} observations de {unknowns} inconnues : il faut au moins une de \
                 chaque"
            ),
            Self::Undetermined { name } => format!(
                "{name:?} ne se distingue pas des inconnues avant elle : l’observer, ou lui \
                 donner un a priori"
            ),
        }
    }
}

impl Said for LimitUnknown {
    fn in_french(&self) -> String {
        match self {
            Self::Region { region, known } => {
                format!("aucune limite connue pour la région {region:?} ; connues : {known}")
            }
            Self::NotSeen { region, quantity, standard } => format!(
                "{standard} fixe {quantity:?} de la région {region}, et aucun texte n’en a été vu \
                 ; saisir le nombre comme ligne de l’atelier"
            ),
            Self::Band { region, at_mhz, width_hz } => format!(
                "la région {region} n’a pas de tolérance de fréquence pour cette classe sur un \
                 canal de {width_hz} Hz à {at_mhz} MHz"
            ),
            Self::SetElsewhere { region, at_mhz, set_by } => format!(
                "la région {region} n’a pas de tolérance de fréquence propre à {at_mhz} MHz ; ce \
                 qui la fixe, {}",
                english_only(Language::French, set_by)
            ),
            Self::Channel { region, width_hz } => {
                format!("la région {region} n’a pas d’excursion pour un canal de {width_hz} Hz")
            }
            Self::Bandwidth { region, of, at_mhz } => format!(
                "la région {region} n’a pas de largeur de bande autorisée pour {of:?} à {at_mhz} \
                 MHz"
            ),
            Self::Figure { region, quantity, known } => format!(
                "la région {region} n’a pas de {quantity:?} pour ce canal ; connues : {known}"
            ),
        }
    }
}

impl Said for MaskUnknown {
    fn in_french(&self) -> String {
        match self {
            Self::Band { at_mhz } => {
                format!("47 CFR 90.210 ne nomme à {at_mhz} MHz aucun masque qui ait été vu")
            }
            Self::NotSeen { mask } => {
                format!("les nombres du masque {mask:?} n’ont pas été vus ; connus : B, D, E")
            }
        }
    }
}

impl Said for ShopRowsRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Unreadable { line, message } => {
                format!("ligne {line} : {}", english_only(Language::French, message))
            }
            Self::Row { line, table, fault } => {
                format!("ligne {line} : {table} : {}", fault.in_french())
            }
            Self::NotTheShops { line, field } => format!(
                "ligne {line} : {field} est pour les tables livrées avec le programme ; l’omettre"
            ),
            Self::OtherRegion { line, given, region } => format!(
                "ligne {line} : ces lignes sont pour la région {given:?}, la table est de \
                 {region:?}"
            ),
            Self::TooLong { bytes, max } => format!("{bytes} octets de lignes ; {max} au plus"),
        }
    }
}

impl Said for RowFault {
    fn in_french(&self) -> String {
        match self {
            Self::Number(refused) => number(refused),
            Self::EmptyBand { from_hz, to_hz } => {
                format!("la bande de {from_hz} à {to_hz} Hz est vide")
            }
            Self::NoLimit => "la ligne n’a pas de limite".to_owned(),
            Self::TwoUnits => {
                "une classe a une limite en ppm et une en Hz ; en garder une".to_owned()
            }
            Self::ChannelOrEmission => "donner channel_hz ou emission".to_owned(),
            Self::TooWide { deviation_hz, channel_hz } => format!(
                "une excursion de {deviation_hz} Hz ne tient pas dans un canal de {channel_hz} Hz"
            ),
            Self::Empty { field } => format!("{field} est vide"),
        }
    }
}

impl Said for EmissionRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Length { text, length } => format!(
                "{text:?} a {length} caractères ; une désignation en a de 7 à 9, comme 16K0F3E"
            ),
            Self::Bandwidth { text } => format!(
                "{text:?} n’est pas une largeur de bande ; il faut trois chiffres et une lettre \
                 parmi H, K, M, G, sans commencer par 0, K, M ou G"
            ),
            Self::Unwritable { hz } => format!(
                "une largeur de {hz} Hz n’a pas de désignation ; arrondie, elle va de 0.001 Hz à \
                 999 GHz"
            ),
            Self::Symbol { symbol, place, known } => {
                let place = place_in_french(place);
                format!("{symbol:?} n’est aucun symbole de : {place} ({known})")
            }
            Self::Number(refused) => number(refused),
        }
    }
}

impl Said for ExposureRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Number(refused) => number(refused),
            Self::NoLimit { standard, tier, extent, at_mhz } => {
                let (tier, extent) = (fragment(tier), fragment(extent));
                format!(
                    "{standard} n’a à {at_mhz} MHz aucune limite {extent} pour {tier} qui ait été \
                     vue"
                )
            }
            Self::TooClose { distance_m, least_m } => format!(
                "{distance_m} m est plus près que λ/2π = {least_m:.3} m ; l’exemption n’est pas \
                 pour cela"
            ),
            Self::Count { count, max } => format!("{count} émetteurs ; en donner de 1 à {max}"),
        }
    }
}

impl Said for DuplexerRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Number(refused) => number(refused),
            Self::Sweep(refused) => refused.in_french(),
            Self::OneFrequency { hertz } => {
                format!("le relais émet et reçoit sur {hertz} Hz : il faut deux fréquences")
            }
            Self::OnePort { port } => {
                format!("le port {port} est nommé deux fois : il faut un port pour chaque bout")
            }
            Self::NoSignal { to, from, hertz } => format!(
                "le balayage n’a pas de signal du port {from} au port {to} à {} MHz",
                hertz / 1e6
            ),
            Self::AtEnd { what, hertz } => format!(
                "au bout du balayage, à {} MHz : {} ; balayer plus loin",
                hertz / 1e6,
                fragment(what)
            ),
            Self::TooCoarse { points, expected } => format!(
                "{points} points dans la largeur à mi-puissance : il en faut {expected} ; balayer \
                 plus finement"
            ),
        }
    }
}

impl Said for FeedlineRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Number(refused) => number(refused),
            Self::Unknown(refused) => refused.said(Language::French),
            Self::NotListed { named, known } => {
                format!("aucun câble de la liste ne s’appelle {named:?} ; la liste : {known}")
            }
            Self::TooFewFrequencies { given } => {
                format!("la loi d’un câble demande sa perte à 2 fréquences ou plus, non à {given}")
            }
            Self::NoCable { at_mhz, given_db, law_db } => format!(
                "aucun câble ne perd {given_db} dB par 100 m à {at_mhz} MHz avec ses autres \
                 points ; {law_db:.3} dB conviendraient"
            ),
        }
    }
}

impl Said for IntermodRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Number(refused) => number(refused),
            Self::HowMany { what, given, most } => {
                let what = fragment(what);
                format!("{given} {what} donnés ; de 1 à {most} peuvent être examinés")
            }
            Self::SameFrequency { first, second, hertz } => format!(
                "les émetteurs {first} et {second} sont tous deux sur {hertz} Hz ; donner une \
                 fréquence une fois, avec le niveau le plus fort"
            ),
            Self::InterceptTwice { order } => {
                format!("le point d’interception d’ordre {order} est donné deux fois")
            }
        }
    }
}

impl Said for TrendRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Number(refused) => number(refused),
            Self::HowMany { given } => format!(
                "{given} visites données ; une tendance en demande de {VISITS_MIN} à {VISITS_MAX}"
            ),
            Self::NotLater { number, at } => {
                format!("la visite {number}, à {at}, n’est pas après la précédente")
            }
        }
    }
}

impl Said for CorrelationRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Number(refused) => number(refused),
            Self::NotTwoInputs { first, second } => {
                format!("{first:?} et {second:?} ne sont pas deux entrées de ce bilan")
            }
            Self::Contradiction => {
                "les corrélations se contredisent : aucune erreur ne va ainsi ensemble".to_owned()
            }
        }
    }
}
