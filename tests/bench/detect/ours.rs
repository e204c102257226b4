//! What our detector says.

use sayback::core::signal::{DetectorParams, SpeechDetector};

use super::case::HOP;

/// The name of our column.
pub const OURS: &str = "sayback";

/// A decision per 10 ms: whether its middle lies in a segment.
pub fn frames(samples: &[f32]) -> Vec<bool> {
    let mut detector = SpeechDetector::new(DetectorParams::default());
    let mut segments = Vec::new();
    // As a file is read: a tenth of a second at a time.
    for piece in samples.chunks(1600) {
        detector.push(piece, &mut segments);
    }
    detector.finish(&mut segments);
    let mut found = vec![false; samples.len() / HOP];
    for segment in segments {
        let frame = |ms: i64| ((ms + 5) / 10).max(0) as usize;
        let to = frame(segment.end.0).min(found.len());
        found[frame(segment.start.0).min(to)..to].fill(true);
    }
    found
}
