//! Rows as the store would give them, for tests.

use sayback_core::quality::Verdict;

use crate::store::{HearingRow, Json, Placement, RecordingRow, RecordingState, Word};

/// A recording of a recorder called as it is, of a minute.
pub fn recording(id: &str) -> RecordingRow {
    RecordingRow {
        id: id.into(),
        event_id: "e".into(),
        source_id: id.into(),
        source_label: id.to_uppercase(),
        source_placement: Placement::Stand,
        file_hash: id.into(),
        path: Vec::new().into(),
        name: format!("{id}.wav"),
        size: 1,
        mtime_ns: 0,
        container: "WAV".into(),
        codec: "pcm".into(),
        media_type: "audio/wav".into(),
        rate_hz: 48_000,
        file_channels: 1,
        bits: None,
        frames: 2_880_000,
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

/// A recording's copy of a moment, heard well.
pub fn hearing(recording: &str, rank: i64) -> HearingRow {
    HearingRow {
        moment_id: "m".into(),
        recording_id: recording.into(),
        rank,
        start_ms: 100,
        end_ms: 900,
        heard: true,
        level_dbfs: -20.0,
        snr_db: 20.0,
        clipped: 0.0,
        reverb: 0.0,
        score: 1.0,
        verdict: Word(Verdict::Clean),
        why: Json(Vec::new()),
        wanted: 0,
        tried: false,
    }
}
