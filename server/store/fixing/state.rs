//! What is a moment to somebody who puts it right?
//!
//! Its words and its bounds, in the time of one file. Everything a person can do
//! makes new states of old ones, here and without the database; each is checked, and
//! what can't be is refused with the field at fault.

use sayback_core::clock::Placement;
use sayback_core::moments::{Bounds, LineWord, cut_at, fault, has_room, reworded, settled};
use sayback_core::units::FileMs;
use serde::{Deserialize, Serialize};

use super::super::{MomentId, RecordingId, StoreError};
use super::WordTimes;

/// The longest moment a person can make, ms: what is longer is no line.
const LONGEST_MS: i64 = 180_000;

/// The shortest, ms: of less, whole milliseconds of another file's clock may leave
/// nothing.
const SHORTEST_MS: i64 = 20;

/// The most words a person can write or join into one moment.
const MOST_WORDS: usize = 2_000;

/// A moment as a change left it; kept in the history as JSON.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct State {
    /// The moment.
    pub moment: MomentId,
    /// Its version.
    pub version: i64,
    /// Whether a person has changed it.
    pub by_hand: bool,
    /// The recording in whose file its times are.
    pub timed_in: RecordingId,
    /// Start there, ms.
    pub start_ms: i64,
    /// End there, ms, exclusive.
    pub end_ms: i64,
    /// What of that file it stands for, where that is more.
    pub covers: Option<(i64, i64)>,
    /// The model that heard the words, or those there were before.
    pub model: Option<String>,
    /// Why the words should not be trusted as they are.
    pub doubt: Option<String>,
    /// Why these words.
    pub why: Option<String>,
    /// The words; `None` until somebody has listened or written them.
    pub words: Option<Vec<StateWord>>,
    /// The earlier version that this is again, by an undo.
    #[serde(default)]
    pub again: Option<i64>,
}

/// A word of a [`State`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StateWord {
    /// As it is shown.
    pub text: String,
    /// Start in the file, ms.
    pub start_ms: i64,
    /// End in the file, ms, exclusive.
    pub end_ms: i64,
    /// How sure it is, 0 to 1.
    pub confidence: f32,
    /// Whether a person wrote it.
    pub by_hand: bool,
    /// What the model wrote where this is a name of the glossary; see
    /// [`NewWord::heard`](crate::store::NewWord::heard).
    #[serde(default)]
    pub heard: Option<String>,
    /// The language it was heard in, as ISO 639-1 has it.
    #[serde(default)]
    pub language: Option<String>,
}

impl State {
    /// The words joined by spaces; `None` until there are any, or none were said.
    #[must_use]
    pub fn text(&self) -> Option<String> {
        let texts = self.words.iter().flatten().map(|word| word.text.as_str());
        let texts: Vec<&str> = texts.collect();
        self.words.is_some().then(|| texts.join(" "))
    }

    /// Whether words and bounds are the same, whatever the version.
    pub(super) fn is_as(&self, other: &Self) -> bool {
        (&self.timed_in, self.start_ms, self.end_ms, &self.words)
            == (&other.timed_in, other.start_ms, other.end_ms, &other.words)
    }

    fn bounds(&self) -> Bounds {
        Bounds {
            from: FileMs(self.start_ms),
            to: FileMs(self.end_ms),
        }
    }

    /// The bounds, and what words lie beyond them: a line that goes on in the next file
    /// of a take is timed in one of the two.
    fn reach(&self) -> Bounds {
        let mut words = self.words.iter().flatten();
        let first = words.next();
        let last = words.last().or(first);
        Bounds {
            from: FileMs(first.map_or(self.start_ms, |word| word.start_ms.min(self.start_ms))),
            to: FileMs(last.map_or(self.end_ms, |word| word.end_ms.max(self.end_ms))),
        }
    }

    fn line(&self) -> Vec<LineWord> {
        let words = self.words.iter().flatten().map(|word| LineWord {
            text: word.text.clone(),
            start: FileMs(word.start_ms),
            end: FileMs(word.end_ms),
            confidence: word.confidence,
            by_hand: word.by_hand,
            heard: word.heard.clone(),
            language: word.language.clone(),
        });
        words.collect()
    }

    /// The same moment with these words, a person's from now on.
    fn with(&self, words: Vec<LineWord>) -> Self {
        let words = words.into_iter().map(|word| StateWord {
            text: word.text,
            start_ms: word.start.0,
            end_ms: word.end.0,
            confidence: word.confidence,
            by_hand: word.by_hand,
            heard: word.heard,
            language: word.language,
        });
        Self {
            by_hand: true,
            words: Some(words.collect()),
            again: None,
            ..self.clone()
        }
    }

