//! The slips of the hand that can have happened to a session's readings, each with what it would
//! have moved.
//!
//! In: a model, its case and its site. Out: hypotheses. Only what can have happened is listed: a
//! voltage is no slip where decibels were typed, nor another channel where the site has but one.

use std::collections::BTreeMap;

use super::super::case::Case;
use super::super::measure::entered;
use super::super::plan::Reads;
use super::ExplanationKind::{self, *};
use super::explain::{Hypothesis, Move};
use super::model::{Line, Model, foreseen_loss};
use super::table::Table;
use crate::language::say;
use crate::record::{Part, PartKind, Phase, Plane, Reading, Repeater, Site};
use crate::rf::chain::loss_at;
use crate::rf::least_squares::Direction;
use crate::uncertainty::inputs::rectangular;
use crate::units::{Hertz, Unit, shown};

/// The most pads and couplers, and other repeaters, that are thought of: more than any van holds.
const THOUGHT_OF_MOST: usize = 100;
/// A peak over its average, for a carrier: 10·log10(2), in dB.
const PEAK_OVER_AVERAGE_DB: f64 = 3.010_299_956_639_812;

/// What the slips are listed from.
#[derive(Clone, Copy)]
pub(super) struct Scene<'s, 'a> {
    pub(super) case: &'s Case<'a>,
    pub(super) site: &'s Site,
    pub(super) table: &'s Table,
    pub(super) model: &'s Model<'a>,
}

/// Every slip that can have happened.
pub(super) fn slips(scene: &Scene<'_, '_>) -> Vec<Hypothesis> {
    let mut found = Vec::new();
    units(scene, &mut found);
    signs_and_peaks(scene, &mut found);
    elements(scene, &mut found);
    planes(scene, &mut found);
    swapped(scene, &mut found);
    channels(scene, &mut found);
    for (at, line) in lines(scene).filter(|(_, line)| is_level(line)) {
        let odds = scene.table.odds(Unexplained);
        let words = say!(
            scene.case.language,
            "{:?} is wrong by itself, as no slip listed here explains",
            "{:?} est fausse en elle-même, sans qu’une erreur connue l’explique",
            line.check.title
        );
        found.push(Hypothesis {
            kind: Unexplained,
            odds: odds.odds,
            moves: vec![Move { along: vec![(at, 1.0)], mean: odds.mean, spread: odds.spread }],
            one_sided: false,
            words,
        });
    }
    found
}

fn lines<'s, 'a>(scene: &Scene<'s, 'a>) -> impl Iterator<Item = (usize, &'s Line<'a>)> {
    scene.model.lines.iter().enumerate()
}

/// Whether it is read in decibels at heart.
fn is_level(line: &Line<'_>) -> bool {
    matches!(line.check.reads, Reads::Level | Reads::Power)
}

fn by(
    scene: &Scene<'_, '_>,
    kind: ExplanationKind,
    shifts: Direction,
    words: String,
) -> Hypothesis {
    Hypothesis::by(kind, scene.table.odds(kind).odds, shifts, words)
}

/// The number stands, its unit is another: one reading, or all that one instrument showed so.
fn units(scene: &Scene<'_, '_>, found: &mut Vec<Hypothesis>) {
    let mut alike: BTreeMap<(&str, Unit, Unit), Direction> = BTreeMap::new();
    for (at, line) in lines(scene) {
        for &unit in line.check.reads.units() {
            let Some(shift) = as_if(scene.case, line, |reading| reading.unit = unit) else {
                continue;
            };
            let typed = line.reading.unit;
            alike.entry((&line.reading.instrument, typed, unit)).or_default().push((at, shift));
            let title = &line.check.title;
            let words = say!(
                scene.case.language,
                "the number for {title:?} is in {unit}, not in {typed}",
                "le nombre pour {title:?} est en {unit}, non en {typed}"
            );
            found.push(by(scene, unit_kind(typed, unit), vec![(at, shift)], words));
        }
    }
    for ((instrument, typed, unit), shifts) in alike.into_iter().filter(|(_, s)| s.len() > 1) {
        let name = scene.case.shop.instruments.get(instrument).map_or(instrument, |i| &i.name);
        let words = say!(
            scene.case.language,
            "{name} showed {unit} where {typed} was typed, every time",
            "{name} montrait des {unit} là où des {typed} ont été saisis, chaque fois"
        );
        found.push(by(scene, unit_kind(typed, unit), shifts, words));
    }
}

fn unit_kind(typed: Unit, unit: Unit) -> ExplanationKind {
    match (typed, unit) {
        (Unit::Microvolt, Unit::MicrovoltEmf) | (Unit::MicrovoltEmf, Unit::Microvolt) => Emf,
        (Unit::Dbm, Unit::DbMicrovolt) | (Unit::DbMicrovolt, Unit::Dbm) => DecibelUnit,
        _ => OtherUnit,
    }
}

