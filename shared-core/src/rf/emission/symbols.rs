//! What the symbols of an emission designator say, in the order of their places.
//!
//! Places and symbols one to three: 47 CFR 2.201(c) to (e). Four and five, which are optional:
//! ITU Radio Regulations, appendix 1, section IIB. Read in several public tables that quote them
//! (seen-secondary); the words are ours.

/// A place in a designator and the symbols it can hold.
pub(super) struct Place {
    /// What it says of an emission, in English and in French.
    pub(super) name: [&'static str; 2],
    /// What each symbol says there, likewise.
    pub(super) symbols: &'static [(char, &'static str, &'static str)],
}

pub(super) const PLACES: [Place; 5] = [
    Place {
        name: ["modulation of the carrier", "modulation de la porteuse"],
        symbols: &[
            ('N', "carrier without modulation", "porteuse sans modulation"),
            (
                'A',
                "amplitude modulation, both sidebands",
                "modulation d’amplitude, deux bandes latérales",
            ),
            ('H', "single sideband, full carrier", "bande latérale unique, porteuse complète"),
            (
                'R',
                "single sideband, reduced or varying carrier",
                "bande latérale unique, porteuse réduite ou variable",
            ),
            (
                'J',
                "single sideband, suppressed carrier",
                "bande latérale unique, porteuse supprimée",
            ),
            ('B', "two independent sidebands", "deux bandes latérales indépendantes"),
            ('C', "vestigial sideband", "bande latérale résiduelle"),
            ('F', "frequency modulation", "modulation de fréquence"),
            ('G', "phase modulation", "modulation de phase"),
            (
                'D',
                "amplitude and angle modulation together or in turn",
                "modulation d’amplitude et d’angle, ensemble ou à tour de rôle",
            ),
            ('P', "pulses without modulation", "impulsions sans modulation"),
            ('K', "pulses modulated in amplitude", "impulsions modulées en amplitude"),
            ('L', "pulses modulated in width", "impulsions modulées en durée"),
            (
                'M',
                "pulses modulated in position or phase",
                "impulsions modulées en position ou en phase",
            ),
            (
                'Q',
                "pulses with an angle-modulated carrier",
                "impulsions à porteuse modulée en angle",
            ),
            (
                'V',
                "pulses modulated in more than one way, or by other means",
                "impulsions modulées de plusieurs façons, ou par d’autres moyens",
            ),
            (
                'W',
                "two or more of amplitude, angle and pulse modulation",
                "modulation d’amplitude, d’angle et d’impulsions, deux ou plus",
            ),
            ('X', "none of the other kinds", "aucune des autres sortes"),
        ],
    },
    Place {
        name: ["nature of the signal", "nature du signal"],
        symbols: &[
            ('0', "no signal", "aucun signal"),
            ('1', "one channel, digital, no subcarrier", "une voie, numérique, sans sous-porteuse"),
            (
                '2',
                "one channel, digital, with a subcarrier",
                "une voie, numérique, avec sous-porteuse",
            ),
            ('3', "one channel, analogue", "une voie, analogique"),
            ('7', "two or more channels, digital", "deux voies ou plus, numériques"),
            ('8', "two or more channels, analogue", "deux voies ou plus, analogiques"),
            (
                '9',
                "digital and analogue channels together",
                "voies numériques et analogiques ensemble",
            ),
            ('X', "none of the other kinds", "aucune des autres sortes"),
        ],
    },
    Place {
        name: ["kind of information", "type d’information"],
        symbols: &[
            ('N', "no information", "aucune information"),
            ('A', "telegraphy to be read by ear", "télégraphie pour lecture auditive"),
            ('B', "telegraphy to be read by a machine", "télégraphie pour lecture automatique"),
            ('C', "facsimile", "télécopie"),
            ('D', "data, telemetry, telecommand", "données, télémesure, télécommande"),
            ('E', "telephony", "téléphonie"),
            ('F', "television", "télévision"),
            ('W', "more than one of these", "plusieurs de ces sortes"),
            ('X', "none of the other kinds", "aucune des autres sortes"),
        ],
    },
    Place {
        name: ["detail of the signal", "détail du signal"],
        symbols: &[
            (
                'A',
                "two-condition code, elements that differ in number or duration",
                "code à deux états, éléments différant par leur nombre ou leur durée",
            ),
            (
                'B',
                "two-condition code, equal elements, no error correction",
                "code à deux états, éléments égaux, sans correction d’erreurs",
            ),
            (
                'C',
                "two-condition code, equal elements, error correction",
                "code à deux états, éléments égaux, avec correction d’erreurs",
            ),
            (
                'D',
                "four-condition code, a condition an element",
                "code à quatre états, un état par élément",
            ),
            (
                'E',
                "multi-condition code, a condition an element",
                "code à plusieurs états, un état par élément",
            ),
            (
                'F',
                "multi-condition code, conditions make a character",
                "code à plusieurs états, des états font un caractère",
            ),
            (
                'G',
                "sound of broadcast quality, one channel",
                "son de qualité radiodiffusion, une voie",
            ),
            (
                'H',
                "sound of broadcast quality, stereo or more",
                "son de qualité radiodiffusion, stéréo ou plus",
            ),
            ('J', "sound of commercial quality", "son de qualité commerciale"),
            (
                'K',
                "sound of commercial quality, inverted or split",
                "son de qualité commerciale, inversé ou découpé",
            ),
            (
                'L',
                "sound of commercial quality with signals that control its level",
                "son de qualité commerciale, avec des signaux qui règlent son niveau",
            ),
            ('M', "monochrome", "noir et blanc"),
            ('N', "colour", "couleur"),
            ('W', "more than one of these", "plusieurs de ces sortes"),
            ('X', "none of the other kinds", "aucune des autres sortes"),
        ],
    },
    Place {
        name: ["multiplexing", "multiplexage"],
        symbols: &[
            ('N', "none", "aucun"),
            ('C', "by code", "par code"),
            ('F', "by frequency", "par fréquence"),
            ('T', "by time", "par temps"),
            ('W', "by frequency and time", "par fréquence et temps"),
            ('X', "other", "autre"),
        ],
    },
];

#[cfg(test)]
mod tests {
    use super::PLACES;

    #[test]
    fn no_place_has_a_symbol_twice() {
        for place in &PLACES {
            let mut symbols: Vec<char> = place.symbols.iter().map(|(symbol, ..)| *symbol).collect();
            symbols.sort_unstable();
            symbols.dedup();
            assert_eq!(symbols.len(), place.symbols.len(), "{:?}", place.name);
        }
        assert_eq!(PLACES.map(|place| place.symbols.len()), [18, 8, 9, 15, 6]);
    }
}
