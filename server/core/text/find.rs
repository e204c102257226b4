//! Where in this text is what was asked for?

use serde::{Deserialize, Serialize};

use super::normal::parts;
use super::query::{Query, Term};

/// A run of words of a text, by position, `to` exclusive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Span {
    /// The first word.
    pub from: usize,
    /// The word after the last.
    pub to: usize,
}

/// Where and how well a text answers a query.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The words that matched, in order, touching spans merged; never empty.
    pub matched: Vec<Span>,
    /// 0 to 1: 1 when the words stand as they were typed.
    pub score: f32,
}

impl Found {
    /// From the first matched word to the last.
    #[must_use]
    pub fn extent(&self) -> Span {
        Span {
            from: self.matched.first().map_or(0, |span| span.from),
            to: self.matched.last().map_or(0, |span| span.to),
        }
    }
}

/// Weight of closeness against order in a score. A swapped neighbour pair
/// (0.65) ranks below the pair in order with a word between (0.78) and above
/// the pair in order with four words between (0.57).
const CLOSENESS: f32 = 0.65;

/// How much of the score a word found by its beginning can lose.
const PREFIX_LOSS: f32 = 0.1;

impl Query {
    /// Looks for the terms in the words of a text as shown. `None` unless every
    /// term is there.
    ///
    /// Of all placings the tightest is taken, then the one most in the order
    /// typed, then the first. A term typed more than once takes as many
    /// different words as the text has.
    ///
    /// Joined words count by their [`parts`], and punctuation that stands alone
    /// parts nothing. A span covers every word of which it has a part.
    ///
    /// The score is 1 when the words stand next to one another as typed. It
    /// falls with the words in between and with pairs out of order, and a
    /// little with the length by which a word exceeds the beginning asked for.
    ///
    /// ```
    /// use sayback_core::text::{Query, Span};
    /// let words = ["Put", "the", "kettle", "on,", "the", "ferry's", "late"];
    /// let found = Query::parse("ferrys the").find_in(&words).unwrap();
    /// assert_eq!(found.matched, [Span { from: 4, to: 6 }]);
    /// assert!(Query::parse("ferry kettle").find_in(&words).is_none());
    /// ```
    #[must_use]
    pub fn find_in(&self, words: &[&str]) -> Option<Found> {
        let text = Spoken::of(words);
        let spots = Spots::of(self, &text.parts)?;
        let placing = spots.tightest()?;
        let wanted: usize = self.terms.iter().map(Term::word_count).sum();
        let closeness = (wanted as f32 / placing.extent() as f32).min(1.0);
        let score = CLOSENESS * closeness + (1.0 - CLOSENESS) * placing.order();
        Some(Found {
            score: score * self.exactness(&placing, &text.parts),
            matched: text.shown(placing),
        })
    }

    /// 1, less what words found by their beginning add to it, on average.
    fn exactness(&self, placing: &Placing, parts: &[String]) -> f32 {
        let mut loss = 0.0;
        for (term, span) in self.terms.iter().zip(&placing.spans) {
            if let Term::Prefix(beginning) = term {
                let length = parts[span.from].chars().count() as f32;
                loss += 1.0 - beginning.chars().count() as f32 / length;
            }
        }
        1.0 - PREFIX_LOSS * loss / self.terms.len() as f32
    }
}

impl Term {
    /// Whether the term stands at the beginning of these words.
    fn starts(&self, parts: &[String]) -> bool {
        let Some(first) = parts.first() else {
            return false;
        };
        match self {
            Self::Word(word) => first == word,
            Self::Prefix(beginning) => first.starts_with(beginning.as_str()),
            Self::Phrase(words) => parts.starts_with(words),
        }
    }
}

/// What is spoken in a text: the parts of its words, one after another.
struct Spoken {
    parts: Vec<String>,
    /// The word each part is of.
    word: Vec<usize>,
}

impl Spoken {
    fn of(words: &[&str]) -> Self {
        let mut spoken = Self {
            parts: Vec::with_capacity(words.len()),
            word: Vec::with_capacity(words.len()),
        };
        for (n, word) in words.iter().enumerate() {
            for part in parts(word) {
                spoken.parts.push(part);
                spoken.word.push(n);
            }
        }
        spoken
    }

