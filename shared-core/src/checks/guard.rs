//! The energising guard: what a keyed transmitter's power would destroy. Its stops cannot be waved
//! away; only another chain, or a true rating, takes one back.
//!
//! In: a resolved chain and the power that may come. Out: stops. No stop is no clearance: it says
//! only that nothing known here is over its rating.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::setup::{ChainRefused, End, KeyedPath, Setup};
use crate::record::PortKind;
use crate::rf::chain::Node;
use crate::units::{Watts, shown};

/// Why the transmitter may not be keyed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum StopKind {
    /// A generator's port would take the transmitter's power with nothing made to hold it off.
    GeneratorExposed,
    /// More would arrive than a part or a port is rated for.
    OverRating,
    /// It is not known what a port can take.
    RatingUnknown,
    /// The line the power goes along has no load at its end.
    NoLoad,
}

/// Something that forbids keying.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct Stop {
    /// Which of the reasons.
    pub kind: StopKind,
    /// What would happen.
    pub what: String,
    /// Where, as the chain calls it.
    pub at: String,
    /// The power that would arrive there, in watts.
    pub arriving_w: f64,
    /// What may arrive there, in watts, where it is known.
    pub power_max_w: Option<f64>,
    /// What to change.
    pub help: String,
}

/// Every stop of a chain when a transmitter of this power is keyed.
pub fn stops(setup: &Setup<'_>, power: Watts) -> Result<Vec<Stop>, ChainRefused> {
    let mut stops = Vec::new();
    for path in setup.keyed_paths()? {
        let nodes = path.row.forward(power.level());
        let Some(last) = nodes.last() else { continue };
        stops.extend(end_stop(&path, last));
        let count = nodes.len();
        for (index, node) in nodes.iter().enumerate() {
            let meets = match path.row.elements.get(index) {
                Some(next) => next.name.clone(),
                None => node.label.clone(),
            };
            let at_end = index + 1 == count;
            if !(at_end && stops.iter().any(|s| s.at == meets)) {
                stops.extend(over_rating(node, &meets));
            }
        }
    }
    // Two paths share their first elements: say each stop once.
    stops.dedup();
    Ok(stops)
}

fn end_stop(path: &KeyedPath, last: &Node) -> Option<Stop> {
    let stop = |kind, what: String, help: &str| {
        Some(Stop {
            kind,
            what,
            at: last.label.clone(),
            arriving_w: last.power_w,
            power_max_w: last.power_max_w,
            help: help.to_owned(),
        })
    };
    let watts = watts_shown(last.power_w);
    match path.end {
        End::Open => stop(
            StopKind::NoLoad,
            format!("the transmitter would be keyed into an open line with {watts} on it"),
            "end the coupler's line in a load rated for the power",
        ),
        End::Instrument(PortKind::Generator) if !path.isolated => stop(
            StopKind::GeneratorExposed,
            format!("{watts} would reach {}, a generator's port", last.label),
            "never key into a generator: use a port made for power, or a coupler into a load",
        ),
        End::Instrument(_) if last.power_max_w.is_none() => stop(
            StopKind::RatingUnknown,
            format!("{watts} would reach {}, and what it can take is not known", last.label),
            "look up what the port can take and enter it with the instrument",
        ),
        End::Instrument(_) | End::Load => None,
    }
}

/// The level may be off by its uncertainty, so that counts against the rating too.
fn over_rating(node: &Node, meets: &str) -> Option<Stop> {
    let (headroom_db, power_max_w) = (node.headroom_db?, node.power_max_w?);
    if headroom_db >= node.expanded_db {
        return None;
    }
    let (arriving, rated) = (watts_shown(node.power_w), watts_shown(power_max_w));
    let what = if headroom_db < 0.0 {
        format!("{arriving} would arrive at {meets}, rated {rated}")
    } else {
        format!(
            "{arriving} ± {} dB would arrive at {meets}, rated {rated}: it may be over",
            shown(node.expanded_db, 1)
        )
    };
    Some(Stop {
        kind: StopKind::OverRating,
        what,
        at: meets.to_owned(),
        arriving_w: node.power_w,
        power_max_w: Some(power_max_w),
        help: format!("put something rated for more than {arriving} there, or more loss before it"),
    })
}

/// Watts as people write them: mW and µW where watts would be all zeros.
pub(crate) fn watts_shown(watts: f64) -> String {
    let (value, unit) = match watts {
        w if w >= 1.0 => (w, "W"),
        w if w >= 1e-3 => (w * 1e3, "mW"),
        w => (w * 1e6, "µW"),
    };
    let decimals = if value < 100.0 { 1 } else { 0 };
    format!("{} {unit}", shown(value, decimals))
}
