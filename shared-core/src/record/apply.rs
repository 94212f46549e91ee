//! How an admitted edit is written into a session document, and how the session is read back.
//!
//! The one place that knows where in the document each entry stands. Root: `schema`, `kind`,
//! `content`; content: `site`, `repeater`, `work_order`, `opened`, `summary` and the maps of
//! [`MAPS`], whose entries are added and never changed.

use std::collections::BTreeMap;

use automerge::transaction::{Transactable, Transaction};
use automerge::{ObjId, ObjType, ReadDoc, Value};
use autosurgeon::reconcile::{LoadKey, MapReconciler, NoKey};
use autosurgeon::{
    Hydrate, HydrateError, Reconcile, ReconcileError, Reconciler, hydrate_prop, reconcile_prop,
};

use super::attachment::{self, ATTACHMENTS, Attached, Attachment, CAPTIONS, Caption, SubjectKind};
use super::edit::{Author, EditRefused, RETRACTABLE, SessionEdit};
use super::gathered::Gathered;
use super::ids::is_entry_id;
use super::session::{
    Acknowledgement, Amendment, Chain, RETRACTIONS, Reading, Remark, Retraction, Session, SignOff,
    Stamp, Withdrawal,
};
use super::validate::{NAME_MAX, TEXT_MAX, sign_off_problem, text_problem};
use crate::units::Entry;

/// The maps of a session, each from an id to an entry.
pub(super) const MAPS: [&str; 14] = [
    "crew",
    "chains",
    "readings",
    "withdrawals",
    "acknowledgements",
    "adjustments",
    "notes",
    "departures",
    "restorations",
    RETRACTIONS,
    "sign_offs",
    "amendments",
    ATTACHMENTS,
    CAPTIONS,
];

const SUMMARY: &str = "summary";

/// Reads the whole session.
pub(super) fn read(doc: &Gathered<'_>, content: &ObjId) -> Result<Session, HydrateError> {
    Ok(Session {
        site: hydrate_prop(doc, content, "site")?,
        repeater: hydrate_prop(doc, content, "repeater")?,
        work_order: hydrate_prop(doc, content, "work_order")?,
        opened: hydrate_prop(doc, content, "opened")?,
        crew: hydrate_prop(doc, content, "crew")?,
        chains: hydrate_prop(doc, content, "chains")?,
        readings: hydrate_prop(doc, content, "readings")?,
        withdrawals: hydrate_prop(doc, content, "withdrawals")?,
        acknowledgements: hydrate_prop(doc, content, "acknowledgements")?,
        adjustments: hydrate_prop(doc, content, "adjustments")?,
        notes: hydrate_prop(doc, content, "notes")?,
        departures: later(doc, content, "departures")?,
        restorations: later(doc, content, "restorations")?,
        retractions: later(doc, content, RETRACTIONS)?,
        sign_offs: later(doc, content, "sign_offs")?,
        amendments: later(doc, content, "amendments")?,
        attachments: later(doc, content, ATTACHMENTS)?,
        captions: later(doc, content, CAPTIONS)?,
        summary: read_summary(doc, content)?,
    })
}

/// A map that documents of an earlier schema have not.
fn later<T: Hydrate>(
    doc: &Gathered<'_>,
    content: &ObjId,
    map: &str,
) -> Result<BTreeMap<String, T>, HydrateError> {
    match doc.document.get(content, map)? {
        None => Ok(BTreeMap::new()),
        Some(_) => hydrate_prop(doc, content, map),
    }
}

/// Every value the summary has: two when two people wrote it without seeing each other's.
fn read_summary(doc: &Gathered<'_>, content: &ObjId) -> Result<Vec<Remark>, HydrateError> {
    let mut statements = Vec::new();
    for (value, object) in doc.document.get_all(content, SUMMARY)? {
        match value {
            Value::Object(ObjType::Map) => statements.push(Remark::hydrate_map(doc, &object)?),
            other => {
                return Err(HydrateError::unexpected(
                    "a summary with its author",
                    format!("{other:?}"),
                ));
            }
        }
    }
    // The same order on every replica, whatever order the changes came in.
    statements.sort_by(|a, b| {
        (a.stamp.at, &a.stamp.by, &a.text).cmp(&(b.stamp.at, &b.stamp.by, &b.text))
    });
    Ok(statements)
}

