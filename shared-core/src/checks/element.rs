//! What one thing in a chain does to what goes through it: loss, how sure that is, what it takes.
//!
//! In: a part or a repeater's duplexer, the way through it, the frequency. Out: an [`Element`]. A
//! cable may be known by type and length, a duplexer's path by its sweep; an isolator loses little
//! along its arrow and much against it. Refuses what is not known at the frequency in use.

use crate::language::{Language, english_only, say};
use crate::record::shop::LossPoint;
use crate::record::{Arrow, CableRun, Isolator, Part, PartKind, Plane, Repeater};
use crate::rf::chain::{Element, LossUnknown, loss_at, swept_loss_at};
use crate::rf::feedline::{self, FIT_SHARE, FeedlineRefused};
use crate::uncertainty::inputs::rectangular;
use crate::units::{Db, Hertz, Metres, OutOfRange, Watts};

/// Why an element's loss or rating is not known.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ElementRefused {
    /// A loss that is not known at the frequency in use.
    #[error(transparent)]
    Loss(#[from] LossUnknown),
    /// A number no loss or rating can have.
    #[error(transparent)]
    Number(#[from] OutOfRange),
    /// A cable known by its type.
    #[error("{part}: {source}")]
    Cable {
        /// What the crew calls it.
        part: String,
        /// Why its loss is not known.
        source: FeedlineRefused,
    },
}

impl ElementRefused {
    /// Why, in a language.
    pub(super) fn said(&self, language: Language) -> String {
        match self {
            _ if language == Language::English => self.to_string(),
            Self::Loss(error) => error.said(language),
            Self::Number(error) => error.said(language),
            Self::Cable { part, source } => format!("{part} : {}", english_only(language, source)),
        }
    }
}

/// Which of its connectors a part is met at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Way {
    /// A coupler's coupled port; any other part straight through.
    Coupled,
    /// Along the line.
    Along,
}

/// Where what goes through is going.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Direction {
    /// From an instrument: a generator's signal.
    TowardsRepeater,
    /// From the transmitter: its power.
    FromRepeater,
}

impl Direction {
    /// Whether it goes against an isolator's arrow.
    fn is_against(self, isolator: &Isolator) -> bool {
        match isolator.arrow {
            Arrow::TowardsRepeater => self == Self::FromRepeater,
            Arrow::AwayFromRepeater => self == Self::TowardsRepeater,
        }
    }
}

/// A loss with what it is called.
struct Loss {
    /// What its cause is called behind the part's id.
    cause: &'static str,
    name: String,
    db: f64,
    standard_db: f64,
    power_max_w: f64,
}

/// A part as it is gone through. Its name ends what it `leads_to`.
pub(super) fn of_part(
    (id, part): (&str, &Part),
    way: Way,
    direction: Direction,
    at_hz: u64,
    leads_to: String,
    language: Language,
) -> Result<Element, ElementRefused> {
    let Loss { cause, name, db, standard_db, power_max_w } =
        loss(part, way, direction, at_hz, language)?;
    Ok(Element {
        cause: format!("part:{id}:{cause}"),
        name,
        loss: Db::new(db)?,
        standard_db,
        power_max: Some(Watts::new(power_max_w)?),
        leads_to,
    })
}

/// Whether a part's rating for a while holds in this direction: an isolator's is along its arrow.
pub(super) fn is_along(part: &Part, direction: Direction) -> bool {
    !part.isolator.as_ref().is_some_and(|isolator| direction.is_against(isolator))
}

fn loss(
    part: &Part,
    way: Way,
    direction: Direction,
    at_hz: u64,
    language: Language,
) -> Result<Loss, ElementRefused> {
    let measured = |cause, name: String, points: &[LossPoint], power_max_w| {
        let db = loss_at(&part.name, &pairs(points), at_hz)?;
        let standard_db = rectangular(part.tolerance_db);
        Ok(Loss { cause, name, db, standard_db, power_max_w })
    };
    let coupled = part.kind == PartKind::Coupler && way == Way::Coupled;
    match (&part.isolator, &part.cable) {
        (Some(isolator), _) if direction.is_against(isolator) => measured(
            "isolation",
            say!(language, "{}, against its arrow", "{}, contre sa flèche", part.name),
            &isolator.isolation,
            isolator.reverse_power_max_w,
        ),
        // A part has measured losses or a type and a length, never both: `record::validate`.
        (_, Some(run)) => by_length(part, run, at_hz, language),
        _ if coupled => measured(
            "coupling",
            say!(language, "{}, coupled", "{}, sortie couplée", part.name),
            &part.coupling,
            part.power_max_w,
        ),
        _ => measured("loss", part.name.clone(), &part.loss, part.power_max_w),
    }
}

