//! Edits of a shop or a site, as intents: what somebody means to change, with who and when.
//!
//! In: the paper as it is and an edit. Out: the paper as it is meant. What is wrong with that is
//! asked of [`super::validate`], and how it is written is the business of [`super::papers`].

use std::collections::BTreeMap;

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value as Json;

use super::papers::PaperRefused;
use super::papers_tree::{Path, at, set};
use super::plan::{Check, LimitRule, ShopCaution};
use super::shop::{Calibrated, Calibration, Instrument, Part, Person, Shop};
use super::site::{Baseline, CoSited, Equipment, Hazard, Repeater, Site};

/// What somebody means to change in a shop. A fresh `id` adds; one that is there changes.
#[derive(Clone, Debug, PartialEq)]
pub enum ShopEdit {
    /// One field takes this value.
    SetField {
        /// Where it stands.
        path: Path,
        /// The value; for a number also its text, for a frequency with its unit.
        value: Json,
    },
    /// Somebody works here.
    PutPerson {
        /// Their id.
        id: String,
        /// What is known of them.
        person: Person,
    },
    /// An instrument of the shop.
    PutInstrument {
        /// Its id.
        id: String,
        /// What is known of it.
        instrument: Box<Instrument>,
    },
    /// A part of the shop.
    PutPart {
        /// Its id.
        id: String,
        /// What is known of it.
        part: Box<Part>,
    },
    /// Parts and instruments of a list, as one change.
    Import {
        /// The parts, by id.
        parts: BTreeMap<String, Part>,
        /// The instruments, by id.
        instruments: BTreeMap<String, Instrument>,
    },
    /// Something was calibrated: the entry, and the item's new due date.
    RecordCalibration {
        /// Fresh id.
        id: String,
        /// What was done.
        calibration: Calibration,
    },
    /// The entry no longer counts from a day on; None takes that back.
    Retire {
        /// The list, as in `parts`.
        list: String,
        /// The entry's id.
        id: String,
        /// The day.
        from: Option<String>,
    },
    /// The whole of the shop's own plan.
    SetPlan(Box<PlanChanges>),
}

/// What a shop's plan changes on the shipped one, and adds to it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlanChanges {
    /// The checks it does not make.
    pub off: Vec<String>,
    /// Limits in place of the plan's, by check.
    pub limits: BTreeMap<String, LimitRule>,
    /// The checks it adds, by id.
    pub checks: BTreeMap<String, Check>,
    /// The cautions it adds, by id.
    pub cautions: BTreeMap<String, ShopCaution>,
}

impl PlanChanges {
    /// The shop's plan is this and no more: what stood there besides is taken back.
    pub fn put(self, shop: &mut Shop) {
        shop.checks_off.values_mut().for_each(|off| *off = false);
        shop.checks_off.extend(self.off.into_iter().map(|id| (id, true)));
        replace(&mut shop.check_limits, self.limits);
        replace(&mut shop.added_checks, self.checks);
        replace(&mut shop.added_cautions, self.cautions);
    }
}

/// What somebody means to change in a site. A fresh `id` adds; one that is there changes.
#[derive(Clone, Debug, PartialEq)]
pub enum SiteEdit {
    /// One field takes this value.
    SetField {
        /// Where it stands.
        path: Path,
        /// The value; for a number also its text, for a frequency with its unit.
        value: Json,
    },
    /// Something can hurt people here.
    PutHazard {
        /// Its id.
        id: String,
        /// What.
        hazard: Hazard,
    },
    /// A repeater.
    PutRepeater {
        /// Its id.
        id: String,
        /// What is known of it.
        repeater: Box<Repeater>,
    },
    /// Something stands here.
    PutEquipment {
        /// Its id.
        id: String,
        /// What is known of it.
        equipment: Equipment,
    },
    /// Somebody else transmits here.
    PutCoSited {
        /// Its id.
        id: String,
        /// What is known of it.
        transmitter: CoSited,
    },
    /// What a check usually reads here.
    PutBaseline {
        /// Its id.
        id: String,
        /// The value.
        baseline: Baseline,
    },
    /// The entry no longer counts from a day on; None takes that back.
    Retire {
        /// The list, as in `equipment`.
        list: String,
        /// The entry's id.
        id: String,
        /// The day.
        from: Option<String>,
    },
}

