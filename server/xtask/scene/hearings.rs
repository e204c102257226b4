//! Where exactly is each line in each take?

use sayback_core::units::ANALYSIS_RATE_HZ;

use super::lines::DRY_RMS;
use super::mic::{Ear, Path, Score};
use super::spec::SPEED_OF_SOUND;
use super::truth::HearingTruth;

/// A take's clock.
pub struct Clock {
    /// Event time of frame 0, in seconds.
    pub start_s: f64,
    /// Frames it really takes in a second of event time.
    pub rate: f64,
    /// Frames a second of its file time.
    pub rate_hz: u32,
    /// Frames of the take.
    pub frames: u64,
}

impl Clock {
    fn frame(&self, event_s: f64) -> f64 {
        (event_s - self.start_s) * self.rate
    }

    /// File time in ms, kept inside the take.
    fn file_ms(&self, event_s: f64) -> f64 {
        self.frame(event_s).clamp(0.0, self.frames as f64) * 1000.0 / f64::from(self.rate_hz)
    }
}

/// The lines that `ear` hears on `channel`, in order of time.
#[must_use]
pub fn hearings(score: &Score, ear: &Ear, channel: usize, clock: &Clock) -> Vec<HearingTruth> {
    let mut all: Vec<HearingTruth> = ear
        .paths
        .iter()
        .filter_map(|path| hearing(score, ear, path, channel, clock))
        .collect();
    all.sort_by(|a, b| a.start_ms.total_cmp(&b.start_ms));
    all
}

fn hearing(
    score: &Score,
    ear: &Ear,
    path: &Path,
    channel: usize,
    clock: &Clock,
) -> Option<HearingTruth> {
    let line = &score.spec.lines[path.line];
    let delay_s = path.distance_m / SPEED_OF_SOUND;
    let origin_s = line.start_s + delay_s;
    let spans_ms: Vec<(f64, f64)> = score.dry[line.line]
        .spans_s
        .iter()
        .map(|&(start, end)| {
            (
                clock.file_ms(origin_s + start / line.speed),
                clock.file_ms(origin_s + end / line.speed),
            )
        })
        .filter(|(start, end)| end > start)
        .collect();
    let (start_ms, end_ms) = (spans_ms.first()?.0, spans_ms.last()?.1);
    let gain = path.gain * ear.preamp;
    Some(HearingTruth {
        line: path.line,
        channel,
        distance_m: path.distance_m,
        delay_ms: delay_s * 1000.0,
        origin_frame: clock.frame(origin_s),
        start_ms,
        end_ms,
        spans_ms,
        gain_db: 20.0 * gain.log10(),
        level_dbfs: 20.0 * (gain * DRY_RMS).log10(),
        snr_db: 20.0 * (gain * DRY_RMS / ear.noise_rms).log10(),
        clipped_frames: 0,
    })
}

/// Frames of a take between two samples of a dry line read at `speed`, at
/// `rate_hz` and `drift_ppm`.
#[must_use]
pub fn frames_a_dry_sample(rate_hz: u32, drift_ppm: f64, speed: f64) -> f64 {
    f64::from(rate_hz) * (1.0 + drift_ppm * 1e-6) / (f64::from(ANALYSIS_RATE_HZ) * speed)
}
