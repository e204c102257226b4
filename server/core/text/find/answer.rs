//! Which of the places where words of a query stand make the best answer?

use crate::text::lexicon::How;

/// Shares of a score that closeness and order make.
const CLOSENESS: f32 = 0.18;
const ORDER: f32 = 0.10;
/// Words of the text this far from each other are not of one line.
pub(super) const FAR: usize = 40;
/// What a word between costs when one of several places of a word is chosen.
const APART: f32 = 0.004;
/// So many places are tried as the middle of an answer.
const MOST_ANCHORS: usize = 48;

/// Words of the query found at tokens of the text.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Hit {
    /// Words of the query.
    pub from: usize,
    pub to: usize,
    /// Tokens of the text.
    pub at: usize,
    pub end: usize,
    /// What it is worth beside the very words.
    pub worth: f32,
    /// What that is of all that the query says.
    pub gain: f32,
    pub how: How,
}

impl Hit {
    fn clashes(&self, other: &Self) -> bool {
        self.from < other.to && other.from < self.to || self.at < other.end && other.at < self.end
    }
}

/// Hits that make an answer, in the order of the text, and what they score.
#[derive(Clone, Debug, Default)]
pub(super) struct Answer {
    pub hits: Vec<Hit>,
    pub cover: f32,
    pub score: f32,
}

impl Answer {
    /// How many words of the query it has.
    pub fn asked(&self) -> usize {
        self.hits.iter().map(|hit| hit.to - hit.from).sum()
    }
}

/// The best answer of few words: around each of the likeliest places the nearest of the
/// others, without what only stretches it.
pub(super) fn together(mut hits: Vec<Hit>) -> Answer {
    hits.sort_by(|a, b| b.gain.total_cmp(&a.gain).then(a.at.cmp(&b.at)));
    let mut best = Answer::default();
    for anchor in hits.iter().take(MOST_ANCHORS) {
        let near = hits.iter().filter(|hit| hit.at.abs_diff(anchor.at) <= FAR);
        let mut near: Vec<(f32, &Hit)> = near
            .map(|hit| {
                let ahead = hit.from as f32 - anchor.from as f32;
                let place = hit.at as f32 - anchor.at as f32;
                (APART * (place - ahead).abs(), hit)
            })
            .collect();
        // What stands for most comes first, or what is most like what was asked for:
        // either may block the other.
        for by_worth in [true, false] {
            let value = |apart: f32, hit: &Hit| match by_worth {
                true => hit.worth - 10.0 * apart,
                false => hit.gain - apart,
            };
            near.sort_by(|a, b| {
                (value(b.0, b.1).total_cmp(&value(a.0, a.1))).then(a.1.at.cmp(&b.1.at))
            });
            let mut chosen = vec![*anchor];
            for (_, hit) in &near {
                if !chosen.iter().any(|other| hit.clashes(other)) {
                    chosen.push(**hit);
                }
            }
            chosen.sort_by_key(|hit| hit.at);
            let answer = pruned(chosen);
            if answer.score > best.score + 1e-6 {
                best = answer;
            }
        }
    }
    best
}

/// The answer to a long query: the way along the text that has most of it in order.
pub(super) fn followed(mut hits: Vec<Hit>) -> Answer {
    hits.sort_by_key(|hit| (hit.at, hit.from));
    // A word that stands everywhere has hits everywhere; the heaviest say where to look.
    const MOST_FOLLOWED: usize = 1_500;
    if hits.len() > MOST_FOLLOWED {
        hits.sort_by(|a, b| b.gain.total_cmp(&a.gain));
        hits.truncate(MOST_FOLLOWED);
        hits.sort_by_key(|hit| (hit.at, hit.from));
    }
    let mut reached: Vec<(f32, Option<usize>)> = Vec::with_capacity(hits.len());
    for (n, hit) in hits.iter().enumerate() {
        let mut best = (hit.gain, None);
        for (m, before) in hits[..n].iter().enumerate() {
            if before.end <= hit.at && before.to <= hit.from && hit.at - before.end <= FAR {
                let skipped = (hit.at - before.end).abs_diff(hit.from - before.to).min(20);
                let gain = reached[m].0 + hit.gain - 0.0005 * skipped as f32;
                if gain > best.0 {
                    best = (gain, Some(m));
                }
            }
        }
        reached.push(best);
    }
    let last = (0..hits.len()).max_by(|a, b| reached[*a].0.total_cmp(&reached[*b].0));
    let mut chosen = Vec::new();
    let mut at = last;
    while let Some(n) = at {
        chosen.push(hits[n]);
        at = reached[n].1;
    }
    chosen.reverse();
    pruned(chosen)
}

/// Leaves out what is at the ends and only stretches the answer.
fn pruned(mut hits: Vec<Hit>) -> Answer {
    let mut best = scored(hits.clone());
    while hits.len() > 1 {
        let without_first = scored(hits[1..].to_vec());
        let without_last = scored(hits[..hits.len() - 1].to_vec());
        let first = without_first.score > without_last.score;
        let shorter = if first { without_first } else { without_last };
        hits.clone_from(&shorter.hits);
        if shorter.score >= best.score {
            best = shorter;
        } else if shorter.cover < 0.5 * best.cover {
            break;
        }
    }
    best
}

fn scored(hits: Vec<Hit>) -> Answer {
    let cover: f32 = hits.iter().map(|hit| hit.gain).sum();
    let (Some(first), Some(last)) = (hits.first(), hits.last()) else {
        return Answer::default();
    };
    let matched: usize = hits.iter().map(|hit| hit.end - hit.at).sum();
    let closeness = matched as f32 / (last.end - first.at).max(1) as f32;
    let risen = hits.windows(2).filter(|pair| pair[0].from < pair[1].from);
    let order = match hits.len() {
        1 => 1.0,
        count => risen.count() as f32 / (count - 1) as f32,
    };
    let share = 1.0 - CLOSENESS * (1.0 - closeness) - ORDER * (1.0 - order);
    Answer {
        score: cover * share,
        cover,
        hits,
    }
}