impl ShopEdit {
    /// The intent's name, kept as the change's message.
    pub fn name(&self) -> &'static str {
        match self {
            Self::SetField { .. } => "set field",
            Self::PutPerson { .. } => "put person",
            Self::PutInstrument { .. } => "put instrument",
            Self::PutPart { .. } => "put part",
            Self::Import { .. } => "import",
            Self::RecordCalibration { .. } => "record calibration",
            Self::Retire { .. } => "retire",
            Self::SetPlan(_) => "set plan",
        }
    }

    /// The field it names, where it names one.
    pub(super) fn field(&self) -> Option<&[String]> {
        match self {
            Self::SetField { path, .. } => Some(path),
            _ => None,
        }
    }

    /// The shop as it is meant.
    pub(super) fn applied(&self, shop: &Shop) -> Result<Shop, PaperRefused> {
        let mut meant = shop.clone();
        match self.clone() {
            Self::SetField { path, value } => return with_field(shop, &path, value),
            Self::PutPerson { id, person } => drop(meant.people.insert(id, person)),
            Self::PutInstrument { id, instrument } => {
                drop(meant.instruments.insert(id, *instrument));
            }
            Self::PutPart { id, part } => drop(meant.parts.insert(id, *part)),
            Self::Import { parts, instruments } => {
                meant.parts.extend(parts);
                meant.instruments.extend(instruments);
            }
            Self::RecordCalibration { id, calibration } => calibrated(&mut meant, id, calibration)?,
            Self::Retire { list, id, from } => return retired(shop, list, id, from),
            Self::SetPlan(plan) => plan.put(&mut meant),
        }
        Ok(meant)
    }
}

/// The entry; and where it is the newest of its item, the item's due date. What was found outside
/// and stayed so is out of calibration from that day on.
fn calibrated(
    shop: &mut Shop,
    id: String,
    mut calibration: Calibration,
) -> Result<(), PaperRefused> {
    if shop.calibrations.contains_key(&id) {
        return Err(PaperRefused::Taken { id });
    }
    let due = calibration.holds_to().to_owned();
    let same = |other: &&Calibration| {
        (other.of, &other.item) == (calibration.of, &calibration.item) && other.retired.is_none()
    };
    // Days written alike compare as they follow each other.
    let newest = shop.calibrations.values().filter(same).all(|other| other.on <= calibration.on);
    let missing = || PaperRefused::Missing { path: calibration.item.clone() };
    match calibration.of {
        Calibrated::Instrument => {
            let item = shop.instruments.get_mut(&calibration.item).ok_or_else(missing)?;
            if newest {
                let before = std::mem::replace(&mut item.calibration_due, due);
                calibration.before = Some(before);
            }
        }
        Calibrated::Part => {
            let item = shop.parts.get_mut(&calibration.item).ok_or_else(missing)?;
            if newest {
                calibration.before = item.calibration_due.replace(due);
            }
        }
    }
    shop.calibrations.insert(id, calibration);
    Ok(())
}

fn replace<T>(map: &mut BTreeMap<String, Option<T>>, with: BTreeMap<String, T>) {
    map.values_mut().for_each(|value| *value = None);
    map.extend(with.into_iter().map(|(id, value)| (id, Some(value))));
}

impl SiteEdit {
    /// The intent's name, kept as the change's message.
    pub fn name(&self) -> &'static str {
        match self {
            Self::SetField { .. } => "set field",
            Self::PutHazard { .. } => "put hazard",
            Self::PutRepeater { .. } => "put repeater",
            Self::PutEquipment { .. } => "put equipment",
            Self::PutCoSited { .. } => "put co-sited transmitter",
            Self::PutBaseline { .. } => "put baseline",
            Self::Retire { .. } => "retire",
        }
    }

    /// The field it names, where it names one.
    pub(super) fn field(&self) -> Option<&[String]> {
        match self {
            Self::SetField { path, .. } => Some(path),
            _ => None,
        }
    }

    /// The site as it is meant.
    pub(super) fn applied(&self, site: &Site) -> Result<Site, PaperRefused> {
        let mut meant = site.clone();
        match self.clone() {
            Self::SetField { path, value } => return with_field(site, &path, value),
            Self::PutHazard { id, hazard } => drop(meant.hazard_entries.insert(id, hazard)),
            Self::PutRepeater { id, repeater } => drop(meant.repeaters.insert(id, *repeater)),
            Self::PutEquipment { id, equipment } => drop(meant.equipment.insert(id, equipment)),
            Self::PutCoSited { id, transmitter } => drop(meant.co_sited.insert(id, transmitter)),
            Self::PutBaseline { id, baseline } => drop(meant.baselines.insert(id, baseline)),
            Self::Retire { list, id, from } => return retired(site, list, id, from),
        }
        Ok(meant)
    }
}

