//! The command of a site's report: a sealed file from the site's paper and every visit to it, and
//! the check of one.
//!
//! Each document is read with the newest changes it was read at, and the seal names them all: so
//! the report can be made again from what it was made from, and what was written since is told.

use guyline_core::checks::{Cautions, Difference, PaperHeads, Papers, Sheet, Statement};
use guyline_core::record::{
    Author, Document, DocumentId, DocumentKind, Malformed, Session, Shop, Site,
};
use guyline_core::report::{Besides, Language, Paperwork, SiteReport, Visit, site_report};
use guyline_core::time::Timestamp;

use super::judged::Judged;
use super::pages::{FileVerification, ReportFile};
use super::papers::{disputed, shop_id};
use super::refusal::{Code, Refusal};
use super::report::{MadeFile, Wanted, pictures_here, pictures_then, plain};
use super::requests::AskSiteReport;
use super::session::{not_here, read};
use super::sign_off::at;
use super::today::{find_shop, is_here, of_kind};
use crate::Node;
use crate::attachments::renditions;
use crate::render::seal::{self, Origin, Sealed};
use crate::render::{FileForm, render};

pub(super) fn make(node: &Node, asked: AskSiteReport) -> Result<ReportFile, Refusal> {
    let AskSiteReport { site, form, language, paper } = asked;
    let made = site_report_file(node, &site, Wanted { form, language, paper })?;
    Ok(ReportFile::of(made.name, form.media_type(), &made.bytes))
}

/// Makes a site's report and seals it. The site is named by its id or its name.
pub fn site_report_file(node: &Node, site: &str, wanted: Wanted) -> Result<MadeFile, Refusal> {
    let papers = Papered::now(node, site_id(node, site)?)?;
    let origin = Origin {
        session: None,
        visits: papers.visits.iter().map(|(heads, _)| heads.clone()).collect(),
        shop: papers.of_shop.clone(),
        site: papers.of_site.clone(),
        program: env!("CARGO_PKG_VERSION").to_owned(),
        language: wanted.language,
        paper: wanted.paper,
        device: node.name()?,
        pictures: Vec::new(),
    };
    let mut report = papers.report(wanted.language);
    if matches!(wanted.form, FileForm::Pdf | FileForm::Html) {
        report.pictures = pictures_here(node, report.photographs(), renditions::SMALL);
    }
    let origin = Origin { pictures: report.pictures.keys().cloned().collect(), ..origin };
    let look = (wanted.language, wanted.paper);
    let work = Paperwork::Site(&report, &origin.lines());
    let content = render(work, wanted.form, look, node.typesetter())?;
    let words = [report.site.as_str(), "site", report.as_of.as_deref().unwrap_or_default()];
    Ok(MadeFile {
        name: format!("{}.{}", plain(&words), wanted.form.extension()),
        bytes: seal::seal(content, wanted.form, &origin, node.device_key()),
    })
}

/// A site by its id, or by its name where no other one is called so.
pub(super) fn site_id(node: &Node, asked: &str) -> Result<DocumentId, Refusal> {
    if let Ok(id) = asked.parse() {
        return match is_here(node, id, DocumentKind::Site)? {
            true => Ok(id),
            false => Err(not_here("site", asked)),
        };
    }
    let mut named = Vec::new();
    for id in of_kind(node, DocumentKind::Site)? {
        let id = id?;
        let called = |site: &Site| site.name.eq_ignore_ascii_case(asked.trim());
        if node.with_document(id, |document| document.site().is_ok_and(called))? {
            named.push(id);
        }
    }
    match named[..] {
        [id] => Ok(id),
        [] => Err(not_here("site", asked)),
        _ => {
            let what = format!("{} sites are called {asked:?}", named.len());
            let ids: Vec<String> = named.iter().map(ToString::to_string).collect();
            let help = format!("name one by its id: {}", ids.join(", "));
            Err(Refusal::new(Code::NotHere, what, help).at("site"))
        }
    }
}

