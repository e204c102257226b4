//! Are levels, noise and clipping what the truth says?

use xtask::scene::spec::{Container, NoiseKind, SampleFormat};
use xtask::scene::truth::{ChannelTruth, RecorderTruth};
use xtask::scene::{SceneSpec, Shuffled};

use super::{Built, db, demo, power};

/// Samples of `channel` that lie in the given stretches of file time.
fn within(samples: &[f32], take: &RecorderTruth, spans_ms: &[(f64, f64)]) -> Vec<f32> {
    let rate = f64::from(take.rate_hz);
    let frame = |ms: f64| ((ms / 1000.0 * rate) as usize).min(samples.len());
    spans_ms
        .iter()
        .flat_map(|&(start, end)| samples[frame(start)..frame(end)].to_vec())
        .collect()
}

/// What lies between the lines, 200 ms away from them.
fn pauses(take: &RecorderTruth) -> Vec<(f64, f64)> {
    let mut spans: Vec<(f64, f64)> = take
        .hearings
        .iter()
        .map(|h| (h.start_ms - 200.0, h.end_ms + 200.0))
        .collect();
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let pairs = spans.windows(2).map(|pair| (pair[0].1, pair[1].0));
    pairs.filter(|(start, end)| end > start).collect()
}

fn detection(seed: u64, noise: NoiseKind, snr_db: f64) -> SceneSpec {
    Shuffled::detection(seed, 120.0, noise, snr_db)
        .spec()
        .expect("a spec")
}

/// Speech and noise measured apart, in five kinds of noise and at 20 and 0 dB.
/// Tolerance: the spread of a noise's mean power over some 20 s. Brown noise
/// has about 125 independent values a second (20 Hz corner), so 5 standard
/// errors are 10 log10(1 + 5 sqrt(2 / 2500)) = 0.6 dB; a band plays its own
/// notes, whose power is not fixed: 2 dB.
#[test]
fn noise_and_speech_have_the_levels_chosen() {
    for (noise, tolerance_db) in [
        (NoiseKind::White, 0.6),
        (NoiseKind::Pink, 0.6),
        (NoiseKind::Brown, 0.6),
        (NoiseKind::Hum, 0.6),
        (NoiseKind::Music, 2.0),
    ] {
        for snr_db in [20.0, 0.0] {
            let built = Built::new(&detection(5, noise, snr_db));
            let take = &built.truth.recorders[0];
            let samples = &built.take(take)[0];
            let quiet = power(&within(samples, take, &pauses(take)));
            let wanted_db = -26.0 - snr_db;
            assert!(
                (db(quiet) - wanted_db).abs() < tolerance_db,
                "{noise:?} at {snr_db} dB: noise {:.2} for {wanted_db}",
                db(quiet)
            );
            let loud = power(&within(samples, take, &take.speech_ms(0, -99.0, 0.0))) - quiet;
            // The chosen level is the mean over the lines it hears; where the
            // noise is as strong its own spread comes in twice.
            assert!(
                (db(loud) + 26.0).abs() < 2.0 * tolerance_db,
                "{noise:?} at {snr_db} dB: speech {:.2}",
                db(loud)
            );
        }
    }
}

/// Each line on its own, on the demo's desk: no room, little noise.
#[test]
fn every_line_has_the_level_the_truth_says() {
    let built = demo();
    let take = built
        .truth
        .recorders
        .iter()
        .find(|take| take.folder == "feed")
        .expect("the feed");
    let samples = &built.take(take)[0];
    for hearing in &take.hearings {
        let measured = db(power(&within(samples, take, &hearing.spans_ms)));
        // 32 dB over the noise: it adds 0.003 dB; the rest is frame edges.
        assert!(
            (measured - hearing.level_dbfs).abs() < 0.1,
            "line {}: {measured:.2} for {:.2} dBFS",
            hearing.line,
            hearing.level_dbfs
        );
    }
}

/// Flat tops are counted, where they are and nowhere else.
#[test]
fn one_source_of_the_demo_clips_and_the_truth_counts_it() {
    let built = demo();
    for take in &built.truth.recorders {
        let channels = built.take(take);
        for (samples, channel) in channels.iter().zip(&take.channels) {
            let told = match channel {
                ChannelTruth::Mic { clipped_frames, .. }
                | ChannelTruth::Copy { clipped_frames, .. } => *clipped_frames,
                ChannelTruth::Silent => 0,
            };
            // A frame just under full scale may round onto it.
            let step = match (take.container, take.format) {
                (Container::Mov, _) | (_, SampleFormat::Int16) => 1.0 / 32_768.0,
                (_, SampleFormat::Int24) => 1.0 / 8_388_608.0,
                (_, SampleFormat::Float32) => 0.0,
            };
            let full = samples
                .iter()
                .filter(|x| x.abs() >= 1.0 - 1.01 * step)
                .count() as u64;
            assert!(told <= full, "{}: {told} told, {full} found", take.label);
            assert!(
                full <= told + told / 50 + 2,
                "{}: {told} told, {full} found",
                take.label
            );
        }
        let while_speaking: u64 = take.hearings.iter().map(|h| h.clipped_frames).sum();
        assert_eq!(
            while_speaking > 1_000,
            take.folder == "worn-corin",
            "{}",
            take.label
        );
    }
}

/// No file of the demo is silent, off centre or too faint to use.
#[test]
fn levels_of_the_demo_are_those_of_recordings() {
    let built = demo();
    for take in &built.truth.recorders {
        let samples = &built.take(take)[0];
        let peak = samples.iter().fold(0.0_f32, |a, x| a.max(x.abs()));
        let mean = samples.iter().map(|&x| f64::from(x)).sum::<f64>() / samples.len() as f64;
        assert!(peak > 0.1, "{}: peak {peak}", take.label);
        // Voices are lopsided, so flat tops leave a little.
        assert!(mean.abs() < 0.01, "{}: mean {mean}", take.label);
        let level = db(power(samples));
        assert!(
            (-45.0..-10.0).contains(&level),
            "{}: {level:.1} dBFS",
            take.label
        );
    }
}
