//! The bench's calculators for the screens: the core answers, the desk words the refusal.

use guyline_core::bench::{BenchAnswer, BenchQuestion, TOPICS, Topic, ask, topics};
use serde::Serialize;
use serde_json::Value;
use ts_rs::TS;

use super::refusal::{Code, Refusal};
use super::requests::Nothing;
use crate::Node;

/// What the bench can be asked, and how.
#[derive(Clone, Debug, Serialize, TS)]
pub struct BenchTopics {
    /// The topics in the order they are listed.
    pub topics: Vec<BenchTopic>,
    /// The JSON Schema of all questions; a screen makes its fields from it.
    #[ts(type = "unknown")]
    pub schema: Value,
}

/// A topic with what it answers.
#[derive(Clone, Debug, Serialize, TS)]
pub struct BenchTopic {
    /// The topic as it is listed.
    pub listed: Topic,
    /// What it answers, in a sentence.
    pub answers: String,
}

pub(super) fn list(_node: &Node, _: Nothing) -> Result<BenchTopics, Refusal> {
    let answers = |name: &str| {
        let found = TOPICS.iter().find(|(topic, _)| *topic == name);
        found.map(|(_, answers)| answers.trim().to_owned()).unwrap_or_default()
    };
    let listed = topics().iter();
    Ok(BenchTopics {
        topics: listed
            .map(|topic| BenchTopic { answers: answers(&topic.name), listed: topic.clone() })
            .collect(),
        schema: schemars::schema_for!(BenchQuestion).to_value(),
    })
}

pub(super) fn calculate(_node: &Node, asked: BenchQuestion) -> Result<BenchAnswer, Refusal> {
    ask(&asked).map_err(|refused| {
        let help = "correct the number that is named and ask again";
        Refusal::new(Code::NotAQuestion, refused.to_string(), help)
    })
}