/// A site with every visit to it, each with the newest changes it was read at.
struct Papered {
    shop: Shop,
    of_shop: PaperHeads,
    site: Site,
    of_site: PaperHeads,
    /// Where two people wrote apart in the site's paper.
    disputed: Vec<String>,
    visits: Vec<(PaperHeads, Session)>,
}

impl Papered {
    /// As everything stands here.
    fn now(node: &Node, id: DocumentId) -> Result<Self, Refusal> {
        let (shop, of_shop) = read(node, shop_id(node)?, |document| document.shop().cloned())?;
        let ((site, disputed), of_site) = read(node, id, site_of)?;
        let mut visits = Vec::new();
        for session in of_kind(node, DocumentKind::Session)? {
            let session = session?;
            // What a later version wrote cannot be read here, nor be said to be of this site.
            let of_it =
                node.with_document(session, |d| d.session().is_ok_and(|found| found.site == id))?;
            if of_it {
                let (session, heads) = read(node, session, |document| document.session().cloned())?;
                visits.push((heads, session));
            }
        }
        Ok(Self { shop, of_shop, site, of_site, disputed, visits })
    }

    /// As everything stood when a file was made. None where some of it is not here.
    fn then(node: &Node, origin: &Origin) -> Result<Option<Self>, Refusal> {
        let shop = |d: &_| at(d, &origin.shop, |d| d.shop().cloned());
        let Some(id) = find_shop(node)? else { return Ok(None) };
        let Some(shop) = node.with_document(id, shop)?? else { return Ok(None) };
        let Some(id) = here(node, &origin.site, DocumentKind::Site)? else { return Ok(None) };
        let site = node.with_document(id, |d| at(d, &origin.site, site_of))??;
        let Some((site, disputed)) = site else { return Ok(None) };
        let mut visits = Vec::new();
        for heads in &origin.visits {
            let Some(id) = here(node, heads, DocumentKind::Session)? else { return Ok(None) };
            let session = node.with_document(id, |d| at(d, heads, |d| d.session().cloned()))??;
            let Some(session) = session else { return Ok(None) };
            visits.push((heads.clone(), session));
        }
        let (of_shop, of_site) = (origin.shop.clone(), origin.site.clone());
        Ok(Some(Self { shop, of_shop, site, of_site, disputed, visits }))
    }

    fn report(&self, language: Language) -> SiteReport {
        let (mut visits, mut unread) = (Vec::new(), Vec::new());
        for (heads, session) in &self.visits {
            let sheet = self.sheet(session);
            match Judged::in_language(&sheet, language) {
                Ok(judged) => {
                    let report = judged.report(&sheet);
                    let (session, appraisal) = (heads.document.clone(), judged.appraisal);
                    visits.push(Visit { session, sheet, appraisal, report });
                }
                Err(refusal) => {
                    unread.push(not_judged(&session.work_order, &refusal.what, language));
                }
            }
        }
        let (disputed, deferral) = (self.disputed.clone(), &Cautions::of(language).deferral);
        site_report(&self.shop, &self.site, &visits, Besides { unread, disputed, deferral })
    }

    fn sheet(&self, session: &Session) -> Sheet {
        Sheet { shop: self.shop.clone(), site: self.site.clone(), session: session.clone() }
    }
}

/// A visit that cannot be judged, and why. Refusals are said in English.
fn not_judged(work_order: &str, why: &str, language: Language) -> String {
    match language {
        Language::English => format!("{work_order}: {why}"),
        Language::French => format!("{work_order} : dit en anglais : « {why} »"),
    }
}

/// A site, and where two people wrote apart in its paper.
fn site_of(document: &Document) -> Result<(Site, Vec<String>), Malformed> {
    let site = document.site()?.clone();
    let paper = serde_json::to_value(&site).expect("papers hold text keys and plain values");
    Ok((site, disputed(&document.conflicts(), &paper)))
}

