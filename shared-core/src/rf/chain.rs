//! Elements in a row: level, uncertainty and rating at each node, forward and backward.
//!
//! In: a starting level and elements with their losses in dB. Out: nodes in order. A loss is
//! positive; power arriving at an element is set against what it is rated for. Does not know where
//! the elements come from nor whether what it shows is allowed.
//!
//!   L_after = L_before − loss           dB; losses in a row add (HANDBOOK 5.4)

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use crate::language::{Language, say};
use crate::units::{Db, Dbm, Watts};

/// Something a signal goes through.
#[derive(Clone, Debug, PartialEq)]
pub struct Element {
    /// The physical cause of its error, for budgets: one cable met twice is one cause.
    pub cause: String,
    /// What the crew calls it.
    pub name: String,
    /// Its loss at the frequency in use.
    pub loss: Db,
    /// The standard uncertainty of the loss, in dB.
    pub standard_db: f64,
    /// The most power it may be given.
    pub power_max: Option<Watts>,
    /// What the point behind it is called, as in "antenna port".
    pub leads_to: String,
}

/// A point between two elements, with the level there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Node {
    /// What the point is called.
    pub label: String,
    /// The element just before it; none at the start.
    pub element: Option<String>,
    /// That element's loss, in dB.
    pub loss_db: Option<f64>,
    /// The level here, in dBm.
    pub level_dbm: f64,
    /// The same in watts.
    pub power_w: f64,
    /// Expanded uncertainty of the level (k = 2), in dB.
    pub expanded_db: f64,
    /// What may arrive here at most, where that is known, in watts.
    pub power_max_w: Option<f64>,
    /// How far the level is under that, in dB; negative when it is over.
    pub headroom_db: Option<f64>,
}

/// The levels along a chain.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct LevelDiagram {
    /// What it shows, in words.
    pub title: String,
    /// Whether this is the transmitter's power (keyed) or a generator's signal.
    pub keyed: bool,
    /// The frequency the losses hold at, in hertz.
    pub frequency_hz: u64,
    /// The points in the direction the signal goes.
    pub nodes: Vec<Node>,
}

/// A row of elements with what stands at its two ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// What the starting point is called.
    pub start: String,
    /// The standard uncertainty of the starting level, in dB.
    pub start_standard_db: f64,
    /// The elements in the direction the signal goes.
    pub elements: Vec<Element>,
    /// The most power the end may be given.
    pub end_power_max: Option<Watts>,
}

impl Row {
    /// The sum of all losses.
    pub fn loss(&self) -> Db {
        self.elements.iter().fold(Db::ZERO, |sum, element| sum + element.loss)
    }

    /// The level that must start for `end` to arrive: what a generator must be set to.
    pub fn backward(&self, end: Dbm) -> Dbm {
        end + self.loss()
    }

    /// The level at every node when `start` goes in. Uncertainties add as independent ones do.
    pub fn forward(&self, start: Dbm) -> Vec<Node> {
        let mut level = start;
        let mut variance = self.start_standard_db.powi(2);
        let mut nodes = vec![self.node(0, None, level, variance)];
        for (index, element) in self.elements.iter().enumerate() {
            level = level - element.loss;
            variance += element.standard_db.powi(2);
            nodes.push(self.node(index + 1, Some(element), level, variance));
        }
        nodes
    }

    /// What arrives at a node meets the next element, or the end.
    fn node(&self, index: usize, before: Option<&Element>, level: Dbm, variance: f64) -> Node {
        let power_max = match self.elements.get(index) {
            Some(next) => next.power_max,
            None => self.end_power_max,
        };
        Node {
            label: before.map_or_else(|| self.start.clone(), |element| element.leads_to.clone()),
            element: before.map(|element| element.name.clone()),
            loss_db: before.map(|element| element.loss.db()),
            level_dbm: level.dbm(),
            power_w: level.watts().watts(),
            expanded_db: 2.0 * variance.sqrt(),
            power_max_w: power_max.map(Watts::watts),
            headroom_db: power_max.map(|power| (power.level() - level).db()),
        }
    }
}

