//! A chain as connected, resolved against shop and repeater: the rows a signal goes through.
//!
//! In: a chain's names. Out: rows of elements with losses at the frequency in use: from the
//! generator to the receiver, and from the transmitter to everything its power reaches. A name
//! that leads
//! nowhere is refused with where it stands. Does not judge what arrives: [`super::guard`] does.

use super::accuracy::half_width;
use super::chain_refused::{ChainRefused, WrongOrder};
use super::element::{self, Direction, ElementRefused, Way};
use crate::language::{Language, say};
use crate::record::{
    AccuracyOf, Chain, Instrument, Part, PartKind, Plane, Port, PortKind, Repeater, Shop, ShortTime,
};
use crate::rf::chain::{Element, LevelDiagram, Row};
use crate::uncertainty::inputs::{mismatch_db, rectangular, reflection};
use crate::units::{Dbm, OutOfRange, Watts};

/// A chain whose names have all been found.
#[derive(Debug)]
pub struct Setup<'a> {
    chain: &'a Chain,
    repeater: &'a Repeater,
    instrument: &'a Instrument,
    port: &'a Port,
    between: Vec<(&'a str, &'a Part)>,
    line: Vec<(&'a str, &'a Part)>,
    language: Language,
}

/// Where power that leaves the transmitter goes, with what stands at the end.
#[derive(Debug)]
pub struct KeyedPath {
    /// What it is, in words.
    pub title: String,
    /// The elements from the transmitter on.
    pub row: Row,
    /// What stands at its end.
    pub end: End,
    /// What each thing met takes for a while, in the order of the row, the end last.
    pub short_times: Vec<Option<ShortTime>>,
    /// Whether a coupler or a pad stands between the plane and the end.
    pub isolated: bool,
}

/// What stands at the end of a keyed path.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum End {
    /// The instrument's port.
    Instrument(PortKind),
    /// A load, or the site's antenna: what takes the power and has a rating.
    Load,
    /// Nothing: the line is open.
    Open,
}

