//! detect: where does somebody speak?

use sayback_core::clock::{Track, TrackMaker};
use sayback_core::quality::{self, Meter};
use sayback_core::signal::peaks::{PeakMaker, Peaks};
use sayback_core::signal::{DetectorParams, SpeechDetector, SpeechSegment};
use sayback_core::units::ANALYSIS_RATE_HZ;

use super::original::is_unchanged;
use super::{Step, StepError};
use crate::jobs::engine::now_ms;
use crate::media::{AnalysisStream, ChannelPick, NotAChannel};
use crate::store::{Detected, NewSegment, RecordingRow};

/// Samples between two looks at the cancel flag: a second of sound.
const BLOCK: usize = ANALYSIS_RATE_HZ as usize;

/// What one way through a recording gave.
struct Heard {
    segments: Vec<SpeechSegment>,
    /// Its band levels.
    track: Track,
    quality: quality::Track,
    peaks: Peaks,
    /// What reading the whole file found wrong with it.
    warnings: Vec<String>,
}

impl Step<'_> {
    /// Finds the speech of a recording, and takes down by what it is recognised.
    pub(super) fn detect(&self) -> Result<(), StepError> {
        let recording = self.recording()?;
        is_unchanged(&recording)?;
        let heard = self.listen_through(&recording)?;
        let segments: Vec<NewSegment> = heard
            .segments
            .iter()
            .filter(|segment| segment.start < segment.end)
            .map(|segment| NewSegment {
                start_ms: segment.start.0,
                end_ms: segment.end.0,
                level_dbfs: segment.level_dbfs,
                snr_db: segment.snr_db,
                clipped: segment.clipped,
                reverb: segment.reverb,
            })
            .collect();
        self.check()?;
        let lease = self.claim.lease();
        let detected = Detected {
            recording: &recording,
            segments: &segments,
            track: &heard.track.to_bytes(),
            quality: &heard.quality.to_bytes(),
            peaks: &heard.peaks,
            warnings: &heard.warnings,
        };
        self.write(|| self.store().finish_detect(&lease, &detected, now_ms()))
    }

    fn listen_through(&self, recording: &RecordingRow) -> Result<Heard, StepError> {
        let mut stream = AnalysisStream::open(&recording.path, pick(recording)?)?;
        let expected = (stream.duration_ms().max(1) as f32) * BLOCK as f32 / 1000.0;
        let mut detector = SpeechDetector::new(DetectorParams::default());
        let mut track = TrackMaker::new();
        let mut meter = Meter::new(stream.told_channels(), stream.info().rate_hz);
        let mut peaks = PeakMaker::new(stream.told_channels(), stream.info().rate_hz);
        let mut segments = Vec::new();
        let mut block = vec![0.0; BLOCK];
        let mut samples = 0_u64;
        loop {
            self.check()?;
            let read = stream.read_and_tell(&mut block, &mut |frames| {
                if let Some(meter) = &mut meter {
                    meter.push(frames);
                }
                if let Some(peaks) = &mut peaks {
                    peaks.push(frames);
                }
            })?;
            if read == 0 {
                break;
            }
            detector.push(&block[..read], &mut segments);
            track.push(&block[..read]);
            samples += read as u64;
            self.progress((samples as f32 / expected).min(1.0));
        }
        detector.finish(&mut segments);
        Ok(Heard {
            peaks: peaks.map_or_else(Peaks::default, |maker| maker.finish(&segments)),
            segments,
            track: track.finish(),
            quality: meter.map(Meter::finish).unwrap_or_default(),
            warnings: stream.warnings(),
        })
    }
}

/// The channel a recording holds.
pub(super) fn pick(recording: &RecordingRow) -> Result<ChannelPick, StepError> {
    recording
        .pick
        .parse()
        .map_err(|error: NotAChannel| StepError::Final(error.to_string()))
}
