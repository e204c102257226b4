//! 16 kHz mono: the right length, the right time, nothing folded in.

use super::{Folder, analysis, by_us, make, snr_db};
use sayback::core::units::FileMs;
use sayback::media::{AnalysisStream, ChannelPick, MediaError, read_analysis};
use std::f64::consts::TAU;

const RATES: [u32; 8] = [
    8_000, 11_025, 22_050, 32_000, 44_100, 48_000, 96_000, 192_000,
];
/// What a perfect 16-bit recorder keeps between a full sine and its rounding
/// (6.02 dB a bit and 1.76): a resampler below that changes nothing audible.
const SIXTEEN_BIT_DB: f64 = 6.02 * 16.0 + 1.76;

fn sine(rate: u32, hz: f64, seconds: f64) -> Vec<f32> {
    let count = (f64::from(rate) * seconds) as u32;
    (0..count)
        .map(|n| (0.5 * (TAU * hz * f64::from(n) / f64::from(rate)).sin()) as f32)
        .collect()
}

fn level_db(samples: &[f32]) -> f64 {
    let power = samples.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / samples.len() as f64;
    10.0 * power.max(1e-30).log10()
}

#[test]
fn a_tone_comes_out_as_the_same_tone_at_the_same_time() {
    let folder = Folder::new();
    for rate in RATES {
        let path = folder.file("in.wav", &make::float(1, rate, &sine(rate, 1_000.0, 2.0)));
        let (got, want) = (
            analysis(&path, ChannelPick::Mix),
            sine(16_000, 1_000.0, 2.0),
        );
        assert_eq!(got.len(), want.len(), "{rate} Hz");
        // The ends ring: a tone that starts at once is not band-limited.
        let snr = snr_db(&want[1_600..30_400], &got[1_600..30_400]);
        println!("{rate} Hz: {snr:.1} dB");
        assert!(snr >= SIXTEEN_BIT_DB, "{rate} Hz: {snr:.1} dB");
    }
}

#[test]
fn what_16_khz_cannot_hold_is_left_out_and_the_rest_kept() {
    let folder = Folder::new();
    for rate in [32_000, 44_100, 48_000, 96_000, 192_000] {
        let through = |hz: f64| {
            let path = folder.file("in.wav", &make::float(1, rate, &sine(rate, hz, 2.0)));
            let got = analysis(&path, ChannelPick::Mix);
            level_db(&got[1_600..30_400]) - level_db(&sine(rate, hz, 2.0))
        };
        for hz in [9_000.0, 11_000.0, 15_000.0] {
            let left = through(hz);
            assert!(left < -SIXTEEN_BIT_DB, "{hz} Hz at {rate} Hz: {left:.1} dB");
        }
        for hz in [60.0, 3_000.0, 7_000.0] {
            let change = through(hz);
            assert!(change.abs() < 0.05, "{hz} Hz at {rate} Hz: {change:.3} dB");
        }
    }
}

#[test]
fn sox_resamples_to_the_same_samples() {
    let folder = Folder::new();
    for rate in [44_100, 48_000, 96_000] {
        let path = folder.file("in.wav", &make::plain(1, rate, &make::talk(1, rate, 3)));
        let out = folder.path("sox.wav");
        let done = std::process::Command::new(xtask::oracle::sox())
            .args([
                "-D".as_ref(),
                path.as_os_str(),
                "-e".as_ref(),
                "float".as_ref(),
                "-b".as_ref(),
                "32".as_ref(),
            ])
            .arg(&out)
            .args(["rate", "-v", "16000"])
            .status()
            .unwrap();
        assert!(done.success());
        let (want, got) = (by_us(&out), analysis(&path, ChannelPick::Mix));
        assert_eq!(want.len(), got.len(), "{rate} Hz");
        let snr = snr_db(&want[800..want.len() - 800], &got[800..]);
        println!("{rate} Hz: {snr:.1} dB from sox");
        // Two good filters differ only near the edge, where talk has little.
        assert!(snr > 60.0, "{rate} Hz: {snr:.1} dB");
    }
}