/// Why a part's loss is not known where it is wanted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{}", self.said(Language::English))]
pub struct LossUnknown {
    /// The part.
    pub part: String,
    /// The lowest frequency it was measured at.
    pub low_hz: u64,
    /// The highest.
    pub high_hz: u64,
    /// Where it is wanted.
    pub wanted_hz: u64,
}

impl LossUnknown {
    /// Why, in a language.
    pub(crate) fn said(&self, language: Language) -> String {
        let Self { part, low_hz, high_hz, wanted_hz } = self;
        let [low, high, wanted] = [low_hz, high_hz, wanted_hz].map(|hz| *hz as f64 / 1e6);
        say!(
            language,
            "the loss of {part} is known from {low} to {high} MHz, not at {wanted} MHz",
            "la perte de {part} est connue de {low} à {high} MHz, non à {wanted} MHz"
        )
    }
}

/// How far outside the measured range, relative to its ends, a loss still holds. A cable's loss
/// goes with about the root of frequency, so a tenth of the frequency is a twentieth of the loss.
const REACH: f64 = 0.1;

/// The loss at a frequency from points (hertz, dB) rising in frequency: linear between them, level
/// for a tenth beyond either end, refused further out. Common practice, no source.
pub fn loss_at(part: &str, points: &[(u64, f64)], wanted_hz: u64) -> Result<f64, LossUnknown> {
    let (low, high) = match (points.first(), points.last()) {
        (Some(&low), Some(&high)) => (low, high),
        _ => (Default::default(), Default::default()),
    };
    let wanted = wanted_hz as f64;
    if wanted < low.0 as f64 * (1.0 - REACH) || wanted > high.0 as f64 * (1.0 + REACH) {
        let part = part.to_owned();
        return Err(LossUnknown { part, low_hz: low.0, high_hz: high.0, wanted_hz });
    }
    if wanted_hz <= low.0 {
        return Ok(low.1);
    }
    let upper = points.iter().position(|&(at, _)| at >= wanted_hz);
    Ok(match upper {
        Some(index) => {
            let ((f0, l0), (f1, l1)) = (points[index - 1], points[index]);
            l0 + (l1 - l0) * (wanted - f0 as f64) / (f1 as f64 - f0 as f64)
        }
        None => high.1,
    })
}

