//! The words of a Touchstone text, one pass, without a copy: comments and blanks never come out.
//!
//! In: text. Out: words, ends of lines, and the line each stands on. Knows no word's meaning, but
//! can read a plain decimal number on its way: a file is little else, and its bytes are gone
//! through once.

/// What comes next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Piece<'a> {
    /// Characters between blanks.
    Word(&'a str),
    /// The end of a line, however it is marked.
    LineEnd,
    /// The end of the text.
    End,
}

/// A place in the text.
#[derive(Clone, Debug)]
pub(super) struct Cursor<'a> {
    text: &'a str,
    at: usize,
    word: usize,
    line: usize,
}

fn blank(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | 0x0b | 0x0c)
}

fn ends_line(byte: u8) -> bool {
    matches!(byte, b'\n' | b'\r')
}

/// Which bytes end a word: looked up, because every byte of a file is asked.
const ENDS_WORD: [bool; 256] = {
    let mut table = [false; 256];
    let ends = [b' ', b'\t', 0x0b, 0x0c, b'\n', b'\r', b'!'];
    let mut at = 0;
    while at < ends.len() {
        table[ends[at] as usize] = true;
        at += 1;
    }
    table
};

/// A number up to here is exact in a double, and so is every smaller one.
const EXACT_MAX: u64 = 1 << f64::MANTISSA_DIGITS;

/// Powers of ten that are exact in a double: 5^22 is the last with at most 53 bits.
const POWERS_OF_TEN: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16,
    1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
];

impl<'a> Cursor<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        Self { text, at: 0, word: 0, line: 1 }
    }

    /// The line the last word stands on, counted from 1.
    pub(super) fn line(&self) -> usize {
        self.line
    }

    pub(super) fn next(&mut self) -> Piece<'a> {
        let bytes = self.text.as_bytes();
        let mut at = self.at;
        while let Some(&byte) = bytes.get(at) {
            if blank(byte) {
                at += 1;
            } else if byte == b'!' {
                at = line_end(bytes, at);
            } else if ends_line(byte) {
                let pair = byte == b'\r' && bytes.get(at + 1) == Some(&b'\n');
                self.at = at + if pair { 2 } else { 1 };
                self.line += 1;
                return Piece::LineEnd;
            } else {
                self.word = at;
                let length = bytes[at..].iter().position(|&b| ENDS_WORD[usize::from(b)]);
                at = length.map_or(bytes.len(), |length| at + length);
                self.at = at;
                return Piece::Word(&self.text[self.word..at]);
            }
        }
        self.at = at;
        Piece::End
    }

    /// The last word.
    pub(super) fn word(&self) -> &'a str {
        &self.text[self.word..self.at]
    }

    /// The next word, if it stands on this line and is a number this reads exactly; otherwise the
    /// cursor stays, and [`Cursor::next`] gives what comes.
    ///
    /// A whole number and a power of ten that are both exact, and one operation on them: that
    /// rounds as it must (W. D. Clinger, "How to read floating point numbers accurately", 1990).
    pub(super) fn decimal(&mut self) -> Option<f64> {
        let bytes = self.text.as_bytes();
        let blanks = bytes[self.at..].iter().position(|&byte| !blank(byte))?;
        let start = self.at + blanks;
        let negative = bytes[start] == b'-';
        let mut at = start + usize::from(negative || bytes[start] == b'+');
        let (mut whole, first) = (0, at);
        at = digits(bytes, at, &mut whole);
        let (mut count, mut power) = (at - first, 0);
        if bytes.get(at) == Some(&b'.') {
            let behind = digits(bytes, at + 1, &mut whole) - at - 1;
            (at, count, power) = (at + 1 + behind, count + behind, -(behind as i32));
        }
        // Nineteen digits cannot overflow.
        if !(1..=19).contains(&count) {
            return None;
        }
        if matches!(bytes.get(at), Some(b'e' | b'E')) {
            let down = bytes.get(at + 1) == Some(&b'-');
            let first = at + 1 + usize::from(down || bytes.get(at + 1) == Some(&b'+'));
            let mut exponent = 0;
            at = digits(bytes, first, &mut exponent);
            if !(1..=4).contains(&(at - first)) {
                return None;
            }
            power += if down { -(exponent as i32) } else { exponent as i32 };
        }
        let ends = bytes.get(at).is_none_or(|&byte| ENDS_WORD[usize::from(byte)]);
        if !ends || whole > EXACT_MAX {
            return None;
        }
        let ten = *POWERS_OF_TEN.get(power.unsigned_abs() as usize)?;
        let value = if power < 0 { whole as f64 / ten } else { whole as f64 * ten };
        (self.word, self.at) = (start, at);
        Some(if negative { -value } else { value })
    }

    /// The name in brackets that begins with the last word; what follows it comes next. None where
    /// no bracket closes on this line.
    pub(super) fn bracketed(&mut self) -> Option<&'a str> {
        let bytes = self.text.as_bytes();
        let line = &bytes[self.word..line_end(bytes, self.word)];
        let length = line.iter().position(|&byte| matches!(byte, b']' | b'!'))?;
        self.at = self.word + length + 1;
        (line[length] == b']').then(|| &self.text[self.word..self.at])
    }

    /// What is left of this line, without its comment.
    pub(super) fn rest(&mut self) -> &'a str {
        let bytes = self.text.as_bytes();
        let (from, end) = (self.at, line_end(bytes, self.at));
        self.at = end;
        let text = &self.text[from..end];
        text.split('!').next().unwrap_or_default().trim()
    }
}

