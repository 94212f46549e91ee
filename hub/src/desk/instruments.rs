//! The commands about instruments that are connected to this device: which, where, what one reads
//! now, and one level of a generator, which the guard lets through and a person agrees to.

use std::collections::BTreeMap;

use guyline_core::checks::chain_state;
use guyline_core::language::say;
use guyline_core::record::shop::Calibrated;
use guyline_core::record::{DocumentId, Instrument, PortKind, Shop};
use guyline_core::scpi::Profile;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use guyline_core::units::Unit;

use super::asker::Asker;
use super::edit::author;
use super::refusal::{Code, Refusal};
use super::requests::Nothing;
use super::session::{not_here, papers, rules, session_id, with_case};
use super::today::find_shop;
use crate::Node;
use crate::instruments::{Address, Answered, Conversation, InstrumentFault, Proposal};

/// An instrument and where it is connected.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct PlaceInstrument {
    /// The instrument's id.
    pub instrument: String,
    /// As `192.0.2.9:5025` or `/dev/ttyUSB0@9600`; none where it is no longer connected.
    pub address: Option<String>,
}

/// An instrument to ask who it is.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct TryInstrument {
    /// The instrument's id.
    pub instrument: String,
}

/// A reading to ask an instrument for.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AskInstrument {
    /// The session's id.
    pub session: String,
    /// The check's id.
    pub check: String,
    /// The chain's id.
    pub chain: String,
}

/// A level a generator may be set to.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct ProposeLevel {
    /// The session's id.
    pub session: String,
    /// The chain's id.
    pub chain: String,
    /// The number as typed.
    pub typed: String,
    /// Its unit.
    pub unit: Unit,
}

/// A person's word that a level may be set.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct AgreeToLevel {
    /// The proposal's id.
    pub proposal: String,
}

/// The instruments of the shop, as far as this device can ask them.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct InstrumentsPage {
    /// By id.
    pub instruments: BTreeMap<String, InstrumentHere>,
}

/// An instrument, as this device can ask it.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct InstrumentHere {
    /// What the crew calls it.
    pub name: String,
    /// Where it is connected to this device, where it is.
    pub address: Option<String>,
    /// The quantities its profile can ask for; empty where it has none.
    pub quantities: Vec<String>,
    /// Whether its profile can set a level.
    pub sets_level: bool,
}

/// Who an instrument is.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct InstrumentMet {
    /// What it answered to `*IDN?`.
    pub identity: String,
    /// The last day its calibration holds, where that is over.
    pub calibration_ended: Option<String>,
}

/// A number from an instrument, for a person to look at. It counts once it is recorded.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct LiveReading {
    /// To record it by.
    pub live: String,
    /// The number.
    pub typed: String,
    /// Its unit.
    pub unit: Unit,
    /// Who gave it.
    pub met: InstrumentMet,
}

/// A level the guard let through. Nothing was sent.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct LevelProposed {
    /// To agree by.
    pub proposal: String,
    /// What would be done.
    pub words: String,
}

/// A level that was set.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub struct LevelSet {
    /// What was done.
    pub words: String,
    /// What the instrument says its level is, where its profile can ask.
    pub reads: Option<String>,
}

/// The key of the setting that says where an instrument is connected. It is this device's matter,
/// and no paper's.
fn place_key(instrument: &str) -> String {
    format!("instrument {instrument}")
}

pub(super) fn list(node: &Node, _: Nothing) -> Result<InstrumentsPage, Refusal> {
    let mut instruments = BTreeMap::new();
    // A device that came in to no shop yet has none, and that is no fault.
    if find_shop(node)?.is_none() {
        return Ok(InstrumentsPage { instruments });
    }
    for (id, found) in shop(node)?.instruments.iter().filter(|(_, it)| it.retired.is_none()) {
        let profile = found.profile.as_deref().and_then(|text| Profile::parse(text).ok());
        let here = InstrumentHere {
            name: found.name.clone(),
            address: node.setting(&place_key(id))?.filter(|at| !at.is_empty()),
            quantities: profile.iter().flat_map(|it| it.reads.keys().cloned()).collect(),
            sets_level: profile.is_some_and(|profile| profile.level.is_some()),
        };
        instruments.insert(id.clone(), here);
    }
    Ok(InstrumentsPage { instruments })
}

