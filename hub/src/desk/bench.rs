//! The bench's calculators for the screens: the core answers and refuses, in the screen's language.

use std::collections::BTreeMap;

use guyline_core::bench::{
    BenchAnswer, BenchQuestion, Topic, Words, ask_in, french, schema, topics,
};
use guyline_core::language::Language;
use serde::Serialize;
use serde_json::Value;
use ts_rs::TS;

use super::asker::Asker;
use super::refusal::{Code, Refusal};
use super::requests::Nothing;

/// What the bench can be asked, and how.
#[derive(Clone, Debug, Serialize, TS)]
pub struct BenchTopics {
    /// The topics in the order they are listed.
    pub topics: Vec<BenchTopic>,
    /// The JSON Schema of all questions; a screen makes its fields from it.
    #[ts(type = "unknown")]
    pub schema: Value,
    /// What fields of questions and answers are called, by their names without a unit. Empty in
    /// English, where a screen shows the names.
    pub names: BTreeMap<String, String>,
    /// What a field offers or answers, by its name and by the word in the question or answer.
    pub choices: BTreeMap<String, BTreeMap<String, String>>,
}

/// A topic with what it answers.
#[derive(Clone, Debug, Serialize, TS)]
pub struct BenchTopic {
    /// The topic as it is listed.
    pub listed: Topic,
    /// What it answers, in a sentence.
    pub answers: String,
}

pub(super) fn list(asker: &Asker, _: Nothing) -> Result<BenchTopics, Refusal> {
    let language = asker.language;
    let topic = |topic: &Topic| BenchTopic {
        answers: topic.answers(language).to_owned(),
        listed: topic.titled(language),
    };
    let Words { name, choice, .. } = match language {
        Language::English => Words::default(),
        Language::French => french().clone(),
    };
    Ok(BenchTopics {
        topics: topics().iter().map(topic).collect(),
        schema: schema(language),
        names: name,
        choices: choice,
    })
}

pub(super) fn calculate(asker: &Asker, asked: BenchQuestion) -> Result<BenchAnswer, Refusal> {
    let language = asker.language;
    ask_in(&asked, language).map_err(|refused| {
        let help = language.pick(
            "correct the number that is named and ask again",
            "corriger le nombre nommé et demander à nouveau",
        );
        Refusal::new(Code::NotAQuestion, refused.said(language), help)
    })
}
