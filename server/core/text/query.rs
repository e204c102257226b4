//! What did the person ask for?

use super::normal::{parts, split_words};

/// The most characters of a query that are read; the rest is ignored.
pub const MAX_QUERY_CHARS: usize = 4_000;

/// The most words a query can hold; later ones are ignored.
pub const MAX_QUERY_WORDS: usize = 300;

/// What was asked for: every term must be in a text, in any order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Query {
    /// The terms in the order they were typed; none when nothing was asked.
    pub terms: Vec<Term>,
    /// Whether some of it stands in quotation marks: then only the very words will do.
    pub literal: bool,
}

/// One thing a text must hold. All words are in normal form and not empty.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Term {
    /// This word.
    Word(String),
    /// A word that begins like this.
    Prefix(String),
    /// These words, two or more, next to one another in this order.
    Phrase(Vec<String>),
}

impl Query {
    /// Reads what somebody typed. There is no wrong query: what has no meaning
    /// here is literal text, and text in which nothing is spoken asks for
    /// nothing.
    ///
    /// - Words are looked for in any order.
    /// - Words in double quotes, straight or curly, are a phrase, and nothing but the
    ///   very words will do for any of the query. A quotation that is never closed runs
    ///   to the end.
    /// - `*` at the end of a word outside quotes stands for the rest of it.
    /// - A joined word (`half-remembered`) is a phrase of its [`parts`]; with `*`
    ///   at its end, only the last part stands for more.
    ///
    /// Only the first [`MAX_QUERY_CHARS`] characters and [`MAX_QUERY_WORDS`]
    /// words count.
    ///
    /// ```
    /// use sayback_core::text::{Query, Term};
    /// let query = Query::parse("\"for better\" wor*");
    /// assert_eq!(query.terms, [
    ///     Term::Phrase(vec!["for".into(), "better".into()]),
    ///     Term::Prefix("wor".into()),
    /// ]);
    /// ```
    #[must_use]
    pub fn parse(text: &str) -> Self {
        let end = text
            .char_indices()
            .nth(MAX_QUERY_CHARS)
            .map_or(text.len(), |(at, _)| at);
        let mut query = Self::default();
        let mut room = MAX_QUERY_WORDS;
        // Between quotation marks every second piece is inside them.
        for (n, piece) in text[..end].split(is_quote).enumerate() {
            if n % 2 == 1 {
                let before = query.terms.len();
                query.push(piece, false, &mut room);
                query.literal |= query.terms.len() > before;
            } else {
                for word in piece.split_whitespace() {
                    query.push(word, word.ends_with('*'), &mut room);
                }
            }
        }
        query
    }

    /// Whether nothing was asked; such a query matches no text.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.terms.is_empty()
    }

    /// Takes the last word for the beginning of one, as it is while somebody types; leaves
    /// out the first letter of another.
    pub fn begin_last(&mut self) {
        match self.terms.pop() {
            Some(Term::Word(word)) => self.terms.push(Term::Prefix(word)),
            Some(Term::Phrase(mut words)) if !self.literal => {
                let last = words.pop();
                if words.len() == 1 {
                    self.terms.extend(words.pop().map(Term::Word));
                } else {
                    self.terms.push(Term::Phrase(words));
                }
                self.terms.extend(last.map(Term::Prefix));
            }
            other => self.terms.extend(other),
        }
        // One letter says nothing yet of what was said before it.
        let letter = |term: &Term| matches!(term, Term::Prefix(begun) if begun.len() == 1);
        if self.terms.len() > 1 && self.terms.last().is_some_and(letter) {
            self.terms.pop();
        }
    }

    /// Adds the words of `text` as one term, as far as there is room.
    fn push(&mut self, text: &str, is_prefix: bool, room: &mut usize) {
        let mut words: Vec<String> = split_words(text).into_iter().flat_map(parts).collect();
        let is_prefix = is_prefix && words.len() <= *room;
        words.truncate(*room);
        *room -= words.len();
        let prefix = if is_prefix { words.pop() } else { None };
        match words.len() {
            0 => {}
            1 => self.terms.push(Term::Word(words.swap_remove(0))),
            _ => self.terms.push(Term::Phrase(words)),
        }
        self.terms.extend(prefix.map(Term::Prefix));
    }
}

