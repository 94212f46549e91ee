//! What a report says, before it is laid out.
//!
//! In: a sheet, judged. Out: a [`VisitReport`]: conclusions first, then what they rest on, each
//! number as text with its unit, so that no layout rounds or decides anything. Knows no layout,
//! no colour and no file. Says nothing that the appraisal does not say, and clears no hazard.

mod day;
mod shapes;
mod visit;
mod words;

pub use day::{
    AtRepeater, Board, BoardRow, CalibrationLine, DeviceLine, FailingLine, OverdueLine, ShopDay,
    Visit, VisitLine, shop_day,
};
pub use shapes::{
    CautionLine, Cell, Concluded, DoneBy, InstrumentLine, LicenceLine, Line, Overall, Said,
    Signature, StageLines, VisitReport,
};
pub use visit::visit_report;
pub use words::{Language, Paper, Words};

/// What can be laid out on paper.
#[derive(Clone, Copy, Debug)]
pub enum Paperwork<'a> {
    /// A visit, with lines about its verification.
    Visit(&'a VisitReport, &'a [String]),
    /// A shop's day.
    Day(&'a ShopDay),
}
