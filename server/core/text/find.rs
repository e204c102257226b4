//! Where in these words is what was asked for, and how well do they answer it?

use std::ops::Range;

use serde::{Deserialize, Serialize};

use self::answer::{Answer, FAR, Hit, followed, together};
pub use self::listen::Listener;
use super::lexicon::How;
use super::line::Line;
use super::ways::{Wanted, WantedWord};

/// A run of words of a text, by position, `to` exclusive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Span {
    /// The first word.
    pub from: usize,
    /// The word after the last.
    pub to: usize,
}

/// Where and how well words answer a query.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The words that matched, in order, touching spans merged; never empty.
    pub matched: Vec<Span>,
    /// 0 to 1: 1 when the words stand as they were asked for.
    pub score: f32,
    /// How they answer it.
    pub how: How,
    /// Whether that is enough to be told as found. One word that only sounds like the one
    /// asked for is not, unless that was never written at all, as names may be.
    pub sure: bool,
}

/// What scores less is a guess.
const CONFIDENT: f32 = 0.75;
/// Answers in which no word stands as it was asked for must score so much.
const CONFIDENT_UNLIKE: f32 = 0.78;
/// A plural, or what another hearing has, is worth at least this.
const SAME_WORD: f32 = 0.94;
/// Forms of a word are worth this: another word was said.
const A_FORM: f32 = 0.925;
/// A word that was never written may be one that is worth so much.
const NEVER_WRITTEN: f32 = 0.75;

/// What scores less is not worth showing.
const LEAST: f32 = 0.25;
/// What was heard otherwise in the place of a word is worth so much.
const OTHERWISE: f32 = 0.95;
/// From so many words on a query is followed along the text, not put together.
const LONG: usize = 24;
/// What only sounds alike in part of the words counts as such from this share on.
const SHARE_ALIKE: f32 = 0.1;
/// A text shorter than what was asked for answers by its own length if it has so many
/// words of it.
const LEAST_OWN: usize = 4;

impl Wanted {
    /// Looks for what was asked for in the words of a moment, `center` of those in the
    /// line; its neighbours may have some of it. `None` if it has nothing worth showing,
    /// or if one of the neighbours has more of the answer.
    ///
    /// The score is the share of what the query says that stands there (rare words say
    /// more; forms, spellings and sounds are worth less than the very words), less what
    /// words in between and words out of order take.
    #[must_use]
    pub fn find_in(&self, line: &Line<'_>, center: usize) -> Option<Found> {
        self.look(line, center, false)
    }

    /// The same, listening also for words that nothing is written like: one that was
    /// written as several others. It costs some ten times as much.
    #[must_use]
    pub fn listen_in(&self, line: &Line<'_>, center: usize) -> Option<Found> {
        self.look(line, center, true)
    }

    fn look(&self, line: &Line<'_>, center: usize, listening: bool) -> Option<Found> {
        let total: f32 = self.words.iter().map(|word| word.weight).sum();
        if total <= 0.0 {
            return None;
        }
        let mut hits = self.hits(line, total);
        if listening {
            self.listen(line, total, &mut hits);
        }
        if hits.is_empty() {
            return None;
        }
        let mut best = if self.words.len() > LONG {
            followed(hits)
        } else {
            together(hits)
        };
        if self.literal && best.asked() < self.words.len() {
            return None;
        }
        let own = own_share(line, center, &best, self.words.len());
        best.score = best.score.max(own);
        if best.score < LEAST || mostly(line, &best) != Some(center) {
            return None;
        }
        let how = manner(&best, self.words.len());
        Some(Found {
            matched: shown(line, &best.hits),
            score: best.score.min(1.0),
            how,
            sure: how == How::Exact || self.is_sure(&best),
        })
    }

    /// Whether an answer rests on enough.
    fn is_sure(&self, answer: &Answer) -> bool {
        let content = |from: usize, to: usize| {
            let own = self.words.get(from..to).unwrap_or_default();
            own.iter().filter(|word| word.says_something()).count()
        };
        let (mut as_asked, mut unlike) = (0, 0);
        for hit in &answer.hits {
            let count = content(hit.from, hit.to);
            if hit.how == How::Exact || hit.worth >= SAME_WORD {
                as_asked += count;
            } else {
                unlike += count;
            }
        }
        match (as_asked, unlike) {
            (0, 1) => answer.hits.iter().any(|hit| {
                let own = self.words.get(hit.from..hit.to).unwrap_or_default();
                let names = own.iter().all(WantedWord::is_an_unwritten_name);
                names && hit.worth < A_FORM && answer.score >= NEVER_WRITTEN
            }),
            (0, _) => answer.score >= CONFIDENT_UNLIKE,
            (1, 0) => answer.score >= CONFIDENT && content(0, self.words.len()) == 1,
            _ => answer.score >= CONFIDENT,
        }
    }

