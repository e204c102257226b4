//! What do the recorders hand over?

use std::path::{Path, PathBuf};

use anyhow::Result;
use sayback_core::units::ANALYSIS_RATE_HZ;

use super::render::Rendered;
use super::spec::Day;
use crate::scene::wav::{Layout, SampleFormat, Stamp, WavWriter};

const RATE: f64 = ANALYSIS_RATE_HZ as f64;

/// Writes the takes as Broadcast Wave files (plain WAV where there is no stamp)
/// of 16 kHz mono under `folder`; event second 0 is ten o'clock.
///
/// # Errors
/// When the disk fails.
pub fn write_wavs(day: &Day, rendered: &[Rendered], folder: &Path) -> Result<Vec<PathBuf>> {
    let mut paths = Vec::new();
    for (n, (take, sound)) in day.takes.iter().zip(rendered).enumerate() {
        let layout = Layout {
            rate_hz: ANALYSIS_RATE_HZ,
            channels: 1,
            format: SampleFormat::Int16,
            frames: sound.samples(),
        };
        let stamp = take.stamp_s.map(|at_s| {
            let at_s = 36_000.0 + at_s;
            let whole = at_s as u64;
            Stamp {
                date: "2026-06-20".to_owned(),
                time: format!(
                    "{:02}:{:02}:{:02}",
                    whole / 3600 % 24,
                    whole / 60 % 60,
                    whole % 60
                ),
                samples: (at_s * RATE) as u64,
            }
        });
        let path = folder.join(format!("take-{n}.wav"));
        let label = format!("Recorder {}", take.source);
        let mut writer = WavWriter::create(
            &path,
            &layout,
            stamp.as_ref().map(|stamp| (stamp, label.as_str())),
        )?;
        let mut at = 0;
        while at < sound.samples() {
            let block = sound.read(at, at + RATE as u64)?;
            at += block.len() as u64;
            writer.write(&block)?;
        }
        writer.finish(&layout)?;
        paths.push(path);
    }
    Ok(paths)
}
