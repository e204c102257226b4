//! What does a recording look like from afar?
//!
//! Frames at the file's own rate to bins of 10 ms, each with the lowest and the highest
//! sample in it, and from these the bins of five coarser levels, each of four of the level
//! below: a page draws ten hours from 3,516 bins and a second from a hundred.
//!
//! Sample `n` lies in the bin of 10 ms that its instant `n / rate` lies in: bin `k` begins
//! with sample `⌈k · rate / 100⌉`, in whole numbers, so that nothing drifts at 44.1 kHz
//! or 11.025 kHz.
//!
//! Memory: 2 bytes for each 10 ms, 7.2 MB for ten hours, 34 MB at most (twice that while
//! the list grows). Cost: one look at each sample.

use super::SpeechSegment;

/// Length of a bin of the finest level, ms.
pub const BIN_MS: i64 = 10;
/// Levels, the finest first.
pub const LEVELS: u8 = 6;
/// Bins of one level that make one of the next.
const FACTOR: u64 = 4;
/// Bins of a tile; the last one of a level may have fewer.
pub const TILE_BINS: usize = 4096;
/// Bytes of a bin.
pub const BIN_BYTES: usize = 3;
/// So many tiles the coarsest level has at most: what comes after 46 h 36 min is not drawn.
pub const MOST_COARSE_TILES: u64 = 4;
/// The most bins of the finest level.
pub const MOST_BINS: u64 = MOST_COARSE_TILES * TILE_BINS as u64 * FACTOR.pow(LEVELS as u32 - 1);
/// Bins of the finest level in a second.
const BINS_PER_S: u64 = 100;
/// Nothing slower is sound, Hz; and each bin has a sample.
const LEAST_RATE_HZ: u32 = 100;
/// Samples that are looked at side by side.
const LANES: usize = 16;

/// A sample as it is kept: `round(127 · sign(v) · √min(|v|, 1))`. The root keeps quiet
/// sound visible: −40 dBFS is 13 of 127, where it would be 1. What is no number is silence.
#[must_use]
pub fn to_byte(sample: f32) -> i8 {
    let size = sample.abs().min(1.0).sqrt() * 127.0;
    if sample.is_nan() {
        return 0;
    }
    size.round().copysign(sample) as i8
}

/// The sample that a byte stands for, −1 to 1.
#[must_use]
pub fn from_byte(byte: i8) -> f32 {
    let root = f32::from(byte) / 127.0;
    (root * root).copysign(root)
}

/// Length of a bin of a level, ms; of a level there is not, that of the coarsest.
#[must_use]
pub fn bin_ms(level: u8) -> i64 {
    BIN_MS * parts(level) as i64
}

/// Bins of a level, of a recording that has `bins` of the finest.
#[must_use]
pub fn bins_at(level: u8, bins: u64) -> u64 {
    bins.div_ceil(parts(level))
}

/// The finest level on which such a recording has `most` bins or fewer; the coarsest where
/// none has.
#[must_use]
pub fn level_for(bins: u64, most: u64) -> u8 {
    (0..LEVELS)
        .find(|&level| bins_at(level, bins) <= most)
        .unwrap_or(LEVELS - 1)
}

/// Bins of the finest level in one of this.
fn parts(level: u8) -> u64 {
    FACTOR.pow(u32::from(level.min(LEVELS - 1)))
}

/// The lowest and the highest sample of a stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Reach {
    low: f32,
    high: f32,
}

impl Reach {
    const NONE: Self = Self {
        low: f32::INFINITY,
        high: f32::NEG_INFINITY,
    };

    fn with(self, other: Self) -> Self {
        Self {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }

    /// What is no number counts as silence.
    fn of(samples: &[f32]) -> Self {
        let finite = |sample: f32| {
            if sample.abs() < f32::INFINITY {
                sample
            } else {
                0.0
            }
        };
        let (blocks, rest) = samples.as_chunks::<LANES>();
        let mut low = [f32::INFINITY; LANES];
        let mut high = [f32::NEG_INFINITY; LANES];
        for block in blocks {
            for ((sample, low), high) in block.iter().zip(&mut low).zip(&mut high) {
                let sample = finite(*sample);
                // Plain comparisons, which processors make of many at once.
                *low = if sample < *low { sample } else { *low };
                *high = if sample > *high { sample } else { *high };
            }
        }
        let lanes = low.iter().zip(&high);
        let lanes = lanes.map(|(&low, &high)| Self { low, high });
        let rest = rest.iter().map(|&sample| Self {
            low: finite(sample),
            high: finite(sample),
        });
        lanes.chain(rest).fold(Self::NONE, Self::with)
    }
}

/// Makes the bins of a recording.
#[derive(Clone, Debug)]
pub struct PeakMaker {
    channels: usize,
    rate_hz: u64,
    /// Of the samples of the bin that is not full yet.
    open: Reach,
    /// Samples it still lacks.
    lacks: usize,
    bins: Vec<[i8; 2]>,
}

impl PeakMaker {
    /// A maker for frames of `channels` at `rate_hz`; `None` for what is no recording (no
    /// channel, or a rate below 100 Hz).
    #[must_use]
    pub fn new(channels: u16, rate_hz: u32) -> Option<Self> {
        if channels == 0 || rate_hz < LEAST_RATE_HZ {
            return None;
        }
        let mut maker = Self {
            channels: usize::from(channels),
            rate_hz: u64::from(rate_hz),
            open: Reach::NONE,
            lacks: 0,
            bins: Vec::new(),
        };
        maker.lacks = maker.bin_samples();
        Some(maker)
    }