    /// With a new text.
    pub(super) fn worded(&self, text: &str, by: &str) -> Result<Self, StoreError> {
        let texts: Vec<&str> = text.split_whitespace().collect();
        let reach = self.reach();
        if texts.len() > MOST_WORDS || !has_room(texts.len(), reach) {
            let length_ms = reach.to.0 - reach.from.0;
            return Err(unfit(
                "text",
                format!(
                    "{} words are more than {} ms of speech can hold",
                    texts.len(),
                    length_ms
                ),
            ));
        }
        Ok(Self {
            doubt: None,
            why: Some(format!("put right by {by}")),
            ..self.with(reworded(&self.line(), &texts, reach))
        })
    }

    /// Refuses what nobody has listened to: it has nothing yet but a place.
    fn listened(&self, field: &'static str) -> Result<(), StoreError> {
        match self.words {
            Some(_) => Ok(()),
            None => Err(unfit(
                field,
                format!("nobody has listened to moment {} yet", self.moment),
            )),
        }
    }

    /// Both as one, in the time of this one's file, under its id.
    pub(super) fn joined(&self, other: &Self) -> Result<Self, StoreError> {
        self.listened("with")?;
        other.listened("with")?;
        let (one, two) = match self.start_ms <= other.start_ms {
            true => (self, other),
            false => (other, self),
        };
        let (start_ms, end_ms) = (one.start_ms, one.end_ms.max(two.end_ms));
        if end_ms - start_ms > LONGEST_MS {
            return Err(unfit("with", too_long(end_ms - start_ms)));
        }
        let covers = match (one.covers, two.covers) {
            (None, None) => None,
            (a, b) => {
                let a = a.unwrap_or((one.start_ms, one.end_ms));
                let b = b.unwrap_or((two.start_ms, two.end_ms));
                Some((a.0.min(b.0), a.1.max(b.1)))
            }
        };
        let joined = Self {
            start_ms,
            end_ms,
            covers,
            model: one.model.clone().or_else(|| two.model.clone()),
            doubt: one.doubt.clone().or_else(|| two.doubt.clone()),
            ..self.clone()
        };
        let mut line = one.line();
        line.extend(two.line());
        if line.len() > MOST_WORDS || !has_room(line.len(), joined.bounds()) {
            return Err(unfit("with", "there is no room for the words of both"));
        }
        Ok(joined.with(settled(line, joined.bounds())))
    }

    /// As two, the later one with the id `new`.
    pub(super) fn split(&self, at_ms: i64, new: MomentId) -> Result<[Self; 2], StoreError> {
        self.listened("at_ms")?;
        if at_ms <= self.start_ms || at_ms >= self.end_ms {
            return Err(unfit(
                "at_ms",
                format!(
                    "a moment from {} to {} ms can't be split at {at_ms}",
                    self.start_ms, self.end_ms
                ),
            ));
        }
        let covers = self.covers;
        let one = Self {
            end_ms: at_ms,
            covers: covers.map(|(from, _)| (from, at_ms)),
            ..self.clone()
        };
        let two = Self {
            moment: new,
            version: 0,
            start_ms: at_ms,
            covers: covers.map(|(_, to)| (at_ms, to)),
            ..self.clone()
        };
        if one.end_ms - one.start_ms < SHORTEST_MS || two.end_ms - two.start_ms < SHORTEST_MS {
            return Err(unfit(
                "at_ms",
                format!("each part must be {SHORTEST_MS} ms long at least"),
            ));
        }
        let (before, after) = cut_at(&self.line(), FileMs(at_ms));
        if !has_room(before.len(), one.bounds()) || !has_room(after.len(), two.bounds()) {
            return Err(unfit("at_ms", "there is no room for the words on one side"));
        }
        Ok([
            one.with(settled(before, one.bounds())),
            two.with(settled(after, two.bounds())),
        ])
    }

    /// The instant between the word `n` and the one before it.
    pub(super) fn before_word(&self, n: usize) -> Result<i64, StoreError> {
        let words = settled(self.line(), self.bounds());
        let two = n
            .checked_sub(1)
            .and_then(|m| words.get(m).zip(words.get(n)));
        let (before, word) = two.ok_or_else(|| {
            let count = words.len();
            let why = match count {
                0 | 1 => "there are no two words to split between; say at_ms".into(),
                _ => format!(
                    "a moment of {count} words can be split before word 1 to {}",
                    count - 1
                ),
            };
            unfit("at_word", why)
        })?;
        Ok(before.end.0.midpoint(word.start.0))
    }

