//! The commands that close a visit and look at it again: sign off, amend, verify.
//!
//! A sign-off is a statement of what stands now, signed by this device's key. Verifying it tells
//! three things apart: whether the signature is true, whether the same record judged by this
//! program says the same, and what was written since. It proves which device signed; whose device
//! that is, is not said here.

use guyline_core::checks::{Difference, PaperHeads, Papers, Sheet, Statement};
use guyline_core::record::{
    Amendment, Author, Document, DocumentId, DocumentKind, Malformed, SessionEdit, SignOff, Since,
};

use super::asker::Asker;
use super::edit::{author, edit_session};
use super::history::{in_words, sealers};
use super::judged::Judged;
use super::pages::{PaperSince, SessionPage, SessionVerification, SignOffVerified};
use super::papers::shop_id;
use super::refusal::Refusal;
use super::requests::{AskSession, GiveReason};
use super::session::{papers, papers_and_heads, session_id, shown};
use super::today::names;
use crate::Node;
use crate::identity::PublicKey;

pub(super) fn sign_off(node: &Asker, asked: AskSession) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    sign(node, id, &author(node)?)?;
    shown(node, id)
}

/// Signs a visit off as it stands. Returns the sign-off's id.
pub fn sign(node: &Node, session: DocumentId, author: &Author) -> Result<String, Refusal> {
    let (sheet, heads) = papers_and_heads(node, session)?;
    let statement = Judged::of(&sheet)?.statement(heads, author).text();
    let id = node.fresh_id();
    let edit = SessionEdit::SignOff {
        id: id.clone(),
        key: node.key().to_string(),
        signature: node.sign_statement(&statement),
        statement,
    };
    edit_session(node, session, author, &edit)?;
    Ok(id)
}

pub(super) fn amend(node: &Asker, asked: GiveReason) -> Result<SessionPage, Refusal> {
    let id = session_id(&asked.session)?;
    let edit = SessionEdit::Amend { id: node.fresh_id(), reason: asked.reason };
    edit_session(node, id, &author(node)?, &edit)?;
    shown(node, id)
}

pub(super) fn show(asker: &Asker, asked: AskSession) -> Result<SessionVerification, Refusal> {
    verified_for(asker, session_id(&asked.session)?)
}

/// Checks every sign-off of a session against the record as it is here, and tells it in English.
pub fn verify(node: &Node, id: DocumentId) -> Result<SessionVerification, Refusal> {
    verified_for(&Asker::in_english(node), id)
}

/// The same for whoever asks. What was signed was signed in English, and is compared in it.
fn verified_for(node: &Asker, id: DocumentId) -> Result<SessionVerification, Refusal> {
    let position = node.position()?;
    let sheet = papers(node, id)?;
    let judged = Judged::of(&sheet);
    let sign_offs = sheet.session.sign_offs.iter();
    let sign_offs = sign_offs.map(|(at, it)| verified(node, id, (&sheet, &judged), at, it));
    let sign_offs = sign_offs.collect::<Result<_, _>>()?;
    let repeater = sheet.site.repeaters.get(&sheet.session.repeater);
    Ok(SessionVerification {
        id: id.to_string(),
        repeater: repeater.map_or(&sheet.session.repeater, |repeater| &repeater.name).clone(),
        people: names(&sheet.shop),
        site: sheet.site.name,
        sign_offs,
        position,
    })
}

fn verified(
    node: &Asker,
    id: DocumentId,
    (sheet, judged): (&Sheet, &Result<Judged, Refusal>),
    sign_off_id: &str,
    sign_off: &SignOff,
) -> Result<SignOffVerified, Refusal> {
    let mut told = SignOffVerified {
        id: sign_off_id.to_owned(),
        stamp: sign_off.stamp.clone(),
        key: sign_off.key.parse().map(|key: PublicKey| key.short()).unwrap_or_default(),
        this_device: sign_off.key == node.key().to_string(),
        member: node.name_of(&sign_off.key),
        refused: None,
        core: None,
        missing: None,
        papers: Vec::new(),
        after: Vec::new(),
        apart: Vec::new(),
        amendments: sheet
            .session
            .amendments
            .values()
            .filter(|a| of(a, sign_off_id))
            .cloned()
            .collect(),
        rejudged: Vec::new(),
        now: Vec::new(),
        intact: false,
    };
    let statement = match true_statement(id, sign_off) {
        Ok(statement) => statement,
        Err(why) => {
            told.refused = Some(why);
            return Ok(told);
        }
    };
    told.core = Some(statement.core.clone());
    let Some((since, then)) = as_signed(node, id, sheet, &statement, sign_off_id)? else {
        let missing = node.language.pick(
            "changes that it signed are not on this device: merge with one that has them",
            "des modifications signées ne sont pas sur cet appareil : fusionner avec un qui les a",
        );
        told.missing = Some(missing.to_owned());
        return Ok(told);
    };
    told.rejudged = match Judged::of(&then) {
        Ok(judged) => judged_again(&judged, &statement),
        Err(refusal) => {
            told.refused = Some(refusal.what);
            return Ok(told);
        }
    };
    let judged = judged.as_ref().map_err(Clone::clone)?;
    told.now = judged_again(judged, &statement);
    let sealers = sealers(node, id)?;
    told.papers = papers_since(node, sheet, &statement)?;
    let rules = judged.rules.clone().in_language(node.language);
    let words = |step| in_words(&sheet.session, &rules, &sealers, step);
    told.after = since.after.into_iter().map(words).collect();
    told.apart = since.apart.into_iter().map(words).collect();
    let unchanged = told.after.is_empty() && told.apart.is_empty();
    told.intact = unchanged && told.rejudged.is_empty() && told.now.is_empty();
    Ok(told)
}

