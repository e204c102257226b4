//! Where is speech in this sound?

use crate::units::{ANALYSIS_RATE_HZ, FileMs, SILENCE_DBFS};

use super::bands::{BANDS, BandLayout, Levels, level_dbfs, power_of};
use super::evidence::{Above, Evidence, Heard};
use super::floor::{FloorTracker, Floored};
use super::loudness::Loudness;
use super::marks::{self, Top};
use super::numbered::Numbered;
use super::params::{DetectorParams, frames};
use super::segments::{Decision, Shape, Stretches};
use super::spectrum::{HOP, Spectrum, WINDOW};
use super::texture::{Texture, likeness, texture};
use super::windows::Windows;

/// Frames over which movement is measured: 80 ms, half a cycle of the fastest
/// syllables (8 Hz is 125 ms).
const MOVEMENT: usize = 8;
/// Frames over which jitter is measured: 40 ms.
const JITTER: usize = 4;
/// Frames over which the fine structure may hold: 60 ms, the shortest at which
/// two windows share next to nothing.
const HOLD: usize = 6;
/// Frames to either side over which loudness is averaged: 160 ms.
const LOUDNESS: usize = 8;

/// A stretch of speech in one recording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpeechSegment {
    /// First millisecond.
    pub start: FileMs,
    /// First millisecond after it.
    pub end: FileMs,
    /// RMS level in the speech range over the clear frames, noise included,
    /// dBFS (an RMS of 1.0 is 0 dBFS).
    pub level_dbfs: f32,
    /// Power of those frames without the noise, over the power of the noise,
    /// dB. Noise below the rounding of 16-bit samples counts as that.
    pub snr_db: f32,
    /// Share of the samples at flat tops, 0 to 1; see [`marks::clipped`].
    pub clipped: f32,
    /// How long the room rings on, s; 0 where it can't be told. See
    /// [`marks::reverb`].
    pub reverb: f32,
}

/// What is remembered of a frame until its segment is over.
#[derive(Clone, Copy, Debug, Default)]
struct Measured {
    power: f32,
    noise: f32,
    top: Top,
    clear: bool,
}

/// Finds speech in a stream of 16 kHz mono samples.
///
/// Segments come out in order, some eight seconds late, those of the first half
/// minute when it is over. Memory is constant, but for 20 bytes each 10 ms of
/// a segment that does not end.
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
    windows: Windows,
    front: Front,
    back: Back,
}

impl SpeechDetector {
    /// A detector before its first sample.
    #[must_use]
    pub fn new(params: DetectorParams) -> Self {
        let layout = BandLayout::new(params.low_hz, params.high_hz);
        let smooth = frames(params.smooth_ms, 1);
        let spread_db = layout.noise_spread_db(smooth);
        Self {
            windows: Windows::new(),
            front: Front::new(layout, smooth),
            back: Back::new(params, spread_db),
        }
    }

    /// Takes the next samples, full scale 1.0; those that are not numbers count
    /// as 0. Appends segments that are over, in order.
    pub fn push(&mut self, samples: &[f32], out: &mut Vec<SpeechSegment>) {
        let (front, back) = (&mut self.front, &mut self.back);
        self.windows.push(samples, |window| {
            if let Some((levels, heard)) = front.window(window) {
                back.frame(&levels, heard, out);
            }
        });
    }

    /// Ends the recording; appends the segments still open.
    pub fn finish(mut self, out: &mut Vec<SpeechSegment>) {
        let samples = self.windows.taken();
        let (front, back) = (&mut self.front, &mut self.back);
        self.windows.finish(|window| {
            if let Some((levels, heard)) = front.window(window) {
                back.frame(&levels, heard, out);
            }
        });
        while let Some((levels, heard)) = front.finish() {
            back.frame(&levels, heard, out);
        }
        let before = out.len();
        back.finish(out);
        let end = FileMs::from_sample(samples as u64, ANALYSIS_RATE_HZ);
        for segment in &mut out[before..] {
            segment.end = segment.end.min(end);
        }
    }
}

/// What can be said of a frame from it and those just before and after.
struct Front {
    spectrum: Spectrum,
    layout: BandLayout,
    /// Frames to either side over which band powers are averaged.
    reach: usize,
    powers: Numbered<[f32; BANDS]>,
    textures: Numbered<Texture>,
    tops: Numbered<Top>,
    levels: Numbered<Levels>,
}

