//! Apache Parquet: the same table for programs that calculate with columns.
//!
//! Format: parquet-format 2.x, `parquet.thrift`, as the Apache project publishes it: column chunks
//! of one plain, uncompressed page each, then the metadata in Thrift's compact protocol. Written
//! by hand, since a crate for it costs every build half a minute for what these lines do; pyarrow
//! reads it back in the tests. Every column but a truth is optional: a null is an empty cell.
//! Texts are UTF-8, numbers doubles, counts 64-bit integers. No time is written.

use super::table::{Cell, Kind, Row};
use super::thrift::{Struct, varint};

/// At the file's beginning and end.
const MAGIC: &[u8] = b"PAR1";
/// So many rows a group: its pages stay far from what a 32-bit size can say.
const GROUP_ROWS: usize = 65_536;

// Numbers of parquet.thrift: Encoding, and the names of the two kinds of repetition used here.
const PLAIN: i32 = 0;
const RLE: i32 = 3;
const REQUIRED: i32 = 0;
const OPTIONAL: i32 = 1;

/// The table as a file.
pub(crate) fn write<R: Row>(name: &str, rows: &[R]) -> Vec<u8> {
    let mut file = MAGIC.to_vec();
    let groups: Vec<Struct> =
        rows.chunks(GROUP_ROWS).map(|rows| row_group(&mut file, rows)).collect();
    let root = Struct::new().text(4, name).int(5, R::COLUMNS.len());
    let columns = R::COLUMNS.iter().map(|(name, kind)| schema_element(name, *kind));
    let metadata = Struct::new()
        .int(1, 2)
        .structs(2, std::iter::once(root).chain(columns))
        .long(3, rows.len())
        .structs(4, groups)
        .text(6, "Guyline")
        .end();
    file.extend(&metadata);
    file.extend(size(metadata.len()).to_le_bytes());
    file.extend(MAGIC);
    file
}

/// The physical type's number in parquet.thrift.
fn physical(kind: Kind) -> i32 {
    match kind {
        Kind::Truth => 0,
        Kind::Whole => 2,
        Kind::Number => 5,
        Kind::Text => 6,
    }
}

fn schema_element(name: &str, kind: Kind) -> Struct {
    let repetition = if kind == Kind::Truth { REQUIRED } else { OPTIONAL };
    let element = Struct::new().enumerated(1, physical(kind)).enumerated(3, repetition);
    let element = element.text(4, name);
    match kind {
        // Converted type UTF8, and the logical type that took its place.
        Kind::Text => element.enumerated(6, 0).nested(10, Struct::new().nested(1, Struct::new())),
        Kind::Number | Kind::Whole | Kind::Truth => element,
    }
}

/// Writes the columns of some rows and describes them.
fn row_group<R: Row>(file: &mut Vec<u8>, rows: &[R]) -> Struct {
    let cells: Vec<Vec<Cell<'_>>> = rows.iter().map(Row::cells).collect();
    let begun = file.len();
    let column = |(index, (name, kind)): (usize, &(&str, Kind))| {
        let column: Vec<&Cell<'_>> = cells.iter().map(|row| &row[index]).collect();
        column_chunk(file, name, *kind, &column)
    };
    let chunks: Vec<Struct> = R::COLUMNS.iter().enumerate().map(column).collect();
    let bytes = file.len() - begun;
    Struct::new().structs(1, chunks).long(2, bytes).long(3, rows.len())
}

fn column_chunk(file: &mut Vec<u8>, name: &str, kind: Kind, column: &[&Cell<'_>]) -> Struct {
    let mut page = Vec::new();
    if kind != Kind::Truth {
        let there: Vec<bool> = column.iter().map(|cell| **cell != Cell::Empty).collect();
        definition_levels(&mut page, &there);
    }
    values(&mut page, kind, column);
    let data = Struct::new().int(1, column.len()).enumerated(2, PLAIN);
    let data = data.enumerated(3, RLE).enumerated(4, RLE);
    let header = Struct::new().enumerated(1, 0).int(2, page.len()).int(3, page.len());
    let header = header.nested(5, data).end();
    let offset = file.len();
    let bytes = header.len() + page.len();
    file.extend(header);
    file.extend(page);
    let metadata = Struct::new()
        .enumerated(1, physical(kind))
        .enumerations(2, &[PLAIN, RLE])
        .texts(3, &[name])
        .enumerated(4, 0)
        .long(5, column.len())
        .long(6, bytes)
        .long(7, bytes)
        .long(9, offset);
    Struct::new().long(2, offset).nested(3, metadata)
}

/// Which cells hold something: one run of bits, with its length in bytes before it.
fn definition_levels(page: &mut Vec<u8>, there: &[bool]) {
    let bits = packed(there);
    let mut run = Vec::new();
    varint(&mut run, (bits.len() as u64) << 1 | 1);
    run.extend(bits);
    page.extend(size(run.len()).to_le_bytes());
    page.extend(run);
}

/// Eight to a byte, the first in the lowest bit.
fn packed(bits: &[bool]) -> Vec<u8> {
    let byte = |eight: &[bool]| {
        eight.iter().enumerate().fold(0, |byte, (at, bit)| byte | u8::from(*bit) << at)
    };
    bits.chunks(8).map(byte).collect()
}

/// What the cells hold, one after the other; an empty one holds nothing.
fn values(page: &mut Vec<u8>, kind: Kind, column: &[&Cell<'_>]) {
    if kind == Kind::Truth {
        let truths: Vec<bool> =
            column.iter().map(|cell| matches!(cell, Cell::Truth(true))).collect();
        return page.extend(packed(&truths));
    }
    for cell in column {
        match cell {
            Cell::Text(text) => {
                page.extend(size(text.len()).to_le_bytes());
                page.extend(text.as_bytes());
            }
            Cell::Number(number) => page.extend(number.to_le_bytes()),
            Cell::Whole(count) => page.extend(count.to_le_bytes()),
            Cell::Truth(_) | Cell::Empty => {}
        }
    }
}

fn size(bytes: usize) -> u32 {
    u32::try_from(bytes).expect("65 536 cells of bounded texts stay below 4 GiB")
}
