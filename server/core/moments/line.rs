//! What become of the words of a line when a person puts it right?
//!
//! Times are in the file that the words are timed in. Whatever comes out is in
//! order, inside the line, and no word is shorter than a millisecond, as long as
//! [`has_room`] says that the line can hold so many words.

use std::collections::HashMap;

use super::times::shared;
use crate::text::normal;
use crate::units::FileMs;

/// A word of a line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineWord {
    /// As it is shown; no white space.
    pub text: String,
    /// Start in the file.
    pub start: FileMs,
    /// End in the file, exclusive.
    pub end: FileMs,
    /// How sure it is, 0 to 1; 1 for what a person wrote.
    pub confidence: f32,
    /// Whether a person wrote it.
    pub by_hand: bool,
    /// What the recogniser wrote where this is a name of the glossary: all of it on the
    /// first word of the name, "" on those after it.
    pub heard: Option<String>,
    /// The language it was heard in, or a person wrote it among words of, ISO 639-1.
    pub language: Option<String>,
}

/// Where a line lies in its file, half-open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// Start.
    pub from: FileMs,
    /// End, exclusive.
    pub to: FileMs,
}

/// Time that a line must have for each of its words, ms. Nobody says a hundred
/// words a second, so only a slip or a joke asks for more.
const LEAST_MS: i64 = 10;

/// Room that is looked for before words are squeezed, ms a word: the shortest word
/// of quick speech.
const WORD_MS: i64 = 80;

/// Whether a line can hold so many words.
#[must_use]
pub fn has_room(words: usize, bounds: Bounds) -> bool {
    let words = i64::try_from(words).unwrap_or(i64::MAX);
    words.saturating_mul(LEAST_MS) <= bounds.to.0 - bounds.from.0
}

/// The words of a line with a new text. What is written as before keeps its time
/// and certainty; what only looks different (case, punctuation) or stands in the
/// place of another word takes over the time; words that came in or fell out share
/// what lies between their neighbours, by their letters.
///
/// ```
/// use sayback_core::moments::{Bounds, LineWord, reworded};
/// use sayback_core::units::FileMs;
/// let heard = [("ring", 0), ("the", 500), ("fairy", 900), ("bell", 1_400)].map(|(text, at)| {
///     LineWord { text: text.into(), start: FileMs(at), end: FileMs(at + 300), confidence: 0.6, ..LineWord::default() }
/// });
/// let bounds = Bounds { from: FileMs(0), to: FileMs(2_000) };
/// let right = reworded(&heard, &["ring", "the", "ferry", "bell"], bounds);
/// assert_eq!((right[2].start, right[2].by_hand, right[3].by_hand), (FileMs(900), true, false));
/// ```
#[must_use]
pub fn reworded(words: &[LineWord], texts: &[&str], bounds: Bounds) -> Vec<LineWord> {
    let words = settled(words.to_vec(), bounds);
    let mut line = Line {
        bounds,
        words: Vec::with_capacity(texts.len()),
    };
    let (mut old, mut new) = (0, 0);
    for (i, j) in common(&words, texts)
        .into_iter()
        .chain([(words.len(), texts.len())])
    {
        line.exchange(&words[old..i], &texts[new..j], words.get(i));
        if let (Some(word), Some(text)) = (words.get(i), texts.get(j)) {
            line.keep(word, text);
        }
        (old, new) = (i + 1, j + 1);
    }
    whole_names(line.words.iter_mut().map(|word| &mut word.heard));
    settled(line.words, bounds)
}

/// Takes the mark of [`LineWord::heard`] off later words of a name whose first word is
/// not before them; `marks` are those of words in order.
pub fn whole_names<'a>(marks: impl IntoIterator<Item = &'a mut Option<String>>) {
    let mut inside = false;
    for heard in marks {
        if !inside && heard.as_deref() == Some("") {
            *heard = None;
        }
        inside = heard.is_some();
    }
}

/// The words in order and inside the line, each at least a millisecond long; those
/// that are so already stay as they are.
#[must_use]
pub fn settled(mut words: Vec<LineWord>, bounds: Bounds) -> Vec<LineWord> {
    let mut from = bounds.from.0;
    let mut left = i64::try_from(words.len()).unwrap_or(i64::MAX);
    for word in &mut words {
        let start = word.start.0.max(from).min(bounds.to.0 - left);
        left -= 1;
        let end = word.end.0.min(bounds.to.0 - left).max(start + 1);
        (word.start, word.end) = (FileMs(start), FileMs(end));
        from = end;
    }
    words
}

/// The words before an instant and those after it; a word across it goes where its
/// middle is.
#[must_use]
pub fn cut_at(words: &[LineWord], at: FileMs) -> (Vec<LineWord>, Vec<LineWord>) {
    let before = words
        .iter()
        .take_while(|word| word.start.0.midpoint(word.end.0) < at.0)
        .count();
    let (one, other) = words.split_at(before);
    let mut other = other.to_vec();
    whole_names(other.iter_mut().map(|word| &mut word.heard));
    (one.to_vec(), other)
}

/// The first thing that is wrong with the times of words, in words; `None` when
/// nothing is.
#[must_use]
pub fn fault(words: &[LineWord], bounds: Bounds) -> Option<String> {
    let mut before = bounds.from.0;
    for (n, word) in words.iter().enumerate() {
        let (start, end) = (word.start.0, word.end.0);
        if end <= start {
            return Some(format!("word {n} would end at {end} and start at {start}"));
        }
        if start < before {
            let what = if n == 0 {
                "the moment starts"
            } else {
                "the word before it ends"
            };
            return Some(format!(
                "word {n} would start at {start}, but {what} at {before}"
            ));
        }
        before = end;
    }
    (before > bounds.to.0).then(|| {
        let last = words.len().saturating_sub(1);
        format!(
            "word {last} would end at {before}, but the moment ends at {}",
            bounds.to.0
        )
    })
}

