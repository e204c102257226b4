//! What was said, as it is searched.

use super::normal::parts;

/// Words as the index keeps them: the normal form of each, parted by spaces; the parts of
/// a joined word by hyphens; `_` for one in which nothing is spoken.
///
/// ```
/// use sayback_core::text::indexed;
/// assert_eq!(indexed(["Half-remembered,", "—", "don't"]), "half-remembered _ dont");
/// ```
#[must_use]
pub fn indexed<'a>(words: impl IntoIterator<Item = &'a str>) -> String {
    let words: Vec<String> = words.into_iter().map(|word| slot(&parts(word))).collect();
    words.join(" ")
}

fn slot(parts: &[String]) -> String {
    match parts.is_empty() {
        true => "_".to_owned(),
        false => parts.join("-"),
    }
}

/// What else was heard in the place of each word, in the form of [`indexed`]: the words of
/// other hearings where they differ from those that stand, put beside them in order.
///
/// ```
/// use sayback_core::text::otherwise;
/// let said = ["Put", "the", "cattle", "on"];
/// let other = vec!["Put", "the", "kettle", "on", "now"];
/// assert_eq!(otherwise(&said, &[other]), "_ _ kettle now");
/// ```
#[must_use]
pub fn otherwise(said: &[&str], others: &[Vec<&str>]) -> String {
    let own: Vec<Vec<String>> = said.iter().map(|word| parts(word)).collect();
    let mut slots: Vec<Vec<String>> = vec![Vec::new(); said.len()];
    for other in others {
        let other: Vec<Vec<String>> = other.iter().map(|word| parts(word)).collect();
        for (slot, at) in beside(&own, &other) {
            let Some(slot) = slots.get_mut(slot) else {
                continue;
            };
            for part in &other[at] {
                if !slot.contains(part) {
                    slot.push(part.clone());
                }
            }
        }
    }
    let slots: Vec<String> = slots.iter().map(|parts| slot(parts)).collect();
    slots.join(" ")
}

/// Words of `other` that are not the words of `own`, each with the word it stands beside,
/// by the least number of word errors.
fn beside(own: &[Vec<String>], other: &[Vec<String>]) -> Vec<(usize, usize)> {
    let width = other.len() + 1;
    let mut cost = vec![0_usize; (own.len() + 1) * width];
    for (m, first) in cost.iter_mut().take(width).enumerate() {
        *first = m;
    }
    for (n, x) in own.iter().enumerate() {
        cost[(n + 1) * width] = n + 1;
        for (m, y) in other.iter().enumerate() {
            let changed = cost[n * width + m] + usize::from(x != y);
            let least = changed
                .min(cost[n * width + m + 1] + 1)
                .min(cost[(n + 1) * width + m] + 1);
            cost[(n + 1) * width + m + 1] = least;
        }
    }
    let (mut n, mut m) = (own.len(), other.len());
    let mut found = Vec::new();
    while m > 0 && !own.is_empty() {
        let here = cost[n * width + m];
        if n > 0 && here == cost[(n - 1) * width + m - 1] + usize::from(own[n - 1] != other[m - 1])
        {
            if own[n - 1] != other[m - 1] {
                found.push((n - 1, m - 1));
            }
            (n, m) = (n - 1, m - 1);
        } else if here == cost[n * width + m - 1] + 1 {
            found.push((n.saturating_sub(1), m - 1));
            m -= 1;
        } else {
            n -= 1;
        }
    }
    found.reverse();
    found
}

/// The words of one moment, or of several that follow each other, as they are searched.
#[derive(Clone, Debug, Default)]
pub struct Line<'a> {
    /// What is spoken, one after another.
    pub(super) tokens: Vec<&'a str>,
    /// The word each is of.
    pub(super) word: Vec<usize>,
    /// What else was heard, and in the place of which token.
    pub(super) other: Vec<(&'a str, usize)>,
    /// How many words the moments have up to the end of each.
    pub(super) ends: Vec<usize>,
}

impl<'a> Line<'a> {
    /// The words of one moment, in the form of [`indexed`], and what else was heard, in
    /// that of [`otherwise`].
    #[must_use]
    pub fn read(words: &'a str, other: &'a str) -> Self {
        let mut line = Self::default();
        line.push(words, other);
        line
    }

    /// Adds the words of the moment after.
    pub fn push(&mut self, words: &'a str, other: &'a str) {
        let mut count = self.ends.last().copied().unwrap_or(0);
        let mut others = other.split_ascii_whitespace();
        for word in words.split_ascii_whitespace() {
            let first = self.tokens.len();
            for part in word.split('-').filter(|part| *part != "_") {
                self.tokens.push(part);
                self.word.push(count);
            }
            let beside = first.min(self.tokens.len().saturating_sub(1));
            let own = others.next().unwrap_or_default();
            if !self.tokens.is_empty() {
                let own = own.split('-').filter(|part| !matches!(*part, "_" | ""));
                self.other.extend(own.map(|part| (part, beside)));
            }
            count += 1;
        }
        self.ends.push(count);
    }

    /// Which of the moments a word is of, and its place in it.
    #[must_use]
    pub fn place(&self, word: usize) -> (usize, usize) {
        let moment = self.ends.partition_point(|end| *end <= word);
        let before = moment.checked_sub(1).and_then(|n| self.ends.get(n));
        (moment, word - before.copied().unwrap_or(0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn lines_of_moments_are_told_apart() {
        let mut line = Line::read("half-remembered _ tune", "_ _ toon");
        line.push("on the stairs", "");
        assert_eq!(
            line.tokens,
            ["half", "remembered", "tune", "on", "the", "stairs"]
        );
        assert_eq!(line.word, [0, 0, 2, 3, 4, 5]);
        assert_eq!(line.other, [("toon", 2)]);
        assert_eq!(line.place(2), (0, 2));
        assert_eq!(line.place(3), (1, 0));
        assert_eq!(line.place(5), (1, 2));
    }

    #[test]
    fn words_heard_otherwise_stand_beside_those_that_stand() {
        let said = ["the", "otter", "lee", "lamp"];
        assert_eq!(
            otherwise(
                &said,
                &[vec!["the", "Ottilie", "lamp"], vec!["the", "otter", "lamb"]]
            ),
            "_ _ ottilie lamb"
        );
        assert_eq!(otherwise(&[], &[vec!["word"]]), "");
        assert_eq!(otherwise(&said, &[]), "_ _ _ _");
    }

    proptest! {
        #[test]
        fn there_is_a_place_for_every_word(
            said in prop::collection::vec("[ab—-]{1,3}", 0..9),
            other in prop::collection::vec("[abc]{1,2}", 0..9),
        ) {
            let said: Vec<&str> = said.iter().map(String::as_str).collect();
            let other: Vec<&str> = other.iter().map(String::as_str).collect();
            let words = indexed(said.iter().copied());
            let beside = otherwise(&said, std::slice::from_ref(&other));
            prop_assert_eq!(words.split_ascii_whitespace().count(), said.len());
            prop_assert_eq!(beside.split_ascii_whitespace().count(), said.len());
            let line = Line::read(&words, &beside);
            prop_assert!(line.word.iter().all(|word| *word < said.len().max(1)));
            prop_assert!(line.other.iter().all(|(_, at)| *at < line.tokens.len()));
        }
    }
}
