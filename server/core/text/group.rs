//! Which of these hearings are of one line?

use std::collections::{BTreeMap, HashMap};

use super::find::Span;
use super::same::{Lexicon, WordId};
use crate::units::FileMs;

/// Words on either side of a match that are compared.
const CONTEXT_WORDS: usize = 8;

/// Below this many words side by side, what one hearing has more than the
/// other is held against them: too little is left to tell lines apart.
const LEAST_EVIDENCE: usize = 3;

/// Agreement from which two hearings are taken for the same line.
///
/// Chosen on simulated recognisers over six scripted lines that share the word
/// asked for: unrelated lines agree by 0.15 in the middle and by less than 0.40
/// in 99.9 % of pairs, whatever the error rate; the same line reaches 0.40 in
/// 99 % of pairs when both hear 24 % of the words wrong (the smallest model on
/// worn microphones), and in about nine of ten when the second hears half of
/// them wrong (a room microphone).
pub const AGREE: f32 = 0.4;

/// Agreement from which no better line is looked for.
const SURE: f32 = 0.8;

/// Lines a hearing is compared with, those that share most words first.
const MOST_COMPARED: usize = 16;

/// Hearings of a line that stand for it in comparisons.
const STAND_FOR: usize = 2;

/// A stretch of speech in one recording in which something was found.
#[derive(Clone, Copy, Debug)]
pub struct Hearing<'a> {
    /// What runs on one clock and hears every instant once: a recording, or
    /// the take it is a piece of, with its channel.
    pub track: &'a str,
    /// Where along the track: the piece, then the position in that file.
    pub at: (u32, FileMs),
    /// The words as shown.
    pub words: &'a [&'a str],
    /// The words that matched, in order, as positions in `words`.
    pub matched: &'a [Span],
}

