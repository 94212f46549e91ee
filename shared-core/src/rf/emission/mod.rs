//! Emission designators, read and made, and the bandwidth an emission needs.
//!
//! In: text such as `16K0F3E`, or hertz and symbols. Out: an [`Emission`], its designator, the
//! meaning of each symbol in words. It knows no licence and no limit.
//!
//!   designator = bandwidth (three figures and a letter) + three to five symbols
//!   Bn = 2·M + 2·D·K       hertz; M highest modulating frequency, D peak deviation, K = 1: voice
//!   Bn = B + K·shift       hertz; frequency shift keying at B baud: M = B/2, D = shift/2, K = 1.2
//!   Bn = B·K               hertz; keyed carrier at B baud, B = 0.8·words a minute, K = 5 (fading)
//!   index = D / M          no unit
//!
//! Source: 47 CFR 2.201 and 2.202 as HANDBOOK 2.5 has them; check values B1 to B10.

mod bandwidth;
mod symbols;

use std::fmt;

use crate::language::Language;
use crate::units::{OutOfRange, in_range};

pub use bandwidth::Bandwidth;

/// K of 47 CFR 2.202(g) for telephony; HANDBOOK 2.5.
pub const VOICE_K: f64 = 1.0;
/// K for frequency shift keying; HANDBOOK 2.5.
pub const SHIFT_KEYING_K: f64 = 1.2;
/// K for a keyed carrier on a fading path; HANDBOOK B8.
pub const FADING_CARRIER_K: f64 = 5.0;

const MODULATION_HZ: std::ops::RangeInclusive<f64> = 1e-3..=1e9;
const FACTOR_K: std::ops::RangeInclusive<f64> = 0.1..=10.0;

/// An emission: how wide, and of which kind.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Emission {
    bandwidth: Bandwidth,
    symbols: String,
}

/// Why a text is no designator, or an emission has none.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EmissionRefused {
    /// Not four characters of bandwidth and three to five symbols.
    #[error("{text:?} is {length} characters long; a designator has 7 to 9, as in 16K0F3E")]
    Length {
        /// The text, cut short.
        text: String,
        /// How long it is.
        length: usize,
    },
    /// Not three figures and one of the letters H, K, M, G in the place of the decimal point.
    #[error(
        "{text:?} is no bandwidth; it is three figures and one letter of H, K, M, G, and does \
             not begin with 0, K, M or G"
    )]
    Bandwidth {
        /// The four characters.
        text: String,
    },
    /// A bandwidth that no designator can write.
    #[error("a bandwidth of {hz} Hz has no designator; it must round to 0.001 Hz to 999 GHz")]
    Unwritable {
        /// The bandwidth.
        hz: f64,
    },
    /// A symbol that its place does not have.
    #[error("{symbol:?} is no {place} ({known})")]
    Symbol {
        /// The symbol.
        symbol: char,
        /// What its place says of an emission.
        place: &'static str,
        /// The symbols its place has.
        known: String,
    },
    /// A number the formula is not for.
    #[error(transparent)]
    Number(#[from] OutOfRange),
}

/// One symbol and what it says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Meaning {
    /// The symbol.
    pub symbol: char,
    /// What its place says of an emission.
    pub place: &'static str,
    /// What the symbol says there.
    pub words: &'static str,
}

impl Emission {
    /// Reads a designator. Small letters and one space after the bandwidth are taken.
    pub fn parse(text: &str) -> Result<Self, EmissionRefused> {
        let text = text.trim();
        // More than a designator can have is not looked at.
        let mut plain: Vec<char> = text.chars().take(11).map(|c| c.to_ascii_uppercase()).collect();
        if plain.get(4) == Some(&' ') {
            plain.remove(4);
        }
        if !(7..=9).contains(&plain.len()) {
            let length = text.chars().count();
            return Err(EmissionRefused::Length { text: text.chars().take(12).collect(), length });
        }
        let (bandwidth, symbols) = plain.split_at(4);
        let bandwidth = Bandwidth::parse(&bandwidth.iter().collect::<String>())?;
        Self::new(bandwidth, &symbols.iter().collect::<String>())
    }

    /// An emission of this width and kind; three to five symbols, as in `F3E`.
    pub fn new(bandwidth: Bandwidth, symbols: &str) -> Result<Self, EmissionRefused> {
        let symbols = symbols.to_ascii_uppercase();
        meanings(&symbols, Language::English)?;
        Ok(Self { bandwidth, symbols })
    }

