//! The files of a played-back day: what was connected, read, acknowledged and written, by whom and
//! when. Shapes only.

use guyline_core::record::{Phase, Plane};
use guyline_core::time::Timestamp;
use guyline_core::units::Unit;
use serde::Deserialize;

use crate::desk::Code;

/// A day: the papers, the nodes, and who works from which file.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Day {
    /// What the day is, for whoever reads the file.
    #[serde(rename = "note")]
    pub(super) _note: String,
    pub(super) shop: PaperFile,
    pub(super) site: PaperFile,
    pub(super) session: PlannedSession,
    pub(super) hub: NodeFolder,
    pub(super) opened: Opened,
    pub(super) crews: Vec<Crew>,
    pub(super) office: Office,
}

/// A document made from a file.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PaperFile {
    pub(super) id: String,
    pub(super) paper: String,
}

/// The visit the shop planned.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PlannedSession {
    pub(super) id: String,
    pub(super) repeater: String,
    pub(super) work_order: String,
}

/// A node, in a folder below the work folder.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct NodeFolder {
    pub(super) name: String,
    pub(super) dir: String,
}

/// Who opened the session, and when.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Opened {
    pub(super) by: String,
    pub(super) at: Timestamp,
}

/// A technician's node and the file of what they did.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Crew {
    pub(super) name: String,
    pub(super) dir: String,
    pub(super) work: String,
}

/// The node that pulls everything at the end.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Office {
    pub(super) name: String,
    pub(super) dir: String,
    pub(super) person: String,
}

/// What one technician did.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Work {
    pub(super) person: String,
    pub(super) entries: Vec<Entry>,
}

/// One thing done at a time. `refused` names the refusal that must come, where one must.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Entry {
    pub(super) at: Timestamp,
    #[serde(default)]
    pub(super) join: bool,
    #[serde(default)]
    pub(super) acknowledge: Vec<String>,
    pub(super) connect: Option<Connect>,
    pub(super) read: Option<Read>,
    pub(super) adjust: Option<String>,
    pub(super) note: Option<String>,
    pub(super) summarise: Option<String>,
    pub(super) refused: Option<Code>,
}

/// What was connected. `as` is the file's own name for it.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Connect {
    #[serde(rename = "as")]
    pub(super) label: String,
    pub(super) name: String,
    pub(super) plane: Plane,
    pub(super) instrument: String,
    pub(super) port: String,
    pub(super) between: Vec<String>,
    #[serde(default)]
    pub(super) line: Vec<String>,
}

/// What was read, through a chain of this file.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Read {
    pub(super) check: String,
    pub(super) chain: String,
    pub(super) typed: String,
    pub(super) unit: Unit,
    pub(super) phase: Phase,
}
