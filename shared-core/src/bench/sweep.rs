//! What a swept network does at chosen frequencies. Formulas: [`crate::rf::sweep`]; the file:
//! [`crate::rf::touchstone`].

use num_complex::Complex64;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::BenchRefused;
use crate::rf::sweep::{Sweep, loss, vswr};
use crate::rf::touchstone::{Touchstone, read};
use crate::units::{Db, Hertz, OutOfRange, in_range};

/// A Touchstone file and where it is asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct SweepQuestion {
    /// The file's text.
    pub touchstone: String,
    /// How many ports its name says (2 of `.s2p`). Without it, the data tells.
    pub ports: Option<u32>,
    /// Where it is asked, in hertz; 10 001 at most. Without any, only what the sweep covers is
    /// told.
    #[serde(default)]
    pub frequencies_hz: Vec<f64>,
}

/// What the sweep covers, and its values where they were asked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SweepAnswer {
    /// How many ports there are.
    pub ports: u32,
    /// How many frequencies were swept.
    pub points: u32,
    /// The first, in hertz.
    pub from_hz: f64,
    /// The last, in hertz.
    pub to_hz: f64,
    /// The reference resistance of every port, in ohms.
    pub reference_ohm: Vec<f64>,
    /// What each port of a mixed-mode file stands for; empty where ports are connectors.
    pub modes: Vec<String>,
    /// How many noise records the file has.
    pub noise_points: u32,
    /// The values, frequency by frequency as asked.
    pub at: Vec<SweepAt>,
}

/// All responses at one frequency.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SweepAt {
    /// In hertz.
    pub frequency_hz: f64,
    /// From every port to every port.
    pub responses: Vec<SweepResponse>,
}

/// What comes out of one port for what goes into one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct SweepResponse {
    /// The port it comes out of, counted from 1.
    pub to: u32,
    /// The port it goes into.
    pub from: u32,
    /// Real part.
    pub real: f64,
    /// Imaginary part.
    pub imaginary: f64,
    /// Phase, in degrees.
    pub phase_degrees: f64,
    /// The loss between two ports, in dB. None at a single port, or where nothing came out.
    pub loss_db: Option<f64>,
    /// The return loss at a single port, in dB.
    pub return_loss_db: Option<f64>,
    /// The standing-wave ratio at a single port. None where more comes back than goes in.
    pub vswr: Option<f64>,
}

/// The most frequencies of one question.
const FREQUENCIES_MAX: f64 = 10_001.0;

/// Reads a file whose name says so many ports.
pub(super) fn file(text: &str, ports: Option<u32>) -> Result<Touchstone, BenchRefused> {
    let ports = ports.map(|ports| usize::try_from(ports).unwrap_or(usize::MAX));
    Ok(read(text.as_bytes(), ports)?)
}

/// A count that is bounded far below what a `u32` holds.
pub(super) fn count(number: usize) -> u32 {
    u32::try_from(number).expect("the reader bounds points and ports")
}

impl SweepQuestion {
    pub(super) fn answer(&self) -> Result<SweepAnswer, BenchRefused> {
        let asked = self.frequencies_hz.len() as f64;
        in_range("number of frequencies", asked, 0.0..=FREQUENCIES_MAX, "points")?;
        let Touchstone { sweep, noise, modes } = file(&self.touchstone, self.ports)?;
        let frequencies = sweep.frequencies_hz();
        let at = self.frequencies_hz.iter().map(|&hertz| at(&sweep, hertz));
        let at = at.collect::<Result<_, BenchRefused>>()?;
        Ok(SweepAnswer {
            ports: count(sweep.ports()),
            points: count(frequencies.len()),
            from_hz: frequencies[0],
            to_hz: frequencies[frequencies.len() - 1],
            reference_ohm: sweep.references_ohm().to_vec(),
            modes,
            noise_points: count(noise.len()),
            at,
        })
    }
}

fn at(sweep: &Sweep, frequency_hz: f64) -> Result<SweepAt, BenchRefused> {
    let frequency = Hertz::carrier(frequency_hz)?;
    let mut responses = Vec::new();
    for to in 1..=sweep.ports() {
        for from in 1..=sweep.ports() {
            responses.push(response(to, from, sweep.at(frequency, to, from)?));
        }
    }
    Ok(SweepAt { frequency_hz, responses })
}

fn response(to: usize, from: usize, value: Complex64) -> SweepResponse {
    let single = to == from;
    let lost_db = loss(value).map(Db::db);
    let ratio: Result<f64, OutOfRange> = vswr(value);
    SweepResponse {
        to: count(to),
        from: count(from),
        real: value.re,
        imaginary: value.im,
        phase_degrees: value.arg().to_degrees(),
        loss_db: lost_db.filter(|_| !single),
        return_loss_db: lost_db.filter(|_| single),
        vswr: ratio.ok().filter(|_| single),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// HANDBOOK T3: the specification's example 13.
    const EXAMPLE: &str = "# GHz S RI R 50.0\n\
        1.0 0.3926 -0.1211 -0.0003 -0.0021 -0.0003 -0.0021 0.3926 -0.1211\n\
        2.0 0.3517 -0.3054 -0.0096 -0.0298 -0.0096 -0.0298 0.3517 -0.3054\n";

    fn question(frequencies_hz: Vec<f64>) -> SweepQuestion {
        SweepQuestion { touchstone: EXAMPLE.to_owned(), ports: None, frequencies_hz }
    }

    #[test]
    fn values_at_a_frequency() {
        let found = question(vec![2e9]).answer().unwrap();
        assert_eq!((found.ports, found.points, found.noise_points), (2, 2, 0));
        let [reflected, _, through, _] = found.at[0].responses.as_slice() else {
            unreachable!("a two-port has four responses")
        };
        // HANDBOOK T3, calculated there with scikit-rf.
        assert!((reflected.return_loss_db.unwrap() - 6.636).abs() < 0.001);
        assert!((reflected.vswr.unwrap() - 2.7439).abs() < 0.0001);
        assert!(reflected.loss_db.is_none() && through.return_loss_db.is_none());
        assert_eq!((through.to, through.from), (2, 1));
        assert!((through.loss_db.unwrap() - 30.087).abs() < 0.001);
    }

    #[test]
    fn a_question_that_makes_no_sense_is_refused() {
        let refused = question(vec![3e9]).answer().unwrap_err().to_string();
        assert_eq!(refused, "the sweep covers 1000 to 2000 MHz, not 3000 MHz");
        let refused = question(vec![1e9; 10_002]).answer().unwrap_err().to_string();
        assert!(refused.starts_with("number of frequencies of 10002 points"), "{refused}");
        let mut other = question(Vec::new());
        other.ports = Some(3);
        assert!(matches!(other.answer(), Err(BenchRefused::Touchstone(_))));
    }
}
