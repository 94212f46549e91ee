//! The few words a field of a table may hold, for the description of the HTTP answers. They are
//! read from the type's own JSON Schema, so that the two cannot differ.

use guyline_core::record::plan::Stage;
use guyline_core::record::{Phase, Plane};
use guyline_core::uncertainty::Outcome;
use guyline_core::units::{Reads, Unit};
use schemars::JsonSchema;
use serde_json::Value;
use utoipa::openapi::schema::{Object, ObjectBuilder, Schema, SchemaType, Type};

/// The words of a choice without content.
fn words<T: JsonSchema>() -> Vec<Value> {
    let schema = schemars::schema_for!(T).to_value();
    let list = |name: &str| schema.get(name).and_then(Value::as_array).cloned().unwrap_or_default();
    let alone = list("oneOf").into_iter().flat_map(|one| match one.get("const") {
        Some(word) => vec![word.clone()],
        None => one.get("enum").and_then(Value::as_array).cloned().unwrap_or_default(),
    });
    list("enum").into_iter().chain(alone).collect()
}

fn one_of<T: JsonSchema>(or_none: bool) -> Object {
    let mut words = words::<T>();
    let mut types = vec![Type::String];
    if or_none {
        words.push(Value::Null);
        types.push(Type::Null);
    }
    ObjectBuilder::new().schema_type(SchemaType::from_iter(types)).enum_values(Some(words)).build()
}

/// Of a part of the visit, or none.
pub(crate) fn stage() -> Schema {
    one_of::<Stage>(true).into()
}

/// Of what was read, or none.
pub(crate) fn quantity() -> Schema {
    one_of::<Reads>(true).into()
}

/// Of a plane.
pub(crate) fn plane() -> Schema {
    one_of::<Plane>(false).into()
}

/// Of before and after adjustment.
pub(crate) fn phase() -> Schema {
    one_of::<Phase>(false).into()
}

/// Of a unit.
pub(crate) fn unit() -> Schema {
    one_of::<Unit>(false).into()
}

/// Of a verdict.
pub(crate) fn outcome() -> Schema {
    one_of::<Outcome>(false).into()
}

/// Of a verdict, or none.
pub(crate) fn outcome_or_none() -> Schema {
    one_of::<Outcome>(true).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_are_those_the_type_is_written_with() {
        assert_eq!(words::<Phase>(), ["as-found", "as-left"]);
        assert_eq!(words::<Outcome>().len(), 5);
        assert!(words::<Unit>().contains(&serde_json::json!("uV-emf")));
        for reads in Reads::ALL {
            assert!(words::<Reads>().contains(&serde_json::json!(reads.name())));
        }
    }
}
