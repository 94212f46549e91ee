//! A bandwidth as a designator writes it: three figures, and a letter in the decimal point's place.
//!
//! In: hertz, or four characters such as `12K5`. Out: a [`Bandwidth`], exact to the millihertz.
//!
//! Rounding is to three figures (to 0.001 Hz under 1 Hz), halves up, before the letter is chosen:
//! 180.5 kHz is 181K and 999.6 Hz is 1K00 (47 CFR 2.202(b); HANDBOOK 2.5). It is done on the
//! decimal figures of the number, since 25.35 has no exact binary form.

use std::fmt;

use super::EmissionRefused;

/// A bandwidth that a designator can write.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Bandwidth {
    millihertz: u64,
}

const LETTERS: [(char, u64); 4] =
    [('H', 1_000), ('K', 1_000_000), ('M', 1_000_000_000), ('G', 1_000_000_000_000)];
/// 999 GHz, the widest there is.
const MILLIHERTZ_MAX: u64 = 999_000_000_000_000;

impl Bandwidth {
    /// Rounds as published. Refuses what rounds to nothing, and what is over 999 GHz.
    pub fn from_hertz(hertz: f64) -> Result<Self, EmissionRefused> {
        let refused = EmissionRefused::Unwritable { hz: hertz };
        if !(1e-4..1e13).contains(&hertz) {
            return Err(refused);
        }
        // The shortest decimal figures that mean this number: "1.805e5".
        let text = format!("{hertz:e}");
        let (figures, exponent) = text.split_once('e').expect("the format has an exponent");
        let exponent: i32 = exponent.parse().expect("an exponent is a small number");
        let digits: Vec<u64> =
            figures.bytes().filter(u8::is_ascii_digit).map(|b| u64::from(b - b'0')).collect();
        // How many figures are kept: three, or under 1 Hz as many as reach 0.001 Hz.
        let kept = if exponent >= 0 { 3 } else { 3 + exponent + 1 };
        let kept = usize::try_from(kept).map_err(|_| refused.clone())?;
        let digit = |place: usize| digits.get(place).copied().unwrap_or(0);
        let number = (0..kept).fold(0, |number, place| number * 10 + digit(place));
        let number = number + u64::from(digit(kept) >= 5);
        // The last kept figure counts 10^(exponent − kept + 1) Hz.
        let places = 3 + exponent - i32::try_from(kept).expect("at most three") + 1;
        let places = u32::try_from(places).expect("no kept figure is under a millihertz");
        let millihertz = number * 10u64.pow(places);
        if (1..=MILLIHERTZ_MAX).contains(&millihertz) {
            Ok(Self { millihertz })
        } else {
            Err(refused)
        }
    }

    /// Reads the four characters of a designator.
    pub(super) fn parse(text: &str) -> Result<Self, EmissionRefused> {
        let refused = || EmissionRefused::Bandwidth { text: text.chars().take(12).collect() };
        let letter_at = text.find(|c: char| !c.is_ascii_digit()).ok_or_else(refused)?;
        let letter = text[letter_at..].chars().next().ok_or_else(refused)?;
        let (_, unit) = LETTERS.iter().find(|(known, _)| *known == letter).ok_or_else(refused)?;
        let (before, after) = (&text[..letter_at], &text[letter_at + 1..]);
        let figures = format!("{before}{after}");
        let digits = figures.len() == 3 && figures.bytes().all(|b| b.is_ascii_digit());
        let begins = text.starts_with('0') || (letter_at == 0 && letter != 'H');
        if !digits || begins {
            return Err(refused());
        }
        let figures: u64 = figures.parse().map_err(|_| refused())?;
        let decimals = u32::try_from(after.len()).map_err(|_| refused())?;
        let millihertz = figures * (unit / 10u64.pow(decimals));
        if millihertz == 0 { Err(refused()) } else { Ok(Self { millihertz }) }
    }

    /// In hertz.
    pub fn hertz(self) -> f64 {
        self.millihertz as f64 / 1e3
    }

