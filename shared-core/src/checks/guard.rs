//! The energising guard: what a keyed transmitter's power would destroy. Its stops cannot be waved
//! away; only another chain, or a true rating, takes one back.
//!
//! In: a resolved chain and the power that may come. Out: for every element and port what arrives
//! there, how long it takes that, and the stops. No stop is no clearance: it says only that nothing
//! known here is over its rating.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::chain_refused::ChainRefused;
use super::setup::{End, KeyedPath, Setup};
use crate::language::{Language, say};
use crate::record::{PortKind, ShortTime};
use crate::rf::chain::Node;
use crate::rf::heat::{Endurance, Longest};
use crate::units::{OutOfRange, Watts, shown};

/// A reading takes about so long from keying on: what holds for less is stopped. Common practice,
/// no source.
const READING_S: f64 = 10.0;

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

/// What keying does to one element or port of a chain.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
pub struct KeyedElement {
    /// What the crew calls it.
    pub at: String,
    /// The power that arrives there, in watts.
    pub arriving_w: f64,
    /// How far that may be off, expanded, in dB.
    pub expanded_db: f64,
    /// What may arrive there for long, in watts, where it is known.
    pub power_max_w: Option<f64>,
    /// Whether it may be keyed, as far as this element goes.
    pub may: MayKey,
    /// How long from cold, in seconds, where not for long.
    pub longest_s: Option<f64>,
    /// Keyed half as long at a time, the rest each keying wants, in seconds.
    pub rest_s: Option<f64>,
    /// Why, in words.
    pub why: String,
}

/// Whether an element lets a transmitter be keyed. It is never a clearance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(rename_all = "kebab-case")]
pub enum MayKey {
    /// It takes this for as long as one likes.
    ForLong,
    /// It takes this for a while, then it wants rest.
    ForAWhile,
    /// It may not be keyed.
    Not,
}

/// What keying a transmitter of this power does: to every element, and every stop.
pub fn keyed(
    setup: &Setup<'_>,
    power: Watts,
) -> Result<(Vec<KeyedElement>, Vec<Stop>), ChainRefused> {
    let (mut elements, mut stops) = (Vec::new(), Vec::new());
    for path in setup.keyed_paths()? {
        let nodes = path.row.forward(power.level());
        let Some(last) = nodes.last() else { continue };
        let language = setup.language();
        let end_stop = end_stop(&path, last, language);
        stops.extend(end_stop.clone());
        for (index, node) in nodes.iter().enumerate() {
            let meets = match path.row.elements.get(index) {
                Some(next) => next.name.clone(),
                None => node.label.clone(),
            };
            let short_time = path.short_times.get(index).copied().flatten();
            let holds = holds(node, short_time).map_err(|source| setup.number(source))?;
            let at_end = index + 1 == nodes.len();
            let stop = match end_stop.clone().filter(|_| at_end) {
                Some(stop) => Some(stop),
                None => over_rating(node, &meets, holds, language),
            };
            elements.push(
                keyed_element(node, &meets, (short_time, holds), stop.as_ref(), language)
                    .map_err(|source| setup.number(source))?,
            );
            stops.extend(stop.filter(|_| !(at_end && end_stop.is_some())));
        }
    }
    // Two paths share their first elements: say each once.
    stops.dedup();
    let mut said: Vec<KeyedElement> = Vec::with_capacity(elements.len());
    for element in elements {
        if !said.contains(&element) {
            said.push(element);
        }
    }
    Ok((said, stops))
}

/// Every stop of a chain when a transmitter of this power is keyed.
pub fn stops(setup: &Setup<'_>, power: Watts) -> Result<Vec<Stop>, ChainRefused> {
    keyed(setup, power).map(|(_, stops)| stops)
}

/// How long what is met at a node takes what may arrive. The level may be off by its uncertainty,
/// so that counts against the rating too.
fn holds(node: &Node, short_time: Option<ShortTime>) -> Result<Longest, OutOfRange> {
    let Some(endurance) = endurance(node, short_time)? else { return Ok(Longest::ForLong) };
    let longest = endurance.longest(most(node)?);
    Ok(match longest {
        Longest::Seconds(seconds) if seconds < READING_S => Longest::Never,
        longest => longest,
    })
}

fn endurance(node: &Node, short_time: Option<ShortTime>) -> Result<Option<Endurance>, OutOfRange> {
    let Some(rated_w) = node.power_max_w else { return Ok(None) };
    let rated = Watts::new(rated_w)?;
    Ok(Some(match short_time {
        None => Endurance::continuous(rated),
        Some(ShortTime { power_w, seconds }) => {
            Endurance::with_short_time(rated, Watts::new(power_w)?, seconds)?
        }
    }))
}

