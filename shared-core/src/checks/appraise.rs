//! The whole of a session, judged: what a screen shows and what `judge` prints.
//!
//! In: shop, site and session as plain views (a [`Sheet`]). Out: an [`Appraisal`], or every problem
//! that keeps the three from belonging together. Computed anew each time; nothing of it is stored.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::case::Case;
use super::causes::causes;
use super::caution::{CautionState, Cautions};
use super::chain_refused::ChainRefused;
use super::expect::{Expected, expect};
use super::findings::{Finding, findings};
use super::guard::{KeyedElement, Stop, keyed};
use super::judge::{Verdict, judge};
use super::licence::{self, LicenceVerdict};
use super::plan::{Check, Plan, Reads, Through};
use super::reconcile::{self, Reconciled, reconcile};
use crate::language::Language;
use crate::record::validate::{self, Problem};
use crate::record::{Chain, Phase, PortKind, Reading, Repeater, Session, Shop, Site, Withdrawal};
use crate::rf::causes::DesenseCauses;
use crate::rf::chain::LevelDiagram;
use crate::uncertainty::Outcome;
use crate::units::{Dbm, OutOfRange, Unit, Watts};

/// A session with the shop and the site it belongs to, as one JSON file can hold it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct Sheet {
    /// The shop.
    pub shop: Shop,
    /// The site.
    pub site: Site,
    /// The session.
    pub session: Session,
}

/// A session, judged.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema, TS)]
pub struct Appraisal {
    /// The checks in the order they are worked.
    pub checks: Vec<CheckState>,
    /// What was connected, with levels and stops, in the order of their ids.
    pub chains: Vec<ChainState>,
    /// The cautions, with who acknowledged them.
    pub cautions: Vec<CautionState>,
    /// What the readings say together, gravest first.
    pub findings: Vec<Finding>,
    /// What all readings say of the repeater at once. None where there is none yet.
    pub reconciled: Option<Reconciled>,
    /// What was read against the licence, where one is known: carrier, output power, ERP.
    pub licence: Vec<LicenceVerdict>,
    /// What the desense tests say about the cause; none where nothing deafens the receiver.
    pub desense: Option<DesenseCauses>,
}

/// A check with what is known of it.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema, TS)]
pub struct CheckState {
    /// The check.
    pub check: Check,
    /// The units it may be typed in, the usual one first.
    pub units: Vec<Unit>,
    /// The worst verdict of the readings that stand in the latest phase; none without a reading.
    pub outcome: Option<Outcome>,
    /// Every reading, in the order of their ids.
    pub readings: Vec<ReadingState>,
    /// The chain to take it through: one already used for it, or the newest that fits.
    pub chain: Option<String>,
    /// What to read through each chain that fits, by the chain's id.
    pub expected: BTreeMap<String, Expected>,
    /// What that means at the plane, in dBm or Hz.
    pub expected_at_plane: Option<f64>,
    /// The cautions to acknowledge before it, by id.
    pub cautions: Vec<String>,
}

/// A reading with its verdict.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema, TS)]
pub struct ReadingState {
    /// The reading's id.
    pub id: String,
    /// The reading.
    pub reading: Reading,
    /// False when it was taken back or replaced.
    pub standing: bool,
    /// Who took it back, when and why, where somebody did.
    pub taken_back: Option<Withdrawal>,
    /// What is said of it.
    pub verdict: Verdict,
}

/// A chain with what it does.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema, TS)]
pub struct ChainState {
    /// The chain's id.
    pub id: String,
    /// The chain.
    pub chain: Chain,
    /// Levels to expect along it, one diagram a path.
    pub diagrams: Vec<LevelDiagram>,
    /// What forbids keying through it.
    pub stops: Vec<Stop>,
    /// What keying does to every element and port along it. No clearance.
    pub keyed: Vec<KeyedElement>,
    /// Why it could not be worked out, where it could not.
    pub refused: Option<String>,
    /// The checks it fits, by id.
    pub fits: Vec<String>,
}

/// Judges a session. Fails with every problem of the three views.
pub fn appraise(
    plan: &Plan,
    cautions: &Cautions,
    sheet: &Sheet,
) -> Result<Appraisal, Vec<Problem>> {
    appraise_in(Language::English, plan, cautions, sheet)
}

/// The same, with what is said of it in a language.
pub fn appraise_in(
    language: Language,
    plan: &Plan,
    cautions: &Cautions,
    sheet: &Sheet,
) -> Result<Appraisal, Vec<Problem>> {
    let Sheet { shop, session, .. } = sheet;
    let case = Case::new(plan, shop, repeater(sheet)?, session).in_language(language);
    let connected = session.chains.iter().filter(|(id, _)| session.chain_counts(id));
    let chains: Vec<ChainState> =
        connected.map(|(id, chain)| chain_state(&case, id, chain)).collect();
    let checks: Vec<CheckState> =
        plan.checks.iter().map(|check| check_state(&case, cautions, &chains, check)).collect();
    let reconciled = reconcile(&case, &sheet.site).expect("the views hold finite numbers only");
    let desense = causes(&checks, language);
    let mut findings = findings(&case, &checks, desense.as_ref());
    let licence = licence::verdicts(&case);
    findings.extend(licence::findings(&licence, language));
    findings.extend(reconciled.as_ref().and_then(|found| reconcile::finding(&case, found)));
    findings.sort_by_key(|finding| finding.weight);
    let cautions = cautions.states(session);
    Ok(Appraisal { cautions, findings, licence, desense, reconciled, checks, chains })
}

