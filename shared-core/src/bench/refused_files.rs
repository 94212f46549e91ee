//! Why a file or a recording is refused, in French: see [`super::refused`].
//!
//! In: a refusal. Out: the same in words. Lines, keywords and what stands in the file stay as they
//! are there.

use super::refused::{Said, fragment};
use crate::language::{Language, english_only};
use crate::rf::audio::AudioRefused;
use crate::rf::audio::iq::{META_BYTES_MAX, MetaRefused};
use crate::rf::sweep::SweepRefused;
use crate::rf::sweep::{POINTS_MAX, PORTS_MAX};
use crate::rf::touchstone::{BYTES_MAX, TouchstoneRefused};

impl Said for TouchstoneRefused {
    fn in_french(&self) -> String {
        match self {
            Self::TooLarge { bytes } => {
                format!("un fichier de {bytes} octets : {BYTES_MAX} au plus")
            }
            Self::Utf16 => "le fichier est en UTF-16 : l’enregistrer en ASCII ou en UTF-8 et \
                            réessayer"
                .to_owned(),
            Self::Ports { ports } => format!("{ports} ports : de 1 à {PORTS_MAX} attendus"),
            Self::Empty => "le fichier n’a pas de données : au moins une fréquence".to_owned(),
            Self::Count { keyword, expected, found } => {
                format!("{keyword} dit {expected}, le fichier en a {found} : est-il coupé ?")
            }
            Self::NoScattering { frequency_hz } => {
                format!("les paramètres à {frequency_hz} Hz ne peuvent devenir des paramètres S")
            }
            Self::MixedMode { modes } => format!(
                "les ports du fichier sont des modes mixtes ({modes}) : un port par connecteur"
            ),
            Self::Sweep(refused) => refused.in_french(),
            _ => self.at_a_line(),
        }
    }
}

impl TouchstoneRefused {
    /// What is wrong at one line of the file.
    fn at_a_line(&self) -> String {
        match self {
            Self::NotANumber { line, found } => {
                format!("ligne {line} : un nombre attendu, trouvé {found:?}")
            }
            Self::NoOptionLine { line } => format!(
                "ligne {line} : une ligne d’options attendue avant, comme `# MHz S RI R 50`"
            ),
            Self::Option { line, expected, found } => {
                let expected = fragment(expected);
                format!("ligne {line} : options : attendu {expected}, trouvé {found:?}")
            }
            Self::ComplexReference { line, found } => format!(
                "ligne {line} : la référence {found:?} est complexe : seule une résistance en ohms \
                 est prise"
            ),
            Self::UnknownKeyword { line, found } => {
                format!("ligne {line} : {found:?} n’est pas un mot-clé de Touchstone 2.0")
            }
            Self::Argument { line, keyword, expected, found } => {
                let expected = fragment(expected);
                format!("ligne {line} : {keyword} : attendu {expected}, trouvé {found:?}")
            }
            Self::Misplaced { line, found, why } => {
                format!("ligne {line} : {} {}", fragment(found), fragment(why))
            }
            Self::Missing { line, keyword } => {
                format!("ligne {line} : les données commencent ici et {keyword} manque")
            }
            Self::PortsDiffer { line, found, expected } => {
                format!("ligne {line} : le fichier dit {found} ports, {expected} étaient attendus")
            }
            Self::PortsUnclear { line, found } => format!(
                "ligne {line} : {found} nombres à la première fréquence : 3 (un port), 9 (deux), \
                 19 (trois) attendus, etc. ; dire combien de ports a le fichier"
            ),
            Self::HybridPorts { line } => format!(
                "ligne {line} : les paramètres H et G ne se lisent que d’un quadripôle entier"
            ),
            Self::RecordLong { line, begins, expected } => format!(
                "ligne {line} : un nombre de trop ou de moins : l’entrée qui commence à la ligne \
                 {begins} a ses {expected} nombres avant la fin de celle-ci"
            ),
            Self::RecordShort { begins, found, expected } => format!(
                "ligne {begins} : l’entrée qui commence ici a {found} nombres : {expected} attendus"
            ),
            Self::FrequencyOrder { line, frequency_hz, before_hz } => format!(
                "ligne {line} : fréquence {frequency_hz} Hz : plus de {before_hz} Hz attendus"
            ),
            Self::TooManyPoints { line } => {
                format!("ligne {line} : {POINTS_MAX} fréquences au plus")
            }
            other => english_only(Language::French, other),
        }
    }
}

