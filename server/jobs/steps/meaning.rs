//! meaning: what do the moments of an event mean?

use sayback_core::meaning::{Said, passages};

use super::{Step, StepError};
use crate::jobs::engine::now_ms;
use crate::store::{EventId, MeaningRow, NewMeaning};

/// Texts embedded between two commits.
const BATCH: usize = 16;
/// What a fingerprint is of, beside the text: another model or another way to choose
/// the text finds everything anew.
const VERSION: &[u8] = b"meaning 1\0";

impl Step<'_> {
    /// Finds what the moments of an event mean, as far as that is not known; without a
    /// model nothing.
    pub(super) fn meaning(&self) -> Result<(), StepError> {
        let event = EventId::from(self.claim.subject.as_str());
        let rows = self.read(self.store().to_be_meant(&event))?;
        let open = changed(&rows);
        if !open.is_empty()
            && let Some(model) = self.inner.config.model.sentences()
        {
            let mut done = 0;
            for batch in open.chunks(BATCH) {
                self.check()?;
                let texts: Vec<&str> = batch.iter().map(|open| open.text.as_str()).collect();
                let found = model.embed(&texts, self.cancel);
                self.check()?;
                let kept = batch.iter().zip(found).map(|(open, meaning)| NewMeaning {
                    no: open.no,
                    fingerprint: open.fingerprint.clone(),
                    vector: meaning.to_bytes(),
                });
                let kept: Vec<NewMeaning> = kept.collect();
                self.write(|| self.store().keep_meaning(&event, &kept))?;
                done += batch.len();
                self.progress(done as f32 / open.len() as f32);
            }
        }
        let lease = self.claim.lease();
        self.write(|| self.store().finish_meaning(&lease, now_ms()))
    }
}

/// A moment whose meaning is to be found.
struct Open {
    no: i64,
    text: String,
    fingerprint: Vec<u8>,
}

/// Those that are known by another text than was looked at last.
fn changed(rows: &[MeaningRow]) -> Vec<Open> {
    let said: Vec<Said<'_>> = rows
        .iter()
        .map(|row| Said {
            island: row.island,
            start_ms: row.start_ms,
            end_ms: row.end_ms,
            speaker: row.person_id.as_ref().map(|id| id.as_str()),
            text: &row.text,
        })
        .collect();
    let known_by = rows.iter().zip(passages(&said));
    known_by
        .filter_map(|(row, passage)| {
            let text = passage?.text;
            let fingerprint = fingerprint(&text);
            (row.fingerprint.as_ref() != Some(&fingerprint)).then_some(Open {
                no: row.no,
                text,
                fingerprint,
            })
        })
        .collect()
}

fn fingerprint(text: &str) -> Vec<u8> {
    let mut hash = blake3::Hasher::new();
    hash.update(VERSION).update(text.as_bytes());
    hash.finalize()
        .as_bytes()
        .iter()
        .copied()
        .take(16)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(no: i64, text: &str) -> MeaningRow {
        MeaningRow {
            no,
            island: 0,
            start_ms: no * 20_000,
            end_ms: no * 20_000 + 2_000,
            person_id: None,
            text: text.into(),
            fingerprint: None,
        }
    }

    #[test]
    fn only_what_is_said_otherwise_is_looked_at_again() {
        let mut rows = vec![
            row(0, "the boat was late"),
            row(1, "so we swam"),
            row(2, " "),
        ];
        let open = changed(&rows);
        assert_eq!(open.iter().map(|one| one.no).collect::<Vec<_>>(), [0, 1]);
        for one in open {
            rows[one.no as usize].fingerprint = Some(one.fingerprint);
        }
        assert!(changed(&rows).is_empty());
        rows[1].text = "so we walked".into();
        assert_eq!(changed(&rows).len(), 1);
        // What is said near it by the same is part of what it is known by.
        rows[2] = row(2, "in the rain");
        rows[2].start_ms = rows[1].end_ms + 500;
        let open = changed(&rows);
        assert_eq!(open.len(), 2);
        assert_eq!(open[0].text, "so we walked in the rain");
    }
}