/// Adds the digits from a place on to a number, which wraps past nineteen. Gives where they end.
fn digits(bytes: &[u8], mut at: usize, number: &mut u64) -> usize {
    while let Some(digit) = bytes.get(at).map(|byte| byte.wrapping_sub(b'0')).filter(|it| *it < 10)
    {
        *number = number.wrapping_mul(10).wrapping_add(u64::from(digit));
        at += 1;
    }
    at
}

fn line_end(bytes: &[u8], from: usize) -> usize {
    let length = bytes[from..].iter().position(|&byte| ends_line(byte));
    length.map_or(bytes.len(), |length| from + length)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pieces(text: &str) -> Vec<(Piece<'_>, usize)> {
        let mut cursor = Cursor::new(text);
        let mut found = Vec::new();
        while found.last().is_none_or(|(piece, _)| *piece != Piece::End) {
            let piece = cursor.next();
            found.push((piece, cursor.line()));
        }
        found
    }

    #[test]
    fn a_word_ends_where_something_else_begins() {
        for byte in 0..=u8::MAX {
            let other = blank(byte) || ends_line(byte) || byte == b'!';
            assert_eq!(ENDS_WORD[usize::from(byte)], other, "{byte}");
        }
    }

    #[test]
    fn every_kind_of_line_end_counts_once() {
        use Piece::{End, LineEnd, Word};
        let expected = vec![
            (Word("1"), 1),
            (LineEnd, 2),
            (Word("2"), 2),
            (LineEnd, 3),
            (LineEnd, 4),
            (Word("3"), 4),
            (End, 4),
        ];
        assert_eq!(pieces("1\r\n2\r!x\n3"), expected);
    }

    #[test]
    fn a_comment_ends_a_word_and_a_line_end_ends_the_comment() {
        use Piece::{End, LineEnd, Word};
        let expected = vec![(Word("1.5"), 1), (LineEnd, 2), (Word("µ"), 2), (End, 2)];
        assert_eq!(pieces("\t1.5!row 1 ! 7\n µ"), expected);
    }

    #[test]
    fn a_number_is_read_as_the_standard_library_reads_it() {
        // xorshift64 (Marsaglia 2003): the same numbers in every run.
        let mut state = 0x9e37_79b9_u64;
        let mut chance = |below: u64| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            state % below
        };
        let mut read = 0;
        for _ in 0..200_000 {
            let whole = chance(u64::MAX) >> chance(64);
            let part = chance(u64::MAX) >> chance(64);
            let sign = ["", "-", "+"][chance(3) as usize];
            let mut text = format!("{sign}{whole}");
            if chance(3) > 0 {
                text = format!("{text}.{part:0width$}", width = chance(6) as usize);
            }
            if chance(2) == 0 {
                let (letter, sign) =
                    (["e", "E"][chance(2) as usize], ["", "-", "+"][chance(3) as usize]);
                text = format!("{text}{letter}{sign}{}", chance(30));
            }
            let mut cursor = Cursor::new(&text);
            if let Some(value) = cursor.decimal() {
                read += 1;
                assert_eq!(value.to_bits(), text.parse::<f64>().unwrap().to_bits(), "{text}");
                assert_eq!((cursor.word(), cursor.next()), (text.as_str(), Piece::End));
            }
        }
        assert!(read > 60_000, "only {read} were short enough for it");
    }

    #[test]
    fn what_is_no_plain_number_is_left_for_whoever_reads_words() {
        for text in [
            "",
            " ",
            "\n1",
            "!1",
            "-",
            ".",
            "-.e1",
            "1e",
            "1e+",
            "1e12345",
            "1x",
            "1,5",
            "1.2.3",
            "inf",
            "nan",
            "0x1",
            "12345678901234567890",
            "9007199254740993",
            "1e23",
            "1e-23",
            "１",
        ] {
            let mut cursor = Cursor::new(text);
            assert_eq!(cursor.decimal(), None, "{text:?}");
            assert_eq!(cursor.next(), Cursor::new(text).next(), "{text:?}");
        }
        for (text, value) in
            [("9007199254740992", 9_007_199_254_740_992.0), (".5!x", 0.5), ("7.", 7.0)]
        {
            assert_eq!(Cursor::new(text).decimal(), Some(value), "{text:?}");
        }
        assert!(Cursor::new("-0 1").decimal().is_some_and(|zero| zero.is_sign_negative()));
    }

    #[test]
    fn brackets_and_the_rest_of_a_line() {
        let mut cursor = Cursor::new("[Number of Ports] 2 ! two\n[Open 3");
        assert_eq!(cursor.next(), Piece::Word("[Number"));
        assert_eq!(cursor.bracketed(), Some("[Number of Ports]"));
        assert_eq!(cursor.rest(), "2");
        assert_eq!(cursor.next(), Piece::LineEnd);
        assert_eq!(cursor.next(), Piece::Word("[Open"));
        assert_eq!(cursor.bracketed(), None);
    }
}
