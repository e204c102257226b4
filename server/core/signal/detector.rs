//! Where is speech in this sound?

use crate::units::{ANALYSIS_RATE_HZ, FileMs, SILENCE_DBFS};

use super::bands::{BANDS, BandLayout, Levels, level_dbfs, power_of};
use super::floor::{FloorTracker, Floored};
use super::numbered::Numbered;
use super::params::{DetectorParams, frames};
use super::segments::{Shape, Stretches};
use super::spectrum::{HOP, Spectrum, WINDOW};

/// A stretch of speech in one recording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpeechSegment {
    /// First millisecond.
    pub start: FileMs,
    /// First millisecond after it.
    pub end: FileMs,
    /// RMS level in the speech range over the frames above the threshold,
    /// dBFS (an RMS of 1.0 is 0 dBFS).
    pub level_dbfs: f32,
    /// Power of those frames without the noise, over the power of the noise,
    /// dB.
    pub snr_db: f32,
}

/// What is remembered of a frame until its segment is over.
#[derive(Clone, Copy, Debug, Default)]
struct Measured {
    power: f32,
    noise: f32,
    loud: bool,
}

/// Finds speech in a stream of 16 kHz mono samples.
///
/// Segments come out in order, about ten seconds late; memory is constant.
///
/// ```
/// use sayback_core::signal::{DetectorParams, SpeechDetector};
/// let mut detector = SpeechDetector::new(DetectorParams::default());
/// let mut segments = Vec::new();
/// detector.push(&[0.0; 16_000], &mut segments);
/// detector.finish(&mut segments);
/// assert!(segments.is_empty());
/// ```
pub struct SpeechDetector {
    params: DetectorParams,
    spectrum: Spectrum,
    layout: BandLayout,
    /// Samples not yet in a whole window, the first of which is the start of
    /// the next frame's window.
    pending: Vec<f32>,
    samples: u64,
    recent: Numbered<[f32; BANDS]>,
    smooth: usize,
    floor: FloorTracker,
    speaking: bool,
    stretches: Stretches,
    measured: Numbered<Measured>,
}

impl SpeechDetector {
    /// A detector before its first sample.
    #[must_use]
    pub fn new(params: DetectorParams) -> Self {
        let layout = BandLayout::new(params.low_hz, params.high_hz);
        let smooth = frames(params.smooth_ms, 1);
        let floor = FloorTracker::new(
            frames(params.floor_window_ms, 2),
            params.floor_quantile,
            frames(params.floor_reach_ms, 1),
            noise_lift_db(&layout, smooth),
        );
        let stretches = Stretches::new(Shape {
            least: frames(params.least_speech_ms, 1),
            lead: frames(params.lead_ms, 0),
            trail: frames(params.trail_ms, 0),
            bridge: frames(params.bridge_ms, 0),
        });
        Self {
            params,
            spectrum: Spectrum::new(),
            layout,
            // Windows are centred on their 10 ms: the first begins before the
            // first sample.
            pending: vec![0.0; (WINDOW - HOP) / 2],
            samples: 0,
            recent: Numbered::from(0),
            smooth,
            floor,
            speaking: false,
            stretches,
            measured: Numbered::from(0),
        }
    }

    /// Takes the next samples; appends segments that are over, in order.
    pub fn push(&mut self, samples: &[f32], out: &mut Vec<SpeechSegment>) {
        self.samples += samples.len() as u64;
        for piece in samples.chunks(4096) {
            self.pending
                .extend(piece.iter().map(|s| if s.is_finite() { *s } else { 0.0 }));
            self.take_windows(out);
        }
    }

    /// Ends the recording; appends the segments still open.
    pub fn finish(mut self, out: &mut Vec<SpeechSegment>) {
        // Silence behind the end completes the last windows.
        let frames = usize::try_from(self.samples.div_ceil(HOP as u64)).unwrap_or(usize::MAX);
        while self.recent.next() < frames {
            self.pending.resize(WINDOW, 0.0);
            self.take_windows(out);
        }
        for _ in 0..self.smooth / 2 {
            let nothing = [0.0; BANDS];
            self.smoothed(nothing, out);
        }
        while let Some(floored) = self.floor.finish() {
            self.decide(&floored, out);
        }
        for stretch in self.stretches.finish().into_iter().flatten() {
            out.push(self.segment(stretch));
        }
    }