/// A cable by type and length: connectors (the part's own tolerance), the law of its type and its
/// length may each be off, without knowing of each other.
fn by_length(
    part: &Part,
    run: &CableRun,
    at_hz: u64,
    language: Language,
) -> Result<Loss, ElementRefused> {
    let (db, standard_db) = of_run(run, at_hz)
        .map_err(|source| ElementRefused::Cable { part: part.name.clone(), source })?;
    let cable = feedline::cable(&run.listed)
        .map_err(|source| ElementRefused::Cable { part: part.name.clone(), source })?;
    let doubt = match cable.verified {
        true => "",
        false => language.pick(", loss not verified", ", perte non vérifiée"),
    };
    Ok(Loss {
        cause: "loss",
        name: say!(
            language,
            "{}, {} m of {}{doubt}",
            "{}, {} m de {}{doubt}",
            part.name,
            run.length_m,
            cable.law.name
        ),
        db,
        standard_db: standard_db.hypot(rectangular(part.tolerance_db)),
        power_max_w: part.power_max_w,
    })
}

/// Loss and standard uncertainty of a length of a listed cable, in dB.
pub(super) fn of_run(run: &CableRun, at_hz: u64) -> Result<(f64, f64), FeedlineRefused> {
    let at = Hertz::carrier(at_hz as f64)?;
    let db = feedline::cable(&run.listed)?.law.loss(at, Metres::line(run.length_m)?)?.db();
    let length_db = db * run.length_tolerance_m / run.length_m;
    Ok((db, rectangular(FIT_SHARE * db).hypot(rectangular(length_db))))
}

/// The duplexer's loss towards a plane, in dB, and whether it was swept rather than rated.
pub(super) fn duplexer_loss(
    repeater: &Repeater,
    towards: Plane,
) -> Result<(f64, bool), LossUnknown> {
    let receive = towards == Plane::ReceiverPort;
    let Some(sweep) = &repeater.duplexer_sweep else {
        let ratings = &repeater.ratings;
        let rated = if receive {
            ratings.duplexer_receive_loss_db
        } else {
            ratings.duplexer_transmit_loss_db
        };
        return Ok((rated, false));
    };
    let (points, at_hz) = match receive {
        true => (&sweep.receive_path, repeater.receive_hz),
        false => (&sweep.transmit_path, repeater.transmit_hz),
    };
    let db = swept_loss_at(duplexer_name(towards, Language::English), &pairs(points), at_hz)?;
    Ok((db, true))
}

fn duplexer_name(towards: Plane, language: Language) -> &'static str {
    match towards {
        Plane::ReceiverPort => {
            language.pick("duplexer, receive path", "duplexeur, trajet de réception")
        }
        Plane::TransmitterPort | Plane::AntennaPort => {
            language.pick("duplexer, transmit path", "duplexeur, trajet d’émission")
        }
    }
}

/// The duplexer's path towards a plane.
pub(super) fn duplexer(
    repeater: &Repeater,
    towards: Plane,
    language: Language,
) -> Result<Element, ElementRefused> {
    let (ratings, name) = (&repeater.ratings, duplexer_name(towards, language));
    let (loss_db, _) = duplexer_loss(repeater, towards)?;
    let (name, tolerance_db) = match &repeater.duplexer_sweep {
        Some(sweep) => {
            let name = say!(language, "{name}, swept {}", "{name}, balayé le {}", sweep.swept_on);
            (name, sweep.tolerance_db)
        }
        None => (name.to_owned(), ratings.duplexer_tolerance_db),
    };
    let cause = match towards {
        Plane::ReceiverPort => "duplexer:receive",
        Plane::TransmitterPort | Plane::AntennaPort => "duplexer:transmit",
    };
    Ok(Element {
        cause: cause.to_owned(),
        name,
        loss: Db::new(loss_db)?,
        standard_db: rectangular(tolerance_db),
        power_max: Some(Watts::new(ratings.duplexer_power_max_w)?),
        leads_to: towards.said(language).to_owned(),
    })
}

fn pairs(points: &[LossPoint]) -> Vec<(u64, f64)> {
    points.iter().map(|&LossPoint { at_hz, loss_db }| (at_hz, loss_db)).collect()
}
