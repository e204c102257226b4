//! The signals of EBU Tech 3341 (2023) and 3342 that a meter has to get right, made
//! here; expected values and tolerances are the standards'. Cases 6 to 8 (surround and
//! programmes), 12 to 14 (momentary loudness, which is not told) and 20 to 23 (official
//! files only) are left out.

use std::f64::consts::TAU;

use proptest::prelude::*;

use super::loudness::Loudness;
use super::*;
use crate::units::FileMs;

const RATE: u32 = 48_000;

/// 1 kHz on both channels: peak in dBFS, seconds; −∞ is silence.
fn tones(parts: &[(f64, f64)]) -> Vec<f32> {
    let mut frames = Vec::new();
    let mut at = 0_u64;
    for (dbfs, seconds) in parts {
        let amplitude = 10.0_f64.powf(dbfs / 20.0);
        for _ in 0..(seconds * f64::from(RATE)).round() as u64 {
            let wave = amplitude * (TAU * 1_000.0 * at as f64 / f64::from(RATE)).sin();
            frames.extend([wave as f32; 2]);
            at += 1;
        }
    }
    frames
}

fn track(channels: u16, rate_hz: u32, frames: &[f32]) -> Track {
    let mut meter = Meter::new(channels, rate_hz).expect("a recording");
    // In pieces that fit nothing.
    for piece in frames.chunks(1_000 * usize::from(channels) + 2 * usize::from(channels)) {
        meter.push(piece);
    }
    meter.finish()
}

fn loudness(parts: &[(f64, f64)]) -> Loudness {
    Loudness::of(track(2, RATE, &tones(parts)).rows())
}

fn near(found: Option<f64>, expected: f64, tolerance: f64) {
    let found = found.expect("a level");
    assert!(
        (found - expected).abs() <= tolerance,
        "{found} instead of {expected}"
    );
}

#[test]
fn steady_tones_are_as_loud_as_they_are() {
    for level in [-23.0, -33.0] {
        let found = loudness(&[(level, 20.0)]);
        near(found.integrated_lufs, level, 0.1);
        near(found.max_short_term_lufs, level, 0.1);
    }
}

#[test]
fn quiet_parts_do_not_count() {
    let three = [(-36.0, 10.0), (-23.0, 60.0), (-36.0, 10.0)];
    near(loudness(&three).integrated_lufs, -23.0, 0.1);
    let mut five = vec![(-72.0, 10.0)];
    five.extend(three);
    five.push((-72.0, 10.0));
    near(loudness(&five).integrated_lufs, -23.0, 0.1);
    let close = [(-26.0, 20.0), (-20.0, 20.1), (-26.0, 20.0)];
    near(loudness(&close).integrated_lufs, -23.0, 0.1);
}

#[test]
fn short_windows_hold_what_they_should() {
    let nine = [(-20.0, 1.34), (-30.0, 1.66)].repeat(5);
    let rows = track(2, RATE, &tones(&nine));
    for last in 30..rows.rows().len() {
        let window = Loudness::of(&rows.rows()[last - 30..last]);
        near(window.max_short_term_lufs, -23.0, 0.1);
    }
}

#[test]
fn bursts_anywhere_reach_their_level() {
    let silence = f64::NEG_INFINITY;
    for n in 0..20 {
        let n = f64::from(n);
        let ten = [(silence, n * 0.15), (-23.0, 3.0), (silence, 1.0)];
        near(loudness(&ten).max_short_term_lufs, -23.0, 0.1);
        let eleven = [(silence, n * 0.15), (n - 38.0, 3.0), (silence, 1.0)];
        near(loudness(&eleven).max_short_term_lufs, n - 38.0, 0.1);
    }
}

#[test]
fn the_range_is_that_of_tech_3342() {
    for (parts, range) in [
        (vec![(-20.0, 20.0), (-30.0, 20.0)], 10.0),
        (vec![(-20.0, 20.0), (-15.0, 20.0)], 5.0),
        (vec![(-40.0, 20.0), (-20.0, 20.0)], 20.0),
        (
            [-50.0, -35.0, -20.0, -35.0, -50.0]
                .map(|level| (level, 20.0))
                .to_vec(),
            15.0,
        ),
    ] {
        near(loudness(&parts).range_lu, range, 1.0);
    }
}

/// A tone of `rate / period` that is faded in and out over 10 ms.
fn between_samples(period: f64, amplitude: f64, degrees: f64) -> Stretch {
    let length = RATE as usize;
    let fade = |n: usize| (n.min(length - 1 - n) as f64 / 480.0).min(1.0);
    let wave = |n: usize| amplitude * fade(n) * (TAU * (n as f64 / period + degrees / 360.0)).sin();
    let frames: Vec<f32> = (0..length).flat_map(|n| [wave(n) as f32; 2]).collect();
    track(2, RATE, &frames).stretch(FileMs(0), FileMs(1_000))
}

#[test]
fn the_wave_between_samples_is_seen() {
    for (period, amplitude, degrees, expected) in [
        (4.0, 0.5, 0.0, -6.0),
        (4.0, 0.5, 45.0, -6.0),
        (6.0, 0.5, 60.0, -6.0),
        (8.0, 0.5, 67.5, -6.0),
        (4.0, 1.41, 45.0, 3.0),
    ] {
        let found = between_samples(period, amplitude, degrees)
            .true_peak_dbtp
            .expect("a peak");
        assert!(
            (-0.4..=0.2).contains(&(found - expected)),
            "period {period}, {degrees} degrees: {found} instead of {expected}"
        );
    }
    near(
        between_samples(4.0, 0.5, 45.0).sample_peak_dbfs,
        -9.03,
        0.01,
    );
}