/// How far the reading as typed lies over what it would be with `change`. None where that is no
/// reading, or the same one.
fn as_if(case: &Case<'_>, line: &Line<'_>, change: impl FnOnce(&mut Reading)) -> Option<f64> {
    let mut other = line.reading.clone();
    change(&mut other);
    let typed = entered(line.check, case.repeater, line.reading).ok()?;
    let meant = entered(line.check, case.repeater, &other).ok()?;
    Some(typed - meant).filter(|shift| shift.abs() > 1e-9)
}

fn signs_and_peaks(scene: &Scene<'_, '_>, found: &mut Vec<Hypothesis>) {
    for (at, line) in lines(scene).filter(|(_, line)| is_level(line)) {
        let turned = |reading: &mut Reading| {
            let text = reading.typed.trim();
            let bare = text.trim_start_matches(['-', '\u{2212}', '+']);
            let minus = text.starts_with(['-', '\u{2212}']);
            reading.typed = if minus { bare.to_owned() } else { format!("-{bare}") };
        };
        if let Some(shift) = as_if(scene.case, line, turned) {
            let words = say!(
                scene.case.language,
                "the sign typed for {:?} is the wrong one",
                "le signe saisi pour {:?} est le mauvais",
                line.check.title
            );
            found.push(by(scene, Sign, vec![(at, shift)], words));
        }
        if line.check.reads == Reads::Power {
            let words = say!(
                scene.case.language,
                "peak power was read for average at {:?}",
                "la puissance de crête a été lue pour la moyenne à {:?}",
                line.check.title
            );
            found.push(by(scene, PeakPower, vec![(at, PEAK_OVER_AVERAGE_DB)], words));
        }
    }
}

/// Pads and couplers: in the chain and not counted, or counted and not in it; for all readings
/// through the chain, or for one of them.
fn elements(scene: &Scene<'_, '_>, found: &mut Vec<Hypothesis>) {
    let mut through: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (at, line) in lines(scene).filter(|(_, line)| is_level(line)) {
        through.entry(&line.reading.chain).or_default().push(at);
    }
    let all_parts = scene.case.shop.parts.iter();
    let parts: Vec<(&String, &Part)> = all_parts
        .filter(|(_, part)| matches!(part.kind, PartKind::Pad | PartKind::Coupler))
        .take(THOUGHT_OF_MOST)
        .collect();
    for lines in through.values() {
        let chain = scene.model.lines[lines[0]].chain;
        for (id, part) in &parts {
            let counted = chain.between.contains(id);
            let kind = if counted { CountedElement } else { ForgottenElement };
            let shifts: Direction = lines
                .iter()
                .filter_map(|&at| {
                    Some((at, missing(scene, &scene.model.lines[at], part, counted)?))
                })
                .collect();
            let (part, name) = (&part.name, &chain.name);
            let words = match counted {
                true => say!(
                    scene.case.language,
                    "{part} was counted and did not stand in {name:?}",
                    "{part} a été compté et n’était pas dans {name:?}"
                ),
                false => say!(
                    scene.case.language,
                    "{part} stood in {name:?} and was left out of the sum",
                    "{part} était dans {name:?} et a été oublié dans la somme"
                ),
            };
            if shifts.len() > 1 {
                for &(at, shift) in &shifts {
                    let title = &scene.model.lines[at].check.title;
                    let words = say!(
                        scene.case.language,
                        "{words}, for {title:?} only",
                        "{words}, pour {title:?} seulement"
                    );
                    found.push(by(scene, kind, vec![(at, shift)], words));
                }
            }
            if !shifts.is_empty() {
                found.push(by(scene, kind, shifts, words));
            }
        }
    }
}

/// How far a reading lies too high because a part's loss was counted wrongly. A generator was set
/// higher for a loss that nobody took off; a meter showed less.
fn missing(scene: &Scene<'_, '_>, line: &Line<'_>, part: &Part, counted: bool) -> Option<f64> {
    let repeater = scene.case.repeater;
    let (at_hz, sign) = match line.check.reads {
        Reads::Level => (repeater.receive_hz, 1.0),
        _ => (repeater.transmit_hz, -1.0),
    };
    let points = if part.kind == PartKind::Coupler { &part.coupling } else { &part.loss };
    let points: Vec<(u64, f64)> = points.iter().map(|p| (p.at_hz, p.loss_db)).collect();
    let loss_db = loss_at(&part.name, &points, at_hz).ok()?;
    Some(if counted { -sign * loss_db } else { sign * loss_db })
}

