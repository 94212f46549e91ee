//! How sure a number is, and what may be said of it against a limit.
//!
//! Knows numbers, inputs and limits. Does not know readings, chains or checks.

pub mod budget;
pub mod decision;
pub mod inputs;
pub mod risk;
pub mod student;

mod special;

pub use budget::{Budget, BudgetLine};
pub use decision::{CalibrationPolicy, Decision, DecisionRule, Limits, Outcome};