/// The most that may arrive at a node.
fn most(node: &Node) -> Result<Watts, OutOfRange> {
    Watts::new(node.power_w * 10f64.powf(node.expanded_db / 10.0))
}

fn keyed_element(
    node: &Node,
    meets: &str,
    (short_time, holds): (Option<ShortTime>, Longest),
    stop: Option<&Stop>,
    language: Language,
) -> Result<KeyedElement, OutOfRange> {
    let arriving = watts_shown(node.power_w);
    let rated = |watts| say!(language, ", rated {}", ", prévu pour {}", watts_shown(watts));
    let rated = node.power_max_w.map(rated).unwrap_or_default();
    let mut element = KeyedElement {
        at: meets.to_owned(),
        arriving_w: node.power_w,
        expanded_db: node.expanded_db,
        power_max_w: node.power_max_w,
        may: MayKey::ForLong,
        longest_s: None,
        rest_s: None,
        why: say!(language, "{arriving} arrives{rated}", "{arriving} y arrivent{rated}"),
    };
    match (stop, holds) {
        (Some(stop), _) => {
            element.may = MayKey::Not;
            element.why = say!(language, "{}: {}", "{} : {}", stop.what, stop.help);
        }
        (None, Longest::Seconds(longest_s)) => {
            let half_s = 0.5 * longest_s;
            let rest = endurance(node, short_time)?.and_then(|e| Some((e, most(node).ok()?)));
            element.may = MayKey::ForAWhile;
            element.longest_s = Some(longest_s);
            element.rest_s = rest.and_then(|(endurance, most)| endurance.rest_s(most, half_s));
            element.why = say!(
                language,
                "{arriving} arrives{rated} for long: {} s at the most, from cold",
                "{arriving} y arrivent{rated} en continu : {} s au plus, à froid",
                longest_s.floor()
            );
            if let Some(rest_s) = element.rest_s {
                let (half, rest) = (half_s.floor(), rest_s.ceil());
                element.why.push_str(&say!(
                    language,
                    "; {half} s at a time with {rest} s of rest",
                    " ; {half} s à la fois, puis {rest} s de repos"
                ));
            }
        }
        (None, Longest::ForLong | Longest::Never) => {}
    }
    Ok(element)
}

fn end_stop(path: &KeyedPath, last: &Node, language: Language) -> Option<Stop> {
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
            say!(
                language,
                "the transmitter would be keyed into an open line with {watts} on it",
                "l’émetteur émettrait sur une ligne ouverte, {watts} dessus"
            ),
            language.pick(
                "end the coupler's line in a load rated for the power",
                "terminer la ligne du coupleur par une charge prévue pour la puissance",
            ),
        ),
        End::Instrument(PortKind::Generator) if !path.isolated => stop(
            StopKind::GeneratorExposed,
            say!(
                language,
                "{watts} would reach {}, a generator's port",
                "{watts} atteindraient {}, le port d’un générateur",
                last.label
            ),
            language.pick(
                "never key into a generator: use a port made for power, or a coupler into a load",
                "ne jamais émettre vers un générateur : prendre un port prévu pour la puissance, \
                 ou un coupleur sur une charge",
            ),
        ),
        End::Instrument(_) if last.power_max_w.is_none() => stop(
            StopKind::RatingUnknown,
            say!(
                language,
                "{watts} would reach {}, and what it can take is not known",
                "{watts} atteindraient {}, et ce qu’il supporte n’est pas connu",
                last.label
            ),
            language.pick(
                "look up what the port can take and enter it with the instrument",
                "chercher ce que le port supporte et l’inscrire avec l’instrument",
            ),
        ),
        End::Instrument(_) | End::Load => None,
    }
}

fn over_rating(node: &Node, meets: &str, holds: Longest, language: Language) -> Option<Stop> {
    let (headroom_db, power_max_w) = (node.headroom_db?, node.power_max_w?);
    if holds != Longest::Never {
        return None;
    }
    let (arriving, rated) = (watts_shown(node.power_w), watts_shown(power_max_w));
    let what = if headroom_db < 0.0 {
        say!(
            language,
            "{arriving} would arrive at {meets}, rated {rated}",
            "{arriving} arriveraient à {meets}, prévu pour {rated}"
        )
    } else {
        say!(
            language,
            "{arriving} ± {} dB would arrive at {meets}, rated {rated}: it may be over",
            "{arriving} ± {} dB arriveraient à {meets}, prévu pour {rated} : peut-être trop",
            shown(node.expanded_db, 1)
        )
    };
    Some(Stop {
        kind: StopKind::OverRating,
        what,
        at: meets.to_owned(),
        arriving_w: node.power_w,
        power_max_w: Some(power_max_w),
        help: say!(
            language,
            "put something rated for more than {arriving} there, or more loss before it",
            "y mettre ce qui supporte plus de {arriving}, ou plus de pertes avant"
        ),
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
