//! Do sentences end where the speaker paused?
//!
//! A model's times are off by a tenth of a second or more, and where two spans
//! share a window that puts the last word of a sentence behind the pause, or the
//! first words of the next before it. The model's own full stops say better where
//! a pause belongs.

use super::recogniser::HeardWord;

/// A pause between two spans in a window, ms of the window.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pause {
    /// Where one span's sound gives way to the next's.
    pub at: i64,
    /// Silence kept before that.
    pub before: i64,
    /// And after.
    pub after: i64,
}

/// Words that may stand on the wrong side.
const REACH: usize = 3;
/// A shorter pause need not be the end of a sentence, ms.
const LEAST_MS: i64 = 250;
/// What a moved word has at least, ms.
const WORD_MS: i64 = 80;

/// Moves words across pauses, at most [`REACH`] at each, so that a sentence that
/// ends close to a pause ends at it. No span is left without words by it.
pub(super) fn settle(words: &mut [HeardWord], pauses: &[Pause]) {
    for (n, pause) in pauses.iter().enumerate() {
        if pause.before + pause.after < LEAST_MS {
            continue;
        }
        let side = |at: i64| words.partition_point(|word| middle(word) < at);
        let first = side(pause.at);
        // Words of the spans on either side.
        let from = n.checked_sub(1).map_or(0, |n| side(pauses[n].at));
        let to = pauses.get(n + 1).map_or(words.len(), |next| side(next.at));
        if first <= from || first >= to || ends(&words[first - 1]) {
            continue;
        }
        let better = (1..=REACH).find_map(|far| {
            let later = Some(first + far).filter(|at| *at < to);
            let sooner = first.checked_sub(far).filter(|at| *at > from);
            [later, sooner]
                .into_iter()
                .flatten()
                .find(|&at| ends(&words[at - 1]))
        });
        match better {
            Some(at) if at > first => {
                let end = pause.at - pause.before;
                let start = words[first - 1].start_ms;
                spread(&mut words[first - 1..at], start.min(end), end, false);
            }
            Some(at) => {
                let start = pause.at + pause.after;
                let end = words[first].end_ms.max(start);
                spread(&mut words[at..=first], start, end, true);
            }
            None => {}
        }
    }
}

fn middle(word: &HeardWord) -> i64 {
    (word.start_ms + word.end_ms) / 2
}

/// Whether a sentence ends with this word.
fn ends(word: &HeardWord) -> bool {
    const TITLES: [&str; 6] = ["mr.", "mrs.", "ms.", "dr.", "st.", "rev."];
    let text = word
        .text
        .trim()
        .trim_end_matches(['"', '\'', '”', '’', ')']);
    text.ends_with(['.', '?', '!', '…']) && !TITLES.contains(&text.to_lowercase().as_str())
}

/// Shares out a time evenly; one that is too short is lengthened at its open end.
fn spread(words: &mut [HeardWord], start: i64, end: i64, open_after: bool) {
    let count = words.len() as i64;
    let length = (end - start).max(count * WORD_MS);
    let from = if open_after { start } else { end - length };
    for (n, word) in (0_i64..).zip(words.iter_mut()) {
        word.start_ms = from + length * n / count;
        word.end_ms = from + length * (n + 1) / count;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PAUSE: Pause = Pause {
        at: 2_000,
        before: 200,
        after: 200,
    };

    fn said(text: &str, step_ms: i64) -> Vec<HeardWord> {
        (0..)
            .zip(text.split_whitespace())
            .map(|(n, word)| HeardWord {
                text: word.to_owned(),
                start_ms: n * step_ms,
                end_ms: n * step_ms + step_ms - 20,
                confidence: 0.9,
            })
            .collect()
    }

    /// The words before the pause.
    fn before(words: &[HeardWord]) -> String {
        let texts: Vec<&str> = words
            .iter()
            .filter(|word| middle(word) < PAUSE.at)
            .map(|word| word.text.as_str())
            .collect();
        texts.join(" ")
    }

    #[test]
    fn a_sentence_ends_at_the_pause() {
        for (text, expected) in [
            // One word too few before the pause at the fifth word, and two too many.
            (
                "you and nobody was ringing it. You taught me",
                "you and nobody was ringing it.",
            ),
            ("both of you. Hello everyone I am Jory", "both of you."),
            // As it should be, or nothing to go by.
            (
                "it was nobody ringing it. You taught me",
                "it was nobody ringing it.",
            ),
            ("this is what we all saw of it then", "this is what we all"),
            (
                "so then there came Mr. Quill with a rope",
                "so then there came Mr.",
            ),
        ] {
            let mut words = said(text, 400);
            settle(&mut words, &[PAUSE]);
            assert_eq!(before(&words), expected);
            assert!(
                words
                    .windows(2)
                    .all(|two| two[0].start_ms <= two[1].start_ms)
            );
        }
    }

    #[test]
    fn the_moved_words_lie_next_to_the_pause() {
        let mut words = said("both of you. Hello everyone I am Jory", 400);
        settle(&mut words, &[PAUSE]);
        assert_eq!(words[3].start_ms, 2_200);
        let mut words = said("you and nobody was ringing it. You taught me", 400);
        settle(&mut words, &[PAUSE]);
        assert_eq!(words[5].end_ms, 1_800);
    }

    #[test]
    fn a_breath_and_a_lone_word_change_nothing() {
        let mut words = said("you and nobody was ringing it. You taught me", 400);
        let short = Pause {
            before: 50,
            after: 50,
            ..PAUSE
        };
        let as_it_was = words.clone();
        settle(&mut words, &[short]);
        assert_eq!(words, as_it_was);
        // The second span has one word only.
        let mut words = said("you and nobody was ringing it.", 400);
        let as_it_was = words.clone();
        settle(&mut words, &[PAUSE]);
        assert_eq!(words, as_it_was);
    }

    proptest! {
        #[test]
        fn every_word_stays_and_has_a_length(
            ends in prop::collection::vec(any::<bool>(), 0..20),
            step in 50..900_i64,
            pauses in prop::collection::vec((300..4_000_i64, 0..300_i64), 0..5),
        ) {
            let text: Vec<&str> = ends.iter().map(|end| if *end { "stop." } else { "on" }).collect();
            let mut words = said(&text.join(" "), step);
            let mut at = 0;
            let pauses: Vec<Pause> = pauses
                .into_iter()
                .map(|(gap, kept)| {
                    at += gap;
                    Pause { at, before: kept.min(gap / 2), after: kept.min(100) }
                })
                .collect();
            let count = words.len();
            settle(&mut words, &pauses);
            prop_assert_eq!(words.len(), count);
            prop_assert!(words.iter().all(|word| word.start_ms < word.end_ms));
        }
    }
}
