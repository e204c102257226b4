//! Rust text taken apart just far enough: code without comments and strings,
//! and the strings.

/// The code, with every comment and literal replaced by blanks, and the text
/// of the string literals.
pub(super) fn parts(text: &str) -> (String, Vec<String>) {
    let mut reader = Reader {
        rest: text,
        code: String::new(),
        strings: Vec::new(),
    };
    while !reader.rest.is_empty() {
        reader.step();
    }
    (reader.code, reader.strings)
}

struct Reader<'a> {
    rest: &'a str,
    code: String,
    strings: Vec<String>,
}

impl<'a> Reader<'a> {
    fn step(&mut self) {
        if self.rest.starts_with("//") {
            let end = self.rest.find('\n').unwrap_or(self.rest.len());
            self.skip(end);
        } else if self.rest.starts_with("/*") {
            let end = comment_end(self.rest);
            self.skip(end);
        } else if let Some((opening, closing)) = self.raw_string() {
            self.string(opening, &closing);
        } else if self.rest.starts_with('"') {
            let end = quoted_end(self.rest);
            let inside = self.rest[1..end].trim_end_matches('"').to_owned();
            self.strings.push(inside);
            self.skip(end);
        } else if let Some(end) = character_end(self.rest) {
            self.skip(end);
        } else {
            // A whole name at once, so that the r of `for"` opens nothing.
            let name = |c: char| c.is_alphanumeric() || c == '_';
            let end = match self.rest.find(|c| !name(c)) {
                Some(0) => self.rest.chars().next().map_or(1, char::len_utf8),
                Some(end) => end,
                None => self.rest.len(),
            };
            let (taken, rest) = self.rest.split_at(end);
            self.code.push_str(taken);
            self.rest = rest;
        }
    }

    /// Leaves `bytes` out of the code, but keeps its lines.
    fn skip(&mut self, bytes: usize) -> &'a str {
        let (left_out, rest) = self.rest.split_at(bytes);
        self.code.push(' ');
        self.code.extend(left_out.chars().filter(|c| *c == '\n'));
        self.rest = rest;
        left_out
    }

    fn raw_string(&self) -> Option<(usize, String)> {
        let after = ["br", "cr", "r"]
            .iter()
            .find_map(|prefix| self.rest.strip_prefix(prefix))?;
        let hashes = after.len() - after.trim_start_matches('#').len();
        let opening = self.rest.len() - after.len() + hashes + 1;
        after[hashes..]
            .starts_with('"')
            .then(|| (opening, format!("\"{}", "#".repeat(hashes))))
    }

    fn string(&mut self, opening: usize, closing: &str) {
        let inside = &self.rest[opening..];
        let length = inside.find(closing).unwrap_or(inside.len());
        self.strings.push(inside[..length].to_owned());
        let end = (opening + length + closing.len()).min(self.rest.len());
        self.skip(end);
    }
}

/// Comments of this kind nest.
fn comment_end(text: &str) -> usize {
    let (mut depth, mut at) = (0, 0);
    while at < text.len() {
        let rest = &text[at..];
        if rest.starts_with("/*") {
            depth += 1;
            at += 2;
        } else if rest.starts_with("*/") {
            depth -= 1;
            at += 2;
            if depth == 0 {
                return at;
            }
        } else {
            at += rest.chars().next().map_or(1, char::len_utf8);
        }
    }
    text.len()
}

fn quoted_end(text: &str) -> usize {
    let mut escaped = false;
    for (at, c) in text.char_indices().skip(1) {
        match c {
            _ if escaped => escaped = false,
            '\\' => escaped = true,
            '"' => return at + 1,
            _ => {}
        }
    }
    text.len()
}

/// Where a character literal ends; a lifetime is none.
fn character_end(text: &str) -> Option<usize> {
    let inside = text.strip_prefix('\'')?;
    if let Some(escape) = inside.strip_prefix('\\') {
        let named = escape.chars().next()?.len_utf8();
        return Some(escape[named..].find('\'')? + named + 3);
    }
    let first = inside.chars().next()?.len_utf8();
    inside[first..].starts_with('\'').then_some(first + 2)
}

#[test]
fn comments_and_literals_are_no_code() {
    let text = "let a = \"one // \\\" two\"; // three\n/* four /* five */ */ b('\"', '\\'', r#\"six \"quoted\"\"#);";
    let (code, strings) = parts(text);
    let words: Vec<&str> = code.split_whitespace().collect();
    assert_eq!(words, ["let", "a", "=", ";", "b(", ",", ",", ");"]);
    assert_eq!(strings, ["one // \\\" two", "six \"quoted\""]);
    assert_eq!(code.lines().count(), 2);
}

#[test]
fn a_lifetime_opens_no_literal() {
    let (code, _) = parts("fn longest<'a>(x: &'a str) -> &'a str { x }");
    assert!(code.contains("'a str) -> &'a str"), "{code}");
}
