//! The bench's calculators for the screens: the core answers, the desk words the refusal.

use guyline_core::bench::{BenchAnswer, BenchQuestion, ask};

use super::refusal::{Code, Refusal};
use crate::Node;

pub(super) fn calculate(_node: &Node, asked: BenchQuestion) -> Result<BenchAnswer, Refusal> {
    ask(&asked).map_err(|refused| {
        let help = "correct the number that is named and ask again";
        Refusal::new(Code::NotAQuestion, refused.to_string(), help)
    })
}
