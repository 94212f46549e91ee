//! The commands of the Session screen: show it, connect, judge, record, acknowledge, write.

use std::collections::BTreeMap;

use guyline_core::checks::{
    Case, ChainState, PaperHeads, Papers, Rules, Sheet, chain_state, judge,
};
use guyline_core::record::validate::Problem;
use guyline_core::record::{
    Author, Chain, Document, DocumentId, DocumentKind, Malformed, Session, SessionEdit, Stamp,
    Touched,
};

use super::asker::Asker;
use super::attachments::attachment_lines;
use super::edit::{admitted, as_reading, author, edit_session, record_for, undo_newest};
use super::history::{entry_words, subject_words};
use super::judged::Judged;
use super::pages::{JudgedEntry, SessionPage, SignedOff, Standing, Undoable};
use super::refusal::{Code, Refusal};
use super::requests::{
    Acknowledge, AskSession, ConnectChain, EnterReading, WithdrawReading, Write,
};
use super::today::{find_shop, is_here, names, standing};
use crate::Node;

/// A session with its shop and site, as they stand here.
pub fn papers(node: &Node, session: DocumentId) -> Result<Sheet, Refusal> {
    papers_and_heads(node, session).map(|(sheet, _)| sheet)
}

/// The same, with the newest changes each of the three was read at.
pub(super) fn papers_and_heads(
    node: &Node,
    session: DocumentId,
) -> Result<(Sheet, Papers), Refusal> {
    if !node.documents()?.contains(&session) {
        return Err(not_here("session", &session.to_string()));
    }
    let (session, of_session) = read(node, session, |document| document.session().cloned())?;
    let shop = find_shop(node)?.ok_or_else(|| not_here("shop", "of this session"))?;
    let (shop, of_shop) = read(node, shop, |document| document.shop().cloned())?;
    if !is_here(node, session.site, DocumentKind::Site)? {
        return Err(not_here("site", &session.site.to_string()));
    }
    let (site, of_site) = read(node, session.site, |document| document.site().cloned())?;
    let heads = Papers { session: of_session, shop: of_shop, site: of_site };
    Ok((Sheet { shop, site, session }, heads))
}

/// A document's text and heads in one look: between two, a merge could come in, and what is signed
/// would name changes that nobody judged.
pub(super) fn read<T>(
    node: &Node,
    id: DocumentId,
    look: impl FnOnce(&Document) -> Result<T, Malformed>,
) -> Result<(T, PaperHeads), Refusal> {
    Ok(node.with_document(id, |document| {
        let heads = document.heads().iter().map(ToString::to_string).collect();
        look(document).map(|said| (said, PaperHeads { document: id.to_string(), heads }))
    })??)
}

/// The Session screen, in English.
pub fn page(node: &Node, id: DocumentId) -> Result<SessionPage, Refusal> {
    shown(&Asker::in_english(node), id)
}

/// The Session screen as whoever asks is shown it.
pub(super) fn shown(asker: &Asker, id: DocumentId) -> Result<SessionPage, Refusal> {
    page_of(asker, id, papers(asker, id)?)
}

/// The Session screen of these papers.
pub(super) fn page_of(asker: &Asker, id: DocumentId, sheet: Sheet) -> Result<SessionPage, Refusal> {
    let Judged { rules, appraisal } = Judged::in_language(&sheet, asker.language)?;
    let Sheet { shop, mut site, session } = sheet;
    let hazards = site.all_hazards();
    let people = names(&shop);
    let standing = standing(asker, &people)?;
    let signed_off = session
        .sign_offs
        .iter()
        .map(|(id, sign_off)| SignedOff { id: id.clone(), stamp: sign_off.stamp.clone() });
    let signed_off = signed_off.collect();
    let awaits_reason =
        standing.person.as_ref().is_some_and(|person| !session.awaits_reason(person).is_empty());
    let undoable = undoable(&session, &rules, &standing);
    let attachments = attachment_lines(asker, &session, |of| subject_words(&session, &rules, of));
    let repeater = site.repeaters.remove(&session.repeater);
    Ok(SessionPage {
        id: id.to_string(),
        standing,
        shop: shop.name,
        site: site.name,
        access: site.access,
        hazards,
        repeater: repeater.ok_or_else(|| not_here("repeater", &session.repeater))?,
        people,
        departures: standing_only(&session, "departures", &session.departures),
        restorations: standing_only(&session, "restorations", &session.restorations),
        notes: standing_only(&session, "notes", &session.notes),
        adjustments: standing_only(&session, "adjustments", &session.adjustments),
        attachments,
        work_order: session.work_order,
        amendments: session.amendments,
        signed_off,
        awaits_reason,
        undoable,
        crew: session.crew,
        instruments: shop.instruments,
        parts: shop.parts,
        appraisal,
        summary: session.summary,
    })
}

