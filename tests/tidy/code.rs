//! Rust text with its comments and literals blanked, so that a rule sees code and nothing else.
//!
//! In: a file's text. Out: text of the same lines, where every character of a comment, a string or
//! a character literal is a space. It is no parser: it knows where those begin and end.

/// Blanks comments, strings and character literals; line breaks stay.
pub(crate) fn only(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    while at < chars.len() {
        let end = literal_end(&chars, at);
        if end == at {
            out.push(chars[at]);
            at += 1;
        } else {
            out.extend(chars[at..end].iter().map(|c| if *c == '\n' { '\n' } else { ' ' }));
            at = end;
        }
    }
    out
}

/// Where what begins at `at` ends; `at` itself where neither a comment nor a literal begins there.
fn literal_end(chars: &[char], at: usize) -> usize {
    let next = |ahead: usize| chars.get(at + ahead).copied();
    let in_word = at > 0 && is_word(chars[at - 1]);
    match (chars[at], next(1)) {
        ('/', Some('/')) => find(chars, at, &['\n']),
        ('/', Some('*')) => block_comment_end(chars, at),
        ('"', _) => string_end(chars, at + 1),
        ('r', Some('"' | '#')) if !in_word => raw_string_end(chars, at + 1).unwrap_or(at),
        ('b', Some('r')) if !in_word => raw_string_end(chars, at + 2).unwrap_or(at),
        ('\'', Some('\\')) => find(chars, at + 3, &['\'']) + 1,
        ('\'', Some(_)) if next(2) == Some('\'') => at + 3,
        _ => at,
    }
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The first place from `at` on where one of `wanted` stands, or the end.
fn find(chars: &[char], at: usize, wanted: &[char]) -> usize {
    let rest = chars.get(at..).unwrap_or_default();
    rest.iter().position(|c| wanted.contains(c)).map_or(chars.len(), |ahead| at + ahead)
}

fn block_comment_end(chars: &[char], start: usize) -> usize {
    let (mut depth, mut at) = (0, start);
    while at < chars.len() {
        match (chars[at], chars.get(at + 1)) {
            ('/', Some('*')) => (depth, at) = (depth + 1, at + 2),
            ('*', Some('/')) => (depth, at) = (depth - 1, at + 2),
            _ => at += 1,
        }
        if depth == 0 {
            break;
        }
    }
    at.min(chars.len())
}

fn string_end(chars: &[char], start: usize) -> usize {
    let mut at = start;
    while at < chars.len() {
        match chars[at] {
            '"' => return at + 1,
            '\\' => at += 2,
            _ => at += 1,
        }
    }
    chars.len()
}

/// `None` where no raw string stands, as in a raw name like `r#type`.
fn raw_string_end(chars: &[char], start: usize) -> Option<usize> {
    let hashes = chars[start..].iter().take_while(|c| **c == '#').count();
    let mut at = start + hashes;
    if chars.get(at) != Some(&'"') {
        return None;
    }
    loop {
        at = find(chars, at + 1, &['"']);
        let closing = chars.get(at + 1..).unwrap_or_default();
        if closing.iter().take(hashes).filter(|c| **c == '#').count() == hashes {
            return Some((at + 1 + hashes).min(chars.len()));
        }
        if at >= chars.len() {
            return Some(at);
        }
    }
}

/// The lines on which `word` stands as a whole word, counted from 1, with the column behind it.
pub(crate) fn uses<'a>(code: &'a str, word: &'a str) -> impl Iterator<Item = (usize, &'a str)> {
    code.lines().enumerate().flat_map(move |(index, line)| {
        line.match_indices(word).filter_map(move |(at, _)| {
            let (before, rest) = (&line[..at], &line[at + word.len()..]);
            // A word that begins or ends with a sign, as `dbg!(`, is bounded by that sign.
            let joins = |c: Option<char>, own: Option<char>| {
                c.is_some_and(is_word) && own.is_some_and(is_word)
            };
            let whole = !joins(before.chars().next_back(), word.chars().next())
                && !joins(rest.chars().next(), word.chars().next_back());
            whole.then_some((index + 1, rest))
        })
    })
}

#[test]
fn comments_and_literals_are_blanked_and_code_is_kept() {
    let rows = [
        ("a // fn b {\nc", "a          \nc"),
        ("a /* { /* } */ { */ b", "a                   b"),
        (r#"f("{ \" {") }"#, "f(          ) }"),
        ("f(r#\"{ \" {\"#) }", "f(           ) }"),
        ("f(br\"{\") }", "f(     ) }"),
        (r"g('{', '\'', '\u{1F}') }", "g(   ,     ,         ) }"),
        ("fn h<'a>(x: &'a str) {}", "fn h<'a>(x: &'a str) {}"),
        ("let r#type = bar\"{\";", "let r#type = bar   ;"),
        ("\"never closed {", "               "),
        ("r#\"never closed {", "                 "),
    ];
    for (text, expected) in rows {
        assert_eq!(only(text), expected, "{text}");
    }
}

#[test]
fn a_word_is_found_only_whole() {
    let lines = |code, word| uses(code, word).map(|(line, _)| line).collect::<Vec<_>>();
    assert_eq!(lines("fetch(x)\nprefetch(x) fetcher\n a.fetch()", "fetch"), [1, 3]);
    assert_eq!(lines("xs.skip(1)\nskip(", ".skip("), [1]);
}