impl<'a> Setup<'a> {
    /// Finds everything a chain names.
    pub fn resolve(
        chain: &'a Chain,
        shop: &'a Shop,
        repeater: &'a Repeater,
    ) -> Result<Self, ChainRefused> {
        let missing = |what, id: &str| ChainRefused::Missing {
            chain: chain.name.clone(),
            what,
            id: id.to_owned(),
        };
        let instrument = shop
            .instruments
            .get(&chain.instrument)
            .ok_or_else(|| missing("instrument", &chain.instrument))?;
        let port = instrument.ports.get(&chain.port).ok_or_else(|| missing("port", &chain.port))?;
        let find = |ids: &'a [String]| {
            ids.iter()
                .map(|id| {
                    let part = shop.parts.get(id).ok_or_else(|| missing("part", id))?;
                    Ok((id.as_str(), part))
                })
                .collect::<Result<Vec<_>, ChainRefused>>()
        };
        let setup = Self {
            chain,
            repeater,
            instrument,
            port,
            between: find(&chain.between)?,
            line: find(&chain.line)?,
            language: Language::English,
        };
        setup.check_order()?;
        Ok(setup)
    }

    /// The same, with what it calls things in a language.
    pub(crate) fn in_language(self, language: Language) -> Self {
        Self { language, ..self }
    }

    /// In which words it is told.
    pub(crate) fn language(&self) -> Language {
        self.language
    }

    fn check_order(&self) -> Result<(), ChainRefused> {
        let is = |kind| move |&(_, part): &(&str, &Part)| part.kind == kind;
        let couplers = self.between.iter().filter(|p| is(PartKind::Coupler)(p)).count();
        let ends = |&(_, part): &(&str, &Part)| part.kind.ends_a_line();
        let problem = if self.between.iter().any(&ends) {
            WrongOrder::EndBetween
        } else if couplers > 1 || (couplers == 1 && !self.has_coupler()) {
            WrongOrder::CouplerNotLast
        } else if !self.line.is_empty() && couplers == 0 {
            WrongOrder::LineWithoutCoupler
        } else if self.line.iter().any(|p| is(PartKind::Coupler)(p)) {
            WrongOrder::CouplerOnLine
        } else if self.line.iter().rev().skip(1).any(ends) {
            WrongOrder::BehindEnd
        } else {
            return Ok(());
        };
        Err(ChainRefused::Order { chain: self.chain.name.clone(), problem })
    }

    /// The chain.
    pub fn chain(&self) -> &'a Chain {
        self.chain
    }

    /// The instrument.
    pub fn instrument(&self) -> &'a Instrument {
        self.instrument
    }

    /// The instrument's port.
    pub fn port(&self) -> &'a Port {
        self.port
    }

    /// Whether the plane is met through a coupler.
    pub fn has_coupler(&self) -> bool {
        self.between.last().is_some_and(|(_, part)| part.kind == PartKind::Coupler)
    }

    /// The parts from the instrument to the plane, by id.
    pub(crate) fn between(&self) -> &[(&'a str, &'a Part)] {
        &self.between
    }

    /// Whether the coupler's line goes on to the site's antenna.
    pub fn into_antenna(&self) -> bool {
        self.line.last().is_some_and(|(_, part)| part.kind == PartKind::Antenna)
    }

    /// What reflections between any two known ends of the row do, as (cause, words, standard
    /// uncertainty in dB). Every part between two ends weakens what goes to and fro between them.
    pub(crate) fn mismatches(&self, row: &Row) -> Result<Vec<(String, String, f64)>, ChainRefused> {
        let ratings = &self.repeater.ratings;
        let plane = match self.chain.plane {
            Plane::ReceiverPort => ratings.receiver_port_return_loss_db,
            Plane::TransmitterPort => ratings.transmitter_port_return_loss_db,
            Plane::AntennaPort => ratings.antenna_port_return_loss_db,
        };
        // Each end with the loss between it and the start of the row, before and behind itself.
        let port = format!("port:{}:{}", self.chain.instrument, self.chain.port);
        let mut ends = vec![(port, self.port.name.as_str(), self.port.return_loss_db, 0.0, 0.0)];
        let mut lost = 0.0;
        for ((id, part), element) in self.between.iter().zip(&row.elements) {
            let behind = lost + element.loss.db();
            ends.push((format!("part:{id}"), &part.name, part.return_loss_db, lost, behind));
            lost = behind;
        }
        let cause = format!("plane:{}", self.chain.plane.words());
        ends.push((cause, self.chain.plane.said(self.language), plane, lost, lost));

        let mut found = Vec::new();
        for (index, (cause, name, one, _, behind)) in ends.iter().enumerate() {
            for (other_cause, other_name, two, before, _) in &ends[index + 1..] {
                let (Some(one), Some(two)) = (one, two) else { continue };
                // There and back: |S21|·|S12| of a loss in dB.
                let transmission = 10f64.powf(-(before - behind) / 10.0).min(1.0);
                let standard = reflection(*one)
                    .and_then(|one| mismatch_db(one, reflection(*two)?, transmission))
                    .map_err(|source| self.number(source))?;
                let what = say!(
                    self.language,
                    "mismatch of {name} and {other_name}",
                    "désadaptation de {name} et de {other_name}"
                );
                found.push((format!("mismatch:{cause}:{other_cause}"), what, standard));
            }
        }
        Ok(found)
    }

    /// What stands between instrument and plane, in the order from the instrument, with what it
    /// does to what goes in this direction.
    pub(crate) fn to_plane(&self, at_hz: u64, going: Direction) -> Result<Row, ChainRefused> {
        let count = self.between.len();
        let elements = self.between.iter().enumerate().map(|(index, (id, part))| {
            let leads_to = match index + 1 == count {
                true => self.chain.plane.said(self.language).to_owned(),
                false => self.behind(part),
            };
            self.element((id, part), Way::Coupled, going, at_hz, leads_to)
        });
        Ok(Row {
            start: self.start_label(),
            start_standard_db: 0.0,
            elements: elements.collect::<Result<_, _>>()?,
            end_power_max: None,
        })
    }

    fn start_label(&self) -> String {
        match self.between.is_empty() {
            true => say!(
                self.language,
                "{}, on the {}",
                "{}, sur le {}",
                self.port.name,
                self.chain.plane.said(self.language)
            ),
            false => {
                say!(self.language, "{} of {}", "{} de {}", self.port.name, self.instrument.name)
            }
        }
    }

    /// From the generator to the receiver. None at the transmitter port.
    pub fn receive_row(&self) -> Result<Option<Row>, ChainRefused> {
        let at_hz = self.repeater.receive_hz;
        let gives_signal = self.port.kind != PortKind::Meter;
        if self.chain.plane == Plane::TransmitterPort || !gives_signal {
            return Ok(None);
        }
        let mut row = self.to_plane(at_hz, Direction::TowardsRepeater)?;
        if self.chain.plane == Plane::AntennaPort {
            row.elements.push(self.duplexer(Plane::ReceiverPort)?);
        }
        Ok(Some(row))
    }

    /// Everywhere the transmitter's power goes when it is keyed. Empty at the receiver port, where
    /// the transmitter is not in the chain.
    pub fn keyed_paths(&self) -> Result<Vec<KeyedPath>, ChainRefused> {
        if self.chain.plane == Plane::ReceiverPort {
            return Ok(Vec::new());
        }
        let mut from_transmitter = Vec::new();
        if self.chain.plane == Plane::AntennaPort {
            from_transmitter.push(self.duplexer(Plane::AntennaPort)?);
        }
        let mut paths = vec![self.towards_instrument(from_transmitter.clone())?];
        if self.has_coupler() {
            paths.insert(0, self.along_line(from_transmitter)?);
        }
        Ok(paths)
    }

    fn towards_instrument(
        &self,
        from_transmitter: Vec<Element>,
    ) -> Result<KeyedPath, ChainRefused> {
        let at_hz = self.repeater.transmit_hz;
        let mut elements = from_transmitter.clone();
        for (index, (id, part)) in self.between.iter().enumerate().rev() {
            let leads_to = match index {
                0 => self.port.name.clone(),
                _ => self.behind(part),
            };
            let from = Direction::FromRepeater;
            elements.push(self.element((id, part), Way::Coupled, from, at_hz, leads_to)?);
        }
        // An isolator alone does not count: one that fails passes everything on.
        let isolating =
            |(_, part): &(&str, &Part)| matches!(part.kind, PartKind::Coupler | PartKind::Pad);
        let met = self.between.iter().rev().map(|(_, part)| for_a_while(part));
        let own = from_transmitter.iter().map(|_| None);
        Ok(KeyedPath {
            title: say!(
                self.language,
                "keyed: transmitter towards {}",
                "en émission : de l’émetteur vers {}",
                self.instrument.name
            ),
            short_times: own.chain(met).chain([None]).collect(),
            row: self.keyed_row(elements, self.port_power_max()?),
            end: End::Instrument(self.port.kind),
            isolated: self.between.iter().any(isolating),
        })
    }

    fn along_line(&self, from_transmitter: Vec<Element>) -> Result<KeyedPath, ChainRefused> {
        let at_hz = self.repeater.transmit_hz;
        let mut short_times: Vec<Option<ShortTime>> =
            from_transmitter.iter().map(|_| None).collect();
        let mut elements = from_transmitter;
        let (coupler_id, coupler) = *self.between.last().expect("asked only with a coupler");
        let behind = self.language.pick("behind the coupler", "derrière le coupleur").to_owned();
        let from = Direction::FromRepeater;
        elements.push(self.element((coupler_id, coupler), Way::Along, from, at_hz, behind)?);
        short_times.push(for_a_while(coupler));
        let end = self.line.last().filter(|(_, part)| part.kind.ends_a_line());
        let ends = usize::from(end.is_some());
        for (id, part) in &self.line[..self.line.len() - ends] {
            let leads_to = self.behind(part);
            elements.push(self.element((id, part), Way::Along, from, at_hz, leads_to)?);
            short_times.push(for_a_while(part));
        }
        if let (Some((_, part)), Some(last)) = (end, elements.last_mut()) {
            last.leads_to.clone_from(&part.name);
        }
        short_times.push(end.and_then(|(_, part)| part.short_time));
        let end_max = end.map(|(_, part)| self.watts(part.power_max_w)).transpose()?;
        Ok(KeyedPath {
            title: self
                .language
                .pick("keyed: transmitter along the line", "en émission : le long de la ligne")
                .to_owned(),
            row: self.keyed_row(elements, end_max),
            short_times,
            end: if end.is_some() { End::Load } else { End::Open },
            isolated: true,
        })
    }

    fn keyed_row(&self, elements: Vec<Element>, end_power_max: Option<Watts>) -> Row {
        let start = Plane::TransmitterPort.said(self.language).to_owned();
        Row { start, start_standard_db: 0.0, elements, end_power_max }
    }

    fn behind(&self, part: &Part) -> String {
        say!(self.language, "behind {}", "derrière {}", part.name)
    }

    fn port_power_max(&self) -> Result<Option<Watts>, ChainRefused> {
        self.port.power_max_w.map(|power_w| self.watts(power_w)).transpose()
    }

    fn duplexer(&self, towards: Plane) -> Result<Element, ChainRefused> {
        element::duplexer(self.repeater, towards, self.language)
            .map_err(|source| self.refused(source))
    }

    fn refused(&self, source: ElementRefused) -> ChainRefused {
        ChainRefused::Element { chain: self.chain.name.clone(), source }
    }

    fn element(
        &self,
        (id, part): (&str, &Part),
        way: Way,
        going: Direction,
        at_hz: u64,
        leads_to: String,
    ) -> Result<Element, ChainRefused> {
        element::of_part((id, part), way, going, at_hz, leads_to, self.language)
            .map_err(|source| self.refused(source))
    }

    fn watts(&self, watts: f64) -> Result<Watts, ChainRefused> {
        Watts::new(watts).map_err(|source| self.number(source))
    }

    pub(crate) fn number(&self, source: OutOfRange) -> ChainRefused {
        ChainRefused::Number { chain: self.chain.name.clone(), source }
    }

    /// What to expect at every node: the generator set so that the receiver gets `opening`, and the
    /// transmitter's power going where it goes.
    pub fn diagrams(&self, opening: Dbm, power: Watts) -> Result<Vec<LevelDiagram>, ChainRefused> {
        let mut diagrams = Vec::new();
        if let Some(mut row) = self.receive_row()? {
            let (set, at_hz) = (row.backward(opening).dbm(), self.repeater.receive_hz);
            let off = half_width(&self.instrument.accuracy, AccuracyOf::Level, set, at_hz);
            row.start_standard_db = rectangular(off);
            diagrams.push(LevelDiagram {
                title: self
                    .language
                    .pick(
                        "generator to receiver, at the rated opening level",
                        "du générateur au récepteur, au niveau d’ouverture assigné",
                    )
                    .to_owned(),
                keyed: false,
                frequency_hz: self.repeater.receive_hz,
                nodes: row.forward(row.backward(opening)),
            });
        }
        for path in self.keyed_paths()? {
            diagrams.push(LevelDiagram {
                title: path.title,
                keyed: true,
                frequency_hz: self.repeater.transmit_hz,
                nodes: path.row.forward(power.level()),
            });
        }
        Ok(diagrams)
    }
}

/// What a part takes for a while of a transmitter's power, where it has such a rating that way.
fn for_a_while(part: &Part) -> Option<ShortTime> {
    part.short_time.filter(|_| element::is_along(part, Direction::FromRepeater))
}