/// The entries of a list that nobody took back.
fn standing_only<T: Clone>(
    session: &Session,
    list: &str,
    entries: &BTreeMap<String, T>,
) -> BTreeMap<String, T> {
    let stands = entries.iter().filter(|(id, _)| session.stands(list, id));
    stands.map(|(id, entry)| (id.clone(), entry.clone())).collect()
}

/// What an undo on this device would take back.
fn undoable(session: &Session, rules: &Rules, standing: &Standing) -> Option<Undoable> {
    let (list, id) = session.newest_entry(standing.person.as_ref()?, &standing.device)?;
    let entry = Touched { list: list.to_owned(), id: id.to_owned() };
    let words = entry_words(session, rules, &entry)?;
    Some(Undoable { entry, words })
}

/// The plan and the cautions of a sheet.
pub(super) fn rules(sheet: &Sheet) -> Rules {
    Rules::of(&sheet.shop, &sheet.session)
}

pub(super) fn show(asker: &Asker, asked: AskSession) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    let page = shown(asker, id)?;
    asker.visit_is_opened(id)?;
    Ok(page)
}

pub(super) fn join_crew(asker: &Asker, asked: AskSession) -> Result<SessionPage, Refusal> {
    write(asker, &asked.session, SessionEdit::JoinCrew)
}

pub(super) fn preview_chain(asker: &Asker, asked: ConnectChain) -> Result<ChainState, Refusal> {
    let id = session_id(&asked.session)?;
    let sheet = papers(asker, id)?;
    let author = author(asker)?;
    let chain = as_chain(&author, asked);
    let rules = rules(&sheet).in_language(asker.language);
    with_case(&rules, &sheet, |case| chain_state(case, "preview", &chain))
}

pub(super) fn connect_chain(asker: &Asker, asked: ConnectChain) -> Result<SessionPage, Refusal> {
    let session = asked.session.clone();
    let author = author(asker)?;
    connect(asker, session_id(&session)?, &author, asked)?;
    shown(asker, session_id(&session)?)
}

/// Connects a chain under a fresh id, if it can be worked out. Returns the id.
pub(crate) fn connect(
    asker: &Asker,
    session: DocumentId,
    author: &Author,
    asked: ConnectChain,
) -> Result<String, Refusal> {
    let sheet = papers(asker, session)?;
    let chain = as_chain(author, asked);
    let rules = rules(&sheet).in_language(asker.language);
    let state = with_case(&rules, &sheet, |case| chain_state(case, "new", &chain))?;
    if let Some(refused) = state.refused {
        let help = asker.language.pick(
            "choose parts the shop has, in an order that can be connected",
            "choisir des éléments de l’atelier, dans un ordre qui se branche",
        );
        return Err(Refusal::new(Code::ChainRefused, refused, help).at(chain.name));
    }
    let id = asker.fresh_id();
    let edit = SessionEdit::ConnectChain {
        id: id.clone(),
        name: chain.name,
        plane: chain.plane,
        instrument: chain.instrument,
        port: chain.port,
        between: chain.between,
        line: chain.line,
    };
    edit_session(asker, session, author, &edit)?;
    Ok(id)
}

pub(super) fn judge_entry(asker: &Asker, asked: EnterReading) -> Result<JudgedEntry, Refusal> {
    let sheet = papers(asker, session_id(&asked.session)?)?;
    let rules = rules(&sheet);
    let author = author(asker)?;
    let reading = as_reading(&sheet.session, &rules.plan, &author, &asked);
    // Worded as it would be recorded; judged in the language of the screen.
    let rules = rules.in_language(asker.language);
    let verdict = with_case(&rules, &sheet, |case| judge(case, "entry", &reading))?;
    let refusal = admitted(&rules, &sheet, &reading).err();
    Ok(JudgedEntry { verdict, refusal })
}

