//! The topics of the bench as people meet them: a title, a group and a question to begin with.
//!
//! In: `data/bench.toml`. Out: the topics in the order they are listed there. What a topic answers
//! stands beside it in the table of [`super`]; a test holds the two together.

use std::sync::OnceLock;

use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::{TOPICS, recorded};
use crate::language::Language;

/// A part of the bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
#[serde(rename_all = "kebab-case")]
pub enum Group {
    /// Units and levels along a chain.
    Levels,
    /// Receivers and noise.
    Receiver,
    /// Transmitters and what they may send.
    Transmitter,
    /// Duplexers, isolation, desense.
    Duplexer,
    /// Antenna, feedline, mismatch.
    Line,
    /// Everything on the hill together.
    Site,
    /// Recordings of audio and of the air.
    Recording,
    /// Uncertainty, limits, history.
    Judging,
}

/// A topic as it is listed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, TS)]
#[serde(deny_unknown_fields)]
pub struct Topic {
    /// Its name in a question.
    pub name: String,
    /// What people call it.
    pub title: String,
    /// The same in French.
    #[serde(rename = "title-fr", skip_serializing)]
    #[ts(skip)]
    title_fr: String,
    /// What it answers, in French.
    #[serde(rename = "answers-fr", skip_serializing)]
    #[ts(skip)]
    answers_fr: String,
    /// Where it is listed.
    pub group: Group,
    /// A question to begin with. Its numbers are invented.
    #[ts(type = "Record<string, unknown>")]
    pub example: toml::Table,
}

impl Topic {
    /// What it answers, in a sentence of a language.
    pub fn answers(&self, language: Language) -> &str {
        let found = TOPICS.iter().find(|(name, _)| *name == self.name);
        language.pick(found.map_or("", |(_, answers)| answers.trim()), &self.answers_fr)
    }

    /// The same topic with its title in a language.
    #[must_use]
    pub fn titled(&self, language: Language) -> Self {
        let title = language.pick(&self.title, &self.title_fr).to_owned();
        Self { title, ..self.clone() }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Listed {
    topic: Vec<Topic>,
}

/// Every topic, in the order they are listed.
pub fn topics() -> &'static [Topic] {
    static LISTED: OnceLock<Vec<Topic>> = OnceLock::new();
    LISTED.get_or_init(|| {
        let text = include_str!("../../data/bench.toml");
        let mut listed = toml::from_str::<Listed>(text).expect("the shipped topics are tested");
        for topic in &mut listed.topic {
            let recorded = match topic.name.as_str() {
                "audio" => ("recording_base64", recorded::tone_wav()),
                "iq" => ("data_base64", recorded::carrier_samples()),
                _ => continue,
            };
            topic.example.insert(recorded.0.to_owned(), recorded.1.into());
        }
        listed.topic
    })
}

#[cfg(test)]
mod tests {
    use super::super::{BenchQuestion, ask};
    use super::*;

    #[test]
    fn every_topic_of_the_table_is_listed_and_nothing_else() {
        let listed: std::collections::BTreeSet<_> =
            topics().iter().map(|topic| topic.name.as_str()).collect();
        let table: std::collections::BTreeSet<_> = TOPICS.iter().map(|(name, _)| *name).collect();
        assert_eq!(listed, table);
        assert_eq!(listed.len(), topics().len(), "none stands twice");
    }

    #[test]
    fn every_example_is_a_question_with_an_answer() {
        for Topic { name, title, example, .. } in topics() {
            assert!(!title.is_empty(), "{name}");
            let question = serde_json::json!({ "topic": name, "with": example });
            let question: BenchQuestion =
                serde_json::from_value(question).unwrap_or_else(|error| panic!("{name}: {error}"));
            let answer = ask(&question).unwrap_or_else(|refused| panic!("{name}: {refused}"));
            let text = serde_json::to_string(&answer).unwrap();
            assert!(!text.contains("null,\"unit\"") && text.len() > 20, "{name}: {text}");
        }
    }
}
