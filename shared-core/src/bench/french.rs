//! The Bench's French beside its fields: labels, what is said at them, what they offer.
//!
//! In: `data/bench.fr.toml`. Out: [`Words`], and the questions' schema with what a screen shows of
//! it in a language. A screen makes its English from the names themselves.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use serde::Deserialize;
use serde_json::{Map, Value};

use super::BenchQuestion;
use crate::language::Language;

/// What has French, by its English or its name in the code.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Words {
    /// What is said at a field.
    pub help: BTreeMap<String, String>,
    /// What a field is called, without its unit.
    pub name: BTreeMap<String, String>,
    /// What a field offers or answers by a word of its own, by the field's name.
    pub choice: BTreeMap<String, BTreeMap<String, String>>,
}

/// The French that is shipped.
pub fn french() -> &'static Words {
    static WORDS: OnceLock<Words> = OnceLock::new();
    WORDS.get_or_init(|| {
        let text = include_str!("../../data/bench.fr.toml");
        toml::from_str(text).expect("the shipped words are tested")
    })
}

/// The JSON Schema of all questions, what it says at fields in a language. In French nothing else
/// is said in it: what no screen shows is left out.
pub fn schema(language: Language) -> Value {
    let mut schema = schemars::schema_for!(BenchQuestion).to_value();
    if language == Language::French {
        let topics = schema.get_mut("oneOf").and_then(Value::as_array_mut);
        for topic in topics.into_iter().flatten().filter_map(Value::as_object_mut) {
            // A topic says what it answers beside its title.
            topic.remove("description");
        }
        each_said(&mut schema, false, &mut |said| french().help.get(&said).cloned());
    }
    schema
}

/// Puts something else in the place of everything that is said; `shown` is what stands at a field
/// or at one of several alternatives, all else goes.
fn each_said(schema: &mut Value, shown: bool, put: &mut dyn FnMut(String) -> Option<String>) {
    match schema {
        Value::Array(entries) => entries.iter_mut().for_each(|one| each_said(one, shown, put)),
        Value::Object(fields) => {
            let said = fields.get("description").and_then(Value::as_str);
            let said = said.filter(|_| shown).map(|said| said.replace('\n', " "));
            match said.and_then(&mut *put) {
                Some(other) => drop(fields.insert("description".to_owned(), other.into())),
                None => drop(fields.remove("description")),
            }
            within(fields, put);
        }
        _ => {}
    }
}

fn within(fields: &mut Map<String, Value>, put: &mut dyn FnMut(String) -> Option<String>) {
    for (name, inner) in fields {
        match (name.as_str(), inner) {
            // The names of fields and of types are nothing that is said.
            ("properties", Value::Object(named)) => {
                named.values_mut().for_each(|field| each_said(field, true, put));
            }
            ("$defs", Value::Object(named)) => {
                named.values_mut().for_each(|one| each_said(one, false, put));
            }
            ("oneOf", Value::Array(options)) => {
                for option in options {
                    // A plain value among others is a word to choose, and is not explained.
                    let explained = option.get("properties").is_some();
                    each_said(option, explained, put);
                }
            }
            (_, inner) => each_said(inner, false, put),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    #[test]
    fn what_is_said_at_a_field_has_french_and_no_french_is_left_over() {
        let mut schema = schemars::schema_for!(BenchQuestion).to_value();
        let topics = schema["oneOf"].as_array_mut().unwrap();
        topics
            .iter_mut()
            .for_each(|topic| drop(topic.as_object_mut().unwrap().remove("description")));
        let mut said = BTreeSet::new();
        each_said(&mut schema, false, &mut |english| {
            said.insert(english);
            None
        });
        assert!(said.len() > 200, "{}", said.len());
        let known: BTreeSet<String> = french().help.keys().cloned().collect();
        let lacks: Vec<&String> = said.difference(&known).collect();
        let stale: Vec<&String> = known.difference(&said).collect();
        assert!(lacks.is_empty() && stale.is_empty(), "lacks {lacks:#?}\nstale {stale:#?}");
    }
}
