//! What did the model write down, and can it be trusted?

use std::collections::HashMap;

use crate::text::normal;

/// A word as it was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct SaidWord {
    /// As it is shown.
    pub text: String,
    /// Start on a clock that all attempts at a moment share, ms.
    pub start_ms: f64,
    /// End on it, ms.
    pub end_ms: f64,
    /// How sure the model is, 0 to 1.
    pub confidence: f32,
}

/// What was written down of one hearing.
#[derive(Clone, Debug, PartialEq)]
pub struct Attempt {
    /// The recording.
    pub hearer: usize,
    /// The words in order; may be none.
    pub words: Vec<SaidWord>,
    /// The hearing's [`super::Hearing::score`].
    pub score: f32,
}

/// Mean certainty below which words are doubted. Of windows that whisper's own
/// decoder gives up and tries again, the mean log-probability is under −1, which
/// is 0.37; words are doubted sooner than thrown away.
const SURE: f32 = 0.5;

/// A word below this is a guess.
const GUESS: f32 = 0.3;

/// Share of guesses from which the words are doubted.
const GUESSES: f32 = 0.4;

/// Words a second that nobody says: the fastest readers reach 6.
const FASTEST: f32 = 7.0;

/// Words a second below which most of a stretch stayed unwritten; slow speakers
/// with pauses say 1.5.
const SLOWEST: f32 = 0.6;

/// Speech of this length has words in it, ms.
const SPOKEN_MS: i64 = 1_500;

/// Times three words may follow each other again before they are a loop.
const AGAIN: usize = 3;

/// Why words should not be trusted as they are; `None` when they may be.
/// `speech_ms` is how long was spoken.
///
/// ```
/// use sayback_core::moments::weakness;
/// assert_eq!(weakness(&[], 300), None);
/// assert!(weakness(&[], 5_000).is_some());
/// ```
#[must_use]
pub fn weakness(words: &[SaidWord], speech_ms: i64) -> Option<String> {
    if words.is_empty() {
        return (speech_ms >= SPOKEN_MS).then(|| "no words were heard".to_owned());
    }
    let count = words.len() as f32;
    let mean = words.iter().map(|w| w.confidence).sum::<f32>() / count;
    // Not `mean < SURE`: what is not a number is not sure either.
    if !matches!(mean.partial_cmp(&SURE), Some(std::cmp::Ordering::Greater)) {
        return Some(format!(
            "the words are unsure ({:.0} %)",
            100.0 * mean.max(0.0)
        ));
    }
    let guesses = words.iter().filter(|w| w.confidence < GUESS).count() as f32;
    if guesses >= GUESSES * count && words.len() > 2 {
        return Some(format!("{guesses} of {count} words are guesses"));
    }
    if let Some(again) = repeated(words) {
        return Some(format!("'{again}' comes again and again"));
    }
    let a_second = count / (speech_ms.max(1) as f32 / 1_000.0);
    if a_second > FASTEST && words.len() > 4 {
        return Some(format!(
            "more words than anybody says in {:.1} s",
            speech_ms as f32 / 1_000.0
        ));
    }
    (a_second < SLOWEST && speech_ms >= 2 * SPOKEN_MS).then(|| {
        format!(
            "few words for {:.1} s of speech",
            speech_ms as f32 / 1_000.0
        )
    })
}

/// Three words that come more often than speech has them.
fn repeated(words: &[SaidWord]) -> Option<String> {
    let words: Vec<String> = words.iter().map(|word| normal(&word.text)).collect();
    let mut counts: HashMap<&[String], usize> = HashMap::new();
    for three in words.windows(3) {
        let count = counts.entry(three).or_default();
        *count += 1;
        if *count > AGAIN {
            return Some(three.join(" "));
        }
    }
    None
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Words half a second apart, all of one certainty.
    pub(in super::super) fn said(text: &str, confidence: f32) -> Vec<SaidWord> {
        text.split_whitespace()
            .enumerate()
            .map(|(n, word)| SaidWord {
                text: word.to_owned(),
                start_ms: 500.0 * n as f64,
                end_ms: 500.0 * n as f64 + 400.0,
                confidence,
            })
            .collect()
    }

    #[test]
    fn plain_words_are_good() {
        let line = said("he rang the ferry bell every evening", 0.9);
        assert_eq!(weakness(&line, 3_500), None);
        // Somebody who only says yes.
        assert_eq!(weakness(&said("Yes.", 0.8), 400), None);
    }

    #[test]
    fn what_is_odd_is_said() {
        for (words, speech_ms, says) in [
            ("", 3_000, "no words"),
            ("he rang the bell", 20_000, "few words"),
            (
                "he rang the bell he rang the bell he rang the bell he rang the bell",
                9_000,
                "again and again",
            ),
            ("one two three four five six seven eight", 900, "more words"),
        ] {
            let weak = weakness(&said(words, 0.9), speech_ms).unwrap_or_default();
            assert!(weak.contains(says), "{words}: {weak}");
        }
        let unsure = weakness(&said("he rang the bell", 0.42), 2_000).unwrap_or_default();
        assert!(unsure.contains("42 %"), "{unsure}");
        assert!(weakness(&said("he rang the bell", f32::NAN), 2_000).is_some());
        let mut half = said("he rang the ferry bell", 0.95);
        half[0].confidence = 0.1;
        half[1].confidence = 0.1;
        assert!(weakness(&half, 2_000).is_some_and(|why| why.starts_with("2 of 5")));
    }
}
