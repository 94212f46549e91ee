//! The command that takes data out: the record as it is here, as a file for other programs.
//!
//! A visit that cannot be read keeps no other one in: it is named beside the file.

use guyline_core::record::{DocumentKind, Session, Site};

use super::judged::Judged;
use super::pages::{DataFile, ReportFile, UnreadVisit};
use super::papers::shop_here;
use super::refusal::{Code, Refusal};
use super::requests::AskTakeOut;
use super::session::papers;
use super::today::of_kind;
use crate::Node;
use crate::takeout::readings::{ReadingRow, rows};
use crate::takeout::{DataForm, ReadingsFile, TakenOut, Unread, calendar, csv, parquet, places};

/// What is asked of a file of data.
#[derive(Clone, Copy, Debug)]
pub struct WantedData {
    /// What is taken out.
    pub of: TakenOut,
    /// In which form.
    pub form: DataForm,
    /// Whether it tells where sites stand.
    pub positions: bool,
}

/// A file of data as bytes.
#[derive(Clone, Debug)]
pub struct MadeData {
    /// The name it should get.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// How many entries it has.
    pub entries: usize,
    /// Visits that could not be read and are not in it.
    pub unread: Vec<UnreadVisit>,
}

pub(super) fn make(node: &Node, asked: AskTakeOut) -> Result<DataFile, Refusal> {
    let AskTakeOut { of, form, positions } = asked;
    let MadeData { name, bytes, entries, unread } =
        take_out(node, WantedData { of, form, positions })?;
    Ok(DataFile { file: ReportFile::of(name, form.media_type(), &bytes), entries, unread })
}

/// Takes data out of the record as it is here.
pub fn take_out(node: &Node, wanted: WantedData) -> Result<MadeData, Refusal> {
    let WantedData { of, form, positions } = wanted;
    if !of.forms().contains(&form) {
        let all: Vec<&str> = of.forms().iter().map(|form| form.extension()).collect();
        let what = format!("{} cannot be taken out as {}", of.name(), form.extension());
        let help = format!("ask for {}", all.join(", "));
        return Err(Refusal::new(Code::WrongBody, what, help).at("form"));
    }
    let name = format!("{}.{}", of.name(), form.extension());
    let (bytes, entries, unread) = match of {
        TakenOut::Readings => all_readings(node, form)?,
        TakenOut::Sites => {
            let sites = sites(node)?;
            (places::write(&sites, positions), sites.len(), Vec::new())
        }
        TakenOut::Due => due(node)?,
    };
    Ok(MadeData { name, bytes, entries, unread })
}

type Made = (Vec<u8>, usize, Vec<UnreadVisit>);

fn all_readings(node: &Node, form: DataForm) -> Result<Made, Refusal> {
    let (_, shop) = shop_here(node)?;
    let (mut readings, mut unread) = (Vec::new(), Vec::new());
    for id in of_kind(node, DocumentKind::Session)? {
        let id = id?;
        match readings_of(node, id) {
            Ok(rows) => readings.extend(rows),
            Err(refusal) => {
                unread.push(UnreadVisit { session: id.to_string(), why: refusal.what });
            }
        }
    }
    let entries = readings.len();
    let bytes = match form {
        DataForm::Csv => csv::write(&readings),
        DataForm::Parquet => parquet::write("readings", &readings),
        _ => {
            let missing = unread
                .iter()
                .map(|visit| Unread { session: visit.session.clone(), why: visit.why.clone() });
            json(&ReadingsFile::of(shop.name, readings, missing.collect()))
        }
    };
    Ok((bytes, entries, unread))
}

/// A visit's readings, judged by the papers as they are here.
pub(crate) fn readings_of(
    node: &Node,
    id: guyline_core::record::DocumentId,
) -> Result<Vec<ReadingRow>, Refusal> {
    let sheet = papers(node, id)?;
    let judged = Judged::of(&sheet)?;
    Ok(rows(&id.to_string(), &sheet, &judged.appraisal))
}

/// The sites that can be read here, in the order of their ids.
pub(crate) fn sites(node: &Node) -> Result<Vec<(guyline_core::record::DocumentId, Site)>, Refusal> {
    let mut sites = Vec::new();
    for id in of_kind(node, DocumentKind::Site)? {
        let id = id?;
        sites.push((id, node.with_document(id, |document| document.site().cloned())??));
    }
    Ok(sites)
}

fn due(node: &Node) -> Result<Made, Refusal> {
    let (_, shop) = shop_here(node)?;
    let (mut sessions, mut unread) = (Vec::<Session>::new(), Vec::new());
    for id in of_kind(node, DocumentKind::Session)? {
        let id = id?;
        match node.with_document(id, |document| document.session().cloned())? {
            Ok(session) => sessions.push(session),
            Err(error) => {
                unread.push(UnreadVisit { session: id.to_string(), why: error.to_string() });
            }
        }
    }
    let (bytes, entries) = calendar::write(&shop, &sites(node)?, &sessions);
    Ok((bytes, entries, unread))
}

/// The JSON Schema of a file of readings.
pub fn readings_schema() -> serde_json::Value {
    schemars::schema_for!(ReadingsFile).to_value()
}

fn json(value: &impl serde::Serialize) -> Vec<u8> {
    let mut bytes = serde_json::to_vec_pretty(value).expect("text keys and finite numbers only");
    bytes.push(b'\n');
    bytes
}