impl Term {
    /// How many words of a text the term covers.
    #[must_use]
    pub fn word_count(&self) -> usize {
        match self {
            Self::Word(_) | Self::Prefix(_) => 1,
            Self::Phrase(words) => words.len(),
        }
    }
}

fn is_quote(c: char) -> bool {
    matches!(
        c,
        '"' | '“' | '”' | '„' | '‟' | '«' | '»' | '＂' | '「' | '」'
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::text::normal;
    use proptest::prelude::*;

    fn word(text: &str) -> Term {
        Term::Word(text.to_owned())
    }

    fn phrase(text: &str) -> Term {
        Term::Phrase(text.split(' ').map(str::to_owned).collect())
    }

    #[test]
    fn worked_examples() {
        for (typed, want) in [
            ("", vec![]),
            (" \t\n", vec![]),
            ("?! -- \"\" * \"—\"", vec![]),
            ("Kettle, landing!", vec![word("kettle"), word("landing")]),
            ("don’t", vec![word("dont")]),
            ("\"The Ferry is late\"", vec![phrase("the ferry is late")]),
            ("“the ferry”", vec![phrase("the ferry")]),
            ("\"ferry\"", vec![word("ferry")]),
            // Never closed: to the end.
            ("tea \"on the", vec![word("tea"), phrase("on the")]),
            ("a\"b c\"d", vec![word("a"), phrase("b c"), word("d")]),
            ("wed*", vec![Term::Prefix("wed".into())]),
            ("WED**", vec![Term::Prefix("wed".into())]),
            // Elsewhere a star is only punctuation.
            (
                "we*d *ding \"wed* day\"",
                vec![word("wed"), word("ding"), phrase("wed day")],
            ),
            // What other tools read as operators, columns or syntax is text.
            (
                "AND OR NOT NEAR(x) text:boat -not ^a (b) 'c' ; --",
                vec![
                    word("and"),
                    word("or"),
                    word("not"),
                    word("nearx"),
                    word("textboat"),
                    word("not"),
                    word("a"),
                    word("b"),
                    word("c"),
                ],
            ),
            ("example.com", vec![word("examplecom")]),
            ("half-remembered", vec![phrase("half remembered")]),
            (
                "-half- half-*",
                vec![word("half"), Term::Prefix("half".into())],
            ),
            (
                "half-rem* out-of-ha*",
                vec![
                    word("half"),
                    Term::Prefix("rem".into()),
                    phrase("out of"),
                    Term::Prefix("ha".into()),
                ],
            ),
            ("我愿意", vec![phrase("我 愿 意")]),
        ] {
            assert_eq!(Query::parse(typed).terms, want, "{typed}");
        }
    }

    #[test]
    fn long_queries_are_bounded() {
        let many = Query::parse(&"boat ".repeat(100_000));
        assert_eq!(many.terms.len(), MAX_QUERY_WORDS);
        let phrase = Query::parse(&format!("\"{}", "boat ".repeat(100_000)));
        assert_eq!(phrase.terms.len(), 1);
        assert_eq!(phrase.terms[0].word_count(), MAX_QUERY_WORDS);
        let one = Query::parse(&"é".repeat(1_000_000));
        assert_eq!(one.terms, [word(&"e".repeat(64))]);
    }

    proptest! {
        #[test]
        fn anything_parses_to_normal_words(text in any::<String>()) {
            let mut count = 0;
            for term in Query::parse(&text).terms {
                let words = match term {
                    Term::Word(word) | Term::Prefix(word) => vec![word],
                    Term::Phrase(words) => {
                        prop_assert!(words.len() > 1);
                        words
                    }
                };
                for word in words {
                    count += 1;
                    prop_assert!(!word.is_empty());
                    prop_assert_eq!(&normal(&word), &word);
                }
            }
            prop_assert!(count <= MAX_QUERY_WORDS);
        }

        #[test]
        fn plain_words_are_just_words(words in prop::collection::vec("[a-z]{1,9}", 0..20)) {
            let want: Vec<Term> = words.iter().map(|w| word(w)).collect();
            prop_assert_eq!(Query::parse(&words.join("  ")).terms, want);
        }
    }
}