    /// The necessary bandwidth.
    pub fn bandwidth(&self) -> Bandwidth {
        self.bandwidth
    }

    /// The symbols, in capitals.
    pub fn symbols(&self) -> &str {
        &self.symbols
    }

    /// What each symbol says, in a language.
    pub fn meanings(&self, language: Language) -> Vec<Meaning> {
        let found = meanings(&self.symbols, language);
        found.expect("an emission is made with symbols that have meanings")
    }

    /// Whether the other is of the same kind and as wide, give or take one in the last figure:
    /// licences show 11.25 kHz as 11K2 and as 11K3. Optional symbols count where both have them.
    pub fn agrees_with(&self, other: &Self) -> bool {
        let pairs = self.symbols.chars().zip(other.symbols.chars());
        self.bandwidth.agrees_with(other.bandwidth) && pairs.into_iter().all(|(a, b)| a == b)
    }
}

impl fmt::Display for Emission {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.bandwidth, self.symbols)
    }
}

/// In French, what a place says of an emission, by its English.
pub fn place_in_french(english: &str) -> &str {
    let place = symbols::PLACES.iter().find(|place| place.name[0] == english);
    place.map_or(english, |place| place.name[1])
}

fn meanings(symbols: &str, language: Language) -> Result<Vec<Meaning>, EmissionRefused> {
    let length = symbols.chars().count();
    if !(3..=5).contains(&length) {
        let text = symbols.chars().take(12).collect();
        return Err(EmissionRefused::Length { text, length: length.saturating_add(4) });
    }
    let places = symbols.chars().zip(&symbols::PLACES);
    places
        .map(|(symbol, place)| {
            let found = place.symbols.iter().find(|(known, ..)| *known == symbol);
            let [english, french] = place.name;
            let (_, said, dit) = found.ok_or_else(|| EmissionRefused::Symbol {
                symbol,
                place: english,
                known: place.symbols.iter().map(|(known, ..)| *known).collect(),
            })?;
            let place = language.pick(english, french);
            Ok(Meaning { symbol, place, words: language.pick(said, dit) })
        })
        .collect()
}

/// The bandwidth frequency modulation needs, in hertz.
pub fn frequency_modulation_hz(
    highest_hz: f64,
    deviation_hz: f64,
    k: f64,
) -> Result<f64, EmissionRefused> {
    let highest = in_range("highest modulating frequency", highest_hz, MODULATION_HZ, "Hz")?;
    let deviation = in_range("deviation", deviation_hz, MODULATION_HZ, "Hz")?;
    let k = in_range("factor K", k, FACTOR_K, "")?;
    Ok(2.0 * highest + 2.0 * deviation * k)
}

/// The bandwidth frequency shift keying needs, in hertz.
pub fn shift_keying_hz(rate_bd: f64, shift_hz: f64, k: f64) -> Result<f64, EmissionRefused> {
    let rate = in_range("keying rate", rate_bd, MODULATION_HZ, "Bd")?;
    let shift = in_range("shift", shift_hz, MODULATION_HZ, "Hz")?;
    frequency_modulation_hz(rate / 2.0, shift / 2.0, k)
}

/// The bandwidth a keyed carrier needs, in hertz.
pub fn keyed_carrier_hz(rate_bd: f64, k: f64) -> Result<f64, EmissionRefused> {
    let rate = in_range("keying rate", rate_bd, MODULATION_HZ, "Bd")?;
    Ok(rate * in_range("factor K", k, FACTOR_K, "")?)
}

/// The keying rate of Morse in baud: 0.8 of the words a minute.
pub fn morse_bd(words_a_minute: f64) -> Result<f64, EmissionRefused> {
    Ok(0.8 * in_range("speed", words_a_minute, 1.0..=1000.0, "words a minute")?)
}