/// Words that are put together anew.
struct Line {
    bounds: Bounds,
    words: Vec<LineWord>,
}

impl Line {
    fn keep(&mut self, word: &LineWord, text: &str) {
        let same = word.text == text;
        self.words.push(LineWord {
            text: text.to_owned(),
            confidence: if same { word.confidence } else { 1.0 },
            by_hand: word.by_hand || !same,
            ..word.clone()
        });
    }

    /// Puts words in the place of others; `next` is the word that follows and stays.
    fn exchange(&mut self, old: &[LineWord], new: &[&str], next: Option<&LineWord>) {
        if old.len() == new.len() {
            for (word, text) in old.iter().zip(new) {
                let language = word.language.as_ref();
                let (from, to) = (word.start.0, word.end.0);
                self.words.push(by_hand(text, from, to, language));
            }
            return;
        }
        if new.is_empty() {
            return;
        }
        let ended = self.words.last().map_or(self.bounds.from, |word| word.end);
        let begins = next.map_or(self.bounds.to, |word| word.start);
        let wanted = WORD_MS.saturating_mul(i64::try_from(new.len()).unwrap_or(i64::MAX));
        let (mut from, mut to) = match (old.first(), old.last()) {
            (Some(first), Some(last)) => (first.start.0, last.end.0),
            _ => (ended.0, begins.0),
        };
        if to - from < wanted {
            (from, to) = (ended.0, begins.0);
        }
        // Where there is no room, the word before gives up its later half.
        if to - from < wanted
            && let Some(before) = self.words.last_mut()
        {
            let half = before
                .start
                .0
                .midpoint(before.end.0)
                .max(before.start.0 + 1);
            before.end = FileMs(half);
            from = half;
        }
        let beside = old.first().or(self.words.last()).or(next);
        let language = beside.and_then(|word| word.language.clone());
        let times = shared(new, from, to).into_iter();
        let words = times.zip(new);
        self.words
            .extend(words.map(|((from, to), text)| by_hand(text, from, to, language.as_ref())));
    }
}

fn by_hand(text: &str, start_ms: i64, end_ms: i64, language: Option<&String>) -> LineWord {
    LineWord {
        text: text.to_owned(),
        start: FileMs(start_ms),
        end: FileMs(end_ms),
        confidence: 1.0,
        by_hand: true,
        heard: None,
        language: language.cloned(),
    }
}

/// Pairs of places at which the two have the same word in order: the longest such
/// list, and of those as long one with the most words written alike.
fn common(words: &[LineWord], texts: &[&str]) -> Vec<(usize, usize)> {
    // Millions of pairs are looked at, so words are compared by their numbers.
    let mut numbers = Numbers::default();
    let old: Vec<(usize, usize)> = words.iter().map(|w| numbers.form(&w.text)).collect();
    let new: Vec<(usize, usize)> = texts.iter().map(|text| numbers.form(text)).collect();
    let alike = |i: usize, j: usize| -> u32 {
        if old[i].0 == new[j].0 {
            5
        } else if old[i].1 == new[j].1 {
            4
        } else {
            0
        }
    };
    let start = (0..old.len().min(new.len()))
        .take_while(|&n| alike(n, n) == 5)
        .count();
    // Of the rest from old word i and new word j on, behind the start: what comes next,
    // and in one row how much it is worth.
    let (rows, columns) = (old.len() - start, new.len() - start);
    let mut next = vec![Next::New; rows * columns];
    let mut below = vec![0_u32; columns + 1];
    for i in (0..rows).rev() {
        let mut row = vec![0_u32; columns + 1];
        for j in (0..columns).rev() {
            let worth = alike(start + i, start + j);
            let both = if worth > 0 { worth + below[j + 1] } else { 0 };
            row[j] = both.max(below[j]).max(row[j + 1]);
            next[i * columns + j] = if worth > 0 && row[j] == both {
                Next::Both
            } else if row[j] == below[j] {
                Next::Old
            } else {
                Next::New
            };
        }
        below = row;
    }
    let mut pairs: Vec<(usize, usize)> = (0..start).map(|n| (n, n)).collect();
    let (mut i, mut j) = (0, 0);
    while i < rows && j < columns {
        match next[i * columns + j] {
            Next::Both => {
                pairs.push((start + i, start + j));
                (i, j) = (i + 1, j + 1);
            }
            Next::Old => i += 1,
            Next::New => j += 1,
        }
    }
    pairs
}

/// A step of the best way: both words are one, or one of them is passed over.
#[derive(Clone, Copy)]
enum Next {
    Both,
    Old,
    New,
}

/// A number for every spelling.
#[derive(Default)]
struct Numbers(HashMap<String, usize>);

impl Numbers {
    /// A word as written and as it is compared; what is not spoken is only itself.
    fn form(&mut self, text: &str) -> (usize, usize) {
        let plain = normal(text);
        let spelled = self.of(text);
        match plain.is_empty() {
            true => (spelled, spelled),
            false => (spelled, self.of(&plain)),
        }
    }

    fn of(&mut self, text: &str) -> usize {
        let next = self.0.len();
        *self.0.entry(text.to_owned()).or_insert(next)
    }
}

#[cfg(test)]
#[path = "line_tests.rs"]
mod tests;
