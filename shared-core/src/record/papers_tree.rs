//! A paper as a tree of fields: read from automerge at any moment, compared, and written field by
//! field, so that two people who change different fields of one entry both keep theirs.
//!
//! A list, and whatever [`is_whole`] names, is one field: half of one person's limit with half of
//! another's would be a limit nobody chose.

use automerge::transaction::{Transactable, Transaction};
use automerge::{AutomergeError, ChangeHash, ObjId, ObjType, ReadDoc, ScalarValue, Value};
use serde_json::{Map, Number, Value as Json};

use crate::time::Timestamp;

/// Where a field stands, from the content on, as in `["parts", "cable-a", "name"]`.
pub(super) type Path = Vec<String>;

/// A field that is not the same in two trees.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Difference {
    pub(super) path: Path,
    /// None where the field was not there.
    pub(super) before: Option<Json>,
    /// None where it is not there any more.
    pub(super) after: Option<Json>,
}

/// Whether a field counts as one value though it has parts.
fn is_whole(path: &[String]) -> bool {
    match path {
        [list, _] => {
            ["check_limits", "added_checks", "added_cautions", "written"].contains(&list.as_str())
        }
        [field] => field == "position",
        [list, _, field] => match list.as_str() {
            "parts" => ["short_time", "cable", "isolator"].contains(&field.as_str()),
            "repeaters" => field == "duplexer_sweep",
            _ => false,
        },
        _ => false,
    }
}

/// An object of the document as it was at these heads; as it is where there are none.
pub(super) fn tree(
    doc: &impl ReadDoc,
    object: &ObjId,
    heads: Option<&[ChangeHash]>,
) -> Result<Json, AutomergeError> {
    match doc.object_type(object)? {
        ObjType::Map | ObjType::Table => {
            let keys: Vec<String> = match heads {
                Some(heads) => doc.keys_at(object, heads).collect(),
                None => doc.keys(object).collect(),
            };
            let mut map = Map::new();
            for key in keys {
                let found = match heads {
                    Some(heads) => doc.get_at(object, key.as_str(), heads)?,
                    None => doc.get(object, key.as_str())?,
                };
                if let Some((value, id)) = found {
                    map.insert(key, leaf(doc, &value, &id, heads)?);
                }
            }
            Ok(Json::Object(map))
        }
        ObjType::List => {
            let length = match heads {
                Some(heads) => doc.length_at(object, heads),
                None => doc.length(object),
            };
            let mut list = Vec::new();
            for index in 0..length {
                let found = match heads {
                    Some(heads) => doc.get_at(object, index, heads)?,
                    None => doc.get(object, index)?,
                };
                if let Some((value, id)) = found {
                    list.push(leaf(doc, &value, &id, heads)?);
                }
            }
            Ok(Json::Array(list))
        }
        ObjType::Text => Ok(Json::String(match heads {
            Some(heads) => doc.text_at(object, heads)?,
            None => doc.text(object)?,
        })),
    }
}

/// A value of the document with all that is under it.
pub(super) fn leaf(
    doc: &impl ReadDoc,
    value: &Value<'_>,
    id: &ObjId,
    heads: Option<&[ChangeHash]>,
) -> Result<Json, AutomergeError> {
    Ok(match value {
        Value::Object(_) => tree(doc, id, heads)?,
        Value::Scalar(scalar) => match scalar.as_ref() {
            ScalarValue::Str(text) => Json::String(text.to_string()),
            ScalarValue::Int(number) => Json::from(*number),
            ScalarValue::Uint(number) => Json::from(*number),
            ScalarValue::F64(number) => Number::from_f64(*number).map_or(Json::Null, Json::Number),
            ScalarValue::Boolean(truth) => Json::Bool(*truth),
            ScalarValue::Null => Json::Null,
            ScalarValue::Timestamp(ms) => match Timestamp::from_unix_ms(*ms) {
                Ok(at) => Json::String(at.to_string()),
                Err(_) => Json::from(*ms),
            },
            // No paper of ours holds these; a stranger's is shown as it would be printed.
            other => Json::String(other.to_string()),
        },
    })
}