impl Front {
    fn new(layout: BandLayout, smooth: usize) -> Self {
        Self {
            spectrum: Spectrum::new(),
            layout,
            reach: smooth / 2,
            powers: Numbered::from(0),
            textures: Numbered::from(0),
            tops: Numbered::from(0),
            levels: Numbered::from(0),
        }
    }

    /// Takes a window; answers the frame `reach` before it.
    fn window(&mut self, window: &[f32]) -> Option<(Levels, Heard)> {
        let power = self.spectrum.of(window);
        self.powers.push(self.layout.powers(power));
        self.textures.push(texture(power));
        // The 10 ms that the window is centred on.
        self.tops
            .push(Top::of(&window[(WINDOW - HOP) / 2..][..HOP]));
        if self.powers.next() <= self.reach {
            return None;
        }
        Some(self.answer())
    }

    /// Answers the frames after the last window, one by one.
    fn finish(&mut self) -> Option<(Levels, Heard)> {
        (self.levels.next() < self.powers.next()).then(|| self.answer())
    }

    fn answer(&mut self) -> (Levels, Heard) {
        let frame = self.levels.next();
        let from = frame.saturating_sub(self.reach);
        let mut sums = [0.0; BANDS];
        let mut count = 0.0;
        for powers in self.powers.range(from..frame + self.reach + 1) {
            count += 1.0;
            for (sum, power) in sums.iter_mut().zip(powers) {
                *sum += power;
            }
        }
        let levels = sums.map(|sum| level_dbfs(sum / f32::max(count, 1.0)));
        let since = |lag: usize| {
            let before = frame.checked_sub(lag).and_then(|n| self.levels.nearest(n));
            before.map_or(0.0, |before| shape_change(&levels, before))
        };
        let hold = frame.checked_sub(HOLD).and_then(|before| {
            let textures = (
                self.textures.nearest(frame)?,
                self.textures.nearest(before)?,
            );
            Some(likeness(textures.0, textures.1))
        });
        let heard = Heard {
            movement: since(MOVEMENT),
            jitter: since(JITTER),
            hold: hold.unwrap_or(0.0),
            top: self.tops.nearest(frame).copied().unwrap_or_default(),
        };
        self.levels.push(levels);
        self.levels
            .forget_before((frame + 1).saturating_sub(MOVEMENT));
        self.textures
            .forget_before((frame + 1).saturating_sub(HOLD));
        self.tops.forget_before(frame + 1);
        self.powers
            .forget_before((frame + 1).saturating_sub(self.reach));
        (levels, heard)
    }
}

/// Mean square over the bands of how the levels, less their mean, changed, dB².
fn shape_change(now: &Levels, before: &Levels) -> f32 {
    let (mut sum, mut squares) = (0.0, 0.0);
    for (now, before) in now.iter().zip(before) {
        let change = now - before;
        sum += change;
        squares += change * change;
    }
    let mean = sum / BANDS as f32;
    (squares / BANDS as f32 - mean * mean).max(0.0)
}

/// What can be said once the seconds after a frame are known.
struct Back {
    params: DetectorParams,
    spread_db: Levels,
    floor: FloorTracker,
    loudness: Loudness,
    evidence: Evidence,
    heard: Numbered<Heard>,
    above: Numbered<Above>,
    measured: Numbered<Measured>,
    decided: usize,
    loud_window: usize,
    stretches: Stretches,
}

impl Back {
    fn new(params: DetectorParams, spread_db: Levels) -> Self {
        // 1.28: a tenth of a normal distribution lies further below its mean.
        let floor = FloorTracker::new(
            frames(params.floor_window_ms, 2),
            params.floor_quantile,
            frames(params.floor_reach_ms, 1),
            spread_db.map(|spread| 1.28 * spread),
        );
        let stretches = Stretches::new(Shape {
            least: frames(params.least_speech_ms, 1),
            lead: frames(params.lead_ms, 0),
            trail: frames(params.trail_ms, 0),
            cut: frames(params.edge_most_ms, 0),
            bridge: frames(params.bridge_ms, 0),
        });
        Self {
            spread_db,
            floor,
            loudness: Loudness::new(frames(params.loud_window_ms, 1), LOUDNESS),
            evidence: Evidence::new(params.clone()),
            heard: Numbered::from(0),
            above: Numbered::from(0),
            measured: Numbered::from(0),
            decided: 0,
            loud_window: frames(params.loud_window_ms, 1),
            stretches,
            params,
        }
    }

