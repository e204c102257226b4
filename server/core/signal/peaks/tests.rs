//! Bins held against a plain reading of every sample.

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
