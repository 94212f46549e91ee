//! As much of Apache Thrift's compact protocol as a Parquet file's metadata needs, written only.
//!
//! Source: thrift-compact-protocol.md of the Apache Thrift project: a field is its distance from
//! the one before and its type in a byte, numbers are zigzag varints, a list is its length and
//! type.

const INT: u8 = 5;
const LONG: u8 = 6;
const BINARY: u8 = 8;
const LIST: u8 = 9;
const STRUCT: u8 = 12;

/// A struct under way; fields go in the order of their numbers.
pub(super) struct Struct {
    bytes: Vec<u8>,
    last: u8,
}

impl Struct {
    pub(super) fn new() -> Self {
        Self { bytes: Vec::new(), last: 0 }
    }

    /// Its bytes, once nothing more is added.
    pub(super) fn end(mut self) -> Vec<u8> {
        self.bytes.push(0);
        self.bytes
    }

    /// A count in 32 bits.
    pub(super) fn int(self, field: u8, count: usize) -> Self {
        let count = i32::try_from(count).expect("pages are kept small");
        self.enumerated(field, count)
    }

    /// A number or the number of a name.
    pub(super) fn enumerated(mut self, field: u8, number: i32) -> Self {
        self.begin(field, INT);
        varint(&mut self.bytes, zigzag(number.into()));
        self
    }

    /// A count in 64 bits.
    pub(super) fn long(mut self, field: u8, count: usize) -> Self {
        self.begin(field, LONG);
        varint(&mut self.bytes, zigzag(i64::try_from(count).expect("what fits into memory")));
        self
    }

    pub(super) fn text(mut self, field: u8, text: &str) -> Self {
        self.begin(field, BINARY);
        binary(&mut self.bytes, text);
        self
    }

    pub(super) fn nested(mut self, field: u8, of: Self) -> Self {
        self.begin(field, STRUCT);
        self.bytes.extend(of.end());
        self
    }

    pub(super) fn structs(mut self, field: u8, all: impl IntoIterator<Item = Self>) -> Self {
        let all: Vec<Self> = all.into_iter().collect();
        self.list(field, STRUCT, all.len());
        all.into_iter().for_each(|one| self.bytes.extend(one.end()));
        self
    }

    pub(super) fn texts(mut self, field: u8, all: &[&str]) -> Self {
        self.list(field, BINARY, all.len());
        all.iter().for_each(|text| binary(&mut self.bytes, text));
        self
    }

    pub(super) fn enumerations(mut self, field: u8, all: &[i32]) -> Self {
        self.list(field, INT, all.len());
        all.iter().for_each(|number| varint(&mut self.bytes, zigzag((*number).into())));
        self
    }

    fn begin(&mut self, field: u8, kind: u8) {
        debug_assert!(field > self.last && field - self.last < 16, "fields rise in small steps");
        self.bytes.push((field - self.last) << 4 | kind);
        self.last = field;
    }

    fn list(&mut self, field: u8, kind: u8, length: usize) {
        self.begin(field, LIST);
        match u8::try_from(length) {
            Ok(short) if short < 15 => self.bytes.push(short << 4 | kind),
            _ => {
                self.bytes.push(0xf0 | kind);
                varint(&mut self.bytes, length as u64);
            }
        }
    }
}

fn binary(bytes: &mut Vec<u8>, text: &str) {
    varint(bytes, text.len() as u64);
    bytes.extend(text.as_bytes());
}

fn zigzag(number: i64) -> u64 {
    ((number << 1) ^ (number >> 63)).cast_unsigned()
}

/// Seven bits a byte, the lowest first; the top bit says that more follow.
pub(super) fn varint(bytes: &mut Vec<u8>, mut number: u64) {
    while number >= 0x80 {
        bytes.push(number.to_le_bytes()[0] | 0x80);
        number >>= 7;
    }
    bytes.push(number.to_le_bytes()[0]);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_written_as_the_protocol_has_them() {
        // thrift-compact-protocol.md: "50399 = 11000100 11011111" is df 89 03; zigzag of 0, -1, 1,
        // -2 is 0, 1, 2, 3.
        let mut bytes = Vec::new();
        varint(&mut bytes, 50_399);
        assert_eq!(bytes, [0xdf, 0x89, 0x03]);
        assert_eq!([0, -1, 1, -2].map(zigzag), [0, 1, 2, 3]);
        let fields = Struct::new().int(1, 1).text(4, "ab").enumerations(6, &[0; 15]).end();
        assert_eq!(fields[..8], [0x15, 2, 0x38, 2, b'a', b'b', 0x29, 0xf5]);
        assert_eq!((fields[8], fields.len()), (15, 25));
    }
}
