//! When was each written word said?

use super::{HeardWord, Sentence, Step, StepKind, Take};

/// The shortest time in which a word that was not heard may have been said, ms: the
/// fastest readers say six words a second.
const ROOM_MS: i64 = 150;
/// Less than this is no time for a word in the place of another, ms.
const SHORTEST_MS: i64 = 60;

/// A written word and when it was said.
#[derive(Clone, Debug, PartialEq)]
pub struct WrittenTime {
    /// The word of the sentence.
    pub word: usize,
    /// Where it starts, on the clock of the words heard, ms.
    pub start_ms: i64,
    /// Where it ends, ms.
    pub end_ms: i64,
    /// The word heard there.
    pub heard: usize,
}

impl Take {
    /// The written words of the sentence with the times they were said at, in order.
    ///
    /// A word in whose place something else was heard has the time of that. One of which
    /// nothing was heard is there only where the words beside it leave time for it, since
    /// a recogniser misses words and a reader leaves them out.
    #[must_use]
    pub fn written_times(&self, sentence: &Sentence, heard: &[HeardWord<'_>]) -> Vec<WrittenTime> {
        let mut times: Vec<WrittenTime> = Vec::new();
        for (n, step) in self.steps.iter().enumerate() {
            let between = match step.kind {
                StepKind::Added => None,
                StepKind::LeftOut => self.room(n, heard),
                _ => said(step, heard),
            };
            let count = (step.written.to - step.written.from) as i64;
            let least = match step.kind {
                StepKind::LeftOut => ROOM_MS,
                _ => SHORTEST_MS,
            };
            if let Some((start, end, at)) = between
                && (end - start >= least * count || step.kind == StepKind::Kept)
            {
                share(step, sentence, heard, (start, end, at), &mut times);
            }
        }
        times
    }

    /// The time between the words beside step `n`.
    fn room(&self, n: usize, heard: &[HeardWord<'_>]) -> Option<(i64, i64, usize)> {
        let spoken = |step: &&Step| step.heard.from < step.heard.to;
        let before = self.steps[..n]
            .iter()
            .rev()
            .find(spoken)?
            .heard
            .to
            .checked_sub(1)?;
        let after = self.steps[n + 1..].iter().find(spoken)?.heard.from;
        Some((
            heard.get(before)?.end_ms,
            heard.get(after)?.start_ms,
            before,
        ))
    }
}

fn said(step: &Step, heard: &[HeardWord<'_>]) -> Option<(i64, i64, usize)> {
    let words = heard.get(step.heard.from..step.heard.to)?;
    Some((
        words.first()?.start_ms,
        words.last()?.end_ms,
        step.heard.from,
    ))
}

/// Shares a time out among the written words of a step: word by word where there are as
/// many, else by their letters.
fn share(
    step: &Step,
    sentence: &Sentence,
    heard: &[HeardWord<'_>],
    (start, end, at): (i64, i64, usize),
    times: &mut Vec<WrittenTime>,
) {
    let words = step.written.from..step.written.to.min(sentence.words.len());
    let as_many = step.written.to - step.written.from == step.heard.to - step.heard.from;
    let letters = |n: usize| sentence.words[n].chars().count().max(1) as i64;
    let all: i64 = words.clone().map(letters).sum();
    let mut so_far = 0;
    for (word, other) in words.zip(at..) {
        let from = start + (end - start) * so_far / all.max(1);
        so_far += letters(word);
        let to = start + (end - start) * so_far / all.max(1);
        let own = heard
            .get(other)
            .filter(|_| as_many && step.heard.from < step.heard.to);
        times.push(WrittenTime {
            word,
            start_ms: own.map_or(from, |word| word.start_ms),
            end_ms: own.map_or(to, |word| word.end_ms),
            heard: if as_many { other } else { at },
        });
    }
}
