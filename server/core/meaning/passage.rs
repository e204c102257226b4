//! What is a moment known by?
//!
//! A moment is cut where speech pauses, so that many are half a sentence, and what 'they'
//! and 'it' are was said before. Each is known by its own words together with those
//! around it of the same speaker, as far as they are near in time and few; a moment of
//! many words is known by these alone.

/// What was said in a moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Said<'a> {
    /// Whose clock its times are on.
    pub island: i64,
    /// Start on it, ms.
    pub start_ms: i64,
    /// End on it, ms, exclusive.
    pub end_ms: i64,
    /// Who speaks; `None` where that is not known.
    pub speaker: Option<&'a str>,
    /// Its words.
    pub text: &'a str,
}

/// The text a moment is known by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Passage {
    /// Its own words with those around them.
    pub text: String,
}

/// Words a passage is filled up to; about 64 pieces. Chosen by `cargo xtask bench
/// meaning`.
const FULL_WORDS: usize = 40;
/// Moments on either side that are taken in.
const REACH: usize = 1;
/// Who pauses for longer has begun something else, ms. Common practice, no source.
const LONGEST_PAUSE_MS: i64 = 8_000;

/// What each moment is known by; all of one event, by island and time. Nothing where
/// nothing was said.
#[must_use]
pub fn passages(said: &[Said<'_>]) -> Vec<Option<Passage>> {
    reaching(said, REACH, FULL_WORDS)
}

/// With so many moments on either side, up to so many words.
#[must_use]
pub fn reaching(said: &[Said<'_>], reach: usize, full: usize) -> Vec<Option<Passage>> {
    (0..said.len())
        .map(|n| passage(said, n, reach, full))
        .collect()
}

fn passage(said: &[Said<'_>], n: usize, reach: usize, full: usize) -> Option<Passage> {
    let own = said.get(n)?;
    let mut words = count(own.text);
    if words == 0 {
        return None;
    }
    let (mut from, mut to) = (n, n);
    for _ in 0..reach {
        let before = from.checked_sub(1);
        let next = [
            (before, before.zip(Some(from))),
            (Some(to + 1), Some((to, to + 1))),
        ];
        for (more, pair) in next {
            let (Some(more), Some((first, second))) = (more, pair) else {
                continue;
            };
            let (Some(first), Some(second)) = (said.get(first), said.get(second)) else {
                continue;
            };
            let added = said.get(more).map_or(0, |one| count(one.text));
            if go_together(first, second) && words + added <= full {
                words += added;
                (from, to) = (from.min(more), to.max(more));
            }
        }
    }
    let all = said.get(from..=to)?.iter().map(|one| one.text.trim());
    let all: Vec<&str> = all.filter(|text| !text.is_empty()).collect();
    Some(Passage {
        text: all.join(" "),
    })
}

fn go_together(first: &Said<'_>, second: &Said<'_>) -> bool {
    first.island == second.island
        && first.speaker == second.speaker
        && second.start_ms.saturating_sub(first.end_ms) <= LONGEST_PAUSE_MS
}

fn count(text: &str) -> usize {
    text.split_whitespace().count()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said<'a>(start_ms: i64, speaker: &'a str, text: &'a str) -> Said<'a> {
        Said {
            island: 0,
            start_ms,
            end_ms: start_ms + 1_000,
            speaker: Some(speaker),
            text,
        }
    }

    fn texts(said: &[Said<'_>]) -> Vec<String> {
        let all = passages(said).into_iter();
        all.map(|one| one.map(|one| one.text).unwrap_or_default())
            .collect()
    }

    #[test]
    fn neighbours_of_the_same_speaker_come_along() {
        let said = [
            said(0, "Ida", "the boat was late"),
            said(2_000, "Ida", "so we swam"),
            said(4_000, "Jory", "you did not"),
            said(6_000, "Ida", "we did"),
        ];
        let whole = "the boat was late so we swam";
        assert_eq!(texts(&said), [whole, whole, "you did not", "we did"]);
    }

    #[test]
    fn a_pause_another_clock_and_many_words_keep_apart() {
        let long = "a long line ".repeat(14);
        let mut all = [
            said(0, "Ida", "one"),
            said(20_000, "Ida", "two"),
            said(22_000, "Ida", &long),
            said(24_000, "Ida", "  "),
        ];
        assert_eq!(texts(&all), ["one", "two", long.trim(), ""]);
        all[1].start_ms = 1_500;
        all[1].island = 1;
        assert_eq!(texts(&all)[0], "one");
    }

    #[test]
    fn times_out_of_order_are_no_trouble() {
        let all = [said(i64::MAX - 1_000, "a", "x"), said(i64::MIN, "a", "y")];
        assert_eq!(texts(&all).len(), 2);
        assert_eq!(passages(&[]), []);
    }
}
