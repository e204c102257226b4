//! What does an event look like as a whole?
//!
//! All moments of the event clock at once, as a page draws them: one statement, one value,
//! because ten thousand rows cost more to hand over than to find.

use sayback_core::quality::Verdict;
use serde::Deserialize;

use super::looking::listed;
use super::statement::statements;
use super::{EventId, MomentId, PersonId, RecordingId, SourceId, Store, StoreError};

/// An event at one instant.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OutlineRow {
    /// Who is there: id and name, those whom nobody has named yet at the end.
    pub people: Vec<(PersonId, String)>,
    /// Its recordings by id, with their sources.
    pub recordings: Vec<(RecordingId, SourceId)>,
    /// Its moments on the event clock, in order of time.
    pub moments: Vec<OutlinedMoment>,
}

/// A moment as [`OutlineRow`] has it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct OutlinedMoment {
    /// Its id.
    pub id: MomentId,
    /// Start on the event clock, ms.
    pub start_ms: i64,
    /// End on the event clock, ms, exclusive.
    pub end_ms: i64,
    /// Who speaks; `None` where that is not known.
    pub person: Option<PersonId>,
    /// How sure that is, 0 to 1; `None` until it was looked for.
    pub certainty: Option<f32>,
    /// 1 where its words should not be trusted as they are.
    pub doubted: u8,
    /// The first letter of its text; `None` until listened to, empty if no words were
    /// heard.
    pub begins: Option<String>,
    /// Its hearings, the best first: those that were heard, and in any case the best.
    pub hearings: Vec<OutlinedHearing>,
}

/// A hearing as [`OutlineRow`] has it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
pub struct OutlinedHearing {
    /// The recording.
    pub recording: RecordingId,
    /// Rank among the hearings of the moment, from 1.
    pub rank: i64,
    /// 1 where it is above the recording's own noise.
    pub heard: u8,
    /// In a word, how usable it is.
    pub verdict: Verdict,
}

statements! {
    /// In the order of the fields of [`OutlinedMoment`] and [`OutlinedHearing`].
    OUTLINE = "SELECT
        (SELECT json_group_array(json_array(p.id, p.name) ORDER BY p.unnamed, p.number, p.id)
            FROM person p WHERE p.event_id = ?1),
        (SELECT json_group_array(json_array(r.id, r.source_id) ORDER BY r.id)
            FROM recording r WHERE r.event_id = ?1),
        (SELECT json_group_array(json_array(m.id, m.start_ms, m.end_ms, m.person_id,
                m.certainty, m.doubt IS NOT NULL, substr(m.text, 1, 1),
                (SELECT json_group_array(json_array(h.recording_id, h.n, h.heard, h.verdict)
                        ORDER BY h.n, h.recording_id)
                    FROM hearing h
                    WHERE h.moment_id = m.id AND (h.heard = 1 OR h.n = 1)))
                ORDER BY m.start_ms, m.no)
            FROM moment m WHERE m.event_id = ?1 AND m.island = 0)";
}

impl Store {
    /// All moments of the event clock, the people and the recordings of an event.
    ///
    /// # Errors
    /// When the database can't be read.
    pub async fn outline(&self, event: &EventId) -> Result<OutlineRow, StoreError> {
        let told: (String, String, String) = sqlx::query_as(self.sql(OUTLINE))
            .bind(event)
            .fetch_one(&self.read)
            .await?;
        // A day is some megabytes.
        let read = tokio::task::spawn_blocking(move || {
            Ok(OutlineRow {
                people: listed(&told.0)?,
                recordings: listed(&told.1)?,
                moments: listed(&told.2)?,
            })
        });
        read.await
            .map_err(|error| StoreError::Database(sqlx::Error::Decode(error.into())))?
    }
}
