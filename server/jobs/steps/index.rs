//! index: by which words is this found?

use sayback_core::text::parts;

use super::{Step, StepError};
use crate::jobs::engine::now_ms;
use crate::store::{SegmentId, SegmentWordRow};

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

/// What is spoken, a token for each part of a word, joined by single spaces.
/// That is what a query is compared with in `core::text`, too.
fn tokens(words: &[SegmentWordRow]) -> String {
    let tokens: Vec<String> = words.iter().flat_map(|word| parts(&word.text)).collect();
    tokens.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_spoken_is_indexed_part_by_part() {
        let word = |text: &str| SegmentWordRow {
            segment_id: SegmentId(1),
            n: 0,
            text: text.into(),
            start_ms: 0,
            end_ms: 1,
            confidence: 1.0,
        };
        let words = ["Don't", "—", "café-bar,", "now!"].map(word);
        assert_eq!(tokens(&words), "dont cafe bar now");
    }
}
