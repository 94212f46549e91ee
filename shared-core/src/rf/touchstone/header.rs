//! What stands before the numbers of a Touchstone file: the option line and the keywords.
//!
//! In: the words of one line. Out: how the numbers are to be taken, or a refusal with the line.

use num_complex::Complex64;

use super::super::sweep::{PORTS_MAX, Sweep};
use super::{TouchstoneRefused, cut};

/// Which parameters the numbers are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Kind {
    Scattering,
    Admittance,
    Impedance,
    Hybrid,
    InverseHybrid,
}

/// How two numbers are one value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Format {
    MagnitudeDegrees,
    DecibelDegrees,
    RealImaginary,
}

impl Format {
    pub(super) fn value(self, first: f64, second: f64) -> Complex64 {
        let magnitude = match self {
            Self::RealImaginary => return Complex64::new(first, second),
            Self::MagnitudeDegrees => first,
            Self::DecibelDegrees => (first * (std::f64::consts::LN_10 / 20.0)).exp(),
        };
        // Not `from_polar`: a negative magnitude is a half turn, and stands in files.
        let (sine, cosine) = second.to_radians().sin_cos();
        Complex64::new(magnitude * cosine, magnitude * sine)
    }
}

/// The option line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Options {
    pub(super) unit_hz: f64,
    pub(super) kind: Kind,
    pub(super) format: Format,
    pub(super) reference_ohm: f64,
}

const UNITS: [(&str, f64); 4] = [("Hz", 1.0), ("kHz", 1e3), ("MHz", 1e6), ("GHz", 1e9)];
const KINDS: [(&str, Kind); 5] = [
    ("S", Kind::Scattering),
    ("Y", Kind::Admittance),
    ("Z", Kind::Impedance),
    ("H", Kind::Hybrid),
    ("G", Kind::InverseHybrid),
];
const FORMATS: [(&str, Format); 3] = [
    ("MA", Format::MagnitudeDegrees),
    ("DB", Format::DecibelDegrees),
    ("RI", Format::RealImaginary),
];

fn named<T: Copy>(table: &[(&str, T)], word: &str) -> Option<T> {
    table.iter().find(|(name, _)| name.eq_ignore_ascii_case(word)).map(|(_, meaning)| *meaning)
}

/// Reads the option line after its `#`. What it does not say is GHz, S, MA, R 50.
pub(super) fn options(line: usize, text: &str) -> Result<Options, TouchstoneRefused> {
    let refused =
        |expected, word: &str| TouchstoneRefused::Option { line, expected, found: cut(word) };
    let (mut unit, mut kind, mut format, mut reference) = (None, None, None, None);
    let mut words = text.split_whitespace();
    while let Some(word) = words.next() {
        let twice = if let Some(hertz) = named(&UNITS, word) {
            unit.replace(hertz).is_some()
        } else if let Some(parameters) = named(&KINDS, word) {
            kind.replace(parameters).is_some()
        } else if let Some(pairs) = named(&FORMATS, word) {
            format.replace(pairs).is_some()
        } else if word.eq_ignore_ascii_case("R") {
            let value = words.next().unwrap_or_default();
            reference.replace(resistance(line, "R in the option line", value)?).is_some()
        } else {
            let expected = "Hz, kHz, MHz or GHz; S, Y, Z, H or G; MA, DB or RI; R and a number";
            return Err(refused(expected, word));
        };
        if twice {
            return Err(refused("each of unit, parameter, format and R once", word));
        }
    }
    Ok(Options {
        unit_hz: unit.unwrap_or(1e9),
        kind: kind.unwrap_or(Kind::Scattering),
        format: format.unwrap_or(Format::MagnitudeDegrees),
        reference_ohm: reference.unwrap_or(50.0),
    })
}

