//! CTM and STM, as NIST's scoring toolkit reads them (SCTK, `doc/infmts.htm`), and RTTM
//! (NIST, *The 2009 (RT-09) Rich Transcription Meeting Recognition Evaluation Plan*,
//! appendix A).
//!
//! Words are written in the form in which they are scored: without the punctuation
//! around them, letters as they are. Characters that mean something else to `sclite`
//! inside a word are left out.

use sayback_core::text::normal;
use sayback_core::units::FileMs;

use super::{Line, Sheet, Word, in_order, safe};

/// Who speaks where nobody knows.
const UNKNOWN: &str = "unknown";

/// What scorers pass over (SCTK, `doc/infmts.htm`, stm).
const NOT_SCORED: &str = "IGNORE_TIME_SEGMENT_IN_SCORING";

/// The labels of moments, as `sclite -o lur` splits its report by them.
const LABELS: [&str; 4] = [
    ";; CATEGORY \"0\" \"\" \"\"",
    ";; LABEL \"sure\" \"Sure\" \"Nothing speaks against the words\"",
    ";; LABEL \"doubtful\" \"Doubtful\" \"The words should not be trusted as they are\"",
    ";; LABEL \"unwritten\" \"Unwritten\" \"Nobody has listened yet\"",
];

/// `file channel begin duration word confidence`, in the order of the file.
pub(super) fn ctm(sheet: &Sheet) -> String {
    let (file, channel) = (safe::stem(&sheet.file), sheet.channel.unwrap_or(1));
    // Remarks come before what starts with them.
    let mut entries: Vec<(FileMs, u8, String)> = Vec::new();
    for line in &sheet.lines {
        let place = format!("{} to {}", seconds(line.start), seconds(line.end));
        let remark = match (&line.words, &line.doubt) {
            (None, _) => Some(format!(";; {place}: not written down yet\n")),
            (Some(words), Some(doubt)) if !words.is_empty() => {
                Some(format!(";; {place}: doubtful, {}\n", safe::line(doubt)))
            }
            _ => None,
        };
        let words = line.words.iter().flatten();
        let first = words.clone().map(|word| word.start).min();
        let at = first.map_or(line.start, |first| first.min(line.start));
        entries.extend(remark.map(|remark| (at, 0, remark)));
        entries.extend(words.filter_map(|word| {
            let token = token(&word.text)?;
            let (start, end) = extent(word);
            let entry = format!(
                "{file} {channel} {} {} {token} {:.2}\n",
                seconds(start),
                seconds(FileMs(end.0 - start.0)),
                sure(word.confidence)
            );
            Some((start, 1, entry))
        }));
    }
    entries.sort_by_key(|(start, kind, _)| (*start, *kind));
    head(sheet)
        + &entries
            .into_iter()
            .map(|(_, _, entry)| entry)
            .collect::<String>()
}

/// `file channel speaker begin end <label> words`, in the order that `sclite` wants.
pub(super) fn stm(sheet: &Sheet) -> String {
    let (file, channel) = (safe::stem(&sheet.file), sheet.channel.unwrap_or(1));
    let mut moments: Vec<(FileMs, FileMs, &Line)> = sheet
        .lines
        .iter()
        .map(|line| {
            let words = || line.words.iter().flatten().map(extent);
            let start = words().map(|word| word.0).min().unwrap_or(line.start);
            let end = words().map(|word| word.1).max().unwrap_or(line.end);
            let start = FileMs(start.min(line.start).0.max(0));
            (start, FileMs(end.max(line.end).0.max(start.0 + 1)), line)
        })
        .collect();
    moments.sort_by_key(|(start, end, _)| (*start, *end));
    let mut out = head(sheet);
    LABELS
        .iter()
        .for_each(|label| out.push_str(&format!("{label}\n")));
    for (start, end, line) in moments {
        let speaker = label(line.speaker.as_deref()).unwrap_or(UNKNOWN.into());
        let (label, words) = match (&line.words, &line.doubt) {
            (None, _) => ("unwritten", NOT_SCORED.to_owned()),
            (Some(words), None) => ("sure", joined(words)),
            (Some(words), Some(_)) => ("doubtful", joined(words)),
        };
        let (start, end) = (seconds(start), seconds(end));
        let moment = format!("{file} {channel} {speaker} {start} {end} <{label}> {words}");
        out.push_str(moment.trim_end());
        out.push('\n');
    }
    out
}

