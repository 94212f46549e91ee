//! What is said in two languages, held against each other, leaf by leaf.
//!
//! In: the same thing as JSON in English and in French. Out: every text the core words, French with
//! its English. Numbers, outcomes and what people typed must be equal; a sentence must differ, and
//! hold none of the small words that no English sentence does without.

use std::collections::BTreeMap;

use serde_json::Value;

/// Words of English sentences that are none of French ones, nor of a name in these visits.
const ENGLISH: [&str; 26] = [
    "the", "and", "is", "are", "was", "were", "of", "not", "with", "to", "at", "reading",
    "readings", "outside", "inside", "limit", "than", "from", "which", "would", "behind", "keyed",
    "path", "loss", "port.", "nothing",
];

/// Fields that the core words. Every other text must be the same in both languages.
const WORDED: [&str; 30] = [
    "title",
    "reason",
    "what",
    "evidence",
    "next",
    "limit",
    "margin",
    "source",
    "plane",
    "help",
    "judged",
    "words",
    "subject",
    "deferral",
    "text",
    "label",
    "element",
    "limit_text",
    "margin_text",
    "limit_source",
    "working",
    "because",
    "why",
    "said",
    "instruction",
    "criterion",
    "refused",
    "how",
    "remedy",
    "checks",
];

/// Walks two answers together. `at` is the name of the field.
pub fn walk(at: &str, english: &Value, french: &Value, said: &mut BTreeMap<String, String>) {
    walk_with(&[], at, english, french, said);
}

/// The same where the core words these fields too.
pub fn walk_with(
    more: &[&str],
    at: &str,
    english: &Value,
    french: &Value,
    said: &mut BTreeMap<String, String>,
) {
    match (english, french) {
        // A reading as it was recorded.
        (Value::Object(_), Value::Object(_)) if at == "reading" => assert_eq!(english, french),
        (Value::Object(one), Value::Object(two)) => {
            assert_eq!(one.keys().collect::<Vec<_>>(), two.keys().collect::<Vec<_>>(), "{at}");
            one.iter().for_each(|(name, value)| walk_with(more, name, value, &two[name], said));
        }
        (Value::Array(one), Value::Array(two)) => {
            assert_eq!(one.len(), two.len(), "{at}: {one:?} / {two:?}");
            one.iter().zip(two).for_each(|(one, two)| walk_with(more, at, one, two, said));
        }
        (Value::String(one), Value::String(two)) if WORDED.contains(&at) || more.contains(&at) => {
            said.insert(two.clone(), one.clone());
        }
        // Where a stop bites is what a part is called, or a port the core names.
        (Value::String(_), Value::String(_)) if at == "at" => {}
        (one, two) => assert_eq!(one, two, "{at}"),
    }
}

/// The words of a text that are English, besides the citation of a rule and its date: that stays as
/// its publisher wrote it.
fn english_in(text: &str) -> Option<&'static str> {
    // Where there is no French, that is said.
    let text = text.split("dit en anglais : ").next()?;
    // Names of fields and words that are typed stand between such marks.
    let text: String = text.split('`').step_by(2).collect();
    let cited = text.find("47 CFR").zip(text.find(", text of "));
    let cited = cited.map(|(from, to)| text.replace(&text[from..to + ", text of ".len()], ""));
    let text = cited.unwrap_or(text);
    let mut words = text.split(|c: char| !(c.is_alphanumeric() || c == '.' || c == '’'));
    words.find_map(|word| ENGLISH.into_iter().find(|english| word.eq_ignore_ascii_case(english)))
}

/// Holds every text of both languages against each other. Gives how many are sentences.
pub fn told_in_french(said: &BTreeMap<String, String>) -> usize {
    let mut sentences = 0;
    // A word alone is a name or an id.
    for (french, english) in said.iter().filter(|(french, _)| french.contains(' ')) {
        if let Some(word) = english_in(french) {
            panic!("{word:?} in {french:?}\nEnglish: {english:?}");
        }
        if english_in(english).is_some() {
            sentences += 1;
            assert_ne!(french, english);
        }
    }
    println!("{} texts, {sentences} of them sentences", said.len());
    sentences
}