/// A reference resistance, from the option line or from `[Reference]`.
pub(super) fn resistance(
    line: usize,
    keyword: &'static str,
    word: &str,
) -> Result<f64, TouchstoneRefused> {
    let complex = word.starts_with('(') || word.ends_with(['j', 'J', 'i', 'I']);
    match word.parse::<f64>() {
        Ok(ohm) if Sweep::REFERENCE_RANGE.contains(&ohm) => Ok(ohm),
        Err(_) if complex => Err(TouchstoneRefused::ComplexReference { line, found: cut(word) }),
        _ => Err(TouchstoneRefused::Argument {
            line,
            keyword,
            expected: "a reference resistance of 0.000001 to 1000000 ohms",
            found: cut(word),
        }),
    }
}

/// Which halves of a matrix the file gives.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) enum Matrix {
    #[default]
    Full,
    Lower,
    Upper,
}

/// The keywords of version 2.0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Keyword {
    Version,
    Ports,
    TwoPortOrder,
    Frequencies,
    NoiseFrequencies,
    Reference,
    MatrixFormat,
    MixedModeOrder,
    BeginInformation,
    EndInformation,
    NetworkData,
    NoiseData,
    End,
}

const KEYWORDS: [(&str, Keyword); 13] = [
    ("[Version]", Keyword::Version),
    ("[Number of Ports]", Keyword::Ports),
    ("[Two-Port Data Order]", Keyword::TwoPortOrder),
    ("[Number of Frequencies]", Keyword::Frequencies),
    ("[Number of Noise Frequencies]", Keyword::NoiseFrequencies),
    ("[Reference]", Keyword::Reference),
    ("[Matrix Format]", Keyword::MatrixFormat),
    ("[Mixed-Mode Order]", Keyword::MixedModeOrder),
    ("[Begin Information]", Keyword::BeginInformation),
    ("[End Information]", Keyword::EndInformation),
    ("[Network Data]", Keyword::NetworkData),
    ("[Noise Data]", Keyword::NoiseData),
    ("[End]", Keyword::End),
];

impl Keyword {
    pub(super) fn named(word: &str) -> Option<Self> {
        named(&KEYWORDS, word)
    }

    pub(super) fn name(self) -> &'static str {
        KEYWORDS.iter().find(|(_, keyword)| *keyword == self).expect("all stand in the table").0
    }
}

/// What the keywords said.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Header {
    /// Whether the file is of version 2.0.
    pub(super) version_2: bool,
    pub(super) ports: Option<usize>,
    /// Whether S12 comes before S21.
    pub(super) order_12_21: Option<bool>,
    pub(super) frequencies: Option<usize>,
    pub(super) noise_frequencies: Option<usize>,
    /// Per port, as far as read; none where the keyword is not there.
    pub(super) references_ohm: Option<Vec<f64>>,
    pub(super) matrix: Matrix,
    pub(super) modes: Vec<String>,
}

impl Header {
    /// Whether numbers that follow still belong to `[Reference]`.
    pub(super) fn wants_references(&self) -> bool {
        let read = self.references_ohm.as_ref().map(Vec::len);
        read.is_some_and(|read| self.ports.is_some_and(|ports| read < ports))
    }

