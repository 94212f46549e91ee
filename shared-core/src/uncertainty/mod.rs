//! How sure a number is, and what may be said of it against a limit.
//!
//! Knows numbers, inputs and limits. Does not know readings, chains or checks.

pub mod budget;
pub mod decision;

pub use budget::{Budget, BudgetLine};
pub use decision::{Decision, DecisionRule, Limits, Outcome};
