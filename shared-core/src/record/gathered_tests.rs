//! What is gathered answers as the document does.

use automerge::transaction::Transactable;
use automerge::{ActorId, ROOT};

use super::*;

/// Compares every value of an object and of what it holds; gives how many objects that were.
fn compared(document: &Automerge, gathered: &Gathered<'_>, object: &ObjId) -> usize {
    let places: Vec<Prop> = match document.object_type(object).unwrap() {
        ObjType::Map | ObjType::Table => document
            .keys(object)
            .chain(["absent".to_owned(), String::new(), "~".to_owned()])
            .map(Prop::Map)
            .collect(),
        ObjType::List => (0..=document.length(object)).map(Prop::Seq).collect(),
        ObjType::Text => Vec::new(),
    };
    assert_eq!(autosurgeon::ReadDoc::length(gathered, object), document.length(object));
    let mut objects = 1;
    for place in places {
        let given = autosurgeon::ReadDoc::get(gathered, object, place.clone()).unwrap();
        let here = document.get(object, place).unwrap();
        let as_asked = |found: Option<(Value<'_>, ObjId)>| {
            // A plain value is asked for what it is, an object for its name too.
            found.map(|(value, id)| (value.is_object().then_some(id), value.into_owned()))
        };
        assert_eq!(as_asked(given), as_asked(here.clone()));
        if let Some((Value::Object(_), id)) = here {
            objects += compared(document, gathered, &id);
        }
    }
    objects
}

#[test]
fn every_value_is_what_the_document_says() {
    let mut one = Automerge::new().with_actor(ActorId::from([1; 16]));
    one.transact(|tx| {
        let content = tx.put_object(ROOT, "content", ObjType::Map)?;
        for key in ["10", "9", "b", "a", "é", "Z"] {
            let entry = tx.put_object(&content, key, ObjType::Map)?;
            tx.put(&entry, "text", format!("{key} is written"))?;
            tx.put(&entry, "level", -120.5)?;
            tx.put(&entry, "gone", true)?;
            tx.delete(&entry, "gone")?;
        }
        tx.put_object(&content, "empty", ObjType::Map)?;
        let list = tx.put_object(&content, "list", ObjType::List)?;
        for (at, word) in ["x", "y", "z"].into_iter().enumerate() {
            tx.insert(&list, at, word)?;
        }
        tx.delete(&list, 1)?;
        let inner = tx.insert_object(&list, 2, ObjType::Map)?;
        tx.put(&inner, "deep", 1_u64)?;
        let text = tx.put_object(&content, "long", ObjType::Text)?;
        tx.splice_text(&text, 0, 0, "letters")?;
        tx.put(ROOT, "kind", "session")
    })
    .unwrap();
    let mut other = one.fork().with_actor(ActorId::from([2; 16]));
    for (document, said) in [(&mut one, "first"), (&mut other, "second")] {
        let (_, content) = document.get(ROOT, "content").unwrap().unwrap();
        document
            .transact(|tx| {
                tx.put(&content, "Z", said)?;
                let summary = tx.put_object(&content, "summary", ObjType::Map)?;
                tx.put(&summary, "text", said)?;
                tx.delete(&content, "a")
            })
            .unwrap();
    }
    one.merge(&mut other).unwrap();
    let (_, content) = one.get(ROOT, "content").unwrap().unwrap();
    assert_eq!(one.get_all(&content, "Z").unwrap().len(), 2);
    assert_eq!(compared(&one, &Gathered::of(&one), &ROOT), 11);
    // The summary that lost is no part of what stands, and is asked of the document.
    for (_, summary) in one.get_all(&content, "summary").unwrap() {
        let gathered = Gathered::of(&one);
        assert!(autosurgeon::ReadDoc::get(&gathered, &summary, "text").unwrap().is_some());
    }
}