    /// Takes in a keyword with what stands behind it on its line.
    pub(super) fn take(
        &mut self,
        line: usize,
        keyword: Keyword,
        rest: &str,
    ) -> Result<(), TouchstoneRefused> {
        let refused = |expected| TouchstoneRefused::Argument {
            line,
            keyword: keyword.name(),
            expected,
            found: cut(rest),
        };
        let count = || rest.parse::<usize>().map_err(|_| refused("a whole number"));
        let twice = match keyword {
            Keyword::Version if rest == "2.0" => std::mem::replace(&mut self.version_2, true),
            Keyword::Version => return Err(refused("2.0")),
            Keyword::Ports => {
                let ports = count()?;
                if !(1..=PORTS_MAX).contains(&ports) {
                    return Err(TouchstoneRefused::Ports { ports });
                }
                self.ports.replace(ports).is_some()
            }
            Keyword::TwoPortOrder => {
                let order = match rest {
                    "21_12" => false,
                    "12_21" => true,
                    _ => return Err(refused("21_12 or 12_21")),
                };
                self.order_12_21.replace(order).is_some()
            }
            Keyword::Frequencies => self.frequencies.replace(count()?).is_some(),
            Keyword::NoiseFrequencies => self.noise_frequencies.replace(count()?).is_some(),
            Keyword::MatrixFormat => {
                let halves =
                    [("Full", Matrix::Full), ("Lower", Matrix::Lower), ("Upper", Matrix::Upper)];
                self.matrix = named(&halves, rest).ok_or(refused("Full, Lower or Upper"))?;
                false
            }
            Keyword::MixedModeOrder => {
                self.modes = modes(rest).ok_or(refused("a mode a port, as in D1,2 C1,2 S3"))?;
                false
            }
            Keyword::Reference
            | Keyword::BeginInformation
            | Keyword::EndInformation
            | Keyword::NetworkData
            | Keyword::NoiseData
            | Keyword::End => false,
        };
        match twice {
            true => Err(TouchstoneRefused::Misplaced {
                line,
                found: keyword.name(),
                why: "stands here a second time",
            }),
            false => Ok(()),
        }
    }
}

fn modes(rest: &str) -> Option<Vec<String>> {
    let port = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let mode = |word: &str| match word.split_at_checked(1)? {
        ("S" | "s", one) if port(one) => Some(word.to_ascii_uppercase()),
        ("D" | "d" | "C" | "c", two) => {
            let (first, second) = two.split_once(',')?;
            (port(first) && port(second)).then(|| word.to_ascii_uppercase())
        }
        _ => None,
    };
    rest.split_whitespace().take(PORTS_MAX + 1).map(mode).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_option_line_in_any_case_and_order_with_defaults() {
        let bare = options(1, "").unwrap();
        let whole = options(1, "r 50 ghz ma s").unwrap();
        assert_eq!(bare, whole);
        let other = options(1, "HZ z Ri R 75.0").unwrap();
        let expected = Options {
            unit_hz: 1.0,
            kind: Kind::Impedance,
            format: Format::RealImaginary,
            reference_ohm: 75.0,
        };
        assert_eq!(other, expected);
    }

    #[test]
    fn an_option_line_that_is_none_is_refused_with_what_may_stand_there() {
        for (text, part) in [
            ("THz", "expected Hz, kHz, MHz or GHz"),
            ("MHz S RI R", "a reference resistance"),
            ("MHz S RI R 0", "a reference resistance"),
            ("MHz S RI R -50", "a reference resistance"),
            ("MHz S RI R NaN", "a reference resistance"),
            ("MHz MHz", "once"),
            ("S RI R (50+50j)", "is complex"),
            ("S RI R 50+50j", "is complex"),
        ] {
            let refused = options(7, text).unwrap_err().to_string();
            assert!(refused.starts_with("line 7: ") && refused.contains(part), "{text}: {refused}");
        }
    }

    #[test]
    fn keywords_are_known_by_name_whatever_their_case() {
        for (name, keyword) in KEYWORDS {
            assert_eq!(Keyword::named(&name.to_lowercase()), Some(keyword));
            assert_eq!(keyword.name(), name);
        }
        assert_eq!(Keyword::named("[Colour]"), None);
    }

    #[test]
    fn a_mode_is_a_port_or_a_pair_of_them() {
        let read = |rest| modes(rest);
        assert_eq!(read("d1,2 C1,2 s3").unwrap(), ["D1,2", "C1,2", "S3"]);
        for wrong in ["S", "Sx", "S1,2", "D1", "D,2", "D1,", "C1;2", "Dx,2", "C1,x", "X1", "1"] {
            assert_eq!(read(wrong), None, "{wrong}");
        }
        let many = vec!["S1"; PORTS_MAX + 5].join(" ");
        assert_eq!(read(&many).unwrap().len(), PORTS_MAX + 1, "as many as it takes to see");
    }
}
