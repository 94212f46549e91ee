//! Digital coded squelch (DCS): its codes, their words, and finding one below the voice.
//!
//! In: a code as three octal digits, or samples. Out: the 23-bit word, the code it reads as upside
//! down, the codes it reads as when begun elsewhere, or the code that is sent.
//!
//!   word = parity(11) · 100 · code(9), the lowest bit sent first at 134.4 bit/s
//!   parity = remainder of (100 · code)·x¹¹ by x¹¹+x¹⁰+x⁶+x⁵+x⁴+x²+1
//!
//! The word is repeated without a gap, so a receiver cannot know where it begins: any turn of it
//! that shows the marker 100 reads as some code, and so does the word upside down (trap 13 of
//! HANDBOOK §12: a reading of 047 may be 023 inverted). HANDBOOK 2.8, `data/squelch.toml`.

use std::fmt;
use std::str::FromStr;
use std::sync::OnceLock;

use super::tones::{below_voice, shipped};
use super::{AudioRefused, Samples};

/// How many bits a second are sent.
pub const BITS_PER_SECOND: f64 = 134.4;
/// How many bits a word has.
pub const WORD_BITS: usize = 23;
/// How many words in a row it takes before a code counts as found.
pub const WORDS_MIN: usize = 3;

const GENERATOR: u32 = 0xC75;
const WORD_MASK: u32 = (1 << WORD_BITS) - 1;
const MARKER: u32 = 0b100;

/// A code: nine bits, written as three octal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Code(u16);

impl FromStr for Code {
    type Err = AudioRefused;

    fn from_str(text: &str) -> Result<Self, AudioRefused> {
        let digits = text.len() == 3 && text.bytes().all(|byte| (b'0'..=b'7').contains(&byte));
        let code = digits.then(|| u16::from_str_radix(text, 8).ok()).flatten();
        code.map(Self).ok_or_else(|| AudioRefused::NotACode { text: text.to_owned() })
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:03o}", self.0)
    }
}

/// The codes of the table, ascending.
pub fn standard_codes() -> &'static [Code] {
    static CODES: OnceLock<Vec<Code>> = OnceLock::new();
    CODES.get_or_init(|| {
        let codes = shipped().dcs.codes.split_whitespace();
        codes.map(|code| code.parse().expect("the shipped codes are read by a test")).collect()
    })
}

/// Where the table stands.
pub fn source() -> String {
    let dcs = &shipped().dcs;
    format!("{}, {} ({})", dcs.source, dcs.text_date, dcs.tag)
}

impl Code {
    /// The word that is sent for it.
    pub fn word(self) -> u32 {
        let data = MARKER << 9 | u32::from(self.0);
        let divided = (11..WORD_BITS).rev().fold(data << 11, |left, bit| {
            if left >> bit & 1 == 1 { left ^ GENERATOR << (bit - 11) } else { left }
        });
        divided << 12 | data
    }

    /// Whether it is of the table.
    pub fn is_standard(self) -> bool {
        standard_codes().binary_search(&self).is_ok()
    }

    /// The other codes that its word reads as when begun elsewhere, ascending.
    pub fn rotations(self) -> Vec<Self> {
        read_as(self.word()).into_iter().filter(|code| *code != self).collect()
    }

    /// The code of the table that its word reads as upside down. Each of the table has one.
    pub fn inverse(self) -> Option<Self> {
        read_as(!self.word() & WORD_MASK).into_iter().find(|code| code.is_standard())
    }
}

/// The codes that a word reads as, begun at any of its bits.
fn read_as(word: u32) -> Vec<Code> {
    let turned = |by: usize| (word >> by | word << (WORD_BITS - by)) & WORD_MASK;
    let mut codes: Vec<Code> = (0..WORD_BITS).filter_map(|by| code_of(turned(by))).collect();
    codes.sort_unstable();
    codes.dedup();
    codes
}

/// The code whose word these bits are, exactly.
fn code_of(bits: u32) -> Option<Code> {
    let code = Code(u16::try_from(bits & 0x1FF).expect("nine bits"));
    (code.word() == bits).then_some(code)
}

/// A code found below the voice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Found {
    /// As read with a rise of the audio for a one.
    pub code: Code,
    /// As read the other way up: which of the two was meant, only the radio's setting tells.
    pub inverse: Option<Code>,
    /// How many words in a row were read.
    pub words: usize,
    /// Half of the swing between a one and a zero, in the unit of the samples.
    pub amplitude: f64,
}

