//! The words of a Touchstone text, one pass, without a copy: comments and blanks never come out.
//!
//! In: text. Out: words, ends of lines, and the line each stands on. Knows no word's meaning.

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
