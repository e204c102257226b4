//! Of several attempts at the words of a moment, which words?
//!
//! The attempts are laid side by side word by word, and each place is voted on
//! with the model's certainty, a missing word voting for 'nothing' (J. Fiscus, 'A
//! post-processing system to yield reduced word error rates: ROVER', ASRU 1997).

use super::words::{Attempt, SaidWord, weakness};
use crate::text::{normal, same_line, word_likeness};

/// A word that was chosen.
#[derive(Clone, Debug, PartialEq)]
pub struct FusedWord {
    /// The word.
    pub word: SaidWord,
    /// Whose it is: position in the attempts.
    pub attempt: usize,
}

/// The words of a moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Fused {
    /// In order of time.
    pub words: Vec<FusedWord>,
    /// The attempt whose text is the best as a whole, which the others voted on:
    /// position in the attempts.
    pub from: usize,
    /// Why they should not be trusted as they are.
    pub doubt: Option<String>,
    /// Why these.
    pub why: String,
}

/// What one attempt that has no word votes with for there being none. A word that
/// only one of two has is kept when it is surer than this.
const NOTHING: f32 = 0.4;

/// What the best attempt's word has ahead of others.
const AHEAD: f32 = 0.1;

/// Attempts that agree by less are not of the same words: one is invented, or of
/// somebody else, and can't vote.
const RELATED: f32 = 0.4;

/// What leaving out a word costs in laying side by side; putting an unlike one in
/// its place costs 1.
const GAP: f32 = 0.6;

/// Words further apart than this are not the same, ms: a model's times are off by a
/// tenth of that.
const APART_MS: f64 = 1_500.0;

/// A word of another attempt that overlaps one that is there by more than this share
/// of its length can't be put in.
const OVERLAP: f64 = 0.5;

/// The best words that the attempts at one moment have; `None` of none. `speech_ms`
/// is how long was spoken. The text that is better on the whole is the base; the
/// others vote on its words as far as they are of the same line. Numbers that are
/// not finite count as unsure.
///
/// ```
/// use sayback_core::moments::{Attempt, SaidWord, fuse};
/// let said = |text: &str, start_ms, confidence| SaidWord {
///     text: text.into(), start_ms, end_ms: start_ms + 300.0, confidence,
/// };
/// let attempts = [
///     Attempt { hearer: 4, score: 20.0, words: vec![
///         said("ring", 0.0, 0.9), said("the", 400.0, 0.9), said("fairy", 800.0, 0.4), said("bell", 1200.0, 0.9)] },
///     Attempt { hearer: 2, score: 9.0, words: vec![
///         said("ring", 0.0, 0.7), said("the", 400.0, 0.7), said("ferry", 800.0, 0.8), said("bell", 1200.0, 0.7)] },
/// ];
/// let fused = fuse(&attempts, 1_500).unwrap();
/// let text: Vec<&str> = fused.words.iter().map(|w| w.word.text.as_str()).collect();
/// assert_eq!((text.join(" ").as_str(), fused.from), ("ring the ferry bell", 0));
/// ```
#[must_use]
pub fn fuse(attempts: &[Attempt], speech_ms: i64) -> Option<Fused> {
    let from = (0..attempts.len()).max_by(|&x, &y| {
        let worth = |n: usize| worth(&attempts[n], speech_ms);
        worth(x).total_cmp(&worth(y)).then(y.cmp(&x))
    })?;
    let base = &attempts[from];
    let mut voters = vec![from];
    voters.extend((0..attempts.len()).filter(|&n| n != from && related(base, &attempts[n])));
    let words = if voters.len() > 1 {
        vote(attempts, &voters)
    } else {
        own(base, from)
    };
    let taken = words.iter().filter(|word| word.attempt != from).count();
    let plain: Vec<SaidWord> = words.iter().map(|word| word.word.clone()).collect();
    let doubt = weakness(&plain, speech_ms).or_else(|| {
        let others = attempts.iter().filter(|a| !a.words.is_empty()).count();
        let sure = mean(base) >= 0.7;
        (others > 1 && voters.len() == 1 && !sure)
            .then(|| "another recorder's words are quite different".to_owned())
    });
    let why = match (attempts.len(), voters.len()) {
        (1, _) => "the first choice".to_owned(),
        (_, 1) => format!("the surest words ({:.0} %)", 100.0 * mean(base)),
        (_, count) if taken > 0 => {
            format!("the surest of {count} attempts word by word, {taken} from others")
        }
        (_, count) => format!("the surest of {count} attempts"),
    };
    Some(Fused {
        words,
        from,
        doubt,
        why,
    })
}

/// How good the text of an attempt is as a whole, about 0 to 1.
fn worth(attempt: &Attempt, speech_ms: i64) -> f32 {
    let weak = if weakness(&attempt.words, speech_ms).is_some() {
        0.3
    } else {
        0.0
    };
    // Where the words are as sure, the better hearing: 10 dB weigh like 2 %.
    let hearing = if attempt.score.is_finite() {
        attempt.score.clamp(-50.0, 50.0) / 500.0
    } else {
        -0.1
    };
    mean(attempt) - weak + hearing
}

fn mean(attempt: &Attempt) -> f32 {
    let sum: f32 = attempt.words.iter().map(sure).sum();
    sum / attempt.words.len().max(1) as f32
}

fn sure(word: &SaidWord) -> f32 {
    if word.confidence.is_finite() {
        word.confidence.clamp(0.0, 1.0)
    } else {
        0.0
    }
}

