//! A document's values gathered in one pass, for reading a view of it.
//!
//! In: a document. Out: the same answers the document gives, to autosurgeon. Asking automerge for
//! one field after the other looks the field's map up each time. What is not gathered (empty
//! objects, texts, values that lost to another) is asked of the document.

use std::borrow::Cow;
use std::cell::Cell;
use std::ops::{Range, RangeBounds};

use automerge::iter::{DocItem, ListRange, MapRange};
use automerge::{
    Automerge, AutomergeError, ChangeHash, ObjId, ObjType, Parents, Prop, ReadDoc, Value, ValueRef,
};

/// Where a value stands in its object. Keys are in the document, and borrowed from it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Place<'a> {
    Key(Cow<'a, str>),
    Index(usize),
}

#[derive(Debug)]
struct Item<'a> {
    place: Place<'a>,
    value: Value<'static>,
    /// Of an object: whoever asks for a plain value has no use for one, and each is a name made of
    /// its maker's.
    id: Option<ObjId>,
}

/// A document, and every value of it that stands.
#[derive(Debug)]
pub(super) struct Gathered<'a> {
    pub(super) document: &'a Automerge,
    items: Vec<Item<'a>>,
    /// Where an object's items are among them, in the order of their places; by object.
    objects: Vec<(ObjId, Range<usize>)>,
    /// Which object was asked for last: a struct's fields are asked for one after the other.
    last: Cell<usize>,
}

impl<'a> Gathered<'a> {
    pub(super) fn of(document: &'a Automerge) -> Self {
        let (items, objects) = (Vec::new(), Vec::new());
        let mut this = Self { document, items, objects, last: Cell::new(0) };
        let mut object = None;
        let mut begins = 0;
        for found in ReadDoc::iter(document) {
            if object.as_ref() != Some(&found.obj) {
                this.object_ends(object.replace(found.obj), begins);
                begins = this.items.len();
            }
            let is_object = |value: &ValueRef<'_>| matches!(value, ValueRef::Object(_));
            let (place, value, id) = match found.item {
                DocItem::Map(item) => {
                    let id = is_object(&item.value).then(|| item.id());
                    (Place::Key(item.key), item.value, id)
                }
                DocItem::List(item) => {
                    let id = is_object(&item.value).then(|| item.id());
                    (Place::Index(item.index), item.value, id)
                }
                DocItem::Text(_) => continue,
            };
            this.items.push(Item { place, value: value.into(), id });
        }
        this.object_ends(object, begins);
        // In this order already, too.
        this.objects.sort_by(|(a, _), (b, _)| a.cmp(b));
        this
    }

    fn object_ends(&mut self, object: Option<impl AsRef<ObjId>>, begins: usize) {
        let Some(object) = object.filter(|_| begins < self.items.len()) else {
            return;
        };
        // They come in this order already, which costs a comparison each.
        self.items[begins..].sort_by(|a, b| a.place.cmp(&b.place));
        self.objects.push((object.as_ref().clone(), begins..self.items.len()));
    }

    fn items_of(&self, object: &ObjId) -> Option<&[Item<'a>]> {
        let known = self.objects.get(self.last.get()).filter(|(id, _)| id == object);
        let (_, range) = match known {
            Some(known) => known,
            None => {
                let at = self.objects.binary_search_by(|(id, _)| id.cmp(object)).ok()?;
                self.last.set(at);
                &self.objects[at]
            }
        };
        Some(&self.items[range.clone()])
    }
}

impl autosurgeon::ReadDoc for Gathered<'_> {
    type Parents<'b>
        = Parents<'b>
    where
        Self: 'b;

    fn get_heads(&self) -> Vec<ChangeHash> {
        self.document.get_heads()
    }

    fn get<P: Into<Prop>>(
        &self,
        object: &ObjId,
        prop: P,
    ) -> Result<Option<(Value<'_>, ObjId)>, AutomergeError> {
        let prop = prop.into();
        let Some(items) = self.items_of(object) else {
            return ReadDoc::get(self.document, object, prop);
        };
        let found = match &prop {
            Prop::Map(key) => items.binary_search_by(|item| match &item.place {
                Place::Key(found) => found.as_ref().cmp(key),
                Place::Index(_) => std::cmp::Ordering::Greater,
            }),
            Prop::Seq(index) => items.binary_search_by(|item| match &item.place {
                Place::Key(_) => std::cmp::Ordering::Less,
                Place::Index(found) => found.cmp(index),
            }),
        };
        Ok(found.ok().map(|at| {
            let Item { value, id, .. } = &items[at];
            let value = match value {
                Value::Object(kind) => Value::Object(*kind),
                Value::Scalar(scalar) => Value::Scalar(Cow::Borrowed(scalar)),
            };
            (value, id.clone().unwrap_or(ObjId::Root))
        }))
    }

    fn object_type<O: AsRef<ObjId>>(&self, object: O) -> Option<ObjType> {
        let items = self.items_of(object.as_ref());
        match items.and_then(<[_]>::first).map(|item| &item.place) {
            Some(Place::Key(_)) => Some(ObjType::Map),
            Some(Place::Index(_)) => Some(ObjType::List),
            None => ReadDoc::object_type(self.document, object).ok(),
        }
    }

    fn map_range<'b, O: AsRef<ObjId>, R: RangeBounds<String> + 'b>(
        &'b self,
        object: O,
        range: R,
    ) -> MapRange<'b> {
        ReadDoc::map_range(self.document, object, range)
    }

    fn list_range<O: AsRef<ObjId>, R: RangeBounds<usize>>(
        &self,
        object: O,
        range: R,
    ) -> ListRange<'_> {
        ReadDoc::list_range(self.document, object, range)
    }

    fn length<O: AsRef<ObjId>>(&self, object: O) -> usize {
        match self.items_of(object.as_ref()) {
            Some(items) => items.len(),
            None => ReadDoc::length(self.document, object),
        }
    }

    fn text<O: AsRef<ObjId>>(&self, object: O) -> Result<String, AutomergeError> {
        ReadDoc::text(self.document, object)
    }

    fn parents<O: AsRef<ObjId>>(&self, object: O) -> Result<Parents<'_>, AutomergeError> {
        ReadDoc::parents(self.document, object)
    }

    fn is_empty(&self) -> bool {
        self.objects.is_empty()
    }
}

#[cfg(test)]
#[path = "gathered_tests.rs"]
mod tests;