    fn frame(&mut self, levels: &Levels, heard: Heard, out: &mut Vec<SpeechSegment>) {
        self.heard.push(heard);
        let power = levels.iter().map(|level| power_of(*level)).sum();
        self.loudness.push(power, self.above.next());
        if let Some(floored) = self.floor.push(levels) {
            self.floored(&floored, out);
        }
    }

    fn finish(&mut self, out: &mut Vec<SpeechSegment>) {
        while let Some(floored) = self.floor.finish() {
            self.floored(&floored, out);
        }
        while self.decided < self.above.next() {
            self.decide(out);
        }
        for stretch in self.stretches.finish().into_iter().flatten() {
            out.push(self.segment(stretch));
        }
    }

    fn floored(&mut self, floored: &Floored, out: &mut Vec<SpeechSegment>) {
        let frame = self.above.next();
        let params = &self.params;
        let mut excess = 0.0;
        let (mut power, mut noise) = (0.0, 0.0);
        for band in 0..BANDS {
            let (level, floor) = (floored.levels[band], floored.floors[band]);
            let reach = params.noise_reach * self.spread_db[band];
            excess += (level - floor - reach).clamp(0.0, params.band_most_db);
            power += power_of(level);
            noise += power_of(floor);
        }
        let above = Above {
            excess_db: excess / BANDS as f32,
            ratio_db: level_dbfs(power) - level_dbfs(noise),
            level_dbfs: self.loudness.level_dbfs(frame),
        };
        self.above.push(above);
        self.measured.push(Measured {
            power,
            noise,
            top: self.heard.nearest(frame).map_or(Top::default(), |h| h.top),
            clear: false,
        });
        // The first frames wait until a whole window tells what is loud here.
        if self.heard.next() >= self.loud_window {
            while self.decided + self.evidence.ahead() < self.above.next() {
                self.decide(out);
            }
        }
    }

    fn decide(&mut self, out: &mut Vec<SpeechSegment>) {
        let frame = self.decided;
        self.decided += 1;
        let loud_dbfs = self.loudness.loud_dbfs();
        let evidence = self
            .evidence
            .weigh(frame, &self.heard, &self.above, loud_dbfs);
        let params = &self.params;
        let clear = self.above.nearest(frame).is_some_and(|above| {
            above.excess_db > params.edge_db && above.level_dbfs > loud_dbfs - params.edge_depth_db
        });
        if let Some(measured) = self.measured.nearest_mut(frame) {
            measured.clear = clear;
        }
        let decision = Decision {
            likely: evidence >= params.likely,
            sure: evidence >= params.sure,
            clear,
        };
        if let Some(stretch) = self.stretches.push(decision) {
            out.push(self.segment(stretch));
        }
        let around = self.decided.saturating_sub(self.evidence.ahead());
        self.heard.forget_before(around);
        self.above.forget_before(around);
        self.measured
            .forget_before(self.stretches.needed_from().min(self.decided));
    }

    fn segment(&self, (from, to): (usize, usize)) -> SpeechSegment {
        let clear = self.measured.range(from..to).any(|measured| measured.clear);
        let (mut power, mut noise, mut count) = (0.0_f64, 0.0_f64, 0.0_f64);
        for measured in self.measured.range(from..to).filter(|m| m.clear == clear) {
            power += f64::from(measured.power);
            noise += f64::from(measured.noise);
            count += 1.0;
        }
        let db = |ratio: f64| (10.0 * ratio.max(1e-15).log10()) as f32;
        let ms = |frame: usize| FileMs::from_sample((frame * HOP) as u64, ANALYSIS_RATE_HZ);
        // Below a thousandth of the noise nothing can be told from it: −30 dB.
        let speech = (power - noise).max(noise * 1e-3);
        let (tops, frames): (Vec<Top>, Vec<(f32, f32)>) = self
            .measured
            .range(from..to)
            .map(|m| (m.top, (m.power, m.noise)))
            .unzip();
        SpeechSegment {
            clipped: marks::clipped(&tops),
            reverb: marks::reverb(&frames),
            start: ms(from),
            end: ms(to),
            level_dbfs: db(power / f64::max(count, 1.0)).max(SILENCE_DBFS),
            snr_db: db(speech / noise.max(1e-15)),
        }
    }
}
