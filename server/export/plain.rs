//! A transcript for people: a moment a line.

use super::{Line, Sheet, in_order, safe};

/// `hh:mm:ss.mmm`, then the words, then what speaks against them. Moments without words
/// are left out; those that nobody has listened to are counted where they are.
pub(super) fn text(sheet: &Sheet) -> String {
    let mut out = String::new();
    for group in in_order(&sheet.lines).chunk_by(|a, b| a.words.is_none() && b.words.is_none()) {
        let Some(first) = group.first() else { continue };
        let said = match (&first.words, group.len()) {
            (None, 1) => "[not written down yet]".into(),
            (None, many) => format!("[{many} moments not written down yet]"),
            (Some(_), _) => said(first),
        };
        if !said.is_empty() {
            out.push_str(&format!("{}  {said}\n", position(first.start.0, '.')));
        }
    }
    out
}

fn said(line: &Line) -> String {
    let words = line
        .words
        .iter()
        .flatten()
        .map(|word| safe::line(&word.text));
    let words: Vec<String> = words.filter(|word| !word.is_empty()).collect();
    if words.is_empty() {
        return String::new();
    }
    let mut said = words.join(" ");
    if let Some(speaker) = line.speakers() {
        said = format!("{speaker}: {said}");
    }
    if let Some(doubt) = &line.doubt {
        said.push_str(&format!("  [doubtful: {}]", safe::line(doubt)));
    }
    said
}

/// `hh:mm:ss.mmm` with another sign before the milliseconds; hours grow as needed, and
/// what lies before the file is its start.
pub(super) fn position(ms: i64, point: char) -> String {
    let ms = ms.max(0);
    let (seconds, rest) = (ms / 1000, ms % 1000);
    let (hours, minutes) = (seconds / 3600, seconds / 60 % 60);
    format!(
        "{hours:02}:{minutes:02}:{:02}{point}{rest:03}",
        seconds % 60
    )
}
