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
mod tests {
    use super::*;
    use crate::units::FileMs;
    use proptest::prelude::*;

    fn segment(start: i64, end: i64) -> SpeechSegment {
        SpeechSegment {
            start: FileMs(start),
            end: FileMs(end),
            level_dbfs: -20.0,
            snr_db: 20.0,
            clipped: 0.0,
            reverb: 0.0,
        }
    }

    fn made(channels: u16, rate_hz: u32, samples: &[f32]) -> Peaks {
        let mut maker = PeakMaker::new(channels, rate_hz).unwrap();
        maker.push(samples);
        maker.finish(&[])
    }

    /// A level as one list of bins.
    fn level(peaks: &Peaks, level: u8) -> Vec<(i8, i8, u8)> {
        let tiles = peaks.tiles().filter(|tile| tile.level == level);
        let bytes: Vec<u8> = tiles.flat_map(|tile| tile.body).collect();
        let bin = |b: &[u8]| (b[0] as i8, b[1] as i8, b[2]);
        bytes.chunks(BIN_BYTES).map(bin).collect()
    }

    #[test]
    fn a_sample_is_kept_by_its_root() {
        for (sample, byte) in [
            (0.0, 0),
            (-0.0, 0),
            (1.0, 127),
            (-1.0, -127),
            (0.25, 64),
            (-0.01, -13),
            (7.0, 127),
            (f32::INFINITY, 127),
            (f32::NEG_INFINITY, -127),
            (f32::NAN, 0),
            (-f32::NAN, 0),
            (1e-40, 0),
        ] {
            assert_eq!(to_byte(sample), byte, "{sample}");
        }
        for byte in -127..=127 {
            assert_eq!(to_byte(from_byte(byte)), byte);
        }
    }

    #[test]
    fn levels_are_told_by_their_lengths() {
        let lengths: Vec<i64> = (0..LEVELS).map(bin_ms).collect();
        assert_eq!(lengths, [10, 40, 160, 640, 2_560, 10_240]);
        // Ten hours.
        let bins = 10 * 3_600 * BINS_PER_S;
        assert_eq!(bins_at(0, bins), 3_600_000);
        assert_eq!(bins_at(5, bins), 3_516);
        assert_eq!(level_for(bins, 4_096), 5);
        assert_eq!(level_for(bins, 16_384), 4);
        assert_eq!(level_for(bins, 0), 5);
        assert_eq!(level_for(0, 0), 0);
        assert_eq!(level_for(4_096, 4_096), 0);
        assert_eq!(level_for(4_097, 4_096), 1);
        let most = bins_at(LEVELS - 1, MOST_BINS);
        assert_eq!(most, MOST_COARSE_TILES * TILE_BINS as u64);
    }

    /// An impulse in the first and in the last sample of bins far into a recording shows
    /// in these and in no other.
    #[test]
    fn bins_do_not_drift() {
        for rate_hz in [100, 8_000, 11_025, 22_050, 44_100, 48_000, 96_001] {
            let hour = 600 * u64::from(rate_hz);
            let mut samples = vec![0.0_f32; hour as usize + 7];
            let bins = 600 * BINS_PER_S;
            for bin in [0, 1, 7, 441, 30_001, bins - 1] {
                let first = (bin * u64::from(rate_hz)).div_ceil(100);
                let last = ((bin + 1) * u64::from(rate_hz)).div_ceil(100) - 1;
                // By the definition: the bin that its instant lies in.
                assert_eq!(first * 100 / u64::from(rate_hz), bin);
                assert_eq!(last * 100 / u64::from(rate_hz), bin);
                samples[first as usize] = 0.5;
                samples[last as usize] = -0.5;
                let peaks = made(1, rate_hz, &samples);
                let alone = first == last;
                for (n, &[low, high]) in peaks.bins.iter().enumerate() {
                    let here = n as u64 == bin;
                    assert_eq!(low == -90, here, "{rate_hz} Hz, bin {bin}: {n}");
                    assert_eq!(high == 90, here && !alone, "{rate_hz} Hz, bin {bin}: {n}");
                }
                samples[first as usize] = 0.0;
                samples[last as usize] = 0.0;
            }
        }
    }

    #[test]
    fn what_is_no_recording_has_no_bins_and_what_is_too_long_no_more() {
        assert!(PeakMaker::new(0, 48_000).is_none());
        assert!(PeakMaker::new(1, 99).is_none());
        assert_eq!(made(40, 48_000, &[]).tiles().count(), 0);
        let mut maker = PeakMaker::new(1, 100).unwrap();
        maker.bins = vec![[0, 0]; MOST_BINS as usize - 1];
        maker.push(&[0.25; 50]);
        let peaks = maker.finish(&[segment(0, i64::MAX)]);
        assert_eq!(peaks.bins(), MOST_BINS);
        let coarse = peaks.tiles().filter(|tile| tile.level == LEVELS - 1);
        let tiles: Vec<Tile> = coarse.collect();
        assert_eq!(tiles.len() as u64, MOST_COARSE_TILES);
        assert_eq!(tiles[3].body.len(), TILE_BINS * BIN_BYTES);
        assert_eq!(tiles[3].body[TILE_BINS * BIN_BYTES - 3..], [0, 64, 255]);
    }