/// `SPEAKER file channel begin duration <NA> <NA> speaker <NA> <NA>`, in the order of
/// the file; where two speak at once, both. Where nothing was said there is no line.
pub(super) fn rttm(about: &[String], file: &str, channel: u16, lines: &[Line]) -> String {
    let mut out = commented(about);
    for line in in_order(lines) {
        if line.words.as_ref().is_some_and(Vec::is_empty) {
            continue;
        }
        let start = line.start.0.max(0);
        let length = (line.end.0 - start).max(1);
        let (start, length) = (seconds(FileMs(start)), seconds(FileMs(length)));
        let first = label(line.speaker.as_deref()).unwrap_or(UNKNOWN.into());
        let speakers = std::iter::once(first).chain(label(line.also.as_deref()));
        for speaker in speakers {
            out.push_str(&format!(
                "SPEAKER {file} {channel} {start} {length} <NA> <NA> {speaker} <NA> <NA>\n"
            ));
        }
    }
    out
}

/// A name as one token.
fn label(name: Option<&str>) -> Option<String> {
    safe::token(name?, 60, |_| false)
}

fn head(sheet: &Sheet) -> String {
    commented(&sheet.about())
}

fn commented(about: &[String]) -> String {
    about.iter().map(|line| format!(";; {line}\n")).collect()
}

fn joined(words: &[Word]) -> String {
    let tokens: Vec<String> = words.iter().filter_map(|word| token(&word.text)).collect();
    tokens.join(" ")
}

/// Where a word starts and ends; never without length, never before the file.
fn extent(word: &Word) -> (FileMs, FileMs) {
    let start = word.start.0.max(0);
    (FileMs(start), FileMs(word.end.0.max(start + 1)))
}

fn seconds(at: FileMs) -> String {
    let ms = at.0.max(0);
    format!("{}.{:03}", ms / 1000, ms % 1000)
}

fn sure(confidence: f32) -> f32 {
    match confidence.is_nan() {
        true => 0.0,
        false => confidence.clamp(0.0, 1.0),
    }
}

/// A word as one token; `None` when nothing in it is spoken.
///
/// `{ / @ }` are alternatives, `( )` optional words, `< >` labels, `;` a comment and
/// `\` an escape; an underscore might make the mark of what is not scored.
fn token(word: &str) -> Option<String> {
    let word: String = safe::line(word)
        .chars()
        .filter(|c| !matches!(c, '{' | '}' | '@' | '(' | ')' | '<' | '>' | ';' | '\\'))
        .map(|c| if matches!(c, ' ' | '_') { '-' } else { c })
        .collect();
    let word = word.trim_matches(is_around_words);
    let is_spoken = word.contains(is_said_by_itself) || !normal(word).is_empty();
    is_spoken.then(|| word.to_owned())
}

/// Signs that are read out.
fn is_said_by_itself(c: char) -> bool {
    matches!(c, '%' | '&' | '+' | '=' | '#' | '$' | '£' | '€' | '¥' | '°')
}

/// Punctuation by Unicode's general category, as far as it stands around words.
fn is_around_words(c: char) -> bool {
    let general = matches!(c,
        '¡' | '§' | '«' | '¶' | '·' | '»' | '¿'
        | '\u{2010}'..='\u{2027}' | '\u{2030}'..='\u{205E}'   // dashes, quotes, dots
        | '\u{2669}'..='\u{266F}'                             // notes
        | '\u{3001}'..='\u{3003}' | '\u{3008}'..='\u{3011}' | '\u{3014}'..='\u{301F}'
        | '\u{060C}' | '\u{061B}' | '\u{061F}' | '\u{06D4}'   // Arabic
        | '\u{0964}' | '\u{0965}'                             // Indic
        | '\u{FF01}'..='\u{FF0F}' | '\u{FF1A}'..='\u{FF20}'); // full width
    (c.is_ascii_punctuation() && !is_said_by_itself(c)) || general
}
