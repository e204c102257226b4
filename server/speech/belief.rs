//! How far can what the model wrote be believed?
//!
//! A model of this family writes something of whatever it hears, music and applause
//! too, and is often sure of it. So a phrase that looks like that is heard once more
//! by itself, cut to its words: what somebody said comes out again, what was invented
//! does not. Words that did not come again lose most of their confidence, so that
//! what consists of them is doubted; where the model also says that nobody speaks,
//! they are none. Nothing here knows the window before, so a window's words do not
//! depend on when it is heard. Pure.

use std::ops::Range;

use super::words::{Phrase, Spelled, plain};

/// The model's probability that nobody speaks from which that is believed without
/// looking at words. Noise, hum and wind have 0.91 to 0.97, real speech in music as
/// loud 0.31 at most, in far meetings 0.38.
pub(super) const SILENT: f32 = 0.9;
/// From here on words must come again to be any (openai/whisper, transcribe.py,
/// `no_speech_threshold`).
const NOBODY: f32 = 0.6;
/// From here on they are suspected.
const QUIET: f32 = 0.2;
/// Letters a second below which a phrase is suspected: 'Thank you.' of 24 s of a
/// murmur. The slowest of real phrases had 2.
const SLOW: f32 = 1.5;
/// Mean of the logarithms of a phrase's probabilities below which it is suspected; a
/// little before the decoder itself gives up (−1, transcribe.py, `logprob_threshold`).
const UNSURE: f32 = -0.9;
/// A phrase of so many words is suspected when it was said just before.
const LINE: usize = 3;
/// Parts of lines that such models have from captions and write over music (common
/// practice, no source). Somebody may say them.
const CAPTIONS: [&str; 5] = [
    "for watching",
    "subtitles by",
    "captions by",
    "transcribed by",
    "subscribe",
];
/// Longest stretch that is heard again at once, in ms.
const LONGEST_MS: i64 = 28_000;
/// Of the words of both hearings, the share they must have in common to be the same.
const SAME: f32 = 0.5;
/// What is left of a word's confidence if the other hearing has the phrase but not
/// the word, and if it has nothing of it.
const NOT_AGAIN: f32 = 0.7;
const NOTHING_AGAIN: f32 = 0.3;

/// A sound whose likeliest language is less likely than this is in none, and its words
/// are no surer than the language. Passes of speech have 0.9 and more, a word all alone 0.5
/// and more, music in which words were written 0.1 to 0.7.
const A_LANGUAGE: f32 = 0.7;

/// What a second hearing of a stretch found.
#[derive(Clone, Debug, Default)]
pub(super) struct Again {
    /// Its words, plain.
    pub words: Vec<String>,
    /// How likely it is that nobody speaks there.
    pub no_speech: Option<f32>,
}

/// Runs of phrases that should be heard again.
pub(super) fn suspects(phrases: &[Phrase]) -> Vec<Range<usize>> {
    let texts: Vec<String> = phrases.iter().map(Phrase::plain).collect();
    let suspect = |n: usize| {
        let (phrase, text) = (&phrases[n], &texts[n]);
        let ms = (phrase.to_ms - phrase.from_ms).max(1) as f32;
        let letters = text.chars().filter(|c| c.is_alphanumeric()).count() as f32;
        let logs = phrase.tokens.iter().map(|t| t.probability.max(1e-6).ln());
        let again = text.split(' ').count() >= LINE && n > 0 && texts[n - 1] == *text;
        letters > 0.0
            && (phrase.no_speech.is_some_and(|told| told >= QUIET)
                || 1_000.0 * letters / ms < SLOW
                || phrase.to_ms <= phrase.from_ms
                || logs.sum::<f32>() < UNSURE * phrase.tokens.len() as f32
                || again
                || CAPTIONS.iter().any(|part| text.contains(part)))
    };
    let mut runs: Vec<Range<usize>> = Vec::new();
    for n in (0..phrases.len()).filter(|&n| suspect(n)) {
        match runs.last_mut() {
            Some(run)
                if run.end == n && phrases[n].to_ms - phrases[run.start].from_ms <= LONGEST_MS =>
            {
                run.end = n + 1;
            }
            _ => runs.push(n..n + 1),
        }
    }
    runs
}

