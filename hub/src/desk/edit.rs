//! How an edit reaches a session: admitted by the core, written as one change, on disk when this
//! returns.
//!
//! The author is given, so that a played-back day uses the times of its files and a screen the
//! device's own clock.

use guyline_core::checks::{Plan, Rules, Sheet, admit_reading};
use guyline_core::record::{Author, DocumentId, Plane, Reading, SessionEdit, Stamp};

use super::asker::Asker;
use super::refusal::{Code, Refusal};
use super::requests::EnterReading;
use super::session::papers;
use super::today::demand_here;
use crate::Node;

/// Who writes from this device's screen, now.
pub fn author(node: &Node) -> Result<Author, Refusal> {
    let person = node.person()?.ok_or_else(|| {
        Refusal::new(
            Code::NobodyHolds,
            "nobody has said who holds this device",
            "choose your name on the Today screen; every entry is signed with it",
        )
    })?;
    // A browser's grant may outlast its person's time at the shop.
    if node.visitor().is_some() {
        demand_here(node, &person)?;
    }
    Ok(Author { person, device: node.made_at()?, at: node.now() })
}

/// Writes an edit into a session. When this returns it is on disk.
pub fn edit_session(
    node: &Node,
    session: DocumentId,
    author: &Author,
    edit: &SessionEdit,
) -> Result<(), Refusal> {
    Ok(node.edit(session, |document| document.apply(edit, author))??)
}

/// Records a reading under a fresh id, if the core admits it. Returns the id.
pub fn record_reading(
    node: &Node,
    session: DocumentId,
    author: &Author,
    asked: &EnterReading,
) -> Result<String, Refusal> {
    record_for(&Asker::in_english(node), session, author, asked)
}

/// The same for whoever asks: what is recorded is worded by the plan as it is shipped, why it is
/// not, in their language.
pub(super) fn record_for(
    node: &Asker,
    session: DocumentId,
    author: &Author,
    asked: &EnterReading,
) -> Result<String, Refusal> {
    let sheet = papers(node, session)?;
    let rules = Rules::of(&sheet.shop, &sheet.session);
    let reading = as_reading(&sheet.session, &rules.plan, author, asked);
    admitted(&rules.in_language(node.language), &sheet, &reading)?;
    let answered_by = node.bench_link().vouch(node.now(), &reading, asked.live.as_deref())?;
    let id = node.fresh_id();
    let edit = SessionEdit::RecordReading {
        id: id.clone(),
        check: reading.check,
        chain: reading.chain,
        criterion: reading.criterion,
        typed: reading.typed,
        unit: reading.unit,
        phase: reading.phase,
        replaces: reading.replaces,
        answered_by,
    };
    edit_session(node, session, author, &edit)?;
    Ok(id)
}

/// Whether a reading may be recorded by these rules, and why not in their language.
pub(super) fn admitted(rules: &Rules, sheet: &Sheet, reading: &Reading) -> Result<(), Refusal> {
    admit_reading(rules.language, &rules.plan, &rules.cautions, sheet, reading)
        .map_err(|error| Refusal::not_admitted(error, rules.language))
}

/// Takes back what this author last entered on this device and nobody has taken back: a new change,
/// so that both stay in view.
pub fn undo_newest(node: &Node, session: DocumentId, author: &Author) -> Result<(), Refusal> {
    let newest = node.with_document(session, |document| {
        let session = document.session()?;
        let newest = session.newest_entry(&author.person, &author.device);
        Ok::<_, Refusal>(newest.map(|(list, entry)| (list, entry.to_owned())))
    })??;
    let (list, entry) = newest.ok_or_else(|| {
        let help = "only what you entered on this device is taken back; others undo their own";
        Refusal::new(Code::NotHere, "there is nothing of yours to take back", help)
    })?;
    let id = node.fresh_id();
    let edit = match list {
        "readings" => {
            SessionEdit::WithdrawReading { id, reading: entry, reason: "undone".to_owned() }
        }
        _ => SessionEdit::Retract { id, list: list.to_owned(), entry },
    };
    edit_session(node, session, author, &edit)
}

/// The reading an entry would become. What it names wrongly the core refuses by name.
pub(super) fn as_reading(
    session: &guyline_core::record::Session,
    plan: &Plan,
    author: &Author,
    asked: &EnterReading,
) -> Reading {
    let chain = session.chains.get(&asked.chain);
    Reading {
        check: asked.check.clone(),
        chain: asked.chain.clone(),
        plane: chain.map_or(Plane::AntennaPort, |chain| chain.plane),
        criterion: plan.find(&asked.check).map_or("none", |c| c.criterion.as_str()).to_owned(),
        instrument: chain.map(|chain| chain.instrument.clone()).unwrap_or_default(),
        typed: asked.typed.trim().to_owned(),
        unit: asked.unit,
        phase: asked.phase,
        replaces: asked.replaces.clone(),
        answered_by: None,
        stamp: Stamp { by: author.person.clone(), device: author.device.clone(), at: author.at },
    }
}
