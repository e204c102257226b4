//! From a moment that holds the words to each recording's copy of it, with the
//! words at that file's own times.

use std::collections::HashMap;
use std::sync::Arc;

use sayback_core::clock::Placement;

use crate::store::{
    Candidate, EventRow, HearingRow, MomentId, MomentRow, RecordingId, RecordingRow, Store,
    StoreError, WordRow,
};

/// One recording's copy of a moment.
#[derive(Debug)]
pub struct MomentCopy {
    /// The moment.
    pub moment: Arc<MomentRow>,
    /// Where and how it is heard.
    pub hearing: HearingRow,
    /// Its words at the times of this recording's file.
    pub words: Vec<WordRow>,
    /// The recording.
    pub recording: Arc<RecordingRow>,
    /// The event.
    pub event: Arc<EventRow>,
}

/// Where the recordings of some events lie.
pub type Placements = HashMap<RecordingId, Placement>;

/// Every copy that was heard of each candidate.
pub async fn copies(
    store: &Store,
    candidates: Vec<Candidate>,
) -> Result<Vec<MomentCopy>, StoreError> {
    let ids: Vec<MomentId> = candidates.iter().map(|c| c.moment.id.clone()).collect();
    let mut hearings: HashMap<MomentId, Vec<HearingRow>> = HashMap::new();
    for hearing in store.hearings_of(&ids).await? {
        let of_moment = hearings.entry(hearing.moment_id.clone()).or_default();
        of_moment.push(hearing);
    }
    let mut events: HashMap<String, ()> = HashMap::new();
    let mut recordings = HashMap::new();
    let mut placements = Placements::new();
    for candidate in &candidates {
        let event = &candidate.event.id;
        if events.insert(event.0.clone(), ()).is_none() {
            for row in store.recordings(event).await? {
                recordings.insert(row.id.clone(), Arc::new(row));
            }
            placements.extend(of_event(store, candidate).await?);
        }
    }
    let mut copies = Vec::new();
    for candidate in candidates {
        let moment = Arc::new(candidate.moment);
        for hearing in hearings.remove(&moment.id).unwrap_or_default() {
            let recording = recordings.get(&hearing.recording_id).cloned();
            if let Some(recording) = recording.filter(|_| hearing.heard) {
                copies.push(MomentCopy {
                    words: words_in(&candidate.words, &moment, &hearing, &placements),
                    moment: moment.clone(),
                    hearing,
                    recording,
                    event: candidate.event.clone(),
                });
            }
        }
    }
    Ok(copies)
}

async fn of_event(store: &Store, candidate: &Candidate) -> Result<Placements, StoreError> {
    let rows = store.placements(&candidate.event.id).await?;
    let placed = |row: crate::store::PlacementRow| (row.recording_id, row.placement.0);
    Ok(rows.into_iter().map(placed).collect())
}

/// The words of a moment at the times of one of its hearings.
pub fn words_in(
    words: &[WordRow],
    moment: &MomentRow,
    hearing: &HearingRow,
    placements: &Placements,
) -> Vec<WordRow> {
    let there = moment.words_from.as_ref();
    if there == Some(&hearing.recording_id) {
        return words.to_vec();
    }
    let from = there.and_then(|id| placements.get(id));
    let to = placements.get(&hearing.recording_id);
    let (Some(from), Some(to)) = (from, to) else {
        return Vec::new();
    };
    let map = |ms: i64| {
        let at = to.file_at(from.event_at(ms as f64)) + hearing.shift_ms;
        (at.round() as i64).max(0)
    };
    let moved = words.iter().map(|word| WordRow {
        start_ms: map(word.start_ms),
        end_ms: map(word.end_ms),
        ..word.clone()
    });
    moved.collect()
}
