//! Where in this text is what was asked for?

use serde::{Deserialize, Serialize};

use super::normal::normal;
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
        let normals: Vec<String> = words.iter().map(|word| normal(word)).collect();
        self.find_in_normal(&normals)
    }

    /// [`Query::find_in`] for words already in normal form; `""` or `"_"` for a
    /// word that has none.
    #[must_use]
    pub fn find_in_normal<S: AsRef<str>>(&self, normals: &[S]) -> Option<Found> {
        let spots = Spots::of(self, normals)?;
        let placing = spots.tightest()?;
        let wanted: usize = self.terms.iter().map(Term::word_count).sum();
        let closeness = (wanted as f32 / placing.extent() as f32).min(1.0);
        let score = CLOSENESS * closeness + (1.0 - CLOSENESS) * placing.order();
        Some(Found {
            score: score * self.exactness(&placing, normals),
            matched: placing.merged(),
        })
    }

    /// 1, less what words found by their beginning add to it, on average.
    fn exactness<S: AsRef<str>>(&self, placing: &Placing, normals: &[S]) -> f32 {
        let mut loss = 0.0;
        for (term, span) in self.terms.iter().zip(&placing.spans) {
            if let Term::Prefix(beginning) = term {
                let length = normals[span.from].as_ref().chars().count() as f32;
                loss += 1.0 - beginning.chars().count() as f32 / length;
            }
        }
        1.0 - PREFIX_LOSS * loss / self.terms.len() as f32
    }
}

impl Term {
    /// Whether the term stands at the beginning of these words.
    fn starts<S: AsRef<str>>(&self, normals: &[S]) -> bool {
        let Some(first) = normals.first().map(AsRef::as_ref) else {
            return false;
        };
        match self {
            Self::Word(word) => first == word,
            Self::Prefix(beginning) => first.starts_with(beginning.as_str()),
            Self::Phrase(words) => {
                normals.len() >= words.len()
                    && words.iter().zip(normals).all(|(a, b)| a == b.as_ref())
            }
        }
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
    fn of<S: AsRef<str>>(query: &Query, normals: &[S]) -> Option<Self> {
        let mut terms: Vec<Spot> = Vec::with_capacity(query.terms.len());
        for (n, term) in query.terms.iter().enumerate() {
            let starts: Vec<usize> = (0..normals.len())
                .filter(|&at| term.starts(&normals[at..]))
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

    fn merged(mut self) -> Vec<Span> {
        self.spans.sort_unstable();
        let mut merged: Vec<Span> = Vec::with_capacity(self.spans.len());
        for span in self.spans {
            match merged.last_mut() {
                Some(last) if span.from <= last.to => last.to = last.to.max(span.to),
                _ => merged.push(span),
            }
        }
        merged
    }
}

#[cfg(test)]
mod tests;