/// Whether the session can take this edit: ids fresh, references there, texts and numbers sound.
pub(super) fn admit(
    session: &Session,
    edit: &SessionEdit,
    author: &Author,
) -> Result<(), EditRefused> {
    fit_id("person", &author.person)?;
    fit_text("device", &author.device, NAME_MAX)?;
    admit_after_sign_off(session, edit, author)?;
    match edit {
        SessionEdit::JoinCrew => fresh("crew member", &author.person, &session.crew),
        SessionEdit::ConnectChain { id, name, instrument, port, between, line, .. } => {
            fresh("chain", id, &session.chains)?;
            fit_text("name", name, NAME_MAX)?;
            fit_id("instrument", instrument)?;
            fit_id("port", port)?;
            between.iter().chain(line).try_for_each(|part| fit_id("part", part))
        }
        SessionEdit::RecordReading { .. } => admit_reading(session, edit),
        SessionEdit::WithdrawReading { id, reading, reason } => {
            fresh("withdrawal", id, &session.withdrawals)?;
            present("reading", reading, &session.readings)?;
            fit_text("reason", reason, TEXT_MAX)
        }
        SessionEdit::Acknowledge { id, caution } => {
            fresh("acknowledgement", id, &session.acknowledgements)?;
            fit_text("caution", caution, NAME_MAX)
        }
        SessionEdit::RecordAdjustment { id, text } => {
            fresh("adjustment", id, &session.adjustments)?;
            fit_text("adjustment", text, TEXT_MAX)
        }
        SessionEdit::AddNote { id, text } => {
            fresh("note", id, &session.notes)?;
            fit_text("note", text, TEXT_MAX)
        }
        SessionEdit::Summarise { text } => fit_text("summary", text, TEXT_MAX),
        SessionEdit::LeaveSite { id } => fresh("departure", id, &session.departures),
        SessionEdit::RecordRestoration { id, text } => {
            fresh("restoration", id, &session.restorations)?;
            fit_text("restoration", text, TEXT_MAX)
        }
        SessionEdit::Retract { id, list, entry } => {
            fresh("retraction", id, &session.retractions)?;
            admit_retraction(session, list, entry)
        }
        SessionEdit::SignOff { id, statement, key, signature } => {
            fresh("sign-off", id, &session.sign_offs)?;
            let problem = sign_off_problem(statement, key, signature);
            problem.map_or(Ok(()), |(field, problem)| Err(EditRefused::Unfit { field, problem }))
        }
        SessionEdit::Amend { id, reason } => {
            fresh("amendment", id, &session.amendments)?;
            fit_text("reason", reason, TEXT_MAX)
        }
        SessionEdit::Attach { id, what } => admit_attachment(session, id, what),
        SessionEdit::Caption { id, attachment, text } => {
            fresh("caption", id, &session.captions)?;
            present("attachment", attachment, &session.attachments)?;
            fit_text("caption", text, TEXT_MAX)
        }
    }
}

fn admit_reading(session: &Session, edit: &SessionEdit) -> Result<(), EditRefused> {
    let SessionEdit::RecordReading {
        id,
        check,
        chain,
        criterion,
        typed,
        unit,
        replaces,
        answered_by,
        ..
    } = edit
    else {
        return Ok(());
    };
    fresh("reading", id, &session.readings)?;
    fit_text("check", check, NAME_MAX)?;
    fit_text("criterion", criterion, NAME_MAX)?;
    present("chain", chain, &session.chains)?;
    if let Some(replaced) = replaces {
        present("reading", replaced, &session.readings)?;
    }
    if let Some(identity) = answered_by {
        fit_text("answered_by", identity, TEXT_MAX)?;
    }
    Entry::parse(typed, *unit)?;
    Ok(())
}

