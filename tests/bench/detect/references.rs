//! What other detectors say about the same files.

use std::path::Path;
use std::process::Command;

use xtask::oracle;

use super::case::Case;

/// The modes of webrtcvad, from lenient to strict.
pub const WEBRTC: [&str; 4] = ["webrtc0", "webrtc1", "webrtc2", "webrtc3"];
/// silero-vad as it says for each 32 ms, and its package's segments.
pub const SILERO: [&str; 2] = ["silero", "silero-segments"];

/// Runs both references over all cases. Answers, per case, what each detector
/// said: its name and a decision per 10 ms.
pub fn run(cases: &[Case]) -> Vec<Vec<(&'static str, Vec<bool>)>> {
    let work = tempfile::tempdir().expect("a folder to work in");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/oracle/vad.py");
    let model = oracle::data("silero-vad").join("silero_vad/data/silero_vad.onnx");
    let mut command = Command::new(oracle::python());
    command.arg(script).arg(work.path()).arg(model);
    for (n, case) in cases.iter().enumerate() {
        let path = work.path().join(format!("{n}.wav"));
        write_wav(&path, &case.samples);
        command.arg(path);
    }
    let answer = command.output().expect("python runs");
    assert!(
        answer.status.success(),
        "the references did not run: {}",
        String::from_utf8_lossy(&answer.stderr)
    );
    (0..cases.len())
        .map(|n| {
            let said = |name: &&'static str| {
                let path = work.path().join(format!("{n}.{name}"));
                let frames = std::fs::read(&path).expect("an answer for each file");
                (*name, frames.iter().map(|frame| *frame == b'1').collect())
            };
            WEBRTC.iter().chain(&SILERO).map(said).collect()
        })
        .collect()
}

fn write_wav(path: &Path, samples: &[f32]) {
    let form = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, form).expect("a file to write");
    for sample in samples {
        // Exact: the samples of a case lie on this grid.
        let rounded = (sample * 32_768.0) as i16;
        writer.write_sample(rounded).expect("room on the disk");
    }
    writer.finalize().expect("room on the disk");
}