    /// Whether both are the same but for one in the last figure.
    pub fn agrees_with(self, other: Self) -> bool {
        self.millihertz.abs_diff(other.millihertz) <= self.max(other).last_figure()
    }

    /// Whether this is wider than the other by more than one in the last figure.
    pub fn exceeds(self, other: Self) -> bool {
        self > other && !self.agrees_with(other)
    }

    /// What one in the last figure counts, in millihertz.
    fn last_figure(self) -> u64 {
        let mut unit = 1;
        while self.millihertz / unit >= 1000 {
            unit *= 10;
        }
        unit
    }
}

impl fmt::Display for Bandwidth {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let fits = LETTERS.iter().rev().find(|(_, unit)| self.millihertz >= *unit);
        let Some((letter, unit)) = fits else {
            return write!(f, "H{:03}", self.millihertz);
        };
        let whole = (self.millihertz / unit).to_string();
        let decimals = 3 - whole.len();
        let rest = self.millihertz % unit * 1000 / unit;
        let rest = format!("{rest:03}");
        write!(f, "{whole}{letter}{}", &rest[..decimals])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_examples_both_ways() {
        // 47 CFR 2.202(b)(3), as HANDBOOK 2.5 has it.
        for (hz, text) in [
            (0.002, "H002"),
            (0.1, "H100"),
            (25.3, "25H3"),
            (400.0, "400H"),
            (2.4e3, "2K40"),
            (6e3, "6K00"),
            (12.5e3, "12K5"),
            (180.4e3, "180K"),
            (180.5e3, "181K"),
            (180.7e3, "181K"),
            (1.25e6, "1M25"),
            (2e6, "2M00"),
            (10e6, "10M0"),
            (202e6, "202M"),
            (5.65e9, "5G65"),
            // Rounded before the letter is chosen.
            (999.6, "1K00"),
            (9.996, "10H0"),
            (0.9996, "1H00"),
            (999_600.0, "1M00"),
        ] {
            let made = Bandwidth::from_hertz(hz).unwrap();
            assert_eq!(made.to_string(), text, "{hz} Hz");
            assert_eq!(Bandwidth::parse(text).unwrap(), made, "{text}");
        }
    }

    #[test]
    fn halves_go_up_by_the_decimal_figures() {
        // 25.35 and 1.005 are a hair less in binary.
        for (hz, text) in [(25.35, "25H4"), (1.005, "1H01"), (11_250.0, "11K3"), (0.0005, "H001")] {
            assert_eq!(Bandwidth::from_hertz(hz).unwrap().to_string(), text, "{hz} Hz");
        }
    }

    #[test]
    fn what_no_designator_can_write_is_refused() {
        // HANDBOOK 2.5: 0 and 0.0004 Hz are invalid.
        for hz in [0.0, 0.0004, 0.000_04, 1e-30, -5.0, 999.5e9, 1e13, f64::NAN, f64::INFINITY] {
            let refused = Bandwidth::from_hertz(hz).unwrap_err();
            assert!(matches!(refused, EmissionRefused::Unwritable { .. }), "{hz}: {refused}");
        }
        assert_eq!(Bandwidth::from_hertz(999.4e9).unwrap().to_string(), "999G");
        for text in ["H000", "000H", "012K", "K100", "1K0", "1K000", "1000", "1KK0", "", "é1K0"] {
            assert!(Bandwidth::parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn one_in_the_last_figure_is_agreement_and_two_are_not() {
        let read = |text| Bandwidth::parse(text).unwrap();
        for (a, b, agree) in [
            ("11K2", "11K3", true),
            ("11K2", "11K4", false),
            ("999H", "1K00", true),
            ("989H", "1K00", false),
            ("H002", "H003", true),
            ("H002", "H004", false),
        ] {
            assert_eq!(read(a).agrees_with(read(b)), agree, "{a} {b}");
            assert_eq!(read(b).agrees_with(read(a)), agree, "{b} {a}");
            assert_eq!(read(b).exceeds(read(a)), !agree, "{b} {a}");
            assert!(!read(a).exceeds(read(b)), "{a} {b}");
        }
    }
}
