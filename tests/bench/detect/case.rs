//! A piece of sound with the truth about where speech is.

/// Samples of one frame at 16 kHz: 10 ms.
pub const HOP: usize = 160;

/// Silence shorter than this inside speech counts as speech, in frames: a
/// stop's closure or the gap between two words of a phrase (200 ms).
const BRIDGE_FRAMES: usize = 20;

/// One file to be judged.
pub struct Case {
    /// The row of the table it counts in.
    pub set: String,
    /// 16 kHz mono, full scale 1.0, on the grid of 16-bit integers.
    pub samples: Vec<f32>,
    /// Whether each 10 ms holds speech.
    pub truth: Vec<bool>,
}

impl Case {
    /// A case whose samples are rounded to 16 bits, since that is what the
    /// references are given.
    pub fn new(set: &str, samples: Vec<f32>, mut truth: Vec<bool>) -> Self {
        truth.resize(samples.len() / HOP, false);
        let samples = samples
            .into_iter()
            .map(|s| (s * 32_768.0).round().clamp(-32_768.0, 32_767.0) / 32_768.0)
            .collect();
        Self {
            set: set.to_owned(),
            samples,
            truth,
        }
    }
}

/// Marks the frames whose middle lies in one of the spans, in seconds.
pub fn frames_of_spans(spans: &[(f64, f64)], frames: usize) -> Vec<bool> {
    (0..frames)
        .map(|n| {
            let middle = (n as f64 + 0.5) / 100.0;
            spans
                .iter()
                .any(|(from, to)| *from <= middle && middle < *to)
        })
        .collect()
}

/// Fills the short gaps between stretches of speech.
pub fn bridge(truth: &mut [bool]) {
    let mut last: Option<usize> = None;
    for n in 0..truth.len() {
        if truth[n] {
            if let Some(before) = last
                && n - before - 1 < BRIDGE_FRAMES
            {
                truth[before..n].fill(true);
            }
            last = Some(n);
        }
    }
}