fn related(a: &Attempt, b: &Attempt) -> bool {
    let texts = |attempt: &Attempt| -> Vec<String> {
        attempt.words.iter().map(|word| word.text.clone()).collect()
    };
    let (a, b) = (texts(a), texts(b));
    let (a, b): (Vec<&str>, Vec<&str>) = (
        a.iter().map(String::as_str).collect(),
        b.iter().map(String::as_str).collect(),
    );
    same_line(&a, &b) >= RELATED
}

fn own(attempt: &Attempt, from: usize) -> Vec<FusedWord> {
    let words = attempt.words.iter().cloned();
    words
        .map(|word| FusedWord {
            word,
            attempt: from,
        })
        .collect()
}

/// Words at one place: of each voter its own, or none.
type Place<'a> = Vec<Option<&'a SaidWord>>;

fn vote(attempts: &[Attempt], voters: &[usize]) -> Vec<FusedWord> {
    let mut places: Vec<Place> = Vec::new();
    for (turn, &voter) in voters.iter().enumerate() {
        places = beside(places, &attempts[voter].words, turn);
    }
    let elected: Vec<Option<(usize, &SaidWord)>> = places.iter().map(elected).collect();
    // The base's own words have their time; of the others each must have its own
    // beside all that are there.
    let own = places.iter().zip(&elected);
    let mut there: Vec<Option<(usize, &SaidWord)>> = own
        .map(|(place, elected)| elected.and(place[0]).map(|word| (0, word)))
        .collect();
    for (n, chosen) in elected.iter().enumerate() {
        let Some((turn, word)) = chosen.filter(|(turn, _)| *turn > 0) else {
            continue;
        };
        let mut others = there.iter().enumerate().filter(|(place, _)| *place != n);
        if others.all(|(_, other)| other.is_none_or(|(_, other)| apart(other, word))) {
            there[n] = Some((turn, word));
        }
    }
    let words = there.into_iter().flatten().map(|(turn, word)| FusedWord {
        word: word.clone(),
        attempt: voters[turn],
    });
    let mut words: Vec<FusedWord> = words.collect();
    // Times of two recorders need not rise everywhere.
    words.sort_by(|x, y| x.word.start_ms.total_cmp(&y.word.start_ms));
    words
}

fn apart(there: &SaidWord, word: &SaidWord) -> bool {
    let common = there.end_ms.min(word.end_ms) - there.start_ms.max(word.start_ms);
    common <= OVERLAP * (word.end_ms - word.start_ms)
}

/// The word that wins a place and whose it is, unless nothing wins.
fn elected<'a>(place: &Place<'a>) -> Option<(usize, &'a SaidWord)> {
    let mut parties: Vec<(String, f32, usize, &SaidWord)> = Vec::new();
    let mut nothing = 0.0;
    for (turn, entry) in place.iter().enumerate() {
        let ahead = if turn == 0 { AHEAD } else { 0.0 };
        let Some(word) = entry else {
            nothing += NOTHING + ahead;
            continue;
        };
        let (text, votes) = (normal(&word.text), sure(word) + ahead);
        match parties.iter_mut().find(|party| party.0 == text) {
            Some(party) => party.1 += votes,
            None => parties.push((text, votes, turn, word)),
        }
    }
    // Of equals the first, which is the base's.
    let best = parties
        .into_iter()
        .reduce(|best, next| if next.1 > best.1 { next } else { best })?;
    (best.1 > nothing).then_some((best.2, best.3))
}

/// Lays the words of one more voter, the `turn`-th, beside what is there.
fn beside<'a>(places: Vec<Place<'a>>, words: &'a [SaidWord], turn: usize) -> Vec<Place<'a>> {
    let (rows, columns) = (places.len(), words.len());
    // cost[i][j]: the first i places and j words.
    let mut cost = vec![vec![0.0_f32; columns + 1]; rows + 1];
    for (i, row) in cost.iter_mut().enumerate() {
        row[0] = GAP * i as f32;
    }
    cost[0] = (0..=columns).map(|j| GAP * j as f32).collect();
    for i in 1..=rows {
        for j in 1..=columns {
            cost[i][j] = (cost[i - 1][j - 1] + exchange(&places[i - 1], &words[j - 1]))
                .min(cost[i - 1][j] + GAP)
                .min(cost[i][j - 1] + GAP);
        }
    }
    let (mut i, mut j) = (rows, columns);
    let mut laid: Vec<Place> = Vec::with_capacity(rows.max(columns));
    let mut places = places;
    while i > 0 || j > 0 {
        let both = i > 0
            && j > 0
            && cost[i][j] == cost[i - 1][j - 1] + exchange(&places[i - 1], &words[j - 1]);
        if both {
            i -= 1;
            j -= 1;
            let mut place = std::mem::take(&mut places[i]);
            place.push(Some(&words[j]));
            laid.push(place);
        } else if i > 0 && (j == 0 || cost[i][j] == cost[i - 1][j] + GAP) {
            i -= 1;
            let mut place = std::mem::take(&mut places[i]);
            place.push(None);
            laid.push(place);
        } else {
            j -= 1;
            let mut place: Place = vec![None; turn];
            place.push(Some(&words[j]));
            laid.push(place);
        }
    }
    laid.reverse();
    laid
}

/// What it costs to say a word stands at a place: 0 the same, 1 unlike, more than
/// leaving both out when it was said at another time.
fn exchange(place: &Place, word: &SaidWord) -> f32 {
    place
        .iter()
        .flatten()
        .map(|there| {
            if (there.start_ms - word.start_ms).abs() > APART_MS {
                return 2.0;
            }
            1.0 - word_likeness(&there.text, &word.text)
        })
        .fold(2.0, f32::min)
}

#[cfg(test)]
#[path = "fuse_tests.rs"]
mod tests;
