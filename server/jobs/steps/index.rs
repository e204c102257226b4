//! index: by which words is this found?

use sayback_core::text::normal;

use super::{Step, StepError};
use crate::jobs::engine::now_ms;
use crate::store::{SegmentId, WordRow};

/// Stands for a word without a normal form, so that token n is word n.
const NO_FORM: &str = "_";

impl Step<'_> {
    /// Makes the words of a recording findable.
    pub(super) fn index(&self) -> Result<(), StepError> {
        let recording = self.recording()?;
        let normals: Vec<(SegmentId, String)> = self
            .read(self.store().transcript(&recording.id))?
            .iter()
            .filter(|transcript| !transcript.words.is_empty())
            .map(|transcript| (transcript.segment.id, tokens(&transcript.words)))
            .collect();
        self.check()?;
        let lease = self.claim.lease();
        self.write(|| {
            self.store()
                .finish_index(&lease, &recording, &normals, now_ms())
        })
    }
}

/// One token a word, joined by single spaces.
fn tokens(words: &[WordRow]) -> String {
    let tokens: Vec<String> = words
        .iter()
        .map(|word| {
            let token: String = normal(&word.text).split_whitespace().collect();
            if token.is_empty() {
                NO_FORM.to_owned()
            } else {
                token
            }
        })
        .collect();
    tokens.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn token_n_is_word_n() {
        let word = |text: &str| WordRow {
            segment_id: SegmentId(1),
            n: 0,
            text: text.into(),
            start_ms: 0,
            end_ms: 1,
            confidence: 1.0,
        };
        let words = ["Don't", "—", "café,", "now!"].map(word);
        assert_eq!(tokens(&words).split(' ').count(), words.len());
        assert_eq!(tokens(&words), "dont _ cafe now");
    }
}