/// The code of the table that is sent below the voice. None where no word is repeated
/// [`WORDS_MIN`] times in a row without a wrong bit.
pub fn find(samples: &Samples) -> Option<Found> {
    let (thin, rate_hz) = below_voice(samples)?;
    let bit = rate_hz / BITS_PER_SECOND;
    let levels = bit_levels(&thin, bit);
    let mut sorted = levels.clone();
    sorted.sort_unstable_by(f64::total_cmp);
    let (low, high) = (*sorted.get(sorted.len() / 10)?, *sorted.get(sorted.len() * 9 / 10)?);
    let threshold = (low + high) / 2.0;
    let span = (bit * (WORD_BITS - 1) as f64).ceil() as usize;
    let starts = 0..levels.len().saturating_sub(span);
    let hits = starts.filter_map(|start| {
        let one = |n: usize| levels[start + (n as f64 * bit).round() as usize] > threshold;
        let word = (0..WORD_BITS).fold(0, |word, n| word | u32::from(one(n)) << n);
        Some((start as f64, code_of(word).filter(|code| code.is_standard())?))
    });
    let (code, words) = longest_run(&hits.collect::<Vec<_>>(), bit)?;
    let found = Found { code, inverse: code.inverse(), words, amplitude: (high - low) / 2.0 };
    (words >= WORDS_MIN).then_some(found)
}

/// The mean over one bit about each place: what a bit that is centred there amounts to.
fn bit_levels(thin: &[f64], bit: f64) -> Vec<f64> {
    let width = bit.round().max(1.0) as usize;
    let sums = thin.iter().scan(0.0, |sum, value| {
        *sum += value;
        Some(*sum)
    });
    let sums: Vec<f64> = std::iter::once(0.0).chain(sums).collect();
    sums.iter().zip(sums.iter().skip(width)).map(|(from, to)| (to - from) / width as f64).collect()
}