    /// The words that hold these parts, in order, touching spans merged.
    fn shown(&self, placing: Placing) -> Vec<Span> {
        let mut spans = placing.spans;
        spans.sort_unstable();
        let mut merged: Vec<Span> = Vec::with_capacity(spans.len());
        for span in spans {
            let (from, to) = (self.word[span.from], self.word[span.to - 1] + 1);
            match merged.last_mut() {
                Some(last) if from <= last.to => last.to = last.to.max(to),
                _ => merged.push(Span { from, to }),
            }
        }
        merged
    }
}

/// Where each term stands in a text.
struct Spots {
    terms: Vec<Spot>,
}

struct Spot {
    /// Positions at which the term begins, rising; never empty.
    starts: Vec<usize>,
    length: usize,
    /// How many equal terms come before this one, as far as the text has
    /// words for them.
    skip: usize,
}

/// One span a term, in the order of the terms.
struct Placing {
    spans: Vec<Span>,
}

impl Spots {
    fn of(query: &Query, parts: &[String]) -> Option<Self> {
        let mut terms: Vec<Spot> = Vec::with_capacity(query.terms.len());
        for (n, term) in query.terms.iter().enumerate() {
            let starts: Vec<usize> = (0..parts.len())
                .filter(|&at| term.starts(&parts[at..]))
                .collect();
            let last = starts.len().checked_sub(1)?;
            let before = query.terms[..n].iter().filter(|other| *other == term);
            terms.push(Spot {
                length: term.word_count(),
                skip: before.count().min(last),
                starts,
            });
        }
        (!terms.is_empty()).then_some(Self { terms })
    }

    fn tightest(&self) -> Option<Placing> {
        let mut lefts: Vec<usize> = self.terms.iter().flat_map(|t| t.starts.clone()).collect();
        lefts.sort_unstable();
        lefts.dedup();
        let mut best: Option<Placing> = None;
        for left in lefts {
            let Some(found) = self.from(left) else { break };
            let better = best.as_ref().is_none_or(|best| {
                found.extent() < best.extent()
                    || (found.extent() == best.extent() && found.order() > best.order())
            });
            if better {
                best = Some(found);
            }
        }
        best
    }

    /// The placing that ends soonest among those from `left` on; in the order
    /// typed where that costs nothing.
    fn from(&self, left: usize) -> Option<Placing> {
        let mut spans = Vec::with_capacity(self.terms.len());
        for term in &self.terms {
            let at = term.starts.partition_point(|&start| start < left);
            spans.push(term.span(*term.starts.get(at + term.skip)?));
        }
        let soonest = Placing { spans };
        Some(self.in_order(left, soonest.end()).unwrap_or(soonest))
    }

    fn in_order(&self, left: usize, end: usize) -> Option<Placing> {
        let mut spans = Vec::with_capacity(self.terms.len());
        let mut from = left;
        for term in &self.terms {
            let at = term.starts.partition_point(|&start| start < from);
            let span = term.span(*term.starts.get(at)?);
            if span.to > end {
                return None;
            }
            from = span.to;
            spans.push(span);
        }
        Some(Placing { spans })
    }
}

impl Spot {
    fn span(&self, from: usize) -> Span {
        Span {
            from,
            to: from + self.length,
        }
    }
}

impl Placing {
    fn end(&self) -> usize {
        self.spans.iter().map(|span| span.to).max().unwrap_or(0)
    }

    fn extent(&self) -> usize {
        let from = self.spans.iter().map(|span| span.from).min();
        self.end() - from.unwrap_or(0)
    }

    /// The share of neighbouring terms that stand in the order typed.
    fn order(&self) -> f32 {
        let pairs = self.spans.len() - 1;
        if pairs == 0 {
            return 1.0;
        }
        let risen = self.spans.windows(2).filter(|p| p[0].from < p[1].from);
        risen.count() as f32 / pairs as f32
    }
}

#[cfg(test)]
mod tests;
