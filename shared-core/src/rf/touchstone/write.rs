//! Writing a sweep as a Touchstone file anew: version 1.1 or 2.0, in any unit and number format.
//!
//! In: what [`super::read`] gave, and how it is to be written. Out: plain ASCII text that this
//! reader and others read as the same network, or a refusal where the form cannot hold it: nothing
//! is left out in silence. Always scattering parameters, whatever the file had that it came from;
//! real and imaginary parts come back to the last digit, the other two formats to about the
//! fifteenth.
//!
//! The rules are those of HANDBOOK 5.1: a two-port is S11 S21 S12 S22; version 1 normalises the
//! noise resistance to R and has one R for all ports. No more than four values a line: from memory,
//! unverified.

use std::fmt::Write as _;

use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::{NoisePoint, Touchstone};

/// No more values than this stand on a line.
const VALUES_A_LINE: usize = 4;

/// How a file is to be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Writing {
    /// Which version of the standard.
    pub version: TouchstoneVersion,
    /// The unit of its frequencies.
    pub unit: FrequencyUnit,
    /// How a value is two numbers.
    pub format: ValueFormat,
}

/// Versions of the standard that can be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub enum TouchstoneVersion {
    /// 1.1: the ports are in the file's name, all at one reference.
    #[serde(rename = "1.1")]
    V1,
    /// 2.0: everything stands in the file.
    #[serde(rename = "2.0")]
    V2,
}

/// Units of frequency.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs, reason = "each is named after the unit it is")]
pub enum FrequencyUnit {
    Hz,
    KHz,
    MHz,
    GHz,
}

/// How a value is two numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
pub enum ValueFormat {
    /// Real and imaginary part: `RI`.
    #[serde(rename = "ri")]
    RealImaginary,
    /// Magnitude and degrees: `MA`.
    #[serde(rename = "ma")]
    MagnitudeDegrees,
    /// Decibels and degrees: `DB`.
    #[serde(rename = "db")]
    DecibelDegrees,
}

/// Why a sweep cannot be written so.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotWritten {
    /// Version 1 has one reference for all ports.
    #[error("the ports have references of their own ({ohms}): version 1 has one, version 2.0 all")]
    References {
        /// Which.
        ohms: String,
    },
    /// Version 1 knows no modes.
    #[error("the ports are mixed modes ({modes}): only version 2.0 can say so")]
    Modes {
        /// Which.
        modes: String,
    },
    /// Nothing at all has no decibels.
    #[error("a value at {frequency_hz} Hz is zero and has no decibels: take RI or MA")]
    NoDecibels {
        /// Where.
        frequency_hz: f64,
    },
}

impl FrequencyUnit {
    fn name_and_hertz(self) -> (&'static str, f64) {
        match self {
            Self::Hz => ("Hz", 1.0),
            Self::KHz => ("kHz", 1e3),
            Self::MHz => ("MHz", 1e6),
            Self::GHz => ("GHz", 1e9),
        }
    }
}

impl ValueFormat {
    fn name(self) -> &'static str {
        match self {
            Self::RealImaginary => "RI",
            Self::MagnitudeDegrees => "MA",
            Self::DecibelDegrees => "DB",
        }
    }

    /// A value as two numbers; none where it has none so.
    fn pair(self, value: Complex64) -> Option<(f64, f64)> {
        let degrees = value.arg().to_degrees();
        match self {
            Self::RealImaginary => Some((value.re, value.im)),
            Self::MagnitudeDegrees => Some((value.norm(), degrees)),
            Self::DecibelDegrees => {
                let decibels = 20.0 * value.norm().log10();
                decibels.is_finite().then_some((decibels, degrees))
            }
        }
    }
}

/// Writes a file.
pub fn write(file: &Touchstone, how: Writing) -> Result<String, NotWritten> {
    let sweep = &file.sweep;
    let (ports, ohms) = (sweep.ports(), sweep.references_ohm());
    if how.version == TouchstoneVersion::V1 {
        if ohms.iter().any(|ohm| ohm.to_bits() != ohms[0].to_bits()) {
            return Err(NotWritten::References { ohms: listed(ohms) });
        }
        if !file.modes.is_empty() {
            return Err(NotWritten::Modes { modes: file.modes.join(" ") });
        }
    }
    let mut text = header(file, how);
    let (_, hertz) = how.unit.name_and_hertz();
    let matrices = sweep.scattering().chunks_exact(ports * ports);
    for (&frequency_hz, matrix) in sweep.frequencies_hz().iter().zip(matrices) {
        let _ = write!(text, "{}", frequency_hz / hertz);
        for row in rows(matrix, ports) {
            for line in row.chunks(VALUES_A_LINE) {
                for &value in line {
                    let (first, second) =
                        how.format.pair(value).ok_or(NotWritten::NoDecibels { frequency_hz })?;
                    let _ = write!(text, " {first} {second}");
                }
                text.push('\n');
            }
        }
    }
    noise(&mut text, file, how);
    if how.version == TouchstoneVersion::V2 {
        text.push_str("[End]\n");
    }
    Ok(text)
}

fn header(file: &Touchstone, how: Writing) -> String {
    let sweep = &file.sweep;
    let (ohms, (unit, _)) = (sweep.references_ohm(), how.unit.name_and_hertz());
    let option = format!("# {unit} S {} R {}\n", how.format.name(), ohms[0]);
    if how.version == TouchstoneVersion::V1 {
        return option;
    }
    let mut text = format!("[Version] 2.0\n{option}[Number of Ports] {}\n", sweep.ports());
    if sweep.ports() == 2 {
        text.push_str("[Two-Port Data Order] 21_12\n");
    }
    let _ = writeln!(text, "[Number of Frequencies] {}", sweep.frequencies_hz().len());
    if !file.noise.is_empty() {
        let _ = writeln!(text, "[Number of Noise Frequencies] {}", file.noise.len());
    }
    let _ = writeln!(text, "[Reference] {}", listed(ohms));
    if !file.modes.is_empty() {
        let _ = writeln!(text, "[Mixed-Mode Order] {}", file.modes.join(" "));
    }
    text.push_str("[Network Data]\n");
    text
}

/// The lines of a record: a one-port's and a two-port's is one, a larger one's are its rows.
fn rows(matrix: &[Complex64], ports: usize) -> Vec<Vec<Complex64>> {
    match ports {
        2 => vec![vec![matrix[0], matrix[2], matrix[1], matrix[3]]],
        _ => matrix.chunks(ports).map(<[Complex64]>::to_vec).collect(),
    }
}

fn noise(text: &mut String, file: &Touchstone, how: Writing) {
    if file.noise.is_empty() {
        return;
    }
    let (_, hertz) = how.unit.name_and_hertz();
    let normal_ohm = match how.version {
        TouchstoneVersion::V1 => file.sweep.references_ohm()[0],
        TouchstoneVersion::V2 => {
            text.push_str("[Noise Data]\n");
            1.0
        }
    };
    for point in &file.noise {
        let NoisePoint { frequency_hz, minimum_db, source_reflection, resistance_ohm } = *point;
        let _ = writeln!(
            text,
            "{} {minimum_db} {} {} {}",
            frequency_hz / hertz,
            source_reflection.norm(),
            source_reflection.arg().to_degrees(),
            resistance_ohm / normal_ohm
        );
    }
}

fn listed(ohms: &[f64]) -> String {
    ohms.iter().map(f64::to_string).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
#[path = "write_tests.rs"]
mod tests;