    /// Takes the next frames, interleaved, full scale 1.0.
    pub fn push(&mut self, frames: &[f32]) {
        let mut rest = frames;
        while !rest.is_empty() && (self.bins.len() as u64) < MOST_BINS {
            let (now, later) = rest.split_at(self.lacks.min(rest.len()));
            self.open = self.open.with(Reach::of(now));
            self.lacks -= now.len();
            rest = later;
            if self.lacks == 0 {
                self.close();
            }
        }
    }

    /// What was pushed, with its speech. A last bin that is not full is one all the same.
    #[must_use]
    pub fn finish(mut self, speech: &[SpeechSegment]) -> Peaks {
        if self.open != Reach::NONE {
            self.close();
        }
        let mut spans: Vec<(i64, i64)> = speech
            .iter()
            .map(|segment| (segment.start.0.max(0), segment.end.0))
            .collect();
        spans.sort_unstable();
        Peaks {
            bins: self.bins,
            speech: spans,
        }
    }

    fn close(&mut self) {
        let Reach { low, high } = std::mem::replace(&mut self.open, Reach::NONE);
        self.bins.push([to_byte(low), to_byte(high)]);
        self.lacks = self.bin_samples();
    }

    /// Samples of the next bin: of rates that are no multiple of 100 Hz bins differ by a
    /// frame.
    fn bin_samples(&self) -> usize {
        let begins = |bin: u64| (bin * self.rate_hz).div_ceil(BINS_PER_S);
        let bin = self.bins.len() as u64;
        (begins(bin + 1) - begins(bin)) as usize * self.channels
    }
}

/// The wave of a recording in bins.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Peaks {
    /// Lowest and highest of each bin of the finest level.
    bins: Vec<[i8; 2]>,
    /// From and to, ms, in order.
    speech: Vec<(i64, i64)>,
}

/// A piece of one level.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tile {
    /// The level, the finest is 0.
    pub level: u8,
    /// Its place in the level, from 0.
    pub number: u32,
    /// Three bytes a bin: lowest and highest sample as [`to_byte`] gives them, and the
    /// share of the bin that is speech, of 255.
    pub body: Vec<u8>,
}

impl Peaks {
    /// Bins of the finest level.
    #[must_use]
    pub fn bins(&self) -> u64 {
        self.bins.len() as u64
    }

    /// All tiles, level by level, the finest first; made one by one.
    pub fn tiles(&self) -> impl Iterator<Item = Tile> + '_ {
        (0..LEVELS).flat_map(|level| {
            let whole = parts(level) as usize;
            let mut spoken = Spoken::of(&self.speech);
            let tiles = self.bins.chunks(whole * TILE_BINS).zip(0_u64..);
            tiles.map(move |(bins, n)| {
                let begins = n * TILE_BINS as u64 * parts(level);
                let mut body = Vec::with_capacity(bins.len().div_ceil(whole) * BIN_BYTES);
                let mut at_ms = begins as i64 * BIN_MS;
                for bin in bins.chunks(whole) {
                    let low = bin.iter().map(|[low, _]| *low).min().unwrap_or(0);
                    let high = bin.iter().map(|[_, high]| *high).max().unwrap_or(0);
                    let length_ms = bin.len() as i64 * BIN_MS;
                    let speech_ms = spoken.between(at_ms, at_ms + length_ms);
                    let share = (255 * speech_ms + length_ms / 2) / length_ms;
                    body.extend([low as u8, high as u8, share as u8]);
                    at_ms += length_ms;
                }
                Tile {
                    level,
                    number: n as u32,
                    body,
                }
            })
        })
    }
}

/// How much of one stretch after another is speech.
struct Spoken<'a> {
    /// What does not end before the next stretch.
    left: &'a [(i64, i64)],
}

impl<'a> Spoken<'a> {
    fn of(spans: &'a [(i64, i64)]) -> Self {
        Self { left: spans }
    }

    /// Of a stretch that begins no earlier than the last one ended, ms.
    fn between(&mut self, start_ms: i64, end_ms: i64) -> i64 {
        while let [first, rest @ ..] = self.left
            && first.1 <= start_ms
        {
            self.left = rest;
        }
        let mut spoken = 0;
        // Spans that overlap count once.
        let mut until = start_ms;
        for &(from, to) in self.left.iter().take_while(|span| span.0 < end_ms) {
            let (from, to) = (from.max(until), to.min(end_ms));
            spoken += (to - from).max(0);
            until = until.max(to);
        }
        spoken
    }
}

#[cfg(test)]
mod tests;