fn admit_attachment(session: &Session, id: &str, what: &Attached) -> Result<(), EditRefused> {
    fresh("attachment", id, &session.attachments)?;
    if let Some((field, problem)) = attachment::problem(what) {
        return Err(EditRefused::Unfit { field, problem });
    }
    match &what.of {
        Some(subject) if subject.kind == SubjectKind::Reading => {
            present("reading", &subject.id, &session.readings)
        }
        _ => Ok(()),
    }
}

/// After a sign-off, everybody says once why something must be changed before they change it.
fn admit_after_sign_off(
    session: &Session,
    edit: &SessionEdit,
    author: &Author,
) -> Result<(), EditRefused> {
    let awaited = !session.awaits_reason(&author.person).is_empty();
    match edit {
        SessionEdit::Amend { .. } if !awaited => Err(EditRefused::NothingToAmend),
        SessionEdit::Amend { .. } => Ok(()),
        // Two who sign the same thing agree: the second changes nothing.
        SessionEdit::SignOff { .. } => Ok(()),
        _ if awaited => Err(EditRefused::SignedOff),
        _ => Ok(()),
    }
}

fn admit_retraction(session: &Session, list: &str, entry: &str) -> Result<(), EditRefused> {
    if !RETRACTABLE.contains(&list) {
        let problem = format!("{:?} is none of: {}", short(list), RETRACTABLE.join(", "));
        return Err(EditRefused::Unfit { field: "list", problem });
    }
    if !session.holds(list, entry) {
        return Err(EditRefused::Missing { what: "entry", id: short(entry) });
    }
    if list == "chains" && session.reads_through(entry) {
        return Err(EditRefused::ReadThrough { chain: short(entry) });
    }
    let of_itself = session.retractions.get(entry).is_some_and(|it| it.list == RETRACTIONS);
    if !session.stands(list, entry) || (list == RETRACTIONS && of_itself) {
        return Err(EditRefused::NotRetractable { list: list.to_owned(), entry: short(entry) });
    }
    Ok(())
}

fn short(text: &str) -> String {
    text.chars().take(NAME_MAX).collect()
}

/// What an admitted edit adds: one value that goes into the document and into the view of it.
pub(super) enum Addition {
    Crew(String, Stamp),
    Chain(String, Chain),
    Reading(String, Reading),
    Withdrawal(String, Withdrawal),
    Acknowledgement(String, Acknowledgement),
    Adjustment(String, Remark),
    Note(String, Remark),
    Summary(Remark),
    Departure(String, Stamp),
    Restoration(String, Remark),
    Retraction(String, Retraction),
    SignOff(String, SignOff),
    Amendment(String, Amendment),
    Attachment(String, Attachment),
    Caption(String, Caption),
}