/// Puts hearings of the same line together: each group holds the positions, in
/// `hearings`, of at most one hearing a track.
///
/// Two hearings are of the same line when the words around what matched agree
/// (at least [`AGREE`], with credit for mis-heard words), as far as both go:
/// one recorder's stretch of speech may begin or end sooner than the other's.
/// Short stretches must agree in their whole length. Where a track heard a line
/// twice it was said twice, and there are two groups; the hearings of other
/// tracks are dealt out among them in the order of their times, by best
/// agreement, sooner first when nothing tells them apart.
///
/// Groups come in the order of their first hearing in `hearings`, members
/// rising. The outcome depends on nothing but the arguments.
///
/// **Limits.** This looks at words, not at time: recordings share no clock
/// here. The same words said twice are told from one line heard twice only
/// when one track heard both; if one recorder heard only the first and another
/// only the second, they are put together. If one heard the first and second
/// and another the second and third, these are paired in order, wrongly.
/// When in doubt hearings stay apart, so a line heard very badly stands alone.
///
/// Costs at most `hearings` × 32 comparisons of 17 words: 0.1 s for 2,000
/// hearings of 400 lines.
#[must_use]
pub fn group(hearings: &[Hearing<'_>]) -> Vec<Vec<usize>> {
    let mut comparer = Comparer::new(hearings);
    let mut groups = Vec::new();
    for line in comparer.lines() {
        groups.extend(comparer.sayings(hearings, &line));
    }
    for members in &mut groups {
        members.sort_unstable();
    }
    groups.sort_unstable();
    groups
}

/// What surrounds a match, nearest word first on the left.
struct Around {
    left: Vec<WordId>,
    /// From the first matched word to the last.
    middle: Vec<WordId>,
    /// Words in the middle that were not asked for.
    between: usize,
    right: Vec<WordId>,
}

struct Comparer {
    lexicon: Lexicon,
    around: Vec<Around>,
}

impl Comparer {
    fn new(hearings: &[Hearing<'_>]) -> Self {
        let mut lexicon = Lexicon::default();
        let around = hearings
            .iter()
            .map(|hearing| Around::of(hearing, &mut lexicon))
            .collect();
        Self { lexicon, around }
    }

    /// Sorts the hearings by what was said, whenever it was said.
    fn lines(&mut self) -> Vec<Vec<usize>> {
        // Those that tell most come first and stand for their line.
        let mut order: Vec<usize> = (0..self.around.len()).collect();
        order.sort_by_key(|&n| (std::cmp::Reverse(self.around[n].told()), n));
        let mut lines: Vec<Vec<usize>> = Vec::new();
        let mut holders: HashMap<WordId, Vec<usize>> = HashMap::new();
        for hearing in order {
            let likely = self.likely(hearing, lines.len(), &holders);
            let mut best: Option<(f32, usize)> = None;
            for line in likely {
                let agreement = self.agreement_with(hearing, &lines[line]);
                if agreement >= AGREE && best.is_none_or(|(most, _)| agreement > most) {
                    best = Some((agreement, line));
                }
                if agreement >= SURE {
                    break;
                }
            }
            let line = best.map_or(lines.len(), |(_, line)| line);
            if line == lines.len() {
                lines.push(Vec::new());
            }
            if lines[line].len() < STAND_FOR {
                for word in self.around[hearing].distinct() {
                    let held = holders.entry(word).or_default();
                    if held.last() != Some(&line) && !held.contains(&line) {
                        held.push(line);
                    }
                }
            }
            lines[line].push(hearing);
        }
        lines
    }

    /// The lines worth comparing with: all while they are few, then those that
    /// share most words.
    fn likely(
        &self,
        hearing: usize,
        lines: usize,
        holders: &HashMap<WordId, Vec<usize>>,
    ) -> Vec<usize> {
        if lines <= MOST_COMPARED {
            return (0..lines).collect();
        }
        let mut shared = vec![0_usize; lines];
        for word in self.around[hearing].distinct() {
            for &line in holders.get(&word).into_iter().flatten() {
                shared[line] += 1;
            }
        }
        let mut likely: Vec<usize> = (0..lines).filter(|&line| shared[line] > 0).collect();
        likely.sort_by_key(|&line| (std::cmp::Reverse(shared[line]), line));
        likely.truncate(MOST_COMPARED);
        likely
    }

    fn agreement_with(&mut self, hearing: usize, line: &[usize]) -> f32 {
        let mut best: f32 = 0.0;
        for &member in line.iter().take(STAND_FOR) {
            best = best.max(self.agreement(hearing, member));
        }
        best
    }

    /// How well the words around two matches agree, 0 to 1.
    fn agreement(&mut self, a: usize, b: usize) -> f32 {
        let (a, b) = (&self.around[a], &self.around[b]);
        let between = a.between.max(b.between) as f32;
        let lexicon = &mut self.lexicon;
        let middle = between.min(lexicon.distance(&a.middle, &b.middle).closed);
        let left = lexicon.distance(&a.left, &b.left);
        let right = lexicon.distance(&a.right, &b.right);

        let longer = (a.left.len().max(b.left.len()) + a.right.len().max(b.right.len())) as f32;
        let whole = share(left.closed + right.closed + middle, longer + between);
        let common = a.left.len().min(b.left.len()) + a.right.len().min(b.right.len());
        if common < LEAST_EVIDENCE {
            return whole;
        }
        whole.max(share(
            left.open + right.open + middle,
            common as f32 + between,
        ))
    }

    /// Splits the hearings of one line by the times it was said.
    fn sayings(&mut self, hearings: &[Hearing<'_>], line: &[usize]) -> Vec<Vec<usize>> {
        let mut tracks: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        for &n in line {
            tracks.entry(hearings[n].track).or_default().push(n);
        }
        let mut tracks: Vec<Vec<usize>> = tracks.into_values().collect();
        for track in &mut tracks {
            track.sort_by_key(|&n| (hearings[n].at, n));
        }
        // The track that heard the line most often says how often it was said.
        tracks.sort_by_key(|track| {
            let first = track.iter().min().copied();
            (std::cmp::Reverse(track.len()), first)
        });
        let mut tracks = tracks.into_iter();
        let seeds = tracks.next().unwrap_or_default();
        let mut groups: Vec<Vec<usize>> = seeds.iter().map(|&n| vec![n]).collect();
        for track in tracks {
            let agreement: Vec<Vec<f32>> = track
                .iter()
                .map(|&n| seeds.iter().map(|&s| self.agreement(n, s)).collect())
                .collect();
            for (n, to) in track.iter().zip(deal_in_order(&agreement)) {
                groups[to].push(*n);
            }
        }
        groups
    }
}

/// One less the errors' share of the words compared; nothing to compare is no
/// difference.
fn share(errors: f32, words: f32) -> f32 {
    if words > 0.0 {
        1.0 - errors / words
    } else {
        1.0
    }
}

/// Gives every row a column of its own, columns rising with rows, so that the
/// sum of what they hold is greatest; the leftmost of equals. There are at
/// least as many columns as rows.
fn deal_in_order(gain: &[Vec<f32>]) -> Vec<usize> {
    let columns = gain.first().map_or(0, Vec::len);
    // best[r][c]: the first r rows on the first c columns.
    let mut best = vec![vec![f32::NEG_INFINITY; columns + 1]; gain.len() + 1];
    best[0] = vec![0.0; columns + 1];
    for (r, row) in gain.iter().enumerate() {
        for c in r..columns {
            best[r + 1][c + 1] = best[r + 1][c].max(best[r][c] + row[c]);
        }
    }
    let mut dealt = vec![0; gain.len()];
    let mut column = columns;
    for r in (0..gain.len()).rev() {
        while column > r + 1 && best[r + 1][column - 1] >= best[r + 1][column] {
            column -= 1;
        }
        column -= 1;
        dealt[r] = column;
    }
    dealt
}

impl Around {
    fn of(hearing: &Hearing<'_>, lexicon: &mut Lexicon) -> Self {
        let words = hearing.words;
        let to = hearing.matched.last().map_or(0, |s| s.to).min(words.len());
        let from = hearing.matched.first().map_or(0, |s| s.from).min(to);
        let asked: usize = hearing.matched.iter().map(|s| s.to - s.from).sum();
        let mut left = lexicon.read(&words[..from]);
        left.reverse();
        left.truncate(CONTEXT_WORDS);
        let mut right = lexicon.read(&words[to..]);
        right.truncate(CONTEXT_WORDS);
        Self {
            left,
            middle: lexicon.read(&words[from..to]),
            between: (to - from).saturating_sub(asked),
            right,
        }
    }

    /// How many words tell this line from others.
    fn told(&self) -> usize {
        self.left.len() + self.between + self.right.len()
    }

    fn distinct(&self) -> Vec<WordId> {
        let mut words = [self.left.as_slice(), &self.middle, &self.right].concat();
        words.sort_unstable();
        words.dedup();
        words
    }
}

#[cfg(test)]
mod tests;
