//! A sheet judged once, for everything that is made of it: a page, a statement, a report.

use guyline_core::checks::{Appraisal, Papers, Rules, Sheet, Statement};
use guyline_core::record::Author;
use guyline_core::report::{Language, VisitReport, visit_report};

use super::refusal::Refusal;
use super::session::{do_not_fit, rules};

/// The rules of a sheet's shop, and what they say of it.
pub(super) struct Judged {
    pub(super) rules: Rules,
    pub(super) appraisal: Appraisal,
}

impl Judged {
    /// Judges a sheet by its shop's plan.
    pub(super) fn of(sheet: &Sheet) -> Result<Self, Refusal> {
        Self::in_language(sheet, Language::English)
    }

    /// Judges a sheet for papers in a language. What is signed is always said in English.
    pub(super) fn in_language(sheet: &Sheet, language: Language) -> Result<Self, Refusal> {
        let rules = rules(sheet).in_language(language);
        let appraisal = rules.appraise(sheet).map_err(do_not_fit)?;
        Ok(Self { rules, appraisal })
    }

    /// What there is to sign.
    pub(super) fn statement(&self, papers: Papers, author: &Author) -> Statement {
        Statement::of(&self.appraisal, &self.rules.plan, papers, author)
    }

    /// What there is to tell.
    pub(super) fn report(&self, sheet: &Sheet) -> VisitReport {
        visit_report(sheet, &self.appraisal, &self.rules.cautions, self.rules.language)
    }
}
