//! Which words does a moment get from the attempts at it?

use std::collections::HashMap;

use sayback_core::clock::Placement;
use sayback_core::moments::{Attempt, SaidWord, fuse};
use sayback_core::text::tokens;

use crate::store::{AttemptRow, MomentWords, NewWord, PlacementRow, RecordingId};

/// Puts the words of several recordings together by where these lie.
pub(super) struct Fuser {
    placements: HashMap<RecordingId, Placement>,
}

impl Fuser {
    pub(super) fn new(placements: &[PlacementRow]) -> Self {
        let placement = |row: &PlacementRow| (row.recording_id.clone(), row.placement.0.clone());
        Self {
            placements: placements.iter().map(placement).collect(),
        }
    }

    /// The words of a moment; `attempts` holds at least one. They are compared on
    /// the clock that their recordings share; a recording that has no place is on
    /// one of its own.
    pub(super) fn words(&self, attempts: &[AttemptRow]) -> MomentWords {
        let said: Vec<Attempt> = attempts
            .iter()
            .enumerate()
            .map(|(hearer, attempt)| Attempt {
                hearer,
                score: attempt.score,
                words: self.said(attempt),
            })
            .collect();
        let speech_ms = attempts.iter().map(|a| a.speech_ms).max().unwrap_or(0);
        let fused = fuse(&said, speech_ms);
        let from = &attempts[fused.as_ref().map_or(0, |fused| fused.from)];
        let place = self.place(from);
        let words: Vec<NewWord> = match &fused {
            Some(fused) => fused
                .words
                .iter()
                .map(|word| NewWord {
                    text: word.word.text.clone(),
                    start_ms: place.file_at(word.word.start_ms).round() as i64,
                    end_ms: place.file_at(word.word.end_ms).round() as i64,
                    confidence: word.word.confidence,
                })
                .collect(),
            None => from.words.clone(),
        };
        let (doubt, why) = fused.map_or((None, None), |f| (f.doubt, Some(f.why)));
        MomentWords {
            words_from: from.recording_id.clone(),
            model: from.model.clone(),
            normal: tokens(words.iter().map(|word| word.text.as_str())),
            words,
            doubt,
            why,
        }
    }

    fn said(&self, attempt: &AttemptRow) -> Vec<SaidWord> {
        let place = self.place(attempt);
        let words = attempt.words.iter();
        words
            .map(|word| SaidWord {
                text: word.text.clone(),
                start_ms: place.event_at(word.start_ms as f64),
                end_ms: place.event_at(word.end_ms as f64),
                confidence: word.confidence,
            })
            .collect()
    }

    fn place(&self, attempt: &AttemptRow) -> Placement {
        let place = self.placements.get(&attempt.recording_id);
        place.cloned().unwrap_or(Placement::even(0.0, 0.0))
    }
}