/// A document of this kind, where it is here.
fn here(
    node: &Node,
    heads: &PaperHeads,
    kind: DocumentKind,
) -> Result<Option<DocumentId>, Refusal> {
    let Ok(id) = heads.document.parse() else { return Ok(None) };
    Ok(is_here(node, id, kind)?.then_some(id))
}

/// Checks a site's report against the record.
pub(super) fn against_record(
    node: &Node,
    sealed: &Sealed<'_>,
    mut told: FileVerification,
) -> Result<FileVerification, Refusal> {
    let origin = &sealed.origin;
    let Some(then) = Papered::then(node, origin)? else {
        told.missing = Some("changes it was made from are not on this device".to_owned());
        return Ok(told);
    };
    let look = (origin.language, origin.paper);
    let mut report = then.report(origin.language);
    match pictures_then(node, &origin.pictures, renditions::SMALL) {
        Ok(pictures) => report.pictures = pictures,
        Err(missing) => {
            told.missing = Some(missing);
            return Ok(told);
        }
    }
    let lines = origin.lines();
    let work = Paperwork::Site(&report, &lines);
    let again = render(work, sealed.form, look, node.typesetter())?;
    told.same_file = Some(again.trim_ascii_end() == sealed.content.trim_ascii_end());
    if let Some(id) = here(node, &origin.site, DocumentKind::Site)? {
        told.now = differences(&then, &Papered::now(node, id)?);
    }
    told.changes = changes(node, origin)?;
    told.intact = told.same_file == Some(true) && told.now.is_empty() && told.changes == 0;
    Ok(told)
}

/// How many changes the site and the visits that it tells of got since.
fn changes(node: &Node, origin: &Origin) -> Result<usize, Refusal> {
    let visits = origin.visits.iter().map(|heads| (heads, DocumentKind::Session));
    let mut changes = 0;
    for (heads, kind) in visits.chain([(&origin.site, DocumentKind::Site)]) {
        let Some(id) = here(node, heads, kind)? else { continue };
        let since = node.with_document(id, |document| document.changes_since(&heads.heads))?;
        changes += since.unwrap_or_default();
    }
    Ok(changes)
}

/// What is said otherwise of the visits now, and those that the file does not tell of.
fn differences(then: &Papered, now: &Papered) -> Vec<Difference> {
    let mut all = Vec::new();
    let papers_stand = (&then.of_shop, &then.of_site) == (&now.of_shop, &now.of_site);
    for (heads, session) in &now.visits {
        // What stands on the same changes is judged the same.
        if papers_stand && then.visits.iter().any(|(known, _)| known == heads) {
            continue;
        }
        let order = &session.work_order;
        let before = then.visits.iter().find(|(known, _)| known.document == heads.document);
        let Some((_, before)) = before else {
            let now = Some("a visit that the file does not tell of".to_owned());
            all.push(Difference { at: order.clone(), signed: None, now });
            continue;
        };
        let both = (Judged::of(&then.sheet(before)), Judged::of(&now.sheet(session)));
        let (before, after) = match &both {
            (Ok(before), Ok(after)) => (stated(before, heads, now), stated(after, heads, now)),
            (Err(_), Err(_)) => continue,
            (before, after) => {
                let why = |judged: &Result<Judged, Refusal>| {
                    Some(judged.as_ref().err().map_or("judged", |refusal| &refusal.what).to_owned())
                };
                all.push(Difference { at: order.clone(), signed: why(before), now: why(after) });
                continue;
            }
        };
        let of_it = |it: Difference| Difference { at: format!("{order}: {}", it.at), ..it };
        all.extend(before.differences(&after).into_iter().map(of_it));
    }
    all
}

/// What there would be to sign of a visit: by nobody, so that only what is judged differs.
fn stated(judged: &Judged, heads: &PaperHeads, now: &Papered) -> Statement {
    let (session, shop, site) = (heads.clone(), now.of_shop.clone(), now.of_site.clone());
    let at = Timestamp::from_unix_ms(0).expect("the year 1970");
    let author = Author { person: String::new(), device: String::new(), at };
    judged.statement(Papers { session, shop, site }, &author)
}