/// Every field in which two trees differ, in the order of their paths.
pub(super) fn differences(before: &Json, after: &Json) -> Vec<Difference> {
    let mut found = Vec::new();
    compare(&mut Vec::new(), Some(before), Some(after), &mut found);
    found
}

fn compare(
    path: &mut Path,
    before: Option<&Json>,
    after: Option<&Json>,
    found: &mut Vec<Difference>,
) {
    if before == after {
        return;
    }
    match (before, after) {
        (Some(Json::Object(old)), Some(Json::Object(new))) if !is_whole(path) => {
            let mut keys: Vec<&String> = old.keys().chain(new.keys()).collect();
            keys.sort();
            keys.dedup();
            for key in keys {
                path.push(key.clone());
                compare(path, old.get(key), new.get(key), found);
                path.pop();
            }
        }
        _ => found.push(Difference {
            path: path.clone(),
            before: before.cloned(),
            after: after.cloned(),
        }),
    }
}

/// The value at a path of a tree.
pub(super) fn at<'a>(tree: &'a Json, path: &[String]) -> Option<&'a Json> {
    path.iter().try_fold(tree, |tree, key| tree.get(key))
}

/// Puts a value into a tree, where everything above it is there.
pub(super) fn set(tree: &mut Json, path: &[String], value: Json) -> bool {
    let Some((last, above)) = path.split_last() else { return false };
    let parent = above.iter().try_fold(tree, |tree, key| tree.get_mut(key));
    match parent {
        Some(Json::Object(map)) => {
            map.insert(last.clone(), value);
            true
        }
        _ => false,
    }
}

/// Writes one field. `anew` replaces every value that stands there, also one that is the same: a
/// choice between two must count as a value of its own, or a choice made elsewhere would undo it.
pub(super) fn write(
    tx: &mut Transaction<'_>,
    content: &ObjId,
    path: &[String],
    value: &Json,
    anew: bool,
) -> Result<(), AutomergeError> {
    let (last, above) = path.split_last().ok_or(AutomergeError::InvalidObjId(String::new()))?;
    let mut parent = content.clone();
    for key in above {
        match tx.get(&parent, key.as_str())? {
            Some((Value::Object(_), found)) => parent = found,
            _ => return Err(AutomergeError::InvalidObjId(path.join("."))),
        }
    }
    if anew {
        tx.delete(&parent, last.as_str())?;
    }
    put(tx, &parent, last, value)
}

fn put(
    tx: &mut Transaction<'_>,
    parent: &ObjId,
    key: &str,
    value: &Json,
) -> Result<(), AutomergeError> {
    match value {
        Json::Object(_) => {
            let object = tx.put_object(parent, key, ObjType::Map)?;
            fill(tx, &object, value)
        }
        Json::Array(_) => {
            let object = tx.put_object(parent, key, ObjType::List)?;
            fill(tx, &object, value)
        }
        plain => tx.put(parent, key, scalar(plain)),
    }
}

fn fill(tx: &mut Transaction<'_>, object: &ObjId, value: &Json) -> Result<(), AutomergeError> {
    match value {
        Json::Object(map) => map.iter().try_for_each(|(key, value)| put(tx, object, key, value)),
        Json::Array(list) => list.iter().enumerate().try_for_each(|(index, value)| match value {
            Json::Object(_) | Json::Array(_) => {
                let kind = if value.is_array() { ObjType::List } else { ObjType::Map };
                let inner = tx.insert_object(object, index, kind)?;
                fill(tx, &inner, value)
            }
            plain => tx.insert(object, index, scalar(plain)),
        }),
        _ => Ok(()),
    }
}

fn scalar(value: &Json) -> ScalarValue {
    match value {
        Json::Bool(truth) => ScalarValue::Boolean(*truth),
        Json::String(text) => ScalarValue::Str(text.as_str().into()),
        Json::Number(number) => match (number.as_u64(), number.as_i64(), number.as_f64()) {
            (Some(number), _, _) => ScalarValue::Uint(number),
            (None, Some(number), _) => ScalarValue::Int(number),
            (None, None, Some(number)) => ScalarValue::F64(number),
            (None, None, None) => ScalarValue::Null,
        },
        Json::Null | Json::Array(_) | Json::Object(_) => ScalarValue::Null,
    }
}