/// The repeater a session is about, once everything in the three views makes sense.
pub(crate) fn repeater(sheet: &Sheet) -> Result<&Repeater, Vec<Problem>> {
    let Sheet { shop, site, session } = sheet;
    let under = |root: &str, problems: Vec<Problem>| {
        let root = root.to_owned();
        problems.into_iter().map(move |p| Problem { at: format!("{root}.{}", p.at), ..p })
    };
    let problems: Vec<Problem> = under("shop", validate::shop(shop))
        .chain(under("site", validate::site(site)))
        .chain(under("session", validate::session(session)))
        .collect();
    if !problems.is_empty() {
        return Err(problems);
    }
    // A chain that names something unknown spoils itself, not the session: see `ChainState`.
    site.repeaters.get(&session.repeater).ok_or_else(|| {
        let what = format!("the site has no repeater {:?}", session.repeater);
        vec![Problem { at: "session.repeater".to_owned(), what, across: true }]
    })
}

fn check_state(
    case: &Case<'_>,
    cautions: &Cautions,
    chains: &[ChainState],
    check: &Check,
) -> CheckState {
    let standing = case.standing_readings();
    let readings: Vec<ReadingState> = case
        .session
        .readings
        .iter()
        .filter(|(_, reading)| reading.check == check.id)
        .map(|(id, reading)| ReadingState {
            id: id.clone(),
            reading: reading.clone(),
            standing: standing.contains_key(id.as_str()),
            taken_back: case.session.taken_back(id).cloned(),
            verdict: judge(case, id, reading),
        })
        .collect();
    let latest = readings.iter().filter(|r| r.standing).map(|r| r.reading.phase).max();
    let outcome = readings
        .iter()
        .filter(|r| r.standing && Some(r.reading.phase) == latest)
        .map(|r| r.verdict.outcome)
        .max();
    let fitting = chain_for(check, chains, &readings);
    let phase = latest.unwrap_or(Phase::AsFound);
    let through = |state: &ChainState| {
        let setup = case.resolve(&state.chain).ok()?;
        Some((state.id.clone(), expect(case, check, &setup, phase).ok()?))
    };
    let fits = chains.iter().filter(|state| state.fits.contains(&check.id));
    let expected = fits.filter_map(through).collect();
    CheckState {
        units: check.reads.units().to_vec(),
        outcome,
        readings,
        chain: fitting.map(|state| state.id.clone()),
        expected_at_plane: super::expect::at_plane(case, check, phase).ok().map(|(value, _)| value),
        expected,
        cautions: cautions.before(check).map(|caution| caution.id.clone()).collect(),
        check: check.clone(),
    }
}

/// The chain to take a check through: one its standing readings were taken through, else one that
/// nothing forbids keying, else any that fits; the newest of those.
fn chain_for<'a>(
    check: &Check,
    chains: &'a [ChainState],
    readings: &[ReadingState],
) -> Option<&'a ChainState> {
    let used = |id: &str| readings.iter().any(|r| r.standing && r.reading.chain == id);
    let may_key = |state: &ChainState| state.refused.is_none() && state.stops.is_empty();
    chains
        .iter()
        .filter(|state| state.fits.contains(&check.id))
        .max_by_key(|state| (used(&state.id), !check.keyed || may_key(state), &state.id))
}

/// Whether a check can be taken through a chain: same plane, same way on, a port that does it.
pub(crate) fn fits(case: &Case<'_>, check: &Check, chain: &Chain) -> bool {
    let Ok(setup) = case.resolve(chain) else {
        return false;
    };
    let port_does = match check.reads {
        Reads::Level => setup.port().kind != PortKind::Meter,
        Reads::Power | Reads::FrequencyError | Reads::Deviation => {
            setup.port().kind != PortKind::Generator
        }
    };
    chain.plane == check.plane
        && match check.through {
            Through::Direct => !setup.has_coupler(),
            Through::Coupler => setup.has_coupler() && !setup.into_antenna(),
            Through::Antenna => setup.into_antenna(),
        }
        && port_does
}

/// A chain with its levels and stops, recorded or only thought of.
pub fn chain_state(case: &Case<'_>, id: &str, chain: &Chain) -> ChainState {
    let worked = work_out(case, chain);
    let fits = case.plan.checks.iter().filter(|check| fits(case, check, chain));
    let fits = fits.map(|check| check.id.clone()).collect();
    let (worked, refused) = match worked {
        Ok(worked) => (worked, None),
        Err(error) => (Worked::default(), Some(error.said(case.language))),
    };
    let Worked { diagrams, stops, keyed } = worked;
    ChainState { id: id.to_owned(), chain: chain.clone(), diagrams, stops, keyed, refused, fits }
}

/// What comes of working a chain out.
#[derive(Default)]
struct Worked {
    diagrams: Vec<LevelDiagram>,
    stops: Vec<Stop>,
    keyed: Vec<KeyedElement>,
}

fn work_out(case: &Case<'_>, chain: &Chain) -> Result<Worked, ChainRefused> {
    let number = |source: OutOfRange| ChainRefused::Number { chain: chain.name.clone(), source };
    let setup = case.resolve(chain)?;
    let opening = Dbm::new(case.repeater.ratings.opening_level_dbm).map_err(number)?;
    let rated = Watts::new(case.repeater.ratings.power_w).map_err(number)?;
    let most = case.power_w().map_err(number)?;
    let (keyed, stops) = keyed(&setup, most)?;
    Ok(Worked { diagrams: setup.diagrams(opening, rated)?, stops, keyed })
}