impl Said for SweepRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Ports { ports } => {
                format!("un balayage de {ports} ports : de 1 à {PORTS_MAX} attendus")
            }
            Self::Points { points } => {
                format!("un balayage de {points} fréquences : de 1 à {POINTS_MAX} attendues")
            }
            Self::Shape { of, found, expected } => {
                format!("{found} {} dans le balayage : {expected} attendues", fragment(of))
            }
            Self::Order { point, frequency_hz } => format!(
                "la fréquence {frequency_hz} Hz au point {point} ne croît pas sur la précédente"
            ),
            Self::NotFinite { point } => {
                format!("la valeur au point {point} du balayage n’est pas finie")
            }
            Self::Reference(refused) => refused.said(Language::French),
            Self::Port { port, ports } => {
                format!("le balayage a les ports 1 à {ports}, pas de port {port}")
            }
            Self::Outside { low_hz, high_hz, wanted_hz } => {
                let [low, high, wanted] = [low_hz, high_hz, wanted_hz].map(|hz| hz / 1e6);
                format!("le balayage va de {low} à {high} MHz, il n’a pas {wanted} MHz")
            }
        }
    }
}

impl Said for AudioRefused {
    fn in_french(&self) -> String {
        match self {
            Self::Number(refused) => refused.said(Language::French),
            Self::TooShort { samples, wanted } => format!(
                "un enregistrement de {samples} échantillons est trop court ; il en faut {wanted}"
            ),
            Self::TooLong { samples, most } => format!(
                "un enregistrement de {samples} échantillons est trop long ; {most} au plus"
            ),
            Self::TooLarge { bytes, most } => {
                format!("un enregistrement de {bytes} octets est trop grand ; {most} au plus")
            }
            Self::NotANumber { at, value } => {
                format!("l’échantillon {at} est {value}, ce qui n’en est pas un")
            }
            Self::Silent { level_dbfs } => {
                format!("l’enregistrement est muet : {level_dbfs:.0} dBFS ou moins")
            }
            Self::NotWav { what } => {
                let said = english_only(Language::French, what);
                format!("l’enregistrement n’est pas un fichier WAV ({said})")
            }
            Self::KindUnknown { bits } => format!(
                "les échantillons de cette sorte ({bits} bits) ne se lisent pas ; PCM de 8 à 32 \
                 bits et flottants de 32 bits, si"
            ),
            Self::CutShort { read, promised } => format!(
                "l’enregistrement finit après {read} échantillons sur {promised} : il a été coupé"
            ),
            Self::NoChannel { asked, channels } => format!(
                "l’enregistrement a {channels} voies ; il n’y a pas de voie {asked}, elles se \
                 comptent depuis 1"
            ),
            Self::NoTone { wanted_hz, window_hz } => {
                format!("aucune tonalité à moins de {window_hz:.1} Hz de {wanted_hz} Hz")
            }
            Self::NoWeighting { name, known } => {
                format!("aucune pondération {name:?} connue ; connues : {known}")
            }
            Self::NotACode { text } => format!(
                "{text:?} n’est pas un code de silencieux ; un code a trois chiffres de 0 à 7, \
                 comme 023"
            ),
            Self::NoNull { asked } => {
                format!("il n’y a pas de zéro de porteuse {asked} ; ils se comptent de 1 à 5")
            }
            Self::Meta(refused) => refused.in_french(),
        }
    }
}

impl Said for MetaRefused {
    fn in_french(&self) -> String {
        match self {
            Self::TooLarge { bytes } => {
                format!("des métadonnées de {bytes} octets ; {META_BYTES_MAX} au plus")
            }
            Self::Shape { why } => {
                let said = english_only(Language::French, why);
                format!("les métadonnées ne sont pas du SigMF ({said})")
            }
            Self::Datatype { datatype } => format!(
                "les échantillons de type {datatype:?} ne se lisent pas ; cf32_le, ci16_le, cu8 et \
                 leurs semblables, si"
            ),
            Self::Channels { count } => {
                format!("les données ont {count} voies ; une seule se lit")
            }
            Self::PartialSample { bytes, width } => format!(
                "{bytes} octets de données ne font pas un nombre entier d’échantillons de {width} \
                 octets"
            ),
            Self::NoFrequency => "la capture ne nomme pas de core:frequency, la fréquence de la \
                                  porteuse n’est donc pas connue"
                .to_owned(),
        }
    }
}
