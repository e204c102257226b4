//! Are these two transcripts of one line?

use super::normal::{normal, parts};

/// How alike two words must be, by the letters that need changing, to count as
/// one word mis-heard rather than as two words. Below half, most letters differ.
const NEAR: f32 = 0.5;

/// How well two hearings of perhaps the same line agree: 0 nothing in common,
/// 1 the same words.
///
/// One less the word edit distance over the length of the longer, where
/// exchanging a word for one that shares at least half its letters in place
/// costs only the letters that differ: a recogniser that mis-hears a word
/// usually writes one that sounds, and so mostly looks, like it. Symmetric.
/// Nothing heard agrees with nothing (0): it is no evidence.
///
/// **Limits.** Agreement in words is not agreement in time: a line said twice
/// agrees with itself. Words that sound alike and look different (`right`,
/// `write`) get little credit. Two hearings of which one is only a part of the
/// other agree by the share that is common.
///
/// ```
/// use sayback_core::text::same_line;
/// let worn = ["put", "the", "kettle", "on"];
/// let camera = ["but", "the", "cattle", "on"];
/// assert!(same_line(&worn, &camera) > 0.8);
/// assert!(same_line(&worn, &["the", "ferry", "is", "late"]) < 0.3);
/// ```
#[must_use]
pub fn same_line(a: &[&str], b: &[&str]) -> f32 {
    let (a, b) = (spoken(a), spoken(b));
    let longer = a.len().max(b.len());
    if longer == 0 {
        return 0.0;
    }
    1.0 - distance(&a, &b) / longer as f32
}

/// What is spoken in these words, part by part, letter by letter.
fn spoken(words: &[&str]) -> Vec<Vec<char>> {
    let parts = words.iter().flat_map(|word| parts(word));
    parts.map(|part| part.chars().collect()).collect()
}

/// The least number of word errors that make one line the other; an exchange for a
/// near word is a part of an error.
fn distance(a: &[Vec<char>], b: &[Vec<char>]) -> f32 {
    let mut above: Vec<f32> = (0..=b.len()).map(|n| n as f32).collect();
    for (row, x) in a.iter().enumerate() {
        let mut line = Vec::with_capacity(b.len() + 1);
        line.push(row as f32 + 1.0);
        for (column, y) in b.iter().enumerate() {
            let exchanged = above[column] + 1.0 - near(x, y);
            let dropped = above[column + 1] + 1.0;
            let added = line[column] + 1.0;
            line.push(exchanged.min(dropped).min(added));
        }
        above = line;
    }
    above[b.len()]
}

/// How likely one word is the other mis-heard, by their letters: 1 the same in
/// normal form, 0 when more than half of the letters differ.
///
/// ```
/// use sayback_core::text::word_likeness;
/// assert_eq!(word_likeness("Ferry,", "ferry"), 1.0);
/// assert_eq!(word_likeness("ferry", "bell"), 0.0);
/// ```
#[must_use]
pub fn word_likeness(a: &str, b: &str) -> f32 {
    let letters = |word: &str| normal(word).chars().collect::<Vec<char>>();
    near(&letters(a), &letters(b))
}

/// Likeness, or 0 for words that are rather two than one mis-heard.
fn near(a: &[char], b: &[char]) -> f32 {
    let likeness = likeness(a, b);
    if likeness >= NEAR { likeness } else { 0.0 }
}

/// One less the letter edit distance over the length of the longer word.
fn likeness(a: &[char], b: &[char]) -> f32 {
    let longer = a.len().max(b.len());
    if longer == 0 {
        return 1.0;
    }
    let mut above: Vec<usize> = (0..=b.len()).collect();
    for (row, x) in a.iter().enumerate() {
        let mut diagonal = above[0];
        above[0] = row + 1;
        for (column, y) in b.iter().enumerate() {
            let exchanged = diagonal + usize::from(x != y);
            diagonal = above[column + 1];
            above[column + 1] = exchanged.min(diagonal + 1).min(above[column] + 1);
        }
    }
    1.0 - above[b.len()] as f32 / longer as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::split_words;
    use proptest::prelude::*;

    fn agree(a: &str, b: &str) -> f32 {
        same_line(&split_words(a), &split_words(b))
    }

    #[test]
    fn letters_are_counted_as_by_hand() {
        let likeness = |a: &str, b: &str| {
            likeness(
                &a.chars().collect::<Vec<_>>(),
                &b.chars().collect::<Vec<_>>(),
            )
        };
        // The classic pair: 3 edits in 7 letters.
        assert!((likeness("kitten", "sitting") - 4.0 / 7.0).abs() < 1e-6);
        assert!((likeness("kettle", "cattle") - 4.0 / 6.0).abs() < 1e-6);
        assert_eq!(likeness("ferry", "ferry"), 1.0);
        assert_eq!(likeness("a", "ferry"), 0.0);
        assert_eq!(likeness("ab", "abcd"), 0.5);
    }

    #[test]
    fn words_are_counted_as_by_hand() {
        assert_eq!(agree("put the kettle on", "Put the kettle on!"), 1.0);
        // One word of four missing, added, exchanged for an unlike one.
        assert_eq!(agree("put the kettle on", "put the kettle"), 0.75);
        assert_eq!(agree("put the kettle", "put the kettle on"), 0.75);
        assert_eq!(agree("put the kettle on", "put the ferry on"), 0.75);
        // kettle / cattle: two letters of six.
        let near = agree("put the kettle on", "put the cattle on");
        assert!((near - (1.0 - (2.0 / 6.0) / 4.0)).abs() < 1e-6);
        assert_eq!(agree("", ""), 0.0);
        assert_eq!(agree("ferry", "— …"), 0.0);
    }

    proptest! {
        #[test]
        fn symmetric_bounded_and_exact(
            a in prop::collection::vec("[ab]{1,3}", 0..12),
            b in prop::collection::vec("[ab]{1,3}", 0..12),
        ) {
            let a: Vec<&str> = a.iter().map(String::as_str).collect();
            let b: Vec<&str> = b.iter().map(String::as_str).collect();
            let agreement = same_line(&a, &b);
            prop_assert!((0.0..=1.0).contains(&agreement));
            prop_assert!((agreement - same_line(&b, &a)).abs() < 1e-5);
            prop_assert_eq!(agreement == 1.0, a == b && !a.is_empty());
        }
    }
}
