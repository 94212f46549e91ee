//! Limits of regulation: data with source, section, date and tag, and the code that looks them up.
//!
//! In: a frequency, a class, a channel, a shop's own rows. Out: a limit that carries its source,
//! or why there is none. An unknown region, band or channel is refused, never given a default; a
//! number from memory says so in its source.

mod licence;
mod mask;
mod rows;
mod shop;
mod table;

use autosurgeon::{Hydrate, Reconcile};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

pub use licence::{AsRead, Licence, LicenceFinding, LicenceSubject, licence_findings};
pub use mask::{MaskUnknown, attenuation, masks_of};
pub use rows::RowFault;
pub use shop::ShopRowsRefused;
pub use table::{Figure, Found, LimitTable, LimitUnknown, deviation, frequency_tolerance, shipped};

/// The class of a station, for limits that depend on it.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS, Reconcile, Hydrate,
)]
#[serde(rename_all = "kebab-case")]
pub enum StationClass {
    /// Fixed and base stations; a repeater is one.
    #[autosurgeon(rename = "base")]
    Base,
    /// Mobile stations over 2 W.
    #[autosurgeon(rename = "mobile")]
    Mobile,
    /// Mobile stations of 2 W or less.
    #[autosurgeon(rename = "portable")]
    Portable,
}
