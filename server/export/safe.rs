//! Which characters of a name or a word can go into a file?

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// Text on one line: white space of any kind is one blank; what moves a cursor or turns
/// the direction of writing around is left out.
pub(super) fn line(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut blank = false;
    for c in text.chars() {
        if c.is_whitespace() || c.is_control() {
            blank = !out.is_empty();
        } else if !turns(c) {
            if blank {
                out.push(' ');
                blank = false;
            }
            out.push(c);
        }
    }
    out
}

/// Text that may have several lines, each as [`line`] makes it; none is empty.
pub(super) fn lines(text: &str) -> String {
    let lines = text.split(['\n', '\r', '\u{2028}', '\u{2029}']).map(line);
    let lines: Vec<String> = lines.filter(|line| !line.is_empty()).collect();
    lines.join("\n")
}

/// Text on one line of at most so many columns, an ellipsis where more was.
pub(super) fn shortened(text: &str, columns: usize) -> String {
    let text = line(text);
    if text.width() <= columns {
        return text;
    }
    let (mut out, mut width) = (String::new(), 1);
    for c in text.chars() {
        width += c.width().unwrap_or(0);
        if width > columns {
            break;
        }
        out.push(c);
    }
    out.truncate(out.trim_end().len());
    out.push('…');
    out
}

/// Text as a cell of a table that a spreadsheet opens: what it would take for a formula
/// has an apostrophe before it (OWASP, *CSV Injection*).
pub(super) fn cell(text: &str) -> String {
    let starts = |c| matches!(c, '=' | '+' | '-' | '@' | '＝' | '＋' | '－' | '＠');
    let text = lines(text);
    match text.starts_with(starts) {
        true => format!("'{text}"),
        false => text,
    }
}

/// Whether a character turns the direction of writing around or is a byte order mark.
fn turns(c: char) -> bool {
    matches!(c,
        '\u{061C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}'
        | '\u{2066}'..='\u{2069}' | '\u{FEFF}')
}

/// The name of a file of ours made from that of another, its ending replaced: letters,
/// digits, `-`, `_` and inner dots; at most 80 characters.
///
/// ```
/// use sayback::export::file_name;
/// assert_eq!(file_name("DESK 001.wav", "vtt"), "DESK_001.vtt");
/// assert_eq!(file_name("../../etc/passwd", "ctm"), "etc_passwd.ctm");
/// assert_eq!(file_name("", "srt"), "recording.srt");
/// ```
#[must_use]
pub fn file_name(original: &str, extension: &str) -> String {
    format!("{}.{extension}", stem(original))
}

/// A file's name without its ending, as one safe token.
pub(super) fn stem(original: &str) -> String {
    // Some file systems allow 255 bytes, and letters may have four.
    const LONGEST: usize = 60;
    let stem = match original.rsplit_once('.') {
        Some((stem, ending)) if !stem.is_empty() && ending.len() <= 5 => stem,
        _ => original,
    };
    token(stem, LONGEST, |c| c == '.').unwrap_or_else(|| "recording".into())
}

/// A name as one token of letters, digits, `-` and `_`, and what else is `allowed`
/// inside; `None` when nothing is left.
pub(super) fn token(name: &str, longest: usize, allowed: fn(char) -> bool) -> Option<String> {
    let kept = |c: char| c.is_alphanumeric() || c == '-' || allowed(c);
    let mut out = String::new();
    for c in name.chars() {
        match kept(c) {
            true => out.push(c),
            false if out.ends_with('_') => {}
            false => out.push('_'),
        }
    }
    let out: String = out
        .trim_matches(['.', '_', '-'])
        .chars()
        .take(longest)
        .collect();
    (!out.is_empty()).then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_one_line() {
        assert_eq!(line("  a\r\n\tb\u{2028}c\u{0}d "), "a b c d");
        assert_eq!(line("\u{202E}evil\u{202C} name\u{FEFF}"), "evil name");
        assert_eq!(
            line("\u{1F469}\u{200D}\u{1F467}"),
            "\u{1F469}\u{200D}\u{1F467}"
        );
        assert_eq!(line(" \n"), "");
    }

    #[test]
    fn a_long_line_is_shortened_by_columns() {
        assert_eq!(shortened("the ferry bell", 14), "the ferry bell");
        assert_eq!(shortened("the ferry bell", 11), "the ferry…");
        assert_eq!(shortened("愿愿愿", 5), "愿愿…");
        assert_eq!(shortened("abc", 0), "…");
    }

    #[test]
    fn a_cell_is_no_formula() {
        for (text, want) in [
            ("=1+1", "'=1+1"),
            ("\t@sum(a1)", "'@sum(a1)"),
            ("- and then", "'- and then"),
            ("＝1", "'＝1"),
            ("a = b", "a = b"),
            ("one\r\n\n two", "one\ntwo"),
        ] {
            assert_eq!(cell(text), want);
        }
    }

    #[test]
    fn names_of_files_lead_nowhere() {
        for (name, want) in [
            ("REC01.flac", "REC01.ctm"),
            ("2026.06.20 take 3.WAV", "2026.06.20_take_3.ctm"),
            (".wav", "wav.ctm"),
            ("..", "recording.ctm"),
            ("a/b\\c:d\"e.mov", "a_b_c_d_e.ctm"),
            (";;x", "x.ctm"),
            ("Brücke.wav", "Brücke.ctm"),
            ("no ending at all", "no_ending_at_all.ctm"),
        ] {
            assert_eq!(file_name(name, "ctm"), want, "{name}");
        }
        assert_eq!(file_name(&"x".repeat(500), "ctm").len(), 64);
    }
}
