//! What is a moment known by?
//!
//! By its own words: taking in what is said around it makes its neighbours stand for it
//! and finds less (`cargo xtask bench meaning`). Only of a few words, such as 'it did
//! not', nobody can say what they are about; those are known together with what the same
//! speaker says around them.

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

/// A moment of fewer words is known together with those beside it. Chosen by `cargo
/// xtask bench meaning`.
const ENOUGH_WORDS: usize = 5;
/// Words that a passage never goes beyond for the sake of its neighbours; about 64
/// pieces.
const FULL_WORDS: usize = 40;
/// Who pauses for longer has begun something else, ms. Common practice, no source.
const LONGEST_PAUSE_MS: i64 = 8_000;

/// What each moment is known by; all of one event, by island and time. Nothing where
/// nothing was said.
#[must_use]
pub fn passages(said: &[Said<'_>]) -> Vec<Option<Passage>> {
    reaching(said, ENOUGH_WORDS)
}

/// With moments beside it until there are so many words.
#[must_use]
pub fn reaching(said: &[Said<'_>], enough: usize) -> Vec<Option<Passage>> {
    (0..said.len()).map(|n| passage(said, n, enough)).collect()
}

fn passage(said: &[Said<'_>], n: usize, enough: usize) -> Option<Passage> {
    let mut words = count(said.get(n)?.text);
    if words == 0 {
        return None;
    }
    let (mut from, mut to) = (n, n);
    while words < enough {
        let before = from.checked_sub(1).filter(|more| joins(said, *more, from));
        let after = Some(to + 1).filter(|more| joins(said, to, *more));
        let mut grown = false;
        for more in [before, after].into_iter().flatten() {
            let added = said.get(more).map_or(0, |one| count(one.text));
            if words + added <= FULL_WORDS {
                words += added;
                (from, to) = (from.min(more), to.max(more));
                grown = true;
            }
        }
        if !grown {
            break;
        }
    }
    let all = said.get(from..=to)?.iter().map(|one| one.text.trim());
    let all: Vec<&str> = all.filter(|text| !text.is_empty()).collect();
    Some(Passage {
        text: all.join(" "),
    })
}

/// Whether the second of two follows on the first.
fn joins(said: &[Said<'_>], first: usize, second: usize) -> bool {
    let two = said.get(first).zip(said.get(second));
    two.is_some_and(|(first, second)| go_together(first, second))
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
    fn a_few_words_are_known_with_those_beside_them() {
        let said = [
            said(0, "Ida", "the boat was late again"),
            said(2_000, "Ida", "so we swam"),
            said(4_000, "Jory", "you did not"),
            said(6_000, "Ida", "we did"),
        ];
        let whole = "the boat was late again so we swam";
        let own = "the boat was late again";
        assert_eq!(texts(&said), [own, whole, "you did not", "we did"]);
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