fn of(amendment: &Amendment, sign_off: &str) -> bool {
    amendment.of.iter().any(|id| id == sign_off)
}

/// The statement of a sign-off, where its signature is true and it is about this session, or why it
/// proves nothing.
fn true_statement(id: DocumentId, sign_off: &SignOff) -> Result<Statement, String> {
    let key: PublicKey = sign_off.key.parse().map_err(|error| format!("{error}"))?;
    key.verify_statement(&sign_off.statement, &sign_off.signature)
        .map_err(|error| error.to_string())?;
    let statement = Statement::read(&sign_off.statement).map_err(|error| error.to_string())?;
    let stamp = &sign_off.stamp;
    if statement.session.document != id.to_string() {
        return Err("it was signed about another session".to_owned());
    }
    if (&statement.by, &statement.device, statement.at) != (&stamp.by, &stamp.device, stamp.at) {
        return Err(
            "it was signed by another person, device or time than the entry says".to_owned()
        );
    }
    Ok(statement)
}

/// What was written since, and the papers as they were when they were signed. None when changes of
/// that time are not here.
fn as_signed(
    node: &Node,
    id: DocumentId,
    sheet: &Sheet,
    statement: &Statement,
    sign_off: &str,
) -> Result<Option<(Since, Sheet)>, Refusal> {
    let Statement { session, shop, site, .. } = statement;
    let since = node.with_document(id, |document| document.since(&session.heads, sign_off))??;
    let then = at_heads(node, sheet, session, shop, site)?;
    Ok(since.zip(then))
}

/// The papers of a session as they were at these newest changes. None when some are not here.
pub(super) fn at_heads(
    node: &Node,
    now: &Sheet,
    session: &PaperHeads,
    shop: &PaperHeads,
    site: &PaperHeads,
) -> Result<Option<Sheet>, Refusal> {
    let id = session_id(&session.document)?;
    let session = node.with_document(id, |d| at(d, session, |d| d.session().cloned()))??;
    let shop = node.with_document(shop_id(node)?, |d| at(d, shop, |d| d.shop().cloned()))??;
    let site = node.with_document(now.session.site, |d| at(d, site, |d| d.site().cloned()))??;
    Ok(match (session, shop, site) {
        (Some(session), Some(shop), Some(site)) => Some(Sheet { shop, site, session }),
        _ => None,
    })
}

/// What a document said at these newest changes. None when it is another one or does not know them.
pub(super) fn at<T>(
    document: &Document,
    paper: &PaperHeads,
    look: impl FnOnce(&Document) -> Result<T, Malformed>,
) -> Result<Option<T>, Refusal> {
    if paper.document != document.id().to_string() {
        return Ok(None);
    }
    let then = document.as_at(&paper.heads)?;
    Ok(then.as_ref().map(look).transpose()?)
}

/// What this program says of these papers otherwise than the statement.
fn judged_again(judged: &Judged, signed: &Statement) -> Vec<Difference> {
    let papers = Papers {
        session: signed.session.clone(),
        shop: signed.shop.clone(),
        site: signed.site.clone(),
    };
    let author = Author { person: signed.by.clone(), device: signed.device.clone(), at: signed.at };
    signed.differences(&judged.statement(papers, &author))
}

fn papers_since(
    node: &Node,
    sheet: &Sheet,
    signed: &Statement,
) -> Result<Vec<PaperSince>, Refusal> {
    let mut papers = Vec::new();
    let of_both = [
        (DocumentKind::Shop, shop_id(node)?, &signed.shop),
        (DocumentKind::Site, sheet.session.site, &signed.site),
    ];
    for (kind, id, paper) in of_both {
        let changes = node.with_document(id, |document| document.changes_since(&paper.heads))?;
        if let Some(changes) = changes.filter(|changes| *changes > 0) {
            papers.push(PaperSince { paper: kind.word().to_owned(), changes });
        }
    }
    Ok(papers)
}