/// Taken on the other side of the duplexer than recorded.
fn planes(scene: &Scene<'_, '_>, found: &mut Vec<Hypothesis>) {
    let ratings = &scene.case.repeater.ratings;
    let loss = |towards| foreseen_loss(scene.case.repeater, towards);
    let (receive_db, transmit_db) = (loss(Plane::ReceiverPort), loss(Plane::AntennaPort));
    let (odds, language) = (scene.table.odds(WrongPlane).odds, scene.case.language);
    for (at, line) in lines(scene) {
        let (mean, other) = match (line.check.reads, line.check.plane) {
            (Reads::Level, Plane::ReceiverPort) => (receive_db, Plane::AntennaPort),
            (Reads::Level, Plane::AntennaPort) if !line.check.keyed => {
                (-receive_db, Plane::ReceiverPort)
            }
            (Reads::Power, Plane::TransmitterPort) => (-transmit_db, Plane::AntennaPort),
            (Reads::Power, Plane::AntennaPort) => (transmit_db, Plane::TransmitterPort),
            _ => continue,
        };
        let spread = rectangular(ratings.duplexer_tolerance_db);
        let title = &line.check.title;
        found.push(Hypothesis {
            kind: WrongPlane,
            odds,
            moves: vec![Move { along: vec![(at, 1.0)], mean, spread }],
            one_sided: false,
            words: say!(
                language,
                "{title:?} was taken at the {}, not at the {}",
                "{title:?} : mesure prise au {}, non au {}",
                other.said(language),
                line.check.plane.said(language)
            ),
        });
    }
}

/// Transmitter and receiver on each other's port of the duplexer: everything at the antenna port
/// meets a rejection instead of a loss, each way its own.
fn swapped(scene: &Scene<'_, '_>, found: &mut Vec<Hypothesis>) {
    let odds = scene.table.odds(SwappedDuplexer);
    for phase in [Phase::AsFound, Phase::AsLeft] {
        let at_antenna = |reads: Reads, factor: f64| -> Direction {
            let there = |line: &Line<'_>| {
                line.check.reads == reads
                    && line.check.plane == Plane::AntennaPort
                    && line.reading.phase == phase
            };
            lines(scene).filter(|(_, l)| there(l)).map(|(at, _)| (at, factor)).collect()
        };
        let moves: Vec<Move> = [at_antenna(Reads::Level, 1.0), at_antenna(Reads::Power, -1.0)]
            .into_iter()
            .filter(|along| !along.is_empty())
            .map(|along| Move { along, mean: odds.mean, spread: odds.spread })
            .collect();
        if !moves.is_empty() {
            let words = scene.case.language.pick(
                "transmitter and receiver stood on each other's port of the duplexer",
                "émetteur et récepteur étaient chacun sur le port de l’autre au duplexeur",
            );
            let (kind, odds, words) = (SwappedDuplexer, odds.odds, words.to_owned());
            found.push(Hypothesis { kind, odds, moves, one_sided: false, words });
        }
    }
}

/// The test set stood on the channel of another repeater of the site.
fn channels(scene: &Scene<'_, '_>, found: &mut Vec<Hypothesis>) {
    let own = scene.case.repeater;
    let others: Vec<&Repeater> =
        scene.site.repeaters.values().filter(|r| r.receive_hz != own.receive_hz).collect();
    let Some(nearest) = others.iter().min_by_key(|r| r.receive_hz.abs_diff(own.receive_hz)) else {
        return;
    };
    let (odds, language) = (scene.table.odds(WrongChannel), scene.case.language);
    let name = &nearest.name;
    let mut alike: BTreeMap<&str, Direction> = BTreeMap::new();
    let mut add = |along: Direction, what: &str| {
        let moves = vec![Move { along, mean: odds.mean, spread: odds.spread }];
        let words = say!(
            language,
            "the generator stood on another channel, such as that of {name:?}, {what}",
            "le générateur était sur un autre canal, comme celui de {name:?}, {what}"
        );
        found.push(Hypothesis {
            kind: WrongChannel,
            odds: odds.odds,
            moves,
            one_sided: false,
            words,
        });
    };
    for (at, line) in lines(scene).filter(|(_, line)| line.check.reads == Reads::Level) {
        alike.entry(&line.reading.instrument).or_default().push((at, 1.0));
        let what = say!(language, "for {:?}", "pour {:?}", line.check.title);
        add(vec![(at, 1.0)], &what);
    }
    for along in alike.into_values().filter(|along| along.len() > 1) {
        add(along, language.pick("all the time", "tout le temps"));
    }
    for (at, _) in lines(scene).filter(|(_, line)| line.check.reads == Reads::FrequencyError) {
        for other in scene.site.repeaters.values().take(THOUGHT_OF_MOST) {
            let apart = own.transmit_hz as f64 - other.transmit_hz as f64;
            if apart.abs() > 1.0 && Hertz::offset(apart).is_ok() {
                let words = say!(
                    language,
                    "the meter stood on the channel of {:?}, {} Hz away",
                    "l’appareil était sur le canal de {:?}, à {} Hz",
                    other.name,
                    shown(-apart, 0)
                );
                found.push(by(scene, WrongChannel, vec![(at, apart)], words));
            }
        }
    }
}
