//! The plan and its judgement: what to read, what to expect, what it means, what may not be keyed.
//!
//! In: plan, shop, site and session as plain views. Out: an [`Appraisal`]: verdicts with margin and
//! uncertainty, level diagrams, stops, cautions and findings. Everything is computed anew from the
//! record each time and nothing of it is stored. A caution reminds; nothing here clears a hazard.

pub mod admit;
pub mod appraise;
pub mod case;
pub mod caution;
pub mod chain_refused;
pub mod expect;
pub mod findings;
pub mod fleet;
pub mod guard;
pub mod history;
pub mod judge;
pub mod licence;
pub mod plan;
pub mod plan_file;
pub mod plan_shop;
pub mod reconcile;
pub mod setup;
pub mod statement;

mod accuracy;
mod calibration;
mod causes;
mod element;
mod french;
mod limit;
mod measure;
mod repeats;

#[cfg(test)]
mod bounds_tests;
#[cfg(test)]
mod budget_tests;
#[cfg(test)]
mod causes_tests;
#[cfg(test)]
mod findings_tests;
#[cfg(test)]
pub(crate) mod kept_visit;
#[cfg(test)]
mod papers_tests;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod words_tests;

pub use crate::rf::causes::{Cause, DesenseCauses, Evidence, NextTest, Suspect};
pub use admit::{NotAdmitted, admit_reading};
pub use appraise::{
    Appraisal, ChainState, CheckState, ReadingState, Sheet, appraise, appraise_in, chain_state,
};
pub use case::Case;
pub use caution::{Caution, CautionState, Cautions};
pub use findings::Finding;
pub use fleet::{FleetClass, FleetRepeater, fleet};
pub use guard::{KeyedElement, MayKey, Stop, StopKind};
pub use history::{
    CheckHistory, HistoryOutlook, HistoryPoint, HistoryRead, HistoryShape, HistoryTrend, histories,
};
pub use judge::{Verdict, judge};
pub use licence::LicenceVerdict;
pub use plan::{Check, Plan, Stage};
pub use plan_file::Misplaced;
pub use plan_shop::Rules;
pub use reconcile::{Explanation, ExplanationKind, Reconciled, reconcile};
pub use statement::{Difference, NotAStatement, PaperHeads, Papers, SignedCheck, Statement};