/// What an admitted edit adds to this session.
pub(super) fn addition(session: &Session, edit: &SessionEdit, author: &Author) -> Addition {
    let stamp = author.stamp();
    match edit.clone() {
        SessionEdit::JoinCrew => Addition::Crew(author.person.clone(), stamp),
        SessionEdit::ConnectChain { id, name, plane, instrument, port, between, line } => {
            Addition::Chain(id, Chain { name, plane, instrument, port, between, line, stamp })
        }
        SessionEdit::RecordReading {
            id,
            check,
            chain,
            criterion,
            typed,
            unit,
            phase,
            replaces,
            answered_by,
        } => {
            let connected = &session.chains[&chain];
            let (plane, instrument) = (connected.plane, connected.instrument.clone());
            let reading = Reading {
                check,
                chain,
                plane,
                criterion,
                instrument,
                typed,
                unit,
                phase,
                replaces,
                answered_by,
                stamp,
            };
            Addition::Reading(id, reading)
        }
        SessionEdit::WithdrawReading { id, reading, reason } => {
            Addition::Withdrawal(id, Withdrawal { reading, reason, stamp })
        }
        SessionEdit::Acknowledge { id, caution } => {
            Addition::Acknowledgement(id, Acknowledgement { caution, stamp })
        }
        SessionEdit::RecordAdjustment { id, text } => {
            Addition::Adjustment(id, Remark { text, stamp })
        }
        SessionEdit::AddNote { id, text } => Addition::Note(id, Remark { text, stamp }),
        SessionEdit::Summarise { text } => Addition::Summary(Remark { text, stamp }),
        SessionEdit::LeaveSite { id } => Addition::Departure(id, stamp),
        SessionEdit::RecordRestoration { id, text } => {
            Addition::Restoration(id, Remark { text, stamp })
        }
        SessionEdit::Retract { id, list, entry } => {
            Addition::Retraction(id, Retraction { list, entry, stamp })
        }
        SessionEdit::SignOff { id, statement, key, signature } => {
            Addition::SignOff(id, SignOff { statement, key, signature, stamp })
        }
        SessionEdit::Amend { id, reason } => {
            let awaiting = session.awaits_reason(&author.person);
            let of = awaiting.into_iter().map(str::to_owned).collect();
            Addition::Amendment(id, Amendment { of, reason, stamp })
        }
        SessionEdit::Attach { id, what } => Addition::Attachment(id, what.signed(stamp)),
        SessionEdit::Caption { id, attachment, text } => {
            Addition::Caption(id, session.next_caption(attachment, text, stamp))
        }
    }
}

/// Writes an addition into the document.
pub(super) fn write(
    tx: &mut Transaction<'_>,
    content: &ObjId,
    addition: &Addition,
) -> Result<(), ReconcileError> {
    match addition {
        Addition::Crew(id, stamp) => enter(tx, content, "crew", id, stamp),
        Addition::Chain(id, chain) => enter(tx, content, "chains", id, chain),
        Addition::Reading(id, reading) => enter(tx, content, "readings", id, reading),
        Addition::Withdrawal(id, entry) => enter(tx, content, "withdrawals", id, entry),
        Addition::Acknowledgement(id, entry) => enter(tx, content, "acknowledgements", id, entry),
        Addition::Adjustment(id, remark) => enter(tx, content, "adjustments", id, remark),
        Addition::Note(id, remark) => enter(tx, content, "notes", id, remark),
        Addition::Departure(id, stamp) => enter(tx, content, "departures", id, stamp),
        Addition::Restoration(id, remark) => enter(tx, content, "restorations", id, remark),
        Addition::Retraction(id, entry) => enter(tx, content, RETRACTIONS, id, entry),
        Addition::SignOff(id, entry) => enter(tx, content, "sign_offs", id, entry),
        Addition::Amendment(id, entry) => enter(tx, content, "amendments", id, entry),
        Addition::Attachment(id, entry) => enter(tx, content, ATTACHMENTS, id, entry),
        Addition::Caption(id, entry) => enter(tx, content, CAPTIONS, id, entry),
        Addition::Summary(remark) => {
            // A new map each time, so that two people's statements stay two whole values.
            let statement = tx.put_object(content, SUMMARY, ObjType::Map)?;
            reconcile_prop(tx, &statement, "text", remark.text.as_str())?;
            reconcile_prop(tx, &statement, "stamp", &remark.stamp)
        }
    }
}

