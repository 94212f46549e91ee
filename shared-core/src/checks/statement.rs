//! What a sign-off states: the visit as it stood, and all that its verdicts rested on.
//!
//! In: an appraisal, the plan, the newest changes of the three papers, the author. Out: a
//! [`Statement`] as the text that gets signed, and years later the differences between two of them.
//! Signs nothing and checks no signature: keys belong to the node.

use std::fmt::Write as _;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use ts_rs::TS;

use super::appraise::{Appraisal, CheckState};
use super::licence::LicenceVerdict;
use super::plan::Plan;
use crate::limits;
use crate::record::Author;
use crate::time::Timestamp;
use crate::uncertainty::Outcome;

/// What a statement is called, so that no other signed text can pass for one.
const FORM: &str = "guyline sign-off, form 1";

/// A visit as it was signed off.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct Statement {
    /// What this text is.
    pub form: String,
    /// The session's newest changes.
    pub session: PaperHeads,
    /// The shop's.
    pub shop: PaperHeads,
    /// The site's.
    pub site: PaperHeads,
    /// The version of the core that judged.
    pub core: String,
    /// The plan's fingerprint.
    pub plan: String,
    /// The fingerprint of the shipped limit tables.
    pub limits: String,
    /// Every check, in the plan's order.
    pub checks: Vec<SignedCheck>,
    /// What was read against the licence: subject and words, with the outcome.
    pub licence: Vec<String>,
    /// What was found, gravest first.
    pub findings: Vec<String>,
    /// Who signs, by id.
    pub by: String,
    /// On which device.
    pub device: String,
    /// When, by that device's clock.
    #[ts(type = "string")]
    pub at: Timestamp,
}

/// A document at a moment.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct PaperHeads {
    /// The document's id.
    pub document: String,
    /// The hashes of its newest changes, sorted.
    pub heads: Vec<String>,
}

/// A check as it was signed off.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct SignedCheck {
    /// The check's id.
    pub check: String,
    /// Its outcome; none when it was not read.
    pub outcome: Option<Outcome>,
    /// The readings that stood.
    pub readings: Vec<SignedReading>,
}

/// A reading's verdict as it was signed off.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, TS)]
#[serde(deny_unknown_fields)]
pub struct SignedReading {
    /// The reading's id.
    pub reading: String,
    /// The outcome.
    pub outcome: Outcome,
    /// The judged value, with its unit.
    pub value: String,
    /// The limit.
    pub limit: String,
    /// What the limit rests on.
    pub source: String,
    /// The margin.
    pub margin: String,
}

/// The newest changes of the three papers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Papers {
    /// The session.
    pub session: PaperHeads,
    /// The shop.
    pub shop: PaperHeads,
    /// The site.
    pub site: PaperHeads,
}

/// Something that a statement says otherwise than another.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema, TS)]
pub struct Difference {
    /// Where: a check's id, a reading of it, or what the verdicts rest on.
    pub at: String,
    /// What was signed; none where it was not there.
    pub signed: Option<String>,
    /// What is so now; none where it is not there.
    pub now: Option<String>,
}

/// Why a signed text is no statement.
#[derive(Debug, thiserror::Error)]
pub enum NotAStatement {
    /// Not JSON of this shape.
    #[error("the signed text is no statement of a sign-off: {0}")]
    Shape(#[from] serde_json::Error),
    /// Another form.
    #[error("the signed text is a {found:?}, and this version reads {FORM:?}")]
    Form {
        /// What it calls itself.
        found: String,
    },
}

impl Statement {
    /// What there is to sign about a visit as it stands.
    pub fn of(appraisal: &Appraisal, plan: &Plan, papers: Papers, author: &Author) -> Self {
        let Papers { session, shop, site } = papers;
        Self {
            form: FORM.to_owned(),
            session,
            shop,
            site,
            core: env!("CARGO_PKG_VERSION").to_owned(),
            plan: fingerprint(&plan.checks),
            limits: fingerprint(&limits::shipped()),
            checks: appraisal.checks.iter().map(signed_check).collect(),
            licence: appraisal.licence.iter().map(signed_licence).collect(),
            findings: appraisal.findings.iter().map(|finding| finding.what.clone()).collect(),
            by: author.person.clone(),
            device: author.device.clone(),
            at: author.at,
        }
    }

    /// The text to sign.
    pub fn text(&self) -> String {
        serde_json::to_string(self).expect("text keys only")
    }

