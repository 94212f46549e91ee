//! The commands of the Devices screen: what this device is called and known by, whom it met, and
//! bundles for a stick.

use std::io::Cursor;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;

use super::keeping;
use super::pages::{BundleReport, DevicesPage, ReportFile};
use super::reached::held;
use super::refusal::{Code, Refusal};
use super::report::plain;
use super::requests::{NameDevice, Nothing, TakeBundle};
use super::today::{device_problem, names, peers, shop, standing};
use crate::Node;
use crate::sync::bundle::{BundleRefused, take, write_up_to};

/// The most bytes of attachments in a bundle from the screens, which carry a file as one text; the
/// command line writes all of them.
const ATTACHMENTS_BYTES_MAX: u64 = 8 * 1024 * 1024;

pub(super) fn show(node: &Node, _: Nothing) -> Result<DevicesPage, Refusal> {
    let people = shop(node)?.as_ref().map(names).unwrap_or_default();
    Ok(DevicesPage {
        standing: standing(node, &people)?,
        key: node.key().short(),
        peers: peers(node)?,
        held: held(node)?,
        keeping: keeping::page(node)?,
    })
}

pub(super) fn name(node: &Node, asked: NameDevice) -> Result<DevicesPage, Refusal> {
    let name = asked.name.trim();
    if let Some(what) = device_problem(name) {
        let help = "say what people call this device, as in: van 2's tablet";
        return Err(Refusal::new(Code::EditRefused, what, help).at("name"));
    }
    node.set_name(name)?;
    show(node, Nothing {})
}

pub(super) fn bundle_out(node: &Node, _: Nothing) -> Result<ReportFile, Refusal> {
    let mut bytes = Vec::new();
    write_up_to(node, &mut bytes, ATTACHMENTS_BYTES_MAX)?;
    let name = plain(&[&node.name()?, &node.now().day().to_string()]);
    Ok(ReportFile::of(format!("{name}.guybundle"), "application/octet-stream", &bytes))
}

pub(super) fn bundle_in(node: &Node, asked: TakeBundle) -> Result<BundleReport, Refusal> {
    let bytes = STANDARD.decode(asked.base64).map_err(|error| {
        let help = "choose the file again";
        Refusal::new(Code::WrongBody, format!("the file did not come whole: {error}"), help)
            .at("base64")
    })?;
    let taken = take(node, &mut Cursor::new(bytes))?;
    Ok(BundleReport {
        device: taken.device,
        key: taken.key.short(),
        taken: taken.taken,
        set_aside: taken.set_aside,
        documents: taken.documents.len(),
        contents: taken.contents,
    })
}

impl From<BundleRefused> for Refusal {
    fn from(error: BundleRefused) -> Self {
        Self::new(Code::ExchangeFailed, error.to_string(), error.help())
    }
}