#[test]
fn a_seek_gives_the_very_samples_of_reading_from_the_start() {
    let folder = Folder::new();
    for rate in [8_000, 16_000, 44_100, 48_000, 47_952] {
        let path = folder.file("in.wav", &make::plain(2, rate, &make::talk(2, rate, 4)));
        for pick in [ChannelPick::Mix, ChannelPick::Only(2)] {
            let whole = analysis(&path, pick);
            let mut stream = AnalysisStream::open(&path, pick).unwrap();
            for ms in [3_000, 0, 1, 777, 3_999, 64, 4_000, 9_000] {
                stream.seek(FileMs(ms)).unwrap();
                let mut got = vec![0.0; 5_000];
                let n = stream.read(&mut got).unwrap();
                let from = (ms as usize * 16).min(whole.len());
                let to = (from + 5_000).min(whole.len());
                assert_eq!(got[..n], whole[from..to], "{rate} Hz, {pick}, {ms} ms");
            }
            assert_eq!(
                read_analysis(&path, pick, FileMs(500), FileMs(1_500)).unwrap(),
                whole[8_000..24_000]
            );
        }
    }
}

/// At every rate and in reads that fit nothing, resampled or not.
#[test]
fn what_is_decoded_on_the_way_is_told_once_and_whole() {
    let folder = Folder::new();
    for rate in [8_000, 16_000, 44_100, 96_000] {
        let path = folder.file("in.wav", &make::plain(2, rate, &make::talk(2, rate, 2)));
        let native = by_us(&path);
        let second: Vec<f32> = native.iter().skip(1).step_by(2).copied().collect();
        for (pick, channels, expected) in [
            (ChannelPick::Mix, 2, &native),
            (ChannelPick::Only(2), 1, &second),
        ] {
            let mut stream = AnalysisStream::open(&path, pick).unwrap();
            assert_eq!(stream.told_channels(), channels);
            let (mut told, mut block) = (Vec::new(), vec![0.0; 777]);
            let mut tell = |frames: &[f32]| told.extend_from_slice(frames);
            while stream.read_and_tell(&mut block, &mut tell).unwrap() > 0 {}
            assert_eq!(&told, expected, "{rate} Hz, {pick}");
        }
    }
}

#[test]
fn mixing_is_the_mean_and_picking_is_exact() {
    let folder = Folder::new();
    let path = folder.file(
        "in.wav",
        &make::float(3, 16_000, &[0.5, -0.25, 0.125].repeat(100)),
    );
    assert_eq!(analysis(&path, ChannelPick::Only(2)), vec![-0.25; 100]);
    assert_eq!(analysis(&path, ChannelPick::Mix), vec![0.125; 100]);
    let error = AnalysisStream::open(&path, ChannelPick::Only(4))
        .err()
        .unwrap();
    assert!(
        matches!(
            error,
            MediaError::NoSuchChannel {
                channel: 4,
                channels: 3,
                ..
            }
        ),
        "{error}"
    );
}

#[test]
fn no_more_than_a_minute_is_read_at_once() {
    let folder = Folder::new();
    let path = folder.file("in.wav", &make::plain(1, 8_000, &make::samples(8_000)));
    let read = |from, to| read_analysis(&path, ChannelPick::Mix, FileMs(from), FileMs(to));
    assert_eq!(read(0, 60_000).unwrap().len(), 16_000);
    assert!(read(5_000, 60_000).unwrap().is_empty());
    assert!(read(700, 200).unwrap().is_empty());
    assert!(matches!(read(0, 60_001), Err(MediaError::TooLong { .. })));
    assert!(matches!(
        read(i64::MIN, i64::MAX),
        Err(MediaError::TooLong { .. })
    ));
}
