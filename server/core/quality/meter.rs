//! From frames to rows.

use ebur128::{Channel, EbuR128, Mode};

use super::track::{Row, STEP_MS, Track};

/// A sample at or above this stands at full scale: 0.001 dB below it, or the highest
/// number of 16 bits.
const FULL_SCALE: f32 = 0.9999;
/// So many samples at full scale in a row are clipped; a single one may be a peak.
const CLIPPED_RUN: u32 = 3;
/// Zeros of this length are digital silence, ms.
const SILENCE_MS: u64 = 10;

/// Measures a recording, tenth of a second by tenth of a second.
pub struct Meter {
    weighing: EbuR128,
    channels: usize,
    rate_hz: u64,
    /// Frames of the row that is not full yet, interleaved.
    open: Vec<f32>,
    /// Frames of full rows.
    done: u64,
    /// Samples at full scale in a row, of each channel.
    runs: Vec<u32>,
    /// Frames of zeros in a row.
    zeros: u64,
    rows: Vec<Row>,
}

impl Meter {
    /// A meter for frames of `channels` at `rate_hz`; `None` for what is no recording
    /// (no channel or more than 64, a rate below 16 Hz or above 2.8 MHz).
    ///
    /// Every channel counts alike: those of a recorder are microphones, not a ring of
    /// loudspeakers.
    #[must_use]
    pub fn new(channels: u16, rate_hz: u32) -> Option<Self> {
        let mode = Mode::M | Mode::TRUE_PEAK;
        let mut weighing = EbuR128::new(u32::from(channels), rate_hz, mode).ok()?;
        for channel in 0..u32::from(channels) {
            weighing.set_channel(channel, Channel::Center).ok()?;
        }
        Some(Self {
            weighing,
            channels: usize::from(channels),
            rate_hz: u64::from(rate_hz),
            open: Vec::new(),
            done: 0,
            runs: vec![0; usize::from(channels)],
            zeros: 0,
            rows: Vec::new(),
        })
    }

    /// Takes the next frames, interleaved, full scale 1.0. What is no number counts as
    /// silence.
    pub fn push(&mut self, frames: &[f32]) {
        let finite = |sample: &f32| if sample.is_finite() { *sample } else { 0.0 };
        let mut rest = frames;
        while !rest.is_empty() {
            let missing = self.row_samples() - self.open.len();
            let (now, later) = rest.split_at(missing.min(rest.len()));
            self.open.extend(now.iter().map(finite));
            rest = later;
            if self.open.len() == self.row_samples() {
                self.close();
            }
        }
    }

    /// The track of what was pushed. A last row that is not full is one all the same.
    #[must_use]
    pub fn finish(mut self) -> Track {
        let whole = self.open.len() / self.channels * self.channels;
        self.open.truncate(whole);
        if whole > 0 {
            self.close();
        }
        Track::new(self.rows)
    }

    /// Samples of the row that is open: of rates that are no multiple of 10 Hz rows
    /// differ by a frame.
    fn row_samples(&self) -> usize {
        let end = (self.rows.len() as u64 + 1) * self.rate_hz * STEP_MS as u64 / 1000;
        (end - self.done) as usize * self.channels
    }

    fn close(&mut self) {
        let open = std::mem::take(&mut self.open);
        let frames = open.len() / self.channels;
        self.done += frames as u64;
        let mut row = Row {
            clipped: self.clipped(&open),
            silent_ms: self.silent_ms(&open),
            ..Row::default()
        };
        if self.weighing.add_frames_f32(&open).is_ok() {
            let window = (frames as u64 * 1000 / self.rate_hz) as u32;
            let loudness = self.weighing.loudness_window(window);
            row.power = super::loudness::power(loudness.unwrap_or(f64::NEG_INFINITY));
            for channel in 0..self.channels as u32 {
                let highest = |value: Result<f64, _>| value.unwrap_or(0.0);
                row.true_peak = row
                    .true_peak
                    .max(highest(self.weighing.prev_true_peak(channel)));
                row.sample_peak = row
                    .sample_peak
                    .max(highest(self.weighing.prev_sample_peak(channel)));
            }
        }
        self.rows.push(row);
        // Kept for the next row.
        self.open = open;
        self.open.clear();
    }

    /// Samples in runs at full scale that end or go on here.
    fn clipped(&mut self, samples: &[f32]) -> u16 {
        let mut clipped = 0_u32;
        for frame in samples.chunks_exact(self.channels) {
            for (run, sample) in self.runs.iter_mut().zip(frame) {
                *run = if sample.abs() >= FULL_SCALE {
                    *run + 1
                } else {
                    0
                };
                clipped += match *run {
                    CLIPPED_RUN => CLIPPED_RUN,
                    run => u32::from(run > CLIPPED_RUN),
                };
            }
        }
        u16::try_from(clipped).unwrap_or(u16::MAX)
    }

    /// Digital silence that ends or goes on here.
    fn silent_ms(&mut self, samples: &[f32]) -> u8 {
        let least = (self.rate_hz * SILENCE_MS / 1000).max(1);
        let mut frames = 0;
        for frame in samples.chunks_exact(self.channels) {
            let zero = frame.iter().all(|sample| *sample == 0.0);
            self.zeros = if zero { self.zeros + 1 } else { 0 };
            frames += match self.zeros {
                zeros if zeros == least => least,
                zeros => u64::from(zeros > least),
            };
        }
        u8::try_from(frames * 1000 / self.rate_hz).unwrap_or(u8::MAX)
    }
}
