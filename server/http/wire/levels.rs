//! How loud a recording is.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::RecordingRef;

/// What was measured in a stretch of a recording, at the file's own rate: of its
/// channel, or of all together where they are mixed. Null is what can't be told: of
/// silence, or of a stretch that is too short.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Levels {
    /// The recording.
    pub recording: RecordingRef,
    /// From here in the file, ms.
    pub start_ms: i64,
    /// To here, ms, exclusive. Levels are kept by tenths of a second, and those that
    /// the stretch begins and ends in count whole.
    pub end_ms: i64,
    /// Integrated loudness, LUFS (ITU-R BS.1770, EBU R 128); every channel counts alike.
    #[schema(required)]
    pub integrated_lufs: Option<f64>,
    /// Loudness range, LU (EBU Tech 3342).
    #[schema(required)]
    pub range_lu: Option<f64>,
    /// The loudest 3 s, LUFS (EBU Tech 3341).
    #[schema(required)]
    pub max_short_term_lufs: Option<f64>,
    /// The highest the wave goes between samples, dBTP.
    #[schema(required)]
    pub true_peak_dbtp: Option<f64>,
    /// The highest sample, dBFS.
    #[schema(required)]
    pub sample_peak_dbfs: Option<f64>,
    /// Samples at full scale, three or more in a row.
    pub clipped_samples: u64,
    /// Samples at flat tops below full scale: it was clipped before it was made quieter.
    pub flat_samples: u64,
    /// Nothing but zeros for 10 ms and more, ms in all.
    pub silent_ms: u64,
}
