//! Tables: rows with typed cells, and what the forms of a file share of them.
//!
//! In: a struct of plain fields, declared with [`row!`](crate::takeout::table::row). Out: its
//! columns in the order they are declared, and its cells. Knows no record and no file.

use std::borrow::Cow;

use guyline_core::record::plan::Stage;
use guyline_core::record::{Phase, Plane};
use guyline_core::uncertainty::Outcome;
use guyline_core::units::{Reads, Unit};

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Words.
    Text,
    /// A measured or computed number.
    Number,
    /// A count: whole hertz.
    Whole,
    /// True or false.
    Truth,
}

/// What stands in a cell.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Cell<'a> {
    /// Nothing: it is not known or does not apply.
    Empty,
    /// Words.
    Text(Cow<'a, str>),
    /// A number.
    Number(f64),
    /// A count.
    Whole(u64),
    /// True or false.
    Truth(bool),
}

/// A field that can stand in a table.
pub(crate) trait AsCell {
    /// What its column holds.
    const KIND: Kind;
    /// What stands in its cell.
    fn as_cell(&self) -> Cell<'_>;
}

impl AsCell for String {
    const KIND: Kind = Kind::Text;
    fn as_cell(&self) -> Cell<'_> {
        Cell::Text(Cow::Borrowed(self))
    }
}

impl AsCell for f64 {
    const KIND: Kind = Kind::Number;
    fn as_cell(&self) -> Cell<'_> {
        Cell::Number(*self)
    }
}

impl AsCell for u64 {
    const KIND: Kind = Kind::Whole;
    fn as_cell(&self) -> Cell<'_> {
        Cell::Whole(*self)
    }
}

impl AsCell for bool {
    const KIND: Kind = Kind::Truth;
    fn as_cell(&self) -> Cell<'_> {
        Cell::Truth(*self)
    }
}

impl<T: AsCell> AsCell for Option<T> {
    const KIND: Kind = T::KIND;
    fn as_cell(&self) -> Cell<'_> {
        self.as_ref().map_or(Cell::Empty, T::as_cell)
    }
}

/// One of a few words, as JSON has it.
macro_rules! worded {
    ($($name:ty)*) => {$(
        impl AsCell for $name {
            const KIND: Kind = Kind::Text;
            fn as_cell(&self) -> Cell<'_> {
                match serde_json::to_value(self) {
                    Ok(serde_json::Value::String(word)) => Cell::Text(Cow::Owned(word)),
                    _ => unreachable!("a choice without content is written as its word"),
                }
            }
        }
    )*};
}
worded!(Outcome Phase Plane Stage Reads Unit);

/// A row of a table.
pub(crate) trait Row {
    /// The columns in their order.
    const COLUMNS: &'static [(&'static str, Kind)];
    /// The cells in that order.
    fn cells(&self) -> Vec<Cell<'_>>;
}

/// Declares a struct that is a row of a table.
macro_rules! row {
    ($(#[$meta:meta])* pub struct $name:ident {
        $($(#[$of_field:meta])* pub $field:ident: $type:ty,)*
    }) => {
        $(#[$meta])*
        pub struct $name {
            $($(#[$of_field])* pub $field: $type,)*
        }

        impl $crate::takeout::table::Row for $name {
            const COLUMNS: &'static [(&'static str, $crate::takeout::table::Kind)] = &[
                $((stringify!($field), <$type as $crate::takeout::table::AsCell>::KIND),)*
            ];

            fn cells(&self) -> Vec<$crate::takeout::table::Cell<'_>> {
                vec![$($crate::takeout::table::AsCell::as_cell(&self.$field),)*]
            }
        }
    };
}
pub(crate) use row;