pub(super) fn record(asker: &Asker, asked: EnterReading) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    record_for(asker, id, &author(asker)?, &asked)?;
    shown(asker, id)
}

pub(super) fn withdraw(asker: &Asker, asked: WithdrawReading) -> Result<SessionPage, Refusal> {
    let WithdrawReading { session, reading, reason } = asked;
    write(asker, &session, SessionEdit::WithdrawReading { id: asker.fresh_id(), reading, reason })
}

pub(super) fn acknowledge(asker: &Asker, asked: Acknowledge) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    let known = rules(&papers(asker, id)?).cautions;
    if let Some(unknown) = asked.cautions.iter().find(|id| known.find(id).is_none()) {
        return Err(not_here("caution", unknown));
    }
    let author = author(asker)?;
    for caution in asked.cautions {
        let edit = SessionEdit::Acknowledge { id: asker.fresh_id(), caution };
        edit_session(asker, id, &author, &edit)?;
    }
    shown(asker, id)
}

pub(super) fn add_note(asker: &Asker, asked: Write) -> Result<SessionPage, Refusal> {
    write(asker, &asked.session, SessionEdit::AddNote { id: asker.fresh_id(), text: asked.text })
}

pub(super) fn record_adjustment(asker: &Asker, asked: Write) -> Result<SessionPage, Refusal> {
    let edit = SessionEdit::RecordAdjustment { id: asker.fresh_id(), text: asked.text };
    write(asker, &asked.session, edit)
}

pub(super) fn record_restoration(asker: &Asker, asked: Write) -> Result<SessionPage, Refusal> {
    let edit = SessionEdit::RecordRestoration { id: asker.fresh_id(), text: asked.text };
    write(asker, &asked.session, edit)
}

pub(super) fn leave_site(asker: &Asker, asked: AskSession) -> Result<SessionPage, Refusal> {
    write(asker, &asked.session, SessionEdit::LeaveSite { id: asker.fresh_id() })
}

pub(super) fn undo(asker: &Asker, asked: AskSession) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    undo_newest(asker, id, &author(asker)?)?;
    shown(asker, id)
}

pub(super) fn summarise(asker: &Asker, asked: Write) -> Result<SessionPage, Refusal> {
    write(asker, &asked.session, SessionEdit::Summarise { text: asked.text })
}

fn write(asker: &Asker, session: &str, edit: SessionEdit) -> Result<SessionPage, Refusal> {
    let id = session_id(session)?;
    edit_session(asker, id, &author(asker)?, &edit)?;
    shown(asker, id)
}

fn as_chain(author: &Author, asked: ConnectChain) -> Chain {
    Chain {
        name: asked.name,
        plane: asked.plane,
        instrument: asked.instrument,
        port: asked.port,
        between: asked.between,
        line: asked.line,
        stamp: Stamp { by: author.person.clone(), device: author.device.clone(), at: author.at },
    }
}

pub(super) fn with_case<T>(
    rules: &Rules,
    sheet: &Sheet,
    work: impl FnOnce(&Case<'_>) -> T,
) -> Result<T, Refusal> {
    let repeater = sheet
        .site
        .repeaters
        .get(&sheet.session.repeater)
        .ok_or_else(|| not_here("repeater", &sheet.session.repeater))?;
    let case = Case::new(&rules.plan, &sheet.shop, repeater, &sheet.session);
    Ok(work(&case.in_language(rules.language)))
}

pub(crate) fn session_id(text: &str) -> Result<DocumentId, Refusal> {
    text.parse().map_err(|error: guyline_core::record::NotAnId| {
        Refusal::new(Code::NotHere, error.to_string(), "open the session from the Today screen")
            .at("session")
    })
}

pub(super) fn not_here(what: &str, id: &str) -> Refusal {
    Refusal::new(
        Code::NotHere,
        format!("there is no {what} {id:?} on this device"),
        "merge with a device that has it, or with the shop's hub",
    )
}

pub(super) fn do_not_fit(problems: Vec<Problem>) -> Refusal {
    let count = problems.len();
    let first = problems.into_iter().next().expect("a refusal has a problem");
    let what = match count {
        1 => first.what,
        _ => format!("{} (and {} more)", first.what, count - 1),
    };
    Refusal::new(Code::EditRefused, what, "merge with the shop's hub, or correct the paper")
        .at(first.at)
}
