//! What a report says, before it is laid out.
//!
//! In: a sheet, judged. Out: a [`VisitReport`]: conclusions first, then what they rest on, each
//! number as text with its unit, so that no layout rounds or decides anything. Knows no layout,
//! no colour and no file. Says nothing that the appraisal does not say, and clears no hazard.

mod attached;
mod day;
pub mod drawing;
mod levels;
mod shapes;
mod site;
mod site_words;
mod visit;
mod words;

pub use attached::{AttachedLine, SitePhotographs};
pub use day::{
    AtRepeater, Board, BoardRow, CalibrationLine, DeviceLine, FailingLine, OverdueLine, ShopDay,
    VISIT_EVERY_DAYS, Visit, VisitLine, shop_day,
};
pub use drawing::{Drawing, Drawings};
pub use shapes::{
    CautionLine, Cell, Concluded, DoneBy, Figures, InstrumentLine, Letterhead, LevelMark,
    LevelStop, Levels, LicenceLine, Line, Overall, Said, Signature, StageLines, VisitReport,
};
pub use site::{
    Besides, ChannelReport, CoSitedLine, EquipmentLine, LatestVisit, SiteReport, VisitedLine,
    site_report,
};
pub use site_words::{Need, NeedKind, SiteWords, spread_shown, trend_said};
pub use visit::visit_report;
pub use words::{Language, Paper, Words};

/// What can be laid out on paper.
#[derive(Clone, Copy, Debug)]
pub enum Paperwork<'a> {
    /// A visit, with lines about its verification.
    Visit(&'a VisitReport, &'a [String]),
    /// A site with all its visits, with lines about its verification.
    Site(&'a SiteReport, &'a [String]),
    /// A shop's day.
    Day(&'a ShopDay),
}

/// A number as people read it, with at most so many decimals and none that say nothing.
fn plain_number(value: f64, decimals: usize) -> String {
    let text = crate::units::shown(value, decimals);
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}
