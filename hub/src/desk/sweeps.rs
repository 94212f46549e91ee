//! The command that writes a visit's attached sweep anew: another version, unit or number format.
//!
//! What was attached stays as it came, byte for byte; the new file is handed out and kept nowhere.

use guyline_core::rf::touchstone::{
    FrequencyUnit, TouchstoneVersion, ValueFormat, Writing, ports_of_name, read, write,
};
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::attachments::{content_file, hash_in};
use super::pages::ReportFile;
use super::refusal::{Code, Refusal};
use super::session::{papers, session_id};
use crate::Node;

/// A sweep to write anew.
#[derive(Clone, Debug, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct WriteSweep {
    /// The session's id.
    pub session: String,
    /// The attachment's id.
    pub attachment: String,
    /// The version of the standard.
    pub version: TouchstoneVersion,
    /// The unit of its frequencies.
    pub unit: FrequencyUnit,
    /// How a value is two numbers.
    pub format: ValueFormat,
}

pub(super) fn write_anew(node: &Node, asked: WriteSweep) -> Result<ReportFile, Refusal> {
    let WriteSweep { session, attachment, version, unit, format } = asked;
    let session = papers(node, session_id(&session)?)?.session;
    let (kept, media_type, bytes) = content_file(node, hash_in(&session, &attachment)?)?;
    let named = session.attachments.get(&attachment).map(|it| it.file_name.as_str());
    let sweep = read(&bytes, named.and_then(ports_of_name)).map_err(|error| {
        let help = "attach the file as the instrument wrote it, and write that one anew";
        Refusal::new(Code::NotRendered, error.to_string(), help).at("attachment")
    })?;
    let text = write(&sweep, Writing { version, unit, format }).map_err(|error| {
        Refusal::new(Code::NotRendered, error.to_string(), "choose another version or format")
    })?;
    let stem = kept.split('.').next().unwrap_or_default();
    let name = match version {
        TouchstoneVersion::V1 => format!("{stem}-anew.s{}p", sweep.sweep.ports()),
        TouchstoneVersion::V2 => format!("{stem}-anew.ts"),
    };
    Ok(ReportFile::of(name, media_type, text.as_bytes()))
}
