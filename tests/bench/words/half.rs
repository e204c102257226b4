//! A recording of which half is silence: what is read and talked in the other sets,
//! one after another, with the noise of a quiet room between.

use std::path::Path;

use sayback::core::units::{ANALYSIS_RATE_HZ, FileMs};
use sayback::media::{ChannelPick, probe, read_analysis};
use xtask::scene::noise::{Noise, NoiseKind};
use xtask::scene::random::Random;

use crate::sets::{self, Sample};

/// RMS of the room's noise: −60 dBFS.
const ROOM: f32 = 0.001;
/// Longest stretch read at once, ms.
const BLOCK_MS: i64 = 10_000;

/// Writes it: after each piece as much silence as that was long, in two parts of
/// which one comes before it.
pub fn silent(file: &Path) -> Sample {
    let mut pieces = sets::passages();
    pieces.push(sets::sonnet());
    pieces.push(sets::telephone());
    let (mut sound, mut words) = (Vec::new(), Vec::new());
    for piece in pieces {
        let own = samples(&piece.file);
        sound.resize(sound.len() + own.len() / 2, 0.0);
        let length = sound.len() + own.len() + own.len().div_ceil(2);
        sound.extend(own);
        sound.resize(length, 0.0);
        words.push(piece.words);
    }
    Noise::new(NoiseKind::Pink, Random::new(1, "room")).add(&mut sound, ROOM);
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: ANALYSIS_RATE_HZ,
        bits_per_sample: 32,
        sample_format: hound::SampleFormat::Float,
    };
    let mut writer = hound::WavWriter::create(file, spec).expect("a file");
    for sample in sound {
        writer.write_sample(sample).expect("room");
    }
    writer.finalize().expect("a whole file");
    Sample {
        name: "half".into(),
        file: file.to_owned(),
        words: words.join(" "),
    }
}

fn samples(file: &Path) -> Vec<f32> {
    let length = probe(file).expect("a recording").duration_ms;
    let mut sound = Vec::new();
    for from in (0..length).step_by(BLOCK_MS as usize) {
        let to = (from + BLOCK_MS).min(length);
        sound.extend(
            read_analysis(file, ChannelPick::Mix, FileMs(from), FileMs(to)).expect("samples"),
        );
    }
    sound
}