/// The code with the most words in a row, and how many. A word is seen from several neighbouring
/// places; the next one begins 23 bits on.
fn longest_run(hits: &[(f64, Code)], bit: f64) -> Option<(Code, usize)> {
    let mut codes: Vec<Code> = hits.iter().map(|(_, code)| *code).collect();
    codes.sort_unstable();
    codes.dedup();
    let run = |code: Code| {
        let (mut longest, mut run, mut last) = (0, 0, f64::NEG_INFINITY);
        for (start, _) in hits.iter().filter(|(_, seen)| *seen == code) {
            let bits = (start - last) / bit;
            if bits < 1.0 {
                continue;
            }
            run = if (bits - WORD_BITS as f64).abs() < 1.0 { run + 1 } else { 1 };
            longest = longest.max(run);
            last = *start;
        }
        longest
    };
    codes.into_iter().map(|code| (code, run(code))).max_by_key(|(_, words)| *words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn code(text: &str) -> Code {
        text.parse().unwrap()
    }

    /// A word over and over, with a louder test tone above it.
    fn sent(word: u32, seconds: f64, bits_per_second: f64, tone: f64, swing: f64) -> Samples {
        let y = |n: usize| {
            let t = n as f64 / 8e3;
            let bit = (t * bits_per_second) as usize % WORD_BITS;
            let level = if word >> bit & 1 == 1 { swing } else { -swing };
            0.05 + level + tone * (TAU * 1e3 * t).sin()
        };
        let count = (seconds * 8e3) as usize;
        Samples::new((0..count).map(y).collect(), 8e3).unwrap()
    }

    #[test]
    fn the_shipped_table_is_104_ascending_codes_with_a_source() {
        assert_eq!(standard_codes().len(), 104);
        assert!(standard_codes().is_sorted_by(|a, b| a < b));
        assert!(source().contains("104-code table"));
    }

    #[test]
    fn what_is_no_code_is_refused() {
        for text in ["", "23", "0023", "028", "+23", "0x3", "٠٢٣"] {
            let refused = text.parse::<Code>();
            assert_eq!(refused, Err(AudioRefused::NotACode { text: text.to_owned() }));
        }
        assert_eq!(code("023").to_string(), "023");
        assert!(code("023").is_standard() && !code("017").is_standard());
    }

    #[test]
    fn every_code_is_read_under_a_louder_test_tone() {
        for &code in standard_codes() {
            let samples = sent(code.word(), 1.0, BITS_PER_SECOND, 0.6, 0.1);
            let found = find(&samples).unwrap_or_else(|| panic!("{code} was not found"));
            assert_eq!((found.code, found.inverse), (code, code.inverse()));
            assert!((4..=5).contains(&found.words), "{found:?}");
            assert!((found.amplitude - 0.1).abs() < 0.03, "{found:?}");
            let tone = super::super::tones::find(&samples);
            let taken = tone.and_then(|tone| tone.identified.measured_as_hz);
            assert_eq!(taken, None, "{code} was taken for a tone too");
        }
    }

    #[test]
    fn a_word_upside_down_reads_as_the_inverse() {
        let found = find(&sent(code("023").word(), 2.0, BITS_PER_SECOND, 0.6, -0.1)).unwrap();
        assert_eq!((found.code, found.inverse), (code("047"), Some(code("023"))));
    }

    #[test]
    fn a_clock_that_is_a_little_off_is_followed() {
        for bits_per_second in [133.8, 134.3, 135.0] {
            let found = find(&sent(code("754").word(), 3.0, bits_per_second, 0.3, 0.1)).unwrap();
            assert_eq!(found.code, code("754"), "{bits_per_second} bit/s");
            assert!(found.words > 12, "{found:?}");
        }
    }

    #[test]
    fn no_code_is_found_where_none_is_sent() {
        assert!(find(&sent(0x2AAAAA, 2.0, BITS_PER_SECOND, 0.1, 0.1)).is_none(), "no word");
        assert!(find(&sent(code("017").word(), 2.0, BITS_PER_SECOND, 0.1, 0.1)).is_none());
        assert!(find(&sent(code("023").word(), 0.45, BITS_PER_SECOND, 0.1, 0.1)).is_none());
        let tone = |n: usize| (TAU * 100.0 * n as f64 / 8e3).sin();
        assert!(find(&Samples::new((0..16_000).map(tone).collect(), 8e3).unwrap()).is_none());
    }

    #[test]
    fn published_words_rotations_and_inverses() {
        // HANDBOOK 2.8: 023 published, 025, 047 and 754 calculated there.
        for (text, word) in
            [("023", 0x76_3813), ("025", 0x6B_7815), ("047", 0x0F_D827), ("754", 0x20_F9EC)]
        {
            assert_eq!(code(text).word(), word, "{text}");
        }
        assert_eq!(code("023").rotations(), [code("340"), code("766")]);
        for (one, other) in
            [("023", "047"), ("025", "244"), ("116", "754"), ("411", "226"), ("743", "654")]
        {
            assert_eq!(code(one).inverse(), Some(code(other)), "{one}");
            assert_eq!(code(other).inverse(), Some(code(one)), "{other}");
        }
    }

    #[test]
    fn words_count_where_each_begins_a_word_after_the_last() {
        let bit = 10.0;
        let word = WORD_BITS as f64 * bit;
        let at = |places: &[f64]| -> Vec<(f64, Code)> {
            places.iter().map(|place| (*place, code("023"))).collect()
        };
        let run = |places: &[f64]| longest_run(&at(places), bit).map(|(_, words)| words);
        assert_eq!(run(&[]), None);
        assert_eq!(run(&[0.0]), Some(1));
        // Seen from several neighbouring places, it is one word.
        assert_eq!(run(&[0.0, 3.0, 6.0, word, word + 3.0, 2.0 * word]), Some(3));
        assert_eq!(
            run(&[0.0, word - 9.0, 2.0 * word - 18.0]),
            Some(3),
            "within a bit of the place"
        );
        assert_eq!(run(&[0.0, word + 11.0, 2.0 * word + 22.0]), Some(1), "more than a bit off");
        assert_eq!(run(&[0.0, word, 2.5 * word, 3.5 * word, 4.5 * word]), Some(3), "the longest");
        let mut both = at(&[0.0, word]);
        both.extend([
            (5.0, code("754")),
            (word + 5.0, code("754")),
            (2.0 * word + 5.0, code("754")),
        ]);
        assert_eq!(longest_run(&both, bit), Some((code("754"), 3)));
    }

    #[test]
    fn a_bit_amounts_to_its_mean() {
        let levels = bit_levels(&[1.0, 3.0, 5.0, 7.0], 2.0);
        assert_eq!(levels, [2.0, 4.0, 6.0]);
        assert_eq!(bit_levels(&[1.0, 3.0], 0.2), [1.0, 3.0], "a value at least");
        assert!(bit_levels(&[1.0], 2.0).is_empty());
    }
}