    /// The statement a signed text makes.
    pub fn read(text: &str) -> Result<Self, NotAStatement> {
        let statement: Self = serde_json::from_str(text)?;
        if statement.form != FORM {
            return Err(NotAStatement::Form { found: statement.form });
        }
        Ok(statement)
    }

    /// Everything of the visit that `now` says otherwise: what the verdicts rest on, then check by
    /// check, then the findings. Who signed and when is not part of the visit.
    pub fn differences(&self, now: &Self) -> Vec<Difference> {
        let mut found = Vec::new();
        for (at, signed, now) in [
            ("the core's version", &self.core, &now.core),
            ("the plan", &self.plan, &now.plan),
            ("the limit tables", &self.limits, &now.limits),
        ] {
            differ(&mut found, at, Some(signed.clone()), Some(now.clone()));
        }
        let find = |checks: &[SignedCheck], id: &str| {
            checks.iter().find(|check| check.check == id).cloned()
        };
        for signed in &self.checks {
            let now = find(&now.checks, &signed.check);
            differ_in_check(&mut found, &signed.check, Some(signed), now.as_ref());
        }
        for new in now.checks.iter().filter(|c| find(&self.checks, &c.check).is_none()) {
            differ_in_check(&mut found, &new.check, None, Some(new));
        }
        differ_in_lines(&mut found, "the licence", &self.licence, &now.licence);
        differ_in_lines(&mut found, "findings", &self.findings, &now.findings);
        found
    }
}

fn signed_licence(verdict: &LicenceVerdict) -> String {
    format!("{}: {}: {}", verdict.subject, verdict.outcome.word(), verdict.words)
}

fn differ_in_lines(found: &mut Vec<Difference>, at: &str, signed: &[String], now: &[String]) {
    for gone in signed.iter().filter(|line| !now.contains(line)) {
        differ(found, at, Some(gone.clone()), None);
    }
    for new in now.iter().filter(|line| !signed.contains(line)) {
        differ(found, at, None, Some(new.clone()));
    }
}

fn signed_check(state: &CheckState) -> SignedCheck {
    let standing = state.readings.iter().filter(|reading| reading.standing);
    let readings = standing.map(|reading| SignedReading {
        reading: reading.id.clone(),
        outcome: reading.verdict.outcome,
        value: reading.verdict.value_text.clone(),
        limit: reading.verdict.limit_text.clone(),
        source: reading.verdict.limit_source.clone(),
        margin: reading.verdict.margin_text.clone(),
    });
    SignedCheck {
        check: state.check.id.clone(),
        outcome: state.outcome,
        readings: readings.collect(),
    }
}

fn differ_in_check(
    found: &mut Vec<Difference>,
    id: &str,
    signed: Option<&SignedCheck>,
    now: Option<&SignedCheck>,
) {
    let outcome = |check: Option<&SignedCheck>| {
        check.map(|c| c.outcome.map_or("not read", Outcome::word).to_owned())
    };
    differ(found, id, outcome(signed), outcome(now));
    let none = Vec::new();
    let signed = signed.map_or(&none, |check| &check.readings);
    let now = now.map_or(&none, |check| &check.readings);
    let said = |readings: &[SignedReading], id: &str| {
        readings.iter().find(|reading| reading.reading == id).map(said)
    };
    for reading in signed {
        let at = format!("{id}, reading {}", reading.reading);
        let (then, now) = (said(signed, &reading.reading), said(now, &reading.reading));
        differ(found, &at, then, now);
    }
    for new in now.iter().filter(|r| signed.iter().all(|s| s.reading != r.reading)) {
        differ(found, &format!("{id}, reading {}", new.reading), None, said(now, &new.reading));
    }
}

fn said(reading: &SignedReading) -> String {
    let SignedReading { outcome, value, limit, source, margin, .. } = reading;
    format!("{}: {value}; limit {limit} ({source}); margin {margin}", outcome.word())
}

fn differ(found: &mut Vec<Difference>, at: &str, signed: Option<String>, now: Option<String>) {
    if signed != now {
        found.push(Difference { at: at.to_owned(), signed, now });
    }
}

/// SHA-256 of a value's JSON, in hexadecimal. (FIPS 180-4.)
fn fingerprint(value: &impl Serialize) -> String {
    let json = serde_json::to_vec(value).expect("text keys and finite numbers only");
    Sha256::digest(json).iter().fold(String::with_capacity(64), |mut text, byte| {
        write!(text, "{byte:02x}").expect("a String takes all text");
        text
    })
}

#[cfg(test)]
#[path = "statement_tests.rs"]
mod tests;