    #[test]
    fn the_last_bin_shares_what_there_is() {
        // 25 ms: two and a half bins, of which speech has the last 12 ms and more.
        let mut maker = PeakMaker::new(1, 8_000).unwrap();
        maker.push(&[0.1; 200]);
        let peaks = maker.finish(&[segment(13, 90), segment(-20, 2), segment(1, 3)]);
        let shares = |n| -> Vec<u8> { level(&peaks, n).iter().map(|bin| bin.2).collect() };
        // 3 of 10 ms, 7 of 10, 10 of 10.
        assert_eq!(shares(0), [77, 179, 255]);
        // 20 of the 30 ms there are.
        assert_eq!(shares(1), [170]);
    }

    /// Every level by a look at each sample and each ms.
    fn plain(
        channels: usize,
        rate: u64,
        samples: &[f32],
        speech: &[(i64, i64)],
        level: u8,
    ) -> Vec<(i8, i8, u8)> {
        let frames: Vec<&[f32]> = samples.chunks(channels).collect();
        let fine = |frame: usize| frame as u64 * 1_000 / rate / BIN_MS as u64;
        let all = fine(frames.len() - 1) + 1;
        let wide = 4_u64.pow(u32::from(level));
        (0..all.div_ceil(wide))
            .map(|bin| {
                let own: Vec<f32> = (0..frames.len())
                    .filter(|&n| fine(n) / wide == bin)
                    .flat_map(|n| frames[n].iter().copied())
                    .map(|sample| if sample.is_finite() { sample } else { 0.0 })
                    .collect();
                let from = (bin * wide) as i64 * BIN_MS;
                let to = ((bin + 1) * wide).min(all) as i64 * BIN_MS;
                let spoken =
                    (from..to).filter(|ms| speech.iter().any(|span| (span.0..span.1).contains(ms)));
                let share = spoken.count() as f64 / (to - from) as f64 * 255.0;
                let low = own.iter().copied().fold(f32::INFINITY, f32::min);
                let high = own.iter().copied().fold(f32::NEG_INFINITY, f32::max);
                (to_byte(low), to_byte(high), share.round() as u8)
            })
            .collect()
    }

    fn any_sample() -> impl Strategy<Value = f32> {
        prop_oneof![
            8 => -1.2_f32..1.2,
            1 => any::<f32>(),
            1 => Just(f32::NAN),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]
        #[test]
        fn all_levels_are_those_of_a_plain_reading(
            channels in prop_oneof![Just(1_u16), Just(2), Just(3), Just(40)],
            rate in prop_oneof![Just(100_u32), Just(441), Just(8_000), Just(11_025), 100_u32..3_000],
            samples in prop::collection::vec(any_sample(), 1..6_000),
            cuts in prop::collection::vec(0_usize..6_000, 0..6),
            spans in prop::collection::vec((-50_i64..3_000, 1_i64..400), 0..6),
        ) {
            let speech: Vec<(i64, i64)> = spans.iter().map(|&(at, long)| (at, at + long)).collect();
            let segments: Vec<SpeechSegment> =
                speech.iter().map(|&(from, to)| segment(from, to)).collect();
            let mut maker = PeakMaker::new(channels, rate).unwrap();
            let mut cuts: Vec<usize> = cuts.iter().map(|cut| cut % samples.len()).collect();
            cuts.sort_unstable();
            let mut from = 0;
            for to in cuts.into_iter().chain([samples.len()]) {
                maker.push(&samples[from..to]);
                from = to;
            }
            let peaks = maker.finish(&segments);
            for n in 0..LEVELS {
                let expected = plain(usize::from(channels), u64::from(rate), &samples, &speech, n);
                prop_assert_eq!(bins_at(n, peaks.bins()) as usize, expected.len());
                prop_assert_eq!(level(&peaks, n), expected, "level {}", n);
            }
        }

        #[test]
        fn what_is_kept_is_within_a_step(sample in -1.0_f32..1.0) {
            let byte = to_byte(sample);
            let step = |by: f32| ((f32::from(byte).abs() + by) / 127.0).max(0.0).powi(2);
            prop_assert!(sample.abs() <= step(0.5001) && sample.abs() >= step(-0.5001) - 1e-6);
            prop_assert!(byte == 0 || (byte < 0) == (sample < 0.0));
        }
    }
}