/// Tells the log what a phrase was judged by: `RUST_LOG=sayback::speech::belief=trace`.
pub(super) fn tell(phrase: &Phrase, language: &str, again: Option<&Again>) {
    let logs = phrase.tokens.iter().map(|t| t.probability.max(1e-6).ln());
    let text = phrase.plain();
    tracing::trace!(
        target: "sayback::speech::belief",
        from_ms = phrase.from_ms,
        to_ms = phrase.to_ms,
        tokens = phrase.tokens.len(),
        log_probability = logs.sum::<f32>() / phrase.tokens.len().max(1) as f32,
        no_speech = phrase.no_speech,
        certainty = phrase.language,
        language,
        again = again.map(|again| again.words.join(" ")),
        again_no_speech = again.and_then(|again| again.no_speech),
        "'{text}'"
    );
}

/// Takes confidence from words of a pass in no language: what the model wrote is likely
/// only given one. Squared, so that no word of such a pass stays as sure as a fact has to
/// be (0.5). Nothing is taken where it knows only one.
pub(super) fn weigh(words: &mut [Spelled], language: Option<f32>) {
    let Some(sure) = language.filter(|&sure| sure < A_LANGUAGE) else {
        return;
    };
    for word in words {
        word.confidence *= sure * sure;
    }
}

/// What is left of the words of a stretch after it was heard again. `first` is what
/// the first hearing said of nobody speaking.
pub(super) fn settle(words: &mut Vec<Spelled>, first: Option<f32>, again: &Again) {
    let texts: Vec<String> = words.iter().map(|word| plain(&word.text)).collect();
    let common = common(&texts, &again.words);
    let count = common.iter().filter(|&&came| came).count();
    let share = 2.0 * count as f32 / (texts.len() + again.words.len()).max(1) as f32;
    if share < SAME {
        let nobody = |told: Option<f32>| told.is_some_and(|told| told >= NOBODY);
        // Of a short sound the model says so of real speech, too, but writes it.
        if nobody(first) || (again.words.is_empty() && nobody(again.no_speech)) {
            words.clear();
        }
        for word in words {
            word.confidence *= NOTHING_AGAIN;
        }
        return;
    }
    for (word, came) in words.iter_mut().zip(common) {
        if !came {
            word.confidence *= NOT_AGAIN;
        }
    }
}

/// Which of `a` are in the longest run of words, in order, that both have.
fn common(a: &[String], b: &[String]) -> Vec<bool> {
    let mut best = vec![vec![0_u32; b.len() + 1]; a.len() + 1];
    for i in (0..a.len()).rev() {
        for j in (0..b.len()).rev() {
            best[i][j] = if a[i] == b[j] {
                best[i + 1][j + 1] + 1
            } else {
                best[i + 1][j].max(best[i][j + 1])
            };
        }
    }
    let (mut i, mut j) = (0, 0);
    let mut both = vec![false; a.len()];
    while i < a.len() && j < b.len() {
        if a[i] == b[j] {
            both[i] = true;
            (i, j) = (i + 1, j + 1);
        } else if best[i + 1][j] >= best[i][j + 1] {
            i += 1;
        } else {
            j += 1;
        }
    }
    both
}

#[cfg(test)]
mod tests {
    use super::super::words::Token;
    use super::*;

    fn phrase(text: &str, seconds: Range<i64>, no_speech: f32, probability: f32) -> Phrase {
        let token = |word: &str| Token {
            bytes: format!(" {word}").into_bytes(),
            probability,
            from_ms: None,
            to_ms: None,
        };
        Phrase {
            from_ms: 1_000 * seconds.start,
            to_ms: 1_000 * seconds.end,
            tokens: text.split(' ').map(token).collect(),
            no_speech: Some(no_speech),
            language: None,
        }
    }