/// BS.1770-4: 997 Hz at full scale on one channel is −3.01 LKFS; a mono file is 3 dB
/// below a stereo file of the same wave.
#[test]
fn one_channel_is_half_of_two() {
    let wave = |hz: f64, amplitude: f64| -> Vec<f32> {
        let at = |n: u32| amplitude * (TAU * hz * f64::from(n) / f64::from(RATE)).sin();
        (0..RATE * 5).map(|n| at(n) as f32).collect()
    };
    let full = track(1, RATE, &wave(997.0, 1.0));
    near(Loudness::of(full.rows()).integrated_lufs, -3.01, 0.01);
    let mono = track(1, RATE, &wave(1_000.0, 10.0_f64.powf(-23.0 / 20.0)));
    near(Loudness::of(mono.rows()).integrated_lufs, -26.0, 0.1);
}

#[test]
fn every_rate_a_recorder_has_is_measured_alike() {
    for rate_hz in [
        8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 96_000, 192_000,
    ] {
        let at = |n: u32| 0.1 * (TAU * 1_000.0 * f64::from(n) / f64::from(rate_hz)).sin();
        let frames: Vec<f32> = (0..rate_hz * 5).map(|n| at(n) as f32).collect();
        let found = track(1, rate_hz, &frames);
        assert_eq!(found.rows().len(), 50, "{rate_hz} Hz");
        // 20 dB below full scale, of a sine on one channel.
        near(Loudness::of(found.rows()).integrated_lufs, -23.0, 0.15);
    }
}

#[test]
fn what_stands_at_full_scale_is_counted() {
    let mut frames = vec![0.5_f32; 4_800];
    // One and two are peaks; five in a row, over the end of a row, are not.
    frames[100] = 1.0;
    frames[200..202].fill(-1.0);
    frames.extend(vec![0.5; 4_800]);
    frames[4_798..4_803].fill(32_767.0 / 32_768.0);
    let found = track(1, RATE, &frames);
    let rows: Vec<u16> = found.rows().iter().map(|row| row.clipped).collect();
    assert_eq!(rows, [0, 5], "a run counts where it has become one");
}

#[test]
fn digital_silence_is_told_from_quiet() {
    let mut frames = vec![1e-6_f32; 48_000];
    // 9 ms of zeros are nothing, 250 ms are.
    frames[1_000..1_432].fill(0.0);
    frames[10_000..22_000].fill(0.0);
    let found = track(1, RATE, &frames).stretch(FileMs(0), FileMs(1_000));
    assert!(
        (249..=250).contains(&found.silent_ms),
        "{}",
        found.silent_ms
    );
    let zeros = track(1, RATE, &vec![0.0; 48_000]).stretch(FileMs(0), FileMs(1_000));
    assert_eq!(zeros.silent_ms, 1_000);
    assert_eq!(zeros.loudness, Loudness::default());
    assert_eq!((zeros.true_peak_dbtp, zeros.sample_peak_dbfs), (None, None));
}

#[test]
fn a_stretch_is_no_longer_than_the_recording() {
    let found = track(2, RATE, &tones(&[(-23.0, 2.0)]));
    for (start, end) in [(-5_000, 90_000), (0, 2_000)] {
        near(
            found
                .stretch(FileMs(start), FileMs(end))
                .loudness
                .integrated_lufs,
            -23.0,
            0.1,
        );
    }
    for (start, end) in [
        (5_000, 6_000),
        (1_000, 500),
        (i64::MIN, i64::MIN),
        (i64::MAX, i64::MAX),
    ] {
        let nothing = found.stretch(FileMs(start), FileMs(end));
        assert_eq!(nothing, Stretch::default(), "{start} to {end}");
    }
    assert!(Meter::new(0, RATE).is_none());
    for rate_hz in [0, 1, 16, 99] {
        assert!(Meter::new(1, rate_hz).is_none());
    }
    let mut slow = Meter::new(2, 100).expect("a meter");
    slow.push(&[0.5; 1_000]);
    assert_eq!(slow.finish().rows().len(), 50);
}

proptest! {
    /// Whatever is recorded, a track can be kept, and reads back within what is kept.
    #[test]
    fn a_track_is_kept(
        frames in prop::collection::vec(prop::num::f32::ANY, 0..4_000),
        channels in 1_u16..4,
    ) {
        let found = track(channels, 8_000, &frames);
        let kept = Track::from_bytes(&found.to_bytes()).expect("a track");
        prop_assert_eq!(kept.rows().len(), found.rows().len());
        for (kept, row) in kept.rows().iter().zip(found.rows()) {
            prop_assert_eq!((kept.clipped, kept.silent_ms), (row.clipped, row.silent_ms));
            if row.true_peak > 1e-15 && row.true_peak < 1e15 {
                prop_assert!((kept.true_peak / row.true_peak).ln().abs() < 0.001);
            }
        }
        prop_assert_eq!(Track::from_bytes(&kept.to_bytes()).expect("a track"), kept);
    }

    #[test]
    fn bytes_that_are_no_track_are_refused(bytes in prop::collection::vec(any::<u8>(), 0..40)) {
        if let Some(track) = Track::from_bytes(&bytes) {
            prop_assert_eq!(track.to_bytes().len(), bytes.len());
        }
    }
}