    /// With other bounds and other times of words. Words that reach over a new bound
    /// are cut off there; what is given must be right.
    pub(super) fn timed(&self, times: &Times) -> Result<Self, StoreError> {
        self.listened("start_ms")?;
        let mut line = settled(self.line(), self.bounds());
        for word in times.words {
            let count = line.len();
            let Some(there) = line.get_mut(word.n) else {
                return Err(unfit(
                    "words",
                    format!("it has {count} words, counted from 0; one beyond them was given"),
                ));
            };
            (there.start, there.end) = (FileMs(word.start_ms), FileMs(word.end_ms));
        }
        let start_ms = times.start_ms.unwrap_or(self.start_ms);
        let end_ms = times.end_ms.unwrap_or(self.end_ms);
        let field = if times.start_ms.is_some() {
            "start_ms"
        } else {
            "end_ms"
        };
        if start_ms < 0 || end_ms > times.duration_ms || start_ms >= end_ms {
            return Err(unfit(
                field,
                format!(
                    "a moment must lie in its file, from 0 to {} ms, and end after it starts; \
                     {start_ms} to {end_ms} does not",
                    times.duration_ms
                ),
            ));
        }
        let (length, old) = (end_ms - start_ms, self.end_ms - self.start_ms);
        if length > LONGEST_MS.max(old) {
            return Err(unfit(field, too_long(length)));
        }
        if length < SHORTEST_MS.min(old) {
            return Err(unfit(
                field,
                format!("{length} ms is too short for a moment; the shortest is {SHORTEST_MS} ms"),
            ));
        }
        for (n, word) in line.iter_mut().enumerate() {
            let given = times.words.iter().any(|one| one.n == n);
            if !given {
                word.start = FileMs(word.start.0.max(start_ms));
                word.end = FileMs(word.end.0.min(end_ms));
            }
            if word.start >= word.end && !given {
                return Err(unfit(
                    field,
                    format!(
                        "word {n}, '{}', would lie outside; split the moment there, or give the \
                         word a time too",
                        word.text
                    ),
                ));
            }
        }
        let covers = self.covers.unwrap_or((self.start_ms, self.end_ms));
        let covers = (covers.0.min(start_ms), covers.1.max(end_ms));
        let timed = Self {
            start_ms,
            end_ms,
            covers: (covers != (start_ms, end_ms)).then_some(covers),
            ..self.clone()
        };
        if let Some(wrong) = fault(&line, timed.bounds()) {
            return Err(unfit("words", wrong));
        }
        Ok(timed.with(line))
    }

    /// The same in the time of another file, by the place of both on one clock.
    pub(super) fn moved(&self, from: &Placement, to: &Placement, timed_in: &RecordingId) -> Self {
        let there = |ms: i64| to.file_at(from.event_at(ms as f64)).round() as i64;
        let (start_ms, end_ms) = (there(self.start_ms), there(self.end_ms));
        let moved = Self {
            timed_in: timed_in.clone(),
            start_ms,
            end_ms: end_ms.max(start_ms + 1),
            covers: self.covers.map(|(from, to)| (there(from), there(to))),
            ..self.clone()
        };
        let Some(words) = &self.words else {
            return moved;
        };
        let words = words.iter().map(|word| StateWord {
            start_ms: there(word.start_ms),
            end_ms: there(word.end_ms),
            ..word.clone()
        });
        Self {
            words: Some(words.collect()),
            ..moved
        }
    }
}

/// What a person says about the times of a moment.
pub(super) struct Times<'a> {
    pub start_ms: Option<i64>,
    pub end_ms: Option<i64>,
    pub words: &'a [WordTimes],
    /// Length of the file.
    pub duration_ms: i64,
}

fn too_long(ms: i64) -> String {
    format!("{ms} ms is too long for a moment; the longest is {LONGEST_MS} ms")
}

pub(super) fn unfit(field: &'static str, reason: impl Into<String>) -> StoreError {
    StoreError::Unfit {
        field,
        reason: reason.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// So many words of 40 ms, one after the other.
    fn said(count: i64, start_ms: i64) -> State {
        let word = |n| StateWord {
            text: "ho".into(),
            start_ms: start_ms + 40 * n,
            end_ms: start_ms + 40 * (n + 1),
            confidence: 1.0,
            by_hand: true,
            heard: None,
            language: None,
        };
        State {
            moment: MomentId::fresh(),
            version: 1,
            by_hand: true,
            timed_in: RecordingId::from("r"),
            start_ms,
            end_ms: start_ms + 40 * count.max(1),
            covers: None,
            model: None,
            doubt: None,
            why: None,
            words: Some((0..count).map(word).collect()),
            again: None,
        }
    }

    #[test]
    fn moments_with_more_words_than_can_be_written_stay_two() {
        let joined = |count| said(count, 0).joined(&said(count, 80_000));
        assert!(joined(1_000).is_ok());
        assert!(matches!(
            joined(1_001),
            Err(StoreError::Unfit { field: "with", .. })
        ));
    }

    #[test]
    fn why_a_moment_is_not_split_at_a_word_makes_sense() {
        for (count, told) in [
            (0, "no two words"),
            (1, "no two words"),
            (3, "before word 1 to 2"),
        ] {
            for n in [0, 3, usize::MAX] {
                let Err(StoreError::Unfit { reason, .. }) = said(count, 0).before_word(n) else {
                    panic!("{count} words before {n}")
                };
                assert!(reason.contains(told), "{reason}");
            }
        }
    }
}
