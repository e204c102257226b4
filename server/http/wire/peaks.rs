//! What recordings look like from afar.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{EventRef, RecordingRef};

/// What there is of a recording's wave. It is kept in bins on several levels, each bin of
/// one level as long as four of the level before; level 0 is the finest.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Peaks {
    /// The recording.
    pub recording: RecordingRef,
    /// Its length, ms.
    pub duration_ms: i64,
    /// Length of a bin, ms, by level. Bin `k` begins at `k` times that, exactly; the last
    /// one may be shorter.
    pub bin_ms: Vec<i64>,
    /// How many bins there are, by level. What comes after 46 h 36 min is not drawn.
    pub bins: Vec<u64>,
    /// Bins of a tile; the last tile of a level may have fewer.
    pub tile_bins: u32,
    /// What the three bytes of a bin mean, in words.
    pub scale: String,
}

/// The waves of an event's recordings, each whole on one level.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct EventPeaks {
    /// The event.
    pub event: EventRef,
    /// Its recordings that were listened through, by id.
    pub recordings: Vec<RecordingPeaks>,
}

/// The wave of a recording on one level.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RecordingPeaks {
    /// The recording's id.
    pub recording: String,
    /// The level, the finest is 0.
    pub level: u8,
    /// Length of its bins, ms.
    pub bin_ms: i64,
    /// Its bins, three bytes each as in a tile, in base64 (RFC 4648, section 4).
    pub body: String,
}
