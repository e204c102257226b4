//! Text as it may stand in an XML document.

use unicode_width::UnicodeWidthChar;

/// Text for an element or an attribute in quotes. What XML 1.0 has no way to write
/// (section 2.2) and what would reverse the direction of writing around it is
/// shown as U+FFFD: a recorder's card can hold any name.
#[must_use]
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            c if c.is_control() || is_unwritable(c) => out.push('\u{FFFD}'),
            c => out.push(c),
        }
    }
    out
}

fn is_unwritable(c: char) -> bool {
    matches!(c, '\u{FFFE}' | '\u{FFFF}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}')
}

/// The text in at most `columns` columns of a terminal, which is about how wide it
/// is drawn; a longer one ends in '…'.
pub fn clipped(text: &str, columns: usize) -> String {
    let width = |c: char| c.width().unwrap_or(1);
    if text.chars().map(width).sum::<usize>() <= columns {
        return text.to_owned();
    }
    let mut left = columns.saturating_sub(1);
    let mut out = String::new();
    for c in text.chars() {
        let Some(rest) = left.checked_sub(width(c)) else {
            break;
        };
        left = rest;
        out.push(c);
    }
    out.push('…');
    out
}
