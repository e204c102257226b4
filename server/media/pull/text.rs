//! Text for fields that want ASCII, and for names of files.

use std::collections::{HashMap, HashSet};

use unicode_normalization::UnicodeNormalization as _;

/// Longest name of a file, in bytes, its ending included. Most file systems
/// take 255; a part of the path is the folder's.
const NAME_MAX: usize = 120;

/// As much of a text as fits into so many bytes, cut between two characters.
pub(super) fn cut(text: &str, bytes: usize) -> &str {
    let mut end = bytes.min(text.len());
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    text.get(..end).unwrap_or_default()
}

/// A text in ASCII, on one line: accents are dropped, signs of print become
/// those of a typewriter, a run of other letters becomes one question mark.
pub(super) fn ascii(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut unknown = false;
    for c in text.nfd() {
        if ('\u{0300}'..='\u{036F}').contains(&c) {
            continue;
        }
        let plain = plain(c);
        match plain {
            Some(plain) => out.push_str(plain),
            None if c.is_ascii_graphic() => out.push(c),
            None if c.is_whitespace() || c.is_control() => {
                if !out.is_empty() && !out.ends_with(' ') {
                    out.push(' ');
                }
            }
            None if unknown => continue,
            None => out.push('?'),
        }
        unknown = plain.is_none() && !c.is_ascii() && !c.is_whitespace();
    }
    out.truncate(out.trim_end().len());
    out
}

/// How a typewriter has this character, where it is not ASCII.
fn plain(c: char) -> Option<&'static str> {
    Some(match c {
        '\u{2018}' | '\u{2019}' | '\u{201A}' | '\u{2032}' => "'",
        '\u{201C}' | '\u{201D}' | '\u{201E}' | '\u{2033}' | '«' | '»' => "\"",
        '\u{2010}'..='\u{2015}' | '\u{2212}' => "-",
        '…' => "...",
        'ß' => "ss",
        'ø' => "o",
        'Ø' => "O",
        'ł' => "l",
        'Ł' => "L",
        'đ' | 'ð' => "d",
        'Đ' | 'Ð' => "D",
        'æ' => "ae",
        'Æ' => "AE",
        'œ' => "oe",
        'Œ' => "OE",
        'þ' => "th",
        'Þ' => "Th",
        'ı' => "i",
        // Joiners and marks of direction are not seen.
        '\u{200B}'..='\u{200F}'
        | '\u{202A}'..='\u{202E}'
        | '\u{2060}'..='\u{2069}'
        | '\u{FE0E}'
        | '\u{FE0F}'
        | '\u{FEFF}'
        | '\u{00AD}' => "",
        _ => return None,
    })
}

/// Names in one folder, each given once.
#[derive(Debug, Default)]
pub(super) struct Names {
    taken: HashSet<String>,
    /// The number that a wanted name was given last.
    last: HashMap<String, u32>,
}

impl Names {
    /// A name for a file that every system takes and no other file of this
    /// folder has: letters of any script, digits, blanks inside, `-`, `_` and
    /// inner dots, the ending kept as given. Two names that differ only in
    /// capitals are one on some systems, so they are here.
    pub fn give(&mut self, wanted: &str, ending: &str) -> String {
        let stem = stem(wanted);
        let own = key(&format!("{stem}.{ending}"));
        let mut number = self.last.get(&own).copied().unwrap_or(0);
        loop {
            number += 1;
            let tail = match number {
                1 => format!(".{ending}"),
                n => format!("-{n}.{ending}"),
            };
            let room = NAME_MAX.saturating_sub(tail.len());
            let name = format!("{}{tail}", cut(&stem, room).trim_end_matches([' ', '.']));
            if self.taken.insert(key(&name)) {
                self.last.insert(own, number);
                return name;
            }
        }
    }

    /// Keeps a name from being given.
    pub fn reserve(&mut self, name: &str) {
        self.taken.insert(key(name));
    }

    /// The name that was given last, and not used.
    pub fn take_back(&mut self, wanted: &str, ending: &str, name: &str) {
        self.taken.remove(&key(name));
        let own = key(&format!("{}.{ending}", stem(wanted)));
        if let Some(number) = self.last.get_mut(&own) {
            *number = number.saturating_sub(1);
        }
    }
}

fn key(name: &str) -> String {
    // The sigma at the end of a word is a sigma.
    let small = name.nfkc().flat_map(char::to_lowercase);
    small
        .map(|c| if c == 'ς' { 'σ' } else { c })
        .nfc()
        .collect()
}

fn stem(wanted: &str) -> String {
    let mut out = String::new();
    for c in wanted.nfc() {
        // Vowel signs of many scripts are marks, not letters.
        let mark = unicode_normalization::char::is_combining_mark(c);
        let inside = c.is_alphanumeric() || mark || matches!(c, '-' | '_' | '.' | '\'');
        let next = if inside {
            c
        } else if c.is_whitespace() {
            ' '
        } else {
            '_'
        };
        // What is not a letter does not come twice: no `..`, no row of blanks.
        if inside && (c.is_alphanumeric() || mark) || !out.ends_with(next) {
            out.push(next);
        }
    }
    let out = out.trim_matches([' ', '.', '_', '-', '\'']);
    if out.is_empty() {
        return "untitled".into();
    }
    let first = out.split('.').next().unwrap_or_default();
    if !is_device(first) {
        return out.to_owned();
    }
    let rest = out.get(first.len()..).unwrap_or_default();
    format!("{first}_{rest}")
}

/// Names that one system keeps for devices, whatever follows their first dot
/// (Microsoft, 'Naming files, paths, and namespaces').
fn is_device(first: &str) -> bool {
    let first = first.trim().to_ascii_uppercase();
    let numbered = |start: &str| {
        first.strip_prefix(start).is_some_and(|n| {
            matches!(
                n,
                "0" | "1" | "2" | "3" | "4" | "5" | "6" | "7" | "8" | "9" | "¹" | "²" | "³"
            )
        })
    };
    matches!(first.as_str(), "CON" | "PRN" | "AUX" | "NUL") || numbered("COM") || numbered("LPT")
}
