//! From frames to rows.

use ebur128::{Channel, EbuR128, Mode};

use super::hum::Hum;
use super::spread::{BANDS, Spread};
use super::tears::Tears;
use super::tops::Tops;
use super::track::{Level, Row, STEP_MS, Track};

/// A sample at or above this stands at full scale: 0.001 dB below it, or the highest
/// number of 16 bits.
const FULL_SCALE: f32 = 0.9999;
/// So many samples at full scale in a row are clipped; a single one may be a peak.
const CLIPPED_RUN: u32 = 3;
/// Nothing slower is sound.
const LEAST_RATE_HZ: u32 = 100;
/// A flat top lies at least so near the highest sample around it.
const NEAR_PEAK: f32 = 0.7;
/// Channels that are listened to for hum: the others of a recorder have its mains, too.
const HUM_CHANNELS: u16 = 2;
/// A burst is a frame of this length, ms, so many times as strong as the usual one of
/// its tenth of a second.
const BURST_MS: u64 = 5;
const BURST: f32 = 16.0;
/// Below this mean square nothing is a burst: −80 dBFS.
const FAINT: f32 = 1e-8;
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
    /// Where the wave is torn off.
    tears: Tears,
    /// Flat tops, of each channel.
    tops: Vec<Tops>,
    spread: Spread,
    /// Hum, of the first channels.
    hum: Vec<Hum>,
    /// Samples of one channel.
    one: Vec<f32>,
    rows: Vec<Row>,
}

impl Meter {
    /// A meter for frames of `channels` at `rate_hz`; `None` for what is no recording
    /// (no channel or more than 64, a rate below 100 Hz or above 2.8 MHz).
    ///
    /// Every channel counts alike: those of a recorder are microphones, not a ring of
    /// loudspeakers.
    #[must_use]
    pub fn new(channels: u16, rate_hz: u32) -> Option<Self> {
        // The library ends the program at rates far below those of sound.
        if rate_hz < LEAST_RATE_HZ {
            return None;
        }
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
            tears: Tears::new(rate_hz),
            tops: vec![Tops::default(); usize::from(channels)],
            spread: Spread::new(rate_hz),
            hum: (0..channels.min(HUM_CHANNELS))
                .filter_map(|_| Hum::new(rate_hz))
                .collect(),
            one: Vec::new(),
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
        let samples = self.rate_hz * self.channels as u64 * STEP_MS as u64 / 1000;
        Track::new(self.rows, u32::try_from(samples).unwrap_or(u32::MAX))
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
            tears: self.torn(&open),
            ..Row::default()
        };
        if self.weighing.add_frames_f32(&open).is_ok() {
            let window = (frames as u64 * 1000 / self.rate_hz) as u32;
            let loudness = self.weighing.loudness_window(window);
            row.power = super::loudness::power(loudness.unwrap_or(f64::NEG_INFINITY)) as f32;
            for channel in 0..self.channels as u32 {
                let highest = |value: Result<f64, _>| value.unwrap_or(0.0) as f32;
                row.true_peak = row
                    .true_peak
                    .max(highest(self.weighing.prev_true_peak(channel)));
                row.sample_peak = row
                    .sample_peak
                    .max(highest(self.weighing.prev_sample_peak(channel)));
            }
        }
        self.look_at(&open, &mut row);
        self.rows.push(row);
        // Kept for the next row.
        self.open = open;
        self.open.clear();
    }

    /// What is told channel by channel.
    fn look_at(&mut self, samples: &[f32], row: &mut Row) {
        let mut one = std::mem::take(&mut self.one);
        let mut bands = [0.0_f64; BANDS];
        let (mut flat, mut offset) = (0_u32, 0.0_f64);
        for channel in 0..self.channels {
            one.clear();
            one.extend(samples.iter().skip(channel).step_by(self.channels));
            let share = 1.0 / self.channels as f64;
            for (sum, power) in bands.iter_mut().zip(self.spread.of(&one)) {
                *sum += share * power;
            }
            if let Some(hum) = self.hum.get_mut(channel) {
                hum.push(one.iter().copied());
                for (level, power) in row.hum.iter_mut().zip(hum.lines()) {
                    *level = (*level).max(Level::of(power));
                }
            }
            let mean = one.iter().map(|s| f64::from(*s)).sum::<f64>() / one.len().max(1) as f64;
            offset = offset.max(mean * mean);
            row.bursts = row.bursts.max(bursts(&one, self.rate_hz));
            flat += self.flat_tops(channel, &one, row.sample_peak);
        }
        row.bands = bands.map(Level::of);
        row.offset = Level::of(offset);
        row.flat = u16::try_from(flat).unwrap_or(u16::MAX);
        self.one = one;
    }

    /// Samples at flat tops below full scale that end here, near the highest sample.
    fn flat_tops(&mut self, channel: usize, samples: &[f32], peak: f32) -> u32 {
        let Some(tops) = self.tops.get_mut(channel) else {
            return 0;
        };
        let ended = samples.iter().filter_map(|sample| tops.push(*sample));
        ended
            .filter(|top| top.height < FULL_SCALE && top.height >= NEAR_PEAK * peak)
            .map(|top| top.samples)
            .sum()
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

    /// How often the wave is torn off here.
    fn torn(&mut self, samples: &[f32]) -> u8 {
        let frames = samples.chunks_exact(self.channels);
        let torn = frames.filter(|frame| self.tears.push(frame)).count();
        u8::try_from(torn).unwrap_or(u8::MAX)
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

/// Frames that jump out of their tenth of a second, highs alone (differences from sample
/// to sample), which cloth and knocks have and hum and wind have not.
fn bursts(samples: &[f32], rate_hz: u64) -> u8 {
    let frame = usize::try_from(rate_hz * BURST_MS / 1000)
        .unwrap_or(1)
        .max(2);
    let of = |frame: &[f32]| {
        let steps = frame.windows(2).map(|pair| (pair[1] - pair[0]).powi(2));
        steps.sum::<f32>() / frame.len() as f32
    };
    let powers: Vec<f32> = samples.chunks_exact(frame).map(of).collect();
    let mut sorted = powers.clone();
    sorted.sort_by(f32::total_cmp);
    let Some(usual) = sorted.get(sorted.len() / 2) else {
        return 0;
    };
    let least = (BURST * usual).max(FAINT);
    let many = powers.iter().filter(|power| **power > least).count();
    u8::try_from(many).unwrap_or(u8::MAX)
}
