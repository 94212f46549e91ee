//! Exchange: how two nodes come to hold the same changes, and how far each knows the other does.
//!
//! Reading order: [`exchange`] (the state machine, no I/O), [`wire`] and [`reader`] (its
//! bytes), [`address`] (whom
//! we may speak with), [`http_driver`] (the machine over HTTP), [`bundle`] (the same in a file),
//! [`tls_driver`] and [`members`] (the same with another device of the shop), [`contents`]
//! (attachments, beside it). Only the last five know a node.

pub mod address;
pub mod bundle;
mod bundle_contents;
pub mod contents;
pub mod exchange;
pub(crate) mod http_driver;
pub(crate) mod members;
mod reader;
pub(crate) mod tls_driver;
pub mod wire;

pub use contents::ContentReport;
pub use http_driver::{ExchangeError, ExchangeReport};
pub use members::NotLetIn;
pub use tls_driver::TlsFault;