pub(super) fn place(node: &Node, asked: PlaceInstrument) -> Result<InstrumentsPage, Refusal> {
    instrument(&shop(node)?, &asked.instrument)?;
    let address = match asked.address.as_deref().map(str::trim) {
        None | Some("") => String::new(),
        Some(text) => text.parse::<Address>().map_err(InstrumentFault::from)?.to_string(),
    };
    node.set_setting(&place_key(&asked.instrument), &address)?;
    list(node, Nothing {})
}

pub(super) fn meet(node: &Node, asked: TryInstrument) -> Result<InstrumentMet, Refusal> {
    let shop = shop(node)?;
    let (conversation, _) = open(node, &shop, &asked.instrument)?;
    Ok(met(node, &shop, &asked.instrument, &conversation.identity().to_string()))
}

pub(super) fn ask(node: &Node, asked: AskInstrument) -> Result<LiveReading, Refusal> {
    let sheet = papers(node, session_id(&asked.session)?)?;
    let plan = rules(&sheet).plan;
    let check = plan.find(&asked.check).ok_or_else(|| not_here("check", &asked.check))?;
    let chain = sheet.session.chains.get(&asked.chain);
    let id = &chain.ok_or_else(|| not_here("chain", &asked.chain))?.instrument;
    let (conversation, profile) = open(node, &sheet.shop, id)?;
    let ask = profile.ask(check.reads).ok_or_else(|| {
        let name = &sheet.shop.instruments[id].name;
        let what = format!("the profile of {name} cannot ask for {}", check.reads.name());
        Refusal::new(Code::InstrumentSilent, what, "add it to the profile, or type the number")
    })?;
    let heard = conversation.read(ask)?;
    let answered = Answered {
        id: node.fresh_id(),
        check: asked.check,
        chain: asked.chain,
        typed: heard.typed,
        unit: heard.unit,
        identity: heard.identity.to_string(),
        at: node.now(),
    };
    node.bench_link().keep(answered.clone());
    let met = met(node, &sheet.shop, id, &answered.identity);
    Ok(LiveReading { live: answered.id, typed: answered.typed, unit: answered.unit, met })
}

pub(super) fn propose(node: &Asker, asked: ProposeLevel) -> Result<LevelProposed, Refusal> {
    let session = session_id(&asked.session)?;
    let (id, message) = admitted(node, session, &asked.chain, &asked.typed, asked.unit)?;
    // Somebody has to answer for it, before anything is proposed.
    author(node)?;
    let shop = shop(node)?;
    let name = &instrument(&shop, &id)?.name;
    let words = say!(
        node.language,
        "Set the generator of {name} to {} {}: {message}",
        "Mettre le générateur de {name} à {} {} : {message}",
        asked.typed,
        asked.unit
    );
    let ProposeLevel { session, chain, typed, unit } = asked;
    let proposal = Proposal { id: node.fresh_id(), session, chain, typed, unit, at: node.now() };
    node.bench_link().propose(proposal.clone());
    Ok(LevelProposed { proposal: proposal.id, words })
}

pub(super) fn agree(node: &Asker, asked: AgreeToLevel) -> Result<LevelSet, Refusal> {
    author(node)?;
    let meant = node.bench_link().agree(&asked.proposal, node.now())?;
    // What is connected may have changed since: the guard speaks again.
    let session = session_id(&meant.session)?;
    let (id, message) = admitted(node, session, &meant.chain, &meant.typed, meant.unit)?;
    let shop = shop(node)?;
    let (conversation, profile) = open(node, &shop, &id)?;
    let ask = profile.ask(guyline_core::units::Reads::Level);
    let heard = conversation.set_level(&message, ask)?;
    let name = &instrument(&shop, &id)?.name;
    let words = say!(
        node.language,
        "The generator of {name} was set: {message}",
        "Le générateur de {name} a été réglé : {message}"
    );
    let reads = heard.map(|heard| format!("{} {}", heard.typed, heard.unit));
    Ok(LevelSet { words, reads })
}

