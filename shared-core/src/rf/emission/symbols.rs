//! What the symbols of an emission designator say, in the order of their places.
//!
//! Places and symbols one to three: 47 CFR 2.201(c) to (e). Four and five, which are optional:
//! ITU Radio Regulations, appendix 1, section IIB. Read in several public tables that quote them
//! (seen-secondary); the words are ours.

/// A place in a designator and the symbols it can hold.
pub(super) struct Place {
    pub(super) name: &'static str,
    pub(super) symbols: &'static [(char, &'static str)],
}

pub(super) const PLACES: [Place; 5] = [
    Place {
        name: "modulation of the carrier",
        symbols: &[
            ('N', "carrier without modulation"),
            ('A', "amplitude modulation, both sidebands"),
            ('H', "single sideband, full carrier"),
            ('R', "single sideband, reduced or varying carrier"),
            ('J', "single sideband, suppressed carrier"),
            ('B', "two independent sidebands"),
            ('C', "vestigial sideband"),
            ('F', "frequency modulation"),
            ('G', "phase modulation"),
            ('D', "amplitude and angle modulation together or in turn"),
            ('P', "pulses without modulation"),
            ('K', "pulses modulated in amplitude"),
            ('L', "pulses modulated in width"),
            ('M', "pulses modulated in position or phase"),
            ('Q', "pulses with an angle-modulated carrier"),
            ('V', "pulses modulated in more than one way, or by other means"),
            ('W', "two or more of amplitude, angle and pulse modulation"),
            ('X', "none of the other kinds"),
        ],
    },
    Place {
        name: "nature of the signal",
        symbols: &[
            ('0', "no signal"),
            ('1', "one channel, digital, no subcarrier"),
            ('2', "one channel, digital, with a subcarrier"),
            ('3', "one channel, analogue"),
            ('7', "two or more channels, digital"),
            ('8', "two or more channels, analogue"),
            ('9', "digital and analogue channels together"),
            ('X', "none of the other kinds"),
        ],
    },
    Place {
        name: "kind of information",
        symbols: &[
            ('N', "no information"),
            ('A', "telegraphy to be read by ear"),
            ('B', "telegraphy to be read by a machine"),
            ('C', "facsimile"),
            ('D', "data, telemetry, telecommand"),
            ('E', "telephony"),
            ('F', "television"),
            ('W', "more than one of these"),
            ('X', "none of the other kinds"),
        ],
    },
    Place {
        name: "detail of the signal",
        symbols: &[
            ('A', "two-condition code, elements that differ in number or duration"),
            ('B', "two-condition code, equal elements, no error correction"),
            ('C', "two-condition code, equal elements, error correction"),
            ('D', "four-condition code, a condition an element"),
            ('E', "multi-condition code, a condition an element"),
            ('F', "multi-condition code, conditions make a character"),
            ('G', "sound of broadcast quality, one channel"),
            ('H', "sound of broadcast quality, stereo or more"),
            ('J', "sound of commercial quality"),
            ('K', "sound of commercial quality, inverted or split"),
            ('L', "sound of commercial quality with signals that control its level"),
            ('M', "monochrome"),
            ('N', "colour"),
            ('W', "more than one of these"),
            ('X', "none of the other kinds"),
        ],
    },
    Place {
        name: "multiplexing",
        symbols: &[
            ('N', "none"),
            ('C', "by code"),
            ('F', "by frequency"),
            ('T', "by time"),
            ('W', "by frequency and time"),
            ('X', "other"),
        ],
    },
];

#[cfg(test)]
mod tests {
    use super::PLACES;

    #[test]
    fn no_place_has_a_symbol_twice() {
        for place in &PLACES {
            let mut symbols: Vec<char> = place.symbols.iter().map(|(symbol, _)| *symbol).collect();
            symbols.sort_unstable();
            symbols.dedup();
            assert_eq!(symbols.len(), place.symbols.len(), "{}", place.name);
        }
        assert_eq!(PLACES.map(|place| place.symbols.len()), [18, 8, 9, 15, 6]);
    }
}
