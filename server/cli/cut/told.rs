//! A cut list, for people.

use std::fmt::Write as _;

use serde::Deserialize;

use super::super::answers::SourceName;
use super::super::show::{Paint, Table, count, position, safe};

/// `GET /cuts/{cut}`
#[derive(Debug, Deserialize)]
pub struct Cut {
    /// The list.
    pub cut: Listed,
    /// Its event.
    pub event: EventRef,
    /// How long it is, ms.
    pub length_ms: i64,
    /// In order.
    pub quotes: Vec<Quote>,
}

/// An event.
#[derive(Debug, Deserialize)]
pub struct EventRef {
    /// Its id.
    pub id: String,
}

/// A list without its quotes.
#[derive(Debug, Deserialize)]
pub struct Listed {
    /// Its id.
    pub id: String,
    /// What it is called.
    pub name: String,
    /// What is written about it.
    pub note: String,
    /// Its version.
    pub version: i64,
    /// How many quotes it has.
    pub quotes: i64,
    /// When it was changed last.
    pub changed_at: String,
}

/// What became of a list.
#[derive(Debug, Deserialize)]
pub struct Changed {
    /// How long it is, ms.
    pub length_ms: i64,
    /// The quotes that it was about.
    pub quotes: Vec<Quote>,
}

/// A quote.
#[derive(Debug, Deserialize)]
pub struct Quote {
    /// Its id.
    pub id: String,
    /// Its number.
    pub place: usize,
    text: String,
    text_now: Option<String>,
    person: Option<String>,
    start_ms: Option<i64>,
    at_ms: i64,
    length_ms: i64,
    /// The hearing to be used.
    pub chosen: Option<Hearing>,
    /// The others.
    pub backups: Vec<Hearing>,
    note: String,
    problems: Vec<Problem>,
}

/// Who has a quote.
#[derive(Debug, Deserialize)]
pub struct Hearing {
    /// The recorder.
    pub source: SourceName,
    /// The recording.
    pub recording: Recording,
    verdict: Option<String>,
}

/// A recording.
#[derive(Debug, Deserialize)]
pub struct Recording {
    /// Its id.
    pub id: String,
}

#[derive(Debug, Deserialize)]
struct Problem {
    detail: String,
}

/// `GET /cuts/{cut}/versions`
#[derive(Debug, Deserialize)]
pub struct Versions {
    /// The newest first.
    pub versions: Vec<Version>,
}

/// A version of a list.
#[derive(Debug, Deserialize)]
pub struct Version {
    version: i64,
    name: Option<String>,
    before: String,
    at: String,
    quotes: i64,
}

/// A list: its name and length, and a line a quote with what is wrong with it.
pub fn text(cut: &Cut, paint: Paint) -> String {
    let mut out = format!(
        "{}  {}  {}\n",
        paint.strong(&safe(&cut.cut.name)),
        count(cut.cut.quotes, "quote"),
        position(cut.length_ms)
    );
    if !cut.cut.note.is_empty() {
        let _ = writeln!(out, "{}", paint.faint(&safe(&cut.cut.note)));
    }
    if !cut.quotes.is_empty() {
        out.push('\n');
        out.push_str(&lines(&cut.quotes, paint));
    }
    out
}

/// A line a quote, with what is written about it and what is wrong with it.
pub fn lines(quotes: &[Quote], paint: Paint) -> String {
    let mut table = Table::new(&["N", "IN THE CUT", "AT", "LENGTH", "WHO", "HEARING", "WORDS"]);
    for quote in quotes {
        let at = quote.start_ms.map_or_else(|| "-".to_owned(), position);
        let hearing = quote.chosen.as_ref().map_or("-".to_owned(), |chosen| {
            let verdict = chosen.verdict.as_deref().unwrap_or("not judged");
            format!("{}, {verdict}", chosen.source.label)
        });
        let words = match (quote.text.as_str(), quote.text_now.as_deref()) {
            ("", None) => "-",
            ("", Some(now)) => now,
            (text, _) => text,
        };
        table.row(&[
            &quote.place.to_string(),
            &position(quote.at_ms),
            &at,
            &format!("{}.{:03} s", quote.length_ms / 1000, quote.length_ms % 1000),
            quote.person.as_deref().unwrap_or("-"),
            &hearing,
            words,
        ]);
    }
    let mut out = table.render(paint);
    for quote in quotes {
        if !quote.note.is_empty() {
            let _ = writeln!(out, "{}: {}", quote.place, safe(&quote.note));
        }
        for problem in &quote.problems {
            let place = quote.place;
            let _ = writeln!(out, "{place}: {}", paint.wrong(&safe(&problem.detail)));
        }
    }
    out
}

/// The versions of a list, the newest first.
pub fn versions(list: &[Version], paint: Paint) -> String {
    let mut table = Table::new(&["VERSION", "QUOTES", "KEPT", "BEFORE", "NAME"]);
    for one in list {
        let name = one.name.as_deref().unwrap_or("-");
        table.row(&[
            &one.version.to_string(),
            &one.quotes.to_string(),
            &one.at,
            &one.before,
            name,
        ]);
    }
    table.render(paint)
}

/// `GET /events/{event}/cuts`
#[derive(Debug, Deserialize)]
pub struct Lists {
    /// The oldest first.
    pub cuts: Vec<Listed>,
}
