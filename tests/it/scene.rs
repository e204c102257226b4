//! Is the truth about a scene true? Files are opened by ffmpeg and measured by
//! Fourier transform; neither knows how they were made.

mod day;
mod files;
mod levels;
mod places;

use std::path::Path;
use std::process::Command;
use std::sync::OnceLock;

use tempfile::TempDir;
use xtask::oracle;
use xtask::scene::truth::{FileTruth, RecorderTruth};
use xtask::scene::{self, SceneSpec, Truth};

/// A built scene that is removed with its value.
struct Built {
    folder: TempDir,
    truth: Truth,
}

impl Built {
    fn new(spec: &SceneSpec) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let truth = scene::build(spec, folder.path()).expect("the scene is built");
        Self { folder, truth }
    }

    /// The frames of one file, by ffmpeg: one vector a channel.
    fn channels(&self, file: &FileTruth, take: &RecorderTruth) -> Vec<Vec<f32>> {
        decode(&self.folder.path().join(&file.path), take.channels.len())
    }

    /// A whole take.
    fn take(&self, take: &RecorderTruth) -> Vec<Vec<f32>> {
        let mut whole = vec![Vec::new(); take.channels.len()];
        for file in &take.files {
            for (all, more) in whole.iter_mut().zip(self.channels(file, take)) {
                all.extend(more);
            }
        }
        whole
    }
}

/// The demo, built once for all tests.
fn demo() -> &'static Built {
    static DEMO: OnceLock<Built> = OnceLock::new();
    DEMO.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let truth = scene::demo::build(folder.path()).expect("the demo is built");
        Built { folder, truth }
    })
}

fn decode(path: &Path, channels: usize) -> Vec<Vec<f32>> {
    let done = Command::new(oracle::ffmpeg())
        .args(["-v", "error", "-i"])
        .arg(path)
        .args(["-f", "f32le", "-c:a", "pcm_f32le", "-"])
        .output()
        .expect("ffmpeg runs");
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    assert_eq!(
        done.stderr,
        b"",
        "ffmpeg complains about {}",
        path.display()
    );
    let mut split = vec![Vec::with_capacity(done.stdout.len() / 4 / channels); channels];
    for (n, bytes) in done.stdout.chunks_exact(4).enumerate() {
        let sample = f32::from_le_bytes(bytes.try_into().expect("four bytes"));
        split[n % channels].push(sample);
    }
    split
}

/// Mean power of samples.
fn power(samples: &[f32]) -> f64 {
    samples.iter().map(|&x| f64::from(x).powi(2)).sum::<f64>() / samples.len().max(1) as f64
}

/// A power in dB.
fn db(power: f64) -> f64 {
    10.0 * power.log10()
}