    fn said(text: &str) -> Vec<Spelled> {
        let word = |word: &str| Spelled {
            text: word.into(),
            confidence: 0.9,
            from_ms: None,
            to_ms: None,
            rests: false,
            guessed: false,
        };
        text.split(' ').map(word).collect()
    }

    fn again(text: &str, no_speech: f32) -> Again {
        Again {
            words: plain(text).split(' ').map(str::to_owned).collect(),
            no_speech: Some(no_speech),
        }
    }

    #[test]
    fn plain_speech_is_heard_once() {
        let line = "He rang the ferry bell";
        assert!(suspects(&[phrase(line, 0..3, 0.01, 0.9)]).is_empty());
        // A short word twice is speech.
        let twice = [
            phrase("Yes.", 0..1, 0.0, 0.9),
            phrase("Yes.", 1..2, 0.0, 0.9),
        ];
        assert!(suspects(&twice).is_empty());
        // A sign for music is no word.
        assert!(suspects(&[phrase("♪♪", 0..20, 0.7, 0.9)]).is_empty());
    }

    #[test]
    fn what_is_odd_is_heard_again_in_one_go() {
        let line = "He rang the ferry bell";
        let phrases = [
            phrase(line, 0..3, 0.01, 0.9),
            phrase(line, 3..6, 0.01, 0.9),
            phrase("Thank you.", 6..29, 0.01, 0.9),
            phrase("Thanks for watching!", 29..30, 0.01, 0.9),
            phrase("It was spring", 29..30, 0.01, 0.9),
            phrase("and then", 30..31, 0.3, 0.9),
            phrase("the kettle boiled", 31..32, 0.3, 0.3),
            phrase("the kettle sang", 32..33, 0.01, 0.3),
        ];
        assert_eq!(suspects(&phrases), [1..4, 5..8]);
        // Never more than the model hears at once.
        let long = [
            phrase("so", 0..20, 0.3, 0.9),
            phrase("it", 20..40, 0.3, 0.9),
        ];
        assert_eq!(suspects(&long), [0..1, 1..2]);
    }

    #[test]
    fn words_are_no_surer_than_that_there_is_a_language() {
        let left = |language| {
            let mut words = said("ice cream");
            weigh(&mut words, language);
            words[0].confidence
        };
        assert_eq!((left(None), left(Some(0.9))), (0.9, 0.9));
        assert!((left(Some(0.4)) - 0.144).abs() < 1e-6);
        assert!(left(Some(0.699)) < 0.5);
    }

    #[test]
    fn what_comes_again_stays_as_it_was() {
        let mut words = said("He rang the ferry bell.");
        settle(&mut words, Some(0.7), &again("he rang the fairy bell", 0.0));
        let sure: Vec<f32> = words.iter().map(|word| word.confidence).collect();
        assert_eq!(sure, [0.9, 0.9, 0.9, 0.9 * NOT_AGAIN, 0.9]);
    }

    #[test]
    fn what_does_not_is_doubted_or_gone() {
        let mut words = said("I am going to the next one");
        settle(&mut words, Some(0.3), &again("thank you", 0.4));
        assert!(words.iter().all(|word| word.confidence < 0.3), "{words:?}");
        settle(&mut words, None, &again("thank you", 0.95));
        assert_eq!(words.len(), 7);
        for (first, again) in [
            (Some(0.7), Again::default()),
            (Some(0.7), again("so it goes", 0.1)),
            (
                None,
                Again {
                    no_speech: Some(0.7),
                    ..Again::default()
                },
            ),
        ] {
            let mut words = said("Thank you.");
            settle(&mut words, first, &again);
            assert_eq!(words, []);
        }
    }
}