/// The same between the ends of a sweep only: a filter's loss beyond them is anybody's guess.
pub fn swept_loss_at(
    part: &str,
    points: &[(u64, f64)],
    wanted_hz: u64,
) -> Result<f64, LossUnknown> {
    let ends = points.first().zip(points.last());
    let (low_hz, high_hz) = ends.map_or((0, 0), |(low, high)| (low.0, high.0));
    if !(low_hz..=high_hz).contains(&wanted_hz) {
        return Err(LossUnknown { part: part.to_owned(), low_hz, high_hz, wanted_hz });
    }
    loss_at(part, points, wanted_hz)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn element(name: &str, loss_db: f64) -> Element {
        Element {
            cause: name.to_owned(),
            name: name.to_owned(),
            loss: Db::new(loss_db).unwrap(),
            standard_db: 0.1,
            power_max: Watts::new(10.0).ok(),
            leads_to: format!("after {name}"),
        }
    }

    fn row(losses: &[f64]) -> Row {
        let elements =
            losses.iter().enumerate().map(|(i, loss)| element(&format!("part {i}"), *loss));
        Row {
            start: "start".to_owned(),
            start_standard_db: 0.0,
            elements: elements.collect(),
            end_power_max: Watts::new(100.0).ok(),
        }
    }

    #[test]
    fn twenty_two_watts_through_one_decibel() {
        // Common practice, no source: 22 W through 1.0 dB leaves 17.5 W.
        let nodes = row(&[1.0]).forward(Watts::new(22.0).unwrap().level());
        assert!((nodes[1].power_w - 17.5).abs() < 0.05, "{} W", nodes[1].power_w);
        // The same: if 17.1 W is read the loss was 1.09 dB.
        let loss = Db::of(Watts::new(22.0).unwrap(), Watts::new(17.1).unwrap());
        assert!((loss.db() - 1.09).abs() < 0.005, "{} dB", loss.db());
    }

    #[test]
    fn forward_and_backward_meet() {
        // HANDBOOK 5.4: two 1.5 dB attenuators in a row are 3.000 dB.
        let row = row(&[1.5, 1.5]);
        assert!((row.loss().db() - 3.0).abs() < 1e-12);
        let end = Dbm::new(-120.0).unwrap();
        let start = row.backward(end);
        assert!((start.dbm() - -117.0).abs() < 1e-12);
        let last = row.forward(start).pop().unwrap();
        assert!((last.level_dbm - end.dbm()).abs() < 1e-9);
    }

    #[test]
    fn independent_uncertainties_add_in_quadrature() {
        // HANDBOOK G5 (from memory, unverified): 2·sqrt(0.1² + 0.1²).
        let nodes = row(&[1.0, 1.0]).forward(Dbm::new(0.0).unwrap());
        assert!((nodes[2].expanded_db - 0.282_842_712).abs() < 1e-9);
    }

    #[test]
    fn what_arrives_is_held_against_what_is_met_next() {
        // 20 W is 3 dB over 10 W (HANDBOOK U6: twice the power is about 3 dB).
        let nodes = row(&[3.0]).forward(Watts::new(20.0).unwrap().level());
        assert!((nodes[0].headroom_db.unwrap() - -3.01).abs() < 0.01);
        assert!((nodes[1].headroom_db.unwrap() - 9.99).abs() < 0.02, "the end takes 100 W");
    }

    #[test]
    fn a_loss_is_read_between_its_points_and_not_far_beyond() {
        let points = [(150_000_000, 1.0), (160_000_000, 2.0)];
        let at = |mhz: u64| loss_at("cable", &points, mhz * 1_000_000);
        assert!((at(155).unwrap() - 1.5).abs() < 1e-12);
        assert!((at(150).unwrap() - 1.0).abs() < 1e-12);
        assert!((at(140).unwrap() - 1.0).abs() < 1e-12);
        assert!((at(170).unwrap() - 2.0).abs() < 1e-12);
        let refused = at(450).unwrap_err().to_string();
        assert_eq!(refused, "the loss of cable is known from 150 to 160 MHz, not at 450 MHz");
        assert!(loss_at("bare", &[], 155_000_000).is_err());
    }

    #[test]
    fn a_sweep_says_nothing_beyond_its_ends() {
        let points = [(150_000_000, 1.0), (160_000_000, 2.0)];
        let at = |hz: u64| swept_loss_at("path", &points, hz);
        assert!((at(155_000_000).unwrap() - 1.5).abs() < 1e-12);
        assert!((at(150_000_000).unwrap() - 1.0).abs() < 1e-12);
        assert!((at(160_000_000).unwrap() - 2.0).abs() < 1e-12);
        assert!(at(149_999_999).is_err() && at(160_000_001).is_err());
        assert!(swept_loss_at("path", &[], 155_000_000).is_err());
    }

    #[test]
    fn a_loss_holds_for_a_tenth_beyond_its_points_and_no_further() {
        let at = |low: u64, high: u64, hz: u64| loss_at("cable", &[(low, 1.0), (high, 2.0)], hz);
        assert!((at(100_000_000, 200_000_000, 90_000_000).unwrap() - 1.0).abs() < 1e-12);
        assert!(at(100_000_000, 200_000_000, 89_999_999).is_err());
        assert!((at(5_000_000, 10_000_000, 11_000_000).unwrap() - 2.0).abs() < 1e-12);
        assert!(at(5_000_000, 10_000_000, 11_000_001).is_err());
    }
}
