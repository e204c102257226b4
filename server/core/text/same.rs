//! Are these two transcripts of one line?

use std::collections::HashMap;

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
    let mut lexicon = Lexicon::default();
    let (a, b) = (lexicon.read(a), lexicon.read(b));
    let longer = a.len().max(b.len());
    if longer == 0 {
        return 0.0;
    }
    1.0 - lexicon.distance(&a, &b).closed / longer as f32
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
    let likeness = likeness(&letters(a), &letters(b));
    if likeness >= NEAR { likeness } else { 0.0 }
}

/// A word as a number, in one [`Lexicon`].
pub(super) type WordId = u32;

/// The words met so far and how near they are to one another.
#[derive(Default)]
pub(super) struct Lexicon {
    ids: HashMap<String, WordId>,
    words: Vec<Letters>,
    costs: HashMap<(WordId, WordId), f32>,
    /// Two rows of [`Lexicon::distance`], kept between calls.
    rows: [Vec<f32>; 2],
}

/// A word, letter by letter.
struct Letters {
    letters: Vec<char>,
    /// Which letters are in it: bit `c % 64` for each letter `c`.
    set: u64,
}

/// The word errors between two lines laid side by side from their beginning.
/// An exchange for a near word is a part of an error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Distance {
    /// Both end here: what one has more is missing from the other.
    pub(super) closed: f32,
    /// The shorter broke off: what the other has more is nobody's error.
    pub(super) open: f32,
}

impl Lexicon {
    /// What is spoken in these words, part by part, as numbers.
    pub(super) fn read(&mut self, words: &[&str]) -> Vec<WordId> {
        let spoken = words.iter().flat_map(|word| parts(word));
        spoken.filter_map(|part| self.id(part)).collect()
    }

    fn id(&mut self, word: String) -> Option<WordId> {
        if let Some(&id) = self.ids.get(&word) {
            return Some(id);
        }
        let id = WordId::try_from(self.words.len()).ok()?;
        self.words.push(Letters::of(&word));
        self.ids.insert(word, id);
        Some(id)
    }

    /// The least number of word errors that make one line the other.
    pub(super) fn distance(&mut self, a: &[WordId], b: &[WordId]) -> Distance {
        let (a, b) = if a.len() <= b.len() { (a, b) } else { (b, a) };
        let [mut above, mut line] = std::mem::take(&mut self.rows);
        above.clear();
        above.extend((0..=b.len()).map(|n| n as f32));
        // `a` broke off after its last word, wherever that falls in `b`: the
        // last row. Of lines of one length also `b` may have broken off.
        let mut open = if a.len() == b.len() {
            above[b.len()]
        } else {
            f32::INFINITY
        };
        for (row, &x) in a.iter().enumerate() {
            line.clear();
            line.push(row as f32 + 1.0);
            for (column, &y) in b.iter().enumerate() {
                let exchanged = above[column] + self.exchange(x, y);
                let dropped = above[column + 1] + 1.0;
                let added = line[column] + 1.0;
                line.push(exchanged.min(dropped).min(added));
            }
            std::mem::swap(&mut above, &mut line);
            if a.len() == b.len() {
                open = open.min(above[b.len()]);
            }
        }
        let closed = above[b.len()];
        open = above.iter().copied().fold(open, f32::min);
        self.rows = [above, line];
        Distance { closed, open }
    }

    /// What writing one word for the other costs: 0 the same, 1 unlike.
    fn exchange(&mut self, a: WordId, b: WordId) -> f32 {
        if a == b {
            return 0.0;
        }
        let (x, y) = (&self.words[a as usize], &self.words[b as usize]);
        if x.is_surely_unlike(y) {
            return 1.0;
        }
        let key = (a.min(b), a.max(b));
        if let Some(&cost) = self.costs.get(&key) {
            return cost;
        }
        let likeness = likeness(&x.letters, &y.letters);
        let cost = if likeness >= NEAR {
            1.0 - likeness
        } else {
            1.0
        };
        self.costs.insert(key, cost);
        cost
    }
}

impl Letters {
    fn of(word: &str) -> Self {
        let bit = |c: char| 1_u64 << (u32::from(c) % 64);
        Self {
            letters: word.chars().collect(),
            set: word.chars().fold(0, |set, c| set | bit(c)),
        }
    }

    /// Whether more than half of the longer word must change for certain: each
    /// letter that only one of them has is one change at least, and so is each
    /// by which one is longer.
    fn is_surely_unlike(&self, other: &Self) -> bool {
        let (a, b) = (self.letters.len(), other.letters.len());
        let only = |x: u64, y: u64| (x & !y).count_ones() as usize;
        let changes = only(self.set, other.set)
            .max(only(other.set, self.set))
            .max(a.abs_diff(b));
        2 * changes > a.max(b)
    }
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

    #[test]
    fn a_broken_off_line_costs_nothing_when_open() {
        let mut lexicon = Lexicon::default();
        let long = lexicon.read(&["on", "the", "boathouse", "stairs", "at", "noon"]);
        let short = lexicon.read(&["on", "a", "the", "boathouse"]);
        // One word was added inside the shorter; the rest is beyond its end.
        assert_eq!(lexicon.distance(&long, &short).open, 1.0);
        assert_eq!(lexicon.distance(&short, &long).open, 1.0);
        assert_eq!(lexicon.distance(&long, &[]).open, 0.0);
        assert_eq!(lexicon.distance(&long, &short).closed, 4.0);
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

        #[test]
        fn an_open_end_never_costs_more(
            a in prop::collection::vec(0u32..4, 0..9),
            b in prop::collection::vec(0u32..4, 0..9),
        ) {
            let mut lexicon = Lexicon::default();
            lexicon.read(&["kettle", "ferry", "oar", "lamp"]);
            let there = lexicon.distance(&a, &b);
            prop_assert!(there.open <= there.closed);
            prop_assert!(there.open <= a.len().min(b.len()) as f32);
            prop_assert_eq!(there, lexicon.distance(&b, &a));
        }

        #[test]
        fn surely_unlike_words_are_unlike(a in "[a-d]{1,8}", b in "[a-d]{1,8}") {
            let (a, b) = (Letters::of(&a), Letters::of(&b));
            if a.is_surely_unlike(&b) {
                prop_assert!(likeness(&a.letters, &b.letters) < NEAR);
            }
        }
    }
}
