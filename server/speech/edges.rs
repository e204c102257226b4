//! Where does the first word of a stretch of speech begin, by the sound that made it
//! one?
//!
//! The model's alignment loses hold of a first word more than of others and may let it
//! begin tenths of a second late ([`super::timing`]); what found the stretch knows its
//! beginning to some 30 ms. Where both are far apart, but not so far that a word went
//! unheard between them, the stretch is right; where they are close, the word is.

use super::recogniser::HeardWord;
use super::windows::WindowSpan;

/// A stretch begins so long before the voice that made it one, in ms: the detector
/// keeps 30 ms, and looks at 50 ms at once.
const LEAD_MS: i64 = 50;
/// From here on a word begins far from the voice, in ms.
const FAR_MS: i64 = 60;
/// Up to here it is the word that the voice began with, in ms.
const NEAR_MS: i64 = 300;

/// Takes the first word of each stretch to the voice that it begins with. `words` are
/// where they are in the file, each with its span.
pub(super) fn settle(words: &mut [(usize, HeardWord)], spans: &[WindowSpan]) {
    for own in words.chunk_by_mut(|a, b| a.0 == b.0) {
        let Some((of, first)) = own.first_mut() else {
            continue;
        };
        let span = spans.iter().find(|span| span.span == *of);
        let Some(begins) = span.and_then(|span| span.begins) else {
            continue;
        };
        let voice = begins.0 + LEAD_MS;
        if (FAR_MS..=NEAR_MS).contains(&(first.start_ms - voice)) {
            first.start_ms = voice;
        }
    }
}

#[cfg(test)]
mod tests {
    use sayback_core::units::FileMs;

    use super::*;

    #[test]
    fn a_first_word_begins_with_the_voice_unless_it_is_close_or_another() {
        let span = |span, begins: Option<i64>| WindowSpan {
            span,
            from: FileMs(0),
            to: FileMs(9_000),
            at_ms: 0,
            begins: begins.map(FileMs),
        };
        let spans = [span(4, Some(1_000)), span(5, None)];
        for (of, said, told) in [
            (4, 1_200, 1_050),
            (4, 1_350, 1_050),
            (4, 1_100, 1_100),
            (4, 1_000, 1_000),
            (4, 1_400, 1_400),
            (5, 1_200, 1_200),
            (6, 1_200, 1_200),
        ] {
            let word = |start_ms: i64| HeardWord {
                start_ms,
                end_ms: start_ms + 300,
                ..HeardWord::default()
            };
            let mut words = [(of, word(said)), (of, word(said + 300))];
            settle(&mut words, &spans);
            assert_eq!(words[0].1.start_ms, told, "{of}");
            assert_eq!(words[1].1.start_ms, said + 300);
        }
    }
}