/// Peak deviation over modulating frequency.
pub fn modulation_index(deviation_hz: f64, modulation_hz: f64) -> Result<f64, EmissionRefused> {
    let deviation = in_range("deviation", deviation_hz, 0.0..=*MODULATION_HZ.end(), "Hz")?;
    Ok(deviation / in_range("modulating frequency", modulation_hz, MODULATION_HZ, "Hz")?)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn read(text: &str) -> Emission {
        Emission::parse(text).unwrap_or_else(|refused| panic!("{text}: {refused}"))
    }

    #[test]
    fn every_symbol_is_told_in_words() {
        let voice = read("11K2F3E");
        let words: Vec<&str> =
            voice.meanings(Language::English).iter().map(|meaning| meaning.words).collect();
        assert_eq!(words, ["frequency modulation", "one channel, analogue", "telephony"]);
        let long = read("16K0G3EJN");
        assert_eq!(long.meanings(Language::English)[4].place, "multiplexing");
        assert_eq!(long.to_string(), "16K0G3EJN");
    }

    #[test]
    fn people_write_it_in_more_than_one_way() {
        for text in ["16k0f3e", " 16K0F3E ", "16K0 F3E", "16K0F3E"] {
            assert_eq!(read(text).to_string(), "16K0F3E");
        }
        assert_eq!(read("16K0 F3EJN").to_string(), "16K0F3EJN");
    }

    #[test]
    fn the_last_figure_never_parts_two_designators() {
        assert!(read("11K2F3E").agrees_with(&read("11K3F3E")));
        assert!(read("11K3F3E").agrees_with(&read("11K2F3E")));
        assert!(read("11K2F3E").agrees_with(&read("11K2F3EJN")));
        assert!(!read("11K1F3E").agrees_with(&read("11K3F3E")));
        assert!(!read("11K2F3E").agrees_with(&read("11K2F1D")));
        assert!(!read("11K2F3EJN").agrees_with(&read("11K2F3EXN")));
    }

    #[test]
    fn what_is_no_designator_is_refused_by_what_is_wrong() {
        for text in ["", "F3E", "16K0", "16K0F3", "16K0F3EJNX", "16K0 F3EJNX", "16K0F3E and more"] {
            let refused = Emission::parse(text).unwrap_err();
            assert!(matches!(refused, EmissionRefused::Length { .. }), "{text:?}: {refused}");
        }
        // 47 CFR 2.202(b): the first character is no 0, K, M or G.
        for text in ["0K00F3E", "K160F3E", "M160F3E", "G160F3E", "1600F3E", "16KKF3E", "16T0F3E"] {
            let refused = Emission::parse(text).unwrap_err();
            assert!(matches!(refused, EmissionRefused::Bandwidth { .. }), "{text:?}: {refused}");
        }
        for (text, symbol) in
            [("16K0E3E", 'E'), ("16K0F4E", '4'), ("16K0F3G", 'G'), ("16K0  F3E", ' ')]
        {
            let refused = Emission::parse(text).unwrap_err();
            assert!(
                matches!(refused, EmissionRefused::Symbol { symbol: s, .. } if s == symbol),
                "{text:?}: {refused}"
            );
        }
        assert!(Emission::parse("16K0F3EIN").is_err() && Emission::parse("16K0F3EJA").is_err());
        assert!(Emission::parse("１６K0F3E").is_err());
    }

    #[test]
    fn numbers_without_sense_are_refused() {
        for value in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(matches!(
                frequency_modulation_hz(value, 5e3, 1.0),
                Err(EmissionRefused::Number(_))
            ));
            assert!(frequency_modulation_hz(3e3, value, 1.0).is_err());
            assert!(shift_keying_hz(value, 170.0, 1.2).is_err());
            assert!(shift_keying_hz(300.0, value, 1.2).is_err());
            assert!(
                keyed_carrier_hz(value, 5.0).is_err() && keyed_carrier_hz(20.0, value).is_err()
            );
            assert!(morse_bd(value).is_err() && modulation_index(5e3, value).is_err());
        }
    }

    proptest! {
        #[test]
        fn what_is_made_is_read_back(hz in 0.001f64..9e11) {
            let made = Emission::new(Bandwidth::from_hertz(hz).unwrap(), "F3E").unwrap();
            prop_assert_eq!(Emission::parse(&made.to_string()).unwrap(), made.clone());
            // Half a unit of the third figure, or of the third decimal under 1 Hz.
            let off = (made.bandwidth().hertz() - hz).abs();
            prop_assert!(off <= (0.005 * hz).max(0.000_501), "{} for {hz}", made);
        }

        #[test]
        fn no_text_panics(text in "\\PC{0,12}") {
            let read = Emission::parse(&text);
            prop_assert!(read.is_err() || read.unwrap().to_string().len() >= 7);
        }

        #[test]
        fn wider_is_never_written_narrower(a in 0.001f64..9e11, b in 0.001f64..9e11) {
            let (low, high) = (a.min(b), a.max(b));
            let [low, high] = [low, high].map(|hz| Bandwidth::from_hertz(hz).unwrap());
            prop_assert!(low <= high);
        }
    }
}