    fn take_windows(&mut self, out: &mut Vec<SpeechSegment>) {
        let mut from = 0;
        while self.pending.len() - from >= WINDOW {
            let power = self.spectrum.of(&self.pending[from..from + WINDOW]);
            let bands = self.layout.powers(power);
            self.smoothed(bands, out);
            from += HOP;
        }
        self.pending.drain(..from);
    }

    /// Averages band powers over the frames around the one half a smoothing
    /// window back.
    fn smoothed(&mut self, powers: [f32; BANDS], out: &mut Vec<SpeechSegment>) {
        self.recent.push(powers);
        let newest = self.recent.next() - 1;
        let Some(middle) = newest.checked_sub(self.smooth / 2) else {
            return;
        };
        let from = middle.saturating_sub(self.smooth / 2);
        let mut mean = [0.0; BANDS];
        for powers in self.recent.range(from..newest + 1) {
            for (mean, power) in mean.iter_mut().zip(powers) {
                *mean += power;
            }
        }
        let count = (newest + 1 - from) as f32;
        let levels = mean.map(|sum| level_dbfs(sum / count));
        self.recent.forget_before(from);
        if let Some(floored) = self.floor.push(&levels) {
            self.decide(&floored, out);
        }
    }

    fn decide(&mut self, floored: &Floored, out: &mut Vec<SpeechSegment>) {
        let excess_db = self.excess_db(floored);
        let limit = if self.speaking {
            self.params.off_db
        } else {
            self.params.on_db
        };
        self.speaking = excess_db >= limit;
        self.measured.push(Measured {
            power: floored.levels.iter().map(|level| power_of(*level)).sum(),
            noise: floored.floors.iter().map(|level| power_of(*level)).sum(),
            loud: self.speaking,
        });
        if let Some(stretch) = self.stretches.push(self.speaking) {
            out.push(self.segment(stretch));
        }
        self.measured.forget_before(self.stretches.needed_from());
    }

    /// Mean over the bands of how far each lies above its floor.
    fn excess_db(&self, floored: &Floored) -> f32 {
        let sum: f32 = floored
            .levels
            .iter()
            .zip(&floored.floors)
            .map(|(level, floor)| (level - floor).clamp(0.0, self.params.band_most_db))
            .sum();
        sum / BANDS as f32
    }

    fn segment(&self, (from, to): (usize, usize)) -> SpeechSegment {
        let (mut power, mut noise, mut count) = (0.0_f64, 0.0_f64, 0.0_f64);
        for measured in self
            .measured
            .range(from..to)
            .filter(|measured| measured.loud)
        {
            power += f64::from(measured.power);
            noise += f64::from(measured.noise);
            count += 1.0;
        }
        let db = |ratio: f64| (10.0 * ratio.max(1e-15).log10()) as f32;
        let end = (to * HOP) as u64;
        SpeechSegment {
            start: FileMs::from_sample((from * HOP) as u64, ANALYSIS_RATE_HZ),
            end: FileMs::from_sample(end.min(self.samples), ANALYSIS_RATE_HZ),
            level_dbfs: db(power / f64::max(count, 1.0)).max(SILENCE_DBFS),
            snr_db: db((power - noise).max(0.0) / noise.max(1e-15)),
        }
    }
}

/// How far the mean of steady noise lies above its tenth part, in dB.
///
/// The power of noise in a band of width B averaged over a time T has a
/// relative deviation of 1/√(BT) (Bendat & Piersol, Random Data, 'bandwidth
/// limited white noise'), 4.34 dB of it in level; the tenth part of a normal
/// distribution lies 1.28 deviations below the mean.
fn noise_lift_db(layout: &BandLayout, smooth: usize) -> Levels {
    // A Hann window of N samples weighs like N/2.
    let seconds = (WINDOW / 2 + (smooth - 1) * HOP) as f32 / ANALYSIS_RATE_HZ as f32;
    std::array::from_fn(|band| {
        let width_hz = layout.bins(band).len() as f32 * ANALYSIS_RATE_HZ as f32 / WINDOW as f32;
        1.28 * 4.34 / (width_hz * seconds).sqrt()
    })
}