/// The instrument of a chain and the message that sets its level, if the guard lets it through: a
/// port that gives a signal, and a chain that nothing forbids to key, since somebody may key it.
fn admitted(
    node: &Asker,
    session: DocumentId,
    chain: &str,
    typed: &str,
    unit: Unit,
) -> Result<(String, String), Refusal> {
    let sheet = papers(node, session)?;
    let found = sheet.session.chains.get(chain).ok_or_else(|| not_here("chain", chain))?;
    let rules = rules(&sheet).in_language(node.language);
    let state = with_case(&rules, &sheet, |case| chain_state(case, chain, found))?;
    if let Some(refused) = state.refused {
        let help = node
            .language
            .pick("connect a chain that can be worked out", "brancher un montage qui se calcule");
        return Err(Refusal::new(Code::ChainRefused, refused, help).at(found.name.clone()));
    }
    if let Some(stop) = state.stops.first() {
        return Err(Refusal::new(Code::Stopped, &stop.what, &stop.help).at(&stop.at));
    }
    let meant = instrument(&sheet.shop, &found.instrument)?;
    let port = meant.ports.get(&found.port).map(|port| port.kind);
    if !matches!(port, Some(PortKind::Generator | PortKind::Duplex)) {
        let what = format!("the port of {} that is connected gives no signal", meant.name);
        return Err(Refusal::new(Code::ChainRefused, what, "connect the generator's port"));
    }
    let level = profile(meant)?.level.ok_or_else(|| no_level(&sheet.shop, &found.instrument))?;
    let message = level.message(typed, unit).map_err(|error| {
        Refusal::new(Code::NotAReading, error.to_string(), "choose a level within the bounds")
    })?;
    Ok((found.instrument.clone(), message))
}

fn open(node: &Node, shop: &Shop, id: &str) -> Result<(Conversation, Profile), Refusal> {
    let meant = instrument(shop, id)?;
    let profile = profile(meant)?;
    let at = node.setting(&place_key(id))?.filter(|at| !at.is_empty()).ok_or_else(|| {
        let what = format!("{} is not connected to this device", meant.name);
        let help = "say under Devices where it is connected, or type the number";
        Refusal::new(Code::InstrumentSilent, what, help)
    })?;
    let address: Address = at.parse().map_err(InstrumentFault::from)?;
    Ok((Conversation::open(&address, meant, profile.clone())?, profile))
}

fn profile(meant: &Instrument) -> Result<Profile, Refusal> {
    let text = meant.profile.as_deref().ok_or_else(|| {
        let what = format!("{} has no profile, so nothing can be asked", meant.name);
        Refusal::new(Code::InstrumentSilent, what, "write one under Papers, or type the number")
    })?;
    let parsed = Profile::parse(text);
    Ok(parsed.map_err(|source| InstrumentFault::Profile { name: meant.name.clone(), source })?)
}

fn met(node: &Node, shop: &Shop, id: &str, identity: &str) -> InstrumentMet {
    let today = node.now().day();
    let due = shop.calibration_held_to(Calibrated::Instrument, id, today);
    let ended = due.filter(|due| due.parse().is_ok_and(|due: chrono::NaiveDate| today > due));
    InstrumentMet { identity: identity.to_owned(), calibration_ended: ended.map(str::to_owned) }
}

fn shop(node: &Node) -> Result<Shop, Refusal> {
    let id = find_shop(node)?.ok_or_else(|| not_here("shop", "of this device"))?;
    Ok(node.with_document(id, |document| document.shop().cloned())??)
}

fn instrument<'a>(shop: &'a Shop, id: &str) -> Result<&'a Instrument, Refusal> {
    shop.instruments.get(id).ok_or_else(|| not_here("instrument", id))
}

fn no_level(shop: &Shop, id: &str) -> Refusal {
    let name = shop.instruments.get(id).map_or(id, |found| found.name.as_str());
    let what = format!("the profile of {name} sets no level");
    Refusal::new(Code::InstrumentSilent, what, "set it on the instrument itself")
}

impl From<InstrumentFault> for Refusal {
    fn from(fault: InstrumentFault) -> Self {
        Self::new(Code::InstrumentSilent, fault.to_string(), fault.help())
    }
}