fn retired<T: Serialize + DeserializeOwned>(
    paper: &T,
    list: String,
    id: String,
    from: Option<String>,
) -> Result<T, PaperRefused> {
    let path = vec![list, id, "retired".to_owned()];
    with_field(paper, &path, from.map_or(Json::Null, Json::String))
}

/// The paper with one field changed. A number may come as its text.
pub(super) fn with_field<T: Serialize + DeserializeOwned>(
    paper: &T,
    path: &[String],
    value: Json,
) -> Result<T, PaperRefused> {
    let mut tree = as_tree(paper);
    let protected = path.first().is_none_or(|list| list == "written");
    // An entry may be new, and so may a port of an instrument; a field is there or has no name.
    let may_be_new = match path {
        [_, _] => true,
        [list, _, field, _] => list == "instruments" && field == "ports",
        _ => false,
    };
    let known = at(&tree, if may_be_new { &path[..path.len() - 1] } else { path }).is_some();
    if protected || !known {
        return Err(PaperRefused::Missing { path: path.join(".") });
    }
    let mut meant = tree.clone();
    set(&mut meant, path, value.clone());
    let first = match serde_json::from_value(meant) {
        Ok(paper) => return Ok(paper),
        Err(error) => error,
    };
    let Some(number) = value.as_str().and_then(|text| number_of(path, text)) else {
        let expected = match (&value, first.to_string()) {
            (Json::String(text), said) if said.contains("expected f64") => {
                format!("{text:?} is no number")
            }
            (Json::String(text), said) if said.contains("expected u64") => {
                format!("{text:?} is no frequency as in \"158.6 MHz\"")
            }
            (_, said) => said,
        };
        return Err(PaperRefused::Value { path: path.join("."), expected });
    };
    set(&mut tree, path, number);
    serde_json::from_value(tree)
        .map_err(|error| PaperRefused::Value { path: path.join("."), expected: error.to_string() })
}

/// An entry whose numbers may come as they were typed: text becomes a number where the field's name
/// ends in a unit, and an empty one becomes none.
pub fn with_numbers(entry: Json) -> Json {
    const UNITS: [&str; 10] =
        ["_hz", "_w", "_db", "_dbm", "_dbd", "_ppm", "_percent", "_s", "_degrees", "_m"];
    // Numbers whose unit another field says.
    const PLAIN: [&str; 5] = ["value", "seconds", "from", "to", "half_width"];
    match entry {
        Json::Object(map) => {
            let field = |(name, value): (String, Json)| {
                let number =
                    UNITS.iter().any(|unit| name.ends_with(unit)) || PLAIN.contains(&&*name);
                let value = match value {
                    Json::String(text) if number && text.trim().is_empty() => Json::Null,
                    Json::String(text) if number => {
                        number_of(std::slice::from_ref(&name), &text).unwrap_or(Json::String(text))
                    }
                    other => with_numbers(other),
                };
                (name, value)
            };
            Json::Object(map.into_iter().map(field).collect())
        }
        Json::Array(list) => Json::Array(list.into_iter().map(with_numbers).collect()),
        plain => plain,
    }
}

/// A number somebody typed; a frequency may carry its unit.
fn number_of(path: &[String], text: &str) -> Option<Json> {
    let text = text.trim().replace('\u{2212}', "-").replace(',', ".");
    let in_hertz = path.last().is_some_and(|field| field.ends_with("_hz"));
    let units = [("GHz", 1e9), ("MHz", 1e6), ("kHz", 1e3), ("Hz", 1.0)];
    let unit = units.iter().find_map(|(unit, factor)| Some((text.strip_suffix(unit)?, factor)));
    match unit {
        Some((number, factor)) if in_hertz => {
            let hertz = (number.trim().parse::<f64>().ok()? * factor).round();
            // Above this a float no longer counts whole hertz; no carrier is near it.
            (0.0..9e15).contains(&hertz).then(|| Json::from(hertz as u64))
        }
        _ if in_hertz => text.parse::<u64>().ok().map(Json::from),
        _ => {
            let number = text.parse::<f64>().ok()?;
            serde_json::Number::from_f64(number).map(Json::Number)
        }
    }
}

/// The paper as a tree of fields.
pub(super) fn as_tree<T: Serialize>(paper: &T) -> Json {
    serde_json::to_value(paper).expect("papers hold text keys and plain values")
}
