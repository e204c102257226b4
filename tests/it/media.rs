//! Is what comes out of a file what is in it? Held against ffmpeg, sox and
//! arithmetic.

mod compressed;
mod growing;
pub mod make;
mod pcm;
mod pull;
mod rates;
mod relations;
mod slices;
mod stamps;
mod take;
mod tracks;

use sayback::media::{ChannelPick, Reader};
use std::path::{Path, PathBuf};
use std::process::Command;

/// Runs ffmpeg, which must succeed.
pub fn ffmpeg(arguments: &[&str]) -> Vec<u8> {
    let output = Command::new(xtask::oracle::ffmpeg())
        .args(["-hide_banner", "-loglevel", "error", "-nostdin", "-y"])
        .args(arguments)
        .output()
        .expect("ffmpeg starts");
    assert!(
        output.status.success(),
        "ffmpeg {arguments:?}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    output.stdout
}

/// The first sound track as ffmpeg decodes it.
pub fn by_ffmpeg(path: &Path) -> Vec<f32> {
    let path = path.to_str().expect("our own file names are text");
    let bytes = ffmpeg(&[
        "-i",
        path,
        "-map",
        "0:a:0",
        "-f",
        "f32le",
        "-c:a",
        "pcm_f32le",
        "-",
    ]);
    bytes
        .chunks_exact(4)
        .map(|s| f32::from_le_bytes([s[0], s[1], s[2], s[3]]))
        .collect()
}

/// The first sound track as we decode it, from the start to the end.
pub fn by_us(path: &Path) -> Vec<f32> {
    let mut reader = Reader::open(path).expect("it opens");
    read_on(&mut reader)
}

/// What is left in a reader.
pub fn read_on(reader: &mut Reader) -> Vec<f32> {
    let (mut all, mut block) = (Vec::new(), Vec::new());
    // An odd size: block edges must not matter.
    while reader.read(&mut block, 1_777).expect("it reads") > 0 {
        all.extend_from_slice(&block);
    }
    all
}

/// Everything in 16 kHz mono.
pub fn analysis(path: &Path, pick: ChannelPick) -> Vec<f32> {
    let mut stream = sayback::media::AnalysisStream::open(path, pick).expect("it opens");
    let (mut all, mut block) = (Vec::new(), vec![0.0; 1_000]);
    loop {
        let n = stream.read(&mut block).expect("it reads");
        all.extend_from_slice(&block[..n]);
        if n < block.len() {
            return all;
        }
    }
}

/// Signal-to-noise ratio of `got` against `want`, in dB.
pub fn snr_db(want: &[f32], got: &[f32]) -> f64 {
    let power = |values: &mut dyn Iterator<Item = f64>| values.map(|v| v * v).sum::<f64>();
    let signal = power(&mut want.iter().map(|v| f64::from(*v)));
    let noise = power(
        &mut want
            .iter()
            .zip(got)
            .map(|(w, g)| f64::from(*w) - f64::from(*g)),
    );
    10.0 * (signal / noise.max(1e-30)).log10()
}

/// A folder that goes away, and a path in it.
pub struct Folder(tempfile::TempDir);

impl Folder {
    pub fn new() -> Self {
        Self(tempfile::tempdir().expect("there is room for a folder"))
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    /// A file with these bytes.
    pub fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, bytes).expect("it can be written");
        path
    }

    /// A file that ffmpeg makes of a WAV file.
    pub fn encoded(&self, from: &Path, name: &str, arguments: &[&str]) -> PathBuf {
        let path = self.path(name);
        let (from, to) = (from.to_str().expect("text"), path.to_str().expect("text"));
        let mut all = vec!["-i", from];
        all.extend_from_slice(arguments);
        all.push(to);
        ffmpeg(&all);
        path
    }
}