/// Puts an addition into the view, as reading the document anew would find it.
pub(super) fn show(session: &mut Session, addition: Addition) {
    match addition {
        Addition::Crew(id, stamp) => drop(session.crew.insert(id, stamp)),
        Addition::Chain(id, chain) => drop(session.chains.insert(id, chain)),
        Addition::Reading(id, reading) => drop(session.readings.insert(id, reading)),
        Addition::Withdrawal(id, entry) => drop(session.withdrawals.insert(id, entry)),
        Addition::Acknowledgement(id, entry) => drop(session.acknowledgements.insert(id, entry)),
        Addition::Adjustment(id, remark) => drop(session.adjustments.insert(id, remark)),
        Addition::Note(id, remark) => drop(session.notes.insert(id, remark)),
        Addition::Departure(id, stamp) => drop(session.departures.insert(id, stamp)),
        Addition::Restoration(id, remark) => drop(session.restorations.insert(id, remark)),
        Addition::Retraction(id, entry) => drop(session.retractions.insert(id, entry)),
        Addition::SignOff(id, entry) => drop(session.sign_offs.insert(id, entry)),
        Addition::Amendment(id, entry) => drop(session.amendments.insert(id, entry)),
        Addition::Attachment(id, entry) => drop(session.attachments.insert(id, entry)),
        Addition::Caption(id, entry) => drop(session.captions.insert(id, entry)),
        // Whoever writes a summary has seen the ones before it: it settles them.
        Addition::Summary(remark) => session.summary = vec![remark],
    }
}

fn enter<T: Reconcile>(
    tx: &mut Transaction<'_>,
    content: &ObjId,
    map: &'static str,
    id: &str,
    entry: &T,
) -> Result<(), ReconcileError> {
    reconcile_prop(tx, content, map, Entered { id, entry })
}

/// One more entry of a map.
struct Entered<'a, T> {
    id: &'a str,
    entry: &'a T,
}

impl<T: Reconcile> Reconcile for Entered<'_, T> {
    type Key<'k> = NoKey;

    fn reconcile<R: Reconciler>(&self, mut reconciler: R) -> Result<(), R::Error> {
        reconciler.map()?.put(self.id, Whole(self.entry))
    }
}

/// What is made whole, in one go: field by field the document is asked for each before it is put,
/// which costs more than all else of an edit. A key that is never found says that it is new.
struct Whole<'a, T>(&'a T);

impl<T: Reconcile> Reconcile for Whole<'_, T> {
    type Key<'k> = ();

    fn reconcile<R: Reconciler>(&self, reconciler: R) -> Result<(), R::Error> {
        self.0.reconcile(reconciler)
    }

    fn hydrate_key<'k, D: autosurgeon::ReadDoc>(
        _document: &D,
        _object: &ObjId,
        _prop: autosurgeon::Prop<'_>,
    ) -> Result<LoadKey<Self::Key<'k>>, ReconcileError> {
        Ok(LoadKey::KeyNotFound)
    }

    fn key(&self) -> LoadKey<()> {
        LoadKey::Found(())
    }
}

fn fresh<T>(
    what: &'static str,
    id: &str,
    entries: &std::collections::BTreeMap<String, T>,
) -> Result<(), EditRefused> {
    fit_id(what, id)?;
    if entries.contains_key(id) {
        return Err(EditRefused::Taken { what, id: id.to_owned() });
    }
    Ok(())
}

fn present<T>(
    what: &'static str,
    id: &str,
    entries: &std::collections::BTreeMap<String, T>,
) -> Result<(), EditRefused> {
    if entries.contains_key(id) {
        return Ok(());
    }
    Err(EditRefused::Missing { what, id: id.chars().take(NAME_MAX).collect() })
}

fn fit_id(field: &'static str, id: &str) -> Result<(), EditRefused> {
    if is_entry_id(id) {
        return Ok(());
    }
    let shown: String = id.chars().take(NAME_MAX).collect();
    let problem = format!("{shown:?} is no id: 1 to 64 letters, digits and hyphens are");
    Err(EditRefused::Unfit { field, problem })
}

fn fit_text(field: &'static str, text: &str, longest: usize) -> Result<(), EditRefused> {
    match text_problem(text, longest) {
        Some(problem) => Err(EditRefused::Unfit { field, problem }),
        None => Ok(()),
    }
}
