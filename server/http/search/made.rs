//! Candidates as the store would give them, for tests.

use std::sync::Arc;

use sayback_core::text::split_words;

use crate::store::{
    EventRow, Placement, RecordingId, RecordingRow, RecordingState, SegmentCandidate, SegmentId,
    SegmentRow, SegmentWordRow, SourceRow, Transcript,
};

/// What `label`'s recorder heard at `start_ms`, a word each 300 ms.
pub fn candidate(label: &str, start_ms: i64, snr_db: f32, text: &str) -> SegmentCandidate {
    let words: Vec<SegmentWordRow> = (0..)
        .zip(split_words(text))
        .map(|(n, word)| SegmentWordRow {
            segment_id: SegmentId(start_ms),
            n,
            text: word.into(),
            start_ms: start_ms + n * 300,
            end_ms: start_ms + n * 300 + 250,
            confidence: 0.9,
        })
        .collect();
    let id = RecordingId(format!("r-{label}"));
    let segment = SegmentRow {
        id: SegmentId(start_ms),
        recording_id: id.clone(),
        start_ms,
        end_ms: start_ms + 300 * i64::try_from(words.len()).unwrap_or(0),
        level_dbfs: -30.0,
        snr_db,
        text: Some(text.into()),
    };
    SegmentCandidate {
        bm25: -1.0,
        transcript: Transcript { segment, words },
        recording: Arc::new(recording(id, label)),
        source: Arc::new(source(label)),
        event: Arc::new(event()),
    }
}

fn event() -> EventRow {
    EventRow {
        id: "e".into(),
        title: "Boathouse".into(),
        date: None,
        frame_rate: Some("25".into()),
        created_at_ms: 0,
        sources: 1,
        recordings: 1,
        segments: 1,
        words: 1,
    }
}

fn source(label: &str) -> SourceRow {
    SourceRow {
        id: label.into(),
        event_id: "e".into(),
        label: label.into(),
        placement: Placement::Stand,
        wearer_id: None,
        wearer_name: None,
    }
}

fn recording(id: RecordingId, label: &str) -> RecordingRow {
    RecordingRow {
        id,
        event_id: "e".into(),
        source_id: label.into(),
        source_label: label.into(),
        source_placement: Placement::Stand,
        file_hash: String::new(),
        path: Vec::new().into(),
        name: format!("{label}.wav"),
        size: 1,
        mtime_ns: 0,
        container: "WAV".into(),
        codec: "pcm".into(),
        media_type: "audio/wav".into(),
        rate_hz: 48_000,
        file_channels: 1,
        bits: None,
        frames: 1,
        duration_ms: 60_000,
        warnings: Default::default(),
        pick: "mix".into(),
        channels_why: String::new(),
        take_id: None,
        take_order: None,
        take_of: None,
        segment_count: None,
        speech_ms: None,
        word_count: 0,
        model: None,
        state: RecordingState::Ready,
        error: None,
        stamps: Vec::new(),
    }
}
