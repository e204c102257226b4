//! Ten minutes of each sound that is not speech: not one segment.

use super::sounds;
use super::{DetectorParams, SpeechDetector, SpeechSegment};

const TEN_MINUTES: usize = 600 * 16_000;

/// What the detector finds in ten minutes of a sound at an RMS of
/// `level_dbfs`, clipped at full scale as a recorder would.
fn found(sound: impl Iterator<Item = f32>, level_dbfs: f32) -> Vec<SpeechSegment> {
    let mut detector = SpeechDetector::new(DetectorParams::default());
    let mut segments = Vec::new();
    let gain = 10.0_f32.powf(level_dbfs / 20.0);
    let mut sound = sound.take(TEN_MINUTES).peekable();
    while sound.peek().is_some() {
        let piece: Vec<f32> = sound
            .by_ref()
            .take(16_000)
            .map(|s| (s * gain).clamp(-1.0, 1.0))
            .collect();
        detector.push(&piece, &mut segments);
    }
    detector.finish(&mut segments);
    segments
}

/// A recorder's own noise, a quiet room, a loud one, and one near clipping.
fn assert_silent<S: Iterator<Item = f32>>(name: &str, sound: impl Fn(u64) -> S) {
    for (seed, level_dbfs) in [(1, -70.0), (2, -45.0), (3, -25.0), (4, -15.0)] {
        let segments = found(sound(seed), level_dbfs);
        assert!(
            segments.is_empty(),
            "{name} {seed} at {level_dbfs} dBFS: {} segments, first {:?}",
            segments.len(),
            segments[0]
        );
    }
}

#[test]
fn digital_silence() {
    assert_eq!(found(std::iter::repeat(0.0), 0.0), []);
}

#[test]
fn white_noise() {
    assert_silent("white noise", sounds::white);
}

#[test]
fn pink_noise() {
    assert_silent("pink noise", sounds::pink);
}

#[test]
fn brown_noise() {
    assert_silent("brown noise", sounds::brown);
}

#[test]
fn mains_hum() {
    assert_silent("hum of 50 Hz", |seed| sounds::hum(seed, 50.0));
    assert_silent("hum of 60 Hz", |seed| sounds::hum(seed, 60.0));
}

#[test]
fn a_held_chord() {
    assert_silent("chord", sounds::chord);
}

#[test]
fn air_conditioning() {
    assert_silent("air conditioning", sounds::air_conditioning);
}
#[test]
fn wind() {
    assert_silent("wind", sounds::wind);
}
