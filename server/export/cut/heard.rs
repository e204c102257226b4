//! What is heard when the cut is played, on its own clock: for captions and speakers.

use sayback_core::units::FileMs;

use super::super::{Line, Word, safe};
use super::{CutWord, Kind, Laid, Placed, Quote};

/// A line for each stretch of a quote in which the same person speaks.
pub(super) fn lines(laid: &Laid<'_>) -> Vec<Line> {
    let quotes = laid.quotes().iter();
    quotes.flat_map(|placed| of_quote(laid, placed)).collect()
}

/// What is said about the list at the head of a file.
pub(super) fn about(laid: &Laid<'_>) -> Vec<String> {
    let cut = laid.cut();
    let date = cut.date.as_deref().map(safe::line);
    let date = date.map_or(String::new(), |date| format!(", {date}"));
    let (title, event) = (safe::line(&cut.title), safe::line(&cut.event));
    let (what, clock, counted) = match cut.kind {
        Kind::List => ("Cut list", "those of the cut, from 0".to_owned(), "Quotes"),
        Kind::Transcript { from_ms: 0 } => ("What was said", "the event's".into(), "Moments"),
        Kind::Transcript { from_ms } => {
            let clock = format!("from {from_ms} ms of the event's on");
            ("What was said", clock, "Moments")
        }
    };
    let version = env!("CARGO_PKG_VERSION");
    vec![
        format!("{what}: {title}, event: {event}{date}"),
        format!("Made by sayback {version}: times are {clock}; recordings as recorded"),
        format!("{counted}: {}", laid.quotes().len()),
    ]
}

fn of_quote(laid: &Laid<'_>, placed: &Placed<'_>) -> Vec<Line> {
    let quote = placed.quote;
    let heard: Vec<&CutWord> = words(placed).collect();
    if quote.unwritten {
        let words = None;
        return vec![Line {
            words,
            ..without_times(laid, placed)
        }];
    }
    if heard.is_empty() {
        return vec![without_times(laid, placed)];
    }
    let runs = heard.chunk_by(|a, b| quote.says(a) == quote.says(b));
    runs.filter_map(|run| {
        let words: Vec<Word> = run.iter().map(|word| timed(laid, placed, word)).collect();
        Some(Line {
            start: words.first()?.start,
            end: words.iter().map(|word| word.end).max()?,
            speaker: run
                .first()
                .and_then(|word| quote.says(word))
                .map(str::to_owned),
            also: quote.also.clone(),
            doubt: quote.doubt.clone(),
            words: Some(words),
        })
    })
    .collect()
}

/// The words of a quote of which something is in it.
pub(super) fn words<'a>(placed: &Placed<'a>) -> impl Iterator<Item = &'a CutWord> {
    let (from, to) = (placed.take.from, placed.take.to);
    let inside = move |word: &&CutWord| word.from < to && (word.to > from || word.from >= from);
    placed.quote.words.iter().filter(inside)
}

fn timed(laid: &Laid<'_>, placed: &Placed<'_>, word: &CutWord) -> Word {
    Word {
        text: word.text.clone(),
        start: FileMs(laid.ms(laid.at(placed, word.from))),
        end: FileMs(laid.ms(laid.at(placed, word.to))),
        confidence: 1.0,
    }
}

/// No word has a time: each gets a share of the quote by its letters, so that there is
/// something to read.
fn without_times(laid: &Laid<'_>, placed: &Placed<'_>) -> Line {
    let Quote {
        text,
        person,
        also,
        doubt,
        ..
    } = placed.quote;
    let text = safe::line(text);
    let (start, end) = (laid.ms(placed.start), laid.ms(placed.end));
    let share = |word: &str| word.chars().count() as i64 + 1;
    let all: i64 = text.split(' ').map(share).sum();
    let mut before = 0;
    let words = text.split(' ').filter(|word| !word.is_empty()).map(|word| {
        let at = |letters: i64| FileMs(start + (end - start) * letters / all.max(1));
        let from = at(before);
        before += share(word);
        Word {
            text: word.to_owned(),
            start: from,
            end: at(before),
            confidence: 1.0,
        }
    });
    Line {
        words: Some(words.collect()),
        start: FileMs(start),
        end: FileMs(end),
        speaker: person.clone(),
        also: also.clone(),
        doubt: doubt.clone(),
    }
}