    fn hits(&self, line: &Line<'_>, total: f32) -> Vec<Hit> {
        let mut hits = Vec::new();
        let written = line.tokens.iter().zip(0..).map(|(t, at)| (*t, at, 1.0));
        let other = line.other.iter().map(|(t, at)| (*t, *at, OTHERWISE));
        for (token, at, share) in written.chain(other) {
            for &(group, way) in self.starts.get(token).into_iter().flatten() {
                let group = &self.groups[group];
                let way = &group.ways[way];
                let rest = line.tokens.get(at + 1..).unwrap_or_default();
                let follows = way.words[1..]
                    .iter()
                    .eq(rest.iter().take(way.words.len() - 1));
                if !follows {
                    continue;
                }
                let worth = way.worth * share;
                hits.push(Hit {
                    worth,
                    from: group.from,
                    to: group.to,
                    at,
                    end: at + way.words.len(),
                    gain: worth * group.weight(self) / total,
                    how: if share < 1.0 {
                        way.how.max(How::Close)
                    } else {
                        way.how
                    },
                });
            }
        }
        hits
    }
}

/// What a moment scores by its own length, all of which may be in a longer query.
fn own_share(line: &Line<'_>, center: usize, answer: &Answer, asked: usize) -> f32 {
    let words = words_of(line, center);
    let own = line.word.iter().filter(|word| words.contains(word)).count();
    let hits = answer.hits.iter();
    let inside = hits.filter(|hit| line.word.get(hit.at).is_some_and(|w| words.contains(w)));
    let matched: usize = inside.map(|hit| hit.end - hit.at).sum();
    if matched < LEAST_OWN || 2 * asked < 3 * own {
        return 0.0;
    }
    let order = if answer.cover > 0.0 {
        answer.score / answer.cover
    } else {
        0.0
    };
    0.97 * order * matched as f32 / own.max(1) as f32
}

fn words_of(line: &Line<'_>, moment: usize) -> Range<usize> {
    let before = moment.checked_sub(1).and_then(|n| line.ends.get(n));
    before.copied().unwrap_or(0)..line.ends.get(moment).copied().unwrap_or(0)
}

/// The moment that has most of the answer.
fn mostly(line: &Line<'_>, answer: &Answer) -> Option<usize> {
    let mut gains = vec![0.0_f32; line.ends.len()];
    for hit in &answer.hits {
        let moment = line.word.get(hit.at).map(|word| line.place(*word).0);
        if let Some(gain) = moment.and_then(|n| gains.get_mut(n)) {
            *gain += hit.gain;
        }
    }
    let mut best: Option<usize> = None;
    for (n, gain) in gains.iter().enumerate() {
        if *gain > 0.0 && best.is_none_or(|best| *gain > gains[best]) {
            best = Some(n);
        }
    }
    best
}

fn manner(answer: &Answer, asked: usize) -> How {
    let hits = &answer.hits;
    let exact = hits.iter().all(|hit| hit.how == How::Exact);
    let touching = hits
        .windows(2)
        .all(|pair| pair[0].end == pair[1].at && pair[0].to == pair[1].from);
    let whole = answer.asked() == asked;
    let alike = hits.iter().filter(|hit| hit.how == How::SoundsAlike);
    let alike: f32 = alike.map(|hit| hit.gain).sum();
    if exact && touching && whole {
        How::Exact
    } else if alike > SHARE_ALIKE * answer.cover {
        How::SoundsAlike
    } else {
        How::Close
    }
}

/// The words that hold these tokens, in order, touching spans merged.
fn shown(line: &Line<'_>, hits: &[Hit]) -> Vec<Span> {
    let mut merged: Vec<Span> = Vec::with_capacity(hits.len());
    for hit in hits {
        let (Some(from), Some(to)) = (line.word.get(hit.at), line.word.get(hit.end - 1)) else {
            continue;
        };
        let (from, to) = (*from, to + 1);
        match merged.last_mut() {
            Some(last) if from <= last.to => last.to = last.to.max(to),
            _ => merged.push(Span { from, to }),
        }
    }
    merged
}

mod answer;
mod listen;
#[cfg(test)]
mod tests;
