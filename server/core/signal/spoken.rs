//! A voice is found, at any gain, in any pieces, with its level and ratio.

use super::sounds;
use super::{DetectorParams, SpeechDetector, SpeechSegment};

fn found(samples: &[f32], piece: usize) -> Vec<SpeechSegment> {
    let mut detector = SpeechDetector::new(DetectorParams::default());
    let mut segments = Vec::new();
    for piece in samples.chunks(piece) {
        detector.push(piece, &mut segments);
    }
    detector.finish(&mut segments);
    segments
}

fn rms(samples: &[f32]) -> f32 {
    (samples.iter().map(|s| s * s).sum::<f32>() / samples.len().max(1) as f32).sqrt()
}

/// 5 s of room, 20 s of voice, 5 s of room; the room `below_db` under the voice.
fn talk(seed: u64, below_db: f32) -> Vec<f32> {
    let voice: Vec<f32> = sounds::voice(seed).take(20 * 16_000).collect();
    let room = rms(&voice) * 10.0_f32.powf(-below_db / 20.0);
    let mut samples: Vec<f32> = sounds::white(seed)
        .take(30 * 16_000)
        .map(|s| s * room)
        .collect();
    for (sample, voice) in samples[80_000..].iter_mut().zip(voice) {
        *sample += voice;
    }
    samples
}

fn covered_ms(segments: &[SpeechSegment]) -> i64 {
    segments.iter().map(|s| s.end.0 - s.start.0).sum()
}

#[test]
fn a_voice_is_found_where_it_is() {
    let segments = found(&talk(1, 30.0), 1600);
    assert!(
        (segments[0].start.0 - 5_000).abs() <= 100,
        "{:?}",
        segments[0]
    );
    let last = segments[segments.len() - 1];
    // The voice may end with its half second of pause.
    assert!((24_300..=25_100).contains(&last.end.0), "{last:?}");
    // Seven syllables of 0.2 s to half a second of pause.
    assert!(covered_ms(&segments) >= 13_500, "{}", covered_ms(&segments));
}

#[test]
fn gain_does_not_matter() {
    let talk = talk(2, 40.0);
    let expected = found(&talk, 1600);
    assert!(!expected.is_empty());
    for gain_db in [-40.0, -20.0, 10.0] {
        let scaled: Vec<f32> = talk
            .iter()
            .map(|s| s * 10.0_f32.powf(gain_db / 20.0))
            .collect();
        let segments = found(&scaled, 1600);
        assert_eq!(segments.len(), expected.len(), "at {gain_db} dB");
        for (one, other) in segments.iter().zip(&expected) {
            assert!((one.start.0 - other.start.0).abs() <= 20);
            assert!((one.end.0 - other.end.0).abs() <= 20);
            // The histograms' steps are 0.5 dB.
            assert!((one.level_dbfs - other.level_dbfs - gain_db).abs() < 0.5);
            assert!((one.snr_db - other.snr_db).abs() < 1.0);
        }
    }
}

#[test]
fn the_pieces_do_not_matter() {
    let talk = talk(3, 20.0);
    let expected = found(&talk, talk.len());
    for piece in [1, 159, 160, 4096, 16_001] {
        assert_eq!(found(&talk, piece), expected, "pieces of {piece}");
    }
}

#[test]
fn the_ratio_is_that_of_the_mix() {
    for below_db in [10.0, 20.0, 30.0] {
        let segments = found(&talk(4, below_db), 1600);
        let weight: f64 = covered_ms(&segments) as f64;
        let mean_db: f64 = segments
            .iter()
            .map(|s| f64::from(s.snr_db) * (s.end.0 - s.start.0) as f64 / weight)
            .sum();
        // White noise has 6.9 of its 8 kHz in the speech range: 0.6 dB. The
        // voice is silent for a quarter of its time: 1.2 dB. Single segments
        // are louder and softer by 3 dB, which a mean of dB keeps low.
        let expected_db = f64::from(below_db) + 0.6 + 1.2;
        assert!(
            (mean_db - expected_db).abs() < 2.5,
            "{mean_db} for {expected_db}"
        );
    }
}

#[test]
fn samples_that_are_not_numbers_count_as_silence() {
    let mut talk = talk(5, 30.0);
    let mut expected = talk.clone();
    for n in (100_000..110_000).step_by(3) {
        talk[n] = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY][n % 3];
        expected[n] = 0.0;
    }
    assert_eq!(found(&talk, 1600), found(&expected, 1600));
}

#[test]
fn short_and_empty_recordings_are_borne() {
    assert_eq!(found(&[], 1), []);
    for length in [1, 159, 160, 512, 4_000] {
        let voice: Vec<f32> = sounds::voice(6).take(length).collect();
        let end = (length / 16) as i64;
        assert!(
            found(&voice, 100)
                .iter()
                .all(|s| s.start < s.end && s.end.0 <= end)
        );
    }
}

#[test]
fn a_chord_that_begins_and_holds_is_noted_at_its_beginning_at_most() {
    let chord: Vec<f32> = sounds::chord(7).take(60 * 16_000).collect();
    let mut samples: Vec<f32> = sounds::white(7)
        .take(120 * 16_000)
        .map(|s| s * 1e-3)
        .collect();
    for (sample, chord) in samples[30 * 16_000..].iter_mut().zip(chord) {
        *sample += 0.2 * chord;
    }
    let segments = found(&samples, 1600);
    // The measures look 250 ms to either side of the chord's two edges.
    assert!(covered_ms(&segments) <= 1_000, "{segments:?}");
}
